"""What goes wrong: the faults on the page of a set and of a position, and the pages to read on arrival."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from kgraph.book.answering import Cited
from kgraph.book.ground import BookGround
from kgraph.book.views import CautionView, Photo
from kgraph.questions import BEST_ONLY, Wanted
from kgraph.questions.faults import FaultRow, common_at, faults
from kgraph.render import arrival
from kgraph.render.faults import COMMON, counted_text, sure_text
from kgraph.render.sheet import DEFER, Item


@dataclass(frozen=True, slots=True)
class FaultView:
    """One fault: at which places and how often it was found there, what it looks like, and how surely."""

    fault: str
    places: tuple[tuple[str, str], ...]
    told: tuple[tuple[str, str], ...]
    sure: str
    cautions: tuple[str, ...]
    why: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class FaultsView:
    """The faults of a set: a line that sums them up, each of them, and cautions that stand nowhere else."""

    summary: str
    faults: tuple[FaultView, ...]
    cautions: tuple[CautionView, ...]
    notes: tuple[str, ...]
    left_out: bool = False
    """Whether what every bench knows stands on the pages of positions alone."""


def faults_of_set(g: BookGround, key: str, cited: Cited, cautions: Iterable[str]) -> FaultsView:
    """What the folder and every bench know to go wrong with a set; `cautions` stand on its page already."""
    found = faults(g.graph, key, wanted=_wanted(g))
    full = g.answering.depth.why
    rows = [r for r in found.rows if full or r.certainty is not None or r.counted[1]]
    shown = tuple(_view(g, alike, cited) for alike in _put_together(rows))
    known = {*cautions}
    names = dict.fromkeys(c for r in rows for c in r.cautions if c not in known)
    notes = found.notes if rows else ()
    return FaultsView(_summary(rows), shown, tuple(g.views.cautions(names)), notes, not full)


def _wanted(g: BookGround) -> Wanted:
    return g.answering.wanted if g.answering.depth.weighed else BEST_ONLY


def _put_together(rows: Iterable[FaultRow]) -> Iterable[list[FaultRow]]:
    """What is no fact of one place alone: a fault once, with all its places."""
    found: dict[object, list[FaultRow]] = {}
    for row in rows:
        alone = (row.position, row.owner) if row.certainty is not None else ()
        found.setdefault((row.fault, row.basis, alone), []).append(row)
    return found.values()


def _view(g: BookGround, rows: Sequence[FaultRow], cited: Cited) -> FaultView:
    row = rows[0]
    return FaultView(
        row.fault or "",
        tuple((g.data.text("position", r.position), counted_text(r)) for r in rows),
        _told(row, cure=row.certainty is not None),
        sure_text(row),
        tuple(dict.fromkeys(c for r in rows for c in r.cautions)),
        cited.numbers(row.proof),
    )


def _told(row: FaultRow, cure: bool) -> tuple[tuple[str, str], ...]:
    """What one sees of a fault; what every bench does about it stands on the page of the position."""
    told = (("signs", ", ".join(row.signs)), ("check first", row.check), ("cure", row.cure if cure else ""))
    return tuple((key, text) for key, text in told if text)


def _summary(rows: Sequence[FaultRow]) -> str:
    """How many are known of whom: `17 faults: 2 recorded, 3 counted on units, 12 that every bench knows`."""
    together = list(_put_together(rows))
    kinds = [sure_text(alike[0]) for alike in together]
    counted, common = kinds.count("counted"), kinds.count(COMMON)
    recorded = len(kinds) - counted - common
    told = ((recorded, "recorded"), (counted, "counted on units"), (common, f"that {COMMON}"))
    said = ", ".join(f"{n} {what}" for n, what in told if n)
    return f"{len(kinds)} fault{'' if len(kinds) == 1 else 's'}: {said}" if kinds else ""


def faults_of_position(g: BookGround, key: str) -> list[FaultView]:
    """What every bench knows to go wrong at a position."""
    rows = common_at(g.graph, key)
    return [FaultView(r.fault or "", (), _told(r, cure=True), COMMON, r.cautions) for r in rows]


# On arrival -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ItemView:
    """A line of an arrival page, the smaller lines below it, and its photographs."""

    text: str
    below: tuple[str, ...]
    photos: tuple[Photo, ...]


def arrival_page(g: BookGround, key: str) -> dict[str, Any]:
    """What to read before the back of a set comes off: what `arrive` gives."""
    page = arrival.page(g.graph, key, wanted=_wanted(g))
    care, *sections = page.sections
    return {
        "set": g.views.ref("set", key),
        "units": [g.views.ref("unit", u) for u in g.units_of.get(key, ())],
        "about": page.about,
        "photos": g.views.photos(page.photos, page.title),
        "care": care.title,
        "cautions": g.views.cautions(page.cautions),
        "defer": DEFER,
        "sections": [(s.title, [_item(g, i) for i in s.items], s.none) for s in sections],
        "notes": page.notes,
    }


def _item(g: BookGround, item: Item) -> ItemView:
    return ItemView(item.text, item.below, g.views.photos(item.photos, item.text))
