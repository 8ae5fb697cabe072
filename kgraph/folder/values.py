"""Values of an entry: each reader takes a node and gives a value, or refuses it in words."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable
from datetime import date
from functools import lru_cache
from typing import Any

from kgraph import forces, quantities, records, size_rules, words
from kgraph import money as moneys
from kgraph.folder.nodes import Map, Node, Seq, Text
from kgraph.names import LONGEST, Name, did_you_mean, name
from kgraph.problems import shown


class Wrong(Exception):
    def __init__(self, node: Node, says: str, mend: str = "", code: str = "wrong-value") -> None:
        self.node, self.says, self.mend, self.code = node, says, mend, code
        self.more: tuple[Wrong, ...] = ()


Reader = Callable[[Node], Any]


def shape_of(node: Node) -> str:
    if isinstance(node, Seq):
        return "a list"
    return "a mapping" if isinstance(node, Map) else "text"


def text_of(node: Node) -> str:
    if not isinstance(node, Text):
        raise Wrong(node, f"{shape_of(node)} where one text belongs", "write one text", "wrong-shape")
    return node.value


def some_text(node: Node) -> str:
    value = text_of(node)
    if not value.strip():
        raise Wrong(node, "the value is empty", "write a value or leave the key out", "empty-value")
    return value


def forbidden(char: str) -> str:
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
    if not _ORDINARY.match(value) and any(map(forbidden, value)):
        return None
    found = name(value)
    return found if found.key else None


def name_of(node: Node) -> Name:
    found = _good_name(node.value) if isinstance(node, Text) else None
    return found or _refuse_name(node)


def _refuse_name(node: Node) -> Name:
    value = some_text(node)
    if len(value) > LONGEST:
        raise Wrong(
            node,
            f"the name {shown(value, 40)} has {len(value)} characters",
            f"{LONGEST} are the most",
            "long-name",
        )
    for char in value:
        if said := forbidden(char):
            raise Wrong(node, f"the name {shown(value)} holds {said}", "take it out", "name-character")
    says = f"the name {shown(value)} has no letter and no digit"
    raise Wrong(node, says, "a name needs one of them", "empty-name")


def list_of(item: Reader) -> Reader:
    def read(node: Node) -> tuple[Any, ...]:
        if isinstance(node, Text):
            return () if not node.value.strip() else (item(node),)
        if isinstance(node, Map):
            raise Wrong(node, "a mapping where a list belongs", "write [one, two]", "wrong-shape")
        return tuple(item(n) for n in node.items)

    return read


def strict_list(item: Reader) -> Reader:
    def read(node: Node) -> tuple[Any, ...]:
        if not isinstance(node, Seq):
            raise Wrong(
                node,
                f"{shape_of(node)} where a list of two names belongs",
                "write [one, other]",
                "wrong-shape",
            )
        found = tuple(item(n) for n in node.items)
        if len(found) > 2:
            raise Wrong(node, f"{len(found)} names where two belong", "say it two by two", "wrong-shape")
        return found

    return read


def pairs_as(key: Reader, item: Reader) -> Reader:
    def read(node: Node) -> tuple[tuple[Any, Any], ...]:
        if not isinstance(node, Map):
            raise Wrong(
                node, f"{shape_of(node)} where a mapping belongs", "write {name: value}", "wrong-shape"
            )
        return tuple((key(k), item(v)) for k, v in node.pairs)

    return read


def numbers_of(node: Node) -> tuple[tuple[str, str], ...]:
    if not isinstance(node, Map):
        raise Wrong(
            node, f"{shape_of(node)} where maker and number belong", 'write {Maker: "number"}', "wrong-shape"
        )
    return tuple((k.value, number) for k, v in node.pairs for number in list_of(some_text)(v))


def one_of(known: Iterable[str], what: str) -> Reader:
    choices = tuple(known)

    def read(node: Node) -> str:
        value = some_text(node)
        if value not in choices:
            mend = f"use one of {', '.join(choices)}"
            raise Wrong(node, f"{shown(value)} is not {what}", mend, "unknown-word")
        return value

    return read


def yes_no(node: Node) -> bool:
    value = some_text(node).strip().lower()
    if value in words.TRUE_WORDS or value in words.FALSE_WORDS:
        return value in words.TRUE_WORDS
    raise Wrong(node, f"{shown(value)} is neither yes nor no", "write yes or no", "unknown-word")


def quantity_of(parse: Callable[[str], Any]) -> Reader:
    def read(node: Node) -> Any:
        try:
            return parse(text_of(node))
        except quantities.QuantityError as error:
            raise Wrong(node, error.what, error.right, "wrong-quantity") from None

    return read


def certainty_of(text: str) -> float:
    return quantities.number(text, 0.0, 1.0, above=True)


def money_of(node: Node) -> moneys.Money:
    try:
        return moneys.money(text_of(node))
    except moneys.MoneyError as error:
        raise Wrong(node, error.what, error.right, "wrong-quantity") from None


def date_of(node: Node) -> str:
    value = some_text(node).strip()
    try:
        parts = (
            [int(p) for p in value.split("-")] if re.fullmatch(r"\d{4}(-\d\d(-\d\d)?)?", value, re.A) else []
        )
        date(*[*parts, 1, 1][:3])
    except (ValueError, TypeError):
        raise Wrong(
            node, f"{shown(value)} is not a date", "write it like 2026-03-31, 2026-03 or 2026", "wrong-date"
        ) from None
    return value


def count_of(node: Node) -> int:
    value = some_text(node).strip()
    if not re.fullmatch(r"\d{1,6}", value, re.A):
        raise Wrong(
            node, f"{shown(value)} is not a count", "write a whole number such as 3", "wrong-quantity"
        )
    return int(value)


def state_of(node: Node) -> tuple[tuple[Name, str], ...]:
    read = pairs_as(name_of, some_text)
    found: tuple[tuple[Name, str], ...] = read(node)
    return found


def some_texts(node: Node) -> tuple[str, ...]:
    if isinstance(node, Seq):
        return tuple(some_text(n) for n in node.items)
    return (some_text(node),)


def seen_of(node: Node) -> tuple[tuple[Name, tuple[str, ...]], ...]:
    read = pairs_as(name_of, some_texts)
    found: tuple[tuple[Name, tuple[str, ...]], ...] = read(node)
    return found


def pulleys_of(node: Node) -> tuple[records.Pulley, ...]:
    if not isinstance(node, Seq) or not all(isinstance(n, Map) for n in node.items):
        raise Wrong(
            node, "pulleys are a list of mappings", "write - {name: motor, x: 0 mm, y: 0 mm, diameter: 9 mm}"
        )
    faults: list[Wrong] = []
    found = [_pulley(n, faults) for n in node.items if isinstance(n, Map)]
    if faults:
        faults[0].more = tuple(faults[1:])
        raise faults[0]
    return tuple(p for p in found if p is not None)


def _length_within(low_mm: float, high_mm: float) -> Reader:
    return quantity_of(lambda text: quantities.length(text, low_mm=low_mm, high_mm=high_mm))


_PULLEY: dict[str, Reader] = {
    "name": some_text,
    "x": quantity_of(quantities.coordinate),
    "y": quantity_of(quantities.coordinate),
    "diameter": _length_within(0.5, 500.0),
    "side": one_of(("inside", "outside"), "a side of the belt"),
    "drives": yes_no,
    "rpm": quantity_of(forces.rpm),
    "capstan": _length_within(0.5, 20.0),
}


def _pulley(node: Map, faults: list[Wrong]) -> records.Pulley | None:
    """A pulley, or None with every fault of it in the list."""
    before = len(faults)
    got: dict[str, Any] = {}
    for key, value in node.pairs:
        if key.value not in _PULLEY:
            mend = did_you_mean(key.value, _PULLEY) or f"use {', '.join(_PULLEY)}"
            faults.append(Wrong(key, f"a pulley has no {shown(key.value)}", mend, "unknown-key"))
            continue
        try:
            got[key.value] = _PULLEY[key.value](value)
        except Wrong as wrong:
            faults.append(wrong)
    have = {key.value for key, _ in node.pairs}
    if missing := [k for k in ("name", "x", "y", "diameter") if k not in have]:
        faults.append(Wrong(node, f"the pulley has no {' and no '.join(missing)}", "", "missing-key"))
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


def compare_of(node: Node) -> tuple[tuple[str, str], ...]:
    return tuple(pairs_as(some_text, quantity_of(lambda t: (size_rules.compare_rule(t), t)[1]))(node))


def photo_of(node: Node) -> str:
    """The path of a picture from the root of the folder: never out of it."""
    value = some_text(node)
    parts = value.split("/")
    if value.startswith("/") or "\\" in value or not all(p.strip(". ") for p in parts):
        mend = "write its path from the root of the folder, like photos/3f9a1c2b7d04e811.jpg"
        raise Wrong(node, f"{shown(value)} is no path inside the folder", mend, "photo-outside")
    if any(map(forbidden, value)) or any(c in value for c in "\t\n"):
        raise Wrong(
            node, f"the path {shown(value)} holds a control character", "take it out", "name-character"
        )
    return value


def plain(node: Node) -> records.Value:
    """A node as the texts, lists and mappings that it holds."""
    if isinstance(node, Text):
        return node.value
    if isinstance(node, Seq):
        return tuple(plain(n) for n in node.items)
    return {k.value: plain(v) for k, v in node.pairs}
