"""From recorded parts and runs to the belts and runs of the sums."""

from __future__ import annotations

from kgraph import belt_sizes, quantities, records
from kgraph.belts.runs import Belt, BeltRun, LooseMeasure, RunPulley
from kgraph.collection import Collection
from kgraph.names import fold


def belt_of(data: Collection, part: str) -> Belt | None:
    """The sizes of a belt from all entries that declare it; None where section or length is missing."""
    section, length = sizes_of(data, part)
    if section is None or length is None:
        return None
    hardness = next((t.hardness for t in _parts(data, part) if t.hardness is not None), None)
    return Belt(section, length.mm, hardness, length.plus_minus_mm, length.about)


def sizes_of(data: Collection, part: str) -> tuple[belt_sizes.Section | None, quantities.Length | None]:
    """The section and the inside length of a part, each where it is recorded."""
    section = next((t.section for t in _parts(data, part) if t.section is not None), None)
    sized = ((t, mm) for t in _parts(data, part) if (mm := data.inside_length_mm(t)) is not None)
    return section, next((_written_length(t) or quantities.Length(mm) for t, mm in sized), None)


def _parts(data: Collection, part: str) -> list[records.Part]:
    return [t for t in data.things["part"].get(part, ()) if isinstance(t, records.Part)]


def _written_length(part: records.Part) -> quantities.Length | None:
    """The length as it was written, with its error; of several ways to write it, by the one that counts."""
    return next(iter(belt_sizes.belt_measures(part.pairs).values()), None)


def run_of(record: records.Run) -> BeltRun:
    """A recorded run for the sums; the pull's shaft is named as its pulley is."""
    pulleys = tuple(
        RunPulley(
            p.name, p.x_mm, p.y_mm, p.diameter_mm, "outside" if p.outside else "inside",
            p.drives, p.rpm, p.capstan_mm,
        )
        for p in record.pulleys
    )  # fmt: skip
    loose = tuple(
        LooseMeasure(number, measure, error, about)
        for number, pulley in enumerate(record.pulleys)
        for measure, error, about in pulley.errors
    )
    at = record.pull_at
    known = next((p.name for p in record.pulleys if fold(p.name) == fold(at)), at)
    return BeltRun(pulleys, record.stretch, record.pull_N_m, known, loose=loose)
