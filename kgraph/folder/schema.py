"""From an entry as read to a checked record, or to the problems that stand in the way.

Each kind of entry has a table of fields. A thing may carry further keys, which are kept as
its recorded attributes; a fact may not, so that a misspelt key is not lost.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from datetime import date
from functools import cache, lru_cache, partial
from typing import Any

from kgraph import money as moneys
from kgraph import quantities, records, words
from kgraph.folder import formats
from kgraph.folder.marks import split_note
from kgraph.folder.nodes import Map, Node, Seq, Text
from kgraph.folder.reading import ReadFile, read_bytes
from kgraph.names import LONGEST, Name, did_you_mean, name, nearest
from kgraph.problems import Problem, Where, in_order, shown


class _Wrong(Exception):
    def __init__(self, node: Node, says: str, mend: str = "", code: str = "wrong-value") -> None:
        self.node, self.says, self.mend, self.code = node, says, mend, code
        self.more: tuple[_Wrong, ...] = ()


class _Context:
    def __init__(self, file: str, kind: str) -> None:
        self.file, self.kind = file, kind
        self.problems: list[Problem] = []

    def where(self, node: Node) -> Where:
        return Where(self.file, node.line, node.column)

    @property
    def failed(self) -> bool:
        """Whether anything was wrong so far, warnings apart."""
        return bool(self.problems) and any(p.severity == "error" for p in self.problems)

    def wrong(self, node: Node, code: str, says: str, mend: str = "", severity: str = "error") -> None:
        self.problems.append(
            Problem(self.where(node), code, says, mend, "warning" if severity == "warning" else "error")
        )


Reader = Callable[[Node], Any]


def _shape(node: Node) -> str:
    if isinstance(node, Seq):
        return "a list"
    return "a mapping" if isinstance(node, Map) else "text"


def _text(node: Node) -> str:
    if not isinstance(node, Text):
        raise _Wrong(node, f"{_shape(node)} where one text belongs", "write one text", "wrong-shape")
    return node.value


def _some_text(node: Node) -> str:
    value = _text(node)
    if not value.strip():
        raise _Wrong(node, "the value is empty", "write a value or leave the key out", "empty-value")
    return value


def _forbidden(char: str) -> str:
    if char in "\t\n":
        return ""
    category = unicodedata.category(char)
    if category == "Cc":
        return "a control character"
    if category == "Cs":
        return "half of a surrogate pair"
    if unicodedata.bidirectional(char) in {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}:
        return "a mark that turns the direction of writing"
    if char in "\u200e\u200f\u061c":
        return "a mark that turns the direction of writing"
    return "a tag character" if 0xE0000 <= ord(char) <= 0xE007F else ""


_ORDINARY = re.compile(r"[ -~\u00a1-\u024f]*\Z")


@lru_cache(maxsize=65536)
def _good_name(value: str) -> Name | None:
    """The name that a text is, or None where something is wrong with it."""
    if not value.strip() or len(value) > LONGEST:
        return None
    if not _ORDINARY.match(value) and any(map(_forbidden, value)):
        return None
    found = name(value)
    return found if found.key else None


def _name(node: Node) -> Name:
    found = _good_name(node.value) if isinstance(node, Text) else None
    return found or _refuse_name(node)


def _refuse_name(node: Node) -> Name:
    value = _some_text(node)
    if len(value) > LONGEST:
        raise _Wrong(
            node,
            f"the name {shown(value, 40)} has {len(value)} characters",
            f"{LONGEST} are the most",
            "long-name",
        )
    for char in value:
        if said := _forbidden(char):
            raise _Wrong(node, f"the name {shown(value)} holds {said}", "take it out", "name-character")
    says = f"the name {shown(value)} has no letter and no digit"
    raise _Wrong(node, says, "a name needs one of them", "empty-name")


def _list(item: Reader) -> Reader:
    def read(node: Node) -> tuple[Any, ...]:
        if isinstance(node, Text):
            return () if not node.value.strip() else (item(node),)
        if isinstance(node, Map):
            raise _Wrong(node, "a mapping where a list belongs", "write [one, two]", "wrong-shape")
        return tuple(item(n) for n in node.items)

    return read


def _strict_list(item: Reader) -> Reader:
    def read(node: Node) -> tuple[Any, ...]:
        if not isinstance(node, Seq):
            raise _Wrong(
                node, f"{_shape(node)} where a list of two names belongs", "write [one, other]", "wrong-shape"
            )
        found = tuple(item(n) for n in node.items)
        if len(found) > 2:
            raise _Wrong(node, f"{len(found)} names where two belong", "say it two by two", "wrong-shape")
        return found

    return read


def _pairs(key: Reader, item: Reader) -> Reader:
    def read(node: Node) -> tuple[tuple[Any, Any], ...]:
        if not isinstance(node, Map):
            raise _Wrong(
                node, f"{_shape(node)} where a mapping belongs", "write {name: value}", "wrong-shape"
            )
        return tuple((key(k), item(v)) for k, v in node.pairs)

    return read


def _numbers(node: Node) -> tuple[tuple[str, str], ...]:
    if not isinstance(node, Map):
        raise _Wrong(
            node, f"{_shape(node)} where maker and number belong", 'write {Maker: "number"}', "wrong-shape"
        )
    return tuple((k.value, number) for k, v in node.pairs for number in _list(_some_text)(v))


def _one_of(known: Iterable[str], what: str) -> Reader:
    choices = tuple(known)

    def read(node: Node) -> str:
        value = _some_text(node)
        if value not in choices:
            mend = f"use one of {', '.join(choices)}"
            raise _Wrong(node, f"{shown(value)} is not {what}", mend, "unknown-word")
        return value

    return read


def _yes_no(node: Node) -> bool:
    value = _some_text(node).strip().lower()
    if value in words.TRUE_WORDS or value in words.FALSE_WORDS:
        return value in words.TRUE_WORDS
    raise _Wrong(node, f"{shown(value)} is neither yes nor no", "write yes or no", "unknown-word")


def _quantity(parse: Callable[[str], Any]) -> Reader:
    def read(node: Node) -> Any:
        try:
            return parse(_text(node))
        except quantities.QuantityError as error:
            raise _Wrong(node, error.what, error.right, "wrong-quantity") from None

    return read


def _certainty(text: str) -> float:
    return quantities.number(text, 0.0, 1.0, above=True)


def _money(node: Node) -> moneys.Money:
    try:
        return moneys.money(_text(node))
    except moneys.MoneyError as error:
        raise _Wrong(node, error.what, error.right, "wrong-quantity") from None


def _date(node: Node) -> str:
    value = _some_text(node).strip()
    try:
        parts = (
            [int(p) for p in value.split("-")] if re.fullmatch(r"\d{4}(-\d\d(-\d\d)?)?", value, re.A) else []
        )
        date(*[*parts, 1, 1][:3])
    except (ValueError, TypeError):
        raise _Wrong(
            node, f"{shown(value)} is not a date", "write it like 2026-03-31, 2026-03 or 2026", "wrong-date"
        ) from None
    return value


def _count(node: Node) -> int:
    value = _some_text(node).strip()
    if not re.fullmatch(r"\d{1,6}", value, re.A):
        raise _Wrong(
            node, f"{shown(value)} is not a count", "write a whole number such as 3", "wrong-quantity"
        )
    return int(value)


def _state(node: Node) -> tuple[tuple[Name, str], ...]:
    read = _pairs(_name, _some_text)
    found: tuple[tuple[Name, str], ...] = read(node)
    return found


def _some_texts(node: Node) -> tuple[str, ...]:
    if isinstance(node, Seq):
        return tuple(_some_text(n) for n in node.items)
    return (_some_text(node),)


def _seen(node: Node) -> tuple[tuple[Name, tuple[str, ...]], ...]:
    read = _pairs(_name, _some_texts)
    found: tuple[tuple[Name, tuple[str, ...]], ...] = read(node)
    return found


def _pulleys(node: Node) -> tuple[records.Pulley, ...]:
    if not isinstance(node, Seq) or not all(isinstance(n, Map) for n in node.items):
        raise _Wrong(
            node, "pulleys are a list of mappings", "write - {name: motor, x: 0 mm, y: 0 mm, diameter: 9 mm}"
        )
    faults: list[_Wrong] = []
    found = [_pulley(n, faults) for n in node.items if isinstance(n, Map)]
    if faults:
        faults[0].more = tuple(faults[1:])
        raise faults[0]
    return tuple(p for p in found if p is not None)


def _length_within(low_mm: float, high_mm: float) -> Reader:
    return _quantity(lambda text: quantities.length(text, low_mm=low_mm, high_mm=high_mm))


_PULLEY: dict[str, Reader] = {
    "name": _some_text,
    "x": _quantity(quantities.coordinate),
    "y": _quantity(quantities.coordinate),
    "diameter": _length_within(0.5, 500.0),
    "side": _one_of(("inside", "outside"), "a side of the belt"),
    "drives": _yes_no,
    "rpm": _quantity(quantities.rpm),
    "capstan": _length_within(0.5, 20.0),
}


def _pulley(node: Map, faults: list[_Wrong]) -> records.Pulley | None:
    """A pulley, or None with every fault of it in the list."""
    before = len(faults)
    got: dict[str, Any] = {}
    for key, value in node.pairs:
        if key.value not in _PULLEY:
            mend = did_you_mean(key.value, _PULLEY) or f"use {', '.join(_PULLEY)}"
            faults.append(_Wrong(key, f"a pulley has no {shown(key.value)}", mend, "unknown-key"))
            continue
        try:
            got[key.value] = _PULLEY[key.value](value)
        except _Wrong as wrong:
            faults.append(wrong)
    have = {key.value for key, _ in node.pairs}
    if missing := [k for k in ("name", "x", "y", "diameter") if k not in have]:
        faults.append(_Wrong(node, f"the pulley has no {' and no '.join(missing)}", "", "missing-key"))
    return None if len(faults) > before else _pulley_of(got)


def _pulley_of(got: dict[str, Any]) -> records.Pulley:
    lengths = {k: v for k, v in got.items() if isinstance(v, quantities.Length)}
    return records.Pulley(
        name=got["name"],
        x_mm=lengths["x"].mm,
        y_mm=lengths["y"].mm,
        diameter_mm=lengths["diameter"].mm,
        outside=got.get("side") == "outside",
        drives=got.get("drives", False),
        rpm=got.get("rpm"),
        capstan_mm=lengths["capstan"].mm if "capstan" in lengths else None,
        errors=tuple((k, v.plus_minus_mm, v.about) for k, v in lengths.items() if v.plus_minus_mm),
    )


def _compare(node: Node) -> tuple[tuple[str, str], ...]:
    return tuple(_pairs(_some_text, _quantity(lambda t: (quantities.compare_rule(t), t)[1]))(node))


def _photo(node: Node) -> str:
    """The path of a picture from the root of the folder: never out of it."""
    value = _some_text(node)
    parts = value.split("/")
    if value.startswith("/") or "\\" in value or not all(p.strip(". ") for p in parts):
        mend = "write its path from the root of the folder, like photos/3f9a1c2b7d04e811.jpg"
        raise _Wrong(node, f"{shown(value)} is no path inside the folder", mend, "photo-outside")
    if any(map(_forbidden, value)) or any(c in value for c in "\t\n"):
        raise _Wrong(
            node, f"the path {shown(value)} holds a control character", "take it out", "name-character"
        )
    return value


_NAMES = _list(_name)
_TEXTS = _list(_some_text)
_TWO = _strict_list(_name)

Fields = Mapping[str, tuple[str, Reader, bool]]
"""Key as written -> (keyword of the record, how it is read, whether it must be there)."""

_EVIDENCE: Fields = {
    "how": ("how", _some_text, False),
    "certainty": ("certainty", _quantity(_certainty), False),
    "trust": ("trust", _quantity(_certainty), False),
    "source": ("sources", _NAMES, False),
    "by": ("by", _text, False),
    "date": ("date", _date, False),
    "note": ("note", _text, False),
    "photo": ("photos", _list(_photo), False),
    "page": ("page", _some_text, False),
    "id": ("own_id", _some_text, False),
    "corrects": ("corrects", _some_text, False),
    "via": ("via", _NAMES, False),
}
_SPENT: Fields = {
    "cost": ("cost", _money, False),
    "hours": ("hours", _quantity(lambda t: quantities.number(t, 0.0, 10000.0)), False),
}
_ALSO: Fields = {"also": ("also", _NAMES, False), "called": ("called", _name, False)}
_VIA: Fields = {"via": ("via", _NAMES, False)}

THINGS: Mapping[str, tuple[type[records.Thing], Fields]] = {
    "set": (
        records.SetModel,
        {
            "set": ("name", _name, True),
            "badge": ("badge", _some_text, False),
            "model": ("model", _some_text, False),
        },
    ),
    "assembly": (
        records.Assembly,
        {
            "assembly": ("name", _name, True),
            "kind": ("sort", _some_text, False),
            "positions": ("positions", _NAMES, False),
        },
    ),
    "part": (
        records.Part,
        {
            "part": ("name", _name, True),
            "kind": ("sort", _some_text, False),
            "numbers": ("numbers", _numbers, False),
            "made": ("made", _some_text, False),
            "section": ("section", _quantity(quantities.section), False),
            "hardness": ("hardness", _quantity(quantities.hardness), False),
        },
    ),
    "position": (
        records.Position,
        {
            "position": ("name", _name, True),
            "must match": ("must_match", _TEXTS, False),
            "caution": ("cautions", _NAMES, False),
            "perishable": ("perishable", _yes_no, False),
        },
    ),
    "kind": (
        records.Kind,
        {
            "kind": ("name", _name, True),
            "generic": ("generic", _yes_no, False),
            "compare": ("compare", _compare, False),
            "certainty": ("certainty", _quantity(_certainty), False),
            "caution": ("cautions", _NAMES, False),
            "perishable": ("perishable", _yes_no, False),
            "sound": ("sound", _quantity(_certainty), False),
        },
    ),
    "source": (
        records.Source,
        {
            "source": ("name", _name, True),
            "type": ("type", _one_of(words.SOURCE_TYPES, "a type of source"), False),
        },
    ),
    "via": (records.Via, {"via": ("name", _name, True)}),
    "grade": (
        records.Grade,
        {"grade": ("name", _name, True), "certainty": ("certainty", _quantity(_certainty), True)},
    ),
    "caution": (records.Caution, {"caution": ("name", _name, True), "text": ("text", _some_text, True)}),
    "unit": (
        records.Unit,
        {
            "unit": ("name", _name, True),
            "set": ("set", _name, False),
            "seen": ("seen", _seen, False),
            "role": ("role", _one_of(words.ROLES_OF_UNITS, "a role of a unit"), False),
            "keep": ("keep", _quantity(lambda t: quantities.number(t, 0.0, 10.0)), False),
            "state": ("state", _state, False),
            "wants": ("wants", _NAMES, False),
            **_SPENT,
        },
    ),
    "stock": (
        records.Stock,
        {
            "stock": ("name", _name, True),
            "count": ("count", _count, False),
            "where": ("place", _some_text, False),
        },
    ),
}

FACTS: Mapping[str, tuple[type[records.Statement], Fields]] = {
    "rebadge": (records.Rebadge, {"rebadge": ("sets", _TWO, True), "except": ("exceptions", _NAMES, False)}),
    "uses": (
        records.Uses,
        {
            "uses": ("assembly", _name, True),
            "in": ("owner", _name, True),
            "except": ("exceptions", _NAMES, False),
        },
    ),
    "takes": (
        records.Takes,
        {
            "takes": ("part", _name, True),
            "in": ("owner", _name, True),
            "position": ("position", _name, True),
            "role": ("role", _one_of(words.ROLES_OF_PARTS, "a role of a part"), False),
        },
    ),
    "same": (records.Same, {"same": ("parts", _TWO, True)}),
    "distinct": (records.Distinct, {"distinct": ("sets", _TWO, True)}),
    "replaces": (records.Replaces, {"replaces": ("new", _name, True), "old": ("old", _name, True)}),
    "fits": (
        records.Fits,
        {
            "fits": ("owner", _name, True),
            "position": ("position", _name, True),
            "to": ("to", _name, True),
            "at": ("at", _name, False),
            "both ways": ("both_ways", _yes_no, False),
            "work": ("work", _some_text, False),
        },
    ),
    "refuses": (
        records.Refuses,
        {
            "refuses": ("item", _name, True),
            "from": ("item_position", _name, False),
            "in": ("owner", _name, True),
            "position": ("position", _name, True),
        },
    ),
    "fault": (
        records.Fault,
        {
            "fault": ("fault", _name, True),
            "in": ("owner", _name, True),
            "position": ("position", _name, True),
            "signs": ("signs", _TEXTS, False),
            "check": ("check", _some_text, False),
            "cure": ("cure", _some_text, False),
        },
    ),
    "run": (
        records.Run,
        {
            "run": ("position", _name, True),
            "in": ("owner", _name, True),
            "pulleys": ("pulleys", _pulleys, True),
            "stretch": ("stretch", _quantity(quantities.percent_range), False),
            "pull": ("pull", _quantity(quantities.pull), False),
        },
    ),
    "taken": (
        records.Taken,
        {
            "taken": ("position", _name, True),
            "from": ("unit", _name, True),
            "to": ("to", _name, False),
            "at": ("at", _name, False),
            "owed": ("owed", _yes_no, False),
            **_SPENT,
        },
    ),
    "restored": (
        records.Restored,
        {
            "restored": ("position", _name, True),
            "to": ("to", _name, True),
            "part": ("part", _name, False),
            **_SPENT,
        },
    ),
    "fitted": (
        records.Fitted,
        {
            "fitted": ("part", _name, True),
            "to": ("to", _name, True),
            "at": ("position", _name, True),
            **_SPENT,
        },
    ),
    "inspected": (
        records.Inspected,
        {
            "inspected": ("position", _name, True),
            "of": ("unit", _name, True),
            "state": ("state", _some_text, True),
            **_SPENT,
        },
    ),
    "withdraw": (
        records.Withdraw,
        {
            "withdraw": ("target", _some_text, True),
            "why": ("why", _some_text, False),
            "all sayings": ("every", _yes_no, False),
        },
    ),
}


@cache
def _fields_of(kind: str) -> Fields:
    """Every key that an entry of this kind knows, the one that names the kind first."""
    if kind == "via":
        return {**THINGS[kind][1], **_ALSO}
    return {**THINGS[kind][1], **_ALSO, **_VIA} if kind in THINGS else {**FACTS[kind][1], **_EVIDENCE}


def keys_of(kind: str) -> list[str]:
    """The keys that an entry of this kind knows, the one that names the kind first."""
    return list(_fields_of(kind))


@cache
def required_of(kind: str) -> list[str]:
    """The keys without which an entry of this kind is refused."""
    fields = (THINGS[kind] if kind in THINGS else FACTS[kind])[1]
    return [key for key, (_, _, must) in fields.items() if must]


def plain(node: Node) -> records.Value:
    """A node as the texts, lists and mappings that it holds."""
    if isinstance(node, Text):
        return node.value
    if isinstance(node, Seq):
        return tuple(plain(n) for n in node.items)
    return {k.value: plain(v) for k, v in node.pairs}


def pairs_of(node: Map) -> list[tuple[str, tuple[str, ...]]]:
    """The keys of an entry that is no entry of a folder, each with its texts."""
    return [(key.value, _some_texts(value)) for key, value in node.pairs]


def check_file(read: ReadFile) -> tuple[list[records.Entry], list[Problem]]:
    """The records of a file that was read, and the problems of its entries (not those of reading it)."""
    entries: list[records.Entry] = []
    stated, nodes, problems = formats.named(read)
    later = stated if stated is not None and stated > formats.KNOWN else 0
    for node in nodes:
        entry, found = check_entry(node, read.path)
        if later and entry is None and any(p.severity == "error" for p in found):
            found = [formats.left_out(read, node, found, later)]
        problems += found
        if entry is not None:
            entries.append(entry)
    return entries, problems


def entries_of(data: bytes, file: str) -> tuple[list[records.Entry], list[Problem]]:
    """The records of a file's bytes and everything that is wrong with them, by line."""
    read = read_bytes(data, file)
    entries, problems = check_file(read)
    return entries, in_order([*read.problems, *problems])


def check_entry(node: Map, file: str) -> tuple[records.Entry | None, list[Problem]]:
    """The record of one entry, or None and every problem in it."""
    context = _Context(file, "")
    if not node.pairs:
        context.wrong(node, "empty-entry", "an entry with nothing in it", "begin it like - set: NAME")
        return None, context.problems
    first = node.pairs[0][0]
    context.kind = first.value
    if formats.is_format(node):
        context.wrong(first, "format", formats.MISPLACED, "take this one out")
        return None, context.problems
    if context.kind not in words.KINDS:
        _unknown_kind(context, node, first)
        return None, context.problems
    made = _thing(context, node) if context.kind in THINGS else _fact(context, node)
    return (None if context.failed else made), context.problems


def _unknown_kind(context: _Context, node: Map, first: Text) -> None:
    mend = did_you_mean(first.value, words.KINDS)
    near = nearest(first.value, words.KINDS, 1)
    known = keys_of(near[0]) if near else []
    # A kind among the later keys stands in the wrong order, unless what the first key may mean has it as key.
    later = [k.value for k, _ in node.pairs[1:] if k.value in words.KINDS and k.value not in known]
    if later:
        mend = f"put {later[0]}: first"
    context.wrong(
        first,
        "unknown-kind",
        f"{shown(first.value)} is not a kind of entry",
        mend or f"begin with one of {', '.join(words.KINDS)}",
    )


def _read_fields(
    context: _Context, node: Map, fields: Fields
) -> tuple[dict[str, Any], list[tuple[Text, Node]]]:
    got: dict[str, Any] = {}
    rest: list[tuple[Text, Node]] = []
    for key, value in node.pairs:
        spec = fields.get(key.value)
        if spec is None:
            rest.append((key, value))
            continue
        if spec[1] in (_NAMES, _TEXTS):
            _warn_of_comma(context, key.value, value)
        try:
            got[spec[0]] = spec[1](value)
        except _Wrong as first:
            for wrong in (first, *first.more):
                context.wrong(wrong.node, wrong.code, f"{key.value}: {wrong.says}", wrong.mend)
    there = [key.value for key, _ in node.pairs]
    for key_text in required_of(context.kind):
        if key_text not in there:
            context.wrong(node, "missing-key", f"{context.kind} has no {key_text}:", f"add {key_text}: ...")
    return got, rest


def _warn_of_comma(context: _Context, key: str, value: Node) -> None:
    """A list without its brackets is one name."""
    if isinstance(value, Text) and value.plain and ", " in value.value:
        names = shown(value.value)
        says = f"{key}: {names} is one name with a comma in it"
        mend = f'write [{names}] for several, "{names}" for one'
        context.wrong(value, "comma-in-name", says, mend, "warning")


def _base(context: _Context, node: Map) -> dict[str, Any]:
    return {
        "kind": context.kind,
        "where": context.where(node),
        "pairs": tuple([(k.value, v.value if type(v) is Text else plain(v)) for k, v in node.pairs]),
    }


def _thing(context: _Context, node: Map) -> records.Thing | None:
    maker, fields = THINGS[context.kind][0], _fields_of(context.kind)
    got, rest = _read_fields(context, node, fields)
    attributes: list[tuple[str, records.Value]] = []
    for key, value in rest:
        _check_attribute(context, key, value, fields)
        attributes.append((key.value, plain(value)))
    attributes += [(k, t) for k in ("section", "hardness") if context.kind == "part" and (t := _raw(node, k))]
    if context.kind == "part":
        _inside_length(context, node, got)
    if "name" not in got or context.failed:
        return None
    if context.kind == "set":
        _badge_and_model(got)
    if context.kind in ("source", "via"):
        got["trust"] = _trust(context, node)
    if context.kind == "via":
        got["date"] = _raw(node, "date")
    if "called" in got:
        got["also"] = tuple(dict.fromkeys([*got.get("also", ()), got["called"]]))
        got["date"] = _raw(node, "date")
    return maker(**_base(context, node), attributes=tuple(attributes), **got)


def _raw(node: Map, key: str) -> str:
    found = node.get(key)
    return found.value if isinstance(found, Text) else ""


def _check_attribute(context: _Context, key: Text, value: Node, known: Iterable[str]) -> None:
    if key.value in words.KINDS:
        context.wrong(
            key,
            "two-kinds",
            f"{key.value}: stands inside a {context.kind} entry",
            "begin a new entry with '- '",
        )
    if not _can_be_key(key.value):
        context.wrong(key, "name-character", f"the key {shown(key.value)} cannot be a name")
    if close := _near_key(key.value, tuple(known)):
        context.wrong(key, "near-key", f"{key.value}: is kept as an attribute", close, "warning")
    if key.value == "photo":
        try:
            _list(_photo)(value)
        except _Wrong as wrong:
            context.wrong(wrong.node, wrong.code, f"photo: {wrong.says}", wrong.mend)
    if isinstance(value, Text) and key.value == "date":
        try:
            _date(value)
        except _Wrong as wrong:
            context.wrong(wrong.node, wrong.code, f"date: {wrong.says}", wrong.mend)


@lru_cache(maxsize=4096)
def _can_be_key(key: str) -> bool:
    return bool(key.strip()) and not any(map(_forbidden, key))


@lru_cache(maxsize=4096)
def _near_key(key: str, known: tuple[str, ...]) -> str:
    """What a key was most likely meant to be, where it is one letter off; else nothing."""
    return did_you_mean(key, known) if _one_letter_off(key, known) else ""


def _one_letter_off(key: str, known: tuple[str, ...]) -> bool:
    import difflib

    return any(k != key and difflib.SequenceMatcher(None, k, key).ratio() >= 0.85 for k in known)


def _inside_length(context: _Context, node: Map, got: dict[str, Any]) -> None:
    """The inside length by the first of the ways to write it; whether it counts, the whole folder says.

    For a kind may be another name for belts. So parts of every kind are read alike; what is no length of a
    belt stays an attribute of another kind, but for a number without its unit.
    """
    belt = not got.get("sort") or name(got["sort"]).key == words.FITS_LIKE_BELT
    found: dict[str, float] = {}
    for key, value in _measures(node):
        try:
            found[key] = _quantity(partial(quantities.inside_length, written_as=key))(value).mm
        except _Wrong as wrong:
            if belt or (isinstance(value, Text) and quantities.lacks_unit(value.value, key)):
                context.wrong(wrong.node, wrong.code, f"{key}: {wrong.says}", wrong.mend)
    if found:
        got["inside_length_mm"] = next(iter(found.values()))
    if found and belt:
        _measures_apart(context, dict(_measures(node)), found)


def _measures(node: Map) -> Iterable[tuple[str, Node]]:
    return [(key, value) for key in quantities.BELT_MEASURES if (value := node.get(key)) is not None]


def _measures_apart(context: _Context, written: Mapping[str, Node], found: Mapping[str, float]) -> None:
    for key, says in quantities.measures_apart(found).items():
        mend = "measure again and keep the one that is right"
        context.wrong(written[key], "lengths-disagree", says, mend, "warning")


def _trust(context: _Context, node: Map) -> float | None:
    """The trust in a source. What is no number from 0 to 1 stays an attribute, and scales nothing."""
    value = node.get("trust")
    if value is None:
        return None
    try:
        return _certainty(_text(value))
    except (_Wrong, quantities.QuantityError) as error:
        what, right = (error.says, error.mend) if isinstance(error, _Wrong) else (error.what, error.right)
        context.wrong(value, "wrong-trust", f"trust: {what}, and counts for nothing", right, "warning")
        return None


def _badge_and_model(got: dict[str, Any]) -> None:
    text = got["name"].text.strip()
    badge, _, model = text.rpartition(" ")
    if "badge" in got and text.startswith(got["badge"]):
        model = text[len(got["badge"]) :].strip()
    got.setdefault("badge", badge or text)
    got.setdefault("model", model or text)


def _fact(context: _Context, node: Map) -> records.Statement | None:
    maker, fields = FACTS[context.kind][0], _fields_of(context.kind)
    got, rest = _read_fields(context, node, fields)
    for key, _ in rest:
        mend = did_you_mean(key.value, fields) or f"it may have {', '.join(fields)}"
        context.wrong(key, "unknown-key", f"{context.kind} has no key {shown(key.value)}", mend)
    if context.failed:
        return None
    _read_mark(got)
    finish = _FINISH.get(context.kind)
    if finish and not finish(context, node, got):
        return None
    return maker(**_base(context, node), **got)


def _read_mark(got: dict[str, Any]) -> None:
    """Whose folder a saying came by, where a mark at the end of its note says so."""
    note, origin = split_note(got.get("note", ""))
    if origin and name(origin).key:
        got["note"] = note
        got.setdefault("via", (name(origin),))


def _finish_pair(context: _Context, node: Map, got: dict[str, Any]) -> bool:
    found = got["parts" if context.kind == "same" else "sets"]
    if len({n.key for n in found}) == 2:
        return True
    says = "names one thing twice" if len(found) == 2 else f"names {len(found)} where two belong"
    context.wrong(node, "says-nothing", f"{context.kind} {says} and says nothing", "name two", "warning")
    return False


def _finish_fits(context: _Context, node: Map, got: dict[str, Any]) -> bool:
    got.setdefault("at", got["position"])
    return True


def _finish_refuses(context: _Context, node: Map, got: dict[str, Any]) -> bool:
    got.setdefault("item_position", None)
    return True


_FINISH: Mapping[str, Callable[[_Context, Map, dict[str, Any]], bool]] = {
    "rebadge": _finish_pair,
    "same": _finish_pair,
    "distinct": _finish_pair,
    "fits": _finish_fits,
    "refuses": _finish_refuses,
}
