"""One function for each question; each gives an :class:`Answer` and prints nothing.

Certainties here are never rounded. The rules are those of :mod:`kgraph.fits.rules`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

from kgraph import words
from kgraph.facts import Fact
from kgraph.fits import blocks, certainty, families, proofs, rules, sharing
from kgraph.fits.graph import Facts, Place, sort_of
from kgraph.fits.refusals import refusals_of
from kgraph.fits.rules import State
from kgraph.names import compared, did_you_mean, fold
from kgraph.problems import Problem, WrongUse

if TYPE_CHECKING:
    from kgraph.source.facts import Names

SCALE_NOTE = "Certainties come from the grades, a scale of our own; a folder can override each."
FEW = 10
"""Proofs that a lower bound is taken from where the exact certainty is out of reach."""
SIZE_NOTE = "Equal size counts as the same article by common practice, no source: measure before you buy."


class Row(NamedTuple):
    """One answer. `set` is an owner key; `proof` is the best proof, in the order of the walk."""

    set: str
    position: str = ""
    wanted: str = ""
    part: str | None = None
    parts: tuple[str, ...] = ()
    assembly: str = ""
    standing: str = "inferred"
    best: float = 0.0
    certainty: float = 0.0
    bounds: tuple[float, float] | None = None
    basis: tuple[str, ...] = ("stated facts",)
    work: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    differs: tuple[str, ...] = ()
    proof: tuple[Fact, ...] = ()
    proofs: tuple[tuple[Fact, ...], ...] = ()
    all_proofs: bool = False
    failures: tuple[tuple[Fact, float], ...] = ()
    """Each uncertain fact that bears on the answer, and the certainty should it not hold; where asked for."""
    failures_exact: bool = True
    against: tuple[Fact, ...] = ()
    no: float = 0.0


class Answer(NamedTuple):
    """The rows of a question, how many were refused and left out, and remarks."""

    question: dict[str, Any]
    rows: tuple[Row, ...] = ()
    refused: int = 0
    notes: tuple[str, ...] = ()
    less: str = ""
    """The one of the remarks that tells how many were less certain than wanted, and left out."""


class Wanted(NamedTuple):
    """What the asker wants to see: the least certainty, refused ones too, the effort, all proofs."""

    at_least: float = 0.0
    refused_too: bool = False
    effort: int = certainty.EFFORT
    """0: certainties are only bounded from below, by the best proof."""
    proofs: bool = False
    """Whether all minimal proofs are listed, and not the best one alone."""
    failures: bool = False
    """Whether it is worked out for each fact what an answer's certainty would be without it."""
    most_weighed: int | None = None
    """Of more answers to one question, each certainty is only bounded by the best proof."""

    def of(self, answers: int) -> Wanted:
        """What is wanted of a question that has so many answers."""
        if self.most_weighed is None or answers <= self.most_weighed:
            return self
        return self._replace(effort=0)


DEFAULT = Wanted()


# Names ----------------------------------------------------------------------------------------


def known_positions(data: Names) -> dict[str, str]:
    """Key -> name of every position named anywhere."""
    return data.known("position")


def name_of(data: Names, kind: str, text: str) -> str:
    """The key of a known thing; raises WrongUse with the nearest names."""
    key = data.key(kind, fold(text))
    if _knows(data, kind, key):
        return key
    if meant := data.meanings(kind, fold(text)):
        names = " or ".join(sorted(data.text(kind, k) for k in meant))
        raise WrongUse(Problem(None, "ambiguous-name", f"{text!r} may be {names}", "use its own name"))
    near = did_you_mean(text, data.known(kind).values())
    raise WrongUse(
        Problem(None, "unknown-name", f"no {kind} is called {text!r}", near or "see `kgraph find`")
    )


def _knows(data: Names, kind: str, key: str) -> bool:
    """Whether a thing is known; a position is also where only an `except` names it."""
    return data.knows(kind, key) or (kind == "position" and data.leaves_out(key))


def part_named(data: Names, text: str) -> str:
    """The key of a part, also by a maker's number that only one part has."""
    try:
        return name_of(data, "part", text)
    except WrongUse:
        found = data.parts_numbered(fold(text))
        if len(found) > 1:
            names = " or ".join(sorted(data.text("part", k) for k in found))
            says = f"{text!r} is a number of several parts"
            raise WrongUse(Problem(None, "ambiguous-name", says, f"ask for {names}")) from None
        if not found:
            raise
        return found.pop()


def place_named(data: Names, words_given: tuple[str, ...]) -> tuple[str, str]:
    """(set key, position key) from the words of a command line, wherever the set's name ends."""
    for cut in range(1, len(words_given)):
        name, position = " ".join(words_given[:cut]), " ".join(words_given[cut:])
        set_key, position_key = data.key("set", fold(name)), data.key("position", fold(position))
        if _knows(data, "set", set_key) and _knows(data, "position", position_key):
            return set_key, position_key
    first = name_of(data, "set", words_given[0])
    return first, name_of(data, "position", " ".join(words_given[1:]))


# What goes where ------------------------------------------------------------------------------


class _Asked(NamedTuple):
    """One question under way: the walk, and how its targets become rows."""

    graph: Facts
    walked: proofs.Walked
    targets: dict[int, State]
    wanted: Wanted
    host_is_row: bool
    other: Place | None
    part: str = ""

    @property
    def data(self) -> Names:
        return self.graph.data


def takers_of_part(graph: Facts, part: str, wanted: Wanted = DEFAULT) -> Answer:
    """Every set and position that takes this part."""
    walked = proofs.explore(State("asked", part), lambda s: rules.forward(graph, s))
    targets = _set_places(walked, "goes", "")
    rows = _rows(_Asked(graph, walked, targets, wanted, True, None, part))
    return _answer({"command": "takers", "part": graph.data.text("part", part)}, rows, wanted, graph.data)


def takers_of_place(graph: Facts, set_key: str, position: str, wanted: Wanted = DEFAULT) -> Answer:
    """Every other set and position that takes what this set has at this position."""
    owner = f"s:{set_key}"
    walked = proofs.explore(State("is", owner, position), lambda s: rules.forward(graph, s))
    targets = _set_places(walked, "goes", owner)
    rows = _rows(_Asked(graph, walked, targets, wanted, True, Place(owner, position)))
    return _answer(_asked_place(graph.data, "takers", set_key, position), rows, wanted, graph.data)


def donors(
    graph: Facts, set_key: str, positions: Iterable[str], wanted: Wanted = DEFAULT, own_too: bool = False
) -> Answer:
    """Every other set, and which of its places, that can give what is wanted at these positions.

    With `own_too` the set itself as well, as another unit of it can give: its place by an empty proof.
    """
    owner = f"s:{set_key}"
    rows: list[Row] = []
    asked = list(positions)
    for position in asked:
        walked = proofs.explore(State("goes", owner, position), lambda s: rules.backward(graph, s))
        targets = _set_places(walked, "is", "" if own_too else owner)
        found = _rows(_Asked(graph, walked, targets, wanted, False, Place(owner, position)))
        rows += [r._replace(wanted=position) for r in found]
    question = {
        "command": "donors",
        "set": graph.data.text("set", set_key),
        "positions": [graph.data.text("position", p) for p in asked],
    }
    return _answer(question, rows, wanted, graph.data)


def places_of(graph: Facts, set_key: str) -> list[str]:
    """The positions at which anything is known of a set: named on it, or on what it is alike."""
    found = set()
    at = (graph.taken_at, graph.fits_from, graph.fits_to)
    for position in known_positions(graph.data):
        alike_here = graph.alike_places(Place(f"s:{set_key}", position))
        if len(alike_here) > 1 or any(p in places for p in alike_here for places in at):
            found.add(position)
    return sorted(found)


def _asked_place(data: Names, command: str, set_key: str, position: str) -> dict[str, Any]:
    return {"command": command, "set": data.text("set", set_key), "position": data.text("position", position)}


def _set_places(walked: proofs.Walked, phase: str, leave_out: str) -> dict[int, State]:
    return {
        i: s
        for i, s in enumerate(walked.states)
        if s.phase == phase and s.owner[0] == "s" and s.owner != leave_out
    }


def _rows(asked: _Asked) -> list[Row]:
    if not asked.targets:
        return []
    walked, number = families.reduced(asked.walked, asked.targets)
    wanted = {number[t] for t in asked.targets}
    best = proofs.best_proofs(walked, wanted)
    sure = _Certainties(asked.graph, walked, wanted, asked.wanted.of(len(asked.targets)))
    groups = _Items(asked)
    return [_row(asked, t, best[number[t]], groups, sure.of(number[t])) for t in sorted(asked.targets)]


class _Items:
    """Which items each target's answers are about; targets reached by the same states share them."""

    def __init__(self, asked: _Asked) -> None:
        self.asked = asked
        self.known: dict[int, tuple[frozenset[str], frozenset[Place]]] = {}
        walked = asked.walked
        parts = {
            i for i, s in enumerate(walked.states) if s.phase in ("part", "older", "sized", "source", "alike")
        }
        self.without_parts = proofs.spread(
            {0}, lambda s: [to for to, _ in walked.steps[s] if to not in parts]
        )

    def of(self, target: int) -> tuple[frozenset[str], frozenset[Place]]:
        """The part items and the place items of a target."""
        if target not in self.known:
            self._learn(target)
        return self.known[target]

    def _learn(self, target: int) -> None:
        walked, asked = self.asked.walked, self.asked
        leading = proofs.leading_to(walked, {target})
        if asked.part:
            parts = frozenset({asked.part})
            places: frozenset[Place] = frozenset()
        else:
            parts = frozenset(walked.states[i].owner for i in leading if walked.states[i].phase == "part")
            by_place = target in self.without_parts
            places = frozenset(
                Place(*walked.states[i][1:]) for i in leading if by_place and walked.states[i].phase == "is"
            )
        for other in asked.targets:
            if other in leading and walked.states[other][::2] == walked.states[target][::2]:
                self.known[other] = (parts, places)
        self.known[target] = (parts, places)


def _row(
    asked: _Asked,
    target: int,
    best: proofs.Best,
    groups: _Items,
    sure: _Sure,
) -> Row:
    state = asked.targets[target]
    walked = asked.walked
    parts, places = groups.of(target)
    proof = walked.fact_list(best.labels)
    strongest = proofs.product(walked, best.labels)
    bounds = sure.bounds.at_least(strongest)
    no, against = _strongest_no(asked, state, parts, places)
    row = Row(
        set=state.owner,
        position=state.position,
        part=_named_part(asked, proof),
        parts=_named_parts(asked, parts),
        standing=_standing(asked, state, strongest, no),
        best=strongest,
        certainty=bounds.low,
        bounds=None if bounds.exact else (bounds.low, bounds.high),
        basis=("stated facts", "size") if any(f.kind == "size" for f in proof) else ("stated facts",),
        work=_work(proof),
        differs=exceptions_of(asked.data, proof),
        proof=proof,
        proofs=sure.proofs,
        all_proofs=sure.all_proofs,
        failures=sure.failures,
        failures_exact=sure.failures_exact,
        against=against,
        no=no,
    )
    return _with_matches(asked, row._replace(cautions=_cautions(asked, row)))


class _Sure(NamedTuple):
    """How certain one target is, and its minimal proofs where they were listed."""

    bounds: certainty.Bounds
    proofs: tuple[tuple[Fact, ...], ...] = ()
    all_proofs: bool = False
    failures: tuple[tuple[Fact, float], ...] = ()
    failures_exact: bool = True


class _Certainties:
    """The certainty of each target of a walk, by the cheapest exact method that serves."""

    def __init__(self, graph: Facts, walked: proofs.Walked, targets: set[int], wanted: Wanted) -> None:
        self.walked, self.wanted = walked, wanted
        self.values = [f.certainty for f in walked.facts]
        tables = blocks.tables_of(graph)
        self.of_family = families.all_members(walked, targets, wanted.effort, tables) if wanted.effort else {}
        self.failing = families.without_each(walked, targets, 1, tables) if wanted.failures else {}
        self.hard = targets - self.of_family.keys() if wanted.effort else set()
        listed = targets if wanted.proofs else self.hard
        if wanted.failures:
            listed = listed | (targets - self.failing.keys())
        self.minimal = proofs.minimal_proofs(walked, listed) if listed else {}

    def of(self, target: int) -> _Sure:
        """Exact, or proven bounds."""
        if target in self.failing:
            failing = self.failing[target]
            facts = ((self.walked.facts[i], c) for i, c in failing.left.items())
            left = tuple((f, c) for f, c in facts if f.certainty < 1.0)
            return _Sure(self._bounds(target), failures=left, failures_exact=failing.exact)
        if target not in self.minimal or not (self.wanted.proofs or self.wanted.failures):
            return _Sure(self._bounds(target))
        found = self.minimal[target]
        listed = tuple(self.walked.fact_list(sorted(p)) for p in found.found)
        return _Sure(self._bounds(target), listed, found.complete)

    def _bounds(self, target: int) -> certainty.Bounds:
        if not self.wanted.effort:
            return certainty.Bounds(0.0, 1.0)
        bounds = self.of_family.get(target)
        if bounds is not None and bounds.exact:
            return bounds
        by_proofs = self._of_proofs(target)
        if by_proofs is not None:
            return by_proofs
        if bounds is not None:
            return bounds.at_least(self._few(target))
        try:
            return certainty.of_walk(self.walked, target, self.wanted.effort, max(1, len(self.hard)))
        except certainty.OutOfReach:
            return certainty.Bounds(self._few(target), 1.0)

    def _of_proofs(self, target: int) -> certainty.Bounds | None:
        found = self.minimal.get(target)
        if found is None or not found.complete:
            return None
        try:
            exact = certainty.of_proofs(found.found, self.values)
        except certainty.OutOfReach:
            return None
        return certainty.Bounds(exact, exact)

    def _few(self, target: int) -> float:
        """What a few proofs with little in common give already: a lower bound."""
        found = proofs.different_proofs(self.walked, target, FEW)
        return certainty.of_proofs(found, self.values, 1 << FEW)


def _named_part(asked: _Asked, proof: tuple[Fact, ...]) -> str | None:
    if asked.part:
        return asked.part
    takes = [f for f in proof if f.kind == "takes"]
    if not takes:
        return None
    return str(takes[0 if asked.host_is_row else -1].args[0])


def _named_parts(asked: _Asked, parts: frozenset[str]) -> tuple[str, ...]:
    found = set(parts)
    if asked.part:
        found = alike(asked.graph, asked.part)
    rest = sorted(p for p in found if p != asked.part)
    return tuple([asked.part, *rest] if asked.part else rest)


def alike(graph: Facts, part: str) -> set[str]:
    """The part and every other name that `same` facts give it."""
    found, todo = {part}, [part]
    while todo:
        for other, _ in graph.same.get(todo.pop(), ()):
            if other not in found:
                found.add(other)
                todo.append(other)
    return found


def _standing(asked: _Asked, state: State, best: float, no: float) -> str:
    if no > 0:
        return "refused" if no >= best - 1e-12 else "disputed"
    return "stated" if _says_exactly(asked, state) else "inferred"


def _says_exactly(asked: _Asked, state: State) -> bool:
    here = Place(state.owner, state.position)
    if asked.part:
        return any(p == asked.part for p, _, _ in asked.graph.taken_at.get(here, ()))
    source, target = (asked.other, here) if asked.host_is_row else (here, asked.other)
    return source is not None and any(t == target for t, _ in asked.graph.fits_from.get(source, ()))


def _work(proof: tuple[Fact, ...]) -> tuple[str, ...]:
    return tuple(f.args[5] for f in proof if f.kind == "fits" and f.args[5])


def exceptions_of(data: Names, proof: tuple[Fact, ...]) -> tuple[str, ...]:
    """What the rebadge and uses facts of a proof leave out, each name once."""
    left_out = dict.fromkeys(k for f in proof if f.kind in ("rebadge", "uses") for k in f.args[2])
    return tuple(data.text("position", key) for key in left_out)


def _strongest_no(
    asked: _Asked, state: State, parts: frozenset[str], places: frozenset[Place]
) -> tuple[float, tuple[Fact, ...]]:
    host = Place(state.owner, state.position) if asked.host_is_row or asked.other is None else asked.other
    return refusals_of(asked.graph).strongest(host, parts, places)


def _cautions(asked: _Asked, row: Row) -> tuple[str, ...]:
    data = asked.data
    names: dict[str, str] = {}
    for position in (row.position, asked.other.position if asked.other else ""):
        names.update((n.key, n.text) for n in data.position_rules(position)[1])
    for part in (*row.parts, *([row.part] if row.part else [])):
        names.update(part_cautions(data, part))
    keys = {k: data.key("caution", k) for k in names}
    called = (
        data.text("caution", keys[k]) if data.knows("caution", keys[k]) else t for k, t in names.items()
    )
    return tuple(dict.fromkeys(called))


@cache
def trade_cautions() -> Mapping[str, str]:
    """Key -> text of the cautions of the trade, which need no entry."""
    return {fold(name): text for name, text in words.CAUTIONS.items()}


def part_cautions(data: Names, part: str) -> dict[str, str]:
    """Key -> name of the cautions of the kind that a part is of."""
    return {n.key: n.text for n in data.kind_cautions(sort_of(data, part))}


# Attributes that must match -------------------------------------------------------------------


def _with_matches(asked: _Asked, row: Row) -> Row:
    positions = {row.position, asked.other.position if asked.other else row.position}
    for other in _counterparts(asked, row):
        for verdict, says in unmatched(asked.data, row.set, other, positions):
            standing = row.standing if verdict is None else "refused"
            row = row._replace(standing=standing, warnings=(*row.warnings, says))
    return row


def unmatched(data: Names, one: str, other: str, positions: Iterable[str]) -> list[tuple[bool | None, str]]:
    """The attributes that must match at these places and do not (False) or are not recorded (None), in words.

    `one` and `other` are the owners of two sets.
    """
    attributes = {compared(a): a for p in sorted(positions) for a in data.position_rules(p)[0]}
    verdicts = [_compare_attribute(data, one, other, a) for a in attributes.values()]
    return [(verdict, says) for verdict, says in verdicts if not verdict]


def _counterparts(asked: _Asked, row: Row) -> list[str]:
    """The set at the other end: the one asked about, or the set whose part the best proof starts from."""
    if asked.other:
        return [asked.other.owner]
    owners = (f.args[1] for f in row.proof if f.kind == "takes")
    return [o for o in dict.fromkeys(owners) if o[0] == "s" and o != row.set]


def _compare_attribute(data: Names, one: str, other: str, attribute: str) -> tuple[bool | None, str]:
    values = {owner: _recorded(data, owner, attribute) for owner in (one, other)}
    missing = [data.owner_text(o) for o, v in values.items() if not v]
    if missing:
        return None, f"{attribute} is not recorded on {' or '.join(missing)}: check it first"
    if _folded(values[one]) & _folded(values[other]):
        return True, ""
    says = " but ".join(f"{', '.join(v)} on {data.owner_text(o)}" for o, v in values.items())
    return False, f"{attribute} must match: {says}"


def _recorded(data: Names, owner: str, attribute: str) -> list[str]:
    """What is recorded of a set: each item of a list is a value of its own."""
    found = (v if isinstance(v, list | tuple) else (v,) for v in data.attribute("set", owner[2:], attribute))
    return [v if isinstance(v, str) else ", ".join(map(str, v)) for values in found for v in values]


def _folded(values: list[str]) -> set[str]:
    return {compared(v) for v in values}


# Answers --------------------------------------------------------------------------------------


def _answer(question: dict[str, Any], rows: list[Row], wanted: Wanted, data: Names) -> Answer:
    shown = [r for r in rows if r.certainty >= wanted.at_least]
    refused = sum(r.standing == "refused" for r in shown)
    if not wanted.refused_too:
        shown = [r for r in shown if r.standing != "refused"]
    shown.sort(key=lambda r: (r.wanted, -r.best, -r.certainty, data.owner_text(r.set), r.position))
    less = _less_certain(rows, wanted)
    return Answer(question, tuple(shown), refused, tuple(_notes(shown, refused, less, wanted)), less)


def _less_certain(rows: list[Row], wanted: Wanted) -> str:
    number = sum(r.certainty < wanted.at_least for r in rows)
    were = "answer is" if number == 1 else "answers are"
    return f"{number} {were} less certain than {wanted.at_least} and left out." if number else ""


def _notes(rows: list[Row], refused: int, less: str, wanted: Wanted) -> Iterable[str]:
    if less:
        yield less
    if refused and not wanted.refused_too:
        were = "answer is" if refused == 1 else "answers are"
        yield f"{refused} {were} refused and left out; --all shows them."
    if any(r.bounds for r in rows):
        yield "Some certainties are proven bounds, the lower one shown; a larger --effort narrows them."
    if any("size" in r.basis for r in rows):
        yield SIZE_NOTE
    if wanted.proofs and any(not r.all_proofs for r in rows):
        yield f"Some answers have more than {proofs.PROOFS_KEPT} proofs; not all of them are listed."
    if rows:
        yield SCALE_NOTE


def sisters(graph: Facts, set_key: str, wanted: Wanted = DEFAULT) -> Answer:
    """Every set that is the same design under another badge, and what differs on the best way there."""
    walked = proofs.explore(State("set", f"s:{set_key}"), lambda s: rules.rebadged(graph, s))
    targets = {i: s for i, s in enumerate(walked.states) if i}
    question = {"command": "sisters", "set": graph.data.text("set", set_key)}
    return _answer(question, _plain_rows(graph, walked, targets, wanted), wanted, graph.data)


def _plain_rows(graph: Facts, walked: proofs.Walked, targets: dict[int, State], wanted: Wanted) -> list[Row]:
    best = proofs.best_proofs(walked)
    certainties = _Certainties(graph, walked, set(targets), wanted.of(len(targets)))
    return [
        _plain_row(graph, state.owner, walked, best[target], certainties.of(target))
        for target, state in targets.items()
    ]


def _plain_row(graph: Facts, owner: str, walked: proofs.Walked, best: proofs.Best, sure: _Sure) -> Row:
    proof = walked.fact_list(best.labels)
    strongest = proofs.product(walked, best.labels)
    bounds = sure.bounds.at_least(strongest)
    return Row(
        set=owner,
        standing="stated" if len(proof) == 1 else "inferred",
        best=strongest,
        certainty=bounds.low,
        bounds=None if bounds.exact else (bounds.low, bounds.high),
        differs=exceptions_of(graph.data, proof),
        proof=proof,
        proofs=sure.proofs,
        all_proofs=sure.all_proofs,
    )


def shares(graph: Facts, set_key: str, wanted: Wanted = DEFAULT) -> Answer:
    """Every assembly that a set is built on, and the other sets built on it."""
    owner = f"s:{set_key}"
    rows: list[Row] = []
    alone = []
    for assembly in sharing.built_on(graph, owner):
        network = sharing.network(graph, assembly)
        if not network.states_of(owner):
            continue
        found = _sharing_rows(graph, network, owner, assembly, wanted)
        rows += [r._replace(assembly=assembly, standing="inferred") for r in found]
        if not found:
            alone.append(graph.data.owner_text(assembly))
    question = {"command": "shares", "set": graph.data.text("set", set_key)}
    answer = _answer(question, rows, wanted, graph.data)
    ordered = sorted(
        answer.rows, key=lambda r: (graph.data.owner_text(r.assembly), -r.best, graph.data.owner_text(r.set))
    )
    notes = [f"{name} is shared with no other recorded set." for name in sorted(alone)]
    return answer._replace(rows=tuple(ordered), notes=(*notes, *answer.notes))


def _sharing_rows(
    graph: Facts, network: sharing.Network, owner: str, assembly: str, wanted: Wanted
) -> list[Row]:
    if not network.simple:
        walked, targets = _down_and_up(graph, owner, assembly)
        return _plain_rows(graph, walked, targets, wanted)
    tables = blocks.tables_of(graph)
    chances = network.chances_from(owner, wanted.effort, tables) if wanted.effort else {}
    best = network.best_from(owner)
    sure = {other: _Sure(chances.get(other, certainty.Bounds(0.0, 1.0))) for other in best}
    if wanted.proofs or (wanted.effort and not chances):
        walked, targets = _down_and_up(graph, owner, assembly)
        otherwise = _Certainties(graph, walked, set(targets), wanted)
        for target, state in targets.items():
            found = otherwise.of(target)
            bounds = chances.get(state.owner, found.bounds)
            sure[state.owner] = found._replace(bounds=bounds if bounds.exact else found.bounds)
    return [_plain_row(graph, other, network.walked, best[other], sure[other]) for other in best]


def _down_and_up(graph: Facts, owner: str, assembly: str) -> tuple[proofs.Walked, dict[int, State]]:
    walked = proofs.explore(State("from", owner), sharing.down_and_up(graph, assembly))
    targets = {i: s for i, s in enumerate(walked.states) if s.phase == "sharing" and s.owner != owner}
    return walked, targets
