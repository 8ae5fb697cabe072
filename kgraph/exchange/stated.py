"""What each kind of fact states, as RDF."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import groupby
from operator import itemgetter

from kgraph import records
from kgraph.claims import (
    FaultClaim,
    FitsClaim,
    RebadgeClaim,
    RefusesClaim,
    ReplacesClaim,
    SameClaim,
    TakesClaim,
    UsesClaim,
)
from kgraph.collection import Collection
from kgraph.exchange import alike, places
from kgraph.exchange.addressed import iri_of, node_block, owner_iri, quantity_node
from kgraph.exchange.statements import Block, LiteralText, Nested, Object, Pair, TermList, real
from kgraph.exchange.terms import SCHEMA, SKOS, TERM, XSD, iri
from kgraph.exchange.vocabulary import LABEL, TYPE
from kgraph.facts import Fact
from kgraph.fits.graph import Graph

_ABOUT: dict[str, tuple[str, ...]] = {
    "rebadge": ("owner", "owner"),
    "uses": ("owner", "owner"),
    "takes": ("part", "owner", "position"),
    "same": ("part", "part"),
    "distinct": ("owner", "owner"),
    "replaces": ("part", "part"),
    "fits": ("owner", "position", "owner", "position"),
    "refuses": ("part", "owner", "position", "owner", "position"),
    "fault": ("owner", "position"),
    "run": ("owner", "position"),
    "size": ("part", "part"),
}


def about(fact: Fact) -> Iterator[str]:
    for what, key in zip(_ABOUT[fact.kind], fact.claim, strict=False):
        if key:
            yield owner_iri(key) if what == "owner" else iri(what, key)


def place_iri(owner: str, position: str) -> str:
    return iri_of(("place", owner, position))


def _except(names: Iterable[str]) -> list[Pair]:
    return [(TERM + "except", iri("position", key)) for key in names]


def _states_uses(fact: Fact) -> list[Pair]:
    assembly, owner, names = fact.of(UsesClaim)
    return [(TERM + "assembly", owner_iri(assembly)), (TERM + "in", owner_iri(owner)), *_except(names)]


def _states_takes(fact: Fact) -> list[Pair]:
    part, owner, position, role = fact.of(TakesClaim)
    return [
        (TERM + "part", iri("part", part)),
        (TERM + "place", place_iri(owner, position)),
        (TERM + "role", LiteralText(role)),
    ]


def _states_replaces(fact: Fact) -> list[Pair]:
    new, old = fact.of(ReplacesClaim)
    return [(TERM + "newPart", iri("part", new)), (TERM + "oldPart", iri("part", old))]


def _states_fits(fact: Fact) -> list[Pair]:
    owner, position, to, at, both, work = fact.of(FitsClaim)
    ways = LiteralText("true" if both else "false", XSD + "boolean")
    told: list[Pair] = [(TERM + "fromPlace", place_iri(owner, position)), (TERM + "place", place_iri(to, at))]
    return [*told, (TERM + "bothWays", ways), *([(TERM + "work", LiteralText(work))] if work else [])]


def _states_refuses(fact: Fact) -> list[Pair]:
    part, owner, position, at, where = fact.of(RefusesClaim)
    item: Pair = (
        (TERM + "part", iri("part", part)) if part else (TERM + "fromPlace", place_iri(owner, position))
    )
    return [item, (TERM + "place", place_iri(at, where))]


def _states_fault(fact: Fact) -> list[Pair]:
    owner, position, key, signs, check, cure = fact.of(FaultClaim)
    called = fact.record.fault.text if isinstance(fact.record, records.Fault) else key
    told: list[Pair] = [
        (TERM + "place", place_iri(owner, position)),
        (TERM + "goesWrong", LiteralText(called)),
    ]
    told += [(TERM + "sign", LiteralText(sign)) for sign in signs]
    more = {"checkFirst": check, "cure": cure}
    return [*told, *((TERM + term, LiteralText(text)) for term, text in more.items() if text)]


def _states_run(fact: Fact) -> list[Pair]:
    run = fact.record
    told: list[Pair] = [(TERM + "place", place_iri(*fact.claim[:2]))]
    if isinstance(run, records.Run):
        told.append((TERM + "pulleys", TermList(tuple(map(_pulley, run.pulleys)))))
        if run.stretch:
            told += [(TERM + "stretchFrom", real(run.stretch[0])), (TERM + "stretchTo", real(run.stretch[1]))]
        if run.pull:
            told.append((TERM + "pull", quantity_node(run.pull.torque_nm, "N-M")))
    return told


def _pulley(pulley: records.Pulley) -> Nested:
    told: list[Pair] = [(TYPE, TERM + "Pulley"), (LABEL, LiteralText(pulley.name))]
    measures = {
        "x": pulley.x_mm,
        "y": pulley.y_mm,
        "diameter": pulley.diameter_mm,
        "capstan": pulley.capstan_mm,
    }
    told += [(TERM + key, quantity_node(mm, "MilliM")) for key, mm in measures.items() if mm is not None]
    if pulley.rpm is not None:
        told.append((TERM + "speed", quantity_node(pulley.rpm, "REV-PER-MIN")))
    told.append((TERM + "side", LiteralText("outside" if pulley.outside else "inside")))
    return Nested(
        (*told, (TERM + "drives", LiteralText("true" if pulley.drives else "false", XSD + "boolean")))
    )


STATES: Mapping[str, Callable[[Fact], list[Pair]]] = {
    "rebadge": lambda fact: _except(fact.left_out),
    "uses": _states_uses,
    "takes": _states_takes,
    "same": lambda fact: [],
    "distinct": lambda fact: [],
    "replaces": _states_replaces,
    "fits": _states_fits,
    "refuses": _states_refuses,
    "fault": _states_fault,
    "run": _states_run,
    "size": lambda fact: [],
}


# Links ----------------------------------------------------------------------------------------


def stated_links(data: Collection, told: set[places.Node]) -> Iterator[Block]:
    """What each fact says as plain statements, and the places that it names, which are added to `told`."""
    links: set[tuple[str, str, str]] = set()
    for fact in sorted(data.facts.values(), key=lambda f: f.id):
        stated = list(places.stated(fact))
        plain = [(iri_of(s), TERM + link, iri_of(o)) for s, link, o in stated]
        new = [t for t in (*plain, *_open_links(fact)) if t not in links]
        links.update(new)
        yield from by_subject(new)
        yield from nodes((n for s, _, o in stated for n in (s, o)), told)


_NODES = frozenset({"place", "mounting", "alike"})


def nodes(found: Iterable[places.Node], told: set[places.Node]) -> Iterator[Block]:
    """The places, like places and mountings among nodes that are not told yet; they are from now on."""
    for node in found:
        if node[0] in _NODES and node not in told:
            told.add(node)
            yield node_block(node)


def _open_links(fact: Fact) -> Iterator[tuple[str, str, str]]:
    """The same in words that others know."""
    match fact.claim:
        case RebadgeClaim() as claim:
            one, other = owner_iri(claim.one), owner_iri(claim.other)
            yield from ((one, SCHEMA + "isVariantOf", other), (other, SCHEMA + "isVariantOf", one))
        case UsesClaim() as claim:
            yield owner_iri(claim.owner), TERM + "builtOn", owner_iri(claim.assembly)
        case TakesClaim() as claim:
            yield iri("part", claim.part), SCHEMA + "isAccessoryOrSparePartFor", owner_iri(claim.owner)
        case SameClaim() as claim:
            yield iri("part", claim.one), SKOS + "exactMatch", iri("part", claim.other)
        case ReplacesClaim() as claim:
            yield iri("part", claim.new), SCHEMA + "successorOf", iri("part", claim.old)


def place_links(graph: Graph, told: set[places.Node]) -> Iterator[Block]:
    """The graph multiplied out by place: the links of `places` but for those that facts state.

    Then the same followed to their ends: like places as one node each, and the links of `alike`.
    """
    stated = {t for fact in graph.data.facts.values() for t in places.stated(fact)}
    links = list(places.links(graph))
    yield from nodes((n for s, _, o in links for n in (s, o)), told)
    yield from _blocks(t for t in links if t not in stated)
    together = list(alike.LikePlaces(links, (n for n in told if n[0] == "place")).triples())
    yield from nodes((o for _, _, o in together), told)
    yield from _blocks(together)


def _blocks(triples: Iterable[places.Triple]) -> Iterator[Block]:
    """Links as blocks, one for all of a subject that follow each other."""
    names = _Names()
    for subject, those in groupby(triples, itemgetter(0)):
        yield Block(names[subject], tuple([(TERM + link, names[object_]) for _, link, object_ in those]))


class _Names(dict[places.Node, str]):
    """The IRIs of nodes, each made once."""

    def __missing__(self, node: places.Node) -> str:
        self[node] = made = iri_of(node)
        return made


def by_subject(triples: Iterable[tuple[str, str, Object]]) -> Iterator[Block]:
    """Statements that follow each other and have one subject as one block; each but once."""
    subject, pairs = "", dict[Pair, None]()
    for here, predicate, object_ in triples:
        if here != subject and pairs:
            yield Block(subject, tuple(pairs))
            pairs = {}
        subject = here
        pairs[predicate, object_] = None
    if pairs:
        yield Block(subject, tuple(pairs))
