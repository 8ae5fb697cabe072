"""Inputs built from a grammar: entries of YAML, tables and names, many of them in order, the others nearly.

An entry in order is written in one of many ways, and must be read as what it was built from, letter for
letter. With an entry among them that has a fault, the fault must be told at its line, and the others be read
as before. Of tokens in any order it must hold that nothing but a problem in the file comes of them. Every so
often an input is as large as 64 kB. No input may take longer than a second, nor all more than 512 MB.
"""

from __future__ import annotations

import gc
import random
import resource
import time
from collections.abc import Callable
from pathlib import Path

from kgraph.folder import reading, schema
from kgraph.render import terminal
from tests.faults.tally import Tally
from tests.fuzz import exits, guided, planted
from tests.fuzz.damage import Plain, texts_of

INPUTS = {"small": 4000, "full": 1_000_000}
LARGE, EVERY = 64 * 1024, {"small": 100, "full": 2000}
LONGEST_S, MOST_KB = 1.0, 512 * 1024

KEYS = ("set", "takes", "in", "position", "note", "also", "market", "how", "rebadge", "unit", "a b", "Q", "9")
WORDS = (
    "Arden 12",
    "K-114",
    "no",
    "012",
    "1e3",
    "2024-02-30",
    "~",
    "x",
    "volume knob",
    "262 mm",
    "\u00e9",
    "[",
)
TOKENS = (
    *(
        "- ",
        "  ",
        "\n",
        "\n- ",
        "\n  ",
        ": ",
        ":",
        "[",
        "]",
        "{",
        "}",
        ", ",
        '"',
        "'",
        "#",
        " #",
        "|\n",
        ">-\n",
    ),
    *(
        "&a ",
        "*a",
        "!t ",
        "? ",
        "---\n",
        "...\n",
        "%YAML 1.1\n",
        "<<: ",
        "\t",
        "\r\n",
        "\\",
        "\\x4",
        "\x00",
        "\x85",
    ),
    *("<<<<<<< a\n", "=======\n", ">>>>>>> b\n", "\u2028", "\ufeff", "- set: ", "takes: ", *WORDS),
)
FAULTS = sorted(planted.KINDS)
CELLS = ("a", "", '"a"', '"a\nb"', '"a""b"', "'=1", "=1", " ", "1,5", "x;y", '"', "\u00e9", "\x00", "a\tb")


def figure(size: str, place: Path) -> Tally:
    """`small`: 4,000 inputs; `full`: a million."""
    tally = Tally()
    chance = random.Random(23)
    slowest = 0.0
    before = peak_kb(anew=True)
    for number in range(INPUTS[size]):
        if not number % 500:
            # Reading keeps the collector from old garbage, which here is never left behind by ending.
            gc.collect()
        kind = chance.choice([*KINDS])
        least = 0 if number % EVERY[size] else LARGE
        check = KINDS[kind](chance, least)
        begun = time.process_time()
        complaint = _tried(check)
        took = time.process_time() - begun
        slowest = max(slowest, took)
        if took > LONGEST_S:
            complaint = complaint or f"took {took:.1f} s"
        tally.count(f"input {number}, {kind}", True, complaint, kind if not least else f"{kind} of 64 kB")
    most = peak_kb() - before
    tally.count("memory", True, f"{most >> 10} MB" if most > MOST_KB else "")
    print(f"  the slowest took {slowest:.2f} s of the processor; at most {most >> 10} MB")
    return tally


def peak_kb(anew: bool = False) -> int:
    """The most memory that the process has held, or what it holds where the peak is to begin `anew`."""
    try:
        if anew:
            Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
        status = Path("/proc/self/status").read_text(encoding="ascii")
    except OSError:
        # Not Linux: the peak of the whole life of the process.
        return 0 if anew else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return int(status.partition("VmHWM:")[2].split()[0])


Check = Callable[[], str]
"""Hands a built input to the program; what is wrong, or nothing."""


def _tried(check: Check) -> str:
    try:
        return check()
    except Exception as error:
        return f"raised {error!r}"


# --- YAML ----------------------------------------------------------------------------------------


def in_order(chance: random.Random, least: int) -> Check:
    """Entries written in one of many ways, read as what they were built from."""
    text, wanted = _entries(chance, least)
    data = (chance.choice(("", "# c\n", "---\n", "\n")) + text).replace("\n", _line_end(chance)).encode()
    return lambda: _read_as(data, wanted)


def _entries(chance: random.Random, least: int = 0) -> tuple[str, list[Plain]]:
    """Some entries, at least one, and what they are built from."""
    text, wanted = "", list[Plain]()
    while not wanted or len(text) < least:
        entry = {key: _value(chance) for key in chance.sample(KEYS, chance.randrange(1, 5))}
        wanted.append(tuple((key, _plain(value)) for key, value in entry.items()))
        text += _entry(chance, entry)
    return text, wanted


def _line_end(chance: random.Random) -> str:
    return chance.choice(("\n", "\n", "\r\n"))


def faulty(chance: random.Random, least: int) -> Check:
    """One entry with a fault among those in order: told at its line, and it hides no other."""
    before, wanted = _entries(chance, least)
    after, more = _entries(chance)
    kind = chance.choice(FAULTS)
    block = planted.filled_in(planted.KINDS[kind], chance.randrange(100))
    line = planted.placed(kind, before, block).line
    data = (before + planted.bare(block) + after).replace("\n", _line_end(chance)).encode()
    return lambda: _told(data, kind, line, wanted, more)


def _told(data: bytes, kind: str, line: int, before: list[Plain], after: list[Plain]) -> str:
    got = reading.read_bytes(data, "f")
    problems = [*got.problems, *schema.check_file(got)[1]]
    errors = [p for p in problems if p.severity == "error" and p.where]
    if not any(p.where and p.where.line == line for p in errors):
        return f"{kind} is not told of at line {line}: {data[-300:]!r}: {[str(e) for e in errors][:3]}"
    entries = [*map(texts_of, got.entries)]
    if entries[: len(before)] != before or entries[len(entries) - len(after) :] != after:
        return f"{kind} hides other entries: {data[-300:]!r}"
    return ""


def _read_as(data: bytes, wanted: list[Plain]) -> str:
    got = reading.read_bytes(data, "f")
    schema.check_file(got)
    errors = [p for p in got.problems if p.severity == "error"]
    if errors:
        return f"{data[:300]!r}: {errors[0]}"
    return "" if [*map(texts_of, got.entries)] == wanted else f"not read as it was built: {data[:300]!r}"


def _value(chance: random.Random) -> str | list[str]:
    if chance.random() < 0.2:
        return [_text(chance) for _ in range(chance.randrange(1, 4))]
    return _text(chance)


def _text(chance: random.Random) -> str:
    if chance.random() < 0.5:
        return chance.choice(WORDS)
    return "".join(
        chance.choice("ab 1:#-,[]{}'\"\\&*!|>%@`?\u00e9\u4e00") for _ in range(chance.randrange(1, 12))
    )


def _plain(value: str | list[str]) -> tuple[object, ...]:
    return (value,) if isinstance(value, str) else tuple((item,) for item in value)


def _entry(chance: random.Random, entry: dict[str, str | list[str]]) -> str:
    lines = []
    for key, value in entry.items():
        if isinstance(value, str):
            lines.append(f"{key}: {_written(chance, value)}{chance.choice(('', '', ' # c'))}")
        elif chance.random() < 0.5:
            lines.append(f"{key}: [{', '.join(_written(chance, item) for item in value)}]")
        else:
            lines.append("\n".join([f"{key}:", *(f"    - {_written(chance, item)}" for item in value)]))
    between = chance.choice(("\n  ", "\n\n  ", "\n  # c\n  "))
    return f"- {between.join(lines)}\n{chance.choice(('', chr(10), '# c' + chr(10)))}"


def _written(chance: random.Random, text: str) -> str:
    """A text in quotes of either kind, or bare where every word of it is letters and figures."""
    if text.replace(" ", "").isalnum() and text == text.strip() and chance.random() < 0.7:
        return text
    if chance.random() < 0.5:
        return "'" + text.replace("'", "''") + "'"
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def nearly(chance: random.Random, least: int) -> Check:
    """Tokens of YAML in any order: problems, all of them in the file."""
    some = [chance.choice(TOKENS) for _ in range(chance.randrange(1, 4))] if least else TOKENS
    data = b""
    while not data or len(data) < least:
        data += "".join(chance.choice(some) for _ in range(chance.randrange(1, 30))).encode()
    return lambda: _passes(guided.yaml_file, data[: least or None])


def _passes(target: Callable[[bytes], None], data: bytes) -> str:
    """Nothing is wrong where a target of the guided runs raises nothing."""
    target(data)
    return ""


# --- Tables and names ----------------------------------------------------------------------------


def table(chance: random.Random, least: int) -> Check:
    """Rows of cells, quoted or not, ragged or not: a table, or a refusal in words."""
    sign, end = chance.choice(",;\t"), chance.choice(("\n", "\r\n", "\r"))
    rows, size = [sign.join(chance.sample(KEYS, 3))], 0
    while len(rows) < 4 or size < least:
        rows.append(sign.join(chance.choice(CELLS) for _ in range(3 if chance.random() < 0.9 else 2)))
        size += len(rows[-1])
    data = end.join(rows).encode()
    return lambda: _passes(guided.csv_file, data)


def name(chance: random.Random, least: int) -> Check:
    """A name, every letter written by its number, is read as itself; a large one folds."""
    if least:
        large = "".join(exits.some_names(chance, 2000)).encode()[:least]
        return lambda: _passes(guided.names, large)
    (text,) = exits.some_names(chance, 1)
    return lambda: _named(text)


def _named(text: str) -> str:
    guided.names(text.encode())
    (entry,) = reading.read_bytes(exits.facts_of([text]).encode(), "f").entries
    read = texts_of(entry)
    if not terminal.visible(text).strip():
        return f"{text!a} is shown as nothing"
    return "" if read[1] == ("in", (text,)) else f"{text!a} read as {read!a}"


KINDS: dict[str, Callable[[random.Random, int], Check]] = {
    "entries in order": in_order,
    "a faulty entry": faulty,
    "nearly entries": nearly,
    "tables": table,
    "names": name,
}
