"""Numbers of the command line that must lie within bounds."""

from __future__ import annotations

from typing import Any

import click


class Within(click.FloatRange):
    """A number within bounds; what is no number is refused too, which lies within any."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number, or a fault of the command line."""
        number: float = super().convert(value, param, ctx)
        if number != number:
            self.fail(f"{value!r} is not a number that can be measured", param, ctx)
        return number
