"""What a set may be, as text and as JSON: families together, with what speaks for and against."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Iterator
from typing import Any

from kgraph.collection import Collection
from kgraph.fits.graph import Graph
from kgraph.questions.identify import ASSUMED, SCALES_NOTE, Candidate, LookReason, Recognised
from kgraph.questions.identify_tried import TriedSets
from kgraph.recognition import traits
from kgraph.recognition.looks import Next
from kgraph.render.answers import caution_texts, left_out, with_opening

DOES_NOT_FIT = 0.01
SETS_SHOWN = 3
SHOWN = 5
"""So many families are shown, and so many places to look next."""


def cautions_of(graph: Graph, keys: Iterable[str]) -> list[str]:
    """The cautions of looking at these keys; none where all of them are seen from outside."""
    chosen = list(keys)
    names = [n.text for key in chosen for n in graph.data.position_rules(key).cautions]
    inside = names or any(traits.lies_inside(graph, key) for key in chosen)
    return with_opening(names) if inside else []


def next_cautions(graph: Graph, following: list[Next]) -> list[str]:
    """The cautions of what is to be looked at next, those of opening a set with them."""
    return cautions_of(graph, [n.key for n in following[:SHOWN]])


def as_json(
    graph: Graph,
    question: dict[str, Any],
    found: Recognised,
    best: list[Candidate],
    following: list[Next],
    most: int | None = None,
    less: str = "",
) -> dict[str, Any]:
    """One object: every hypothesis with its probability, best first; at most `most` of them.

    `less` says how many are left out as less certain.
    """
    data = graph.data
    rows = [_row(data, c) for c in best[:most]]
    by_key = {f.look.name: found.sisters[f.trait.key] for f in found.fittings}
    notes = [*([less] if less else []), *found.seen.notes, *found.seen.silent, ASSUMED, SCALES_NOTE]
    if len(rows) < len(best):
        notes.insert(0, left_out(len(best) - len(rows)))
    out: dict[str, Any] = {
        "question": question,
        "answers": rows,
        "look at next": [
            {"key": n.name, "bits": n.bits, "tells apart": n.apart, "of": n.left, "says": says(n)}
            for n in following
        ],
        "differ": {"sisters": found.differ[0], "others": found.differ[1], "sisters by key": by_key},
        "notes": notes,
    }
    if texts := caution_texts(data, next_cautions(graph, following)):
        out["caution texts"] = texts
    return out


def _row(data: Collection, c: Candidate) -> dict[str, Any]:
    return {
        "set": data.owner_text(c.set) if c.set else None,
        "family": data.owner_text(c.family) if c.family else None,
        "probability": c.probability,
        "fit": c.fit,
        "for": [_reason(data, r) for r in c.supports],
        "against": [_reason(data, r) for r in c.against],
        "unknown": c.unknown,
    }


def _reason(data: Collection, r: LookReason) -> dict[str, Any]:
    return {
        "key": r.look.name,
        "seen": r.look.text,
        "recorded": list(r.has),
        "on": data.owner_text(r.source),
        "certainty": r.certainty,
        "bits": r.bits,
        "facts": [f.id for f in r.facts],
    }


def tried_json(found: TriedSets) -> dict[str, Any]:
    """How often sets and families were found by their looks, as one object."""
    answers = [{"tried": name, **getattr(found, name)._asdict()} for name in found._fields]
    return {"question": {"command": "identify", "tried": True}, "answers": answers, "notes": []}


def says(n: Next) -> str:
    """One place to look next, in words."""
    if not n.apart:
        return f"{n.name} makes the likeliest likelier"
    return f"{n.name} tells apart {n.apart} of the {n.left} that are left"


def as_text(
    data: Collection, found: Recognised, best: list[Candidate], following: list[Next], proof: bool
) -> str:
    """Families together, the likeliest first."""
    lines: list[str] = []
    chances = found.chances
    families = sorted({c.family for c in best}, key=lambda f: (-chances[f], f or "~"))
    for family in families[:SHOWN]:
        if family is None:
            lines.append(f"{chances[family]:7.4f}  none of these\n")
            continue
        lines.append(f"{chances[family]:7.4f}  the family of {data.owner_text(family)}\n")
        members = [c for c in best if c.family == family]
        for place, c in enumerate(members[:SETS_SHOWN]):
            lines += _candidate(data, found, c, proof, whole=not place)
        if rest := members[SETS_SHOWN:]:
            lines.append(
                f"         {sum(c.probability for c in rest):.4f}  {len(rest)} more of this family\n"
            )
    if more := families[SHOWN:]:
        lines.append(f"{sum(chances[f] for f in more):7.4f}  {_more(more)}; --json has all\n")
    if following:
        lines.append("look at next:\n")
        lines += [f"  {says(n)} ({n.bits:.2f} bits)\n" for n in following[:SHOWN]]
    lines += [f"{note}\n" for note in (*found.seen.silent, f"assumed: {ASSUMED}")]
    return "".join(lines)


def afterwards(data: Collection, found: Recognised, unit: str) -> Iterator[str]:
    """What to run once it is known what the set is; of a sister that is not recorded a name is to fill in."""
    families = {of: chance for of, chance in found.chances.items() if of}
    likeliest = max(families, key=lambda of: (families[of], of), default="")
    nearest = next((c.set for c in found.candidates if c.set and c.family == likeliest), None)
    if not nearest:
        return
    name, top = shlex.quote(data.owner_text(nearest)), found.candidates[0]
    if top.set is None and top.family:
        badge = next((look.text for look in found.seen.looks if look.key == traits.BADGE), "BADGE")
        sister = shlex.quote(f"{badge} MODEL")
        yield f"if it is a sister, with its name here: kgraph add rebadge {sister} {name} --how compared"
    if unit:
        yield f"once it is known: kgraph correct {shlex.quote(data.text('unit', unit))} set {name}"


def _more(families: list[str | None]) -> str:
    """What is not shown, counted: so many families, and whether none of these is among it."""
    number = sum(family is not None for family in families)
    named = [f"{number} more {'family' if number == 1 else 'families'}"] if number else []
    return " and ".join(named + ["none of these"] * (None in families))


def _candidate(data: Collection, found: Recognised, c: Candidate, proof: bool, whole: bool) -> list[str]:
    """One answer of a family; with `whole` what speaks for and against it."""
    name = data.owner_text(c.set) if c.set else "a sister that is not recorded"
    doubt = "  does not fit" if c.fit < DOES_NOT_FIT else ""
    lines = [f"         {c.probability:.4f}  {name}  fit {c.fit:.3g}{doubt}\n"]
    for word, reasons in (("for", c.supports), ("against", c.against)) if whole else ():
        lines += [_said(data, word, r, proof) for r in reasons]
    if c.unknown:
        lines.append(f"                 unknown: {c.unknown} of {len(found.fittings)}\n")
    return lines


def _said(data: Collection, word: str, r: LookReason, proof: bool) -> str:
    through = "" if r.certainty == 1.0 else f", by {data.owner_text(r.source)} at {r.certainty:.2f}"
    has = "" if r.has == (r.look.text,) else f" (recorded: {', '.join(r.has)})"
    line = f"                 {word}: {r.look.name} {r.look.text}{has}{through}, {r.bits:+.2f} bits\n"
    facts = [f"                   {f.kind} {f.id} {f.where}\n" for f in r.facts] if proof else []
    return line + "".join(facts)
