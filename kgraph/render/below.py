"""Which keys of a thing come from the trade's ground, which from the folder, which hold by its name alone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from kgraph import records, trade
from kgraph.collection import Collection
from kgraph.lookup import KnownThing
from kgraph.matching import BY_NAME
from kgraph.names import fold
from kgraph.render.terminal import visible
from kgraph.render.values import value_text

FOLDER, GROUND, NAME = "folder", "ground", "name"


def lines(data: Collection, known: KnownThing) -> Iterator[str]:
    """What the ground says of a thing, and what of it the folder overrides, for a person."""
    for thing in known.ground:
        yield f"  from the trade's ground ({trade.BASIS}), {thing.where.file}:{thing.where.line}:"
        if thing.name.key != fold(known.name):
            yield f"    {thing.kind}: {thing.name.text}"
        for key, value in thing.pairs[1:]:
            instead = "  (the folder says otherwise)" if _overridden(known, key) else ""
            yield f"    {key}: {visible(value_text(value))}{instead}"
    for key, values in _by_name(data, known).items():
        yield f"  {key}: {', '.join(values)}  ({BY_NAME}; `{key}: []` in an entry says otherwise)"
    if not known.things and not known.facts and not known.mentions and not known.gone:
        yield "  nothing in this folder speaks of it"


def as_json(data: Collection, known: KnownThing) -> dict[str, Any]:
    """The entries of the ground, and for each key whence it comes."""
    below = [
        {
            "entry": {k: records.plain(v) for k, v in thing.pairs},
            "file": thing.where.file,
            "line": thing.where.line,
        }
        for thing in known.ground
    ]
    return {"ground": below, "from": _from(data, known)}


def _from(data: Collection, known: KnownThing) -> dict[str, list[str]]:
    """For each key that holds of a thing, where it comes from; other names add up, and may come from both."""
    found: dict[str, list[str]] = {}
    for thing in known.things:
        for key, _ in thing.pairs[1:]:
            found[key] = [FOLDER]
    for thing in known.ground:
        for key, _ in thing.pairs[1:]:
            if not _overridden(known, key) and GROUND not in found.setdefault(key, []):
                found[key].append(GROUND)
    return {**found, **{key: [NAME] for key in _by_name(data, known)}}


def _overridden(known: KnownThing, key: str) -> bool:
    return key != "also" and any(thing.states(key) for thing in known.things)


def _by_name(data: Collection, known: KnownThing) -> dict[str, list[str]]:
    """What holds of a position by its name alone."""
    rules = data.position_rules(known.key) if known.kind == "position" else None
    if rules is None or not rules.by_name:
        return {}
    values = {"must match": list(rules.must_match), "caution": [n.text for n in rules.cautions]}
    return {key: said for key, said in values.items() if not _overridden(known, key)}
