"""Which entries speak of a name: what is noted of each entry, and the rows in which that is kept.

====== ========= ======================================================================================
row    of        holds
====== ========= ======================================================================================
b|N    a bucket  of the names whose CRC leaves N: for each how it is named, and by which entries
n|K    a kind    the same of all things of a kind of which a folder has few; of its uses the first
u|K|N  a name    the first use of such a thing in each file; by things every use up to the first by another
e|K    a kind    the entries of a kind (not of the facts that make up most of a folder)
sorts  all parts the kinds that parts name
y|K    a kind    the parts that name it
z|K    a kind    for each measure of these parts its bins
z|K|M|B a bin    the part and the entry of each value in it
====== ========= ======================================================================================

An entry is a number; entries are numbered as they are read.
"""

from __future__ import annotations

import json
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator
from itertools import groupby
from operator import itemgetter
from typing import Any

from kgraph import belt_sizes, ratings, records, words
from kgraph.collection.fact_ids import thing_id, written_id
from kgraph.collection.resolving import names_said
from kgraph.fits.neighbours import Size
from kgraph.fits.sizes import size_of
from kgraph.index.entries import FEW, MOST_FACTS, NOTED, OF_A_THING, bucket, few_named, hash_of, is_short
from kgraph.names import compared, fold

IN_BUCKET = 8
"""So many names share a row."""
_BIN = math.log(1.02)
_FAR = 10**6
LENGTH = "length of a belt"
"""The measure under which all ways to write the length of a belt are kept."""


def bin_of(value: float) -> int:
    """The bin of a value of a measure: values in one are 2 % apart at most."""
    if value <= 0:
        return -_FAR
    return _FAR if value == math.inf else math.floor(math.log(value) / _BIN)


_Bins = dict[str, dict[int, list[tuple[str, int]]]]


class Noted:
    """What is noted of some entries, by name."""

    def __init__(self) -> None:
        self.names: dict[tuple[str, str], list[int]] = defaultdict(list)
        """(how it is named, key) -> entries."""
        self.kinds: dict[str, list[int]] = defaultdict(list)
        self.parts: dict[str, list[int]] = defaultdict(list)
        self.sizes: dict[str, _Bins] = {}
        """The kind that a part names -> measure -> bin -> the part and the entry of each value in it."""
        self.counts: dict[str, int] = defaultdict(int)
        """How many entries there are of a kind, and how many other names of things of a kind."""
        self.own_ids: list[str] = []

    def add_file(self, entries: Iterable[records.Entry], start: int) -> None:
        """Note the entries of one file, numbered from `start` on."""
        used: set[tuple[str, str]] = set()
        for number, entry in enumerate(entries, start):
            self.counts[entry.kind] += 1
            if entry.kind not in MOST_FACTS:
                self.kinds[entry.kind].append(number)
            for how, named in names_said(entry):
                if how in FEW or how == "source":
                    if (how, named.key) in used:
                        continue
                    # An entry of a thing may be taken back, and then the next use is the first.
                    if isinstance(entry, records.Statement):
                        used.add((how, named.key))
                found = self.names[how, named.key]
                if not found or found[-1] != number:
                    found.append(number)
            if isinstance(entry, records.Statement):
                self._add_statement(entry, number)
            elif isinstance(entry, records.Thing):
                self.names[OF_A_THING, thing_id(entry)].append(number)
                self.counts[f"{entry.kind} also"] += len(entry.also)
            if isinstance(entry, records.Part):
                self._add_part(entry, number)

    def _add_statement(self, said: records.Statement, number: int) -> None:
        own = said.own_id.strip()
        for one in {written_id(said), own} - {""}:
            self.names["id", one].append(number)
        if own:
            self.own_ids.append(own)
        if said.note:
            self.kinds[NOTED].append(number)

    def _add_part(self, part: records.Part, number: int) -> None:
        kind = fold(part.sort)
        self.parts[kind].append(number)
        for measure, value in measures(part):
            bins = self.sizes.setdefault(kind, {}).setdefault(measure, {})
            bins.setdefault(bin_of(value), []).append((part.name.key, number))

    def hashed(self) -> Iterator[tuple[int, str, str, str]]:
        """The names that go into buckets, which are taken out: hash, key, how, and the entries as JSON."""
        for how, key in [name for name in self.names if not few_named(name[0])]:
            yield hash_of(key), key, how, json.dumps(self.names.pop((how, key)))

    def join(self, other: Noted) -> None:
        """Take in what was noted of later files."""
        for name, found in other.names.items():
            self.names[name] += found
        for key, numbers in other.kinds.items():
            self.kinds[key] += numbers
        for key, numbers in other.parts.items():
            self.parts[key] += numbers
        for kind, of_kind in other.sizes.items():
            for measure, bins in of_kind.items():
                mine = self.sizes.setdefault(kind, {}).setdefault(measure, {})
                for one, values in bins.items():
                    mine.setdefault(one, []).extend(values)
        self.own_ids += other.own_ids
        for kind, count in other.counts.items():
            self.counts[kind] += count

    def whole(self) -> Iterator[tuple[str, Any]]:
        """The rows of a whole folder but its buckets: each row that must be there is."""
        kinds = [kind for kind in words.KINDS if kind not in MOST_FACTS]
        empty: dict[str, Any] = {f"n|{kind}": {} for kind in FEW}
        empty |= {f"e|{kind}": [] for kind in (*kinds, NOTED)}
        yield from (empty | dict(self.rows(1))).items()

    def rows(self, buckets: int) -> Iterator[tuple[str, Any]]:
        """The rows of what was noted."""
        yield "counts", self.counts
        yield "own ids", self.own_ids
        held: dict[str, dict[str, dict[str, list[int]]]] = defaultdict(lambda: defaultdict(dict))
        for (how, key), found in self.names.items():
            few = few_named(how)
            if not few:
                held[bucket(key, buckets)][key][how] = found
                continue
            held[f"n|{few}"][key][how] = found[:1] if is_short(how) else found
            if is_short(how):
                yield f"u|{how}|{key}", found
        yield from held.items()
        yield from ((f"e|{kind}", found) for kind, found in self.kinds.items())
        yield "sorts", list(self.parts)
        for kind, found in self.parts.items():
            yield f"y|{kind}", found
            yield f"z|{kind}", {measure: sorted(bins) for measure, bins in self.sizes.get(kind, {}).items()}
            for measure, bins in self.sizes.get(kind, {}).items():
                yield from ((f"z|{kind}|{measure}|{one}", of) for one, of in bins.items())


def buckets_of(found: Iterable[tuple[int, str, str, str]], buckets: int) -> Iterator[tuple[str, Any]]:
    """The rows of all buckets, from names in their order (bucket, key, how, entries as JSON)."""
    done = -1
    for number, names in groupby(found, key=itemgetter(0)):
        yield from ((f"b|{n}", {}) for n in range(done + 1, number))
        row: dict[str, dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
        for _, key, how, entries in names:
            row[key][how] += json.loads(entries)
        yield f"b|{number}", row
        done = number
    yield from ((f"b|{n}", {}) for n in range(done + 1, buckets))


def measures(part: records.Part) -> Iterator[tuple[str, float]]:
    """The numbers among the sizes that an entry records of a part: the name of the measure, and the value.

    A length of a belt is given as its inside length, in mm, as well.
    """
    if part.inside_length_mm is not None:
        yield LENGTH, part.inside_length_mm
    sizes = [("section", part.section)] if part.section is not None else []
    for key, size in (*sizes, *((key, size_of(value)) for key, value in part.attributes)):
        if measure := measure_of(key, size, is_belt=False):
            yield measure[0], measure[1]


def measure_of(key: str, size: Size, is_belt: bool) -> tuple[str, float, float] | None:
    """The name of the measure that a size is kept under, its value, and what to multiply that by.

    None for a text. The length of a belt is kept as its inside length, by whatever name it is compared.
    """
    if is_belt and key in belt_sizes.BELT_MEASURES and isinstance(size, float):
        return LENGTH, size, belt_sizes.BELT_MEASURES[key]
    if isinstance(size, belt_sizes.Section):
        return f"section {size.form}", size.sizes_mm[0], 1.0
    if isinstance(size, float):
        return f"{compared(key)} mm", size, 1.0
    if isinstance(size, ratings.Rating):
        return f"{compared(key)} {size.unit}", size.value, 1.0
    return None
