"""Inputs found by coverage: seven targets, each fed by atheris until a number of runs is done.

    python -m tests.fuzz.guided yaml -runs=100000 FOLDER

Each target raises AssertionError where something is wrong, and whatever else it raises is wrong as well.
What was found to reach new code is kept, small, in `tests/corpus/TARGET.zip` and tried again by the tests.
`keep(TARGET, FOLDER)` packs a folder of found inputs into it.
"""

from __future__ import annotations

import functools
import gc
import itertools
import math
import re
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

from tests.faults.tally import Tally

# No module of ours is imported before atheris has seen to it that its coverage is told.
ROOT = Path(__file__).resolve().parents[2]
CORPUS = ROOT / "tests" / "corpus"
SMALL = 2000
FULL = {
    "yaml": 1_000_000,
    "csv": 1_500_000,
    "units": 1_500_000,
    "names": 2_000_000,
    "dot": 1_500_000,
    "html": 1_500_000,
    "terminal": 1_000_000,
}
"""Runs of each target, ten million in all: more where one costs less."""
PIECE = 100_000
"""So many runs in one process, which keeps something of each; the next goes on from what was found."""
LONGEST = 2000
SLOWEST_S = 1.0
"""No input may take more of the processor."""
STALLED_S = 60
"""An input that takes so long by the clock hangs."""
LONGEST_S = {"small": 10, "full": 3600}


def figure(size: str, place: Path) -> Tally:
    """Each run of a target is counted; where the fuzzer is not installed, nothing is tried."""
    tally = Tally()
    try:
        import atheris  # noqa: F401
    except ImportError:
        tally.skipped = "atheris is not installed: pip install -e '.[fuzz]'"
        return tally
    for name in TARGETS:
        found = place / name
        found.mkdir()
        for kept, data in kept_inputs(name).items():
            (found / kept).write_bytes(data)
        for number, seed in enumerate(seeds(name)):
            (found / f"seed{number}").write_bytes(seed)
        _guided(name, size, found, place, tally)
    return tally


def kept_inputs(name: str) -> dict[str, bytes]:
    """The inputs kept for a target, by the names of their files in the archive."""
    with zipfile.ZipFile(CORPUS / f"{name}.zip") as archive:
        return {inside: archive.read(inside) for inside in archive.namelist()}


def keep(name: str, folder: Path) -> None:
    """Pack the inputs in a folder into the archive of a target: the same inputs give the same bytes."""
    with zipfile.ZipFile(CORPUS / f"{name}.zip", "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for file in sorted(folder.iterdir()):
            archive.writestr(zipfile.ZipInfo(file.name), file.read_bytes(), zipfile.ZIP_DEFLATED)


def seeds(name: str) -> list[bytes]:
    """What a target begins with: hostile files, planted faults, quantities, random names."""
    import random

    from tests.fuzz import exits, planted

    if name in ("yaml", "csv"):
        files = sorted((ROOT / "tests" / "hostile").glob(f"*.{name}"))
        small = [data for data in (f.read_bytes() for f in files) if len(data) <= LONGEST]
        return small + [planted.drawn(random.Random(n))[1].encode() for n in range(20) if name == "yaml"]
    if name == "units":
        return [text.encode() for text in UNITS]
    return [text.encode() for text in exits.some_names(random.Random(1), 60)]


UNITS = (
    *(
        "262 mm",
        "about 10.3 cm",
        '10 1/4"',
        "262 +- 2 mm",
        "square 1.25 mm",
        "flat 4 x 0.5 mm",
        "round 1.78 mm",
    ),
    *(
        "2 %",
        "4 % to 10 %",
        "60 Shore A",
        "60 IRHD",
        "2400 rpm",
        "40 g cm at take-up",
        "1 7/8 in/s",
        "at least",
    ),
    *("-12.5 mm", "1e400 mm", "nan", "1,25 mm", "5 / 0 in", "262 +- 1 % mm", "\u0661\u0662 mm", "1 000 mm"),
)


def _guided(name: str, size: str, found: Path, place: Path, tally: Tally) -> None:
    wanted = FULL[name] if size == "full" else SMALL
    end = time.monotonic() + LONGEST_S[size]
    done = 0
    while done < wanted and (left := math.ceil(end - time.monotonic())) > 0:
        runs = _piece(name, min(PIECE, wanted - done), left, found, place, seed=7 + done, tally=tally)
        if not runs:
            return
        done += runs
        if size == "full":
            print(f"  {name}: {done}", flush=True)
    spent = LONGEST_S[size] - (end - time.monotonic())
    print(f"  {name}: {done} runs in {spent:.0f} s, {len(list(found.iterdir()))} kept", flush=True)


def _piece(name: str, runs: int, seconds: int, found: Path, place: Path, *, seed: int, tally: Tally) -> int:
    """Runs in a process of their own: how many there were, none where one of them failed."""
    limits = [f"-runs={runs}", f"-max_total_time={seconds}", f"-max_len={LONGEST}", f"-timeout={STALLED_S}"]
    command = [
        sys.executable,
        "-m",
        "tests.fuzz.guided",
        name,
        *limits,
        "-rss_limit_mb=1024",
        f"-seed={seed}",
    ]
    ended = subprocess.run(
        [*command, f"-artifact_prefix={place}/", str(found)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    told = re.search(r"Done (\d+) runs in \d+ second", ended.stderr)
    if told is None or ended.returncode:
        tally.count(name, True, ended.stderr[-600:])
        return 0
    count = int(told[1])
    tally.injected, tally.happened, tally.survived = (
        n + count for n in (tally.injected, tally.happened, tally.survived)
    )
    tally.kinds[name] += count
    return count


# --- Targets -------------------------------------------------------------------------------------


def yaml_file(data: bytes) -> None:
    """Any bytes read as a fact file: problems stand in the file, and both readers read alike."""
    from kgraph.folder import plain, reading, schema

    got = reading.read_bytes(data, "f")
    entries, found = schema.check_file(got)
    last = max(data.count(b"\n"), data.count(b"\r")) + 1
    for problem in (*got.problems, *found):
        assert problem.where is not None
        assert 1 <= problem.where.line <= last
        assert problem.where.column >= 1
        assert "\x1b" not in str(problem)
    assert len(entries) <= len(got.entries)
    if not data.startswith((b"\xff\xfe", b"\xfe\xff")) and (quick := plain.entries(data)) is not None:
        slow = reading.by_yaml(data, "f")
        assert slow.entries == quick
        assert slow.problems == ()


def csv_file(data: bytes) -> None:
    """Any bytes read as a table: rows, or a refusal in words."""
    from kgraph.exchange import columns
    from kgraph.exchange.formats import Incoming
    from kgraph.problems import Stop

    try:
        columns.read_csv(Incoming(Path("t.csv"), data))
    except Stop as stop:
        _must(str(stop) != "" and "\x1b" not in str(stop), str(stop))


def units(data: bytes) -> None:
    """Any text read as each quantity: a finite number, or QuantityError."""
    from kgraph import belt_sizes, forces, size_rules
    from kgraph import quantities as q

    text = _text(data)
    readers: list[Callable[[str], object]] = [
        *(
            q.length,
            q.coordinate,
            belt_sizes.inside_length,
            belt_sizes.section,
            q.percent,
            q.percent_range,
            forces.hardness,
        ),
        *(
            forces.rpm,
            forces.torque,
            forces.pull,
            forces.speed_cm_s,
            size_rules.compare_rule,
            belt_sizes.thickness,
        ),
    ]
    for reader in readers:
        try:
            value = reader(text)
        except q.QuantityError as error:
            _must(error.what != "" and str(error).isprintable(), str(error))
            continue
        for number in re.findall(r"-?(?:nan|inf)\b", repr(value).split("text=")[0]):
            raise AssertionError(number)
        assert not isinstance(value, float) or math.isfinite(value)


def names(data: bytes) -> None:
    """Any text as a name: folding folds once, and its page lies in the book."""
    from kgraph.book.addresses import is_page_path, page_path, slug
    from kgraph.names import fold, nearest

    text = _text(data)
    key = fold(text)
    assert fold(key) == key
    assert key.isprintable()
    assert re.fullmatch(r"[a-z0-9-]{0,40}", slug(text))
    assert is_page_path(page_path("set", key, text))
    nearest(text[:40], ["Arden 12", "K-114"])


def dot(data: bytes) -> None:
    """Any text as a label: what the DOT text holds is read back letter for letter."""
    import graphviz

    from kgraph.render.pictures import sheet
    from kgraph.render.terminal import visible

    text = _text(data)[:300]
    source = graphviz.Digraph(body=[]).source
    graph = graphviz.Digraph()
    graph.node("n1", label=sheet.label([text]))
    line = graph.source.splitlines()[1]
    assert len(graph.source.splitlines()) == len(source.splitlines()) + 1
    found = re.fullmatch(r'\tn1 \[label=(?:"((?:[^"\\]|\\.)*)"|([A-Za-z_\x80-\uffff0-9.-]*))\]', line, re.S)
    assert found is not None, line
    inside = found[1] if found[1] is not None else found[2]
    plain = re.sub(r"\\(.)", r"\1", inside).replace("&amp;", "&")
    assert plain == visible(text)
    assert not re.search(r"[\x00-\x08\x0a-\x1f]", sheet.tip_text(text))


def html(data: bytes) -> None:
    """Any text in a page: one element, the text as it is shown, and the same in an attribute."""
    import html5lib

    from kgraph.book.pages import Book
    from kgraph.render.terminal import visible

    text = _text(data)[:300]
    if not _page:
        made = Book.__dict__["_templates"].func(None)
        _page.append(made.from_string('<p title="{{ x }}">{{ x }}</p>'))
    tree = html5lib.parse(_page[0].render(x=text), namespaceHTMLElements=False)  # type: ignore[attr-defined]
    assert [e.tag for e in tree.iter()] == ["html", "head", "body", "p"]
    (element,) = tree.iter("p")
    assert (element.text or "") == visible(text)
    assert element.get("title") == visible(text)
    assert list(element.keys()) == ["title"]


_page: list[object] = []


def terminal(data: bytes) -> None:
    """Any text on a terminal: nothing that it obeys, and no column too many."""
    import unicodedata

    from kgraph.problems import shown
    from kgraph.render import terminal as t

    text = _text(data)
    for out in (t.visible(text), shown(text)):
        assert not re.search("[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\u2028\u2029\ud800-\udfff]", out)
    assert t.width(t.cut(t.visible(text), 20)) <= 20
    made = t.table(["standing", "b"], [["refused", text], [text, "x"]], True, [[text], []])
    bare = re.sub(r"\x1b\[(?:31|33|0)m", "", made)
    assert not [c for c in bare if unicodedata.category(c) in ("Cc", "Cs") and c != "\n"]


def _must(holds: bool, what: str) -> None:
    if not holds:
        raise AssertionError(what)


def _text(data: bytes) -> str:
    return data.decode("utf-8", "surrogatepass") if _decodes(data) else data.decode("latin-1")


def _decodes(data: bytes) -> bool:
    try:
        data.decode("utf-8", "surrogatepass")
    except UnicodeDecodeError:
        return False
    return True


TARGETS: dict[str, Callable[[bytes], None]] = {
    "yaml": yaml_file,
    "csv": csv_file,
    "units": units,
    "names": names,
    "dot": dot,
    "html": html,
    "terminal": terminal,
}


def main() -> None:
    """Feed one target until the runs are done; the other words are those of libFuzzer."""
    import atheris

    target = TARGETS[sys.argv[1]]
    with atheris.instrument_imports(include=["kgraph"]):
        target(b"- set: Arden 12\n")
    remembered = [kept for kept in gc.get_objects() if isinstance(kept, functools._lru_cache_wrapper)]
    runs = itertools.count(1)

    def fed(data: bytes) -> None:
        if not next(runs) % 500:
            # One command ends before these grow; a million runs in one process do not.
            gc.collect()
            for kept in remembered:
                kept.cache_clear()
        begun = time.process_time()
        target(data)
        spent = time.process_time() - begun
        assert spent <= SLOWEST_S, f"{spent:.1f} s of the processor for {len(data)} bytes"

    atheris.Setup([sys.argv[0], *sys.argv[2:]], fed)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
