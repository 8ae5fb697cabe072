"""By which ids what is left of a fact is taken back.

A withdrawal of an id takes back all sayings of its fact but those that correct that id: they may stand before
it in the folder. So a saying that corrects what it states itself is taken back alone, by its own id, and what
corrects it in its turn corrects the same id again.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from kgraph import lookup
from kgraph.collection import Collection
from kgraph.collection.fact_ids import saying_id, written_id
from kgraph.collection.sayings import FACT_TYPES
from kgraph.events import Event, events_of
from kgraph.facts import Fact
from kgraph.records import Statement, Thing


class TakingBack(NamedTuple):
    """The ids that are withdrawn together, and the id that a correction of what they state names."""

    targets: tuple[str, ...]
    corrects: str


def sayings_left(data: Collection, fact: Fact) -> list[Statement]:
    """The sayings of a fact that count."""
    places = {e.where for e in fact.evidence}
    return [e for e in data.entries if isinstance(e, FACT_TYPES) and e.where in places]


def taking_back(
    data: Collection, one: str, is_meant: Callable[[Statement], bool] | None = None
) -> TakingBack:
    """What is to be withdrawn for what is left of the fact or event with an id.

    Of sayings of which some are meant those alone; where none is, all of them.
    """
    fact = lookup.fact_as_said(data, one)
    if fact is None:
        return _of_event(lookup.event_or_withdrawal(data, one), one)
    left = sayings_left(data, fact)
    alone = [r for r in left if saying_id(r.pairs) == one]
    known = [r.corrects.strip() for r in alone or left if r.corrects.strip() in fact.ids]
    corrects = known[0] if known else one
    if alone:
        return TakingBack((one,), corrects)
    meant = [r for r in left if is_meant is None or is_meant(r)] or left
    apart = [saying_id(r.pairs) for r in meant if r.corrects.strip() == corrects]
    together = [corrects] if len(apart) < len(meant) or not apart else []
    return TakingBack((*together, *apart), corrects)


def said_by(said: Statement | Thing) -> str:
    """Who found what an entry says; "" where it names nobody."""
    who = said.by if isinstance(said, Statement) else dict(said.attributes).get("by", "")
    return who if isinstance(who, str) else ""


def told_of_several(data: Collection, one: str) -> str:
    """That several events have this id and go together, in words; "" where that is not so."""
    if lookup.fact_with_id(data, one):
        return ""
    alike = [e for e in events_of(data) if one in (e.own_id.strip(), written_id(e))]
    places = ", ".join(str(e.where) for e in alike)
    return (
        f"it happened {len(alike)} times, and all of them are taken back: {places}" if len(alike) > 1 else ""
    )


def _of_event(entry: Statement | None, one: str) -> TakingBack:
    if isinstance(entry, Event) and entry.own_id.strip() and entry.corrects.strip() == written_id(entry):
        return TakingBack((entry.own_id.strip(),), entry.corrects.strip())
    return TakingBack((one,), one)
