"""Mutants in the small size: some of one way out, and broken harnesses, are found out."""

from __future__ import annotations

import subprocess
import sys

import pytest

from tests.mutants.making import Mutant, mutants
from tests.mutants.running import ROOT
from tests.mutants.targets import TARGETS, Target


def ran(*words: str) -> tuple[int, str]:
    """The exit status of `python -m tests.mutants`, and what it prints."""
    command = [sys.executable, "-m", "tests.mutants", *words]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    return done.returncode, done.stdout + done.stderr


@pytest.mark.slow
@pytest.mark.parametrize(("module", "every"), [("exchange/terms", "20")])
def test_mutants_are_noticed(module: str, every: str) -> None:
    status, said = ran("--module", module, "--every", every)
    assert status == 0, said
    assert "survived" not in said
    assert "(100.0 %)" in said


@pytest.mark.slow
def test_tests_that_check_nothing_are_found_out() -> None:
    status, said = ran("--module", "exchange/terms", "--every", "20", "--broken", "blind")
    assert status == 1
    assert said.count("survived") > 2


@pytest.mark.slow
def test_mutants_that_are_not_loaded_are_found_out() -> None:
    status, said = ran("--module", "exchange/terms", "--every", "40", "--broken", "unloaded")
    assert status == 1
    assert "/ 0 / 0" in said


@pytest.mark.parametrize("target", TARGETS, ids=lambda target: target.module)
def test_what_is_called_the_same_is_a_mutant_and_has_a_reason(target: Target) -> None:
    made = {m.id for m in mutants((ROOT / target.file).read_text(encoding="utf-8"), target.only)}
    assert made
    assert set(target.same) <= made
    assert all(target.same.values())


def _texts(source: str) -> set[str]:
    return {m.id for m in mutants(source)}


@pytest.mark.parametrize(
    ("source", "made"),
    [
        ("a = b < c", {"a: b < c -> b <= c"}),
        ("a = b and c", {"a: b and c -> b or c", "a: b and c -> c", "a: b and c -> b"}),
        ("a = not b", {"a: not b -> b"}),
        ("def f():\n    os.fsync(d)", {"f: os.fsync(d) -> nothing"}),
        ("def f():\n    if a:\n        return b", {"f: a -> not a", "f: return b -> return None"}),
        ("with lock():\n    a()", {"module: with lock() -> nothing", "module: a() -> nothing"}),
        ("a = {1: 2}", {"a: 1 -> nothing", "a: 1 -> 2", "a: 2 -> 3"}),
        ("a = f(b)", {"a: f(b) -> b"}),
        ("a = b | c", set()),
        ("a = x.b | x.c", {"a: x.b | x.c -> x.b", "a: x.b | x.c -> x.c"}),
        ("a = re.compile(r'b+\\Z')", {r"a: b+\Z -> b*\Z", r"a: b+\Z -> b+"}),
        ("def f(a: int = 1) -> str | None:\n    'says'", {"f: 1 -> 2"}),
        ("import os\nfrom a import b", set()),
    ],
)
def test_what_is_changed(source: str, made: set[str]) -> None:
    assert _texts(source) == made


def test_a_mutant_differs_from_its_module_in_one_place() -> None:
    source = "def f(a, b):\n    return a < b\n"
    (compared,) = [m for m in mutants(source) if "<=" in m.id]
    assert isinstance(compared, Mutant)
    assert compared.lines == (2, 2)
    before: dict[str, object] = {}
    after: dict[str, object] = {}
    exec(compile(source, "m", "exec"), before)
    exec(compared.code(source, "m"), after)
    assert [before["f"](1, 1), after["f"](1, 1)] == [False, True]  # type: ignore[operator]
