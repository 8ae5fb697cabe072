"""One way to write, one way out for each target: held by reading every module and template.

Each rule names what must not stand in the code, and the modules that are the way itself.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.support import ROOT

PACKAGE = ROOT / "kgraph"

WRITERS = {
    "folder/writing.py": "the one way",
    "folder/placing.py": "the calls by which it puts a file in its place",
    "folder/locking.py": "the lock that is held meanwhile",
    "system.py": "the calls of that way, which no other room may make",
    "index/store.py": "the index in the cache folder, which is no fact file",
    "index/kept.py": "what was worked out of an index, kept beside it in the cache folder",
    "cli/indexing.py": "removes what lay over an index that is made anew",
    "cli/opening.py": "removes an index with faults",
    "exchange/standing.py": "removes stores of its own from the cache folder",
    "book/writing.py": "removes pages that the book wrote itself",
}
"""Module that may open files for writing, or move or remove them -> why."""
MARKUP = {"book/pictures.py"}
"""Pictures of our own, read as XML and written again element by element."""
LITERALS = {"exchange/terms.py"}
MOVES = {"write_text", "write_bytes", "touch", "symlink_to", "hardlink_to", "unlink", "rename"}

RENAMING = {"os.replace", "os.remove", "shutil.move", "shutil.copy", "system.replace", "system.link_new"}

Rule = Callable[[ast.AST, str], str]


def writes(node: ast.AST, module: str) -> str:
    """Files are opened for writing by the one room alone."""
    name = _called(node)
    if not isinstance(node, ast.Call) or module in WRITERS or "os.devnull" in ast.unparse(node):
        return ""
    says = f"{name} outside of folder/writing.py"
    if name.split(".")[-1] in MOVES or name in RENAMING:
        return says
    if name in ("os.open", "system.open_file"):
        return says if re.search("O_WRONLY|O_RDWR|O_CREAT", ast.unparse(node)) else ""
    if name in ("open", "os.fdopen") or name.endswith(".open"):
        given = [*node.args, *(k.value for k in node.keywords)]
        modes = [a.value for a in given if isinstance(a, ast.Constant) and isinstance(a.value, str)]
        return says if any(re.fullmatch(r"[rbt]*[wax+][rwaxbt+]*", m) for m in modes) else ""
    return ""


def shell(node: ast.AST, module: str) -> str:
    """No shell ever."""
    if isinstance(node, ast.keyword) and node.arg == "shell":
        return "shell="
    name = _called(node)
    return (
        name
        if name in ("os.system", "os.popen", "subprocess.getoutput", "subprocess.getstatusoutput")
        else ""
    )


def yaml_objects(node: ast.AST, module: str) -> str:
    """Nothing is constructed from YAML; its events are all that is read."""
    name = node.attr if isinstance(node, ast.Attribute) else ""
    whole = ast.unparse(node) if isinstance(node, ast.Attribute) else ""
    if name.startswith("construct_") or re.fullmatch(r"yaml\.(\w*_)?load(_all)?", whole):
        return whole
    return (
        whole
        if re.fullmatch(r"yaml\.\w*(Unsafe|Full|Safe)?Loader", whole) and "BaseLoader" not in whole
        else ""
    )


def markup(node: ast.AST, module: str) -> str:
    """Text is called markup only where our own writers made it."""
    return "Markup(" if module not in MARKUP and _called(node).split(".")[-1] in ("Markup",) else ""


def code_from_text(node: ast.AST, module: str) -> str:
    """No text is ever run, and nothing is unpickled."""
    name = _called(node)
    risky = ("eval", "exec", "compile", "__import__", "pickle.loads", "pickle.load", "marshal.loads")
    return name if name in risky else ""


def literals(node: ast.AST, module: str) -> str:
    """Statements of RDF and queries hold no text in quotes but by the one way out."""
    if module in LITERALS or not module.startswith("exchange/") or not isinstance(node, ast.JoinedStr):
        return ""
    for left, middle in zip(node.values, node.values[1:], strict=False):
        before = str(left.value) if isinstance(left, ast.Constant) else ""
        if isinstance(middle, ast.FormattedValue) and re.search(r'(?:^|[\s(^])"$', before):
            return f"a value in double quotes: {ast.unparse(node)}"
    return ""


def _called(node: ast.AST) -> str:
    return ast.unparse(node.func) if isinstance(node, ast.Call) else ""


RULES: tuple[Rule, ...] = (writes, shell, yaml_objects, markup, code_from_text, literals)


def faults(package: Path, rules: tuple[Rule, ...] = RULES) -> Iterator[str]:
    """FILE:LINE: RULE: what stands there."""
    for path in sorted(package.rglob("*.py")):
        module = path.relative_to(package).as_posix()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"), str(path))):
            for rule in rules:
                if says := rule(node, module):
                    yield f"{module}:{getattr(node, 'lineno', 0)}: {rule.__name__}: {says}"


def test_there_is_one_way_to_write_and_one_way_out() -> None:
    assert list(faults(PACKAGE)) == []


def test_no_template_lets_text_of_the_data_through_as_markup() -> None:
    templates = sorted(PACKAGE.rglob("templates/*"))
    assert len(templates) > 10
    for path in templates:
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"\|\s*safe\b|autoescape\s+false", text), path
        assert not re.search(r"\son[a-z]+\s*=", text), path


@pytest.mark.parametrize(
    ("module", "text"),
    [
        ("cli/a.py", "open('x', 'w')"),
        ("cli/a.py", "open(p, mode='ab')"),
        ("cli/a.py", "Path('x').write_text('')"),
        ("cli/a.py", "os.replace(a, b)"),
        ("cli/a.py", "system.replace(a, b)"),
        ("cli/a.py", "system.open_file(p, os.O_WRONLY | os.O_CREAT)"),
        ("cli/a.py", "os.open(p, os.O_WRONLY | os.O_CREAT)"),
        ("cli/a.py", "subprocess.run(x, shell=True)"),
        ("cli/a.py", "os.system(x)"),
        ("folder/a.py", "yaml.load(x)"),
        ("folder/a.py", "yaml.safe_load(x)"),
        ("folder/a.py", "loader.construct_object(x)"),
        ("folder/a.py", "yaml.CSafeLoader(x)"),
        ("book/a.py", "Markup(text)"),
        ("cli/a.py", "eval(text)"),
        ("exchange/a.py", "f'<s> <p> \"{text}\"'"),
    ],
)
def test_what_is_forbidden_is_found_with_file_and_line(module: str, text: str, tmp_path: Path) -> None:
    file = tmp_path / module
    file.parent.mkdir()
    file.write_text(f"\n{text}\n", encoding="utf-8")
    found = list(faults(tmp_path))
    assert len(found) == 1
    assert found[0].startswith(f"{module}:2: ") or found[0].startswith(f"{module}:0: ")


@pytest.mark.parametrize("text", ["open(p)", "open(p, 'rb')", "'a'.replace('b', 'c')", "yaml.CBaseLoader(x)"])
def test_what_is_allowed_is_let_be(text: str, tmp_path: Path) -> None:
    (tmp_path / "a.py").write_text(text, encoding="utf-8")
    assert list(faults(tmp_path)) == []
