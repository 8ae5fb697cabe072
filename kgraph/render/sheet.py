"""The job sheet of a unit as text, Markdown, HTML or JSON. Computes nothing but words."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from kgraph import records, words
from kgraph.collection import NOT_KNOWN_YET, Collection
from kgraph.events import Event
from kgraph.facts import Fact
from kgraph.money import Money, sums
from kgraph.render.answers import caution_texts, certainty_text, fact_json, percent
from kgraph.render.event_words import event_json, event_says, unit_text
from kgraph.render.plan import set_name
from kgraph.render.printed import page_of
from kgraph.render.sentences import says
from kgraph.render.terminal import visible
from kgraph.render.values import value_text
from kgraph.shelf.conditions import TAKEN
from kgraph.shelf.ledger import Held, Owed
from kgraph.shelf.sheet import FittedArticle, JobSheet, Spent

DEFER = (
    "Local codes come before anything written here, and work on the mains side belongs to those who are "
    "licensed to do it where you live."
)
LINES = 4
"""So many ruled lines for the pen."""
_APART = ("unit", "set", "role", "keep", "state", "wants", "cost", "hours")
_MARKS = re.compile(r"[\\`*_\[\]<>|~&]|^[#+=-]")
"""What Markdown would read as a mark inside a line, or at its start."""
_NUMBERED = re.compile(r"^(\d+)([.)])")


@dataclass(frozen=True, slots=True)
class Item:
    """A line of a section: what is said, and the smaller lines below it."""

    text: str
    below: tuple[str, ...] = ()
    box: bool = False
    """Whether it has a box to tick."""
    photos: tuple[str, ...] = ()
    """The photographs that it rests on, by their paths."""


@dataclass(frozen=True, slots=True)
class PageSection:
    """A heading and its lines; `none` is said where there are none."""

    title: str
    items: tuple[Item, ...]
    none: str = ""
    lines: int = 0
    """So many ruled lines for the pen stand below."""
    dense: bool = False
    """Whether what stands below an item runs on in one line on paper."""


@dataclass(frozen=True, slots=True)
class WrittenPage:
    """A sheet in words: its title, what it is of, and its sections."""

    title: str
    about: tuple[tuple[str, str], ...]
    sections: tuple[PageSection, ...]
    notes: tuple[str, ...]
    photos: tuple[str, ...] = ()
    """The photographs of what the page is of."""
    cautions: tuple[str, ...] = ()
    """The names of the cautions that its first section tells whole."""

    @property
    def all_photos(self) -> tuple[str, ...]:
        """Every photograph that the page shows, once."""
        below = (p for s in self.sections for item in s.items for p in item.photos)
        return tuple(dict.fromkeys([*self.photos, *below]))


def page_in_form(page: WrittenPage, form: str, thumbnails: Mapping[str, bytes]) -> str:
    """A page as `text`, `markdown` or `html`, which shows the thumbnails of its photographs."""
    if form == "html":
        return _html(page, thumbnails)
    forms: Mapping[str, Callable[[WrittenPage], str]] = {"text": _text, "markdown": _markdown}
    return forms[form](page)


# In words -------------------------------------------------------------------------------------


def page(data: Collection, sheet: JobSheet, proof: bool = False) -> WrittenPage:
    """What stands on the sheet, in words, the same for every form. Each fact of a proof stands there once."""
    unit = data.text("unit", sheet.now.unit)
    cautions = caution_texts(data, sheet.cautions)
    facts = _facts(sheet)
    rests = tuple(
        Item(f"({n}) {_fact(data, f, proof)}", photos=photos_of_fact(f))
        for n, f in enumerate(facts.values(), 1)
    )
    still = (*_open(data, sheet, proof), *_doubtful(data, sheet))
    sections = [
        PageSection("Before it is opened", (*(Item(f"{n}: {t}") for n, t in cautions.items()), Item(DEFER))),
        PageSection("How it came in", _found(data, sheet), "Nothing is recorded of its state."),
        PageSection("What was done", _events(data, sheet, proof), "Nothing was taken from it or put in."),
        PageSection(
            "What was fitted, and why it goes there", _fitted(data, sheet, facts), "Nothing was fitted."
        ),
        *([PageSection("What that rests on", rests)] if rests else []),
        PageSection("What remains open", still, "Nothing that is recorded."),
        *([PageSection("What it cost", _spent(data, sheet))] if sheet.spent else []),
        PageSection("By hand", (), lines=LINES),
    ]
    photos = tuple(p for e in sheet.entries for p in records.photos_of(e))
    return WrittenPage(
        f"Job sheet of {unit}", _about(data, sheet, proof), tuple(sections), sheet.notes, photos
    )


def photos_of_fact(fact: Fact) -> tuple[str, ...]:
    """The photographs of all sayings of a fact, each once."""
    return tuple(dict.fromkeys(p for e in fact.evidence for p in e.photos))


def _facts(sheet: JobSheet) -> dict[str, Fact]:
    """Every fact that a proof of the sheet rests on, once, in the order in which they are met."""
    rows = [one.row for one in sheet.fitted if one.row]
    return {f.id: f for row in rows for f in (*row.proof, *row.against)}


def _spent(data: Collection, sheet: JobSheet) -> tuple[Item, ...]:
    each = [
        Item(f"{_spent_on(data, s)}: {_sum_text([s.cost] if s.cost else [], s.hours)}") for s in sheet.spent
    ]
    hours = [s.hours for s in sheet.spent if s.hours is not None]
    total = _sum_text(sums(s.cost for s in sheet.spent if s.cost), math.fsum(hours) if hours else None)
    return (*each, Item(f"in all: {total}"))


def _spent_on(data: Collection, spent: Spent) -> str:
    entry = spent.entry
    return "the set itself" if isinstance(entry, records.Unit) else event_says(data, entry)


def _sum_text(money: Iterable[Money], hours: float | None) -> str:
    worked = [] if hours is None else [f"{hours:g} {'hour' if hours == 1 else 'hours'}"]
    return ", ".join([*map(str, money), *worked])


def _about(data: Collection, sheet: JobSheet, proof: bool) -> tuple[tuple[str, str], ...]:
    now = sheet.now
    role = f"{now.role}: {words.ROLES_OF_UNITS[now.role]}" if now.role else "not said"
    more = [(k, value_text(v)) for e in sheet.entries for k, v in e.pairs if k not in (*_APART, "photo")]
    recorded = [(k, ", ".join(map(value_text, v))) for k, v in _attributes(data, now.set).items()]
    where = ", ".join(f"{e.where.file}:{e.where.line}" for e in sheet.entries)
    return (
        ("set", set_name(data, now.set) or NOT_KNOWN_YET),
        ("role", role),
        *recorded,
        *more,
        *((("written in", where),) if proof else ()),
    )


def _attributes(data: Collection, set_key: str) -> dict[str, list[records.Value]]:
    """What is recorded of a set beside its name, for whoever has the unit in hand."""
    found: dict[str, list[records.Value]] = {}
    for thing in data.things["set"].get(set_key, ()):
        for key, value in thing.attributes:
            if key not in records.SAID_BESIDE:
                found.setdefault(key, []).append(value)
    return found


def _found(data: Collection, sheet: JobSheet) -> tuple[Item, ...]:
    return tuple(Item(f"{data.text('position', p)}: {text}") for p, text in sheet.found)


def _events(data: Collection, sheet: JobSheet, proof: bool) -> tuple[Item, ...]:
    return tuple(
        Item(event_says(data, e) + _said_of(e), _where_of(e, proof), photos=records.photos_of(e))
        for e in sheet.events
    )


def _said_of(event: Event) -> str:
    said = ", ".join(v for v in (f"by {event.by}" if event.by else "", event.note) if v)
    return f" ({said})" if said else ""


def _where_of(event: Event, proof: bool) -> tuple[str, ...]:
    return (f"{event.where.file}:{event.where.line}",) if proof else ()


def _fitted(data: Collection, sheet: JobSheet, facts: Mapping[str, Fact]) -> tuple[Item, ...]:
    number = {ident: n for n, ident in enumerate(facts, 1)}
    return tuple(Item(_fitted_says(data, one), tuple(_evidence(one, number))) for one in sheet.fitted)


def _fitted_says(data: Collection, one: FittedArticle) -> str:
    held, event = one.held, one.event
    place = data.text("position", held.position)
    part = f"{data.text('part', held.part)}, " if held.part else ""
    condition = f", {held.condition}" if held.condition else ""
    if isinstance(event, records.Taken):
        return f"{place}: {part}from {unit_text(data, event.unit.key)}{_made(data, held)}{condition}"
    if isinstance(event, records.Fitted):
        return f"{place}: {part}from stock{condition}"
    source = "from stock or bought" if held.part else "given back"
    return f"{place}: {part}{source}{condition}"


def _made(data: Collection, held: Held) -> str:
    if held.origin is None:
        return ""
    return f", the {data.text('position', held.origin.position)} of {data.owner_text(held.origin.owner)}"


def _evidence(one: FittedArticle, number: Mapping[str, int]) -> list[str]:
    """Why it goes there, the facts by their numbers."""
    row = one.row
    if row is None:
        return ["no fact says that it goes there"]
    by = ", ".join(f"({number[f.id]})" for f in row.proof) or "the same place of the same set"
    said = [f"goes there: {row.standing}, {certainty_text(row)}: {by}"]
    said += [f"work: {w}" for w in row.work]
    said += [f"against it: {', '.join(f'({number[f.id]})' for f in row.against)}"] if row.against else []
    return said + ([f"the sets differ in: {', '.join(row.differs)}"] if row.differs else [])


def _fact(data: Collection, fact: Fact, proof: bool) -> str:
    best = max(fact.evidence, key=lambda e: e.certainty, default=None)
    if best is None:
        return f"{says(data, fact)} ({percent(fact.certainty)}, common practice, no source)"
    who = f"by {best.who}" if best.who else ""
    stands = ", ".join(v for v in (best.source, best.page_text) if v)
    said = ", ".join(v for v in (percent(fact.certainty), best.grade, stands, who, best.date) if v)
    where = f"; {best.where.file}:{best.where.line}" if proof else ""
    return f"{says(data, fact)} ({said}{where})"


def _open(data: Collection, sheet: JobSheet, proof: bool) -> tuple[Item, ...]:
    wants = [Item(f"wanted: {data.text('position', p)}", box=True) for p in sheet.now.wants]
    rest = [h for h in sheet.left if h.position not in sheet.now.wants]
    lacks = [Item(f"{data.text('position', h.position)}: {_lack(h)}", box=True) for h in rest]
    owed = [Item(f"is owed: {_owed_text(data, o)}", _where_of(o.event, proof), box=True) for o in sheet.owed]
    owes = [
        Item(f"owes {data.text('unit', o.unit)}: {_owed_text(data, o)}", _where_of(o.event, proof), box=True)
        for o in sheet.owes
    ]
    return (*wants, *lacks, *owed, *owes)


def _owed_text(data: Collection, owed: Owed) -> str:
    return data.text("position", owed.position) + _said_of(owed.event)


def _lack(held: Held) -> str:
    event = held.event
    if held.condition == TAKEN and event is not None:
        return f"taken out{f', {event.date}' if event.date else ''}, nothing put in since"
    return held.condition


def _doubtful(data: Collection, sheet: JobSheet) -> tuple[Item, ...]:
    return tuple(
        Item(f"in doubt: {data.text('position', d.position)}: {d.says}", box=True) for d in sheet.doubts
    )


# Forms ----------------------------------------------------------------------------------------


def _text(page: WrittenPage) -> str:
    import textwrap

    def lines(text: str, indent: str) -> str:
        made = textwrap.wrap(visible(text), 90, initial_indent=indent, subsequent_indent=indent + "  ")
        return "\n".join(made)

    out = [visible(page.title), "=" * len(visible(page.title)), ""]
    out += [lines(f"{k}: {v}", "") for k, v in page.about]
    out += [lines(f"photo: {p}", "") for p in page.photos]
    for section in page.sections:
        out += ["", section.title, "-" * len(section.title)]
        out += [] if section.items or section.lines else [section.none]
        for item in section.items:
            box = "[ ] " if item.box else ""
            out += [lines(box + item.text, "  "), *(lines(b, "      ") for b in item.below)]
            out += [lines(f"photo: {p}", "      ") for p in item.photos]
        out += ["", "_" * 90] * section.lines
    out += ["", *(lines(note, "") for note in page.notes)] if page.notes else []
    return "\n".join(out) + "\n"


def _markdown(page: WrittenPage) -> str:
    """CommonMark; every mark in a text of the data is escaped, so that it stays a text."""

    def plain(text: str) -> str:
        return _NUMBERED.sub(r"\1\\\2", _MARKS.sub(r"\\\g<0>", visible(text).strip()))

    out = [f"# {plain(page.title)}", "", *(f"- {plain(k)}: {plain(v)}" for k, v in page.about)]
    out += [f"- photo: {plain(p)}" for p in page.photos]
    for section in page.sections:
        out += ["", f"## {section.title}", ""]
        out += [] if section.items or section.lines else [section.none]
        for item in section.items:
            box = "[ ] " if item.box else ""
            out += [f"- {box}{plain(item.text)}", *(f"  - {plain(b)}" for b in item.below)]
            out += [f"  - photo: {plain(p)}" for p in item.photos]
        out += ["", "---"] * section.lines
    out += ["", *(f"*{plain(note)}*  " for note in page.notes)] if page.notes else []
    return "\n".join(out) + "\n"


def _html(page: WrittenPage, thumbnails: Mapping[str, bytes]) -> str:
    import base64

    # Bytes of our own making, as text that can hold no mark of HTML.
    inline = {p: f"data:image/jpeg;base64,{base64.b64encode(d).decode()}" for p, d in thumbnails.items()}
    return page_of("sheet.html", page.title, pictures=True, page=page, inline=inline)


# JSON -----------------------------------------------------------------------------------------


def as_json(data: Collection, sheet: JobSheet) -> dict[str, Any]:
    """The sheet as one object."""
    now = sheet.now
    return {
        "question": {"command": "sheet", "unit": data.text("unit", now.unit)},
        "unit": data.text("unit", now.unit),
        "set": set_name(data, now.set),
        "role": now.role or None,
        "found": {data.text("position", p): text for p, text in sheet.found},
        "done": [event_json(data, e) for e in sheet.events],
        "fitted": [_fitted_json(data, one) for one in sheet.fitted],
        "open": {
            "wants": [data.text("position", p) for p in now.wants],
            "lacks": {data.text("position", h.position): _lack(h) for h in sheet.left},
        },
        "doubtful": [{"position": data.text("position", d.position), "says": d.says} for d in sheet.doubts],
        "spent": [_spent_json(data, s) for s in sheet.spent],
        "cost": [str(m) for m in sums(s.cost for s in sheet.spent if s.cost)],
        "hours": math.fsum(s.hours for s in sheet.spent if s.hours is not None),
        "cautions": list(sheet.cautions),
        "caution texts": caution_texts(data, sheet.cautions),
        "defer": DEFER,
        "notes": list(sheet.notes),
    }


def _fitted_json(data: Collection, one: FittedArticle) -> dict[str, Any]:
    row, held, event = one.row, one.held, one.event
    return {
        "position": data.text("position", held.position),
        "from": unit_text(data, event.unit.key) if isinstance(event, records.Taken) else None,
        "made for": data.owner_text(held.origin.owner) if held.origin else None,
        "part": data.text("part", held.part) if held.part else None,
        "condition": held.condition or None,
        "event": event_json(data, event),
        "standing": row.standing if row else None,
        "certainty": row.certainty if row else None,
        "work": list(row.work) if row else [],
        "proof": [fact_json(data, f) for f in row.proof] if row else [],
        "against": [fact_json(data, f) for f in row.against] if row else [],
        "warnings": list(row.warnings) if row else [],
    }


def _spent_json(data: Collection, spent: Spent) -> dict[str, Any]:
    cost = str(spent.cost) if spent.cost else None
    where = spent.entry.where
    return {
        "for": _spent_on(data, spent),
        "cost": cost,
        "hours": spent.hours,
        "file": where.file,
        "line": where.line,
    }
