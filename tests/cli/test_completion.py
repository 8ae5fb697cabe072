"""Completion by the tab key in real shells: what stands in the line is what the command then gets."""

from __future__ import annotations

import os
import pty
import select
import shutil
import signal
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.completing import SCRIPTS, _bash_words
from kgraph.cli.main import run
from tests.support import ROOT, folder_with

FACTS = """\
- set: Larkfield LK-40
- set: 'Orvanek "22" L'
- set: Quill'on 31
- set: Vo$lar (5)
- set: Näre 7
- set: 'x; touch pwned'
- set: "two\\nlines"
- part: K-114
- unit: U-07
  set: Larkfield LK-40
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
- takes: K-115
  in: Larkfield LK-40
  position: voice switch
"""

# What is typed, up to the tab key -> the words that the command gets.
TYPED = {
    "takers Lark": ["takers", "Larkfield LK-40"],
    "takers 'Lark": ["takers", "Larkfield LK-40"],
    'takers "Lark': ["takers", "Larkfield LK-40"],
    "takers Larkfield\\ L": ["takers", "Larkfield LK-40"],
    "takers Orv": ["takers", 'Orvanek "22" L'],
    "sisters Quil": ["sisters", "Quill'on 31"],
    'sisters "Quil': ["sisters", "Quill'on 31"],
    "sisters Vo": ["sisters", "Vo$lar (5)"],
    "sisters x": ["sisters", "x; touch pwned"],
    "sisters N": ["sisters", "Näre 7"],
    "donors lk40 vol": ["donors", "lk40", "volume knob"],
    "takers K-114 --why-not Lar": ["takers", "K-114", "--why-not", "Larkfield LK-40"],
    "draw fam": ["draw", "family"],
    "plan U": ["plan", "U-07"],
}

INIT = {
    "bash": 'kgraph() {{ if [ -n "$_KGRAPH_COMPLETE" ]; then {python} -m kgraph.cli.main "$@"; '
    'else printf "<%s>" "$@"; echo "!"; fi; }}\neval "$({python} -m kgraph.cli.main completion bash)"\n',
    "zsh": "autoload -Uz compinit && compinit -u -d {scratch}/dump\n"
    'kgraph() {{ if [ -n "$_KGRAPH_COMPLETE" ]; then {python} -m kgraph.cli.main "$@"; '
    'else printf "<%s>" "$@"; echo "!"; fi; }}\neval "$({python} -m kgraph.cli.main completion zsh)"\n',
    "fish": 'function kgraph; if test -n "$_KGRAPH_COMPLETE"; {python} -m kgraph.cli.main $argv; '
    'else; printf "<%s>" $argv; echo "!"; end; end\n{python} -m kgraph.cli.main completion fish | source\n',
}
START = {"bash": ["--noprofile", "--norc", "-i"], "zsh": ["-f", "-i"], "fish": ["--no-config", "-i"]}


class _Shell:
    """An interactive shell on a pseudo terminal."""

    def __init__(self, shell: str, folder: Path, scratch: Path) -> None:
        program = shutil.which(shell)
        assert program
        environment = {
            **{k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "LS_COLORS")},
            "HOME": str(scratch), "KGRAPH_DATA": str(folder), "PYTHONPATH": str(ROOT), "TERM": "xterm",
            "PS1": "> ", "COLUMNS": "200", "LC_ALL": "C.UTF-8",
        }  # fmt: skip
        # fish wants a terminal of its own, which a fork gives and a subprocess does not.
        self.pid, self.ours = pty.fork()
        if self.pid == 0:
            os.chdir(scratch)
            os.execve(program, [program, *START[shell]], environment)
        rc = scratch / "rc"
        rc.write_text(INIT[shell].format(python=sys.executable, scratch=scratch), encoding="utf-8")
        self.send(f". {rc}; echo rea''dy\n")
        self.until("ready")

    def send(self, text: str) -> None:
        os.write(self.ours, text.encode())

    def until(self, text: str, seconds: float = 30.0) -> str:
        """What is printed up to this text."""
        seen = b""
        end = time.monotonic() + seconds
        while text.encode() not in seen and time.monotonic() < end:
            if select.select([self.ours], [], [], 0.1)[0]:
                seen += os.read(self.ours, 65536)
        said = seen.decode(errors="replace")
        assert text in said, said
        return said

    def quiet(self, seconds: float = 30.0) -> None:
        """Wait until the shell has put the completed word into the line and prints no more."""
        end = time.monotonic() + seconds
        ready, _, _ = select.select([self.ours], [], [], seconds)
        while ready and time.monotonic() < end:
            os.read(self.ours, 65536)
            ready, _, _ = select.select([self.ours], [], [], 0.6)

    def words_after_tab(self, typed: str) -> list[str]:
        """The words that the command gets when this is typed, completed and sent."""
        self.send(f"kgraph {typed}")
        self.until(typed.split()[-1][-1])
        self.send("\t")
        self.quiet()
        self.send("\n")
        said = self.until(">!")
        line = next(ln for ln in said.splitlines() if ln.rstrip().endswith(">!"))
        return line[line.index("<") + 1 : line.rindex(">!")].split("><")

    def close(self) -> None:
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.ours)


@pytest.mark.parametrize("shell", SCRIPTS)
def test_names_come_right_in_the_shell(shell: str, tmp_path: Path) -> None:
    if not shutil.which(shell):
        pytest.skip(f"{shell} is not installed")
    facts, scratch = tmp_path / "facts", tmp_path / "home"
    facts.mkdir()
    scratch.mkdir()
    opened = _Shell(shell, folder_with(facts, [("facts.yaml", FACTS)]), scratch)
    try:
        assert {t: opened.words_after_tab(t) for t in TYPED} == TYPED
    finally:
        opened.close()


def _asked(monkeypatch: pytest.MonkeyPatch, capfd: Any, words: list[str], typed: str) -> list[str]:
    monkeypatch.setenv("_KGRAPH_COMPLETE", "zsh")
    monkeypatch.setenv("_KGRAPH_WORDS", "\n".join(["kgraph", *words]))
    monkeypatch.setenv("_KGRAPH_WORD", typed)
    assert run([]) == 0
    out, err = capfd.readouterr()
    assert err == ""
    return out.splitlines()


def test_a_name_that_cannot_stand_in_a_line_is_not_offered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: Any
) -> None:
    folder = folder_with(tmp_path, [("facts.yaml", FACTS)])
    found = _asked(monkeypatch, capfd, ["--data", str(folder), "sisters"], "")
    assert found == [
        "names",
        "Larkfield LK-40",
        "Näre 7",
        'Orvanek "22" L',
        "Quill'on 31",
        "Vo$lar (5)",
        "x; touch pwned",
    ]


def test_another_spelling_is_completed_where_it_can_mean_one_name_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: Any
) -> None:
    folder = folder_with(tmp_path, [("facts.yaml", FACTS)])
    base = ["--data", str(folder)]
    assert _asked(monkeypatch, capfd, [*base, "sisters"], "larkfieldlk") == ["names", "Larkfield LK-40"]
    assert _asked(monkeypatch, capfd, [*base, "donors", "x"], "V") == ["names"]


def test_broken_data_say_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: Any) -> None:
    broken = folder_with(tmp_path, [("facts.yaml", "- set: [\n"), ("good.yaml", "- set: Larkfield LK-40\n")])
    assert _asked(monkeypatch, capfd, ["--data", str(broken), "sisters"], "L") == ["names", "Larkfield LK-40"]
    assert _asked(monkeypatch, capfd, ["--data", str(tmp_path / "none"), "sisters"], "L") == []
    assert _asked(monkeypatch, capfd, ["--data", str(broken), "nothing"], "L") == ["names"]


def test_files_are_left_to_the_shell(monkeypatch: pytest.MonkeyPatch, capfd: Any) -> None:
    assert _asked(monkeypatch, capfd, ["draw", "family", "x", "-o"], "") == ["files"]


@pytest.mark.parametrize(
    ("line", "words", "typed", "quote"),
    [
        ("kgraph a b", ["kgraph", "a"], "b", ""),
        ("kgraph a ", ["kgraph", "a"], "", ""),
        ('kgraph "a b" "c d', ["kgraph", "a b"], "c d", '"'),
        ("kgraph a\\ b 'c\\", ["kgraph", "a b"], "c\\", "'"),
        ('kgraph "a\\"b" ""', ["kgraph", 'a"b'], "", ""),
    ],
)
def test_a_line_of_bash_is_divided_as_bash_does(line: str, words: list[str], typed: str, quote: str) -> None:
    # The rules of quoting are those of the shell standard, POSIX 2.2.
    assert _bash_words(line)[:3] == (words, typed, quote)
