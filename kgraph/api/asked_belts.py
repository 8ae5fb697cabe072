"""Questions about belts, asked by their words: quantities are read as they are written in a folder."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from kgraph import belt_sizes, quantities, questions
from kgraph.belts import identify, tolerances
from kgraph.fits.graph import Graph
from kgraph.problems import Problem, WrongUse
from kgraph.questions import DEFAULT, Wanted, belt_finds, belt_fits, belt_paths, belt_places
from kgraph.questions.belt_places import BeltPlace
from kgraph.shelf import owned

T = TypeVar("T")

LENGTHS = {"inside_length": "inside length", "inside_diameter": "inside diameter", "folded": "folded"}
"""The ways to give the length of a measured belt."""


def place(graph: Graph, words: Sequence[str], wish: Wanted = DEFAULT) -> BeltPlace:
    """The place of a belt; of a unit with what was put in there, whose section then counts."""
    meant = owned.as_set(graph, tuple(words))
    found = belt_places.belt_place(graph, meant.words, wish)
    held = owned.put_in(meant.unit, found.position)
    notes = (*owned.says_of(graph, meant.unit, found.position), *found.notes)
    return belt_places.with_belt_in(graph, replace(found, notes=notes), held.part if held else None)


def read(reader: Callable[..., T], text: str, *rest: Any) -> T:
    """A quantity as it is written; a bad one is wrong use, with what would be right."""
    try:
        return reader(text, *rest)
    except quantities.QuantityError as error:
        raise WrongUse(Problem(None, "quantity", error.what, error.right)) from None


def tolerance_class(text: str) -> str:
    """A class of tolerance; raises WrongUse for another text."""
    if text.strip().upper() in tolerances.CLASSES:
        return text.strip().upper()
    raise WrongUse(
        Problem(None, "tolerance", f"{text!r} is no class", f"use one of {', '.join(tolerances.CLASSES)}")
    )


SectionOf = Callable[[Graph, BeltPlace], belt_sizes.Section | None]


def section_given(section: str | None, thickness: str | None) -> SectionOf:
    """The section that is meant, once the recorded one is known. Raises WrongUse."""
    if section is not None and thickness is not None:
        raise WrongUse(
            Problem(None, "one-section", "the thickness is given twice", "use --section or --thickness")
        )
    if section is not None:
        whole = read(belt_sizes.section, section)
        return lambda graph, where: whole
    if thickness is None:
        return lambda graph, where: None
    thick = read(belt_sizes.thickness, thickness)
    return lambda graph, where: belt_paths.of_thickness(graph.data, where, thick)


def fit(
    graph: Graph, belt: str, words: Sequence[str], grade: str | None, wish: Wanted = DEFAULT
) -> belt_fits.FitAnswer:
    """What a recorded belt does in a set."""
    part = questions.part_named(graph.data, belt)
    return belt_fits.fit(graph, part, place(graph, words, wish), grade)


def measured(
    section: str,
    lengths: Mapping[str, str | None],
    section_error: str | None = None,
    length_error: str | None = None,
    worn: bool = False,
) -> identify.Measured:
    """The measurement that is described. Raises WrongUse."""
    given = [(name, text) for name, text in lengths.items() if text is not None]
    if len(given) != 1:
        says = "the belt's length must be given in exactly one way"
        mend = "use one of --inside-length, --inside-diameter and --folded"
        raise WrongUse(Problem(None, "one-length", says, mend))
    length = read(belt_sizes.inside_length, given[0][1], LENGTHS[given[0][0]])
    cut = read(belt_sizes.section, section)
    fraction, error_mm = identify.LENGTH_ERROR, length.plus_minus_mm or None
    if length_error is not None and length_error.strip().endswith("%"):
        fraction, error_mm = read(quantities.percent, length_error), None
    elif length_error is not None:
        error_mm = read(quantities.length, length_error).mm
    about = [
        what
        for what, said, option in (
            ("section", cut.about, section_error),
            ("inside length", length.about, length_error),
        )
        if said and option is None
    ]
    try:
        return identify.measured(
            cut,
            length.mm,
            section_error_mm=None if section_error is None else read(quantities.length, section_error).mm,
            length_error=fraction,
            length_error_mm=error_mm,
            worn=worn,
            about=tuple(about),
        )
    except identify.MeasureError as error:
        raise WrongUse(Problem(None, "measure", str(error), "measure it again")) from None


def find(graph: Graph, seen: identify.Measured, wish: Wanted = DEFAULT) -> belt_finds.FindAnswer:
    """Which recorded belts a measured one can be."""
    try:
        return belt_finds.find(graph, seen, wish)
    except identify.MeasureError as error:
        raise WrongUse(Problem(None, "measure", str(error), "see `kgraph check`")) from None


def hertz(text: str) -> float:
    """A tone as it is written."""
    clean = text.strip()
    return quantities.number(clean[:-2] if clean.lower().endswith("hz") else clean, 20.0, 20000.0)


def place_notes(where: BeltPlace) -> tuple[str, ...]:
    """The remarks on a place whose belt is asked about."""
    return (*where.notes, *belt_places.less_certain(where))
