"""The columns that lists of the trade have, and what one row of such a list says: a set, what it is built on,
its belts and parts, and where else they go.

Which names such columns have is common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from kgraph.exchange.mappings import Column, RowPlan
from kgraph.exchange.sheets import TableSheet
from kgraph.folder.writing import Value
from kgraph.names import fold
from kgraph.problems import Where

MAIN_BELT = "main belt"
_NOTES = {"remarks": "note", "remark": "note", "notes": "note", "comment": "note", "comments": "note"}
_PART = dict.fromkeys(
    (
        *("part", "partno", "partnr", "partnumber", "partsno", "spareno", "orderno", "article", "articleno"),
        *("sparepart", "sparepartno", "pn"),
    ),
    "part",
)
_USED_IN = dict.fromkeys(("usedin", "usedon", "fittedin", "fittedto", "foundin"), "in")
_PLACE = dict.fromkeys(("place", "location", "position"), "position")

HOLDS: dict[str, dict[str, str]] = {
    "set": {
        **dict.fromkeys(("make", "maker", "brand", "manufacturer"), "badge"),
        **dict.fromkeys(("modelno", "modelnumber"), "model"),
        **dict.fromkeys(("year", "built", "yearbuilt", "yearmade", "yearsmade"), "years"),
        **dict.fromkeys(("country", "soldin", "countryofsale"), "market"),
        **dict.fromkeys(("voltage", "volts", "mainsvoltage", "supply"), "mains"),
        **dict.fromkeys(("wavebands", "waveranges", "ranges"), "bands"),
        **dict.fromkeys(("aka", "alsoknownas", "othernames"), "also"),
        **_NOTES,
    },
    "part": {**_PART, "type": "kind", "sort": "kind", **_NOTES},
    "takes": {
        **dict.fromkeys(_PART, "takes"),
        **_USED_IN,
        **_PLACE,
        "set": "in",
        "assembly": "in",
        **_NOTES,
    },
    "uses": {"assembly": "uses", "mechanism": "uses", "set": "in", **_USED_IN, **_NOTES},
    "refuses": {"part": "refuses", "set": "in", **_NOTES},
    "stock": {**dict.fromkeys(_PART, "stock"), **_NOTES},
    "unit": _NOTES,
}
"""Kind of entry -> name of a column, folded -> the key that holds such a thing, where one can be meant."""

_ASSEMBLIES = {
    **dict.fromkeys(("mechanism", "tapemechanism", "mech", "deck", "tapedeck"), "tape mechanism"),
    "chassis": "chassis",
    "board": "board",
}
_FITS_ALSO = {"fitsalso", "alsofits", "alsousedin", "alsoin"}
_DESCRIPTION = {"description", "designation", "item"}
_BELT = re.compile(r"(?P<which>.*?)(?:drive|main)?belts?\Z")
_NUMBERED = re.compile(r"(?P<name>.*\D)(?P<number>\d)\Z")
SIGNS = (";", ",", "/")


@dataclass
class Fields:
    """Which columns of a list of the trade hold what, by their names as they are written."""

    badge: str = ""
    model: str = ""
    whole: str = ""
    """The column of badge and model together."""
    used_in: str = ""
    also: str = ""
    described: str = ""
    source: str = ""
    own: set[str] = field(default_factory=set)
    """Keys that say more of a set."""
    assemblies: list[tuple[str, str]] = field(default_factory=list)
    belts: list[tuple[str, str]] = field(default_factory=list)
    parts: dict[str, str] = field(default_factory=dict)
    places: dict[str, str] = field(default_factory=dict)
    """Of numbered columns (Part 1, Place 1) the number -> the column."""

    @property
    def set_names(self) -> tuple[str, ...]:
        """The columns that name the set of a row; none where the row is about no set."""
        both = tuple(name for name in (self.badge, self.model) if name)
        return (self.whole,) if self.whole else both if self.model else ()

    @property
    def lists_sets(self) -> bool:
        """Whether the rows are sets with what belongs to them."""
        if self.badge and self.model:
            return True
        more = bool(self.belts or (self.assemblies and self.own))
        return bool(self.set_names) and more and not self.used_in

    @property
    def lists_parts(self) -> bool:
        """Whether the rows are parts, each with the sets that have it."""
        return bool(self.parts or self.belts) and bool(self.used_in or self.also)

    @property
    def taken(self) -> set[str]:
        """The columns that say nothing of the set or part of the row itself."""
        names = {self.used_in, self.also, *self.parts.values(), *self.places.values(), self.source}
        return names | {c for c, _ in self.belts} | {c for c, _ in self.assemblies}


def fields(names: Sequence[str]) -> Fields:
    """What the columns of these names hold."""
    found = Fields()
    for name in names:
        text = fold(name)
        key = HOLDS["set"].get(text, text)
        if key in ("badge", "model") and not getattr(found, key):
            setattr(found, key, name)
        elif key in ("years", "market", "mains", "bands"):
            found.own.add(key)
        elif text == "set":
            found.whole = name
        elif text == "source":
            found.source = name
        else:
            _add_other(found, name, text)
    return found


def _add_other(found: Fields, name: str, text: str) -> None:
    """What a column holds that says nothing of the set itself."""
    numbered = _NUMBERED.fullmatch(text)
    bare, number = (numbered["name"], numbered["number"]) if numbered else (text, "")
    if text in _USED_IN:
        found.used_in = found.used_in or name
    elif text in _FITS_ALSO:
        found.also = found.also or name
    elif text in _DESCRIPTION:
        found.described = name
    elif text in _ASSEMBLIES:
        found.assemblies.append((name, _ASSEMBLIES[text]))
    elif belt := _BELT.fullmatch(text):
        found.belts.append((name, " ".join(name.lower().split()) if belt["which"] else MAIN_BELT))
    elif bare in _PART:
        found.parts.setdefault(number, name)
    elif bare in _PLACE:
        found.places.setdefault(number, name)


def besides(sheet: TableSheet, found: Fields) -> list[RowPlan]:
    """What a row says besides the set or part that it lists."""
    plans: list[RowPlan] = []
    names = Column(found.set_names, "in") if found.set_names else _several(sheet, found.used_in, "in")
    source = (Column((found.source,), "source"),) if found.source else ()
    for column, kind in found.assemblies if found.set_names else ():
        told = (Column((column,), "assembly"),)
        plans.append(RowPlan("assembly", sheet.name, told, (("kind", kind, None),)))
        plans.append(RowPlan("uses", sheet.name, (Column((column,), "uses"), names, *source)))
    articles: list[tuple[str, str, Column | _Constants]] = []
    articles += [(column, "belt", _at(position)) for column, position in found.belts]
    articles += [(column, "", _place(found, number)) for number, column in found.parts.items()]
    for column, reads, position in articles:
        head = Column((column,), "takes", reads=reads)
        where = () if isinstance(position, tuple) else (position,)
        said = position if isinstance(position, tuple) else ()
        if found.set_names and not reads:
            plans.append(RowPlan("part", sheet.name, (Column((column,), "part"),)))
        if names.names != ("",):
            plans.append(RowPlan("takes", sheet.name, (head, names, *where, *source), said))
    for others, role in ((found.used_in if found.set_names else "", ""), (found.also, "substitute")):
        if others and articles:
            # Beside a column of parts it is the part that goes there too; a list of belts has none.
            column, reads, position = next((a for a in articles if not a[1]), articles[0])
            also = (Column((column,), "takes", reads=reads), _several(sheet, others, "in"))
            where = () if isinstance(position, tuple) else (position,)
            said = position if isinstance(position, tuple) else ()
            said = (*said, ("role", role, None)) if role else said
            plans.append(RowPlan("takes", sheet.name, (*also, *where, *source), said))
    return plans


_Constants = tuple[tuple[str, Value, Where | None], ...]


def _at(position: str) -> _Constants:
    return (("position", position, None),)


def _place(found: Fields, number: str) -> Column | _Constants:
    """The column in which the place of a part stands; no constant where there is none."""
    column = found.places.get(number) or found.described
    return Column((column,), "position") if column else ()


def _several(sheet: TableSheet, column: str, key: str) -> Column:
    """A column of several names, with the signs that stand between them."""
    return Column((column,), key, signs(sheet, column, SIGNS[:2]))


def signs(sheet: TableSheet, column: str, known: Sequence[str]) -> tuple[str, ...]:
    """Which of these signs stand in the cells of a column."""
    at: Mapping[str, int] = {cell.strip(): i for i, cell in enumerate(sheet.header.cells)}
    if column not in at:
        return ()
    return tuple(sign for sign in known if any(sign in row.cells[at[column]] for row in sheet.rows))
