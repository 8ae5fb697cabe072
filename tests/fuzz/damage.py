"""Fact files with one byte changed, or cut off: what is lost is told, and at the right entry.

Each file of the demo is cut after every byte, and each byte is deleted, doubled, and flipped in one bit.
What must hold of the reading, told or not:

* an entry that the change does not touch is read as before, or the fault that hides it is told where the
  change is;
* of an entry that is touched, no more than the changed letters go without a word;
* of a file that was cut, what stood before the cut is read as before.

A cut at the end of a line can leave a whole, shorter file, and a key whose first letter becomes `#` is a
comment: no reader can know. These are counted by kind.
"""

from __future__ import annotations

import gc
import random
from bisect import bisect_right
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from kgraph.folder import reading, schema
from kgraph.folder.nodes import Seq, Text
from kgraph.problems import Problem
from tests.faults.tally import Tally
from tests.support import DEMO

SMALL = 600
MOST_UNTOLD = 4
"""The most letters that may go from a touched entry without a word: a character of UTF-8 has four bytes."""

Plain = tuple[object, ...]


def figure(size: str, place: Path) -> Tally:
    """`small`: a drawn sample; `full`: every byte of every file."""
    tally = Tally()
    files = sorted(DEMO.glob("*.yaml"))
    chosen = random.Random(14).sample(list(_all(files)), SMALL) if size == "small" else _all(files)
    grounds: dict[Path, Ground] = {}
    for number, (path, at, way) in enumerate(chosen):
        if not number % 1000:
            # Reading keeps the collector from old garbage, which here is never left behind by ending.
            gc.collect()
        ground = grounds.get(path) or grounds.setdefault(path, Ground.of(path))
        _one(ground, at, way, tally)
    return tally


def _all(files: list[Path]) -> Iterator[tuple[Path, int, str]]:
    for path in files:
        for at in range(path.stat().st_size):
            for way in ("cut", "deleted", "doubled", "flipped"):
                yield path, at, way


@dataclass(frozen=True, slots=True)
class Ground:
    """A file as it stands: its bytes, where its entries start (in lines), and what each holds."""

    path: Path
    data: bytes
    lines: tuple[int, ...]
    entries: tuple[Plain, ...]

    @staticmethod
    def of(path: Path) -> Ground:
        data = path.read_bytes()
        entries, problems = read(data)
        if any(p.severity == "error" for p in problems):
            raise RuntimeError(f"{path} has errors of its own")
        return Ground(path, data, tuple(line for line, _ in entries), tuple(e for _, e in entries))

    def touched(self, at: int) -> set[int]:
        """The entries, counted from 0, that a change of this byte may touch: its own and its neighbours."""
        line = self.line_of(at)
        first = bisect_right(self.lines, line) - 1
        last = bisect_right(self.lines, line + (self.data[at : at + 1] == b"\n")) - 1
        # A comment belongs to no entry; without its first sign it goes on with the one before or after.
        return {n for n in (first, last) if n >= 0}

    def line_of(self, at: int) -> int:
        """The line, from 1, in which a byte stands."""
        return self.data.count(b"\n", 0, at) + 1


def read(data: bytes) -> tuple[list[tuple[int, Plain]], list[Problem]]:
    """(line, what it holds) of each entry that is kept, and every problem."""
    got = reading.read_bytes(data, "f")
    problems = list(got.problems)
    entries = []
    for node in got.entries:
        _, found = schema.check_entry(node, "f")
        problems += found
        if not any(p.severity == "error" for p in found):
            entries.append((node.line, texts_of(node)))
    return entries, problems


def texts_of(node: reading.Node) -> Plain:
    """An entry, list or text as tuples, without its places."""
    if isinstance(node, Text):
        return (node.value,)
    if isinstance(node, Seq):
        return tuple(map(texts_of, node.items))
    return tuple((key.value, texts_of(value)) for key, value in node.pairs)


def letters(plain: object) -> Counter[str]:
    """How often each letter stands in an entry."""
    if isinstance(plain, str):
        return Counter(plain.replace(" ", ""))
    found: Counter[str] = Counter()
    for inner in plain if isinstance(plain, tuple) else ():
        found += letters(inner)
    return found


def changed(data: bytes, at: int, way: str) -> bytes:
    """The bytes after the damage; a flip takes one of the eight bits, by the byte's place."""
    before, byte, after = data[:at], data[at : at + 1], data[at + 1 :]
    if way == "cut":
        return before
    middle = {"deleted": b"", "doubled": byte * 2, "flipped": bytes([byte[0] ^ 1 << at * 5 % 8])}[way]
    return before + middle + after


def _one(ground: Ground, at: int, way: str, tally: Tally) -> None:
    data = changed(ground.data, at, way)
    fault = f"{ground.path.name} byte {at} (line {ground.line_of(at)}) {way}"
    try:
        entries, problems = read(data)
    except Exception as error:
        tally.count(fault, True, f"raised {error!r}")
        return
    got = [e for _, e in entries]
    judged = _cut(ground, at, got, problems) if way == "cut" else _changed(ground, at, data, got, problems)
    complaint, kind = judged
    tally.count(fault, data != ground.data, complaint, kind)


def _cut(ground: Ground, at: int, got: list[Plain], problems: list[Problem]) -> tuple[str, str]:
    line = ground.line_of(at)
    which = bisect_right(ground.lines, line) - 1
    before = list(ground.entries[: max(which, 0)])
    if got[: len(before)] != before:
        return "an entry before the cut is not read as before", ""
    start = ground.lines[which] if which >= 0 else 1
    if told_in(problems, start, line + 1):
        return "", "told"
    if which < 0 or got[len(before) :] == [ground.entries[which]]:
        return "", "whole before the cut"
    if len(got) != len(before) + 1 or letters(got[-1]) - letters(ground.entries[which]):
        after_dash = not got[len(before) :] and ground.data[:at].rsplit(b"\n", 1)[-1].strip(b" ") == b""
        return ("", "cut between entries") if after_dash else ("the cut entry is lost in silence", "")
    return "", "a shorter entry that is whole by itself"


def _changed(
    ground: Ground, at: int, data: bytes, got: list[Plain], problems: list[Problem]
) -> tuple[str, str]:
    touched = ground.touched(at)
    line = ground.line_of(at)
    first = ground.lines[min(touched)] if touched else 1
    after = max(touched, default=-1) + 1
    last = ground.lines[after] if after < len(ground.lines) else ground.data.count(b"\n") + 2
    told = told_in(problems, min(first, line), max(last, line + 1))
    untouched = [e for n, e in enumerate(ground.entries) if n not in touched]
    left = Counter(got)
    hidden = [e for e in untouched if not left[e]]
    if told:
        return "", "told, others hidden" if hidden else "told"
    if hidden:
        return "an entry that is not touched is lost or changed in silence", ""
    if any(p.severity == "error" for p in problems):
        return f"told at another entry: {problems[0]}", ""
    if len(got) != len(ground.entries):
        return f"{len(ground.entries)} entries became {len(got)} in silence", ""
    mine = sum((letters(ground.entries[n]) for n in touched), Counter[str]())
    now = sum((letters(e) for e in got), Counter[str]()) - sum(map(letters, untouched), Counter[str]())
    lost = (mine - now).total()
    if lost > MOST_UNTOLD and data[data.rfind(b"\n", 0, at) + 1 : at + 1].strip(b" ") == b"#":
        return "", "a key made a comment"
    if lost > MOST_UNTOLD:
        return f"{lost} letters of an entry are lost in silence", ""
    return "", "same facts" if list(got) == list(ground.entries) else "another text"


def told_in(problems: list[Problem], first: int, last: int) -> bool:
    """Whether a problem, warnings too, is told in these lines, both included."""
    return any(p.where is not None and first <= p.where.line <= last for p in problems)
