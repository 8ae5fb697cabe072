"""Checks of names: said in two ways, nearly said, never said."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence

from kgraph import records, trade
from kgraph.checks.ground import Check, CheckGround, Near, at, error, warning
from kgraph.collection import Collection
from kgraph.names import Name, fold
from kgraph.problems import Problem, Where, command, shown
from kgraph.recognition import traits

_NEARLY_EQUAL = 0.85
# With more names than this undeclared they are not misspelt, and near names would only cost time.
_MOST_GUESSED = 1000


def one_meaning_for_each_also(ground: CheckGround) -> Iterator[Problem]:
    """An `also` name belongs to one thing, and is not itself declared as another thing of the kind."""
    for kind, by_key in ground.data.things.items():
        claims: dict[str, dict[str, tuple[Name, records.Thing]]] = defaultdict(dict)
        for key, things in by_key.items():
            for thing, name in ((t, n) for t in things for n in t.also if n.key != key):
                claims[name.key].setdefault(key, (name, thing))
        for alias, claimed in claims.items():
            yield from _claims(kind, alias, list(claimed.values()), by_key.get(alias, []))


def _claims(
    kind: str, alias: str, claimed: list[tuple[Name, records.Thing]], declared: Sequence[records.Thing]
) -> Iterator[Problem]:
    first = claimed[0][1]
    for name, thing in claimed:
        said = f"also {shown(name.text)}, of {kind} {shown(thing.name.text)}"
        if declared:
            says = f"{said}, is itself a {kind}, declared at {at(declared[0].where)}"
            yield error(
                thing.where, "also-declared", says, "say `same` or `rebadge`, or take one of the two out"
            )
        elif thing is not first:
            says = f"{said}, is also said of {shown(first.name.text)} at {at(first.where)}"
            yield error(thing.where, "also-twice", says, "keep it with the one that it means")


def no_name_is_both_set_and_assembly(ground: CheckGround) -> Iterator[Problem]:
    """`in:` must be able to tell a set from an assembly by the name."""
    sets, assemblies = _names_of(ground, "set"), _names_of(ground, "assembly")
    for key in sorted(sets.keys() & assemblies.keys()):
        (text, one), (_, other) = sets[key], assemblies[key]
        later, earlier = (one, other) if one >= other else (other, one)
        says = f"{shown(text)} is a set at {at(one)} and an assembly at {at(other)}"
        mend = f"give one of them another name here or at {at(earlier)}"
        yield error(later, "set-and-assembly", says, mend)


def _names_of(ground: CheckGround, kind: str) -> dict[str, tuple[str, Where]]:
    found: dict[str, tuple[str, Where]] = {}
    for things in ground.data.things[kind].values():
        for thing in things:
            for name in (thing.name, *thing.also):
                found.setdefault(name.key, (name.text, thing.where))
    for use in ground.uses:
        if use.kind == kind:
            found.setdefault(use.name.key, (use.name.text, use.entry.where))
    return found


# Kinds that need an entry. Of kinds and positions most need none; of units `shelf` speaks.
_NEED_AN_ENTRY = {"set", "assembly", "part", "source", "caution"}


def used_names_are_declared(ground: CheckGround) -> Iterator[Problem]:
    """A name used in a fact has an entry of its own; said once, at its first use."""
    told = 0
    for (kind, key), uses in ground.by_name.items():
        in_facts = [u for u in uses if not isinstance(u.entry, records.Unit)]
        if kind not in _NEED_AN_ENTRY or key in ground.data.things[kind] or not in_facts:
            continue
        if ground.data.ground(kind, key):
            continue
        kinds = ("set", "assembly") if kind in {"set", "assembly"} else (kind,)
        text = in_facts[0].name.text
        says = f"{kind} {shown(text)} is used but not declared"
        near = ground.did_you_mean(text, *kinds) if told < _MOST_GUESSED else ""
        mend = shown(near, 200) or command("add", kind, text)
        told += 1
        yield warning(in_facts[0].entry.where, "undeclared", says, mend)


def place_names(data: Collection) -> list[tuple[str, str]]:
    """(key, name) of every place by each name that it has, those that the ground knows among them."""
    others = ((also, data.text("position", key)) for also, key in data.aliases.get("position", {}).items())
    return [*{**trade.spellings("position"), **data.known("position")}.items(), *others]


def positions_are_not_misspelt(ground: CheckGround) -> Iterator[Problem]:
    """A place needs no entry; but of two nearly equal ones that which is named less often is doubtful.

    What the ground knows is spelt right, and may be what is meant.
    """
    known = Near(place_names(ground.data))
    declared = {*ground.data.things["position"], *trade.ground().things["position"]}
    for (kind, key), uses in ground.by_name.items():
        near = nearly_equal(key, known) if kind == "position" and key not in declared else None
        if near is None:
            continue
        other = ground.data.key("position", near[0])
        others = ground.by_name.get((kind, other), [])
        rank = (-len(uses), uses[0].entry.where)
        if other in declared or (others and (-len(others), others[0].entry.where) < rank):
            only = (
                "is used only here" if len(uses) == 1 else f"is used {len(uses)} times and declared nowhere"
            )
            says = f"position {shown(uses[0].name.text)} {only}"
            yield warning(uses[0].entry.where, "near-position", says, f"did you mean {shown(near[1])}?")


def kinds_are_not_misspelt(ground: CheckGround) -> Iterator[Problem]:
    """A kind of part needs no entry; but one that is nearly a declared kind would not compare with it."""
    for (kind, key), uses in ground.by_name.items():
        if kind != "kind" or key in ground.data.things["kind"] or ground.data.ground(kind, key):
            continue
        if near := nearly_equal(key, ground.near("kind")):
            says = f"kind {shown(uses[0].name.text)} is not declared"
            yield warning(uses[0].entry.where, "near-kind", says, f"did you mean {shown(near[1])}?")


def exceptions_are_not_misspelt(ground: CheckGround) -> Iterator[Problem]:
    """An `except` may name any feature; but one nearly equal to a place or assembly leaves nothing out."""
    data = ground.data
    positions, assemblies = data.known("position"), data.known("assembly")
    near_places = Near([*positions.items(), *assemblies.items()])
    features = features_of(data)
    told: set[str] = set()
    for name, entry in ground.exceptions:
        position = data.key("position", name.key)
        if position in positions or data.key("assembly", name.key) in assemblies:
            continue
        if data.ground("position", position):
            continue
        if name.key in features or name.key in told:
            continue
        told.add(name.key)
        if near := nearly_equal(name.key, near_places):
            says = f"except: {shown(name.text)} is no place and no assembly that anything else names"
            yield warning(entry.where, "near-except", says, f"did you mean {shown(near[1])}?")


def features_of(data: Collection) -> set[str]:
    """The keys and the values of everything recorded of any set, folded."""
    found: set[str] = set()
    for things in data.things["set"].values():
        for key, value in (pair for t in things for pair in t.attributes):
            found.add(fold(key))
            found |= {
                fold(v) for v in (value if isinstance(value, tuple) else (value,)) if isinstance(v, str)
            }
    return found


def nearly_equal(key: str, known: Near) -> tuple[str, str] | None:
    """The (key, text) of a known name that differs in so little that it may be meant, or None."""
    for other, text in known.around(key):
        # Buttons 1 and 2 are two places, however like their names are.
        if re.sub(r"\d", "", key) == re.sub(r"\d", "", other):
            continue
        matcher = difflib.SequenceMatcher(None, other, key)
        if matcher.quick_ratio() >= _NEARLY_EQUAL and matcher.ratio() >= _NEARLY_EQUAL:
            return other, text
    return None


def names_are_written_one_way(ground: CheckGround) -> Iterator[Problem]:
    """A name that folds to another is the same name; written otherwise, without an `also`, it is doubtful."""
    first, told = _spellings(ground)
    for kind, name, entry in _all_names(ground):
        text = _plain(name.text)
        before, where = first.setdefault((kind, name.key), (text, entry.where))
        if text == before or (kind, text) in told:
            continue
        told.add((kind, text))
        says = f"{kind} {shown(name.text)} is written {shown(before)} at {at(where)}: they count as one name"
        other = f"{kind} {shown(before)} is written {shown(name.text)} at {at(entry.where)}"
        yield warning(
            where,
            "two-spellings",
            f"{other}: they count as one name",
            "write it one way, or another name for another thing",
        )
        yield warning(
            entry.where, "two-spellings", says, "write it one way, or another name for another thing"
        )


def _plain(text: str) -> str:
    return (
        text if text.isascii() and "  " not in text else " ".join(unicodedata.normalize("NFC", text).split())
    )


def _spellings(ground: CheckGround) -> tuple[dict[tuple[str, str], tuple[str, Where]], set[tuple[str, str]]]:
    """The spelling that each name is held to, and those that an `also` allows."""
    first: dict[tuple[str, str], tuple[str, Where]] = {}
    allowed: set[tuple[str, str]] = set()
    things = [e for e in ground.entries if isinstance(e, records.Thing) and e.kind != "stock"]
    for thing in things:
        first.setdefault((thing.kind, thing.name.key), (_plain(thing.name.text), thing.where))
    for thing in things:
        for other in thing.also:
            first.setdefault((thing.kind, other.key), (_plain(other.text), thing.where))
            allowed.add((thing.kind, _plain(other.text)))
    return first, allowed


def _all_names(ground: CheckGround) -> Iterator[tuple[str, Name, records.Entry]]:
    """Every name declared, then every name used."""
    for entry in ground.entries:
        if isinstance(entry, records.Thing) and entry.kind != "stock":
            yield entry.kind, entry.name, entry
    yield from ((use.kind, use.name, use.entry) for use in ground.uses)


_LOOKS_LIKE = str.maketrans(
    "АВЕКМНОРСТУХІЈЅаеорсухіјѕ" + "ΑΒΕΖΗΙΚΜΝΟΡΤΥΧανορ" + "OolI",
    "ABEKMH0PCTYX1JSae0pcyxijs" + "ABEZH1KMN0PTYXav0p" + "0011",
)
"""Letters of other scripts, and figures, that look like another in most type: common practice, no source."""
_SIGNS_OF_UNITS = {"Ω", "μ"}


def names_do_not_look_alike(ground: CheckGround) -> Iterator[Problem]:
    """Two names that look the same but are not, such as O and 0 or a Cyrillic letter, are doubtful."""
    says = "looks like {other} at {at} and is another name"
    yield from _pairs_by(ground, "look-alike", says, lambda name: fold(name.text.translate(_LOOKS_LIKE)))


def names_keep_to_one_script(ground: CheckGround) -> Iterator[Problem]:
    """A name with letters of two scripts cannot be told from one that looks the same."""
    for kind, name, entry in ground.names:
        if name.text.isascii():
            continue
        letters = {c: _script(c) for c in name.text if c.isalpha() and c not in _SIGNS_OF_UNITS}
        if len(set(letters.values()) - {""}) > 1:
            foreign = ", ".join(
                f"{c} ({unicodedata.name(c).lower()})" for c, s in letters.items() if s != "latin"
            )
            says = f"{kind} {shown(name.text)} mixes scripts: {foreign}"
            yield warning(entry.where, "look-alike", says, "type it again in one script")


def _script(char: str) -> str:
    first = unicodedata.name(char, "").partition(" ")[0].lower()
    return first if first in {"latin", "cyrillic", "greek"} else ""


def names_differ_by_more_than_a_separator(ground: CheckGround) -> Iterator[Problem]:
    """1.2 and 12, 1/2 and 12, 11-4 and 1-14: names that a lost point or dash would make one."""
    says = "differs from {other} at {at} only by a point, a stroke or a dash between digits"
    yield from _pairs_by(ground, "near-number", says, lambda name: re.sub(r"[./-]", "", name.key))


def _pairs_by(ground: CheckGround, code: str, says: str, group: Callable[[Name], str]) -> Iterator[Problem]:
    """A warning for each name with the same group as an earlier one of its kind, but another key."""
    first: dict[tuple[str, str], tuple[Name, records.Entry]] = {}
    for kind, name, entry in ground.names:
        other, before = first.setdefault((kind, group(name)), (name, entry))
        if other.key != name.key and ground.data.key(kind, name.key) != ground.data.key(kind, other.key):
            said = says.format(other=shown(other.text), at=at(before.where))
            mend = "make sure that each is written as it is meant"
            yield warning(entry.where, code, f"{kind} {shown(name.text)} {said}", mend)


def declared_things_are_used(ground: CheckGround) -> Iterator[Problem]:
    """A declared part, assembly, source, position or kind that nothing names gives no answer.

    One that is called as what is recorded of sets says how often that is misread.
    """
    used = {(kind, key) for kind, key in ground.by_name if kind != "assembly"}
    used |= {("assembly", key) for key in ground.data.assemblies}
    used |= {("position", ground.data.key("position", name.key)) for name, _ in ground.exceptions}
    restored = (e.part for e in ground.entries if isinstance(e, records.Restored) and e.part)
    used |= {("part", ground.data.key("part", name.key)) for name in restored}
    used |= {(kind, key) for kind in ("position", "kind") for key in traits.attributes(ground.graph)[1]}
    for kind, by_what in _USED_BY.items():
        for key, things in ground.data.things[kind].items():
            if (kind, key) not in used:
                says = f"{kind} {shown(things[0].name.text)} is declared but {by_what}"
                yield warning(things[0].where, "unused", says, "say where it belongs, or leave it for later")


_USED_BY = {
    "part": "in no fact and no stock",
    "assembly": "nothing is built on it",
    "source": "no fact names it",
    "position": "nothing names it",
    "kind": "no part is of it",
}

CHECKS: Sequence[Check] = (
    one_meaning_for_each_also,
    no_name_is_both_set_and_assembly,
    used_names_are_declared,
    positions_are_not_misspelt,
    kinds_are_not_misspelt,
    exceptions_are_not_misspelt,
    names_are_written_one_way,
    names_do_not_look_alike,
    names_keep_to_one_script,
    names_differ_by_more_than_a_separator,
    declared_things_are_used,
)
