"""Laws of merging, on random folders: whatever is merged first or twice, the facts are the same."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from typing import Any

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from kgraph import collection
from kgraph.collection import Collection
from kgraph.collection.trusting import source_trust
from kgraph.exchange.merge import MergeWishes, merge
from kgraph.folder import reading, schema, writing
from kgraph.names import fold
from tests.outside.folders import EVIDENCE, Entry, as_text, folders

CASES = settings(max_examples=45, deadline=None)


def read(text: str, file: str) -> Collection:
    found = reading.read_bytes(text.encode(), file)
    entries, problems = schema.check_file(found)
    assert not [p for p in [*found.problems, *problems] if p.severity == "error"]
    return collection.build(entries)


def built(entries: Sequence[Entry], file: str) -> Collection:
    return read(as_text(entries), file) if entries else collection.build([])


def with_merged(ours: Collection, theirs: Collection, wanted: MergeWishes) -> Collection:
    """The folder after merging, as it is read from what is written."""
    merged = merge(ours, theirs, wanted)
    text = "".join(writing.entry_text(pairs) for pairs in merged.entries)
    new = read(text, f"merged-{wanted.origin}.yaml").entries if text else ()
    return collection.build([*ours.entries, *new])


def facts(data: Collection, where_from: bool = True) -> dict[Any, Any]:
    """What a folder holds, by what it states: certainty, and every saying once; and what is withdrawn.

    Without `where_from` whose folder it came by is left out.
    """

    def saying(e: Any) -> tuple[Any, ...]:
        if where_from:
            return (e.how, e.certainty, e.trust, fold(e.source), e.by, e.date, e.note, e.via)
        return (e.how or round(e.certainty, 9), round(e.certainty, 9), fold(e.source), e.by, e.date, e.note)

    held = {
        (f.kind, f.claim): (round(f.certainty, 9), {saying(e) for e in f.evidence})
        for f in data.facts.values()
    }
    gone = {(f.kind, f.claim): "withdrawn" for f, _ in data.withdrawn.values()}
    return {**held, **gone}


@st.composite
def three(draw: Callable[[st.SearchStrategy[Any]], Any]) -> list[list[Entry]]:
    """Three folders that know some facts in common, each without an error about ids."""
    one, two, other = (draw(folders(most_facts=6)) for _ in range(3))
    said = [e for e in one if "withdraw" not in e]
    common = draw(st.lists(st.sampled_from(said), max_size=4))
    every = [one, [*two, *common], [*other, *common[:2]]]
    assume(all(one_meaning(entries) for entries in every))
    return every


def one_meaning(entries: list[Entry]) -> bool:
    """Whether an id of a folder's own stands for one statement in it; else `check` finds an error already."""
    stated = [e for e in entries if "id" in e]
    return len({json.dumps({k: v for k, v in e.items() if k not in EVIDENCE}) for e in stated}) <= 1


TRUSTS = st.sampled_from([1.0, 1.0, 0.7, 0.5])


@CASES
@given(three(), TRUSTS, TRUSTS)
def test_the_order_of_two_folders_does_not_matter(every: list[list[Entry]], one: float, other: float) -> None:
    ours, anna, bert = (built(e, f"{i}.yaml") for i, e in enumerate(every))
    first, second = MergeWishes("anna", one), MergeWishes("bert", other)
    there = with_merged(with_merged(ours, anna, first), bert, second)
    back = with_merged(with_merged(ours, bert, second), anna, first)
    assert facts(there) == facts(back)


@CASES
@given(three())
def test_it_does_not_matter_who_merges_whom(every: list[list[Entry]]) -> None:
    """But for where things came from: each of the two then holds all that both said."""
    said = [[e for e in entries if "withdraw" not in e] for entries in every[:2]]
    anna, bert = built(said[0], "anna.yaml"), built(said[1], "bert.yaml")
    here = with_merged(anna, bert, MergeWishes("bert"))
    there = with_merged(bert, anna, MergeWishes("anna"))
    assert facts(here, False) == facts(there, False)


@CASES
@given(three(), TRUSTS)
def test_merged_twice_nothing_is_new_and_nothing_is_lost(every: list[list[Entry]], trust: float) -> None:
    ours = built(every[0], "ours.yaml")
    # What they took back themselves is nothing that they say.
    theirs = built([e for e in every[1] if "withdraw" not in e], "theirs.yaml")
    once = with_merged(ours, theirs, MergeWishes("anna", trust))
    assert merge(once, theirs, MergeWishes("anna", trust)).entries == []
    # The two may use one id of their own for two facts, and read together one of them would be lost.
    stated = [
        {k: v for k, v in e.items() if k != "id"} for e in [*every[0], *every[1]] if "withdraw" not in e
    ]
    together = built(stated, "both.yaml")
    assert {_stated(f) for f in _all(once)} == {_stated(f) for f in _all(together)}
    # What was said here before is said still.
    assert once.entries[: len(ours.entries)] == ours.entries


def _stated(fact: Any) -> tuple[Any, ...]:
    """What a fact says; exceptions said of one pair unite, but for those that were withdrawn."""
    return (fact.kind, *(fact.claim[:2] if fact.kind in ("rebadge", "uses") else fact.claim))


def _all(data: Collection) -> list[Any]:
    return [*data.facts.values(), *(f for f, _ in data.withdrawn.values())]


@CASES
@given(three())
def test_two_folders_that_merge_each_other_come_to_rest(every: list[list[Entry]]) -> None:
    anna, bert = built(every[0], "anna.yaml"), built(every[1], "bert.yaml")
    for _ in range(2):
        anna = with_merged(anna, bert, MergeWishes("bert", 0.7))
        bert = with_merged(bert, anna, MergeWishes("anna", 0.7))
    assert merge(anna, bert, MergeWishes("bert", 0.7)).entries == []
    assert merge(bert, anna, MergeWishes("anna", 0.7)).entries == []


@CASES
@given(three(), st.sampled_from([0.9, 0.5, 0.25]))
def test_trust_scales_each_saying_that_is_new(every: list[list[Entry]], trust: float) -> None:
    theirs = built([e for e in every[1] if "withdraw" not in e], "theirs.yaml")
    whole = with_merged(collection.build([]), theirs, MergeWishes("anna"))
    scaled = with_merged(collection.build([]), theirs, MergeWishes("anna", trust))
    assert whole.facts.keys() == scaled.facts.keys()
    for key, fact in whole.facts.items():
        assert abs(scaled.facts[key].certainty - trust * fact.certainty) < 1e-9
        assert [e.how for e in scaled.facts[key].evidence] == [e.how for e in fact.evidence]
    # The same by distrusting the folder afterwards, for what has no source of its own.
    late = [*whole.entries, *read('- source: anna\n  trust: "' + str(trust) + '"\n', "late.yaml").entries]
    for key, fact in collection.build(late).facts.items():
        for before, after in zip(whole.facts[key].evidence, fact.evidence, strict=True):
            expected = before.certainty * (trust if before.source == "anna" else 1)
            assert abs(after.certainty - expected) < 1e-9
    assert source_trust(collection.build(late), "anna") == trust
