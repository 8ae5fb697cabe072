"""The keys of each kind of entry: what each sets, how it is read, and whether it must be there."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from kgraph import belt_sizes, forces, quantities, records, words
from kgraph.folder.values import (
    Reader,
    certainty_of,
    compare_of,
    count_of,
    date_of,
    list_of,
    money_of,
    name_of,
    numbers_of,
    one_of,
    photo_of,
    pulleys_of,
    quantity_of,
    seen_of,
    some_text,
    state_of,
    strict_list,
    text_of,
    yes_no,
)

NAMES = list_of(name_of)
TEXTS = list_of(some_text)
_TWO = strict_list(name_of)

Fields = Mapping[str, tuple[str, Reader, bool]]

_EVIDENCE: Fields = {
    "how": ("how", some_text, False),
    "certainty": ("certainty", quantity_of(certainty_of), False),
    "trust": ("trust", quantity_of(certainty_of), False),
    "source": ("sources", NAMES, False),
    "by": ("by", text_of, False),
    "date": ("date", date_of, False),
    "note": ("note", text_of, False),
    "photo": ("photos", list_of(photo_of), False),
    "page": ("page", some_text, False),
    "id": ("own_id", some_text, False),
    "corrects": ("corrects", some_text, False),
    "via": ("via", NAMES, False),
}
_SPENT: Fields = {
    "cost": ("cost", money_of, False),
    "hours": ("hours", quantity_of(lambda t: quantities.number(t, 0.0, 10000.0)), False),
}
_ALSO: Fields = {
    "also": ("also", NAMES, False),
    "called": ("called", name_of, False),
    "corrects": ("corrects", some_text, False),
}
_SAID: Fields = {"source": ("sources", NAMES, False), "via": ("via", NAMES, False)}

THINGS: Mapping[str, tuple[type[records.Thing], Fields]] = {
    "set": (
        records.SetModel,
        {
            "set": ("name", name_of, True),
            "badge": ("badge", some_text, False),
            "model": ("model", some_text, False),
        },
    ),
    "assembly": (
        records.Assembly,
        {
            "assembly": ("name", name_of, True),
            "kind": ("sort", some_text, False),
            "positions": ("positions", NAMES, False),
        },
    ),
    "part": (
        records.Part,
        {
            "part": ("name", name_of, True),
            "kind": ("sort", some_text, False),
            "numbers": ("numbers", numbers_of, False),
            "made": ("made", some_text, False),
            "section": ("section", quantity_of(belt_sizes.section), False),
            "hardness": ("hardness", quantity_of(forces.hardness), False),
        },
    ),
    "position": (
        records.Position,
        {
            "position": ("name", name_of, True),
            "must match": ("must_match", TEXTS, False),
            "caution": ("cautions", NAMES, False),
            "perishable": ("perishable", yes_no, False),
        },
    ),
    "kind": (
        records.Kind,
        {
            "kind": ("name", name_of, True),
            "generic": ("generic", yes_no, False),
            "compare": ("compare", compare_of, False),
            "certainty": ("certainty", quantity_of(certainty_of), False),
            "caution": ("cautions", NAMES, False),
            "perishable": ("perishable", yes_no, False),
            "sound": ("sound", quantity_of(certainty_of), False),
        },
    ),
    "source": (
        records.Source,
        {
            "source": ("name", name_of, True),
            "type": ("type", one_of(words.SOURCE_TYPES, "a type of source"), False),
        },
    ),
    "via": (records.Via, {"via": ("name", name_of, True)}),
    "grade": (
        records.Grade,
        {"grade": ("name", name_of, True), "certainty": ("certainty", quantity_of(certainty_of), True)},
    ),
    "caution": (records.Caution, {"caution": ("name", name_of, True), "text": ("text", some_text, True)}),
    "unit": (
        records.Unit,
        {
            "unit": ("name", name_of, True),
            "set": ("set", name_of, False),
            "seen": ("seen", seen_of, False),
            "role": ("role", one_of(words.ROLES_OF_UNITS, "a role of a unit"), False),
            "keep": ("keep", quantity_of(lambda t: quantities.number(t, 0.0, 10.0)), False),
            "state": ("state", state_of, False),
            "wants": ("wants", NAMES, False),
            **_SPENT,
        },
    ),
    "stock": (
        records.Stock,
        {
            "stock": ("name", name_of, True),
            "count": ("count", count_of, False),
            "where": ("place", some_text, False),
        },
    ),
}

FACTS: Mapping[str, tuple[type[records.Statement], Fields]] = {
    "rebadge": (records.Rebadge, {"rebadge": ("sets", _TWO, True), "except": ("exceptions", NAMES, False)}),
    "uses": (
        records.Uses,
        {
            "uses": ("assembly", name_of, True),
            "in": ("owner", name_of, True),
            "except": ("exceptions", NAMES, False),
        },
    ),
    "takes": (
        records.Takes,
        {
            "takes": ("part", name_of, True),
            "in": ("owner", name_of, True),
            "position": ("position", name_of, True),
            "role": ("role", one_of(words.ROLES_OF_PARTS, "a role of a part"), False),
        },
    ),
    "same": (records.Same, {"same": ("parts", _TWO, True)}),
    "distinct": (records.Distinct, {"distinct": ("sets", _TWO, True)}),
    "replaces": (records.Replaces, {"replaces": ("new", name_of, True), "old": ("old", name_of, True)}),
    "fits": (
        records.Fits,
        {
            "fits": ("owner", name_of, True),
            "position": ("position", name_of, True),
            "to": ("to", name_of, True),
            "at": ("at", name_of, False),
            "both ways": ("both_ways", yes_no, False),
            "work": ("work", some_text, False),
        },
    ),
    "refuses": (
        records.Refuses,
        {
            "refuses": ("item", name_of, True),
            "from": ("item_position", name_of, False),
            "in": ("owner", name_of, True),
            "position": ("position", name_of, True),
        },
    ),
    "fault": (
        records.Fault,
        {
            "fault": ("fault", name_of, True),
            "in": ("owner", name_of, True),
            "position": ("position", name_of, True),
            "signs": ("signs", TEXTS, False),
            "check": ("check", some_text, False),
            "cure": ("cure", some_text, False),
        },
    ),
    "run": (
        records.Run,
        {
            "run": ("position", name_of, True),
            "in": ("owner", name_of, True),
            "pulleys": ("pulleys", pulleys_of, True),
            "stretch": ("stretch", quantity_of(quantities.percent_range), False),
            "pull": ("pull", quantity_of(forces.pull), False),
        },
    ),
    "taken": (
        records.Taken,
        {
            "taken": ("position", name_of, True),
            "from": ("unit", name_of, True),
            "to": ("to", name_of, False),
            "at": ("at", name_of, False),
            "owed": ("owed", yes_no, False),
            **_SPENT,
        },
    ),
    "restored": (
        records.Restored,
        {
            "restored": ("position", name_of, True),
            "to": ("to", name_of, True),
            "part": ("part", name_of, False),
            **_SPENT,
        },
    ),
    "fitted": (
        records.Fitted,
        {
            "fitted": ("part", name_of, True),
            "to": ("to", name_of, True),
            "at": ("position", name_of, True),
            **_SPENT,
        },
    ),
    "inspected": (
        records.Inspected,
        {
            "inspected": ("position", name_of, True),
            "of": ("unit", name_of, True),
            "state": ("state", some_text, True),
            **_SPENT,
        },
    ),
    "withdraw": (
        records.Withdraw,
        {
            "withdraw": ("target", some_text, True),
            "why": ("why", some_text, False),
            "all sayings": ("every", yes_no, False),
        },
    ),
}


@cache
def fields_of(kind: str) -> Fields:
    """Every key that an entry of this kind knows, the one that names the kind first."""
    if kind in FACTS:
        return {**FACTS[kind][1], **_EVIDENCE}
    own = THINGS[kind][1]
    return {**own, **_ALSO, **{key: field for key, field in _SAID.items() if key not in own}}


def keys_of(kind: str) -> list[str]:
    """The keys that an entry of this kind knows, the one that names the kind first."""
    return list(fields_of(kind))


@cache
def required_of(kind: str) -> list[str]:
    """The keys without which an entry of this kind is refused."""
    fields = (THINGS[kind] if kind in THINGS else FACTS[kind])[1]
    return [key for key, (_, _, must) in fields.items() if must]
