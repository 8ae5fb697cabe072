"""What is left of what was said: facts with their evidence, less what was taken back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from functools import partial
from itertools import count
from typing import TYPE_CHECKING, Any, NamedTuple

from kgraph import records, words
from kgraph.claims import (
    CLAIMS,
    Claim,
    about,
)
from kgraph.collection.fact_ids import (
    ids_by_other_names,
    named_by_ground,
    resolved_id,
    saying_id,
    thing_id,
    written_id,
)
from kgraph.collection.resolving import claim_of
from kgraph.collection.taken_back import by_target, holds
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


class FactsLeft(NamedTuple):
    """Facts by id, less what was taken back.

    `told_otherwise`: the facts that were said, where one pair is said with unlike exceptions.
    """

    facts: dict[str, Fact]
    withdrawn: dict[str, tuple[Fact, records.Withdraw]]
    told_otherwise: dict[str, tuple[Fact, ...]]
    clashing_ids: list[tuple[str, list[records.Statement]]]


Claimed = dict[tuple[str, Claim], list[records.Statement]]
"""Kind of fact and what it states -> everyone who says so, in the order of reading."""


def by_claim(made: Collection, entries: Iterable[records.Entry]) -> Claimed:
    """The statements among some entries, those of one fact together."""
    found: Claimed = {}
    for entry in entries:
        if isinstance(entry, FACT_TYPES):
            found.setdefault((entry.kind, claim_of(made, entry)), []).append(entry)
    return found


def all_sayings(made: Collection) -> FactsLeft:
    """What is left of all that a folder says."""
    withdraws = [e for e in made.entries if isinstance(e, records.Withdraw)]
    sought = {w.target.strip() for w in withdraws}
    sought |= {e.corrects.strip() for e in made.entries if isinstance(e, records.Statement)} - {""}
    return sayings_left(made, by_claim(made, made.entries), withdraws, sought)


def sayings_left(
    made: Collection, claimed: Claimed, withdraws: Sequence[records.Withdraw], sought: AbstractSet[str]
) -> FactsLeft:
    """What is left of these claims, of each of which every saying is given.

    `withdraws` are all of the folder; `sought` are the ids that facts are taken back and corrected by, which
    are looked for among their other ids where no fact shows them.
    """
    facts = _told_apart(made, [_fact(made, kind, claim, said) for (kind, claim), said in claimed.items()])
    facts = _named_before(made, facts, list(claimed.values()), sought)
    by_id = _by_id(facts)
    gone = _active_withdraws(made, by_id, withdraws) if withdraws else {}
    clashing = [(i, [f.record for f in fs if f.record]) for i, fs in by_id.items() if len(fs) > 1]
    found = FactsLeft({}, {}, {}, clashing)
    left = []
    for fact, said in zip(facts, claimed.values(), strict=True):
        rest, by = _left_of(made, fact, said, gone)
        if rest is not None:
            left.append(rest)
        elif by is not None:
            found.withdrawn[fact.id] = (fact, by)
    for those in _of_one_pair(left):
        fact = those[0] if len(those) == 1 else _joined(made, those)
        if len(those) > 1:
            found.told_otherwise[fact.id] = tuple(those)
        found.facts[fact.id] = fact
    return found


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


def shown_id(made: Collection, said: Sequence[records.Statement]) -> str:
    """The id that a fact of these sayings is shown by, unless another fact claims it too."""
    own = next((r.own_id.strip() for r in said if r.own_id.strip()), "")
    return own or (resolved_id(made, said[0]) if made.has_other_names else written_id(said[0]))


def _fact(made: Collection, kind: str, claim: Claim, said: list[records.Statement]) -> Fact:
    evidence = tuple(_evidence(made, r) for r in said)
    own = [r.own_id.strip() for r in said if r.own_id.strip()]
    written = [written_id(r) for r in said]
    shown = shown_id(made, said)
    by_ground = [resolved_id(made, r, by_ground=True) for r in said if named_by_ground(made, r)]
    ids = tuple(dict.fromkeys([shown, *own, *written, *by_ground]))
    return Fact(shown, kind, claim, max(e.certainty for e in evidence), evidence, said[0], ids)


def _named_before(
    made: Collection, facts: list[Fact], sayings: Sequence[list[records.Statement]], sought: AbstractSet[str]
) -> list[Fact]:
    """The facts, each known too by those of the ids looked for that it has by other names, or for one saying.

    They are worked out only where something is taken back or corrected by an id that no fact shows.
    """
    wanted = sought - {i for fact in facts for i in fact.ids} if sought else sought
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


def _by_id(facts: list[Fact]) -> dict[str, list[Fact]]:
    by_id: dict[str, list[Fact]] = {}
    for fact in facts:
        for one in fact.ids:
            by_id.setdefault(one, []).append(fact)
    return by_id


def _active_withdraws(
    made: Collection, by_id: Mapping[str, list[Fact]], given: Sequence[records.Withdraw]
) -> dict[str, list[records.Withdraw]]:
    """Fact id -> the withdrawals that hold. A withdrawal may itself be withdrawn, by its id."""
    targeted, active = by_target(given), dict[str, list[records.Withdraw]]()
    for w in given:
        if w.target.strip() in by_id and holds(w, targeted, partial(takes_back, made)):
            for fact in by_id[w.target.strip()]:
                active.setdefault(fact.id, []).append(w)
    return active


def unknown_withdraws(made: Collection) -> list[records.Withdraw]:
    """The withdrawals of what no fact, event, withdrawal or entry of a thing is known by."""
    known = {i for fact in made.facts.values() for i in fact.ids}
    known |= {i for fact, _ in made.withdrawn.values() for i in fact.ids}
    beside = list(made.of_kind(*words.EVENTS))
    known |= {
        i for e in beside if isinstance(e, records.Statement) for i in (e.own_id.strip(), written_id(e))
    }
    unknown = [w for w in beside if isinstance(w, records.Withdraw) and w.target.strip() not in known]
    of_things = {thing_id(e) for e in made.entries if isinstance(e, records.Thing)} if unknown else set()
    return [w for w in unknown if w.target.strip() not in of_things]


def _left_of(
    made: Collection,
    fact: Fact,
    said: list[records.Statement],
    gone: Mapping[str, list[records.Withdraw]],
) -> tuple[Fact | None, records.Withdraw | None]:
    """A fact by those of its sayings that are not taken back; None, and by which, where none is left."""
    withdraws = gone.get(fact.id, [])
    if not withdraws:
        return fact, None
    meant = [(w, _meant(made, w, said)) for w in withdraws]
    rests = (
        _rest(made, e, r, [w for w, marks in meant if marks[number]])
        for number, (e, r) in enumerate(zip(fact.evidence, said, strict=True))
    )
    left = tuple(e for e in rests if e is not None)
    if not left:
        return None, next((w for w in withdraws if not w.sources), withdraws[0])
    return fact._replace(evidence=left, certainty=max(e.certainty for e in left)), None


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


def _of_one_pair(facts: Iterable[Fact]) -> Iterable[list[Fact]]:
    """The facts, those together that say the same of one pair with unlike exceptions."""
    pairs: dict[tuple[Any, ...], list[Fact]] = {}
    for fact in facts:
        pairs.setdefault((fact.kind, *about(fact.claim)), []).append(fact)
    return pairs.values()


def _joined(made: Collection, said: list[Fact]) -> Fact:
    """One fact of several that differ in their exceptions: all of these count, and the highest certainty."""
    surest = min(said, key=lambda f: (-f.certainty, f.id))
    left_out = tuple(sorted({key for fact in said for key in fact.left_out}))
    ids = dict.fromkeys([surest.id, *(i for fact in sorted(said, key=lambda f: f.id) for i in fact.ids)])
    evidence = sorted((e for fact in said for e in fact.evidence), key=lambda e: made.reading_order(e.where))
    claim = CLAIMS[surest.kind](*about(surest.claim), left_out)
    return surest._replace(claim=claim, evidence=tuple(evidence), ids=tuple(ids))
