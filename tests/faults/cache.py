"""A damaged, foreign or old index, and clocks that are wrong: the answers stay those of the files.

Each damage is done to an index that was believed just before; whether it happened is seen from its bytes
(or, for clocks and changed facts, from what was changed).
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import random
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

from kgraph.source import cache, fresh, store, table
from tests.faults.broken import WAYS
from tests.faults.build import Build
from tests.faults.tally import Tally

FACTS = "- takes: K-1\n  in: A 1\n  position: knob\n- rebadge: [A 1, {other}]\n"
MORE = "- set: F 6\n"
WORDS = ("takers", "K-1", "--json", "--proof")
YEARS_NS = {"1970": 1, "2106": 2**32 * 10**9}
NOBODY = 65534
FAKETIME = shutil.which("faketime")
"""Has what it starts see another time; without it, only the clock of this process is set."""

Answer = tuple[int, str]


def figure(build: Build, size: str, place: Path) -> Tally:
    """`small`: 100 damages; `full`: 2,000."""
    with mock.patch.dict(os.environ, {"KGRAPH_CACHE": str(place / "cache")}), contextlib.ExitStack() as undo:
        if build.broken:
            for module, name in ((fresh, "stands"), (table.Table, "is_mine")):
                undo.enter_context(mock.patch.object(module, name, getattr(module, name)))
            WAYS[build.broken]()
        tally = Tally()
        for seed in range(100 if size == "small" else 2000):
            _damage(build, place / f"facts{seed % 7}", seed, tally)
        return tally


def _damage(build: Build, folder: Path, seed: int, tally: Tally) -> None:
    chance = random.Random(seed)
    kind = chance.choice(list(KINDS))
    over = chance.random() < 0.4
    index = _indexed(folder, over)
    as_wanted = _over(index).exists() == over
    with KINDS[kind](build, folder, index, chance) as happened:
        with mock.patch.dict(os.environ, {"KGRAPH_CACHE": "off"}):
            expected = ask(folder)
        found = [ask(folder), ask(folder)]
        if isinstance(happened, Faked):
            found += [happened.ask(folder), happened.ask(folder), ask(folder)]
    wrong = [f"{answer}, not {expected}" for answer in found if answer != expected]
    tally.count(f"{kind}, seed {seed}", as_wanted and bool(happened), "".join(wrong)[:300], kind)
    tally.kinds["with newer rows"] += over


def _indexed(folder: Path, over: bool) -> Path:
    """The index of a folder, believed as it stands, with newer rows over it if so."""
    shutil.rmtree(os.environ["KGRAPH_CACHE"], ignore_errors=True)
    folder.mkdir(exist_ok=True)
    (folder / "a.yaml").write_text(FACTS.format(other="B 2"), encoding="utf-8")
    ask(folder)
    index = Path(cache.index_path([str(folder)]) or "")
    if over:
        with (folder / "a.yaml").open("a", encoding="utf-8") as facts:
            facts.write(MORE)
        ask(folder)
    return index


def _over(index: Path) -> Path:
    return Path(f"{index}{store.OVER}")


def ask(folder: Path) -> Answer:
    """The answer to one question, as its user gets it."""
    from kgraph.cli.main import run

    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        status = run(["--data", str(folder), *WORDS])
    return status, out.getvalue()


@dataclass(frozen=True, slots=True)
class Faked:
    """A time that a process sees, and whether it sees files as of then too."""

    build: Build
    when: str
    year: str
    stamps: bool

    def __bool__(self) -> bool:
        return self._run(["date", "-u", "+%Y"]).stdout == f"{self.year}\n".encode()

    def ask(self, folder: Path) -> Answer:
        """The answer of a process of its own at that time."""
        done = self._run(self.build.command(["--data", str(folder), *WORDS]))
        return done.returncode, done.stdout.decode()

    def _run(self, command: Sequence[str]) -> subprocess.CompletedProcess[bytes]:
        stamps = {} if self.stamps else {"NO_FAKE_STAT": "1"}
        words = [FAKETIME or "", "-f", self.when, *command]
        return self.build.run_as(words, KGRAPH_CACHE=os.environ["KGRAPH_CACHE"], TZ="UTC", **stamps)


Happened = Faked | bool
Damage = Callable[[Build, Path, Path, random.Random], contextlib.AbstractContextManager[Happened]]


def _done(do: Callable[[Path, Path, random.Random], bool]) -> Damage:
    """A damage that stays as it was done."""

    @contextlib.contextmanager
    def damage(build: Build, folder: Path, index: Path, chance: random.Random) -> Iterator[bool]:
        yield do(folder, index, chance)

    return damage


def _spoil(make: Callable[[bytes, random.Random], bytes]) -> Damage:
    """A damage to the bytes of the index, of its newer rows, or of the note beside it."""

    def spoil(folder: Path, index: Path, chance: random.Random) -> bool:
        over, note = _over(index), Path(f"{index}.note")
        target = chance.choice([index] * 3 + [over] * 2 * over.exists() + [note])
        old = target.read_bytes()
        target.write_bytes(make(old, chance))
        return target.read_bytes() != old

    return _done(spoil)


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


@contextlib.contextmanager
def _clock(build: Build, folder: Path, index: Path, chance: random.Random) -> Iterator[bool]:
    """Other facts of the same size under another time, which this process sees."""
    year = chance.choice(list(YEARS_NS.values()))
    happened = _change_facts(folder, index, chance)
    with mock.patch.object(time, "time_ns", return_value=year):
        yield happened


@contextlib.contextmanager
def _system_clock(build: Build, folder: Path, index: Path, chance: random.Random) -> Iterator[Faked]:
    """An index made at another time by another process, then other facts of the same size."""
    when, year = chance.choice([("@1970-01-02 00:00:00", "1970"), ("@2106-02-07 06:28:16", "2106")])
    faked = Faked(build, when, year, chance.random() < 0.5)
    shutil.rmtree(index.parent)
    faked.ask(folder)
    assert index.exists()
    _change_facts(folder, index, chance)
    yield faked


def _foreign(folder: Path, index: Path, chance: random.Random) -> bool:
    """The index of another folder under this one's name, sometimes with its note."""
    theirs = _other_index(folder)
    shutil.copy(theirs, index)
    if chance.random() < 0.5:
        shutil.copy(f"{theirs}.note", f"{index}.note")
    return index.read_bytes() == theirs.read_bytes()


def _other_index(folder: Path) -> Path:
    other = folder.parent / "other"
    other.mkdir(exist_ok=True)
    (other / "a.yaml").write_text(FACTS.format(other="E 5"), encoding="utf-8")
    index = Path(cache.index_path([str(other)]) or "")
    index.unlink(missing_ok=True)
    ask(other)
    return index


def _other_version(folder: Path, index: Path, chance: random.Random) -> bool:
    """Other answers in an index of an older or a newer program, noted as made of the files as they stand."""
    version = chance.choice(["0.0.1 1", f"{table.written_by()}0", "99.0.0 1"])
    with mock.patch.object(table, "written_by", return_value=version):
        theirs = _other_index(folder)
    shutil.copy(theirs, index)
    theirs.unlink()
    folders = [str(folder)]
    token = json.loads(Path(f"{theirs}.note").read_bytes())["token"]
    found = cache.stamps_of(folders) or []
    note = fresh.note_of(folders, found, token, fresh.young_of(folders, found, time.time_ns()))
    fresh.write_note(f"{index}.note", note)
    return json.dumps(version).encode() in index.read_bytes()


@contextlib.contextmanager
def _no_rights(build: Build, folder: Path, index: Path, chance: random.Random) -> Iterator[bool]:
    """An index, its note or the whole cache that the user may not read; sometimes facts changed since."""
    target = chance.choice([index, Path(f"{index}.note"), index.parent])
    if chance.random() < 0.5:
        _change_facts(folder, index, chance)
    usual = {path: path.stat().st_mode for path in (folder.parent, index.parent, target)}
    with contextlib.ExitStack() as undo:
        for path, mode in usual.items():
            undo.callback(path.chmod, mode)
            path.chmod(0 if path == target else 0o755)
        if not os.geteuid():
            # All rights are the superuser's: the process becomes another user for a while.
            undo.callback(os.seteuid, 0)
            os.seteuid(NOBODY)
        yield os.access(folder, os.R_OK, effective_ids=True) and not os.access(
            target, os.R_OK, effective_ids=True
        )


def _gone(folder: Path, index: Path, chance: random.Random) -> bool:
    """No index, with its note or without."""
    index.unlink()
    if chance.random() < 0.5:
        Path(f"{index}.note").unlink()
    return not index.exists()


KINDS: dict[str, Damage] = {
    "bit": _spoil(_bit),
    "length": _spoil(lambda old, chance: old[: chance.randrange(len(old))]),
    "page": _spoil(_page),
    "noise": _spoil(lambda old, chance: chance.randbytes(chance.randrange(5000))),
    "longer": _spoil(lambda old, chance: old + chance.randbytes(100)),
    "facts changed": _done(_change_facts),
    "times": _done(_set_times),
    "clock": _clock,
    "foreign": _done(_foreign),
    "version": _done(_other_version),
    "rights": _no_rights,
    "gone": _done(_gone),
    **({"system clock": _system_clock} if FAKETIME else {}),
}
