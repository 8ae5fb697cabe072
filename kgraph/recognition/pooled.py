"""What sets have by their own records, and where they have none by the surest record of their sisters."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping

from kgraph.recognition.pairs import Had, Record
from kgraph.recognition.spreading import Ties


def pooled(
    ties: Ties, own: Mapping[str, Record], sets: Iterable[str], agree: Mapping[str, float]
) -> dict[str, Record]:
    """What each of these sets has, its own or by those of its sisters that are among them.

    What a sister has is as certain as her record is, as they are one design, and as sisters agree there.
    """
    found = {owner: dict(own.get(owner, {})) for owner in sets}
    if len(found) < 2:
        return {**found}
    for key in {key for has in found.values() for key in has}:
        _spread(ties, found, key, agree[key])
    return {**found}


def _spread(ties: Ties, found: Mapping[str, dict[str, Had]], key: str, agree: float) -> None:
    """Give those that lack a key the surest record of it."""
    queue = [(-has[key].certainty, owner, "") for owner, has in found.items() if key in has]
    heapq.heapify(queue)
    done: set[str] = set()
    while queue:
        cost, owner, sister = heapq.heappop(queue)
        if owner in done:
            continue
        done.add(owner)
        if sister:
            found[owner][key] = Had(found[sister][key].values, -cost * agree)
        for tie in ties.of(owner):
            if not tie.to_assembly and key not in tie.left_out and key not in found.get(tie.other, {key: 0}):
                heapq.heappush(queue, (cost * tie.certainty, tie.other, owner))
