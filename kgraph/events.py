"""What happened to the units of the shelf, in order, and what of it was taken back."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from kgraph import records, words
from kgraph.collection import Collection
from kgraph.collection.fact_ids import written_id
from kgraph.collection.sayings import takes_back

Event = records.Taken | records.Restored | records.Fitted | records.Inspected


def events_of(data: Collection) -> Iterator[Event]:
    """The events in the order of the entries, each once, without those that a withdrawal took back."""
    gone = {id(event) for event, _ in withdrawn_events(data)}
    said: dict[tuple[str, str, str], str] = {}
    for entry in data.of_kind(*words.EVENTS):
        if not isinstance(entry, Event) or id(entry) in gone:
            continue
        # Two folders that were merged may both tell one event; one file tells of it once.
        first = said.setdefault((written_id(entry), entry.date, entry.by), entry.where.file)
        if not entry.date or first == entry.where.file:
            yield entry


def withdrawn_events(data: Collection) -> list[tuple[Event, records.Withdraw]]:
    """The events that were taken back, each with a withdrawal that holds."""
    against = _Withdrawals(data)
    events = (e for e in data.of_kind(*words.EVENTS) if isinstance(e, Event))
    return [(event, by) for event in events if (by := against.holding(event))]


def withdrawal_of(data: Collection, entry: records.Statement) -> records.Withdraw | None:
    """A withdrawal of an event, or of a withdrawal, that holds."""
    return _Withdrawals(data).holding(entry)


class _Withdrawals:
    """The withdrawals of a folder by what they take back; one may itself be taken back."""

    def __init__(self, data: Collection) -> None:
        self.data = data
        self.by_target: dict[str, list[records.Withdraw]] = defaultdict(list)
        for entry in data.of_kind("withdraw"):
            if isinstance(entry, records.Withdraw):
                self.by_target[entry.target.strip()].append(entry)

    def holding(
        self, entry: records.Statement, seen: frozenset[int] = frozenset()
    ) -> records.Withdraw | None:
        """A withdrawal of this entry that nothing takes back, if there is one."""
        ids = sorted({entry.own_id.strip(), written_id(entry)} - {""})
        against = (w for i in ids for w in self.by_target.get(i, ()) if id(w) not in seen)
        meant = (w for w in against if takes_back(self.data, w, entry))
        return next((w for w in meant if not self.holding(w, seen | {id(w)})), None)
