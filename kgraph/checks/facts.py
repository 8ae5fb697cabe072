"""Checks of facts: grades, ids, circles, contradictions, and what the rules cannot use."""

from __future__ import annotations

import shlex
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence

from kgraph import records
from kgraph.checks.ground import Check, CheckGround, at, error, warning
from kgraph.claims import ReplacesClaim, RunClaim, TakesClaim, UsesClaim
from kgraph.collection.fact_ids import thing_id, written_id
from kgraph.collection.sayings import FACT_TYPES, unknown_withdraws
from kgraph.facts import Fact
from kgraph.fits.graph import Place, left_out
from kgraph.names import fold, nearest
from kgraph.problems import Problem, Where, command, shown
from kgraph.reason.walk import components, entries_of
from kgraph.recognition.traits import one_name

_MOST_NAMED = 20


def grades_are_known(ground: CheckGround) -> Iterator[Problem]:
    """`how` is one of the grades, or one that a `grade` entry adds."""
    data = ground.data
    names = [data.text("grade", key) for key in data.grades]
    for entry in ground.entries:
        if not isinstance(entry, records.Statement):
            continue
        how = entry.how.strip()
        if how and data.key("grade", fold(how)) not in data.grades:
            say = command("add", "grade", entry.how, "--certainty", "...")
            mend = f"use one of {', '.join(names)}, or {say}"
            yield error(entry.where, "unknown-grade", f"how: {shown(entry.how)} is not a grade", mend)


def an_id_has_one_statement(ground: CheckGround) -> Iterator[Problem]:
    """One `id:` stands for one statement; said twice with the same meaning, it is one fact."""
    clashes = dict(ground.data.said.clashing_ids)
    events: dict[str, dict[str, records.Statement]] = defaultdict(dict)
    for entry in ground.entries:
        if (
            isinstance(entry, records.Statement)
            and not isinstance(entry, FACT_TYPES)
            and entry.own_id.strip()
        ):
            events[entry.own_id.strip()].setdefault(written_id(entry), entry)
    for own, said in events.items():
        if len(said) > 1:
            clashes[own] = [*clashes.get(own, []), *said.values()]
    for own, statements in clashes.items():
        first, *others = sorted(statements, key=lambda s: s.where)
        for other in others:
            says = f"id {shown(own)} stands for another statement at {at(first.where)}"
            yield error(other.where, "id-twice", says, "give each statement its own id, or none")


def replaces_goes_one_way(ground: CheckGround) -> Iterator[Problem]:
    """A part cannot be newer than itself, through any number of `replaces` and `same`."""
    edges: dict[str, list[tuple[str, Fact]]] = defaultdict(list)
    for fact in ground.of_kind("replaces"):
        new, old = fact.of(ReplacesClaim)
        edges[one_name(ground.graph, new)].append((one_name(ground.graph, old), fact))
    for circle in _circles(edges):
        text = ground.data.text
        named = [
            (text("part", claim.new), text("part", claim.old), f.where)
            for f in circle
            for claim in [f.of(ReplacesClaim)]
        ]
        yield _circle("replaces", "replaces", named)


def uses_goes_one_way(ground: CheckGround) -> Iterator[Problem]:
    """An assembly cannot be built on itself, through any number of `uses`."""
    edges: dict[str, list[tuple[str, Fact]]] = defaultdict(list)
    for fact in ground.of_kind("uses"):
        uses = fact.of(UsesClaim)
        edges[uses.owner].append((uses.assembly, fact))
    for circle in _circles(edges):
        texts = [
            (ground.data.owner_text(uses.owner), ground.data.owner_text(uses.assembly), f.where)
            for f in circle
            for uses in [f.of(UsesClaim)]
        ]
        yield _circle("uses", "is built on", texts)


def _circle(kind: str, verb: str, named: list[tuple[str, str, Where | None]]) -> Problem:
    named = sorted(named, key=lambda n: (n[2] or Where(""), n[0], n[1]))
    parts = [f"{shown(a)} {verb} {shown(b)} ({at(where)})" for a, b, where in named[:_MOST_NAMED]]
    if len(named) > _MOST_NAMED:
        parts.append(f"and {len(named) - _MOST_NAMED} more")
    says = f"a circle of {kind}: {', '.join(parts)}"
    return warning(named[0][2], f"{kind}-circle", says, "withdraw the one that is wrong")


def _circles(edges: Mapping[str, list[tuple[str, Fact]]]) -> list[list[Fact]]:
    """The facts that lie on circles, those that hang together as one list."""
    nodes = dict.fromkeys((*edges, *(other for out in edges.values() for other, _ in out)))
    number = {node: n for n, node in enumerate(nodes, 1)}
    # The walk begins at a node of its own, number 0, that leads to all.
    steps = [[(n, -1) for n in number.values()]]
    steps += [[(number[other], -1) for other, _ in edges.get(node, ())] for node in nodes]
    group = {n: of for of, found in enumerate(components(steps, entries_of(steps))) for n in found}
    circles: dict[int, list[Fact]] = defaultdict(list)
    for node, out in edges.items():
        for other, fact in out:
            if group[number[node]] == group[number[other]]:
                circles[group[number[node]]].append(fact)
    return list(circles.values())


def withdrawn_ids_are_known(ground: CheckGround) -> Iterator[Problem]:
    """A `withdraw` takes back a fact or an entry of a thing, by an id that it has or had."""
    for entry in unknown_withdraws(ground.data):
        says = f"withdraw: no fact and no thing has the id {shown(entry.target)}, and nothing is taken back"
        yield error(entry.where, "unknown-withdraw", says, _nearest_fact(ground, entry.target))


def what_is_corrected_is_withdrawn(ground: CheckGround) -> Iterator[Problem]:
    """What corrects an id stands beside a withdrawal of that id, and a fact or an entry of a thing has it."""
    targets = {e.target.strip() for e in ground.entries if isinstance(e, records.Withdraw)}
    for entry in ground.entries:
        corrects = entry.corrects.strip() if isinstance(entry, records.Statement | records.Thing) else ""
        if corrects and corrects not in targets:
            if corrects not in _known_ids(ground):
                says = f"corrects: no fact and no thing has the id {shown(corrects)}"
                yield error(entry.where, "unknown-withdraw", says, _nearest_fact(ground, corrects))
                continue
            says = f"corrects: nothing withdraws {shown(corrects)}, which counts beside this"
            yield warning(entry.where, "unknown-withdraw", says, "withdraw it, or take the key out")


def _known_ids(ground: CheckGround) -> dict[str, Fact | records.Thing]:
    """Every id of every fact and of every entry of a thing, those taken back among them."""
    facts = (*ground.data.facts.values(), *(f for f, _ in ground.data.withdrawn.values()))
    things = {thing_id(e): e for e in ground.data.entries if isinstance(e, records.Thing)}
    return things | {i: f for f in facts for i in f.ids}


def _nearest_fact(ground: CheckGround, target: str) -> str:
    """What to do about an id that nothing has: the fact or thing whose id is a slip of the hand away."""
    known = _known_ids(ground)
    near = nearest(target, known, 1)
    if not near:
        return "copy the id from `kgraph show NAME` or a proof"
    fact = known[near[0]]
    where = f" at {at(fact.where)}" if fact.where else ""
    return f"did you mean {near[0]}, the {fact.kind}{where}?"


def nothing_is_told_in_two_ways(ground: CheckGround) -> Iterator[Problem]:
    """One pair of sets, one use or one fit is told in one way.

    Where two sayings of a pair differ in what they leave out, all of it is left out; two fits with other work
    count as two facts, which hold each other up.
    """
    for facts in ground.data.told_otherwise.values():
        first, *others = sorted(facts, key=_as_it_stands)
        for other in others:
            yield _other_exceptions(ground, first, other)
    told: dict[tuple[object, ...], Fact] = {}
    for fact in sorted(ground.of_kind("fits"), key=_as_it_stands):
        before = told.setdefault(fact.claim[:4], fact)
        if before is not fact:
            says = f"this fits is told otherwise at {at(before.where)}: the two count as separate proofs"
            yield warning(fact.where, "told-otherwise", says, "find out which is right; withdraw the other")


def _as_it_stands(fact: Fact) -> tuple[Where, str]:
    return fact.where or Where(""), fact.id


def _other_exceptions(ground: CheckGround, first: Fact, other: Fact) -> Problem:
    text = ground.data.text
    named = [[shown(text("position", key)) for key in fact.left_out] for fact in (other, first)]
    here, there = (", ".join(names) or "nothing" for names in named)
    says = (
        f"this {other.kind} is told otherwise at {at(first.where)}: it leaves out {here}, that one {there}; "
        "what either leaves out counts"
    )
    together = sorted({*first.left_out, *other.left_out})
    # Whichever is put right: the two must come to say the same.
    wrong = first if set(first.left_out) != set(together) else other
    such = correction(ground, wrong, together)
    mend = f"find out which is right, then put the other right, such as: {such}"
    return warning(other.where, "told-otherwise", says, mend)


def correction(ground: CheckGround, fact: Fact, left_out: Sequence[str]) -> str:
    """The command that has a fact leave out these and nothing else."""
    names = ", ".join(ground.data.text("position", key) for key in left_out)
    return f"kgraph correct {fact.id} except {shlex.quote(names)}"


def a_place_has_one_original(ground: CheckGround) -> Iterator[Problem]:
    """Two original parts at one place are a running change: neither goes where the other does by it.

    Places that facts make alike are one place here: a second original there may be a missing `except`.
    """
    alike = ground.graph.alike_parts
    found: dict[Place, list[tuple[str, Place, Fact]]] = defaultdict(list)
    for place, taken in ground.graph.taken_at.items():
        one = Place(min(ground.alike(*place)), place.position)
        found[one] += [(part, place, fact) for part, role, fact in taken if role == "original"]
    for originals in found.values():
        originals.sort(key=lambda o: (o[2].where or Where(""), o[0]))
        told = {alike(originals[0][0])} if originals else set()
        for part, place, fact in originals:
            if alike(part) not in told:
                told.add(alike(part))
                yield _two_originals(ground, originals[0], (part, place, fact))


def _two_originals(
    ground: CheckGround, first: tuple[str, Place, Fact], other: tuple[str, Place, Fact]
) -> Problem:
    part, place, fact = other
    before = shown(ground.data.text("part", first[0]))
    there = "" if first[1] == place else f" ({ground.place_text(first[1])}, which facts make alike)"
    here = ground.place_text(place)
    name = shown(ground.data.text("part", part))
    says = f"{here} has two originals: {name}, and {before} at {at(first[2].where)}{there}"
    mend = "a running change is kept so; else say `same`, `role: substitute` or an `except`"
    return warning(fact.where, "two-originals", says, mend)


def attributes_that_must_match_are_recorded(ground: CheckGround) -> Iterator[Problem]:
    """Sets with a place that must match in an attribute have that attribute recorded; once for each set."""
    missing: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    owners = _owners_at(ground)
    for position in sorted(ground.data.known("position")):
        needed = set(ground.data.position_rules(position).must_match)
        for owner in sorted(_sets_with(ground, position, owners) if needed else ()):
            for attribute in sorted(needed):
                if not ground.data.attribute("set", owner[2:], attribute):
                    missing[owner][attribute].append(ground.data.text("position", position))
    for owner, attributes in missing.items():
        said = "; ".join(
            f"no {shown(a)}, needed at {shown(', '.join(ps), 200)}" for a, ps in attributes.items()
        )
        says = f"{shown(ground.data.owner_text(owner))} records {said}"
        keys = [w for a in attributes for w in (f"--{a.replace(' ', '-')}", "...")]
        mend = f"read it from the set: {command('add', 'set', ground.data.owner_text(owner), *keys)}"
        yield warning(ground.where("set", owner[2:]), "must-match-missing", says, mend)


def _owners_at(ground: CheckGround) -> dict[str, set[str]]:
    """Position -> the owners that some fact or list of positions gives it."""
    found: dict[str, set[str]] = defaultdict(set)
    graph = ground.graph
    for places in (graph.taken_at, graph.fits_from, graph.fits_to, graph.refused_at):
        for place in list(places):
            found[place.position].add(place.owner)
    for owner, positions in graph.declares.items():
        for position in positions:
            found[position].add(owner)
    return found


def _sets_with(ground: CheckGround, position: str, owners: Mapping[str, set[str]]) -> set[str]:
    """The sets with the position, where there is at least one other set to match."""
    found: set[str] = set()
    for owner in owners.get(position, ()):
        found |= {o for o in ground.alike(owner, position) if o.startswith("s:")}
    return found if len(found) > 1 else set()


def facts_say_how_they_are_known(ground: CheckGround) -> Iterator[Problem]:
    """A fact names a source, or says how it is known, by a grade or by a certainty of its own."""
    for entry in ground.entries:
        if isinstance(entry, FACT_TYPES) and not (entry.how.strip() or entry.sources or entry.certainty):
            says = f"this {entry.kind} has no source and no how"
            yield warning(entry.where, "no-evidence", says, "it counts as reported; add how: or source:")


def sources_have_a_type(ground: CheckGround) -> Iterator[Problem]:
    """A source says what it is: a paper, the bench, a photograph, a letter or a page."""
    for things in ground.data.things["source"].values():
        if not any(isinstance(t, records.Source) and t.type for t in things):
            says = f"source {shown(things[0].name.text)} has no type"
            yield warning(things[0].where, "no-type", says, "add type: printed, bench, photo, letter or page")


def facts_of_an_assembly_reach_its_sets(ground: CheckGround) -> Iterator[Problem]:
    """A part or run at a place that its assembly does not list stays in the assembly; a fault does not."""
    for kind in ("takes", "run"):
        for fact in ground.of_kind(kind):
            if not isinstance(fact.claim, TakesClaim | RunClaim):
                continue
            place = Place(fact.claim.owner, fact.claim.position)
            if place.owner[0] == "a" and place.position not in ground.graph.declares.get(place.owner, ()):
                assembly = shown(ground.data.owner_text(place.owner))
                position = shown(ground.data.text("position", place.position))
                says = f"{assembly} does not list {position}: no set built on it gets this {kind}"
                yield warning(fact.where, "position-not-listed", says, f"add {position} to its positions")


def nested_assemblies_pass_positions_on(ground: CheckGround) -> Iterator[Problem]:
    """Sets built on an assembly get of the assembly under it only the places that both list."""
    for fact in ground.of_kind("uses"):
        under, owner, names = fact.of(UsesClaim)
        if owner[0] != "a":
            continue
        declares = ground.graph.declares
        lost = (
            declares.get(under, frozenset())
            - declares.get(owner, frozenset())
            - left_out(ground.graph, names)
        )
        if lost:
            listed = shown(", ".join(sorted(ground.data.text("position", p) for p in lost)), 200)
            text, other = shown(ground.data.owner_text(owner)), shown(ground.data.owner_text(under))
            says = f"{text} does not list what {other} does: sets built on it do not get {listed}"
            mend = "add them to its positions, or to the except of this entry"
            yield warning(fact.where, "positions-not-passed-on", says, mend)


CHECKS: Sequence[Check] = (
    grades_are_known,
    an_id_has_one_statement,
    replaces_goes_one_way,
    uses_goes_one_way,
    withdrawn_ids_are_known,
    what_is_corrected_is_withdrawn,
    nothing_is_told_in_two_ways,
    a_place_has_one_original,
    attributes_that_must_match_are_recorded,
    facts_say_how_they_are_known,
    sources_have_a_type,
    facts_of_an_assembly_reach_its_sets,
    nested_assemblies_pass_positions_on,
)
