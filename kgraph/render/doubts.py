"""Doubts as JSON or as text, each with what to do about it in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from kgraph.collection import Collection
from kgraph.doubts import Doubt, Doubts
from kgraph.facts import Fact
from kgraph.fits.graph import sort_of
from kgraph.questions import SCALE_NOTE
from kgraph.render.answers import caution_texts, fact_json, fact_lines, percent
from kgraph.render.cautions import SHORT, Whole, block
from kgraph.render.sentences import says
from kgraph.render.terminal import table

ID_SHOWN = 8
"""So many characters of an id a screen shows."""


def as_json(data: Collection, question: dict[str, Any], doubts: Doubts, most: int | None) -> dict[str, Any]:
    """The object of the contract, section 6: at most `most` answers, the one that settles most first."""
    shown = doubts.found[:most]
    out: dict[str, Any] = {
        "question": question,
        "answers": [_doubt_json(data, d) for d in shown],
        "entropy_bits": doubts.entropy_bits,
        "of answers": doubts.answers,
        "alike": [
            {"facts": [d.fact.id for d in group], "answers": len(group[0].rows)}
            for group in grouped(doubts.found)
            if len(group) > 1
        ],
        "notes": _notes(doubts, doubts.found[len(shown) :]),
    }
    if texts := caution_texts(data, _cautions(shown)):
        out["caution texts"] = texts
    return out


def _doubt_json(data: Collection, doubt: Doubt) -> dict[str, Any]:
    return {
        "fact": doubt.fact.id,
        "says": says(data, doubt.fact),
        "fall_bits": doubt.fall_bits,
        "answers": len(doubt.rows),
        "certainty": doubt.fact.certainty,
        "to do": to_do(data, doubt),
        "cautions": _cautions((doubt,)),
        "proof": [fact_json(data, doubt.fact)],
    }


def _cautions(doubts: tuple[Doubt, ...]) -> list[str]:
    return list(dict.fromkeys(c for d in doubts for r in d.rows for c in r.cautions))


LEAST_ALIKE = 4
"""So many doubts that settle the same by the same are told as one."""


def grouped(found: Sequence[Doubt]) -> list[tuple[Doubt, ...]]:
    """The doubts in their order, those together that are alike: as certain, of as many answers and bits."""
    alike: dict[tuple[str, int, float, float], list[Doubt]] = {}
    for doubt in found:
        like = (doubt.fact.kind, len(doubt.rows), doubt.fact.certainty, round(doubt.fall_bits, 9))
        alike.setdefault(like, []).append(doubt)
    groups: list[tuple[Doubt, ...]] = []
    for those in alike.values():
        groups += [tuple(those)] if len(those) >= LEAST_ALIKE else [(one,) for one in those]
    return groups


def notes(doubts: Doubts, most: int) -> list[str]:
    """Remarks on what a screen of at most `most` lines leaves out, and on what is not exact."""
    return _notes(doubts, [d for group in grouped(doubts.found)[most:] for d in group])


def _notes(doubts: Doubts, rest: Sequence[Doubt]) -> list[str]:
    said = []
    if rest:
        counts = Counter(len(d.rows) for d in rest)
        each = ", ".join(
            f"{_facts(n)} on which {_hang(k)}" for k, n in sorted(counts.items(), reverse=True)[:4]
        )
        are = "fact is" if len(rest) == 1 else "facts are"
        said.append(f"{len(rest):,} more {are} in doubt ({each}); --most shows more.")
    if doubts.inexact:
        said.append(f"{doubts.inexact} answers were weighed by drawing worlds at random.")
    if doubts.not_looked_at:
        said.append(f"{doubts.not_looked_at} parts were not looked at in the time; --seconds gives more.")
    said += doubts.late
    return [*said, SCALE_NOTE] if doubts.found else said


def as_text(
    data: Collection,
    doubts: Doubts,
    most: int,
    terminal: bool,
    whole: Whole = SHORT,
    bits: bool = False,
    proof: bool = False,
) -> str:
    """What to do, whole, with how much it settles, the look that settles most first; then the facts."""
    groups = grouped(doubts.found)[:most]
    shown = tuple(group[0] for group in groups)
    head = ("certainty", "settles", *(("bits",) if bits else ()), "fact")
    rows = [
        [
            percent(d.fact.certainty),
            f"settles {_answers(len(d.rows))}",
            *([f"{d.fall_bits:.2f} bit"] if bits else []),
            d.fact.id[:ID_SHOWN] if terminal else d.fact.id,
        ]
        for d in shown
    ]
    below = [[look(data, g[0].fact), *_more_alike(g)] for g in groups]
    out = table(head, rows, terminal, below)
    if proof:
        out += "".join(f"\n{line}" for line in fact_lines(data, [d.fact for d in shown])) + "\n"
    return out + block(caution_texts(data, _cautions(shown)), terminal, whole.cautions)


def _more_alike(group: Sequence[Doubt]) -> list[str]:
    """How many facts a doubt stands for, where they are alike."""
    if len(group) == 1:
        return []
    hang = _hang(len(group[0].rows))
    return [f"one of {_facts(len(group))} on which {hang}, of {percent(group[0].fact.certainty)}"]


def _facts(count: int) -> str:
    return "1 fact" if count == 1 else f"{count:,} facts"


def _hang(count: int) -> str:
    return "one answer hangs each" if count == 1 else f"{count:,} answers hang each"


def _answers(count: int) -> str:
    return "1 answer" if count == 1 else f"{count} answers"


def to_do(data: Collection, doubt: Doubt) -> str:
    """What to look at, and how many answers hang on it."""
    count = len(doubt.rows)
    hang = "1 answer hangs" if count == 1 else f"{count} answers hang"
    return f"{look(data, doubt.fact)}: {hang} on it"


def look(data: Collection, fact: Fact) -> str:
    """What to look at to learn whether a fact holds."""
    return _LOOK[fact.kind](data, *fact.claim)


def _rebadge(data: Collection, one: str, other: str, *rest: Any) -> str:
    return f"compare {data.owner_text(one)} and {data.owner_text(other)} side by side"


def _uses(data: Collection, assembly: str, owner: str, *rest: Any) -> str:
    return f"look whether {data.owner_text(owner)} is built on {data.owner_text(assembly)}"


def _takes(data: Collection, part: str, owner: str, position: str, *rest: Any) -> str:
    verb = "measure" if sort_of(data, part) == data.belt_kind() else "look at"
    place = f"the {data.text('position', position)} of {data.owner_text(owner)}"
    return f"{verb} {place} (is it {data.text('part', part)}?)"


def _same(data: Collection, one: str, other: str) -> str:
    return f"compare {data.text('part', one)} and {data.text('part', other)} side by side"


def _replaces(data: Collection, new: str, old: str) -> str:
    return f"try {data.text('part', new)} where {data.text('part', old)} goes"


def _fits(data: Collection, owner: str, position: str, to: str, at: str, *rest: Any) -> str:
    source = f"the {data.text('position', position)} of {data.owner_text(owner)}"
    return f"try {source} on {data.owner_text(to)} at {data.text('position', at)}"


def _size(data: Collection, one: str, other: str) -> str:
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
