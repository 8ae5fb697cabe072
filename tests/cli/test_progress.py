"""What a terminal is given beyond plain text: colours and a progress bar, and where neither may be."""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
from typing import Any

import pytest

from kgraph.cli import progress
from kgraph.render.terminal import table
from tests.support import ROOT

HEAD = ("set", "standing")
ROWS = [("Larkfield LK-40", "stated"), ("refused", "refused"), ("Orvanek 2200", "disputed")]


def test_colour_stands_beside_the_word_on_a_terminal_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    coloured = table(HEAD, ROWS, True)
    assert "refused          \x1b[31mrefused\x1b[0m\n" in coloured
    assert "Orvanek 2200     \x1b[33mdisputed\x1b[0m\n" in coloured
    assert coloured.count("\x1b[") == 4
    plain = coloured.replace("\x1b[31m", "").replace("\x1b[33m", "").replace("\x1b[0m", "")
    assert "\x1b" not in table(HEAD, ROWS, False)
    monkeypatch.setenv("NO_COLOR", "1")
    assert table(HEAD, ROWS, True) == plain
    monkeypatch.delenv("NO_COLOR")
    monkeypatch.setenv("TERM", "dumb")
    assert table(HEAD, ROWS, True) == plain


SLOW = """
import sys, time
from kgraph.cli import progress
progress.AFTER_S = float(sys.argv[1])
with progress.steps("reading", 4) as step:
    # What draws the bar is loaded meanwhile, which takes longer where others are at work.
    bar, end = getattr(step, "__self__", None), time.monotonic() + 30
    while progress.AFTER_S == 0 and bar and bar.shown is None and time.monotonic() < end:
        time.sleep(0.05)
    for _ in range(4):
        time.sleep(0.3)
        step(1, 3000)
print("done", "rich" in sys.modules)
"""


def _at_terminal(after: str, term: str) -> str:
    ours, theirs = pty.openpty()
    environment = {**os.environ, "TERM": term, "PYTHONPATH": str(ROOT), "COLUMNS": "80"}
    done = subprocess.run(
        [sys.executable, "-c", SLOW, after],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=theirs,
        check=True,
    )
    os.close(theirs)
    said = b""
    try:
        while chunk := os.read(ours, 65536):
            said += chunk
    except OSError:  # Linux says so when the other end is closed.
        pass
    os.close(ours)
    return done.stdout.decode() + said.decode()


def test_a_bar_is_shown_for_long_work_on_a_terminal() -> None:
    said = _at_terminal("0", "xterm")
    assert said.startswith("done True\n")
    assert "reading" in said
    rates = [int(found.replace(",", "")) for found in re.findall(r"([\d,]+) facts/s", said)]
    assert rates
    # 3,000 facts in 0.3 s or, on a busy machine, more.
    assert all(0 < rate <= 10_000 for rate in rates)
    assert _at_terminal("30", "xterm") == "done False\n"
    assert _at_terminal("0", "dumb") == "done False\n"


def test_without_a_terminal_nothing_is_shown_and_nothing_imported(capsys: Any) -> None:
    with progress.steps("reading", 2) as step:
        step()
        step()
    assert capsys.readouterr() == ("", "")


def test_the_bar_goes_when_the_work_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    gone = []
    monkeypatch.setattr(progress, "_can_show", lambda: True)
    monkeypatch.setattr(progress._Bar, "close", lambda self: gone.append(self.what))
    with pytest.raises(ZeroDivisionError), progress.steps("dividing"):
        1 / 0  # noqa: B018
    assert gone == ["dividing"]
