"""A folder kept in git by two people: what both append is there after a pull, and `check` is clean."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from tests.support import graph_of_folder

pytestmark = pytest.mark.skipif(shutil.which("git") is None, reason="git is not installed")

FIRST = """\
# Our facts.
- set: Larkfield LK-40
- set: Orvanek 2200
- part: K-114
  kind: knob
- part: K-7
  kind: knob
- source: bench book
  type: bench
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: fitted
  source: bench book
"""


def git(where: Path, *words: str, good: bool = True) -> subprocess.CompletedProcess[str]:
    """Run git with a configuration of its own."""
    env = {**os.environ, "GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1", "LC_ALL": "C"}
    who = ("-c", "user.name=Anna", "-c", "user.email=anna@example.invalid", "-c", "pull.rebase=false")
    done = subprocess.run(
        ["git", *who, *words], cwd=where, env=env, capture_output=True, text=True, timeout=60, check=False
    )
    assert not good or done.returncode == 0, done.stderr
    return done


def two_clones(tmp_path: Path, attributes: str) -> tuple[Path, Path]:
    """Two clones of one folder with a fact file in it."""
    start = tmp_path / "start"
    start.mkdir()
    git(start, "init", "-q", "-b", "main")
    (start / "facts.yaml").write_text(FIRST)
    if attributes:
        (start / ".gitattributes").write_text(attributes)
    git(start, "add", ".")
    git(start, "commit", "-q", "-m", "first")
    git(tmp_path, "clone", "-q", "--bare", "start", "shared.git")
    for name in ("anna", "bert"):
        git(tmp_path, "clone", "-q", "shared.git", name)
    return tmp_path / "anna", tmp_path / "bert"


def add(folder: Path, part: str, into: str, position: str, file: str = "facts.yaml") -> None:
    """Add a fact as its user does, and commit it."""
    said = ["takes", part, "--in", into, "--position", position, "--how", "fitted", "--source", "bench book"]
    assert run(["--data", str(folder), "add", *said, "--file", file, "--yes"]) == 0
    git(folder, "add", "*.yaml")
    git(folder, "commit", "-q", "-m", position)


def assert_both_are_there(folder: Path, capsys: Any) -> None:
    """Every fact is there with all that was said of it, and nothing is wrong."""
    facts = graph_of_folder(folder).data.facts.values()
    assert {f.claim[:3] for f in facts} == {
        ("k114", "s:larkfieldlk40", "volumeknob"),
        ("k7", "s:larkfieldlk40", "toneknob"),
        ("k114", "s:orvanek2200", "balanceknob"),
    }
    # Lines that both people wrote alike are those that a merge by lines may take for one.
    assert [[(e.how, e.source) for e in f.evidence] for f in facts] == [[("fitted", "bench book")]] * 3
    capsys.readouterr()
    assert run(["--data", str(folder), "check"]) == 0
    assert "0 errors" in capsys.readouterr().out


def exchange(anna: Path, bert: Path) -> None:
    """Anna sends, Bert takes hers and sends, Anna takes his."""
    git(anna, "push", "-q")
    git(bert, "pull", "-q", "--no-edit")
    git(bert, "push", "-q")
    git(anna, "pull", "-q", "--no-edit")


def test_two_people_add_each_to_a_file_of_their_own(tmp_path: Path, capsys: Any) -> None:
    anna, bert = two_clones(tmp_path, "")
    add(anna, "K-7", "Larkfield LK-40", "tone knob", "anna.yaml")
    add(bert, "K-114", "Orvanek 2200", "balance knob", "bert.yaml")
    exchange(anna, bert)
    for folder in (anna, bert):
        assert_both_are_there(folder, capsys)


def test_two_people_add_to_one_file_and_both_entries_are_whole(tmp_path: Path, capsys: Any) -> None:
    anna, bert = two_clones(tmp_path, "*.yaml merge=union\n")
    for clone in (anna, bert):
        git(clone, "config", "merge.conflictStyle", "diff3")
    add(anna, "K-7", "Larkfield LK-40", "tone knob")
    add(bert, "K-114", "Orvanek 2200", "balance knob")
    exchange(anna, bert)
    for folder in (anna, bert):
        assert_both_are_there(folder, capsys)
        assert (folder / "facts.yaml").read_text().startswith(FIRST)


def test_a_conflict_marker_left_in_a_file_is_an_error_at_its_line(tmp_path: Path, capsys: Any) -> None:
    anna, bert = two_clones(tmp_path, "")
    add(anna, "K-7", "Larkfield LK-40", "tone knob")
    git(anna, "push", "-q")
    add(bert, "K-114", "Orvanek 2200", "balance knob")
    assert git(bert, "pull", "-q", "--no-edit", good=False).returncode != 0
    lines = (bert / "facts.yaml").read_text().splitlines()
    (marker,) = [n for n, line in enumerate(lines, 1) if line.startswith("<<<<<<<")]
    capsys.readouterr()
    assert run(["--data", str(bert), "check"]) == 1
    assert f"facts.yaml:{marker}:1: " in capsys.readouterr().out
