"""The mutants of a module: its syntax tree with one small thing changed.

A mutant is one node put in the place of another. Left as they are: annotations, docstrings, imports,
decorators, and names of types. Patterns of regular expressions are changed sign by sign.
"""

from __future__ import annotations

import ast
import copy
import re
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from types import CodeType

Variant = tuple[str, str, ast.AST]
"""What stood there, what stands there, and the node that is put there."""


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change of a module: in which function or constant, on which lines, from what to what."""

    id: str
    lines: tuple[int, int]
    place: tuple[int, str, int]
    """Number of the parent in the order of `ast.walk`, its field, and the index in it or -1."""
    node: ast.AST

    def code(self, source: str, file: str) -> CodeType:
        """The module with this change, compiled."""
        tree = ast.parse(source, file)
        number, name, index = self.place
        parent = list(ast.walk(tree))[number]
        node = copy.deepcopy(self.node)
        if index < 0:
            old = getattr(parent, name)
            setattr(parent, name, node)
        else:
            old = getattr(parent, name)[index]
            getattr(parent, name)[index] = node
        if hasattr(old, "lineno"):
            ast.copy_location(node, old)
        ast.fix_missing_locations(tree)
        return compile(tree, file, "exec")


def mutants(source: str, only: Iterable[str] = ()) -> list[Mutant]:
    """Every mutant of a module, or of the functions, classes and constants of these names."""
    tree = ast.parse(source)
    wanted = set(only)
    segments = _Segments(source)
    found: list[Mutant] = []
    seen: Counter[str] = Counter()
    numbers = {id(node): number for number, node in enumerate(ast.walk(tree))}
    for parent, at, index, child, where, lines in _places(tree):
        if wanted and not any(where == name or where.startswith(f"{name}.") for name in wanted):
            continue
        for before, after, node in _variants(parent, at, child, where, segments):
            text = f"{where}: {_one_line(before)} -> {_one_line(after)}"
            seen[text] += 1
            text += f" ({seen[text]})" if seen[text] > 1 else ""
            found.append(Mutant(text, lines, (numbers[id(parent)], at, index), node))
    return found


def _one_line(text: str) -> str:
    flat = " ".join(text.split())
    return flat if len(flat) <= 56 else flat[:53] + "..."


def _visible(text: str) -> str:
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)


def lines_of(source: str, only: Iterable[str] = ()) -> set[int]:
    """The lines of a module, or of the functions, classes and constants of these names."""
    tree, wanted = ast.parse(source), set(only)
    if not wanted:
        return set(range(1, source.count("\n") + 2))
    found: set[int] = set()
    named = [("", node) for node in tree.body]
    named += [(c.name, node) for c in tree.body if isinstance(c, ast.ClassDef) for node in c.body]
    for where, node in named:
        if _name(node, where) in wanted:
            found |= set(range(node.lineno, (node.end_lineno or node.lineno) + 1))
    return found


def on_import(source: str) -> set[int]:
    """The lines of a module that stand in no function and no class."""
    found: set[int] = set()
    for node in ast.parse(source).body:
        if not isinstance(node, ast.FunctionDef | ast.ClassDef):
            found |= set(range(node.lineno, (node.end_lineno or node.lineno) + 1))
    return found


# --- Where something can be changed --------------------------------------------------------------

_SKIPPED = {"annotation", "returns", "decorator_list", "type_comment", "ctx", "op", "ops"}
_Place = tuple[ast.AST, str, int, ast.AST, str, tuple[int, int]]


def _places(parent: ast.AST, where: str = "", lines: tuple[int, int] = (1, 1)) -> Iterator[_Place]:
    """Parent, field, index, child, the name of where it stands, and the lines that run where it does."""
    for name, value in ast.iter_fields(parent):
        if name in _SKIPPED:
            continue
        children = list(enumerate(value)) if isinstance(value, list) else [(-1, value)]
        for index, child in children:
            if not isinstance(child, ast.AST) or _left_alone(child, where):
                continue
            inner, here = _name(child, where), _lines(child, lines)
            yield parent, name, index, child, inner or "module", here
            yield from _places(child, inner, here)


def _lines(node: ast.AST, outer: tuple[int, int]) -> tuple[int, int]:
    """A statement's own lines; inside of one that holds others, from its head to the end of that."""
    if isinstance(node, ast.stmt | ast.ExceptHandler):
        return node.lineno, node.end_lineno or node.lineno
    if isinstance(node, ast.expr):
        return outer[0], min(outer[1], node.end_lineno or node.lineno)
    return outer


def _name(node: ast.AST, where: str) -> str:
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        return f"{where}.{node.name}".lstrip(".")
    if isinstance(node, ast.Assign | ast.AnnAssign) and not where:
        return ast.unparse(node.targets[0] if isinstance(node, ast.Assign) else node.target)
    return where


def _left_alone(node: ast.AST, where: str) -> bool:
    if isinstance(node, ast.Import | ast.ImportFrom):
        return True
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return True
    if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
        return True
    return isinstance(node, ast.Assign) and not where and _is_type(node.value)


def _is_type(node: ast.AST) -> bool:
    if isinstance(node, ast.Call):
        return ast.unparse(node.func) == "TypeVar"
    if isinstance(node, ast.BinOp):
        return isinstance(node.op, ast.BitOr) and _is_type(node.left) and _is_type(node.right)
    return isinstance(node, ast.Name | ast.Subscript)


class _Segments:
    """Which texts are patterns: those written raw, and the first argument of what `re` offers."""

    def __init__(self, source: str) -> None:
        self.lines = source.encode().splitlines(keepends=True)

    def is_pattern(self, parent: ast.AST, name: str, node: ast.AST) -> bool:
        if isinstance(parent, ast.Call) and name == "args" and parent.args[0] is node:
            return bool(re.match(r"re\.(?!escape)", ast.unparse(parent.func)))
        at = parent if isinstance(parent, ast.JoinedStr) else node
        start = self.lines[at.lineno - 1][at.col_offset :]  # type: ignore[attr-defined]
        return bool(re.match(rb"(?i)(?:r|rf|fr|br|rb)[\"']", start))


# --- What is put there ---------------------------------------------------------------------------

_COMPARE: dict[type, type] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
_ARITHMETIC: dict[type, type] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult, ast.Pow: ast.Mult, ast.LShift: ast.RShift, ast.RShift: ast.LShift,
    ast.BitAnd: ast.BitOr,
}  # fmt: skip
_KEPT_CALLS = {
    "isinstance", "len", "range", "getattr", "hasattr", "type", "enumerate", "zip", "map", "iter", "next",
    "open", "vars", "ord", "chr", "any", "all", "frozenset",
}  # fmt: skip
"""Calls that cannot be left out: what is inside is of another type altogether."""
_TEXT_METHODS = {
    "strip", "rstrip", "lstrip", "lower", "upper", "casefold", "replace", "removeprefix", "removesuffix",
    "resolve",
}  # fmt: skip


def _variants(parent: ast.AST, name: str, node: ast.AST, where: str, text: _Segments) -> Iterator[Variant]:
    said = ast.unparse(node) if isinstance(node, ast.expr | ast.stmt) else ""
    if not (isinstance(node, ast.Call) and isinstance(parent, ast.Expr)):
        for made in _changed(node):
            yield said, ast.unparse(made), made
    if name in ("test", "ifs") and isinstance(node, ast.expr) and not _flips(node):
        turned = ast.UnaryOp(ast.Not(), node)
        yield said, ast.unparse(turned), turned
    if isinstance(node, ast.Constant):
        if isinstance(node.value, str) and text.is_pattern(parent, name, node):
            for before, after, pattern in _patterns(node.value):
                yield before, after, ast.Constant(pattern)
        else:
            for value in _constants(parent, node):
                yield repr(node.value), repr(value), ast.Constant(value)
    if isinstance(node, ast.JoinedStr) and _is_prose(node) and not text.is_pattern(parent, name, node):
        yield said, "''", ast.Constant("")
    if isinstance(node, ast.Call):
        yield from _without_keywords(node)
    if isinstance(node, ast.stmt):
        yield from _statements(node, said)
    if isinstance(parent, ast.Assign | ast.AnnAssign) and name == "value" and where == _name(parent, ""):
        yield from _without_elements(node)


def _flips(node: ast.expr) -> bool:
    """Whether a change of its own already turns the condition into its opposite."""
    if isinstance(node, ast.UnaryOp):
        return isinstance(node.op, ast.Not)
    turned = (ast.Eq, ast.NotEq, ast.In, ast.NotIn, ast.Is, ast.IsNot)
    return isinstance(node, ast.Compare) and len(node.ops) == 1 and isinstance(node.ops[0], turned)


def _changed(node: ast.AST) -> Iterator[ast.expr]:
    match node:
        case ast.Compare():
            for number, op in enumerate(node.ops):
                ops = list(node.ops)
                ops[number] = _COMPARE[type(op)]()
                yield ast.Compare(node.left, ops, node.comparators)
        case ast.BoolOp():
            other = ast.Or() if isinstance(node.op, ast.And) else ast.And()
            yield ast.BoolOp(other, node.values)
            for number in range(len(node.values)):
                rest = node.values[:number] + node.values[number + 1 :]
                yield rest[0] if len(rest) == 1 else ast.BoolOp(node.op, rest)
        case ast.UnaryOp(op=ast.Not() | ast.USub()):
            yield node.operand
        case ast.BinOp():
            yield from _sums(node)
        case ast.Call():
            yield from _calls(node)
        case ast.Slice():
            yield from (s for s in _slices(node) if s is not None)


def _sums(node: ast.BinOp) -> Iterator[ast.expr]:
    sides = (node.left, node.right)
    texts = any(isinstance(side, ast.JoinedStr | ast.List) or _is_text(side) for side in sides)
    if isinstance(node.op, ast.BitOr) or (isinstance(node.op, ast.Add) and texts):
        yield from sides
    else:
        yield ast.BinOp(node.left, _ARITHMETIC[type(node.op)](), node.right)


def _is_text(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str | bytes)


def _calls(node: ast.Call) -> Iterator[ast.expr]:
    called = node.func
    if isinstance(called, ast.Name) and called.id in ("any", "all"):
        yield ast.Call(ast.Name("all" if called.id == "any" else "any", ast.Load()), node.args, node.keywords)
    first = node.args[0] if node.args else None
    left_out = (
        isinstance(called, ast.Name) and called.id not in _KEPT_CALLS and called.id.lstrip("_")[:1].islower()
    )
    if left_out and first and not isinstance(first, ast.Starred | ast.GeneratorExp):
        yield first
    if isinstance(called, ast.Attribute) and called.attr in _TEXT_METHODS:
        yield called.value


def _without_keywords(node: ast.Call) -> Iterator[Variant]:
    """A call without one of its arguments by name; what is true or false there is turned instead."""
    for number, keyword in enumerate(node.keywords):
        rest = node.keywords[:number] + node.keywords[number + 1 :]
        if keyword.arg and not _is_truth(keyword.value):
            yield ast.unparse(keyword), "nothing", ast.Call(node.func, node.args, rest)


def _slices(node: ast.Slice) -> Iterator[ast.Slice | None]:
    yield ast.Slice(None, node.upper, node.step) if node.lower else None
    yield ast.Slice(node.lower, None, node.step) if node.upper else None
    yield ast.Slice(node.lower, node.upper, None) if node.step else None


def _constants(parent: ast.AST, node: ast.Constant) -> Iterator[str | bytes | float]:
    value = node.value
    if isinstance(parent, ast.Call) and ast.unparse(parent.func) == "os.kill":
        # Signal 0 ends nobody; any other would.
        return
    if isinstance(value, bool):
        yield not value
    elif isinstance(value, int | float):
        yield value + 1
    elif isinstance(value, str):
        if not (isinstance(parent, ast.JoinedStr) and _is_prose(parent)):
            yield "" if value else "X"
    elif isinstance(value, bytes):
        yield b"" if value else b"X"


def _is_prose(node: ast.JoinedStr) -> bool:
    """Whether a text with values in it is words for a reader: it is then changed as a whole."""
    pieces = [v.value for v in node.values if isinstance(v, ast.Constant)]
    return any(re.search(r"[A-Za-z]{2} |: ", str(piece)) for piece in pieces)


def _statements(node: ast.stmt, said: str) -> Iterator[Variant]:
    gone = ("nothing", ast.Pass())
    match node:
        case ast.Expr() | ast.AugAssign() | ast.Raise() | ast.Delete():
            yield said, *gone
        case ast.Assign() if any(isinstance(t, ast.Attribute | ast.Subscript) for t in node.targets):
            yield said, *gone
        case ast.Return(value=value) if value is not None and not _is_truth(value):
            yield said, "return None", ast.Return(ast.Constant(None))
        case ast.Break():
            yield said, "continue", ast.Continue()
        case ast.Continue():
            yield said, "break", ast.Break()
            yield said, *gone
        case ast.With():
            yield from _without_items(node)
        case ast.Try():
            yield from _without_kinds(node)
    if isinstance(node, ast.AugAssign) and type(node.op) in _ARITHMETIC:
        made = ast.AugAssign(node.target, _ARITHMETIC[type(node.op)](), node.value)
        yield said, ast.unparse(made), made


def _is_truth(node: ast.expr) -> bool:
    """Whether it is True, False or None, which change by themselves."""
    return isinstance(node, ast.Constant) and node.value in (True, False, None)


def _without_items(node: ast.With) -> Iterator[Variant]:
    """`with lock():` without it."""
    for number, item in enumerate(node.items):
        if item.optional_vars is not None:
            continue
        rest = node.items[:number] + node.items[number + 1 :]
        made = ast.With(rest, node.body) if rest else ast.If(ast.Constant(True), node.body, [])
        yield f"with {ast.unparse(item)}", "nothing", made


def _without_kinds(node: ast.Try) -> Iterator[Variant]:
    """`except (A, B):` without one of them, and `except A:` without the whole clause."""
    for at, handler in enumerate(node.handlers):
        rest = node.handlers[:at] + node.handlers[at + 1 :]
        if rest or node.finalbody:
            made = ast.Try(node.body, rest, node.orelse, node.finalbody)
        else:
            made = ast.If(ast.Constant(True), [*node.body, *node.orelse], [])  # type: ignore[assignment]
        kinds = ast.unparse(handler.type) if handler.type else "everything"
        yield f"except {kinds}", "nothing", made
        if not isinstance(handler.type, ast.Tuple):
            continue
        for number, kind in enumerate(handler.type.elts):
            fewer = ast.Tuple(handler.type.elts[:number] + handler.type.elts[number + 1 :], ast.Load())
            handlers = list(node.handlers)
            handlers[at] = ast.ExceptHandler(fewer, handler.name, handler.body)
            made = ast.Try(node.body, handlers, node.orelse, node.finalbody)
            yield f"except {kinds}", f"without {ast.unparse(kind)}", made


def _without_elements(node: ast.AST) -> Iterator[Variant]:
    """A table without one of its lines."""
    match node:
        case ast.Dict():
            for number, key in enumerate(node.keys):
                made = ast.Dict(
                    node.keys[:number] + node.keys[number + 1 :],
                    node.values[:number] + node.values[number + 1 :],
                )
                yield f"{ast.unparse(key) if key else '**'}", "nothing", made
        case ast.Set() | ast.Tuple() | ast.List():
            for number, element in enumerate(node.elts):
                fewer = copy.copy(node)
                fewer.elts = node.elts[:number] + node.elts[number + 1 :]
                yield ast.unparse(element), "nothing", fewer
        case ast.Call(func=ast.Name(id="frozenset"), args=[inner]):
            for before, after, made_ in _without_elements(inner):
                yield before, after, ast.Call(node.func, [made_], [])  # type: ignore[list-item]


# --- Patterns ------------------------------------------------------------------------------------

_TOKEN = re.compile(
    r"\\(?:x[0-9a-fA-F]{2}|u[0-9a-fA-F]{4}|.)|\[\^?\]?(?:\\.|[^\]\\])*\]|\(\?[=!:]|\(\?<[=!]|\(\?P<\w+>"
    r"|\{\d*,?\d*\}|[*+?]\??|.",
    re.DOTALL,
)
_TURNED = {"(?=": "(?!", "(?!": "(?=", "(?<=": "(?<!", "(?<!": "(?<=", "*": "+", "+": "*", "?": "", "*?": "*"}
_CLASSES = {r"\s": r"\S", r"\S": r"\s", r"\w": r"\W", r"\W": r"\w", r"\d": r"\D", r"\D": r"\d"}


def _patterns(pattern: str) -> Iterator[tuple[str, str, str]]:
    """The pattern with one sign changed, if that is still a pattern; first the place, as it was and is."""
    tokens = [m[0] for m in _TOKEN.finditer(pattern)]
    seen = {pattern}
    for number, token in enumerate(tokens):
        left, right = "".join(tokens[:number]), "".join(tokens[number + 1 :])
        for other in _signs(token):
            made = left + other + right
            if made not in seen and _compiles(pattern, made):
                seen.add(made)
                before, after = (_visible(f"{left[-8:]}{sign}{right[:8]}") for sign in (token, other))
                yield before, after, made


def _signs(token: str) -> Iterator[str]:
    if token in _TURNED:
        yield _TURNED[token]
    elif token in _CLASSES:
        yield _CLASSES[token]
    elif token in ("^", "$", r"\A", r"\Z"):
        yield ""
    elif token.startswith("[") and len(token) > 2:
        yield "[" + token[2:] if token[1] == "^" else "[^" + token[1:]
        yield from _smaller_sets(token)
    elif match := re.fullmatch(r"\{(\d*)(,?)(\d*)\}", token):
        least, comma, most = match.groups()
        if least:
            yield f"{{{int(least) + 1}{comma}{most}}}"
        if most:
            yield f"{{{least},{int(most) + 1}}}"


_MEMBER = re.compile(
    r"(?:\\(?:x[0-9a-fA-F]{2}|u[0-9a-fA-F]{4}|.)|.)(?:-(?:\\(?:x[0-9a-fA-F]{2}|u[0-9a-fA-F]{4}|.)|[^\]]))?",
    re.DOTALL,
)


def _smaller_sets(token: str) -> Iterator[str]:
    """A set of characters without one of its members."""
    head = "[^" if token[1] == "^" else "["
    members = [m[0] for m in _MEMBER.finditer(token[len(head) : -1])]
    if len(members) > 1:
        for number in range(len(members)):
            yield head + "".join(members[:number] + members[number + 1 :]) + "]"


def _compiles(pattern: str, made: str) -> bool:
    """Whether a changed pattern is still one; of a piece of a pattern that cannot be told."""
    try:
        re.compile(pattern)
    except re.error:
        return True
    try:
        re.compile(made)
    except re.error:
        return False
    return True
