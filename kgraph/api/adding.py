"""New entries, checked beside the folder that they go to: by the command `add` and by a program alike."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from kgraph import collection, lookup
from kgraph.api import event_log
from kgraph.api.taking_back import taking_back
from kgraph.checks.newcomers import Newcomer
from kgraph.collection import fact_ids, sayings
from kgraph.events import Event, withdrawal_of
from kgraph.facts import Fact
from kgraph.fits.graph import Graph
from kgraph.names import fold
from kgraph.problems import Problem, WrongUse
from kgraph.records import Entry, Statement, Thing, Withdraw


def refuse_gone(graph: Graph, fact_id: str) -> None:
    """Raise WrongUse unless the id is that of something that can be taken back and still counts."""
    data = graph.data
    if (fact := lookup.fact_with_id(data, fact_id)) is not None:
        by = data.withdrawn[fact.id][1] if fact.id in data.withdrawn else None
    elif isinstance(found := refuse_unknown(graph, fact_id), Thing):
        by = data.gone_things[id(found)][1] if id(found) in data.gone_things else None
    else:
        by = withdrawal_of(data, found)
    if by is not None:
        raise WrongUse(f"{fact_id} is withdrawn already, at {by.where}")


def refuse_unknown(graph: Graph, one: str) -> Statement | Thing:
    """The entry with an id; raises WrongUse where no fact, event, withdrawal or thing has it."""
    fact = lookup.fact_with_id(graph.data, one)
    found: Statement | Thing | None = fact.record if fact else lookup.event_or_withdrawal(graph.data, one)
    found = found or lookup.thing_with_id(graph.data, one)
    if found is None:
        raise WrongUse(f"no fact has the id {one!r}; `kgraph show NAME` prints the ids")
    return found


def refuse_unsaid(graph: Graph, fact_id: str, source: str) -> None:
    """Raise WrongUse where a source has not said the fact that is to be taken back from it."""
    data, fact = graph.data, lookup.fact_as_said(graph.data, fact_id)
    if fact is None:
        entry = lookup.event_or_withdrawal(data, fact_id) or lookup.thing_with_id(data, fact_id)
        texts = [n.text for n in entry.sources] if entry else []
    else:
        texts = [s for e in fact.evidence for s in e.sources]
    said = {data.key("source", fold(text)): text for text in texts}
    if data.key("source", fold(source)) not in said:
        names = ", ".join(sorted(said.values())) or "no source"
        raise WrongUse(f"{source!r} has not said this; it is said by {names}")


def refuse_near(doubtful: Sequence[Newcomer]) -> None:
    """Raise WrongUse where a new place is nearly a known one, and nobody said that it is another."""
    if doubtful:
        raise WrongUse(*map(_near, doubtful), "nothing was written")


def what_is_new(new: Newcomer) -> str:
    """A new name as it was said."""
    return f"except: {new.name}" if new.kind == "except" else new.name


def _near(new: Newcomer) -> Problem:
    says = f"{what_is_new(new)} names no known place and is nearly {new.near}"
    return Problem(None, "near-position", says, "write that, or say --yes for another place")


def doubts_beside(graph: Graph, entries: Sequence[Entry]) -> list[Problem]:
    """What is doubtful with entries in their folder; raises WrongUse for what is wrong."""
    from kgraph import checks

    found = checks.problems_of_new(graph.data, *entries)
    errors = [p for p in found if p.severity == "error"]
    if errors:
        raise WrongUse(*(Problem(None, p.code, p.says, p.mend) for p in errors), "nothing was written")
    for entry in entries:
        if isinstance(entry, Withdraw):
            refuse_unknown(graph, entry.target)
    return found


def doubts_of_events(
    graph: Graph, entries: Sequence[Entry], folder: Path, target: Path
) -> tuple[list[str], list[Problem]]:
    """What is doubtful with events, and what is wrong or doubtful with the shelf as it would be with them."""
    after = event_log.shelf_with(graph, entries, folder, target)
    said = [s for e in entries if isinstance(e, Event) for s in event_log.undeclared_units(graph, e)]
    if event_log.overtaken(graph, entries, after):
        said.append(event_log.OVERTAKEN.format(name=target))
    return said, event_log.new_problems(graph, after)


def changed_fact(graph: Graph, after: collection.Collection, entry: Entry) -> tuple[Fact, Fact | None] | None:
    """The fact that an entry states, takes back or gives back; the same before, where it was known.

    Raises WrongUse where the entry would count for nothing.
    """
    if id(entry) in after.gone_things:
        raise WrongUse(_gone(f"this entry of the {entry.kind}", after.gone_things[id(entry)][1]))
    if not isinstance(entry, Statement):
        return None
    if isinstance(entry, Withdraw):
        return _taken_back(graph, after, entry)
    for fact in after.facts.values():
        if any(e.where == entry.where and e.where.file == "new entry" for e in fact.evidence):
            known = graph.data.facts.get(fact.id)
            return fact, (known if known and known.claim == fact.claim else None)
    for fact, by in after.withdrawn.values():
        if any(e.where == entry.where for e in fact.evidence):
            raise WrongUse(_gone("this fact", by))
    if isinstance(entry, sayings.FACT_TYPES) and entry.sources:
        who = ", ".join(n.text for n in entry.sources)
        says = f"what {who} says of this was withdrawn, and counts for nothing"
        raise WrongUse(f"{says}; withdraw that withdrawal first: `kgraph show` names the fact")
    return None


def _gone(what: str, by: Withdraw) -> str:
    first = f"kgraph withdraw {fact_ids.written_id(by)} --why ..."
    return f"{what} was withdrawn at {by.where} ({by.why}); withdraw that first: {first}"


def _taken_back(
    graph: Graph, after: collection.Collection, entry: Withdraw
) -> tuple[Fact, Fact | None] | None:
    before = graph.data.facts
    changed = [f for i, f in before.items() if i not in after.facts or after.facts[i].evidence != f.evidence]
    changed += [f for i, f in after.facts.items() if i not in before]
    if not changed and lookup.fact_with_id(graph.data, entry.target):
        _refuse_vain(graph, entry)
    thing = lookup.thing_with_id(graph.data, entry.target)
    if thing and id(thing) not in after.gone_things:
        _refuse_vain(graph, entry)
    meant = lookup.fact_as_said(graph.data, entry.target)
    return (meant or changed[0], None) if changed else None


def _refuse_vain(graph: Graph, entry: Withdraw) -> None:
    says = "this would take nothing back"
    if (left := taking_back(graph.data, entry.target).targets) != (entry.target.strip(),):
        ids = " and ".join(left)
        raise WrongUse(f"{says}: what is left of {entry.target} corrects it; withdraw {ids}")
    raise WrongUse(f"{says}: the same withdrawal was itself taken back before; say why in other words")


def id_of(entry: Entry, changed: Fact | None) -> str:
    """What `show` finds an entry by: the id of its fact, event or withdrawal, or the name of its thing."""
    if changed is not None and not isinstance(entry, Withdraw):
        return changed.id
    if isinstance(entry, Statement):
        return entry.own_id.strip() or fact_ids.written_id(entry)
    return entry.name.text if isinstance(entry, Thing) else ""
