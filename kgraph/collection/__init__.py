"""All entries of a folder taken together: things merged by name, facts with their evidence.

Here it is decided whom a name means: an `also` name stands for its thing, and what `in:` names
is a set or an assembly. Owners are written `s:KEY` (a set) and `a:KEY` (an assembly).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from kgraph import records, words
from kgraph.collection.model import NOT_KNOWN_YET, UNKNOWN_SET, Collection, shown_name
from kgraph.collection.taken_back import things_taken_back
from kgraph.facts import KindRules

__all__ = ["NOT_KNOWN_YET", "UNKNOWN_SET", "Collection", "KindRules", "build", "other_names", "shown_name"]


def build(entries: Iterable[records.Entry], assemblies: Iterable[str] = ()) -> Collection:
    """The collection of these entries; their order decides nothing but which spelling is shown.

    `assemblies` are the keys of what entries elsewhere use as assemblies.
    """
    made = Collection()
    made.entries = tuple(entries)
    made.gone_things = things_taken_back(made.entries)
    things = _things(made.standing)
    made.things = things
    found = {kind: other_names(by_key) for kind, by_key in things.items()}
    made.aliases = {kind: one for kind, (one, _) in found.items()}
    made.ambiguous = {kind: several for kind, (_, several) in found.items()}
    things["stock"] = _stock_by_part(made)
    used = (e.assembly.key for e in made.entries if isinstance(e, records.Uses))
    made.assemblies = {made.key("assembly", key) for key in (*assemblies, *used)}
    return made


def _things(entries: Iterable[records.Entry]) -> dict[str, dict[str, list[records.Thing]]]:
    found: dict[str, dict[str, list[records.Thing]]] = {kind: {} for kind in words.THINGS}
    for entry in entries:
        if isinstance(entry, records.Thing):
            found[entry.kind].setdefault(entry.name.key, []).append(entry)
    return found


def other_names(
    by_key: Mapping[str, Sequence[records.Thing]],
) -> tuple[dict[str, str], dict[str, set[str]]]:
    """Of declared things of a kind the other names that mean one of them, and those that may mean several."""
    meant: dict[str, set[str]] = defaultdict(set)
    for key, things in by_key.items():
        for other in (o for t in things for o in t.also):
            if other.key != key and other.key not in by_key:
                meant[other.key].add(key)
    one = {k: next(iter(v)) for k, v in meant.items() if len(v) == 1}
    return one, {k: v for k, v in meant.items() if len(v) > 1}


def _stock_by_part(made: Collection) -> dict[str, list[records.Thing]]:
    """Loose parts are those of a part, by whichever of its names they are called."""
    by_part: dict[str, list[records.Thing]] = {}
    for key, things in made.things["stock"].items():
        by_part.setdefault(made.key("stock", key), []).extend(things)
    return by_part
