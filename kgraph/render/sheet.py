"""The job sheet of a unit as text, Markdown, HTML or JSON. Computes nothing but words."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from kgraph import records, words
from kgraph.collection import NOT_KNOWN_YET
from kgraph.facts import Fact
from kgraph.render.answers import caution_texts, certainty_text, fact_json, percent
from kgraph.render.plan import set_name
from kgraph.render.sentences import says
from kgraph.render.shelf import event_json, event_says, unit_text
from kgraph.render.terminal import visible
from kgraph.render.values import value_text
from kgraph.shelf.ledger import TAKEN, Event, Held
from kgraph.shelf.sheet import Fitted, Sheet
from kgraph.source.facts import Names

DEFER = (
    "Local codes come before anything written here, and work on the mains side belongs to those who are "
    "licensed to do it where you live."
)
_APART = ("unit", "set", "role", "keep", "state", "wants")
_MARKS = re.compile(r"[\\`*_\[\]<>|~&]|^[#+=-]")
"""What Markdown would read as a mark inside a line, or at its start."""
_NUMBERED = re.compile(r"^(\d+)([.)])")


@dataclass(frozen=True, slots=True)
class Item:
    """A line of a section: what is said, and the smaller lines below it."""

    text: str
    below: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and its lines; `none` is said where there are none."""

    title: str
    items: tuple[Item, ...]
    none: str = ""


@dataclass(frozen=True, slots=True)
class Page:
    """A sheet in words: its title, what it is of, and its sections."""

    title: str
    about: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    notes: tuple[str, ...]


def in_form(data: Names, sheet: Sheet, form: str) -> str:
    """The sheet as `text`, `markdown` or `html`."""
    forms: Mapping[str, Callable[[Page], str]] = {"text": _text, "markdown": _markdown, "html": _html}
    return forms[form](page(data, sheet))


# In words -------------------------------------------------------------------------------------


def page(data: Names, sheet: Sheet) -> Page:
    """What stands on the sheet, in words, the same for every form."""
    unit = data.text("unit", sheet.now.unit)
    cautions = caution_texts(data, sheet.cautions)
    sections = (
        Section("Before it is opened", (*(Item(f"{n}: {t}") for n, t in cautions.items()), Item(DEFER))),
        Section("How it came in", _found(data, sheet), "Nothing is recorded of its state."),
        Section("What was done", _events(data, sheet), "Nothing was taken from it or put in."),
        Section("What was fitted, and why it goes there", _fitted(data, sheet), "Nothing was fitted."),
        Section("What remains open", _open(data, sheet), "Nothing that is recorded."),
        Section("What is doubtful", _doubtful(data, sheet), "Nothing that is recorded."),
    )
    return Page(f"Job sheet of {unit}", _about(data, sheet), sections, sheet.notes)


def _about(data: Names, sheet: Sheet) -> tuple[tuple[str, str], ...]:
    now = sheet.now
    role = f"{now.role}: {words.ROLES_OF_UNITS[now.role]}" if now.role else "not said"
    more = [(k, value_text(v)) for e in sheet.entries for k, v in e.pairs if k not in _APART]
    recorded = [(k, ", ".join(map(value_text, v))) for k, v in _attributes(data, now.set).items()]
    where = ", ".join(f"{e.where.file}:{e.where.line}" for e in sheet.entries)
    return (
        ("set", set_name(data, now.set) or NOT_KNOWN_YET),
        ("role", role),
        *recorded,
        *more,
        ("written in", where),
    )


def _attributes(data: Names, set_key: str) -> dict[str, list[records.Value]]:
    """What is recorded of a set beside its name, for whoever has the unit in hand."""
    found: dict[str, list[records.Value]] = {}
    for thing in data.things["set"].get(set_key, ()):
        for key, value in thing.attributes:
            found.setdefault(key, []).append(value)
    return found


def _found(data: Names, sheet: Sheet) -> tuple[Item, ...]:
    return tuple(Item(f"{data.text('position', p)}: {text}") for p, text in sheet.found)


def _events(data: Names, sheet: Sheet) -> tuple[Item, ...]:
    return tuple(Item(event_says(data, e), tuple(_of_event(e))) for e in sheet.events)


def _of_event(event: Event) -> list[str]:
    said = ", ".join(v for v in (f"by {event.by}" if event.by else "", event.note) if v)
    return [*([said] if said else []), f"{event.where.file}:{event.where.line}"]


def _fitted(data: Names, sheet: Sheet) -> tuple[Item, ...]:
    return tuple(Item(_fitted_says(data, one), tuple(_evidence(data, one))) for one in sheet.fitted)


def _fitted_says(data: Names, one: Fitted) -> str:
    held, event = one.held, one.event
    place = data.text("position", held.position)
    part = f"{data.text('part', held.part)}, " if held.part else ""
    condition = f", {held.condition}" if held.condition else ""
    if isinstance(event, records.Taken):
        return f"{place}: {part}from {unit_text(data, event.unit.key)}{_made(data, held)}{condition}"
    source = "from stock or bought" if held.part else "given back"
    return f"{place}: {part}{source}{condition}"


def _made(data: Names, held: Held) -> str:
    if held.origin is None:
        return ""
    return f", the {data.text('position', held.origin.position)} of {data.owner_text(held.origin.owner)}"


def _evidence(data: Names, one: Fitted) -> list[str]:
    row = one.row
    if row is None:
        return ["no fact says that it goes there"]
    said = [f"goes there: {row.standing}, {certainty_text(row)}"]
    said += [f"work: {w}" for w in row.work]
    said += [_fact(data, f) for f in row.proof] or ["the same place of the same set"]
    said += [f"against it: {_fact(data, f)}" for f in row.against]
    return said + ([f"the sets differ in: {', '.join(row.differs)}"] if row.differs else [])


def _fact(data: Names, fact: Fact) -> str:
    best = max(fact.evidence, key=lambda e: e.certainty, default=None)
    if best is None:
        return f"{says(data, fact)} ({percent(fact.certainty)}, common practice, no source)"
    # A source such as "bench book, EV" has said already who it was.
    who = f"by {best.by}" if best.by and best.by not in best.source.split(", ") else ""
    said = ", ".join(v for v in (percent(fact.certainty), best.grade, best.source, who, best.date) if v)
    return f"{says(data, fact)} ({said}; {best.where.file}:{best.where.line})"


def _open(data: Names, sheet: Sheet) -> tuple[Item, ...]:
    wants = [Item(f"wanted: {data.text('position', p)}") for p in sheet.now.wants]
    rest = [h for h in sheet.left if h.position not in sheet.now.wants]
    lacks = [Item(f"{data.text('position', h.position)}: {_lack(h)}") for h in rest]
    owed = [
        Item(f"is owed: {data.text('position', o.position)}", tuple(_of_event(o.event))) for o in sheet.owed
    ]
    owes = [
        Item(
            f"owes {data.text('unit', o.unit)}: {data.text('position', o.position)}",
            tuple(_of_event(o.event)),
        )
        for o in sheet.owes
    ]
    return (*wants, *lacks, *owed, *owes)


def _lack(held: Held) -> str:
    event = held.event
    if held.condition == TAKEN and event is not None:
        return f"taken out{f', {event.date}' if event.date else ''}, nothing put in since"
    return held.condition


def _doubtful(data: Names, sheet: Sheet) -> tuple[Item, ...]:
    return tuple(Item(f"{data.text('position', d.position)}: {d.says}") for d in sheet.doubts)


# Forms ----------------------------------------------------------------------------------------


def _text(page: Page) -> str:
    import textwrap

    def lines(text: str, indent: str) -> str:
        made = textwrap.wrap(visible(text), 90, initial_indent=indent, subsequent_indent=indent + "  ")
        return "\n".join(made)

    out = [visible(page.title), "=" * len(visible(page.title)), ""]
    out += [lines(f"{k}: {v}", "") for k, v in page.about]
    for section in page.sections:
        out += ["", section.title, "-" * len(section.title)]
        out += [] if section.items else [section.none]
        for item in section.items:
            out += [lines(item.text, "  "), *(lines(b, "      ") for b in item.below)]
    out += ["", *(lines(note, "") for note in page.notes)] if page.notes else []
    return "\n".join(out) + "\n"


def _markdown(page: Page) -> str:
    """CommonMark; every mark in a text of the data is escaped, so that it stays a text."""

    def plain(text: str) -> str:
        return _NUMBERED.sub(r"\1\\\2", _MARKS.sub(r"\\\g<0>", visible(text).strip()))

    out = [f"# {plain(page.title)}", "", *(f"- {plain(k)}: {plain(v)}" for k, v in page.about)]
    for section in page.sections:
        out += ["", f"## {section.title}", ""]
        out += [] if section.items else [section.none]
        for item in section.items:
            out += [f"- {plain(item.text)}", *(f"  - {plain(b)}" for b in item.below)]
    out += ["", *(f"*{plain(note)}*  " for note in page.notes)] if page.notes else []
    return "\n".join(out) + "\n"


def _html(page: Page) -> str:
    import jinja2

    templates = jinja2.Environment(
        loader=jinja2.PackageLoader("kgraph.render", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        finalize=lambda v: visible(v) if isinstance(v, str) else v,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return templates.get_template("sheet.html").render(page=page).rstrip() + "\n"


# JSON -----------------------------------------------------------------------------------------


def as_json(data: Names, sheet: Sheet) -> dict[str, Any]:
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
        "cautions": list(sheet.cautions),
        "caution texts": caution_texts(data, sheet.cautions),
        "defer": DEFER,
        "notes": list(sheet.notes),
    }


def _fitted_json(data: Names, one: Fitted) -> dict[str, Any]:
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
