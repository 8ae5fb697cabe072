"""Imports point downwards only: the order of rooms in DEVELOPERS.md, held by reading every module."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support import ROOT

PACKAGE = ROOT / "kgraph"

LEVELS = (
    ("problems", "system"),
    ("names", "quantities", "words", "claims"),
    ("money", "belt_sizes", "size_rules", "forces", "years"),
    ("mains", "ratings", "beta"),
    ("records", "usual_keys"),
    ("folder",),
    ("trade",),
    ("facts",),
    ("interface",),
    ("collection",),
    ("matching", "events"),
    ("fits", "belts"),
    ("reason",),
    ("recognition",),
    ("questions", "index"),
    ("shelf",),
    (
        "checks",
        "lookup",
        "listing",
        "consequences",
        "doubts",
        "whynot",
        "calibration",
        "whatif",
        "contradictions",
    ),
    ("render", "exchange"),
    ("photographs",),
    ("book",),
    ("api",),
    ("cli",),
    ("__main__",),
)
"""The rooms, lowest first; those of one level do not import each other."""
LEVEL = {room: height for height, rooms in enumerate(LEVELS) for room in rooms}

PURE = {"fits", "belts", "shelf", "facts", "collection", "records", "names", "quantities", "words"}
PURE |= {"beta", "mains", "matching", "money", "ratings", "usual_keys", "reason", "questions"}
PURE |= {"recognition", "events", "claims", "belt_sizes", "size_rules", "forces", "years"}
"""Model, rules and mechanics: no files, no terminal, no process."""
OUTSIDE = {"os", "pathlib", "click", "sys", "io"}


def _room(module: Path, package: Path) -> str:
    return module.relative_to(package).with_suffix("").parts[0]


def _imported(module: Path, package: Path) -> Iterator[tuple[int, str]]:
    """(line, full dotted name) of everything that a module imports, inside functions as well."""
    inside = ("kgraph", *module.relative_to(package).parts[:-1])
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"), str(module))):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = ".".join(inside[: len(inside) - node.level + 1]) if node.level else ""
            base = ".".join(part for part in (above, node.module) if part)
            yield from ((node.lineno, f"{base}.{alias.name}") for alias in node.names)


def _fault(room: str, imported: str) -> str:
    """What is wrong with this import in this room, or ""."""
    first, _, rest = imported.partition(".")
    if first in OUTSIDE and room in PURE:
        return f"{room} imports {first}, and knows nothing outside the facts"
    other = rest.split(".")[0]
    if first != "kgraph" or other == room or other in {"", "__version__"}:
        return ""
    if other not in LEVEL:
        return f"{room} imports kgraph.{other}, which is no room of LEVELS"
    return "" if LEVEL[other] < LEVEL[room] else f"{room} imports {other}, which does not lie below it"


def faults(package: Path) -> list[str]:
    """FILE:LINE: what is wrong, for every import of the package that breaks the order."""
    found = []
    for module in sorted(package.rglob("*.py")):
        room = _room(module, package)
        if room == "__init__":
            continue
        if room not in LEVEL:
            found.append(f"{module}:1: {room} is no room of LEVELS")
            continue
        for line, imported in _imported(module, package):
            if says := _fault(room, imported):
                found.append(f"{module}:{line}: {says}")
    return found


def test_imports_point_downwards_only() -> None:
    assert faults(PACKAGE) == []


MOST_LINES = 400


def long_modules(package: Path) -> list[str]:
    """Modules that hold more than one can take in: each with its number of lines."""
    lines = {m: m.read_text(encoding="utf-8").count("\n") for m in sorted(package.rglob("*.py"))}
    return [f"{m.relative_to(package)}: {n} lines" for m, n in lines.items() if n > MOST_LINES]


def test_no_module_is_too_long() -> None:
    assert long_modules(PACKAGE) == []


def test_a_module_that_is_too_long_is_told_of(tmp_path: Path) -> None:
    for lines in (MOST_LINES, MOST_LINES + 1):
        (tmp_path / f"of{lines}.py").write_text("x = 1\n" * lines)
    assert long_modules(tmp_path) == ["of401.py: 401 lines"]


def names_used_twice(package: Path) -> list[str]:
    """Names of classes that mean one thing in one module and another elsewhere, `_` before them or not."""
    modules: dict[str, list[str]] = {}
    for module in sorted(package.rglob("*.py")):
        for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"), str(module))):
            if isinstance(node, ast.ClassDef):
                modules.setdefault(node.name.lstrip("_"), []).append(str(module.relative_to(package)))
    return [f"{name}: {', '.join(where)}" for name, where in sorted(modules.items()) if len(where) > 1]


def test_no_class_name_is_used_for_two_things() -> None:
    assert names_used_twice(PACKAGE) == []


def test_a_class_name_used_twice_is_told_of(tmp_path: Path) -> None:
    (tmp_path / "one.py").write_text("class Sheet:\n    pass\n\n\nclass Line:\n    pass\n")
    (tmp_path / "two.py").write_text("def f():\n    class _Sheet:\n        pass\n")
    assert names_used_twice(tmp_path) == ["Sheet: one.py, two.py"]


def test_every_room_that_stands_is_read() -> None:
    # A check that reads nothing would pass; these rooms stand from the first day on.
    rooms = {_room(module, PACKAGE) for module in PACKAGE.rglob("*.py")}
    assert {"problems", "names", "records", "collection", "folder", "fits", "belts"} <= rooms


@pytest.mark.parametrize(
    ("file", "text", "says"),
    [
        ("names.py", "\nfrom kgraph.records import Entry\n", "names.py:2: names imports records"),
        ("names.py", "from kgraph import words\n", "names.py:1: names imports words"),
        ("fits/rules.py", "from kgraph.belts import drive\n", "rules.py:1: fits imports belts"),
        ("render/dot.py", "import kgraph.exchange.rdf\n", "dot.py:1: render imports exchange"),
        ("fits/rules.py", "from ..cli import main\n", "rules.py:1: fits imports cli"),
        ("fits/rules.py", "def f():\n    from pathlib import Path\n", "rules.py:2: fits imports pathlib"),
        ("belts/drive.py", "import os.path\n", "drive.py:1: belts imports os"),
        ("attic.py", "", "attic.py:1: attic is no room"),
        ("cli/main.py", "from kgraph.attic import x\n", "main.py:1: cli imports kgraph.attic"),
    ],
)
def test_a_wrong_import_is_found_with_file_and_line(tmp_path: Path, file: str, text: str, says: str) -> None:
    module = tmp_path / file
    module.parent.mkdir(exist_ok=True)
    module.write_text(text)
    found = faults(tmp_path)
    assert len(found) == 1
    assert says in found[0]


@pytest.mark.parametrize(
    ("file", "text"),
    [
        ("cli/main.py", "import sys\nfrom kgraph import __version__\nfrom kgraph.render import dot\n"),
        ("reason/proofs.py", "from kgraph.reason.rules import State\nfrom . import graph\nimport math\n"),
        ("folder/reading.py", "import os\nfrom pathlib import Path\nfrom kgraph.problems import Where\n"),
    ],
)
def test_a_right_import_is_let_be(tmp_path: Path, file: str, text: str) -> None:
    module = tmp_path / file
    module.parent.mkdir()
    module.write_text(text)
    assert faults(tmp_path) == []
