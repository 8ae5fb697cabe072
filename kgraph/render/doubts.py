"""Doubts as JSON or as text, each with what to do about it in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from kgraph.doubts import Doubt, Doubts
from kgraph.facts import Fact
from kgraph.fits.graph import sort_of
from kgraph.questions import SCALE_NOTE
from kgraph.render.answers import caution_texts, percent
from kgraph.render.sentences import says
from kgraph.render.terminal import table, visible
from kgraph.source.facts import Names


def as_json(data: Names, question: dict[str, Any], doubts: Doubts, most: int) -> dict[str, Any]:
    """The object of the contract, section 6: at most `most` answers, the one that settles most first."""
    shown = doubts.found[:most]
    out: dict[str, Any] = {
        "question": question,
        "answers": [_doubt_json(data, d) for d in shown],
        "entropy_bits": doubts.entropy_bits,
        "of answers": doubts.answers,
        "notes": notes(doubts, most),
    }
    if texts := caution_texts(data, _cautions(shown)):
        out["caution texts"] = texts
    return out


def _doubt_json(data: Names, doubt: Doubt) -> dict[str, Any]:
    return {
        "fact": doubt.fact.id,
        "says": says(data, doubt.fact),
        "fall_bits": doubt.fall_bits,
        "answers": len(doubt.rows),
        "certainty": doubt.fact.certainty,
        "to do": to_do(data, doubt),
        "cautions": _cautions((doubt,)),
    }


def _cautions(doubts: tuple[Doubt, ...]) -> list[str]:
    return list(dict.fromkeys(c for d in doubts for r in d.rows for c in r.cautions))


def notes(doubts: Doubts, most: int) -> list[str]:
    """Remarks on what was left out or not exact."""
    said = []
    if len(doubts.found) > most:
        said.append(f"{len(doubts.found) - most} more facts are in doubt; --most shows more.")
    if doubts.inexact:
        said.append(f"{doubts.inexact} answers were weighed by drawing worlds at random.")
    if doubts.not_looked_at:
        said.append(f"{doubts.not_looked_at} parts were not looked at in the time; --seconds gives more.")
    return [*said, SCALE_NOTE] if doubts.found else said


def as_text(data: Names, doubts: Doubts, most: int, terminal: bool) -> str:
    """A table, the look that settles most first."""
    shown = doubts.found[:most]
    head = ("settles", "answers", "certainty", "what to do", "fact")
    rows = [
        [
            f"{d.fall_bits:.2f} bit",
            str(len(d.rows)),
            percent(d.fact.certainty),
            to_do(data, d),
            d.fact.id,
        ]
        for d in shown
    ]
    out = table(head, rows, terminal)
    texts = caution_texts(data, _cautions(shown))
    return (
        out + "".join(f"\nCaution, {visible(n)}: {visible(t)}" for n, t in texts.items()) + "\n" * bool(texts)
    )


def to_do(data: Names, doubt: Doubt) -> str:
    """What to look at, and how many answers hang on it."""
    count = len(doubt.rows)
    hang = "1 answer hangs" if count == 1 else f"{count} answers hang"
    return f"{look(data, doubt.fact)}: {hang} on it"


def look(data: Names, fact: Fact) -> str:
    """What to look at to learn whether a fact holds."""
    return _LOOK[fact.kind](data, *fact.args)


def _rebadge(data: Names, one: str, other: str, *rest: Any) -> str:
    return f"compare {data.owner_text(one)} and {data.owner_text(other)} side by side"


def _uses(data: Names, assembly: str, owner: str, *rest: Any) -> str:
    return f"look whether {data.owner_text(owner)} is built on {data.owner_text(assembly)}"


def _takes(data: Names, part: str, owner: str, position: str, *rest: Any) -> str:
    verb = "measure" if sort_of(data, part) == data.belt_kind() else "look at"
    place = f"the {data.text('position', position)} of {data.owner_text(owner)}"
    return f"{verb} {place} (is it {data.text('part', part)}?)"


def _same(data: Names, one: str, other: str) -> str:
    return f"compare {data.text('part', one)} and {data.text('part', other)} side by side"


def _replaces(data: Names, new: str, old: str) -> str:
    return f"try {data.text('part', new)} where {data.text('part', old)} goes"


def _fits(data: Names, owner: str, position: str, to: str, at: str, *rest: Any) -> str:
    source = f"the {data.text('position', position)} of {data.owner_text(owner)}"
    return f"try {source} on {data.owner_text(to)} at {data.text('position', at)}"


def _size(data: Names, one: str, other: str) -> str:
    return f"measure {data.text('part', one)} against {data.text('part', other)}"


_LOOK: Mapping[str, Callable[..., str]] = {
    "rebadge": _rebadge,
    "uses": _uses,
    "takes": _takes,
    "same": _same,
    "replaces": _replaces,
    "fits": _fits,
    "size": _size,
}
