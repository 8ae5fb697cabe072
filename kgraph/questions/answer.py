"""What a question gives: rows, their order, and remarks."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, NamedTuple

from kgraph import matching
from kgraph.facts import Fact
from kgraph.reason.budget import SECONDS

if TYPE_CHECKING:
    from kgraph.collection import Collection

SCALE_NOTE = "Certainties come from the grades, a scale of our own; a folder can override each."
SIZE_NOTE = "Equal size counts as the same article by common practice, no source: measure before you buy."
MOST_UNLIKE = 3
"""So many refusals are told one by one of answers that are left out; the rest are counted."""
DRAWN_NOTE = (
    "≈ marks a certainty found by drawing worlds at random, right within its bounds in all but one of a "
    "thousand questions; a longer --seconds narrows them."
)


class Row(NamedTuple):
    """One answer. `set` is an owner key; `proof` is the best proof, in the order of the walk."""

    set: str
    position: str = ""
    wanted: str = ""
    part: str | None = None
    parts: tuple[str, ...] = ()
    assembly: str = ""
    standing: str = "inferred"
    best: float = 0.0
    proven: bool = True
    """Whether no better proof exists; else it is the best that was found."""
    certainty: float = 0.0
    bounds: tuple[float, float] | None = None
    weighed: str = "exact"
    """How the certainty was found: `exact`, `drawn`, or "" where only the best proof was asked for."""
    basis: tuple[str, ...] = ("stated facts",)
    work: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    differs: tuple[str, ...] = ()
    proof: tuple[Fact, ...] = ()
    proofs: tuple[tuple[Fact, ...], ...] = ()
    all_proofs: bool = False
    failures: tuple[tuple[Fact, float], ...] = ()
    """Each uncertain fact that bears on the answer, and the certainty should it not hold; where asked for."""
    failures_exact: bool = True
    against: tuple[Fact, ...] = ()
    no: float = 0.0
    role: str = ""
    """Of a part that goes at a place: how it comes to go there."""
    sets: tuple[str, ...] = ()
    """Of a part: the sets that are known to have it, as owner keys."""
    sound: float = 1.0
    """Of an article of a unit that nobody looked at: how surely it is sound; in `certainty` already."""
    units: tuple[tuple[str, str], ...] = ()
    """Units of one's own that are of this set, by name, and the state of each at the place."""


class Answer(NamedTuple):
    """The rows of a question, how many were refused and left out, and remarks."""

    question: dict[str, Any]
    rows: tuple[Row, ...] = ()
    refused: int = 0
    notes: tuple[str, ...] = ()
    most: int | None = None
    """So many rows are to be shown, where the asker said how many."""
    less: str = ""
    """The one of the remarks that tells how many were less certain than wanted, and left out."""
    unlike: tuple[Row, ...] = ()
    """Of the answers that were refused and left out, those of sets that differ in what must match."""
    late: tuple[str, ...] = ()
    """Those of the remarks that tell what there was no time for."""


class Wanted(NamedTuple):
    """What the asker wants to see: the least certainty, refused ones too, the time, all proofs."""

    at_least: float = 0.0
    refused_too: bool = False
    seconds: float = SECONDS
    """The time meant for weighing; 0: best proofs alone, no certainties."""
    proofs: bool = False
    """Whether all minimal proofs are listed, and not the best one alone."""
    most: int | None = None
    """How many answers are shown."""
    failures: bool = False
    """Whether it is worked out for each fact what an answer's certainty would be without it."""


DEFAULT = Wanted()
BEST_ONLY = Wanted(seconds=0.0)
"""The best proof of each answer, for questions that ask about many things at once."""


def answered(
    question: dict[str, Any],
    rows: Iterable[Row],
    wanted: Wanted,
    data: Collection,
    late: Iterable[str] = (),
) -> Answer:
    """The rows as wanted, the most certain first; `late`: what there was no time for, in words."""
    rows = list(rows)
    shown = [r for r in rows if r.certainty >= wanted.at_least]
    refused = sum(r.standing == "refused" for r in shown)
    if not wanted.refused_too:
        shown = [r for r in shown if r.standing != "refused"]
    shown.sort(key=lambda r: (r.wanted, *order(data, r)))
    less = less_certain((r.certainty for r in rows), wanted.at_least)
    unlike = () if wanted.refused_too else tuple(sorted(_unlike(rows, wanted), key=lambda r: order(data, r)))
    places = {p for r in rows for p in (r.position, r.wanted)}
    guarded = matching.guarded_by_name(data, places)
    notes = (*_notes(shown, refused, less, wanted), *guarded, *unlike_notes(data, unlike), *late)
    return Answer(question, tuple(shown), refused, notes, wanted.most, less, unlike, tuple(late))


def _unlike(rows: Iterable[Row], wanted: Wanted) -> Iterable[Row]:
    return (r for r in rows if r.certainty >= wanted.at_least and any(map(matching.differs, r.warnings)))


def unlike_notes(data: Collection, unlike: Iterable[Row]) -> list[str]:
    """Why answers are refused that the reader does not see: both values, and what to be careful of."""
    said = []
    for row in unlike:
        why = "; ".join(w for w in row.warnings if matching.differs(w))
        more = f" Cautions: {', '.join(row.cautions)}." if row.cautions else ""
        place = f"{data.owner_text(row.set)}, {data.text('position', row.position)}"
        said.append(f"Refused, {place}: {why}.{more}")
    said = list(dict.fromkeys(said))
    rest = [f"{len(said) - MOST_UNLIKE} more are refused so."] if len(said) > MOST_UNLIKE else []
    return [*said[:MOST_UNLIKE], *rest]


def order(data: Collection, row: Row) -> tuple[float, float, str, str]:
    """By certainty, then by the best proof, then by name."""
    return -row.certainty, -row.best, data.owner_text(row.set), row.position


def asked_place(data: Collection, command: str, set_key: str, position: str) -> dict[str, Any]:
    """A question about a place, in its own words."""
    return {"command": command, "set": data.text("set", set_key), "position": data.text("position", position)}


def less_certain(certainties: Iterable[float], at_least: float) -> str:
    """How many answers are less certain than was asked for, and left out; "" for none."""
    number = sum(certainty < at_least for certainty in certainties)
    were = "answer is" if number == 1 else "answers are"
    return f"{number} {were} less certain than {at_least} and left out." if number else ""


def _notes(rows: list[Row], refused: int, less: str, wanted: Wanted) -> Iterable[str]:
    if less:
        yield less
    if refused and not wanted.refused_too:
        were = "answer is" if refused == 1 else "answers are"
        yield f"{refused} {were} refused and left out; --all shows them."
    if any(r.weighed == "drawn" for r in rows):
        yield DRAWN_NOTE
    if unproven := sum(not r.proven for r in rows):
        have = "answer has" if unproven == 1 else "answers have"
        yield f"{unproven} {have} the best proof that was found in the time; there may be a better one."
    if any("size" in r.basis for r in rows):
        yield SIZE_NOTE
    if wanted.proofs and any(not r.all_proofs for r in rows):
        yield "Some answers have more proofs than are listed."
    if rows:
        yield SCALE_NOTE
