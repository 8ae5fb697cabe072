"""One file of a folder was changed: the rows that this changes, or None where all must be compiled anew.

Only the plain cases are dealt with here: facts that come and go, sets and parts that one file alone declares,
entries that move to other lines. Whatever could reach further (an `also`, a kind, a grade, a position, an id
of one's own, a withdrawal, a name that turns from a set into an assembly) is left to compiling.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any

from kgraph import records
from kgraph.claims import WITH_EXCEPTIONS
from kgraph.collection.sayings import FACT_TYPES
from kgraph.facts import Fact
from kgraph.fits import graph as graphs
from kgraph.fits import sizes
from kgraph.index import compiling
from kgraph.index.before_after import HERE, Anew, Side, Thing, entries_of, said_by, stubs_of, told_again
from kgraph.index.store import Store

Rows = dict[str, Any]
"""Key -> new row; None: the row is gone."""

_PLAIN = tuple(t for t in FACT_TYPES if t is not records.Run)


def update(store: Store, number: int, old: bytes, new: bytes) -> Rows | None:
    """The rows that are other than before, where a file (by its number) was `old` and is `new`.

    Raises Damaged where the index cannot be believed.
    """
    try:
        shared, *own = entries_of(old, new)
        stubs = stubs_of(store, [*shared, *own[0], *own[1]])
        before, after = (Side(shared, entries, stubs) for entries in own)
        made: Rows = json.loads(json.dumps(_Update(store, number, before, after).rows()))
    except Anew:
        return None
    return made


class _Update:
    """The rows of one update as they come about."""

    def __init__(self, store: Store, number: int, before: Side, after: Side) -> None:
        self.store, self.number, self.before, self.after = store, number, before, after
        self.made: Rows = {}
        self.targets = set(store.need("targets"))
        self.claimed = set(store.need("claimed"))
        self.several = self.targets | self.claimed
        """The ids of what is withdrawn, or has more than one id: no file tells alone which fact is meant."""

    def rows(self) -> Rows:
        """All rows that change; raises Anew."""
        self.changed = self._changed()
        self._only_plain_entries()
        self._features_are_called_the_same()
        self._entries_of_one_thing_keep_their_order()
        self._still_assemblies()
        for thing in dict.fromkeys(
            [*self.before.declared, *self.before.used, *self.after.declared, *self.after.used]
        ):
            if self.before.names(thing) != self.after.names(thing):
                self._thing(thing)
        for thing in self._declared_otherwise():
            self._declaration(thing)
        for fact in dict.fromkeys([*self.before.facts, *self.after.facts]):
            self._fact(fact)
        self._drop_what_is_gone()
        return self.made

    def get(self, key: str) -> Any:
        """A row as it is by now, which may be changed in place; None where there is none."""
        if key not in self.made:
            found = self.store.get(key)
            if found is None:
                return None
            self.made[key] = found
        return self.made[key]

    # What changed ---------------------------------------------------------------------------

    def _changed(self) -> list[records.Entry]:
        """The entries that only one side has."""
        said = [[(said_by(e), e) for e in side.own] for side in (self.before, self.after)]
        was, now = (Counter(text for text, _ in of_side) for of_side in said)
        return [entry for of_side in said for text, entry in of_side if was[text] != now[text]]

    def _only_plain_entries(self) -> None:
        for entry in self.changed:
            if isinstance(entry, _PLAIN):
                if entry.own_id.strip() or not self._plain_fact(entry):
                    raise Anew
            elif not isinstance(entry, records.SetModel | records.Part) or entry.also:
                raise Anew

    def _entries_of_one_thing_keep_their_order(self) -> None:
        """Of several entries of one thing the first one's word may count."""
        before, after = (told_again(side.entries) for side in (self.before, self.after))
        if any(before[t] != after[t] for t in before.keys() & after.keys()):
            raise Anew

    def _features_are_called_the_same(self) -> None:
        """What only an `except` names is called as where it stands first."""
        before, after = self.before.data.features, self.after.data.features
        otherwise = {k for k in before | after if before.get(k) != after.get(k)}
        if otherwise and otherwise - self.store.need("positions").keys():
            raise Anew

    def _still_assemblies(self) -> None:
        """What is an assembly by being used as one must be so still: facts elsewhere are of that owner."""
        used = {e.assembly.key for e in self.after.entries if isinstance(e, records.Uses)}
        for entry in self.changed:
            if isinstance(entry, records.Uses) and entry.assembly.key not in used:
                row = self.store.get(f"o|a:{entry.assembly.key}")
                if row is None or not row["e"]:
                    raise Anew

    def _plain_fact(self, entry: records.Statement) -> bool:
        """Whether all that a fact leaves out are positions of the folder."""
        left_out = getattr(entry, "exceptions", ())
        known = self.store.need("positions")
        return all(
            n.key in known
            and self.store.get(f"o|a:{n.key}") is None
            and ("assembly", n.key) not in self.after.used
            for n in left_out
        )

    def _declared_otherwise(self) -> list[Thing]:
        """Sets and parts of which the file declares something else than before."""
        return list(
            dict.fromkeys(
                (e.kind, e.name.key) for e in self.changed if isinstance(e, records.SetModel | records.Part)
            )
        )

    # Things ---------------------------------------------------------------------------------

    def _key(self, thing: Thing) -> str:
        kind, key = thing
        return {"set": f"o|s:{key}", "assembly": f"o|a:{key}", "part": f"p|{key}"}.get(
            kind, f"n|{kind}|{key}"
        )

    def _thing(self, thing: Thing) -> None:
        """A thing that the file begins or ceases to name, or names otherwise."""
        kind, key = thing
        if kind == "source":
            return
        if self.store.get(f"i|{kind}|{key}") is not None:
            raise Anew
        row = self.get(self._key(thing))
        if row is None:
            if kind not in ("set", "part", "assembly") or self._other_kind(thing):
                raise Anew
            row = self.made[self._key(thing)] = _new_row(kind)
        elif "feature" in row or self._other_kind(thing):
            raise Anew
        declared, used = self.after.names(thing)
        declares, names = _without(row["e"], self.number), _without(row["w"], self.number)
        text = self._text(thing, row, declares, names)
        row["e"] = _with(row["e"], self.number, declared is not None)
        row["w"] = _with(row["w"], self.number, declared is not None or used is not None)
        if kind not in ("set", "part", "assembly", "kind") and (text != row["t"] or not row["w"]):
            raise Anew
        row["t"] = text

    def _other_kind(self, thing: Thing) -> bool:
        """Whether the name of a set is now that of an assembly, or the reverse."""
        kind, key = thing
        other = {"set": "assembly", "assembly": "set"}.get(kind)
        return other is not None and (
            self.store.get(self._key((other, key))) is not None
            or (other, key) in self.after.declared
            or (other, key) in self.after.used
        )

    def _text(self, thing: Thing, row: Rows, declares: list[int], names: list[int]) -> str:
        """The name as first written; raises Anew where only another file can tell."""
        before, after = self.before.names(thing), self.after.names(thing)
        shown: str = row["t"]
        if before[0] != after[0]:
            if declares or (names and after[0] is None):
                raise Anew
            return after[0] or after[1] or shown
        if row["e"] or (names and names[0] < self.number):
            return shown
        if names and after[1] is None:
            raise Anew
        return after[1] or shown

    def _declaration(self, thing: Thing) -> None:
        """What a set or part has by its entries, which must stand in this file alone."""
        kind, key = thing
        row = self.get(self._key(thing))
        if row is None or _without(row["e"], self.number):
            raise Anew
        if kind == "set":
            self._attributes(key, row)
        else:
            self._kind(key, row)

    def _attributes(self, key: str, row: Rows) -> None:
        matched = {a for p in self.store.need("ruled") for a in self.store.need(f"r|{p}")[0]}
        found = {a: v for a in sorted(matched) if (v := self.after.data.attribute("set", key, a))}
        row.pop("a", None)
        if found:
            row["a"] = found

    def _kind(self, key: str, row: Rows) -> None:
        for kind in dict.fromkeys([row["k"], self.after.data.kind_of(key)]):
            if not kind:
                continue
            if self.store.get(f"i|kind|{kind}") is not None or self.store.get(f"k|{kind}") is None:
                raise Anew
            of_kind = self.get(f"k|{kind}")
            if of_kind["r"] is None:
                continue
            of_kind["s"].pop(key, None)
            if kind == self.after.data.kind_of(key):
                of_kind["s"][key] = self._sizes(key, of_kind["r"][0])
                of_kind["s"] = dict(sorted(of_kind["s"].items()))
        row["k"] = self.after.data.kind_of(key)

    def _sizes(self, part: str, rules: Mapping[str, str]) -> Rows:
        found = sizes.recorded_sizes(self.after.data, part, rules)
        return {key: compiling.size_row(size) for key, size in found.items()}

    def _drop_what_is_gone(self) -> None:
        """Sets, assemblies and parts that no file names any more."""
        for key, row in self.made.items():
            if key[0] in "op" and row is not None and not row["w"]:
                if any(row.get(part) for part in ("l", "p", *compiling.OF)):
                    raise Anew
                self.made[key] = None

    # Facts ----------------------------------------------------------------------------------

    def _fact(self, one: str) -> None:
        before, after = self.before.facts.get(one), self.after.facts.get(one)
        if before == after:
            return
        row = self.get(f"f|{one}")
        if before and after and _meaning(before) == _meaning(after):
            if row is None:
                if self.targets.intersection(before.ids) and not self.claimed.intersection(before.ids):
                    return
                raise Anew
            places = (self._places(f) for f in (before, after))
            moved = {tuple(was): now for was, now in zip(*places, strict=True)}
            row[3] = [[*moved.get(tuple(e[:3]), e[:3]), *e[3:]] for e in row[3]]
            return
        fact = after or before
        assert fact is not None
        self._check(fact, row)
        others = [] if row is None else [e for e in row[3] if e[0] != self.number]
        mine = [] if after is None else compiling.fact_row(after, {"": self.number})[3]
        if not others and not mine:
            self.made[f"f|{one}"] = None
            self._links(fact, keep=False)
            return
        evidence = sorted([*others, *mine], key=lambda e: e[:3])
        certainty = max(e[4] for e in evidence)
        self.made[f"f|{one}"] = [fact.kind, _plain(fact.claim), certainty, evidence, list(fact.ids)]
        self._links(fact._replace(certainty=certainty), keep=True)

    def _check(self, fact: Fact, row: Any) -> None:
        """Raises Anew where the fact may be withdrawn, has several ids, or shares one with another."""
        if len(fact.ids) > 1 or self.several.intersection(fact.ids):
            raise Anew
        if row is not None and (
            row[0] != fact.kind or row[1] != _plain(fact.claim) or row[4] != list(fact.ids)
        ):
            raise Anew
        if isinstance(fact.claim, WITH_EXCEPTIONS) and row is None:
            self._check_pair(fact)

    def _check_pair(self, fact: Fact) -> None:
        """Raises Anew where the same two are joined by another fact of the kind, with other exceptions."""
        owner = self.get(f"o|{fact.claim[0]}")
        shorts = [found[1] for found in owner["l"]] if owner else []
        if any(s[0] != fact.id and s[1] == fact.kind and s[2][:2] == [*fact.claim[:2]] for s in shorts):
            raise Anew

    def _places(self, fact: Fact) -> list[list[int]]:
        return [[self.number, e.where.line, e.where.column] for e in fact.evidence]

    def _links(self, fact: Fact, keep: bool) -> None:
        """Put the links of one fact in place of those that it had."""
        made = graphs.WholeGraph(self.after.data)
        graphs.add(made, fact)
        for owner, links in made.links.items():
            row = self._need(f"o|{owner}")
            row["l"] = _put(row["l"], 1, fact.id, [compiling.link(k) for k in links] if keep else [])
        for letter, lists in compiling.AT.items():
            for place, found in getattr(made, lists).items():
                at = self._need(f"o|{place.owner}")["p"].setdefault(place.position, {})
                at[letter] = _put(
                    at.get(letter, []), -1, fact.id, map(compiling.entry, found) if keep else []
                )
                self._forget_empty(f"o|{place.owner}", place.position, letter)
        for letter, lists in compiling.OF.items():
            for part, found in getattr(made, lists).items():
                row = self._need(f"p|{part}")
                row[letter] = _put(
                    row.get(letter, []), -1, fact.id, map(compiling.entry, found) if keep else []
                )
                if not row[letter]:
                    del row[letter]
        if keep and fact.kind in _SWITCH:
            some = self._need("any")
            some[_SWITCH[fact.kind]] = True

    def _need(self, key: str) -> Any:
        row = self.get(key)
        if row is None:
            raise Anew
        return row

    def _forget_empty(self, key: str, position: str, letter: str) -> None:
        places = self.made[key]["p"]
        if not places[position][letter]:
            del places[position][letter]
        if not places[position]:
            del places[position]


_SWITCH = {"fits": "fits", "refuses": "refused"}


def _new_row(kind: str) -> Rows:
    row: Rows = {"t": "", "e": [], "w": []}
    if kind == "part":
        return row | {"k": ""}
    return row | {"l": [], "p": {}} | ({"d": [], "k": None} if kind == "assembly" else {})


def _without(files: list[int], number: int) -> list[int]:
    return [f for f in files if f != number]


def _with(files: list[int], number: int, named: bool) -> list[int]:
    """The first files that name a thing, with this one or not; raises Anew where the last is not known."""
    if not named:
        if number in files and len(files) == compiling.MOST_FILES:
            raise Anew
        return _without(files, number)
    return sorted({*files, number})[: compiling.MOST_FILES]


def _meaning(fact: Fact) -> Any:
    """All of a fact but the places where it is said."""
    said = [e._replace(where=HERE) for e in fact.evidence]
    return fact.kind, fact.claim, fact.certainty, fact.ids, said


def _put(found: list[Any], at: int, fact: str, new: Iterable[Any]) -> list[Any]:
    """Entries whose fact stands at an index, in the order of facts, with those of one fact put in anew."""
    return sorted([*(e for e in found if e[at][0] != fact), *new], key=lambda e: e[at][0])


def _plain(value: Any) -> Any:
    return [_plain(v) for v in value] if isinstance(value, tuple) else value
