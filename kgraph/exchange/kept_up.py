"""What another folder said of things before and does not say any more, or took back."""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence

from kgraph import collection, records
from kgraph.collection import Collection
from kgraph.collection.fact_ids import thing_id
from kgraph.exchange.formats import Pairs
from kgraph.folder import schema
from kgraph.folder.writing import entry_text
from kgraph.problems import Problem, shown

NOT_SAID = "no longer said there"
"""Why what came by a folder is taken back for it."""


def withdrawal(thing: records.Thing, date: str) -> Pairs:
    """The entry that takes an entry of a thing back for the folder that it came by."""
    pairs: Pairs = [("withdraw", thing_id(thing)), ("why", NOT_SAID), ("via", thing.via[0].text)]
    return pairs + ([("date", date)] if date else [])


def without(data: Collection, gone: Sequence[records.Thing]) -> Collection:
    """A folder without some entries of things."""
    numbers = {id(thing) for thing in gone}
    return collection.build(e for e in data.entries if id(e) not in numbers)


def unlike(taken: Container[str], said: Pairs) -> Pairs:
    """An entry of a thing as it counts where entries with the ids `taken` were taken back."""
    one = _id_of(said) if taken else ""
    while one and one in taken:
        said = [*(pair for pair in said if pair[0] != "corrects"), ("corrects", one)]
        one = _id_of(said)
    return said


def _id_of(said: Pairs) -> str:
    (entry,), _ = schema.entries_of(entry_text(said).encode(), "merged")
    return thing_id(entry) if isinstance(entry, records.Thing) else ""


def taken_back_there(ours: Collection, theirs: Collection) -> Iterator[Problem]:
    """Entries of things that they took back and we say ourselves word for word."""
    back = {thing_id(thing): by for thing, by in theirs.gone_things.values()}
    for thing in (e for e in ours.standing if back and isinstance(e, records.Thing) and not e.via):
        if by := back.get(one := thing_id(thing)):
            why = f" ({by.why})" if by.why else ""
            says = f"an entry of the {thing.kind} {shown(thing.name.text)} is taken back there{why}"
            says += f", and said by ourselves at {thing.where}"
            yield Problem(by.where, "taken-back-there", says, f"if they are right: kgraph withdraw {one}")
