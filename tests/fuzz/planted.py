"""Files with planted faults: all are told, each at its line and column, and what the message names mends it.

A file holds good entries and entries with one fault each, of kinds drawn at random. A mend is what a user
does who follows the message word by word and thinks no further (:mod:`tests.fuzz.mending`); with all of
them applied the file must read without an error.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from pathlib import Path

from kgraph.problems import Problem
from tests.faults.tally import Tally
from tests.fuzz.damage import Plain, read
from tests.fuzz.mending import mended

FILES = {"small": 200, "full": 1000}
COLUMNS = 0.99
MENDS = 0.90


def figure(size: str, place: Path) -> Tally:
    """Each planted fault is counted; the rates of columns and mends are faults of their own if too low."""
    tally, columns, mends = Tally(), 0, 0
    for seed in range(FILES[size]):
        planted, text, wanted = drawn(random.Random(seed))
        entries, problems = read(text.encode())
        told = [p for p in problems if p.severity == "error"]
        for fault in planted:
            here = [p for p in told if p.where and p.where.line == fault.line]
            complaint = "" if len(here) == 1 else f"told {len(here)} times at its line {fault.line}"
            right = [p for p in here if p.where and fault.first <= p.where.column <= fault.last]
            columns += bool(right)
            worked = len(here) == 1 and _mends(text, here[0])
            mends += worked
            kind = "mended" if worked else "not mended"
            tally.count(f"file {seed}, {fault.kind} in line {fault.line}", True, complaint, kind)
            if here and not right:
                tally.kinds[f"column outside: {fault.kind}"] += 1
        count = "" if len(told) == len(planted) else f"{len(planted)} faults, {len(told)} told: {told}"
        read_too = [e for _, e in entries]
        good = "" if all(e in read_too for e in wanted) else "a good entry is not read"
        tally.count(f"file {seed}", True, count or good, "whole files")
    faults = tally.injected - FILES[size]
    tally.count(
        "columns", True, _rate(columns, faults, COLUMNS), f"% of columns right: {100 * columns / faults:.1f}"
    )
    tally.count("mends", True, _rate(mends, faults, MENDS), f"% of mends work: {100 * mends / faults:.1f}")
    return tally


def _rate(count: int, of: int, least: float) -> str:
    return "" if count >= least * of else f"{count} of {of}, less than {least:.0%}"


@dataclass(frozen=True, slots=True)
class Planted:
    """One fault of a file: its kind, its line, and the first and last column of the token that is wrong."""

    kind: str
    line: int
    first: int
    last: int


_GOOD = (
    "- set: Arden {n}\n  market: UK\n  mains: 240 V 50 Hz\n",
    "- takes: K-{n}\n  in: Arden {n}\n  position: volume knob\n  how: printed\n",
    "# Measured.\n- part: B-{n}\n  kind: belt\n  section: square 1.25 mm\n  inside length: 26{d} mm\n",
    "- rebadge: [Arden {n}, Brunelle {n}]\n  except: [dial scale]\n",
)

KINDS: dict[str, str] = {
    "unknown kind": "- «sett»: Arden {n}\n",
    "kind not first": "- «market»: UK\n  set: Arden {n}\n",
    "unknown key": "- takes: K-{n}\n  in: Arden {n}\n  position: knob\n  «sorce»: bench\n",
    "missing key": "- «takes: K-{n}»\n  in: Arden {n}\n",
    "empty value": "- takes: K-{n}\n  in:« »\n  position: volume knob\n",
    "bare length": "- part: B-{n}\n  kind: belt\n  inside length: «262»\n",
    "comma": "- part: B-{n}\n  kind: belt\n  section: «square 1,25 mm»\n",
    "wrong unit": "- part: B-{n}\n  kind: belt\n  inside length: «262 furlongs»\n",
    "two tolerances": "- part: B-{n}\n  kind: belt\n  inside length: «262 +- 2 +- 1 mm»\n",
    "no form of section": "- part: B-{n}\n  kind: belt\n  section: «oval 1.2 mm»\n",
    "no number": "- takes: K-{n}\n  in: Arden {n}\n  position: knob\n  certainty: «nan»\n",
    "out of range": "- takes: K-{n}\n  in: Arden {n}\n  position: knob\n  certainty: «1.5»\n",
    "no date": "- takes: K-{n}\n  in: Arden {n}\n  position: knob\n  date: «2024-02-31»\n",
    "no yes or no": "- kind: screw {n}\n  generic: «perhaps»\n",
    "no role": "- takes: K-{n}\n  in: Arden {n}\n  position: knob\n  role: «orignal»\n",
    "no count": "- stock: K-{n}\n  count: «a few»\n",
    "list for text": "- takes: K-{n}\n  in: «[Arden {n}, Arden 3]»\n  position: knob\n",
    "text for list": "- rebadge: «Arden {n}, Brunelle {n}»\n",
    "text for mapping": "- unit: U-{n}\n  set: Arden {n}\n  state: «broken»\n",
    "anchor": "- set: «&a» Arden {n}\n",
    "alias": "- set: Arden {n}\n  market: «*uk»\n",
    "tag": "- set: Arden {n}\n  market: «!!str» UK\n",
    "merge key": "- set: Arden {n}\n  «<<»: UK\n",
    "duplicate key": "- set: Arden {n}\n  market: UK\n  «market»: DE\n",
    "same key folded": "- set: Arden {n}\n  market: UK\n  «Market»: DE\n",
    "second colon": "- set: Arden {n}\n  note: «see: page 4»\n",
    "open quote": '- set: Arden {n}\n  note: «"see page 4»\n',
    "open bracket": "- set: Arden {n}\n  also: «[A {n}, B {n}»\n",
    "tab": "- set: Arden {n}\n«\t»market: UK\n",
    "indentation": "- set: Arden {n}\n«   market: UK»\n",
    "too far out": "- set: Arden {n}\n« market: UK»\n",
    "no colon": "- set: Arden {n}\n  «market UK»\n",
    "missing dash": "- set: Arden {n}\n«part»: K-{n}\n",
    "indicator": "- set: Arden {n}\n  market: «@UK»\n",
    "percent": "- set: Arden {n}\n  market: «%UK»\n",
    "backtick": "- set: Arden {n}\n  market: «`UK»\n",
    "escape": '- set: Arden {n}\n  market: "«\\q»UK"\n',
    "text after a quote": '- set: Arden {n}\n  market: "UK" «and IE»\n',
    "no letter": "- takes: «'?!'»\n  in: Arden {n}\n  position: knob\n",
    "direction": '- takes: «"K\\u202e{n}"»\n  in: Arden {n}\n  position: knob\n',
    "control": "- set: Arden {n}\n  market: U«\x1b»K\n",
    "long name": "- takes: «" + "K" * 201 + "{n}»\n  in: Arden {n}\n  position: knob\n",
    "two kinds": "- set: Arden {n}\n  «part»: K-{n}\n",
    "no entry": "- «Arden {n}»\n",
    "empty entry": "- «{{}}»\n",
}
"""Kind of fault -> an entry that has it; what stands between « and » is the token that is wrong."""


def drawn(random: random.Random) -> tuple[list[Planted], str, list[Plain]]:
    """A file of good entries and 1 to 12 with one fault each, drawn; and what the good ones hold."""
    kinds = random.sample(sorted(KINDS), random.randint(1, 12))
    blocks = [("", good) for good in _GOOD] + [(kind, KINDS[kind]) for kind in kinds]
    random.shuffle(blocks)
    planted, text, good = [], "", ""
    for number, (kind, block) in enumerate(blocks):
        filled = filled_in(block, number)
        if kind:
            planted.append(placed(kind, text, filled))
        else:
            good += filled
        text += bare(filled) + "\n" * random.randint(0, 2)
    return planted, text, [e for _, e in read(good.encode())[0]]


def filled_in(block: str, number: int) -> str:
    """An entry with numbers of its own."""
    return block.format(n=10 + number, d=number % 10)


def bare(block: str) -> str:
    """An entry without the marks of its fault."""
    return block.replace("«", "").replace("»", "")


def placed(kind: str, before: str, block: str) -> Planted:
    """Where the fault of an entry stands that comes after a text."""
    start, end = block.index("«"), block.index("»") - 1
    line_start = block.rfind("\n", 0, start) + 1
    line = before.count("\n") + block.count("\n", 0, start) + 1
    return Planted(kind, line, start - line_start + 1, max(end - line_start, start - line_start + 1))


def _mends(text: str, problem: Problem) -> bool:
    """Whether, after the one mend, no error is left at the entry, nor is a new one anywhere."""
    new = mended(text, problem)
    if new is None:
        return False
    before = [p for p in read(text.encode())[1] if p.severity == "error"]
    after = [p for p in read(new.encode())[1] if p.severity == "error"]
    return len(after) < len(before)
