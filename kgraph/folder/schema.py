"""From an entry as read to a checked record, or to the problems that stand in the way.

Each kind of entry has a table of fields. A thing may carry further keys, which are kept as
its recorded attributes; a fact may not, so that a misspelt key is not lost.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache, partial
from typing import Any

from kgraph import belt_sizes, quantities, records, words
from kgraph.folder import formats
from kgraph.folder.entry_keys import FACTS, NAMES, TEXTS, THINGS, Fields, fields_of, keys_of, required_of
from kgraph.folder.marks import split_note
from kgraph.folder.nodes import Map, Node, Text
from kgraph.folder.reading import ReadFile, read_bytes
from kgraph.folder.values import (
    Wrong,
    certainty_of,
    date_of,
    forbidden,
    list_of,
    photo_of,
    plain,
    quantity_of,
    some_texts,
    text_of,
)
from kgraph.names import did_you_mean, name, nearest
from kgraph.problems import Problem, Where, in_order, shown


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


ONE_NAME_MOSTLY = ("source", "photo")
"""Keys that take a list and mostly have one name, in which a comma is usual."""
"""Key as written -> (keyword of the record, how it is read, whether it must be there)."""


def pairs_of(node: Map) -> list[tuple[str, tuple[str, ...]]]:
    """The keys of an entry that is no entry of a folder, each with its texts."""
    return [(key.value, some_texts(value)) for key, value in node.pairs]


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
        if spec[1] in (NAMES, TEXTS) and key.value not in ONE_NAME_MOSTLY:
            _warn_of_comma(context, key.value, value)
        try:
            got[spec[0]] = spec[1](value)
        except Wrong as first:
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
    maker, fields = THINGS[context.kind][0], fields_of(context.kind)
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
            list_of(photo_of)(value)
        except Wrong as wrong:
            context.wrong(wrong.node, wrong.code, f"photo: {wrong.says}", wrong.mend)
    if isinstance(value, Text) and key.value == "date":
        try:
            date_of(value)
        except Wrong as wrong:
            context.wrong(wrong.node, wrong.code, f"date: {wrong.says}", wrong.mend)


@lru_cache(maxsize=4096)
def _can_be_key(key: str) -> bool:
    return bool(key.strip()) and not any(map(forbidden, key))


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
            found[key] = quantity_of(partial(belt_sizes.inside_length, written_as=key))(value).mm
        except Wrong as wrong:
            if belt or (isinstance(value, Text) and belt_sizes.lacks_unit(value.value, key)):
                context.wrong(wrong.node, wrong.code, f"{key}: {wrong.says}", wrong.mend)
    if found:
        got["inside_length_mm"] = next(iter(found.values()))
    if found and belt:
        _measures_apart(context, dict(_measures(node)), found)


def _measures(node: Map) -> Iterable[tuple[str, Node]]:
    return [(key, value) for key in belt_sizes.BELT_MEASURES if (value := node.get(key)) is not None]


def _measures_apart(context: _Context, written: Mapping[str, Node], found: Mapping[str, float]) -> None:
    for key, says in belt_sizes.measures_apart(found).items():
        mend = "measure again and keep the one that is right"
        context.wrong(written[key], "lengths-disagree", says, mend, "warning")


def _trust(context: _Context, node: Map) -> float | None:
    """The trust in a source. What is no number from 0 to 1 stays an attribute, and scales nothing."""
    value = node.get("trust")
    if value is None:
        return None
    try:
        return certainty_of(text_of(value))
    except (Wrong, quantities.QuantityError) as error:
        what, right = (error.says, error.mend) if isinstance(error, Wrong) else (error.what, error.right)
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
    maker, fields = FACTS[context.kind][0], fields_of(context.kind)
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
