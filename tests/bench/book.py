"""A book of many facts, and again after one: `python -m tests.bench.book [FACTS]`.

Prints seconds of the processor, those of its processes and of `dot` among them, seconds of the clock, the
bytes of all files, the largest page, and how many files the second run wrote.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

from kgraph.cli.main import run
from tests.bench import folders


def timed(facts: Path, book: Path) -> str:
    """One run in a process of its own: how long it took."""
    before, clock = os.times(), time.perf_counter()
    child = os.fork()
    if child == 0:
        os._exit(run(["--data", str(facts), "book", str(book)]))
    os.waitpid(child, 0)
    after = os.times()
    spent = after.children_user + after.children_system - before.children_user - before.children_system
    return f"{spent:.1f} s of the processor, {time.perf_counter() - clock:.1f} s"


def main() -> None:
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 30_000
    with tempfile.TemporaryDirectory() as made:
        facts, book = Path(made) / "facts", Path(made) / "book"
        print(folders.write(facts, wanted), "facts")
        print("made:", timed(facts, book), flush=True)
        sizes = [p.stat().st_size for p in book.rglob("*") if p.is_file()]
        pages = [p.stat().st_size for p in book.rglob("*.html")]
        print(f"{len(sizes)} files, {sum(sizes) / 1e6:.0f} MB, the largest page {max(pages) / 1e3:.0f} kB")
        print("again, nothing new:", timed(facts, book), flush=True)
        one = next(iter(sorted(facts.rglob("*.yaml"))))
        with one.open("a", encoding="utf-8") as file:
            file.write("- takes: K-114\n  in: Larkfield LK-40\n  position: volume knob\n")
        print("again, one fact about a new set:", timed(facts, book), flush=True)
        name = next(line for line in one.read_text().splitlines() if line.startswith("- set: "))[7:]
        with one.open("a", encoding="utf-8") as file:
            file.write(f"- takes: K-115\n  in: {name}\n  position: volume knob\n")
        print("again, one fact about a set that shares a mechanism:", timed(facts, book), flush=True)


if __name__ == "__main__":
    main()
