"""What is known of a thing or a fact, as text and as JSON."""

from __future__ import annotations

from typing import Any

from kgraph import records
from kgraph.collection import Collection, Evidence, Fact
from kgraph.lookup import Known
from kgraph.render.answers import fact_json, percent
from kgraph.render.sentences import says
from kgraph.render.terminal import visible


def value_json(value: records.Value) -> Any:
    """A recorded value as JSON: text, list or object."""
    if isinstance(value, str):
        return value
    if isinstance(value, tuple):
        return [value_json(v) for v in value]
    return {k: value_json(v) for k, v in value.items()}


def value_text(value: records.Value) -> str:
    """A recorded value on one line."""
    if isinstance(value, str):
        return value
    if isinstance(value, tuple):
        return ", ".join(value_text(v) for v in value)
    return ", ".join(f"{k}: {value_text(v)}" for k, v in value.items())


def entry_json(entry: records.Entry) -> dict[str, Any]:
    """An entry as it is written, with its place."""
    pairs = {k: value_json(v) for k, v in entry.pairs}
    return {"entry": pairs, "file": entry.where.file, "line": entry.where.line}


def as_json(data: Collection, name: str, known: list[Known], fact: Fact | None) -> dict[str, Any]:
    """All that is known, under `answers`: one object for each thing of that name."""
    answers = [_fact_answer(data, fact)] if fact else [_thing_json(data, k) for k in known]
    return {"question": {"command": "show", "name": name}, "answers": answers, "notes": []}


def _thing_json(data: Collection, known: Known) -> dict[str, Any]:
    return {
        "kind": known.kind,
        "name": known.name,
        "also": [n.text for t in known.things for n in t.also],
        "entries": [entry_json(t) for t in known.things],
        "facts": [fact_json(data, f) for f in known.facts],
        "mentions": [entry_json(e) for e in known.mentions],
    }


def _fact_answer(data: Collection, fact: Fact) -> dict[str, Any]:
    withdrawn = data.withdrawn.get(fact.id)
    out = {"kind": fact.kind, **fact_json(data, fact), "withdrawn": withdrawn is not None}
    if withdrawn:
        out["withdraw"] = entry_json(withdrawn[1])
    return out


def as_text(data: Collection, known: Known) -> str:
    """All that is known of a thing, for a person."""
    lines = [f"{known.kind} {visible(known.name)}"]
    for thing in known.things:
        lines += [f"  {visible(k)}: {visible(value_text(v))}" for k, v in thing.pairs[1:]]
        lines.append(f"  in {visible(thing.where.file)}:{thing.where.line}")
    if not known.things:
        lines.append("  not declared; used in the facts below")
    lines += [_fact_line(data, f) for f in known.facts]
    lines += [_mention(e) for e in known.mentions]
    return "\n".join(lines) + "\n"


def _fact_line(data: Collection, fact: Fact) -> str:
    where = f"{fact.where.file}:{fact.where.line}" if fact.where else ""
    return f"  {fact.id}  {percent(fact.certainty):>6}  {visible(says(data, fact))}  {visible(where)}"


def _mention(entry: records.Entry) -> str:
    said = ", ".join(f"{k}: {value_text(v)}" for k, v in entry.pairs)
    return f"  {visible(said)}  {visible(entry.where.file)}:{entry.where.line}"


def fact_text(data: Collection, fact: Fact) -> str:
    """One fact with all its evidence."""
    lines = [f"fact {fact.id}", f"  {visible(says(data, fact))}", f"  certainty {percent(fact.certainty)}"]
    lines += [_evidence(e) for e in fact.evidence]
    if fact.id in data.withdrawn:
        by = data.withdrawn[fact.id][1]
        lines.append(f"  withdrawn: {visible(by.why)} {visible(by.where.file)}:{by.where.line}")
    return "\n".join(lines) + "\n"


def _evidence(e: Evidence) -> str:
    said = ", ".join(v for v in (e.how, e.source, e.by, e.date, e.note) if v)
    return f"  {percent(e.certainty):>6}  {visible(said)}  {visible(e.where.file)}:{e.where.line}"
