"""What photographs cost: `python -m tests.bench.photographs [PHOTOGRAPHS] [OF A BOOK]`.

First the same questions of one folder of facts, with many photographs that its facts name and without any:
seconds of the processor of each, and how many files and folders under `photos` were opened or listed, as the
interpreter's audit events tell. Then a book of a folder with photographs, made, and made again.
"""

from __future__ import annotations

import hashlib
import io
import os
import random
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from PIL import Image

from kgraph.cli.main import run
from tests.bench import folders

QUESTIONS = (
    ("takers", "{part}"),
    ("donors", "{set}", "volume knob"),
    ("faults", "{set}"),
    ("arrive", "{set}"),
    ("show", "{set}"),
)
ROUNDS = 3
OPENS = ("open", "os.listdir", "os.scandir", "os.walk", "os.fwalk", "pathlib.Path.glob", "pathlib.Path.rglob")
GRAIN = 16


def pictures(count: int, wide: int) -> Iterator[bytes]:
    """So many JPEGs, each with bytes of its own: soft shapes with the grain of a photograph."""
    chance = random.Random(1)
    size = (wide, wide * 3 // 4)
    grounds = [_ground(chance, size) for _ in range(GRAIN)]
    for number in range(count):
        picture = grounds[number % GRAIN].copy()
        color = (number % 256, number // 256 % 256, chance.randrange(256))
        picture.paste(color, (0, 0, size[0] // 4, size[1] // 4))
        out = io.BytesIO()
        picture.save(out, "JPEG", quality=85)
        yield out.getvalue()


def _ground(chance: random.Random, size: tuple[int, int]) -> Image.Image:
    shapes = Image.new("RGB", (8, 6))
    shapes.putdata([(chance.randrange(256), chance.randrange(256), chance.randrange(256)) for _ in range(48)])
    grain = Image.effect_noise(size, 24).convert("RGB")
    return Image.blend(shapes.resize(size, Image.Resampling.BICUBIC), grain, 0.2)


def write(folder: Path, facts: int, count: int, wide: int) -> int:
    """A folder of facts of which so many rest on a photograph; how many bytes the photographs take."""
    folders.write(folder, facts)
    made, total = iter(pictures(count, wide)), 0
    if count:
        (folder / "photos").mkdir()
    for path in sorted(folder.rglob("*.yaml")):
        entries = path.read_text(encoding="utf-8").split("\n- ")
        for number, entry in enumerate(entries):
            if entry.startswith(("takes:", "rebadge:", "set:")) and (data := next(made, None)) is not None:
                name = f"photos/{hashlib.sha256(data).hexdigest()[:16]}.jpg"
                (folder / name).write_bytes(data)
                entries[number] = f"{entry.rstrip()}\n  photo: {name}"
                total += len(data)
        path.write_text("\n- ".join(entries).rstrip() + "\n", encoding="utf-8")
    left = sum(1 for _ in made)
    if left:
        raise SystemExit(f"{left} photographs have no fact that could name them; ask for more facts")
    return total


def asked(words: Sequence[str], photos: Path) -> tuple[float, int]:
    """Seconds of the processor of a command in a process of its own; how often it touched a photograph."""
    mine, theirs = os.pipe()
    before = os.times()
    child = os.fork()
    if child == 0:
        os.close(mine)
        out = os.open(os.devnull, os.O_WRONLY)
        os.dup2(out, 1)
        os.dup2(out, 2)
        touched = 0

        def hear(event: str, arguments: tuple[object, ...]) -> None:
            nonlocal touched
            path = arguments[0] if event in OPENS and arguments else None
            if isinstance(path, str | bytes | os.PathLike):
                touched += os.path.abspath(os.fsdecode(path)).startswith(str(photos))

        sys.addaudithook(hear)
        status = run(list(words))
        os.write(theirs, f"{touched} {status}".encode())
        os._exit(0)
    os.close(theirs)
    with os.fdopen(mine) as told:
        touched, status = map(int, told.read().split())
    os.waitpid(child, 0)
    if status not in (0, 1):
        raise SystemExit(f"{' '.join(words)} ended with {status}")
    after = os.times()
    spent = after.children_user + after.children_system - before.children_user - before.children_system
    return spent, touched


def questions(bare: Path, full: Path) -> None:
    """Each question of both folders by turns, after one that nobody counts."""
    text = "".join(path.read_text(encoding="utf-8") for path in sorted(bare.rglob("*.yaml")))
    lines = text.splitlines()
    part = next(line for line in lines if line.startswith("- takes: "))[9:]
    one = next(line for line in lines if line.startswith("- set: "))[7:]
    for question in QUESTIONS:
        words = [w.format(part=part, set=one) for w in question]
        spent: dict[Path, list[float]] = {bare: [], full: []}
        touched = 0
        for round_ in range(ROUNDS + 1):
            for folder in (bare, full):
                seconds, seen = asked(["--data", str(folder), *words], folder / "photos")
                touched += seen
                spent[folder] += [seconds] if round_ else []
        without, with_them = (min(spent[folder]) for folder in (bare, full))
        print(f"{question[0]}: {without:.2f} s without, {with_them:.2f} s with; {touched} opened or listed")


def book(folder: Path, place: Path) -> None:
    """A book made, and made again."""
    for told in ("made", "again"):
        clock = time.perf_counter()
        spent, _ = asked(["--data", str(folder), "book", str(place)], folder / "photos")
        print(
            f"book, {told}: {spent:.1f} s of the processor, {time.perf_counter() - clock:.1f} s", flush=True
        )
    small = [path.stat().st_size for path in (place / "photos").iterdir()]
    pages = sum(1 for _ in place.rglob("*.html"))
    print(f"{pages} pages, {len(small)} thumbnails, the largest {max(small) / 1e3:.1f} kB")


def main() -> None:
    many, few = (int(sys.argv[n]) if len(sys.argv) > n else usual for n, usual in ((1, 10_000), (2, 1_000)))
    with tempfile.TemporaryDirectory() as made:
        os.environ["KGRAPH_CACHE"] = str(Path(made) / "cache")
        bare, full, shown = (Path(made) / name for name in ("bare", "full", "shown"))
        write(bare, many + many // 2, 0, 96)
        size = write(full, many + many // 2, many, 96)
        print(f"{many} photographs, {size / 1e6:.0f} MB")
        questions(bare, full)
        size = write(shown, few + few // 2, few, 1600)
        print(f"{few} photographs, {size / 1e6:.0f} MB")
        book(shown, Path(made) / "book")


if __name__ == "__main__":
    main()
