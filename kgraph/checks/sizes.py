"""Checks of recorded sizes: parts said to be the same, and sizes that cannot be compared."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from kgraph import records, size_rules
from kgraph.checks.ground import Check, CheckGround, at, warning
from kgraph.claims import SameClaim
from kgraph.fits.graph import sort_of
from kgraph.fits.sizes import NO_SIZES, recorded_size, rules_said, size_agrees
from kgraph.problems import Problem, shown


def parts_that_are_the_same_have_one_size(ground: CheckGround) -> Iterator[Problem]:
    """What both of two parts said to be the same record agrees by the rules of their kind.

    Those rules hold here whether or not the kind is generic; without any, every recorded value must agree.
    """
    for fact in ground.of_kind("same"):
        one, other = fact.of(SameClaim)
        found = [*_kinds_apart(ground, one, other), *_sizes_apart(ground, one, other)]
        if found:
            names = " and ".join(
                f"{shown(ground.data.text('part', p))} ({_at(ground, p)})" for p in (one, other)
            )
            says = f"{names} are said to be the same, and differ: {'; '.join(found)}"
            yield warning(fact.where, "same-but-differ", says, "measure again, or withdraw the fact")


def _at(ground: CheckGround, part: str) -> str:
    return at(ground.where("part", part))


def _kinds_apart(ground: CheckGround, one: str, other: str) -> Iterator[str]:
    kinds = sort_of(ground.data, one), sort_of(ground.data, other)
    if all(kinds) and kinds[0] != kinds[1]:
        yield f"kind {' and '.join(shown(ground.data.text('kind', k)) for k in kinds)}"


def _sizes_apart(ground: CheckGround, one: str, other: str) -> Iterator[str]:
    data = ground.data
    rules = rules_said(data, sort_of(data, one) or sort_of(data, other))
    for key in rules or _recorded(ground, one):
        rule = rules.get(key, "same")
        if recorded_size(data, one, key) is None or recorded_size(data, other, key) is None:
            continue
        # `at least` is no rule for one article: there both ways round must hold.
        if not (size_agrees(data, one, other, key, rule) and size_agrees(data, other, one, key, rule)):
            yield f"{shown(key)} {_show(ground, one, key)} and {_show(ground, other, key)}"


def _recorded(ground: CheckGround, part: str) -> list[str]:
    things = ground.data.things["part"].get(part, ())
    return sorted({k for t in things for k, _ in t.attributes} - NO_SIZES)


def _show(ground: CheckGround, part: str, key: str) -> str:
    written = ground.data.attribute("part", part, key)
    if written and isinstance(written[0], str):
        return shown(written[0])
    size = recorded_size(ground.data, part, key)
    return f"{size:.5g} mm" if isinstance(size, float) else shown(str(size))


def compared_sizes_can_be_read(ground: CheckGround) -> Iterator[Problem]:
    """A size that its kind compares is written as a length, or as a rating with its unit."""
    for kind in ground.graph.parts_of_kind:
        keys = [k for k, rule in rules_said(ground.data, kind).items() if not _same(rule)]
        for part in ground.graph.parts_of_kind[kind] if keys else ():
            for key in keys:
                if isinstance(recorded_size(ground.data, part, key), str):
                    yield _unread(ground, part, key)


def _same(rule: str) -> bool:
    return size_rules.compare_rule(rule).how == "same"


def _unread(ground: CheckGround, part: str, key: str) -> Problem:
    things: Sequence[records.Thing] = ground.data.things["part"].get(part, ())
    where = next((t.where for t in things if any(k == key for k, _ in t.attributes)), None)
    written = next((v for t in things for k, v in t.attributes if k == key), "")
    value = shown(written) if isinstance(written, str) else "a list or mapping"
    name = shown(ground.data.text("part", part))
    says = f"{shown(key)} of {name} is compared by its size, and {value} is none"
    return warning(where, "unread-size", says, "write it like 6.1 mm, or 25 V")


CHECKS: Sequence[Check] = (parts_that_are_the_same_have_one_size, compared_sizes_can_be_read)
