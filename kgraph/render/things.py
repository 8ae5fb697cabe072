"""What is known of a thing or a fact, as text and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from kgraph import records
from kgraph.collection import NOT_KNOWN_YET, Collection
from kgraph.collection.fact_ids import thing_id, written_id
from kgraph.events import Event, withdrawn_events
from kgraph.facts import Evidence, Fact
from kgraph.lookup import KnownThing, NearName
from kgraph.questions import SCALE_NOTE
from kgraph.render import below
from kgraph.render.answers import fact_json, left_out, percent
from kgraph.render.event_words import event_json, event_says
from kgraph.render.plan import lies_in
from kgraph.render.sentences import says
from kgraph.render.shelf import held_json, held_text, made_for
from kgraph.render.terminal import table, visible
from kgraph.render.values import value_text
from kgraph.shelf.ledger import Held, UnitNow, is_known


def entry_json(entry: records.Entry) -> dict[str, Any]:
    """An entry as it is written, with its place; of a thing also the id by which it can be taken back."""
    pairs = {k: records.plain(v) for k, v in entry.pairs}
    told = {"entry": pairs, "file": entry.where.file, "line": entry.where.line}
    return {**told, "id": thing_id(entry)} if isinstance(entry, records.Thing) else told


def as_json(
    data: Collection, name: str, known: list[KnownThing], fact: Fact | None, event: Event | None = None
) -> dict[str, Any]:
    """All that is known, under `answers`: one object for each thing of that name, a fact or an event."""
    answers = [_fact_answer(data, fact)] if fact else [_thing_json(data, k) for k in known]
    answers = [{"kind": event.kind, **event_json(data, event)}] if event else answers
    notes = [SCALE_NOTE] if weighs(known, fact) else []
    return {"question": {"command": "show", "name": name}, "answers": answers, "notes": notes}


def weighs(known: Sequence[KnownThing], fact: Fact | None) -> bool:
    """Whether what is shown tells a certainty."""
    return fact is not None or any(k.facts for k in known)


def found_json(text: str, found: Sequence[NearName], most: int | None = None) -> dict[str, Any]:
    """The names near a text; at most `most` of them."""
    shown = found[:most]
    rows = [{"kind": f.kind, "name": f.name, "met": f.met, "by": f.by} for f in shown]
    notes = [left_out(len(found) - len(shown))] if len(found) > len(shown) else []
    return {"question": {"command": "find", "text": text}, "answers": rows, "notes": notes}


def found_text(found: Sequence[NearName], terminal: bool) -> str:
    """The names near a text as a table."""
    cells = [[f.kind, f.name, f.met, f.by if f.by != f.name else ""] for f in found]
    return table(("kind", "name", "match", "written"), cells, terminal)


def _thing_json(data: Collection, known: KnownThing) -> dict[str, Any]:
    out = _common_json(data, known)
    if known.unit:
        held = [h for h in known.unit.places.values() if h.condition or h.event]
        out["history"] = [event_json(data, e) for e in known.history]
        out["withdrawn"] = [{**event_json(data, e), "withdraw": entry_json(by)} for e, by in known.withdrawn]
        out["places"] = [held_json(data, h) for h in held]
        out["wants"] = [data.text("position", p) for p in known.unit.wants]
        out["met"] = [data.text("position", p) for p in known.unit.met]
    if known.left is not None:
        out["left"] = known.left
        out["where"] = lies_in(data, known.key) or None
    return out


def _common_json(data: Collection, known: KnownThing) -> dict[str, Any]:
    return {
        "kind": known.kind,
        "name": known.name,
        "also": [n.text for t in known.things for n in t.also],
        "entries": [entry_json(t) for t in known.things],
        "withdrawn entries": [{**entry_json(t), "withdraw": entry_json(by)} for t, by in known.taken_back],
        "facts": [fact_json(data, f) for f in known.facts],
        "withdrawn facts": [{**fact_json(data, f), "withdraw": entry_json(by)} for f, by in known.gone],
        "mentions": [entry_json(e) for e in known.mentions],
        **below.as_json(data, known),
    }


def _fact_answer(data: Collection, fact: Fact) -> dict[str, Any]:
    withdrawn = data.withdrawn.get(fact.id)
    out = {"kind": fact.kind, **fact_json(data, fact), "withdrawn": withdrawn is not None}
    if withdrawn:
        out["withdraw"] = entry_json(withdrawn[1])
    if told := data.told_otherwise.get(fact.id):
        out["told otherwise"] = [fact_json(data, f) for f in told]
    return out


def as_text(data: Collection, known: KnownThing) -> str:
    """All that is known of a thing, for a person."""
    lines = [f"{known.kind} {visible(known.name)}"]
    for thing in known.things:
        lines += [f"  {visible(k)}: {visible(value_text(v))}" for k, v in thing.pairs[1:]]
        lines.append(f"  in {visible(thing.where.file)}:{thing.where.line}, id {thing_id(thing)}")
    lines += [_gone_line(thing_id(thing), thing_says(thing), by) for thing, by in known.taken_back]
    if not known.things and not known.ground:
        where = "left out of" if known.kind == "feature" else "used in"
        lines.append(f"  not declared; {where} the facts below")
    lines += below.lines(data, known)
    lines += [_fact_line(data, f) for f in known.facts]
    lines += [_gone_line(f.id, says(data, f), by) for f, by in known.gone]
    lines += [_mention(e) for e in known.mentions]
    lines += _shelf_lines(data, known)
    return "\n".join(lines) + "\n"


def thing_says(entry: records.Entry) -> str:
    """All that an entry says, on one line."""
    return ", ".join(f"{k}: {value_text(v)}" for k, v in entry.pairs)


def _gone_line(one: str, said: str, by: records.Withdraw) -> str:
    why = f" ({by.why})" if by.why else ""
    return f"  {visible(one)}  {visible(f'withdrawn{why} at {by.where.file}:{by.where.line}: {said}')}"


def _shelf_lines(data: Collection, known: KnownThing) -> list[str]:
    """Of a unit its history and what is at its places now; of loose parts what is left and where it lies."""
    if known.left is not None:
        where = lies_in(data, known.key)
        return [f"  left: {known.left}" + (f", in {visible(where)}" if where else "")]
    if known.unit is None:
        return []
    lines = [] if is_known(known.unit.set) else [f"  {NOT_KNOWN_YET}"]
    lines += ["  history:"] if known.history or known.withdrawn else []
    lines += [f"    {_event_line(data, e)}" for e in known.history]
    lines += [f"    withdrawn ({visible(by.why)}): {_event_line(data, e)}" for e, by in known.withdrawn]
    held = [h for h in known.unit.places.values() if h.condition or h.event]
    lines += ["  now:"] if held else []
    lines += [f"    {visible(_held_line(data, known.unit, h))}" for h in held]
    wants = ", ".join(data.text("position", p) for p in known.unit.wants)
    return [*lines, *([f"  still wants: {visible(wants)}"] if wants else [])]


def _event_line(data: Collection, event: Event) -> str:
    said = ", ".join(v for v in (f"by {event.by}" if event.by else "", event.note) if v)
    ident = event.own_id.strip() or written_id(event)
    text = event_says(data, event) + (f" ({said})" if said else "")
    return f"{visible(ident)}  {visible(text)}  {visible(event.where.file)}:{event.where.line}"


def event_text(data: Collection, event: Event) -> str:
    """One event of the shelf, for a person."""
    back = [by for e, by in withdrawn_events(data) if e is event]
    lines = [f"event {_event_line(data, event)}"]
    lines += [f"  withdrawn: {visible(by.why)} {visible(by.where.file)}:{by.where.line}" for by in back]
    return "\n".join(lines) + "\n"


def _held_line(data: Collection, now: UnitNow, held: Held) -> str:
    made = made_for(data, now.set, held)
    return f"{data.text('position', held.position)}: {held_text(held)}" + (f", {made}" if made else "")


def _fact_line(data: Collection, fact: Fact) -> str:
    where = f"{fact.where.file}:{fact.where.line}" if fact.where else ""
    return f"  {fact.id}  {percent(fact.certainty):>6}  {visible(says(data, fact))}  {visible(where)}"


def _mention(entry: records.Entry) -> str:
    return f"  {visible(thing_says(entry))}  {visible(entry.where.file)}:{entry.where.line}"


def fact_text(data: Collection, fact: Fact) -> str:
    """One fact with all its evidence."""
    lines = [f"fact {fact.id}", f"  {visible(says(data, fact))}", f"  certainty {percent(fact.certainty)}"]
    lines += [_evidence(e) for e in fact.evidence]
    lines += [f"  told so:{_fact_line(data, f)}" for f in data.told_otherwise.get(fact.id, ())]
    if fact.id in data.withdrawn:
        by = data.withdrawn[fact.id][1]
        lines.append(f"  withdrawn: {visible(by.why)} {visible(by.where.file)}:{by.where.line}")
    return "\n".join(lines) + "\n"


def _evidence(e: Evidence) -> str:
    said = ", ".join(v for v in (e.told, e.note, e.pictured) if v)
    return f"  {percent(e.certainty):>6}  {visible(said)}  {visible(e.where.file)}:{e.where.line}"
