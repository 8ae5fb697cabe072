"""A list of sets as a restorer keeps it, invented: `python -m tests.bench.lists [ROWS]` times its import.

Ditto marks, section rows, belts as sellers write them, several sets in a cell, blanks and remarks; a few rows
are wrong. Times are seconds of the processor.
"""

from __future__ import annotations

import contextlib
import csv
import io
import random
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.bench.folders import FIRST, LAST

HEADER = (
    *("Make", "Model", "Year", "Country", "Voltage", "Bands", "Mechanism", "Belt"),
    *("Part No.", "Place", "Fits also", "Remarks"),
)
BELTS = ("ca. {0}mm", "{2} sq x {1} dia", "{1} x 5 flat", "SQ {2} x {0}", "", "-")
PLACES = ("volume knob", "tone knob", "dial glass", "handle", "line socket")


def rows(number: int, seed: int = 1) -> list[list[str]]:
    """The rows of an invented list, its header first; the same for the same seed."""
    chosen = random.Random(seed)
    makes = [a + b for a in FIRST[:6] for b in LAST[:4]]
    names: list[str] = []
    found: list[list[str]] = [list(HEADER)]
    make = ""
    while len(found) <= number:
        same = bool(make) and chosen.random() < 0.7
        make = make if same else chosen.choice(makes)
        model = f"{chosen.choice('ABCDEFGH')}{chosen.choice('KLMNP')}-{len(found):04}"
        if chosen.random() < 0.01:
            found.append([f"{make.upper()} PORTABLES", *[""] * (len(HEADER) - 1)])
            make = ""
            continue
        also = "; ".join(chosen.sample(names, 2)) if len(names) > 2 and chosen.random() < 0.2 else ""
        belt = chosen.choice(BELTS).format(
            chosen.randrange(220, 300), chosen.randrange(40, 90), chosen.choice((1.2, 1.6))
        )
        found.append(
            [
                '"' if same else make,
                model,
                str(chosen.randrange(1974, 1990)),
                '"' if same else chosen.choice(("UK", "Germany", "Austria")),
                chosen.choice(("220", "240V", "110/220 V", "")),
                chosen.choice(("LW/MW/SW/FM", "MW/FM", "")),
                chosen.choice(("TN7 mechanism", "Q9 deck", "do." if same else "", "")),
                belt,
                f"{make[0]}-{chosen.randrange(100, 400)}",
                chosen.choice(PLACES),
                also,
                chosen.choice(("", "", "from the loft", "see the photo")),
            ]
        )
        names.append(f"{make} {model}")
    return found


def as_csv(cells: list[list[str]]) -> bytes:
    """The list as CSV, as the standard library writes it."""
    out = io.StringIO()
    csv.writer(out).writerows(cells)
    return out.getvalue().encode()


def as_xlsx(cells: list[list[str]]) -> bytes:
    """The list as a workbook, in which whole numbers are numbers."""
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "sets"
    for row in cells:
        sheet.append([int(c) if c.isdigit() else c or None for c in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _seconds(*words: str) -> tuple[float, str]:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, "-m", "kgraph", *words], capture_output=True, text=True, check=False
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    took = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    last = (done.stdout.strip() or done.stderr.strip()).rsplit("\n", 1)[-1]
    return took, f"status {done.returncode}: {last}"


def main(number: int) -> None:
    """Import the list into an empty folder, again unchanged, and with one cell changed."""
    cells = rows(number)
    with tempfile.TemporaryDirectory() as name:
        for suffix, made in (("csv", as_csv), ("xlsx", as_xlsx)):
            folder, table = Path(name) / suffix, Path(name) / f"list.{suffix}"
            folder.mkdir()
            table.write_bytes(made(cells))
            words = ("--data", str(folder), "import", str(table), "--yes", "--skip-bad")
            print(suffix, "first", *_seconds(*words))
            print(suffix, "again", *_seconds(*words))
            changed = [list(row) for row in cells]
            changed[number // 2][8] = "Z-1"
            table.write_bytes(made(changed))
            print(suffix, "one cell changed", *_seconds(*words))


if __name__ == "__main__":
    with contextlib.suppress(KeyboardInterrupt):
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
