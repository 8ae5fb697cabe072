"""What the page "What is this set?" reads: what is recorded of every set, small enough for a phone.

The page works out the rest itself as :mod:`kgraph.questions.identify` does, with the same numbers.
Owners are numbered, assemblies first, then sets, each in the order of their keys; so are families, by the
first of their sets. What follows through sisters and assemblies is left to the page.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable
from itertools import pairwise
from typing import Any

from kgraph.book.ground import BookGround
from kgraph.fits.graph import Graph
from kgraph.mains import OPENING
from kgraph.questions.identify import ASSUMED, PRIOR
from kgraph.recognition import differing, looks, seen, traits
from kgraph.render.identify import DOES_NOT_FIT
from kgraph.render.terminal import visible

DATA = "recorded.js"
MOST_SETS = 20_000
"""Of more sets the page would be too large to carry about; the command serves them."""


def recognisable(ground: BookGround) -> bool:
    """Whether there are sets to tell apart, and something recorded to tell them by."""
    graph = ground.graph
    return 2 <= len(traits.sets_of(graph.data)) <= MOST_SETS and bool(traits.keys_of(graph))


def recognising_page(ground: BookGround) -> dict[str, Any]:
    """What stands on the page beside what its script makes."""
    return {
        "sets": len(traits.sets_of(ground.data)),
        "assumed": ASSUMED,
        "doubtful": DOES_NOT_FIT,
        "cautions": ground.views.cautions(OPENING),
    }


def data_script(ground: BookGround) -> bytes:
    """The script that hands over the data, in ASCII and without `<`, whatever a name holds."""
    graph = ground.graph
    sets = traits.sets_of(graph.data)
    owners = sorted(f"a:{key}" for key in graph.data.things["assembly"])
    owners += sorted({o for o in graph.links if o[0] == "a"} - set(owners))
    owners = [*sorted(owners), *sets]
    number = {owner: n for n, owner in enumerate(owners)}
    family, differ = traits.families(graph), differing.differences(graph)
    keys = _keys(graph)
    at = {key: n for n, key in enumerate(keys)}
    certain, groups = _Numbers(), differing.groups(graph)
    whole = {
        "prior": PRIOR,
        "others": differ.others,
        "budget": [looks.MOST_SETS, looks.MOST_KEYS, looks.LEAST_KEYS, looks.MOST_RECORDS, looks.MOST_VALUES],
        "assemblies": [visible(graph.data.owner_text(o)) for o in owners[: len(owners) - len(sets)]],
        "sets": [visible(graph.data.owner_text(o)) for o in sets],
        "pages": [ground.refs["set", o[2:]].href[len("sets/") : -len(".html")] for o in sets],
        "families": [number[family[o]] - len(owners) + len(sets) for o in sets],
        "links": list(_links(graph, number, at, certain)),
        "keys": [_key(graph, key, number, at, certain, differ, groups) for key in keys],
        "certain": certain.values,
    }
    text = json.dumps(whole, separators=(",", ":")).replace("<", "\\u003c")
    return f"recordedSets({text});\n".encode("ascii")


class _Numbers:
    """Numbers that stand once in a list and are told by their place."""

    def __init__(self) -> None:
        self.values: list[float] = []
        self._at: dict[float, int] = {}

    def __call__(self, value: float) -> int:
        if value not in self._at:
            self._at[value] = len(self.values)
            self.values.append(value)
        return self._at[value]


def _keys(graph: Graph) -> list[str]:
    """The keys of which something is recorded, in order."""
    return [key for key in sorted(traits.keys_of(graph)) if traits.recorded(graph, key).direct]


def _links(
    graph: Graph, number: dict[str, int], at: dict[str, int], certain: _Numbers
) -> Iterable[list[int | list[int]]]:
    """[one end, the other, 1 where the other is the assembly, certainty, keys left out]."""
    done: set[str] = set()
    for links in graph.links.values():
        for link in links:
            fact = link.fact
            if fact.id in done:
                continue
            done.add(fact.id)
            first, second = fact.claim[:2]
            one, other = (second, first) if link.to_assembly else (first, second)
            row: list[int | list[int]] = [
                number[one], number[other], int(bool(link.to_assembly)), certain(fact.certainty)
            ]  # fmt: skip
            out = sorted(at[key] for key in link.left_out if key in at)
            yield [*row, out] if out else row


def _key(
    graph: Graph,
    key: str,
    number: dict[str, int],
    at: dict[str, int],
    certain: _Numbers,
    differ: differing.Differences,
    groups: dict[str, str],
) -> dict[str, Any]:
    """One key: its name, values, and who has which of them how surely; nothing where it is as usual."""
    trait = traits.recorded(graph, key)
    values = sorted({v for k in trait.direct.values() for v in k.values})
    place = {value: n for n, value in enumerate(values)}
    row: dict[str, Any] = {
        "name": visible(trait.name),
        "values": [visible(trait.texts.get(v, v)) for v in values],
        "apart": differ.sisters_at(key),
        "has": _rows(trait, place, number, certain),
    }
    if key in traits.NOT_ASKED:
        row["not asked"] = 1
    if key == traits.BADGE:
        row["alone"] = 1
    if trait.misread != traits.MISREAD:
        row["misread"] = trait.misread
    if (first := groups.get(key)) in at:
        row["group"] = at[first]
    if traits.YES in place or traits.NO in place:
        row["yes"] = [place.get(traits.YES, -1), place.get(traits.NO, -1)]
    if trait.place:
        declaring = sorted(number[a] for a, of in graph.declares.items() if key in of and a in number)
        row["place"] = declaring
        if sizes := {visible(n): s for n, s in _sizes_at(graph, key, values).items()}:
            row["sizes"] = sizes
    elif seen.is_measure(graph, key):
        row["sizes"] = {"": [list(seen.size_mm(trait.texts[v])) for v in values]}
    return row


def _rows(
    trait: traits.Trait, place: dict[str, int], number: dict[str, int], certain: _Numbers
) -> list[list[Any]]:
    """[values, certainty, owners], each owner told by how far it is from the one before."""
    found: dict[tuple[tuple[int, ...], int], list[int]] = defaultdict(list)
    for owner, known in trait.direct.items():
        if owner in number:
            values = tuple(sorted(place[v] for v in known.values))
            found[values, certain(known.certainty)].append(number[owner])
    rows = []
    for (values, sure), owners in sorted(found.items()):
        owners.sort()
        steps = [owners[0], *(b - a for a, b in pairwise(owners))]
        rows.append([values[0] if len(values) == 1 else list(values), sure, steps])
    return rows


def _sizes_at(graph: Graph, key: str, parts: list[str]) -> dict[str, list[list[float] | int]]:
    """Attribute -> for each part its length in mm and its error, or 0; by texts, as they are compared."""
    found = {}
    for attribute, name in seen.sizes_at(graph, parts).items():
        texts = [seen.part_size(graph, part, attribute) for part in parts]
        found[name] = [list(seen.size_mm(t)) if t else 0 for t in texts]
    return found
