"""Names on their way out in the small size: letter for letter, and found out where a safety is missing."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest
from yaml import YAMLError

from tests.fuzz import __main__ as fuzz
from tests.fuzz import audit, children, exits, guided
from tests.fuzz.broken import without
from tests.support import tried


@pytest.mark.slow
def test_names_come_back_letter_for_letter_by_every_way_out() -> None:
    tally = tried(fuzz.run, "exits")
    assert tally.wrong == []
    assert tally.injected == tally.happened == tally.survived > exits.NAMES["small"]


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore:expect syntax error")
@pytest.mark.parametrize("broken", ["no_escape", "names_as_files"])
def test_a_way_out_without_a_safety_is_found_out(broken: str) -> None:
    tally = tried(fuzz.run, "exits", broken)
    assert tally.wrong
    assert not tally.holds


@pytest.mark.parametrize(
    ("event", "given", "says"),
    [
        ("open", ("/etc/hostname", "r", 0), "open '/etc/hostname'"),
        ("socket.connect", (None, ("192.0.2.1", 80)), "socket.connect ('192.0.2.1', 80)"),
        ("socket.getaddrinfo", ("host.invalid", 80, 0, 0, 0), "socket.getaddrinfo 'host.invalid'"),
        ("socket.connect", (None, ("127.0.0.1", 80)), ""),
        ("open", (__file__, "r", 0), ""),
        ("open", (3, "r", 0), ""),
    ],
)
def test_the_audit_tells_foreign_files_and_hosts_from_our_own(
    event: str, given: tuple[Any, ...], says: str
) -> None:
    assert audit.strange(event, given, audit.allowed_folders()) == says


@pytest.mark.slow
def test_reading_opens_nothing_foreign_and_connects_to_nobody() -> None:
    tally = tried(fuzz.run, "foreign")
    assert tally.wrong == []
    assert tally.injected == tally.happened == tally.survived > 100


@pytest.mark.slow
def test_commands_and_their_processes_open_nothing_foreign() -> None:
    tally = tried(fuzz.run, "children")
    assert tally.wrong == []
    assert tally.injected == tally.happened == tally.survived > 1000


@pytest.mark.slow
@pytest.mark.skipif(bool(children.MISSING), reason=children.MISSING)
def test_what_a_process_of_a_command_opens_and_connects_to_is_seen(tmp_path: Path) -> None:
    home = tmp_path / "home"
    home.mkdir()
    child = "import socket; open('/etc/hostname'); socket.socket().connect_ex(('127.0.0.1', 9))"
    parent = f"import subprocess, sys; open('own', 'w'); subprocess.run([sys.executable, '-c', {child!r}])"
    seen = children.watched([sys.executable, "-c", parent], home, (str(home),))
    assert (seen.status, seen.processes) == (0, 2)
    assert seen.own >= 1
    assert seen.strange[0] == "opens /etc/hostname"
    assert seen.strange[1].startswith("connect(")
    assert len(seen.strange) == 2


@pytest.mark.slow
def test_what_coverage_finds_raises_nothing() -> None:
    tally = tried(fuzz.run, "guided")
    assert tally.wrong == []
    assert set(tally.kinds) == set(guided.TARGETS)


def test_kept_inputs_are_few_and_small() -> None:
    kept = {name: guided.kept_inputs(name) for name in guided.TARGETS}
    assert {path.stem for path in guided.CORPUS.iterdir()} == set(guided.TARGETS)
    assert all(kept.values())
    assert sum(len(data) for inputs in kept.values() for data in inputs.values()) < 300_000


def test_inputs_are_kept_and_taken_out_alike(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = tmp_path / "found"
    found.mkdir()
    (found / "one").write_bytes(b"\x00\xff")
    (found / "two").write_bytes(b"")
    monkeypatch.setattr(guided, "CORPUS", tmp_path)
    guided.keep("yaml", found)
    first = (tmp_path / "yaml.zip").read_bytes()
    assert guided.kept_inputs("yaml") == {"one": b"\x00\xff", "two": b""}
    guided.keep("yaml", found)
    assert (tmp_path / "yaml.zip").read_bytes() == first


def replay(name: str) -> None:
    """Each kept input of a target once more."""
    for data in guided.kept_inputs(name).values():
        guided.TARGETS[name](data)


@pytest.mark.parametrize("name", guided.TARGETS)
def test_kept_inputs_raise_nothing(name: str) -> None:
    replay(name)


@pytest.mark.parametrize(
    ("name", "broken"), [("dot", "no_escape"), ("html", "no_escape"), ("yaml", "raises")]
)
def test_kept_inputs_find_out_a_missing_safety(name: str, broken: str) -> None:
    guided._page.clear()
    with without(broken), pytest.raises((AssertionError, YAMLError)):
        replay(name)
    guided._page.clear()
