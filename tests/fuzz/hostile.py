"""Every hostile file by every command that reads: no traceback, the right line, old bytes stand.

Facts stand in a folder beside a good file; tables and RDF are imported, queries asked. The exit statuses and
lines are those of `tests/hostile/index.tsv`, as `tests/cli/test_hostile.py` reads it.
"""

from __future__ import annotations

import contextlib
import io
import shutil
from pathlib import Path

from kgraph.cli.main import run
from tests.cli.test_hostile import FACTS, GOOD, HOSTILE, NO_TEXT, READING, ROWS
from tests.faults.tally import Tally

MORE = [
    ["doubts"],
    ["shelf"],
    ["owed"],
    ["plan", "U-1"],
    ["hunt", "Larkfield LK-40"],
    ["sheet", "U-1"],
    ["belt", "find", "--section", "square 1.25 mm", "--inside-length", "262 mm"],
    ["draw", "shares", "Larkfield LK-40"],
    ["draw", "takers", "K-114"],
    ["export", "--to", "turtle"],
    ["export", "--to", "csv", "-o", "{place}/tables"],
    ["export", "--to", "xlsx", "-o", "{place}/all.xlsx"],
    ["export", "--to", "graphml"],
    ["query", "takers", "--part", "K-114"],
    ["book", "{place}/pages"],
]
UNIT = "- unit: U-1\n  set: Larkfield LK-40\n  wants: [volume knob]\n"


def figure(size: str, place: Path) -> Tally:
    """`small`: two commands a file, in turn; `full`: every command and every file."""
    tally, turn = Tally(), 0
    commands = [*READING, *MORE]
    for name, cls, line in FACTS:
        some = commands if size == "full" else [commands[(turn + n) % len(commands)] for n in range(2)]
        turn += 2
        for words in some:
            _fact(name, cls, line, words, place / "try", tally)
    for name, cls, line, *_ in ROWS:
        if not name.endswith(".yaml"):
            _foreign(name, cls, int(line), place / "try", tally)
    return tally


def said(words: list[str]) -> tuple[int, str, str]:
    """A command's exit status, its output and what it says of faults."""
    out, err = io.TextIOWrapper(io.BytesIO(), "utf-8"), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = run(words)
    out.flush()
    shown: str = out.buffer.getvalue().decode()  # type: ignore[attr-defined]
    return status, shown, err.getvalue()


def _fact(name: str, cls: str, line: int, words: list[str], place: Path, tally: Tally) -> None:
    shutil.rmtree(place, ignore_errors=True)
    folder = place / "facts"
    folder.mkdir(parents=True)
    shutil.copy(HOSTILE / name, folder)
    (folder / "good.yaml").write_text(GOOD + UNIT, encoding="utf-8")
    fault = f"{name}, {' '.join(words)}"
    before = (folder / name).read_bytes()
    try:
        asked = [w.replace("{place}", str(place)) for w in words]
        status, _, err = said(["--data", str(folder), *asked])
        strict, _, faults = (
            said(["--data", str(folder), "--strict", *asked]) if cls == "error" else (3, "", "")
        )
    except Exception as error:
        tally.count(fault, True, f"raised {error!r}")
        return
    complaint = ""
    left_out = status in (0, 1) and f"left out, in {folder / name};" in err
    if cls == "error" and not left_out and (status != 3 or name not in NO_TEXT):
        complaint = f"exit {status}, not said that it is left out: {err[:200]}"
    elif cls == "error" and (strict != 3 or f"{folder / name}:{line}:" not in faults):
        complaint = f"exit {strict}, not told at line {line}: {faults[:200]}"
    elif cls != "error" and status not in (0, 1):
        complaint = f"exit {status}: {err[:200]}"
    elif (folder / name).read_bytes() != before:
        complaint = "the file was changed"
    tally.count(fault, True, complaint or _strange(place), cls)


def _foreign(name: str, cls: str, line: int, place: Path, tally: Tally) -> None:
    shutil.rmtree(place, ignore_errors=True)
    folder = place / "facts"
    folder.mkdir(parents=True)
    (folder / "good.yaml").write_text(GOOD, encoding="utf-8")
    query = name.endswith((".rq", ".ru"))
    words = ["query", str(HOSTILE / name)] if query else ["import", str(HOSTILE / name), "--yes"]
    try:
        status, _, err = said(["--data", str(folder), *words])
    except Exception as error:
        tally.count(name, True, f"raised {error!r}")
        return
    # A path without end is a query in order: it ends by its limit, or here at once for want of facts.
    endless = name.startswith("r08")
    wrong = cls == "error" and not endless and (status != 3 or f"{name}:{line}:" not in err)
    complaint = f"exit {status}, not told at line {line}: {err[:200]}" if wrong else ""
    tally.count(name, True, complaint or ("Traceback" if "Traceback" in err else ""), cls)


def _strange(place: Path) -> str:
    """What lies where nothing of a hostile name may lie."""
    known = {"facts", "tables", "pages", "all.xlsx"}
    found = sorted({p.name for p in place.iterdir()} - known)
    return f"written: {found}" if found else ""
