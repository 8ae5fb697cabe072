"""Tests against one mutant after another, each in a forked process that has all modules but ours loaded.

A mutant is loaded in the place of its module when the tests import it, which is noted; only the tests that
come to its lines run, quickest first, up to the first that fails. Each run draws the same examples.
"""

from __future__ import annotations

import functools
import importlib
import importlib.abc
import importlib.machinery
import importlib.util
import json
import os
import resource
import select
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType
from typing import Any

from tests.mutants.making import Mutant, lines_of, mutants, on_import
from tests.mutants.targets import LEFT_OUT, Target

ROOT = Path(__file__).resolve().parents[2]
MEMORY = 4 << 30
BASE_SECONDS = 300.0
EXAMPLES = 25


@dataclass(frozen=True, slots=True)
class Covered:
    """The lines and branches that the tests come to, and those that they do not."""

    lines: int
    branches: int
    missing: tuple[str, ...]

    def __str__(self) -> str:
        missing = f"; not come to: {', '.join(self.missing)}" if self.missing else ""
        return f"{self.lines} lines, {self.branches} branches{missing}"


@dataclass(slots=True)
class Counts:
    """Mutants that were made, run and killed; those that a table calls the same are not made."""

    made: int = 0
    run: int = 0
    killed: int = 0
    same: int = 0
    survivors: list[str] = field(default_factory=list)

    def add(self, other: Counts) -> None:
        """Take in the counts of another module."""
        self.made += other.made
        self.run += other.run
        self.killed += other.killed
        self.same += other.same

    def __str__(self) -> str:
        share = f" ({100 * self.killed / self.made:.1f} %)" if self.made else ""
        return f"{self.made} / {self.run} / {self.killed}{share}, {self.same} the same as the module"


class Harness:
    """The tests of one target, ready to run against its mutants."""

    def __init__(self, target: Target, loading: bool = True) -> None:
        self.target = target
        self.loading = loading
        self.source = (ROOT / target.file).read_text(encoding="utf-8")
        self.mutants = mutants(self.source, target.only)
        self._on_import = on_import(self.source)
        unknown = set(target.same) - {m.id for m in self.mutants}
        if unknown:
            raise LookupError(f"{target.file} has no such mutants: {sorted(unknown)}")
        for name in _forked(lambda note: note(_foreign(target.tests)), BASE_SECONDS)[0]:
            _load(name)
        if any(name.partition(".")[0] == "kgraph" for name in sys.modules):
            raise RuntimeError("a module of the program is loaded already, so that no mutant would be")
        said = _forked(lambda note: note(_baseline(target)), BASE_SECONDS)
        if not said or said[0]["failed"]:
            raise RuntimeError(f"{target.tests} fail without any change: {said}")
        self._seconds: dict[str, float] = said[0]["seconds"]
        self._tests_of: dict[int, list[str]] = {int(line): tests for line, tests in said[0]["lines"].items()}
        self._report: dict[str, Any] = said[0]["coverage"]

    def covered(self) -> Covered:
        """What the tests come to of the target."""
        wanted = lines_of(self.source, self.target.only)
        ran = [n for n in self._report["executed_lines"] if n in wanted]
        branches = [b for b in self._report["executed_branches"] if b[0] in wanted]
        missing = [str(n) for n in self._report["missing_lines"] if n in wanted]
        missing += [f"{a} -> {abs(b)}" for a, b in self._report["missing_branches"] if a in wanted]
        return Covered(len(ran), len(branches), tuple(missing))

    def count(self, counts: Counts, mutant: Mutant) -> None:
        """Run the tests that come to a mutant against it, and count it."""
        if mutant.id in self.target.same:
            counts.same += 1
            return
        loaded, killer = self.run(mutant)
        counts.made += 1
        counts.run += loaded
        counts.killed += loaded and bool(killer)
        if not (loaded and killer):
            counts.survivors.append(f"line {mutant.lines[0]}, {mutant.id}")

    def run(self, mutant: Mutant) -> tuple[bool, str]:
        """Whether the mutant was loaded, and which test failed against it; empty where none did."""
        tests = self._tests(mutant)
        if not tests:
            return False, ""
        code = mutant.code(self.source, str(ROOT / self.target.file)) if self.loading else None
        most = 20.0 + 5 * sum(self._seconds[t] for t in tests)
        said = _forked(lambda note: _try(self.target, code, tests, note), most)
        end = next((s for s in said if isinstance(s, dict)), {"failed": "no end"})
        return "loaded" in said, str(end["failed"])

    def _tests(self, mutant: Mutant) -> list[str]:
        """Those that come to one of its lines, quickest first; all for a line that runs on import."""
        lines = range(mutant.lines[0], mutant.lines[1] + 1)
        # A function without a name in a table runs later than the table, which all tests depend on.
        own = () if mutant.lines[0] in self._on_import else lines
        reached = {t for line in own for t in self._tests_of.get(line, ())}
        if not reached and not set(lines).isdisjoint(self._report["executed_lines"]):
            reached = set(self._seconds)
        return sorted(reached, key=lambda t: (self._seconds[t], t))


def _load(name: str) -> None:
    try:
        importlib.import_module(name)
    except Exception:
        # What a test may import only in a way of its own is left to it.
        return


# --- In the forked process -----------------------------------------------------------------------


def _forked(work: Callable[[Callable[[object], None]], None], seconds: float) -> list[Any]:
    """What a forked process notes while it works; it is ended after so many seconds."""
    read, write = os.pipe()
    place = tempfile.mkdtemp(prefix="kgraph-mutant-")
    pid = os.fork()
    if pid == 0:
        os.close(read)
        _child(work, write, place)
    os.close(write)
    try:
        return _listen(read, time.monotonic() + seconds)
    finally:
        os.close(read)
        for end in (os.killpg, os.kill):
            with suppress(ProcessLookupError):
                end(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        shutil.rmtree(place, ignore_errors=True)


def _listen(read: int, end: float) -> list[Any]:
    """What is noted, line by line, up to an object or a list, which is the last."""
    said, notes = b"", []
    while (left := end - time.monotonic()) > 0 and select.select([read], [], [], left)[0]:
        piece = os.read(read, 1 << 20)
        if not piece:
            break
        *whole, said = (said + piece).split(b"\n")
        notes += [json.loads(line) for line in whole]
        if notes and not isinstance(notes[-1], str):
            break
    return notes


def _child(work: Callable[[Callable[[object], None]], None], write: int, place: str) -> None:
    def note(what: object) -> None:
        with open(write, "wb", closefd=False) as stream:
            stream.write(json.dumps(what).encode() + b"\n")

    try:
        os.setsid()
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        null = os.open(os.devnull, os.O_RDWR)
        for descriptor in (0, 1, 2):
            os.dup2(null, descriptor)
        tempfile.tempdir = os.environ["TMPDIR"] = place
        work(note)
    except BaseException as error:
        note({"failed": repr(error)})
    finally:
        os._exit(0)


class _Plugin:
    """Runs the tests that are named, in their order, and keeps what failed and how long each took."""

    def __init__(self, tests: Sequence[str] = (), switch: Callable[[str], object] | None = None) -> None:
        self.tests = tests
        self.switch = switch
        self.failed = ""
        self.seconds: dict[str, float] = {}

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        # A file that `conftest` marks as slow is run; a test that says so of itself is not.
        marked = {i for i in items if any(m.name == "slow" for m in getattr(i.function, "pytestmark", ()))}
        items[:] = [i for i in items if i.name not in LEFT_OUT and i not in marked]
        if self.tests:
            by_id = {item.nodeid: item for item in items}
            gone = [t for t in self.tests if t not in by_id]
            self.failed = f"{gone[0]} is gone" if gone else ""
            items[:] = [by_id[t] for t in self.tests if t in by_id] if not gone else []
        for item in items:
            _fewer_examples(item.function)

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        _forget()
        if self.switch:
            self.switch(nodeid)

    def pytest_runtest_logfinish(self, nodeid: str) -> None:
        if self.switch:
            self.switch("")

    def pytest_runtest_logreport(self, report: Any) -> None:
        self.seconds[report.nodeid] = self.seconds.get(report.nodeid, 0.0) + report.duration
        self._keep(report)

    def pytest_collectreport(self, report: Any) -> None:
        self._keep(report)

    def _keep(self, report: Any) -> None:
        if report.failed and not self.failed:
            self.failed = report.nodeid


def _forget() -> None:
    """Empty what functions remember, or only the first test that asks them something comes to their lines."""
    for name, module in list(sys.modules.items()):
        if name.partition(".")[0] == "kgraph":
            for value in vars(module).values():
                if isinstance(value, functools._lru_cache_wrapper):
                    value.cache_clear()


def _fewer_examples(test: Any) -> None:
    """A test that draws its examples draws few, or a mutant that is not noticed costs half a minute."""
    import hypothesis

    drawn = getattr(test, "_hypothesis_internal_use_settings", None)
    if drawn is not None:
        most = min(drawn.max_examples, EXAMPLES)
        test._hypothesis_internal_use_settings = hypothesis.settings(drawn, max_examples=most)


def _run_tests(files: Iterable[str], plugin: _Plugin) -> int:
    import hypothesis
    import pytest

    hypothesis.settings.register_profile(
        "mutants",
        derandomize=True,
        database=None,
        deadline=None,
        phases=(hypothesis.Phase.explicit, hypothesis.Phase.generate),
        suppress_health_check=list(hypothesis.HealthCheck),
    )
    hypothesis.settings.load_profile("mutants")
    os.chdir(ROOT)
    base = Path(tempfile.gettempdir()) / "base"
    options = [
        "-q",
        "-x",
        "-p",
        "no:cacheprovider",
        "-p",
        "no:xdist",
        "-p",
        "no:randomly",
        f"--basetemp={base}",
    ]
    return int(pytest.main([*options, *(f"tests/{name}.py" for name in files)], plugins=[plugin]))


def _foreign(files: Sequence[str]) -> list[str]:
    """The modules of others that a run of the tests loads."""
    before = set(sys.modules)
    _run_tests(files, _Plugin())
    ours = ("kgraph", "tests", "conftest", "__main__", "sitecustomize")
    return [m for m in sys.modules if m not in before and m.partition(".")[0] not in ours]


def _baseline(target: Target) -> dict[str, Any]:
    import coverage

    file = str(ROOT / target.file)
    watched = coverage.Coverage(branch=True, data_file=None, include=[file], config_file=False)
    watched.exclude("if TYPE_CHECKING:")
    plugin = _Plugin(switch=watched.switch_context)
    watched.start()
    status = _run_tests(target.tests, plugin)
    watched.stop()
    failed = plugin.failed or ("" if status == 0 else f"pytest ends with {status}")
    at = watched.get_data().contexts_by_lineno(file)
    lines = {line: [c for c in contexts if c] for line, contexts in at.items()}
    out = Path(tempfile.gettempdir()) / "coverage.json"
    watched.json_report(outfile=str(out))
    report = json.loads(out.read_text(encoding="utf-8"))
    found = next(iter(report["files"].values()))
    return {
        "failed": failed,
        "seconds": plugin.seconds,
        "lines": {line: tests for line, tests in lines.items() if tests},
        "coverage": {
            k: found[k] for k in ("executed_lines", "executed_branches", "missing_lines", "missing_branches")
        },
    }


def _try(target: Target, code: CodeType | None, tests: Sequence[str], note: Callable[[object], None]) -> None:
    name = "kgraph." + target.module.replace("/", ".")
    if code is not None:
        sys.meta_path.insert(0, _Finder(name, str(ROOT / target.file), code, lambda: note("loaded")))
    plugin = _Plugin(tests)
    files = dict.fromkeys(t.partition("::")[0].removeprefix("tests/").removesuffix(".py") for t in tests)
    status = _run_tests(files, plugin)
    note({"failed": plugin.failed or ("" if status == 0 else f"pytest ends with {status}")})


class _Loader(importlib.machinery.SourceFileLoader):
    """Loads the mutant in the place of its module."""

    def __init__(self, name: str, file: str, code: CodeType, done: Callable[[], None]) -> None:
        super().__init__(name, file)
        self.code, self.done = code, done

    def get_code(self, fullname: str) -> CodeType:
        self.done()
        return self.code


class _Finder(importlib.abc.MetaPathFinder):
    def __init__(self, name: str, file: str, code: CodeType, done: Callable[[], None]) -> None:
        self.name, self.file = name, file
        self.loader = _Loader(name, file, code, done)

    def find_spec(self, fullname: str, path: object = None, target: object = None) -> Any:
        if fullname != self.name:
            return None
        return importlib.util.spec_from_file_location(fullname, self.file, loader=self.loader)
