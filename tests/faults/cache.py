"""A damaged, foreign or old index, and clocks that are wrong: the answers stay those of the files.

Each damage is done to an index that was believed just before; whether it happened is seen from its bytes
(or, for clocks and changed facts, from what was changed).
"""

from __future__ import annotations

import contextlib
import io
import os
import random
import shutil
import time
from collections.abc import Callable
from pathlib import Path
from unittest import mock

from tests.faults.broken import WAYS
from tests.faults.build import Build
from tests.faults.tally import Tally

FACTS = "- takes: K-1\n  in: A 1\n  position: knob\n- rebadge: [A 1, {other}]\n"
WORDS = ("takers", "K-1", "--json", "--proof")
YEARS_NS = {"1970": 1, "2106": 2**32 * 10**9}


def figure(build: Build, size: str, place: Path) -> Tally:
    """`small`: 100 damages; `full`: 2,000."""
    with mock.patch.dict(os.environ, {"KGRAPH_CACHE": str(place / "cache")}), contextlib.ExitStack() as undo:
        if build.broken:
            from kgraph.index import freshness

            undo.enter_context(mock.patch.object(freshness, "stands", freshness.stands))
            WAYS[build.broken]()
        tally = Tally()
        for seed in range(100 if size == "small" else 2000):
            _damage(place / f"facts{seed % 7}", seed, tally)
        return tally


def _damage(folder: Path, seed: int, tally: Tally) -> None:
    from kgraph.index import store

    chance = random.Random(seed)
    folder.mkdir(exist_ok=True)
    (folder / "a.yaml").write_text(FACTS.format(other="B 2"), encoding="utf-8")
    ask(folder)
    index = Path(store.index_path([str(folder)]) or "")
    kind = chance.choice(list(KINDS))
    happened = KINDS[kind](folder, index, chance)
    with _without_index():
        expected = ask(folder)
    with _clock(chance) if kind == "clock" else contextlib.nullcontext():
        first, second = ask(folder), ask(folder)
    complaint = "" if first == second == expected else f"{first} and {second}, not {expected}"
    tally.count(f"{kind}, seed {seed}", happened, complaint[:300], kind)


def ask(folder: Path) -> tuple[int, str]:
    """The answer to one question, as its user gets it."""
    from kgraph.cli.main import run

    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        status = run(["--data", str(folder), *WORDS])
    return status, out.getvalue()


def _without_index() -> contextlib.AbstractContextManager[object]:
    return mock.patch.dict(os.environ, {"KGRAPH_CACHE": "off"})


def _clock(chance: random.Random) -> contextlib.AbstractContextManager[object]:
    year = chance.choice(list(YEARS_NS.values()))
    return mock.patch.object(time, "time_ns", return_value=year)


def _spoil(make: Callable[[bytes, random.Random], bytes]) -> Callable[[Path, Path, random.Random], bool]:
    """A damage to the bytes of the index, or of the note beside it."""

    def spoil(folder: Path, index: Path, chance: random.Random) -> bool:
        target = index if chance.random() < 0.8 else Path(f"{index}.note")
        old = target.read_bytes()
        target.write_bytes(make(old, chance))
        return target.read_bytes() != old

    return spoil


def _bit(old: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(old))
    return old[:at] + bytes([old[at] ^ 1 << chance.randrange(8)]) + old[at + 1 :]


def _page(old: bytes, chance: random.Random) -> bytes:
    used = [p for p in range(0, len(old), 4096) if any(old[p : p + 4096])]
    at = chance.choice(used)
    return old[:at] + bytes(len(old[at : at + 4096])) + old[at + 4096 :]


def _change_facts(folder: Path, index: Path, chance: random.Random) -> bool:
    """Other facts of the same size, with the times put back."""
    path = folder / "a.yaml"
    before = path.stat()
    path.write_text(FACTS.format(other="C 3"), encoding="utf-8")
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    return path.stat().st_mtime_ns == before.st_mtime_ns


def _set_times(folder: Path, index: Path, chance: random.Random) -> bool:
    """Facts that were changed in 1970 or will be in 2106."""
    path = folder / "a.yaml"
    path.write_text(FACTS.format(other="D 4"), encoding="utf-8")
    when = chance.choice(list(YEARS_NS.values()))
    os.utime(path, ns=(when, when))
    return abs(path.stat().st_mtime_ns - when) < 10**9


def _foreign(folder: Path, index: Path, chance: random.Random) -> bool:
    """The index of another folder under this one's name, sometimes with its note."""
    from kgraph.index import store

    other = folder.parent / "other"
    other.mkdir(exist_ok=True)
    (other / "a.yaml").write_text(FACTS.format(other="E 5"), encoding="utf-8")
    ask(other)
    theirs = Path(store.index_path([str(other)]) or "")
    shutil.copy(theirs, index)
    if chance.random() < 0.5:
        shutil.copy(f"{theirs}.note", f"{index}.note")
    return index.read_bytes() == theirs.read_bytes()


def _gone(folder: Path, index: Path, chance: random.Random) -> bool:
    """No index, with its note or without."""
    index.unlink()
    if chance.random() < 0.5:
        Path(f"{index}.note").unlink()
    return not index.exists()


KINDS: dict[str, Callable[[Path, Path, random.Random], bool]] = {
    "bit": _spoil(_bit),
    "length": _spoil(lambda old, chance: old[: chance.randrange(len(old))]),
    "page": _spoil(_page),
    "noise": _spoil(lambda old, chance: chance.randbytes(chance.randrange(5000))),
    "longer": _spoil(lambda old, chance: old + chance.randbytes(100)),
    "facts changed": _change_facts,
    "times": _set_times,
    "clock": _change_facts,
    "foreign": _foreign,
    "gone": _gone,
}
