"""Large invented folders, the same for the same seed.

`python -m tests.bench.folders DIR FACTS [SEED] [--looks]` writes one.

Families of 1 to 40 sets under as many badges, mechanisms that up to 400 sets share, some built on
another, belts and screws that compare by size, exceptions, `same`, `replaces`, `fits`, `refuses`.
Every name is put together from syllables; nothing stands for a real maker or model.
With `looks` sets also have what can be seen of them, most of it alike in a family; the facts stay the same.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

FACTS_IN_FILE = 300
FAMILY_SIZES = (*range(1, 11), 14, 20, 28, 40)
FAMILY_WEIGHTS = (20, 16, 14, 12, 10, 7, 5, 4, 3, 3, 2, 2, 1, 1)
SHARED_BY = (400, 200, 120, 80, 60, 40, 25)
"""How many sets a mechanism is meant to serve, the rarest first."""
MECHANISM_PLACES = (
    "main belt",
    "counter belt",
    "pinch roller",
    "idler tyre",
    "flywheel",
    "thrust plate screw",
)
SET_PLACES = (
    *("tuning knob", "volume knob", "tone knob", "aerial", "dial scale", "back", "handle", "play key"),
    *("dial glass", "cassette door", "meter", "speaker grille", "mains fuse", "foot", "back screw"),
)
KIND_OF = {
    **{p: "knob" for p in SET_PLACES if "knob" in p},
    **{p: "belt" for p in MECHANISM_PLACES if "belt" in p},
    **{p: "screw" for p in (*MECHANISM_PLACES, *SET_PLACES) if "screw" in p},
}
BANDS = ("LW", "MW", "SW", "SW1", "SW2", "FM")
FEATURES = (
    *("line socket", "tape counter", "cassette lamp", "sleep switch", "second speaker socket"),
    *("tuning meter", "tone control", "auto stop"),
)
RECORDED = {
    "stamp": (0.6, 0.02),
    "bands": (0.8, 0.15),
    "features": (0.7, 0.2),
    "knobs": (0.8, 0.05),
    "speakers": (0.8, 0.05),
    "width": (0.6, 0.05),
    "cells": (0.6, 0.1),
}
"""Key -> how often it is recorded of a set, and how often a set differs in it from its design: our choice."""
GRADES = ("fitted", "measured", "printed", "compared", "photo", "reported", "guess")
FIRST = (
    "Var",
    "Bel",
    "Tor",
    "Mun",
    "Hes",
    "Kol",
    "Dra",
    "Fen",
    "Lim",
    "Osk",
    "Pra",
    "Ruv",
    "Sel",
    "Wen",
    "Yor",
    "Zim",
)
LAST = (
    "danal",
    "mirk",
    "vesk",
    "borro",
    "quint",
    "lodde",
    "tassen",
    "grove",
    "helm",
    "nivar",
    "puske",
    "rando",
)


@dataclass
class _Mechanism:
    name: str
    room: int
    parts: dict[str, str] = field(default_factory=dict)


@dataclass
class _Maker:
    """Writes entries one family after another; holds what later families may refer to."""

    chance: random.Random
    lines: list[str] = field(default_factory=list)
    facts: int = 0
    families: int = 0
    parts: int = 0
    mechanisms: list[_Mechanism] = field(default_factory=list)
    recent: list[tuple[str, str, str]] = field(default_factory=list)
    """(set, position, part) stated lately, for what fits across families."""
    looks: random.Random | None = None
    """Draws what is seen of sets, apart from all else, so that the facts are the same without it."""

    def thing(self, text: str) -> None:
        self.lines.append(text)

    def fact(self, text: str) -> None:
        said = f"  how: {self.chance.choice(GRADES)}\n"
        if self.chance.random() < 0.3:
            said += f"  source: parts list {self.chance.randrange(400)}\n"
        self.lines.append(text + said)
        self.facts += 1


def entries(facts: int, seed: int = 1, looks: bool = False) -> Iterator[tuple[str, str]]:
    """(file name, its text) until at least this many facts are written."""
    maker = _Maker(random.Random(seed), looks=random.Random(seed) if looks else None)
    maker.thing("- kind: screw\n  generic: yes\n  compare: {thread: same, length: at least}\n")
    number, written = 0, 0
    while maker.facts < facts:
        _family(maker)
        if maker.facts - written >= FACTS_IN_FILE or maker.facts >= facts:
            yield f"part-{number // 100:03}/families-{number:05}.yaml", "".join(maker.lines)
            maker.lines.clear()
            number, written = number + 1, maker.facts


def write(folder: Path, facts: int, seed: int = 1, looks: bool = False) -> int:
    """Write such a folder; returns how many facts it holds."""
    total = 0
    for name, text in entries(facts, seed, looks):
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text, encoding="utf-8")
        total += text.count("\n  how: ")
    return total


def _family(maker: _Maker) -> None:
    chance = maker.chance
    maker.families += 1
    size = chance.choices(FAMILY_SIZES, FAMILY_WEIGHTS)[0]
    mechanism = _mechanism(maker, size)
    design = _design(maker.looks) if maker.looks else {}
    sets = [_set(maker, i, design) for i in range(size)]
    for i, name in enumerate(sets[1:], 1):
        _rebadge(maker, sets[chance.randrange(max(0, i - 6), i)], name)
    for _ in range(size // 5):
        _rebadge(maker, *chance.sample(sets, 2))
    for name in sets:
        if name == sets[0] or chance.random() < 0.5:
            without = f"  except: [{chance.choice(MECHANISM_PLACES)}]\n" if chance.random() < 0.05 else ""
            maker.fact(f"- uses: {mechanism.name}\n  in: {name}\n{without}")
    for position in chance.sample(SET_PLACES, chance.randint(6, 12)):
        _takes(maker, sets[0] if chance.random() < 0.8 else chance.choice(sets), position)
    _across(maker, sets)


def _set(maker: _Maker, number: int, design: dict[str, str]) -> str:
    badge = maker.chance.choice(FIRST) + maker.chance.choice(LAST)
    name = f"{badge} {chr(65 + number % 26)}-{maker.families}{'S' if number >= 26 else ''}"
    mains = maker.chance.choice(("240 V 50 Hz", "220 V 50 Hz", "120 V 60 Hz"))
    seen = _seen(maker.looks, design)
    maker.thing(f"- set: {name}\n  years: {maker.chance.randint(1974, 1988)}\n  mains: {mains}\n{seen}")
    return name


def _design(chance: random.Random) -> dict[str, str]:
    """What can be seen of one design: key -> value."""
    bands = sorted(chance.sample(BANDS, chance.choice((2, 2, 3, 3, 4))))
    has = sorted(chance.sample(FEATURES, chance.randrange(5)))
    letters = "".join(chance.choices("BCDFGHKLMNPRST", k=2))
    return {
        "stamp": f"{letters}{chance.randrange(1, 60)}",
        "bands": f"[{', '.join(bands)}]",
        "features": f"[{', '.join(has)}]",
        "knobs": str(chance.randint(2, 8)),
        "speakers": str(chance.choice((1, 1, 2, 2, 4))),
        "width": f"{chance.randrange(260, 620, 5)} mm",
        "cells": f"{chance.choice((4, 4, 6, 6, 8))} {chance.choice(('AA', 'C', 'D', 'D'))}",
    }


def _seen(chance: random.Random | None, design: dict[str, str]) -> str:
    """What is recorded of one set: most of its design, now and then as another has it."""
    if not chance:
        return ""
    other, said = _design(chance), ""
    for key, value in design.items():
        recorded, differs = RECORDED[key]
        if chance.random() < recorded:
            value = other[key] if chance.random() < differs else value
            said += f"  {key}: {value}\n" if value != "[]" else ""
    return said


def _rebadge(maker: _Maker, one: str, other: str) -> None:
    without = ""
    if maker.chance.random() < 0.25:
        without = f"  except: [{', '.join(maker.chance.sample(SET_PLACES, maker.chance.randint(1, 2)))}]\n"
    maker.fact(f"- rebadge: [{one}, {other}]\n{without}")


def _takes(maker: _Maker, owner: str, position: str) -> str:
    part = _part(maker, position)
    role = "  role: substitute\n" if maker.chance.random() < 0.05 else ""
    maker.fact(f"- takes: {part}\n  in: {owner}\n  position: {position}\n{role}")
    maker.recent = [*maker.recent[-200:], (owner, position, part)]
    return part


def _part(maker: _Maker, position: str) -> str:
    maker.parts += 1
    chance, kind = maker.chance, KIND_OF.get(position, position)
    name, sizes = f"P{maker.parts}-{chance.randrange(10)}", ""
    if kind == "belt":
        sizes = f"  section: square {chance.randrange(9, 25) / 10} mm\n"
        sizes += f"  inside length: {chance.randrange(140, 420)} mm\n"
    elif kind == "screw":
        sizes = f"  thread: M{chance.choice((2, 2.6, 3))} {maker.parts % 40}\n"
        sizes += f"  length: {chance.randrange(4, 20)} mm\n"
    elif kind == "knob":
        sizes = f"  shaft: {chance.choice((4, 6))} mm D\n"
    maker.thing(f"- part: {name}\n  kind: {kind}\n{sizes}")
    return name


def _mechanism(maker: _Maker, sets: int) -> _Mechanism:
    fitting = [m for m in maker.mechanisms if m.room >= sets]
    if fitting and (len(fitting) > 12 or maker.chance.random() < 0.8):
        chosen = maker.chance.choice(fitting)
        chosen.room -= sets
        return chosen
    made = _Mechanism(f"TM{maker.families} mechanism", maker.chance.choices(SHARED_BY, range(1, 8))[0] - sets)
    places = ", ".join(MECHANISM_PLACES)
    maker.thing(f"- assembly: {made.name}\n  kind: tape mechanism\n  positions: [{places}]\n")
    for position in MECHANISM_PLACES:
        made.parts[position] = _takes(maker, made.name, position)
    if maker.mechanisms and maker.chance.random() < 0.15:
        maker.fact(
            f"- uses: {maker.mechanisms[-1].name}\n  in: {made.name}\n  except: [main belt, counter belt]\n"
        )
    maker.mechanisms = [*[m for m in maker.mechanisms if m.room > 0][-60:], made]
    return made


def _across(maker: _Maker, sets: list[str]) -> None:
    """What ties a family to others: numbers, replacements, fits and refusals."""
    chance, old = maker.chance, maker.recent
    if chance.random() < 0.5:
        maker.fact(f"- same: [{old[-1][2]}, {chance.randrange(100, 999)} {maker.parts}]\n")
    if chance.random() < 0.15:
        one, other = old[-1][2], chance.choice(old)[2]
        if one != other:
            maker.fact(f"- replaces: {one}\n  old: {other}\n")
    if chance.random() < 0.3:
        owner, position, _ = chance.choice(old)
        work = "  work: ream the bore\n" if chance.random() < 0.3 else ""
        maker.fact(f"- fits: {owner}\n  position: {position}\n  to: {chance.choice(sets)}\n{work}")
    if chance.random() < 0.2:
        _, position, part = chance.choice(old)
        maker.fact(f"- refuses: {part}\n  in: {chance.choice(sets)}\n  position: {position}\n")


def main() -> None:
    looks = "--looks" in sys.argv
    folder, facts, *seed = (word for word in sys.argv[1:] if word != "--looks")
    print(write(Path(folder), int(facts), int(*seed) if seed else 1, looks), "facts")


if __name__ == "__main__":
    main()
