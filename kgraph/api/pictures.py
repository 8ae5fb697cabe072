"""A family that draws itself where a notebook shows it."""

from __future__ import annotations

from dataclasses import field
from pathlib import Path

from kgraph.api.decoding import value_class
from kgraph.api.replies import SetRows
from kgraph.problems import CannotRun


@value_class
class Family:
    """One design under its badges: its sets, and its picture."""

    set: str
    sisters: SetRows
    dot: str = field(repr=False)
    """The picture as DOT text, the language of Graphviz."""

    def svg(self) -> str:
        """The picture as SVG. Raises CannotRun where nothing is installed that can draw it."""
        from kgraph.render.pictures.drawing import render

        return render(self.dot, Path("family.svg")).decode("utf-8")

    def _repr_svg_(self) -> str | None:
        """What a notebook shows; it falls back to text where nothing can draw."""
        try:
            return self.svg()
        except CannotRun:
            return None
