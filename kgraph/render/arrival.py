"""One page to read before the back comes off, in words: the same for text, Markdown and HTML."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from kgraph import doubts, questions, records
from kgraph.collection import Collection
from kgraph.fits.graph import Graph
from kgraph.questions.asked import budget_of
from kgraph.questions.faults import NOT_THERE, FaultRow, Faults, faults, looks
from kgraph.render import doubts as render_doubts
from kgraph.render.answers import caution_texts, each_once, percent
from kgraph.render.faults import counted_text
from kgraph.render.sheet import DEFER, Item, PageSection, WrittenPage, photos_of_fact
from kgraph.render.values import value_text
from kgraph.shelf.ledger import shelf_now
from kgraph.shelf.owned import with_units

ALWAYS = ("mains", "charged capacitors", "leaking cells")
"""Cautions that hold before any set is opened: common practice, no source."""
SMALL = frozenset(
    {"belt", "tyre", "pinchroller", "oring", "fuse", "lamp", "screw", "nut", "washer", "circlip", "cell"}
)
"""Kinds of part to have at hand before a set is opened: common practice, no source."""
MOST = 12
"""So many lines of a section, that the page stays one; the rest is counted."""


def page(graph: Graph, set_key: str, unit: str = "") -> WrittenPage:
    """The page of a set, or of one unit of it."""
    data = graph.data
    found = faults(graph, set_key)
    called = data.text("set", set_key)
    title = f"{data.text('unit', unit)}, {called}" if unit else called
    sections = (
        PageSection("Before the back comes off", _cautions(data, found)),
        PageSection("What to check, the most often found first", _checks(data, found)),
        PageSection(
            "To have at hand", _at_hand(graph, set_key), "No belts or small parts are recorded of it."
        ),
        PageSection("What is often missing", _missing(graph, set_key), "No unit was found without a place."),
        PageSection("Which own units could give it", _givers(graph, set_key), "None that is recorded."),
        PageSection(
            "What is doubtful, and cheap to settle now", _doubts(graph, set_key), "Nothing recorded."
        ),
    )
    own = [*data.things["set"].get(set_key, ()), *(data.things["unit"].get(unit, ()) if unit else ())]
    photos = tuple(dict.fromkeys(p for thing in own for p in records.photos_of(thing)))
    return WrittenPage(f"Before opening: {title}", _about(graph, set_key), sections, found.notes, photos)


def as_json(data: Collection, set_key: str, unit: str, made: WrittenPage) -> dict[str, Any]:
    """The same page as one object."""
    question = {"command": "arrive", "set": data.text("set", set_key)}
    if unit:
        question["unit"] = data.text("unit", unit)
    return {
        "question": question,
        "title": made.title,
        "about": [{"key": key, "value": value} for key, value in made.about],
        "sections": [_section_json(section) for section in made.sections],
        "photos": list(made.photos),
        "notes": list(made.notes),
    }


def _section_json(section: PageSection) -> dict[str, Any]:
    lines = [{"says": i.text, "below": list(i.below), "photos": list(i.photos)} for i in section.items]
    return {"title": section.title, "lines": lines}


def _first(items: list[Item]) -> tuple[Item, ...]:
    rest = [Item(f"and {len(items) - MOST} more")] if len(items) > MOST else []
    return (*items[:MOST], *rest)


def _about(graph: Graph, set_key: str) -> tuple[tuple[str, str], ...]:
    data = graph.data
    told: dict[str, list[str]] = {}
    for thing in data.things["set"].get(set_key, ()):
        for key, value in thing.attributes:
            if key != "photo":
                told.setdefault(key, []).append(value_text(value))
    rows = questions.sisters(graph, set_key).rows
    sisters = ", ".join(f"{data.owner_text(r.set)} ({percent(r.certainty)})" for r in rows[:MOST])
    recorded = [(key, ", ".join(dict.fromkeys(values))) for key, values in told.items()]
    return (("set", data.text("set", set_key)), *recorded, ("sisters", sisters or "none recorded"))


def _cautions(data: Collection, found: Faults) -> tuple[Item, ...]:
    names = each_once([*ALWAYS, *(c for r in found.rows for c in r.cautions)])
    return (*(Item(f"{n}: {t}") for n, t in caution_texts(data, names).items()), Item(DEFER))


def _checks(data: Collection, found: Faults) -> tuple[Item, ...]:
    by_fault: dict[str, list[FaultRow]] = {}
    for row in found.rows:
        by_fault.setdefault(row.fault or "", []).append(row)
    return _first([_check(data, rows) for rows in by_fault.values()])


def _check(data: Collection, rows: list[FaultRow]) -> Item:
    row = rows[0]
    places = ", ".join(
        f"{data.text('position', r.position)}{f', {counted_text(r)}' if r.counted[1] else ''}" for r in rows
    )
    sure = row.basis if row.certainty is None else percent(row.certainty)
    told = (("look", row.check), ("signs", ", ".join(row.signs)), ("cure", row.cure))
    return Item(
        f"{row.fault}: {places} ({sure})",
        tuple(f"{key}: {text}" for key, text in told if text),
        photos=_photos(rows),
    )


def _photos(rows: list[FaultRow]) -> tuple[str, ...]:
    """The photographs of the facts that a fault rests on."""
    return tuple(dict.fromkeys(p for row in rows for fact in row.proof for p in photos_of_fact(fact)))


def _at_hand(graph: Graph, set_key: str) -> tuple[Item, ...]:
    data = graph.data
    items: list[Item] = []
    budget = budget_of(questions.BEST_ONLY)
    for position in questions.places_of(graph, set_key):
        if budget.over:
            items.insert(
                0, Item(f"no time was left for {data.text('position', position)} and what follows it")
            )
            break
        for row in questions.parts(graph, set_key, position, questions.BEST_ONLY, budget).rows:
            part = row.part or ""
            if row.role in ("original", "alike") and data.kind_of(part) in SMALL:
                items.append(Item(f"{data.text('position', position)}: {_part(data, part)}"))
    return _first(items)


def _part(data: Collection, part: str) -> str:
    said = [data.text("part", part)]
    for thing in data.things["part"].get(part, ()):
        said += [f"{k} {value_text(v)}" for k, v in thing.attributes if k not in ("note", "photo") and v]
        said += [f"{maker} {number}" for maker, number in getattr(thing, "numbers", ())]
    return ", ".join(dict.fromkeys(said))


def _missing(graph: Graph, set_key: str) -> tuple[Item, ...]:
    data = graph.data
    family = {f"s:{set_key}", *(r.set for r in questions.sisters(graph, set_key).rows)}
    of = {key: {f"s:{data.key('set', u.set.key)}" for u in things if getattr(u, "set", None)}  # type: ignore[attr-defined]
          for key, things in data.things["unit"].items()}  # fmt: skip
    count: dict[str, int] = {}
    for look in looks(data):
        if look.state.casefold() in NOT_THERE and of.get(look.unit, set()) & family:
            count[look.position] = count.get(look.position, 0) + 1
    often = sorted(count.items(), key=lambda item: (-item[1], item[0]))
    return _first([Item(f"{data.text('position', p)}: {n} of the units of its family") for p, n in often])


def _givers(graph: Graph, set_key: str) -> tuple[Item, ...]:
    data = graph.data
    places = questions.places_of(graph, set_key)
    shelf = shelf_now(graph)
    own = frozenset(f"s:{unit.set}" for unit in shelf.units.values())
    found = questions.donors(graph, set_key, places, questions.BEST_ONLY, only=own)
    answer = with_units(graph, found, shelf)
    by_unit: dict[tuple[str, str], list[str]] = {}
    for row in answer.rows:
        for unit, state in row.units:
            told = by_unit.setdefault((unit, data.owner_text(row.set)), [])
            place = f"{data.text('position', row.wanted or row.position)} ({state})"
            told += [place] if place not in told else []
    return _first([Item(f"{u}, {s}: {_list(places)}") for (u, s), places in sorted(by_unit.items())])


def _list(places: Iterable[str]) -> str:
    told = list(places)
    return ", ".join(told[:MOST]) + (f" and {len(told) - MOST} more" if len(told) > MOST else "")


def _doubts(graph: Graph, set_key: str) -> tuple[Item, ...]:
    found = doubts.of_set(graph, set_key).found[:5]
    return tuple(Item(render_doubts.to_do(graph.data, d)) for d in found)
