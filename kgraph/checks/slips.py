"""Slips of many hands: marks for the line above, names a slip apart, mains written in several ways."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping

from kgraph import mains, records
from kgraph.checks.ground import Check, CheckGround, at, warning
from kgraph.collection.fact_ids import thing_id
from kgraph.collection.sayings import FACT_TYPES
from kgraph.names import compared, fold, nearest
from kgraph.problems import Problem, command, shown
from kgraph.records import Value

_DITTO = re.compile(
    r"(?:ditto|dto|do|idem|same as above|as above)\s*\.?|[\s\-–—_]*(?:\"|''|″|〃|”|“|„|,,)[\s\-–—_\"”]*", re.I
)
_FREE = frozenset({"note", "why", "text", "check", "cure", "signs", "work", "id"})
"""Keys of remarks, in which such a word may stand by itself."""
LONG_WORD = 5
"""So long a word has letters enough that one of them is a slip: a choice of our own."""
_MOST_COMPARED = 200
_NAMED = ("set", "assembly", "part", "source")


def nothing_stands_for_the_line_above(ground: CheckGround) -> Iterator[Problem]:
    """A ditto mark says nothing in a fact file, where no line is above another."""
    by_place = {e.where: f.id for f in ground.data.facts_as_said() for e in f.evidence}
    for entry in ground.entries:
        if isinstance(entry, FACT_TYPES) and entry.where not in by_place:
            # It was taken back.
            continue
        for key, value in entry.pairs:
            for text in () if key in _FREE else _texts(value):
                if _DITTO.fullmatch(text.strip()):
                    says = f"{shown(key)}: {shown(text)} stands for the line above it"
                    one = thing_id(entry) if isinstance(entry, records.Thing) else by_place.get(entry.where)
                    yield warning(entry.where, "ditto", says, _written_out(one, key))


def _written_out(one: str | None, key: str) -> str:
    """How it is written out: of a fact or a thing by a command, of others in the file."""
    if one is None:
        return "write out what it means, in the file"
    return f"write out what it means: {command('correct', one, key.replace(' ', '-'), '...')}"


def _texts(value: Value) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for inner in value.values():
            yield from _texts(inner)
    else:
        for inner in value:
            yield from _texts(inner)


def declared_names_are_more_than_a_slip_apart(ground: CheckGround) -> Iterator[Problem]:
    """Two declared things whose names differ in one slip in one long word may be one, spelt in two ways."""
    uses = Counter((use.kind, use.key) for use in ground.uses)
    for kind in _NAMED:
        apart = _said_apart(ground, kind)
        for one, other in _a_slip_apart(ground, kind):
            if frozenset((one, other)) in apart:
                continue
            # The one that is named less often is the slip.
            right, wrong = sorted((one, other), key=lambda k: (-uses[kind, k], k))
            thing, before = ground.data.things[kind][wrong][0], ground.data.things[kind][right][0]
            says = (
                f"{kind} {shown(thing.name.text)} is nearly {shown(before.name.text)}, at {at(before.where)}"
            )
            yield warning(thing.where, "near-name", says, _mend(kind, thing, before))


def _mend(kind: str, thing: records.Thing, before: records.Thing) -> str:
    names = (before.name.text, thing.name.text)
    if kind == "part":
        return f"if they are one: {command('add', 'same', *names)}"
    if kind == "set":
        return f"spell it alike in the file; if they are two: {command('add', 'distinct', *names)}"
    return "if they are one, spell it alike in the file"


def _said_apart(ground: CheckGround, kind: str) -> set[frozenset[str]]:
    """The pairs of which a fact says how they stand to each other."""
    kinds = {"set": ("distinct", "rebadge"), "part": ("same", "replaces")}.get(kind, ())
    return {
        frozenset(a.removeprefix("s:") for a in fact.claim[:2])
        for one in kinds
        for fact in ground.of_kind(one)
    }


def _a_slip_apart(ground: CheckGround, kind: str) -> Iterator[tuple[str, str]]:
    """The pairs of keys whose names have the same words but one, in which a slip makes one of the other."""
    alike: dict[tuple[str, ...], list[tuple[str, str]]] = defaultdict(list)
    for key, things in ground.data.things[kind].items():
        words = things[0].name.text.split()
        for place, word in enumerate(words):
            if len(word) >= LONG_WORD and word.isalpha():
                rest = (*map(fold, words[:place]), "", *map(fold, words[place + 1 :]))
                alike[rest].append((fold(word), key))
    for group in alike.values():
        members = group[:_MOST_COMPARED]
        for number, (word, key) in enumerate(members):
            for near, other in members[number + 1 :]:
                # A slip, and not two: longer words may have more, and are then two words.
                if word != near and _one_slip(word, near):
                    yield key, other


def _one_slip(one: str, other: str) -> bool:
    """One letter more, one less, another one, or two that changed places."""
    if abs(len(one) - len(other)) > 1 or not nearest(one, [other]):
        return False
    if len(one) == len(other):
        wrong = [i for i, (a, b) in enumerate(zip(one, other, strict=True)) if a != b]
        if len(wrong) == 2 and wrong[1] == wrong[0] + 1:
            return one[wrong[0]] == other[wrong[1]] and one[wrong[1]] == other[wrong[0]]
        return len(wrong) == 1
    short, long = sorted((one, other), key=len)
    return any(long[:i] + long[i + 1 :] == short for i in range(len(long)))


def mains_are_written_one_way(ground: CheckGround) -> Iterator[Problem]:
    """One voltage is written one way in a folder: what names no frequency agrees with 50 and 60 Hz alike."""
    ways: dict[tuple[tuple[float, float], ...], dict[str, list[records.Thing]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for things in ground.data.things["set"].values():
        for thing in things:
            for key, value in thing.pairs:
                read = (
                    mains.parse(value)
                    if compared(key) == mains.ATTRIBUTE and isinstance(value, str)
                    else None
                )
                if read and isinstance(value, str) and len(read.hertz) < 2:
                    ways[read.volts][" ".join(value.split())].append(thing)
    for by_text in ways.values():
        usual = max(by_text, key=lambda t: (bool(_hertz(t)), len(by_text[t]), t))
        if len(by_text) < 2 or len({_hertz(t) for t in by_text} - {()}) > 1:
            # Of two frequencies nobody can tell which is meant.
            continue
        counts = ", ".join(
            f"{shown(t)} ({len(by_text[t])})" for t in sorted(by_text, key=lambda t: -len(by_text[t]))
        )
        for text, things in by_text.items():
            if text != usual:
                first = min(things, key=lambda t: t.where)
                where, name = first.where, first.name.text
                ways_told = f"one voltage is written in {len(by_text)} ways: {counts}"
                says = f"mains of {shown(name)} is {shown(text)}; {ways_told}"
                again = command("list", "sets", "--where", f"mains={text}", "--columns", "set,mains")
                right = command("correct", thing_id(first), "mains", usual)
                mend = f"put it right: {right}" + (f"; which: {again}" if len(things) > 1 else "")
                yield warning(where, "mains-ways", says, mend)


def _hertz(text: str) -> tuple[float, ...]:
    read = mains.parse(text)
    return read.hertz if read else ()


CHECKS: tuple[Check, ...] = (
    nothing_stands_for_the_line_above,
    declared_names_are_more_than_a_slip_apart,
    mains_are_written_one_way,
)
