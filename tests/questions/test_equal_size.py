"""Parts of equal size: found without comparing every two, and the same as by comparing every two."""

from __future__ import annotations

from collections.abc import Mapping
from operator import add, mul

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kgraph import size_rules
from kgraph.belt_sizes import Section
from kgraph.fits import neighbours, sizes
from kgraph.fits.neighbours import Neighbours
from kgraph.fits.sizes import Size, agree

Recorded = dict[str, dict[str, Size]]
Rules = dict[str, str]

# Steps that are no further apart than rules allow, that lie on the very bound, or a rounding beyond it.
STEPS = [0.0, 1e-10, 1e-9, 1.1e-9, 3e-9, 0.05, 0.1, 0.1 + 5e-10, 0.1 + 2e-9, 0.5, 1.0]
LENGTHS = st.one_of(
    st.builds(add, st.sampled_from([1.0, 3.0, 262.0]), st.sampled_from(STEPS)),
    st.builds(mul, st.sampled_from([3.0, 262.0]), st.sampled_from([0.98, 1 / 0.98])),
    st.floats(0.01, 2000.0),
)
SECTIONS = st.one_of(
    st.builds(lambda form, mm: Section(form, (mm,)), st.sampled_from(["square", "round"]), LENGTHS),
    st.builds(lambda a, b: Section("flat", (max(a, b), min(a, b))), LENGTHS, LENGTHS),
)
TEXTS = st.sampled_from(["pan", "6mmd", "square"])
RULES = st.dictionaries(
    st.sampled_from(["section", "length", "bore", "head"]),
    st.sampled_from(["same", "Same", "at least", "0.1 mm", "0.5 mm", "2 %", "50 %"]),
)
SIZES = st.fixed_dictionaries(
    {}, optional={"section": SECTIONS, "length": LENGTHS, "bore": LENGTHS | TEXTS, "head": TEXTS | SECTIONS}
)


def pairwise(recorded: Recorded, rules: Rules, part: str, forward: bool) -> list[str]:
    """The parts that a part agrees with, by comparing it with every other."""
    ways = {o: (part, o) if forward else (o, part) for o in recorded if o != part}
    return [other for other, (one, two) in ways.items() if agree(recorded[one], recorded[two], rules)]


class OfOneKind(sizes.Sizes):
    """One kind of parts with their sizes."""

    def __init__(self, recorded: Recorded, rules: Rules) -> None:
        super().__init__()
        self.recorded, self.how = recorded, (rules, 0.9)

    def kind_of(self, part: str) -> str:
        return "screw"

    def rules(self, kind: str) -> tuple[Rules, float]:
        return self.how

    def of_kind(self, kind: str) -> Recorded:
        return self.recorded


def only_recorded(of: Mapping[str, Size], rules: Rules) -> dict[str, Size]:
    """What is compared by the rules, as `recorded_sizes` gives it."""
    return {key: size for key, size in of.items() if not rules or key in rules}


@settings(max_examples=400, deadline=None)
@given(st.lists(SIZES, max_size=25), RULES, st.sampled_from([0, 8]))
def test_the_same_as_comparing_every_two(found: list[dict[str, Size]], rules: Rules, few: int) -> None:
    recorded = {f"p{number}": only_recorded(of, rules) for number, of in enumerate(found)}
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(neighbours, "FEW", few)
        patched.setattr(sizes, "ASKED_ALONE", 0)
        of_kind = OfOneKind(recorded, rules)
        for part in recorded:
            for forward in (True, False):
                expected = pairwise(recorded, rules, part, forward)
                got = of_kind.equal(part, forward)
                assert [other for other, _ in got] == expected
                ways = [(part, o) if forward else (o, part) for o in expected]
                assert [fact for _, fact in got] == [sizes.size_fact(*way, 0.9) for way in ways]


def test_the_first_parts_that_are_asked_for_and_the_later_ones_are_answered_alike() -> None:
    recorded: Recorded = {f"p{n:02}": {"length": 3.0 + n / 10} for n in range(30)}
    of_kind = OfOneKind(recorded, {"length": "0.1 mm"})
    first = [of_kind.equal("p10", forward=True) for _ in range(sizes.ASKED_ALONE + 2)]
    assert first == [first[0]] * len(first)
    assert [other for other, _ in first[0]] == ["p09", "p11"]


def test_a_part_is_compared_with_few_of_many() -> None:
    recorded: Recorded = {
        f"p{n:04}": {"thread": 1.0 + n % 20 / 10, "length": 3.0 + n // 20 / 4} for n in range(2000)
    }
    near = Neighbours(recorded, {"thread": "same", "length": "0.5 mm"})
    assert max(len(near.of(part, forward=True)) for part in recorded) <= 4
    by_fraction = Neighbours(recorded, {"length": "1 %"})
    assert len(by_fraction.of("p1000", forward=True)) < 100
    at_least = Neighbours(recorded, {"length": "at least"})
    assert len(at_least.of("p0000", forward=True)) == 19
    assert len(at_least.of("p1999", forward=False)) == 19


def test_parts_that_record_nothing_to_compare_are_not_compared() -> None:
    recorded: Recorded = {"a": {}, "b": {}, "c": {"length": "long"}, "d": {"length": "long"}}
    near = Neighbours(recorded, {"length": "0.5 mm"})
    assert [near.of(part, forward=True) for part in recorded] == [[], [], [], []]


def test_a_rule_is_read_once(monkeypatch: pytest.MonkeyPatch) -> None:
    size_rules.compare_rule.cache_clear()
    read: list[str] = []
    length = size_rules.length
    monkeypatch.setattr(size_rules, "length", lambda text, **how: (read.append(text), length(text, **how))[1])
    recorded: Recorded = {f"p{n}": {"length": 3.0} for n in range(20)}
    of_kind = OfOneKind(recorded, {"length": "0.5 mm"})
    for part in recorded:
        assert len(of_kind.equal(part, forward=True)) == 19
    assert read == ["0.5 mm"]
