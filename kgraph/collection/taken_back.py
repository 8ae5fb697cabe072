"""Which entries of things were taken back, by their ids."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from kgraph import records
from kgraph.collection.fact_ids import thing_id, written_id

GoneThing = tuple[records.Thing, records.Withdraw]
"""An entry of a thing that was taken back, and what took it back."""


def things_taken_back(entries: Sequence[records.Entry]) -> dict[int, GoneThing]:
    """By its `id()` every entry of a thing that was taken back, in the order of reading."""
    targets = holding(e for e in entries if isinstance(e, records.Withdraw))
    if not targets:
        return {}
    things = (e for e in entries if isinstance(e, records.Thing))
    return {id(t): (t, by) for t in things if (by := taking(targets.get(thing_id(t), ()), t))}


def holding(withdraws: Iterable[records.Withdraw]) -> Mapping[str, list[records.Withdraw]]:
    """The withdrawals that no other takes back, by the id that they name."""
    given = by_target(withdraws)
    found = {target: [w for w in those if holds(w, given, _may)] for target, those in given.items()}
    return {target: left for target, left in found.items() if left}


def by_target(withdraws: Iterable[records.Withdraw]) -> dict[str, list[records.Withdraw]]:
    """Withdrawals by the id that they name."""
    given: dict[str, list[records.Withdraw]] = {}
    for w in withdraws:
        given.setdefault(w.target.strip(), []).append(w)
    return given


def holds(
    w: records.Withdraw,
    given: Mapping[str, list[records.Withdraw]],
    may: Callable[[records.Withdraw, records.Withdraw], bool],
    seen: frozenset[int] = frozenset(),
) -> bool:
    """Whether no other withdrawal that holds takes one back, by its id; `may`: whether one may another."""
    ids = {w.own_id.strip(), written_id(w)} - {""}
    against = (o for i in ids for o in given.get(i, ()) if o is not w and id(o) not in seen and may(o, w))
    return not any(holds(o, given, may, seen | {id(w)}) for o in against)


def taking(withdraws: Iterable[records.Withdraw], thing: records.Thing) -> records.Withdraw | None:
    """The first of these withdrawals that may take back an entry with the id that they name."""
    return next((w for w in withdraws if _may(w, thing)), None)


def _may(by: records.Withdraw, said: records.Thing | records.Withdraw) -> bool:
    """Whether a withdrawal is not that of another folder than what it names came by.

    Names are compared as they are written: which of them mean one is told by entries that may be taken back.
    """
    return not by.via or by.via[0].key in {n.key for n in said.via[:1]}
