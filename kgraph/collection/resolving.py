"""What a record states in resolved keys, and every name that an entry uses."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from kgraph import records, words
from kgraph.claims import (
    Claim,
    DistinctClaim,
    FaultClaim,
    FitsClaim,
    RebadgeClaim,
    RefusesClaim,
    ReplacesClaim,
    RunClaim,
    SameClaim,
    TakesClaim,
    UsesClaim,
)
from kgraph.names import Name, fold, name

if TYPE_CHECKING:
    from kgraph.collection import Collection


def claim_of(made: Collection, record: records.Statement) -> Claim:
    """What a record states, in resolved keys."""
    found: Claim = _CLAIMS[type(record)](made, record)
    return found


def _position(made: Collection, position: Name) -> str:
    return made.key("position", position.key)


def _part(made: Collection, part: Name) -> str:
    return made.key("part", part.key)


def exception_key(made: Collection, named: Name) -> str:
    """The key of what a name in an `except` leaves out: a position's, else an assembly's, else its own.

    A name that only the ground gives to a position may be that of an assembly here.
    """
    own = own_exception_key(made, named)
    if own in made.things["position"] or own in made.things["assembly"] or own in made.assemblies:
        return own
    return made.key("position", own)


def own_exception_key(made: Collection, named: Name) -> str:
    """The same through the names of the folder alone."""
    key = made.own_key("position", named.key)
    return made.own_key("assembly", key) if key not in made.things["position"] else key


def _exceptions(made: Collection, found: tuple[Name, ...]) -> tuple[str, ...]:
    return tuple(sorted({exception_key(made, n) for n in found}))


def _sets(made: Collection, r: Any) -> list[str]:
    return sorted(f"s:{made.key('set', n.key)}" for n in r.sets)


def _rebadge(made: Collection, r: Any) -> Claim:
    one, other = _sets(made, r)
    return RebadgeClaim(one, other, _exceptions(made, r.exceptions))


def _uses(made: Collection, r: Any) -> Claim:
    assembly = f"a:{made.key('assembly', r.assembly.key)}"
    return UsesClaim(assembly, made.owner(r.owner.key), _exceptions(made, r.exceptions))


def _takes(made: Collection, r: Any) -> Claim:
    return TakesClaim(_part(made, r.part), made.owner(r.owner.key), _position(made, r.position), r.role)


def _same(made: Collection, r: Any) -> Claim:
    return SameClaim(*sorted(_part(made, n) for n in r.parts))


def _replaces(made: Collection, r: Any) -> Claim:
    return ReplacesClaim(_part(made, r.new), _part(made, r.old))


def _fits(made: Collection, r: Any) -> Claim:
    source = (made.owner(r.owner.key), _position(made, r.position))
    target = (made.owner(r.to.key), _position(made, r.at))
    return FitsClaim(*source, *target, r.both_ways, " ".join(r.work.split()))


def _refuses(made: Collection, r: Any) -> Claim:
    here = (made.owner(r.owner.key), _position(made, r.position))
    if r.item_position is None:
        return RefusesClaim(_part(made, r.item), "", "", *here)
    return RefusesClaim("", made.owner(r.item.key), _position(made, r.item_position), *here)


def _distinct(made: Collection, r: Any) -> Claim:
    return DistinctClaim(*_sets(made, r))


def _fault(made: Collection, r: Any) -> Claim:
    signs = tuple(dict.fromkeys(" ".join(s.split()) for s in r.signs))
    check, cure = (" ".join(text.split()) for text in (r.check, r.cure))
    owner, position = made.owner(r.owner.key), _position(made, r.position)
    return FaultClaim(owner, position, r.fault.key, signs, check, cure)


def _run(made: Collection, r: Any) -> Claim:
    pulleys = tuple(
        (p.name, p.x_mm, p.y_mm, p.diameter_mm, p.outside, p.drives, p.rpm, p.capstan_mm) for p in r.pulleys
    )
    owner, position = made.owner(r.owner.key), _position(made, r.position)
    return RunClaim(owner, position, pulleys, r.stretch, r.pull_N_m, fold(r.pull_at) if r.pull_at else "")


_CLAIMS: Mapping[type[records.Statement], Any] = {
    records.Rebadge: _rebadge,
    records.Uses: _uses,
    records.Takes: _takes,
    records.Same: _same,
    records.Replaces: _replaces,
    records.Fits: _fits,
    records.Refuses: _refuses,
    records.Distinct: _distinct,
    records.Fault: _fault,
    records.Run: _run,
}


OwnerKind = Callable[[str], str]
"""The key of a name after `in:` -> the kind of thing that it names there."""


def names_used(made: Collection, entry: records.Entry) -> list[tuple[str, Name]]:
    """(kind of thing, name as written) for every name that an entry uses, its own name left out."""
    return _used(lambda key: "set" if made.owner(key)[0] == "s" else "assembly", entry)


def names_said(entry: records.Entry) -> Iterator[tuple[str, Name]]:
    """(how it is named, the name) for every name in an entry, before it is known whom an owner's name means.

    How: the kind of a thing that is used; `owner` for a set or an assembly; `except`; a kind and ` declared`
    or ` also`; `number` for one of a part's.
    """
    yield from _used(lambda key: "owner", entry)
    if isinstance(entry, records.Thing):
        yield f"{entry.kind} declared", entry.name
        yield from ((f"{entry.kind} also", other) for other in entry.also)
    if isinstance(entry, records.Part):
        yield from (("number", name(number)) for _, number in entry.numbers)
    if isinstance(entry, records.Rebadge | records.Uses):
        yield from (("except", left_out) for left_out in entry.exceptions)


def spellings(made: Collection) -> tuple[dict[str, dict[str, str]], dict[str, str]]:
    """Kind -> key -> every name that is used, as first written; and the same of what exceptions name."""
    spelt: dict[str, dict[str, str]] = {kind: {} for kind in words.THINGS}
    features: dict[str, str] = {}
    for entry in made.standing:
        if isinstance(entry, records.Rebadge | records.Uses):
            for named in entry.exceptions:
                features.setdefault(exception_key(made, named), named.text)
        for kind, used in names_used(made, entry):
            spelt[kind].setdefault(made.key(kind, used.key), used.text)
    return spelt, features


def _used(owner: OwnerKind, entry: records.Entry) -> list[tuple[str, Name]]:
    find = _USES.get(type(entry))
    found = list(find(owner, entry)) if find else []
    if isinstance(entry, records.Statement | records.Thing):
        found += [("source", source) for source in entry.sources]
    return found


def _refuses_uses(owner: OwnerKind, r: Any) -> list[tuple[str, Name]]:
    here = [(owner(r.owner.key), r.owner), ("position", r.position)]
    if r.item_position is None:
        return [("part", r.item), *here]
    return [(owner(r.item.key), r.item), ("position", r.item_position), *here]


def _part_uses(owner: OwnerKind, p: Any) -> list[tuple[str, Name]]:
    return [("kind", name(p.sort))] if name(p.sort).key else []


_USES: Mapping[type[records.Entry], Any] = {
    records.Rebadge: lambda o, r: [("set", n) for n in r.sets],
    records.Uses: lambda o, r: [("assembly", r.assembly), (o(r.owner.key), r.owner)],
    records.Takes: lambda o, r: [("part", r.part), (o(r.owner.key), r.owner), ("position", r.position)],
    records.Same: lambda o, r: [("part", n) for n in r.parts],
    records.Distinct: lambda o, r: [("set", n) for n in r.sets],
    records.Replaces: lambda o, r: [("part", r.new), ("part", r.old)],
    records.Fits: lambda o, r: [
        (o(r.owner.key), r.owner),
        ("position", r.position),
        (o(r.to.key), r.to),
        ("position", r.at),
    ],
    records.Refuses: _refuses_uses,
    records.Fault: lambda o, r: [(o(r.owner.key), r.owner), ("position", r.position)],
    records.Run: lambda o, r: [("position", r.position), (o(r.owner.key), r.owner)],
    records.Assembly: lambda o, a: [("position", n) for n in a.positions],
    records.Part: _part_uses,
    records.Position: lambda o, p: [("caution", n) for n in p.cautions],
    records.Kind: lambda o, k: [("caution", n) for n in k.cautions],
    records.Unit: lambda o, u: [
        *([("set", u.set)] if u.set else []),
        *(("position", n) for n, _ in u.state),
        *(("position", n) for n in u.wants),
    ],
    records.Stock: lambda o, s: [("part", s.name)],
    records.Taken: lambda o, t: [
        ("position", t.position),
        ("unit", t.unit),
        *([("unit", t.to)] if t.to else []),
    ],
    records.Restored: lambda o, t: [("position", t.position), ("unit", t.to)],
    records.Fitted: lambda o, t: [("part", t.part), ("position", t.position), ("unit", t.to)],
    records.Inspected: lambda o, t: [("position", t.position), ("unit", t.unit)],
}
