"""What is left of what was said: facts with their evidence, less what was taken back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import count
from typing import TYPE_CHECKING, Any

from kgraph import records, words
from kgraph.claims import (
    CLAIMS,
    Claim,
    about,
)
from kgraph.collection.fact_ids import ids_by_other_names, named_by_ground, resolved_id, saying_id, written_id
from kgraph.collection.resolving import claim_of
from kgraph.collection.trusting import certainty_of, trust_in
from kgraph.facts import Evidence, Fact
from kgraph.names import fold

if TYPE_CHECKING:
    from kgraph.collection import Collection

FACT_TYPES = (
    records.Rebadge,
    records.Uses,
    records.Takes,
    records.Same,
    records.Replaces,
    records.Fits,
    records.Refuses,
    records.Distinct,
    records.Fault,
    records.Run,
)
EVENT_TYPES = (records.Taken, records.Restored, records.Fitted, records.Inspected)


def add_facts(made: Collection) -> None:
    sayings: dict[tuple[str, Claim], list[records.Statement]] = {}
    for entry in made.entries:
        if isinstance(entry, FACT_TYPES):
            sayings.setdefault((entry.kind, claim_of(made, entry)), []).append(entry)
    facts = _told_apart(made, [_fact(made, kind, claim, said) for (kind, claim), said in sayings.items()])
    facts = _named_before(made, facts, list(sayings.values()))
    by_id = _by_id(made, facts)
    gone = _active_withdraws(made, by_id)
    left = (_left_of(made, fact, said, gone) for fact, said in zip(facts, sayings.values(), strict=True))
    for fact in _one_for_each_pair(made, [fact for fact in left if fact is not None]):
        made.facts[fact.id] = fact


def _told_apart(made: Collection, facts: list[Fact]) -> list[Fact]:
    """The facts, each under an id of its own: where several claim one, each has the id of what it says.

    `check` reports the claim; a `withdraw` of the claimed id takes back all of them.
    """
    claims = Counter(f.id for f in facts)
    if len(claims) == len(facts):
        return facts
    taken: set[str] = set()
    found = {}
    for fact in sorted(facts, key=lambda f: (claims[f.id], repr((f.kind, tuple(f.claim))))):
        own = fact.id
        if claims[own] > 1 and fact.record is not None:
            own = by_words = resolved_id(made, fact.record)
            # Words that fold alike may still say two things: none is lost.
            own = next(o for n in count(1) if (o := f"{by_words}~{n}" if n > 1 else by_words) not in taken)
        taken.add(own)
        found[fact.kind, fact.claim] = fact._replace(id=own, ids=tuple(dict.fromkeys([own, *fact.ids])))
    return [found[fact.kind, fact.claim] for fact in facts]


def _fact(made: Collection, kind: str, claim: Claim, said: list[records.Statement]) -> Fact:
    evidence = tuple(_evidence(made, r) for r in said)
    own = [r.own_id.strip() for r in said if r.own_id.strip()]
    written = [written_id(r) for r in said]
    shown = own[0] if own else resolved_id(made, said[0]) if any(made.aliases.values()) else written[0]
    by_ground = [resolved_id(made, r, by_ground=True) for r in said if named_by_ground(made, r)]
    ids = tuple(dict.fromkeys([shown, *own, *written, *by_ground]))
    return Fact(shown, kind, claim, max(e.certainty for e in evidence), evidence, said[0], ids)


def _named_before(
    made: Collection, facts: list[Fact], sayings: Sequence[list[records.Statement]]
) -> list[Fact]:
    """The facts, each known too by those of the ids looked for that it has by other names, or for one saying.

    They are worked out only where something is taken back or corrected by an id that no fact shows.
    """
    wanted = {e.target.strip() for e in made.entries if isinstance(e, records.Withdraw)}
    wanted |= {e.corrects.strip() for e in made.entries if isinstance(e, records.Statement)} - {""}
    if wanted:
        wanted -= {i for fact in facts for i in fact.ids}
    if not wanted:
        return facts
    found = []
    for fact, said in zip(facts, sayings, strict=True):
        more = [i for r in said for i in (saying_id(r.pairs), *ids_by_other_names(made, r)) if i in wanted]
        found.append(fact._replace(ids=tuple(dict.fromkeys([*fact.ids, *more]))) if more else fact)
    return found


def _evidence(made: Collection, r: records.Statement) -> Evidence:
    return Evidence(
        where=r.where,
        how=r.how.strip() or ("" if r.certainty is not None else words.NO_GRADE),
        certainty=certainty_of(made, r),
        sources=tuple(n.text for n in r.sources),
        by=r.by,
        date=r.date,
        note=r.note,
        trust=trust_in(made, r),
        photos=r.photos,
        page=r.page,
        via=", ".join(n.text for n in r.via),
    )


def _by_id(made: Collection, facts: list[Fact]) -> dict[str, list[Fact]]:
    by_id: dict[str, list[Fact]] = {}
    for fact in facts:
        for one in fact.ids:
            by_id.setdefault(one, []).append(fact)
    made.clashing_ids = [(i, [f.record for f in fs if f.record]) for i, fs in by_id.items() if len(fs) > 1]
    return by_id


def _active_withdraws(made: Collection, by_id: Mapping[str, list[Fact]]) -> dict[str, list[records.Withdraw]]:
    """Fact id -> the withdrawals that hold. A withdrawal may itself be withdrawn, by its id."""
    given = [e for e in made.entries if isinstance(e, records.Withdraw)]
    own = {id(w): {w.own_id.strip(), written_id(w)} - {""} for w in given}
    targeted: dict[str, list[records.Withdraw]] = {}
    for w in given:
        targeted.setdefault(w.target.strip(), []).append(w)

    def holds(w: records.Withdraw, seen: frozenset[int]) -> bool:
        against = [o for i in own[id(w)] for o in targeted.get(i, ()) if id(o) not in seen and o is not w]
        against = [o for o in against if takes_back(made, o, w)]
        return not any(holds(o, seen | {id(w)}) for o in against)

    all_own = {i for ids in own.values() for i in ids}
    events = (e for e in made.entries if isinstance(e, EVENT_TYPES))
    all_own |= {i for e in events for i in (e.own_id.strip(), written_id(e))}
    made.unknown_withdraws = [
        w for w in given if w.target.strip() not in by_id and w.target.strip() not in all_own
    ]
    active: dict[str, list[records.Withdraw]] = {}
    for w in given:
        if w.target.strip() in by_id and holds(w, frozenset()):
            for fact in by_id[w.target.strip()]:
                active.setdefault(fact.id, []).append(w)
    return active


def _left_of(
    made: Collection,
    fact: Fact,
    said: list[records.Statement],
    gone: Mapping[str, list[records.Withdraw]],
) -> Fact | None:
    """A fact by those of its sayings that no withdrawal takes back; None where none is left."""
    withdraws = gone.get(fact.id, [])
    if not withdraws:
        return fact
    meant = [(w, _meant(made, w, said)) for w in withdraws]
    rests = (
        _rest(made, e, r, [w for w, marks in meant if marks[number]])
        for number, (e, r) in enumerate(zip(fact.evidence, said, strict=True))
    )
    left = tuple(e for e in rests if e is not None)
    if not left:
        made.withdrawn[fact.id] = (fact, next((w for w in withdraws if not w.sources), withdraws[0]))
        return None
    return fact._replace(evidence=left, certainty=max(e.certainty for e in left))


def _rest(
    made: Collection, evidence: Evidence, said: records.Statement, by: list[records.Withdraw]
) -> Evidence | None:
    """A saying after what takes it back: all of it, or those of its sources that are named there."""
    if not by:
        return evidence
    named = {made.key("source", n.key) for w in by for n in w.sources}
    left = tuple(n for n in said.sources if made.key("source", n.key) not in named)
    if not left or any(not w.sources for w in by):
        return None
    return _evidence(made, said.changed(sources=left))


def _meant(made: Collection, by: records.Withdraw, said: list[records.Statement]) -> list[bool]:
    """Which sayings a withdrawal takes back: the one of its id, those of who withdraws, else all."""
    target = by.target.strip()
    if any(alone := [saying_id(r.pairs) == target for r in said]):
        return alone
    meant = [takes_back(made, by, r) for r in said]
    mine = [m and bool(by.by.strip()) and fold(r.by) == fold(by.by) for m, r in zip(meant, said, strict=True)]
    return mine if any(mine) and not by.every else meant


def takes_back(made: Collection, by: records.Withdraw, said: records.Statement) -> bool:
    """Whether a withdrawal of a statement means this saying of it: not one that corrects the same id."""
    if said.corrects.strip() == by.target.strip():
        return False
    if by.via and made.key("via", by.via[0].key) not in {made.key("via", n.key) for n in said.via[:1]}:
        return False
    keys = {made.key("source", n.key) for n in said.sources}
    return not by.sources or any(made.key("source", n.key) in keys for n in by.sources)


def _one_for_each_pair(made: Collection, facts: Iterable[Fact]) -> Iterator[Fact]:
    """The facts, and of those that say the same of one pair with unlike exceptions a single one."""
    pairs: dict[tuple[Any, ...], list[Fact]] = {}
    for fact in facts:
        pairs.setdefault((fact.kind, *about(fact.claim)), []).append(fact)
    for said in pairs.values():
        yield said[0] if len(said) == 1 else _joined(made, said)


def _joined(made: Collection, said: list[Fact]) -> Fact:
    """One fact of several that differ in their exceptions: all of these count, and the highest certainty."""
    surest = min(said, key=lambda f: (-f.certainty, f.id))
    left_out = tuple(sorted({key for fact in said for key in fact.left_out}))
    ids = dict.fromkeys([surest.id, *(i for fact in sorted(said, key=lambda f: f.id) for i in fact.ids)])
    order = {id(entry.where): number for number, entry in enumerate(made.entries)}
    evidence = sorted((e for fact in said for e in fact.evidence), key=lambda e: order[id(e.where)])
    made.told_otherwise[surest.id] = tuple(said)
    claim = CLAIMS[surest.kind](*about(surest.claim), left_out)
    return surest._replace(claim=claim, evidence=tuple(evidence), ids=tuple(ids))
