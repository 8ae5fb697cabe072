"""One page to read before the back comes off, in words: the same for text, Markdown and HTML."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any

from kgraph import doubts, questions, records
from kgraph.collection import Collection
from kgraph.fits.graph import Graph
from kgraph.names import listed
from kgraph.questions.answer import DEFAULT, Wanted
from kgraph.questions.asked import budget_of
from kgraph.questions.faults import COMMON_BASIS, NOT_THERE, FaultRow, Faults, faults
from kgraph.questions.unit_looks import looks, owners_of_unit
from kgraph.reason.budget import Budget
from kgraph.render import doubts as render_doubts
from kgraph.render.answers import caution_texts, certainty_text, weighed_text
from kgraph.render.faults import counted_text
from kgraph.render.sheet import DEFER, Item, PageSection, WrittenPage, photos_of_fact
from kgraph.render.values import value_text
from kgraph.shelf.ledger import shelf_now
from kgraph.shelf.offers import is_usable
from kgraph.shelf.owned import with_units
from kgraph.shelf.task import Article

ALWAYS = ("mains", "charged capacitors", "leaking cells")
"""Cautions that hold before any set is opened: common practice, no source."""
SMALL = frozenset(
    {"belt", "tyre", "pinchroller", "oring", "fuse", "lamp", "screw", "nut", "washer", "circlip", "cell"}
)
"""Kinds of part to have at hand before a set is opened: common practice, no source."""
MOST = 8
"""So many lines of a section, that the page stays one; the rest is counted."""
COMMON = 7
"""So many of what every bench checks where little is recorded."""
FEWEST = 4
"""So many sisters, and places of a unit; of what every bench checks at least half as many."""
MOST_GIVERS = 6
"""So many own units that could give something."""


def page(graph: Graph, set_key: str, unit: str = "", wanted: Wanted = DEFAULT) -> WrittenPage:
    """The page of a set, or of one unit of it; what is doubtful is told where answers are weighed."""
    data, limit = graph.data, budget_of(wanted)
    found = faults(graph, set_key, wanted=wanted)
    called = data.text("set", set_key)
    title = f"{data.text('unit', unit)}, {called}" if unit else called
    cautions = tuple(dict.fromkeys([*ALWAYS, *(c for r in found.rows for c in r.cautions)]))
    missing = _missing(graph, set_key)
    told = [f"{data.text('position', p)}: {n} of the units of its family" for p, n in missing.items()]
    often = _first([Item(text) for text in told])
    givers, late = _givers(graph, set_key, unit, missing, limit)
    at_hand = _at_hand(graph, set_key, limit)
    sections = [
        PageSection("Before the back comes off", _cautions(data, cautions)),
        *_checks(data, found),
        PageSection("To have at hand", at_hand, "No belts or small parts are recorded of it."),
        PageSection("What is often missing", often, "No unit was found without a place."),
        PageSection("Which own units could give it", givers, "None that is recorded."),
    ]
    if wanted.seconds:
        doubtful = doubts.of_set(graph, set_key, budget_of(doubts.WEIGHED).within(limit))
        late += doubtful.late
        items = tuple(Item(render_doubts.to_do(data, d)) for d in doubtful.found[:FEWEST])
        sections.append(PageSection("What is doubtful, and cheap to settle now", items, "Nothing recorded."))
    own = [*data.things["set"].get(set_key, ()), *(data.things["unit"].get(unit, ()) if unit else ())]
    photos = tuple(dict.fromkeys(p for thing in own for p in records.photos_of(thing)))
    about = _about(graph, set_key, wanted)
    return WrittenPage(
        f"Before opening: {title}",
        about,
        tuple(sections),
        (*found.notes, *dict.fromkeys(late)),
        photos,
        cautions,
    )


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


def _first(items: list[Item], most: int = MOST) -> tuple[Item, ...]:
    rest = [Item(f"and {len(items) - most} more")] if len(items) > most else []
    return (*items[:most], *rest)


def _about(graph: Graph, set_key: str, wanted: Wanted) -> tuple[tuple[str, str], ...]:
    data = graph.data
    told: dict[str, list[str]] = {}
    for thing in data.things["set"].get(set_key, ()):
        for key, value in thing.attributes:
            if key not in records.SAID_BESIDE:
                told.setdefault(key, []).append(value_text(value))
    rows = questions.sisters(graph, set_key, wanted).rows
    sisters = _list(f"{data.owner_text(r.set)} ({certainty_text(r)})" for r in rows)
    recorded = [(key, ", ".join(dict.fromkeys(values))) for key, values in told.items()]
    return (("set", data.text("set", set_key)), *recorded, ("sisters", sisters or "none recorded"))


def _cautions(data: Collection, names: Iterable[str]) -> tuple[Item, ...]:
    texts = caution_texts(data, names)
    return (*(Item(f"{n}: {t}") for n, t in texts.items()), Item(DEFER))


def _checks(data: Collection, found: Faults) -> Iterator[PageSection]:
    """What was recorded or counted, then as much of what every bench knows as there is room for."""
    by_fault: dict[str, list[FaultRow]] = {}
    for row in found.rows:
        by_fault.setdefault(row.fault or "", []).append(row)
    own = [rows for rows in by_fault.values() if any(map(_is_own, rows))]
    common = [rows for rows in by_fault.values() if not any(map(_is_own, rows))]
    if own:
        shown = _first([_check(data, rows) for rows in own])
        yield PageSection("What to check, the most often found first", shown, dense=True)
    title = "What every bench checks (common practice, no source)"
    shown = _first([_check(data, rows) for rows in common], max(COMMON - len(own), FEWEST // 2))
    yield PageSection(title if own else f"What to check: {title[0].lower()}{title[1:]}", shown, dense=True)


def _is_own(row: FaultRow) -> bool:
    """Whether a fault is recorded in the folder or was found on a unit."""
    return row.basis != COMMON_BASIS or bool(row.counted[0])


def _check(data: Collection, rows: list[FaultRow]) -> Item:
    row = rows[0]
    places = ", ".join(
        f"{data.text('position', r.position)}{f', {counted_text(r)}' if r.counted[1] else ''}" for r in rows
    )
    sure = "" if row.certainty is None else f" ({weighed_text(row.certainty, row.weighed)})"
    told = (("look", row.check), ("signs", ", ".join(row.signs)), ("cure", row.cure))
    return Item(
        f"{row.fault}: {places}{sure}",
        tuple(f"{key}: {text}" for key, text in told if text),
        photos=_photos(rows),
    )


def _photos(rows: list[FaultRow]) -> tuple[str, ...]:
    """The photographs of the facts that a fault rests on."""
    return tuple(dict.fromkeys(p for row in rows for fact in row.proof for p in photos_of_fact(fact)))


def _at_hand(graph: Graph, set_key: str, limit: Budget) -> tuple[Item, ...]:
    data = graph.data
    items: list[Item] = []
    budget = budget_of(questions.BEST_ONLY).within(limit)
    for position in questions.places_of(graph, set_key):
        if budget.late:
            items.insert(
                0, Item(f"no time was left for {data.text('position', position)} and what follows it")
            )
            break
        for row in questions.parts(graph, set_key, position, questions.BEST_ONLY, budget).rows:
            part = row.part or ""
            if row.role in ("original", "alike") and data.kind_of(part) in SMALL:
                items.append(Item(f"{data.text('position', position)}: {_part(data, part)}"))
    return _first(items)


_NOT_TOLD = records.SAID_BESIDE | {"note"}


def _part(data: Collection, part: str) -> str:
    said = [data.text("part", part)]
    for thing in data.things["part"].get(part, ()):
        said += [f"{k} {value_text(v)}" for k, v in thing.attributes if k not in _NOT_TOLD and v]
        said += [f"{maker} {number}" for maker, number in getattr(thing, "numbers", ())]
    return ", ".join(dict.fromkeys(said))


def _missing(graph: Graph, set_key: str) -> dict[str, int]:
    """Position -> how many units of the family were found without it, the most often missing first."""
    data = graph.data
    family = {f"s:{set_key}", *(r.set for r in questions.sisters(graph, set_key, questions.BEST_ONLY).rows)}
    found = {
        (look.position, look.unit)
        for look in looks(data)
        if look.state.casefold() in NOT_THERE and not family.isdisjoint(owners_of_unit(data, look.unit))
    }
    count = Counter(position for position, _ in found)
    return dict(sorted(count.items(), key=lambda item: (-item[1], item[0])))


def _givers(
    graph: Graph, set_key: str, unit: str, missing: Iterable[str], limit: Budget
) -> tuple[tuple[Item, ...], tuple[str, ...]]:
    """The own units that can give what is often missing and what the unit wants; else whatever they can.

    And what there was no time for.
    """
    data, shelf = graph.data, shelf_now(graph)
    wanted = [*missing, *(shelf.units[unit].wants if unit else ())]
    places = list(dict.fromkeys(wanted)) or questions.places_of(graph, set_key)
    own = frozenset(f"s:{one.set}" for key, one in shelf.units.items() if key != unit)
    budget = budget_of(questions.BEST_ONLY).within(limit)
    answer = questions.donors(graph, set_key, places, questions.BEST_ONLY, only=own, budget=budget)
    found = with_units(graph, answer, shelf)
    unit_keys = {data.text("unit", key): key for key in shelf.units}
    by_unit: dict[tuple[str, str], list[str]] = {}
    for row in found.rows:
        for name, state in row.units:
            place = f"{data.text('position', row.wanted or row.position)} ({state})"
            told = by_unit.setdefault((name, data.owner_text(row.set)), [])
            whole = unit_keys[name] != unit and is_usable(shelf, Article(unit_keys[name], row.position))
            told += [place] if whole and place not in told else []
    given = {of: places for of, places in by_unit.items() if places}
    items = [Item(f"{name}, {of}: {_list(places)}") for (name, of), places in sorted(given.items())]
    return _first(items, MOST_GIVERS), answer.late


def _list(texts: Iterable[str]) -> str:
    return listed(list(texts), FEWEST)
