"""Every command in a process in which what only some systems have is not there, beside one in which it is."""

from __future__ import annotations

import io
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image

from kgraph.cli.main import COMMANDS, WRITING
from tests.support import ROOT

ELSEWHERE = ROOT / "tests" / "elsewhere"

FACTS = """\
# Invented facts; nothing of it is true of any real set.
- set: Larkfield LK-40
  mains: 240 V 50 Hz
- set: Orvanek 2200
  mains: 220 V 50 Hz
- set: Quillon 31
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: compared
  id: design
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: fitted
  id: knob
- fits: Quillon 31
  position: volume knob
  to: Larkfield LK-40
  how: measured
- part: B-7
  kind: belt
  section: square 1.2 mm
  inside length: 200 mm
- unit: U-1
  set: Larkfield LK-40
  role: donor
- unit: U-2
  set: Orvanek 2200
  wants: [volume knob]
- stock: K-114
"""
QUESTIONS = [
    ["--help"],
    ["takers", "K-114", "--json"],
    ["takers", "Larkfield LK-40", "volume knob", "--proof"],
    ["donors", "Orvanek 2200", "volume knob", "--json"],
    ["parts", "Orvanek 2200", "volume knob"],
    ["sisters", "Orvanek 2200"],
    ["shares", "Orvanek 2200"],
    ["faults", "Larkfield LK-40"],
    ["identify", "--seen", "mains=240 V 50 Hz"],
    ["likely", "Quillon 31"],
    ["arrive", "Larkfield LK-40", "-o", "arrival.html"],
    ["belt", "find", "--section", "square 1.2 mm", "--inside-length", "200 mm"],
    ["show", "Larkfield LK-40"],
    ["find", "lk40"],
    ["check"],
    ["check", "--deep"],
    ["doubts", "U-2"],
    ["shelf"],
    ["plan", "U-2"],
    ["hunt", "Larkfield LK-40"],
    ["owed", "--all"],
    ["sheet", "U-2", "-o", "u-2.html"],
    ["draw", "family", "Larkfield LK-40", "-o", "family.svg"],
    ["book", "pages"],
    ["query", "sisters", "--set", "Orvanek 2200"],
    ["export", "--to", "turtle", "-o", "facts.ttl"],
    ["export", "--to", "xlsx", "-o", "facts.xlsx"],
    ["completion", "bash"],
]
WRITES = [
    ["add", "set", "Norvane 7", "--yes"],
    ["add", "set", "Norvane 8", "--file", "crlf.yaml", "--yes"],
    ["add", "set", "Norvane 9", "--photo", "../front.png", "--yes"],
    ["withdraw", "design", "--why", "misread label", "--yes"],
    ["correct", "knob", "how", "measured", "--yes"],
    ["rename", "Quillon 31", "Quillon 31 A", "--yes"],
    ["inspect", "U-1", "volume knob", "good", "--date", "2026-01-02"],
    ["take", "volume knob", "--from", "U-1", "--to", "U-2", "--date", "2026-01-02"],
    ["fit", "K-114", "--to", "U-1", "--at", "volume knob", "--date", "2026-01-03"],
    ["import", "more.ttl", "--yes"],
    ["import", "more.csv", "--kind", "set", "--yes"],
    ["merge", "theirs"],
    ["init", "new", "--demo"],
]

RUN = """
import contextlib, io, json, sys, warnings
# Nothing is read or written in the encoding of the place: on Windows that is not UTF-8.
warnings.filterwarnings("error", category=EncodingWarning, module=r"kgraph\\.")
from kgraph.cli.main import run
found, encoding = [], sys.argv[1]
for words in json.load(sys.stdin):
    out, err = io.TextIOWrapper(io.BytesIO(), encoding), io.TextIOWrapper(io.BytesIO(), encoding)
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = run(words)
    out.flush(), err.flush()
    found.append([status, *(stream.buffer.getvalue().decode("latin-1") for stream in (out, err))])
json.dump(found, sys.stdout)
"""


def _environment(without: bool, cache: Path) -> dict[str, str]:
    paths = [str(ELSEWHERE)] if without else []
    return {**os.environ, "PYTHONPATH": os.pathsep.join([*paths, str(ROOT)]), "KGRAPH_CACHE": str(cache)}


def _run(
    place: Path, without: bool, commands: list[list[str]], encoding: str = "utf-8"
) -> list[tuple[int, str, str]]:
    """What commands end with and print (each byte a letter), in a process with or without those names."""
    done = subprocess.run(
        [sys.executable, "-X", "warn_default_encoding", "-c", RUN, encoding],
        cwd=place, env=_environment(without, place / "cache"),
        input=json.dumps([["--data", "facts", *words] for words in commands]), capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return [(status, out, err) for status, out, err in json.loads(done.stdout)]


@pytest.fixture
def places(tmp_path: Path) -> Iterator[tuple[Path, Path]]:
    """Two places alike: for the process that has all names, and the one that lacks them."""
    usual = tmp_path / "usual"
    (usual / "facts").mkdir(parents=True)
    (usual / "facts" / "bench.yaml").write_text(FACTS, encoding="utf-8")
    (usual / "facts" / "crlf.yaml").write_bytes(b"- set: Norvane 1\r\n  market: UK\r\n")
    (usual / "theirs").mkdir()
    (usual / "theirs" / "a.yaml").write_text("- set: Norvane 5\n", encoding="utf-8")
    (usual / "more.csv").write_text("set\nNorvane 6\n", encoding="utf-8")
    picture = io.BytesIO()
    Image.new("RGB", (30, 20), "teal").save(picture, "PNG")
    (tmp_path / "front.png").write_bytes(picture.getvalue())
    shutil.copytree(usual, tmp_path / "elsewhere")
    return usual, tmp_path / "elsewhere"


def _files(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_each_name_that_is_taken_away_is_gone() -> None:
    """Else nothing would be tried here; and the program starts without."""
    asked = (
        "import importlib.util, os, signal, kgraph.cli.main;"
        "assert not {'O_NOFOLLOW', 'O_NONBLOCK', 'fork', 'link', 'fchmod', 'getuid'} & set(dir(os));"
        "assert not {'SIGALRM', 'setitimer'} & set(dir(signal));"
        "import sys; assert sys.modules['fcntl'] is None and sys.modules['resource'] is None"
    )
    environment = _environment(True, ROOT)
    done = subprocess.run([sys.executable, "-c", asked], env=environment, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr.decode()


def test_every_command_is_tried() -> None:
    assert {words[0] for words in [*QUESTIONS, *WRITES]} - {"--help"} == set(COMMANDS)
    assert {words[0] for words in WRITES} >= WRITING


@pytest.mark.slow
def test_every_question_has_the_same_answer(places: tuple[Path, Path]) -> None:
    usual, elsewhere = places
    expected, found = _run(usual, False, QUESTIONS), _run(elsewhere, True, QUESTIONS)
    for words, here, there in zip(QUESTIONS, expected, found, strict=True):
        assert there == here, words
        assert there[0] in (0, 1), (words, there)
    assert _made(usual) == _made(elsewhere)


def _made(place: Path) -> dict[str, bytes]:
    """What the commands wrote, but for the index, which lies in each place under its own name."""
    return {name: data for name, data in _files(place).items() if not name.startswith("cache")}


@pytest.mark.slow
def test_every_command_that_writes_writes_the_same(places: tuple[Path, Path]) -> None:
    usual, elsewhere = places
    for place in places:
        (done,) = _run(place, False, [["export", "--to", "turtle", "-o", "more.ttl"]])
        assert done[0] == 0
    expected, found = _run(usual, False, WRITES), _run(elsewhere, True, WRITES)
    for words, here, there in zip(WRITES, expected, found, strict=True):
        assert there == here, words
        assert there[0] == 0, (words, there)
    files = _files(elsewhere)
    assert files.pop("facts/.kgraph.lock") == b""
    assert not [name for name in files if name.endswith((".tmp", ".held"))]
    assert _made(usual) == _made(elsewhere)
    assert files["facts/crlf.yaml"].startswith(b"- set: Norvane 1\r\n  market: UK\r\n- set: Norvane 8\r\n")


@pytest.mark.slow
def test_a_console_without_most_letters_stops_no_command(places: tuple[Path, Path]) -> None:
    """Code page 1252 has an e with an accent and no letter of Greek or Polish: those are escaped."""
    usual, elsewhere = places
    for place in places:
        facts = (place / "facts" / "bench.yaml").read_text(encoding="utf-8")
        facts = facts.replace("Larkfield", "Larkfi\u00e9ld").replace("Orvanek", "Orva\u0142ek")
        (place / "facts" / "bench.yaml").write_text(facts + "- set: \u039f 1\n", encoding="utf-8")
    questions = [
        [word.replace("Larkfield", "Larkfi\u00e9ld").replace("Orvanek", "Orva\u0142ek") for word in words]
        for words in QUESTIONS
    ]
    expected, found = _run(usual, False, questions), _run(elsewhere, True, questions, "cp1252")
    for words, here, there in zip(questions, expected, found, strict=True):
        assert there[0] == here[0], words
        if "--json" in words:
            # What programs read is UTF-8 everywhere.
            assert there == here, words
        else:
            said = here[1].encode("latin-1").decode()
            assert there[1] == said.encode("cp1252", "backslashreplace").decode("latin-1"), words
    assert any("Orva\\u0142ek" in out and "Larkfi\u00e9ld" in out for _, out, _ in found)
    assert _made(usual) == _made(elsewhere)
