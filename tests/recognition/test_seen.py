"""What somebody says was seen, against what is recorded: years, lists on one line, stamps of assemblies."""

from __future__ import annotations

import pytest

from kgraph.questions.identify import identify
from kgraph.recognition.likelihood import fitting
from kgraph.recognition.seen import read
from kgraph.recognition.traits import families
from tests.support import graph_of

FOLDER = """
- set: Larkfield LK-40
  years: 1981-1984
  bands: [LW, MW]
  finish: grey, brushed
- set: Orvanek 2200
  years: 1983-85
  bands: [MW, SW]
- set: Quillon 31
  years: "1979"
- assembly: TN7 mechanism
  kind: tape mechanism
  also: [TN-7 deck]
- uses: TN7 mechanism
  in: Larkfield LK-40
  how: printed
- assembly: QM2 mechanism
  kind: tape mechanism
- uses: QM2 mechanism
  in: Quillon 31
  how: printed
"""


def chances(given: list[tuple[str, str]], folder: str = FOLDER) -> dict[tuple[str | None, str | None], float]:
    graph = graph_of(folder)
    return {(c.set, c.family): c.probability for c in identify(graph, read(graph, given)).candidates}


def test_a_year_agrees_with_every_span_that_holds_it() -> None:
    # In a folder in which both spans are written alike each look must weigh the same.
    alike = graph_of(FOLDER.replace("1981-1984", "eighties").replace("1983-85", "eighties"))
    expected = fitting(alike, *read(alike, [("years", "eighties")]).looks)
    graph = graph_of(FOLDER)
    seen = read(graph, [("years", "1983")])
    found = fitting(graph, *seen.looks)
    assert found.share == expected.share
    assert [found.of(o) for o in families(graph)] == [expected.of(o) for o in families(graph)]
    assert seen.notes == ()


@pytest.mark.parametrize(("year", "of"), [("1982", "s:larkfieldlk40"), ("ca. 1985", "s:orvanek2200")])
def test_a_year_of_one_span_is_as_good_as_the_span(year: str, of: str) -> None:
    span = {"s:larkfieldlk40": "1981-1984", "s:orvanek2200": "1983-85"}[of]
    assert chances([("years", year)]) == pytest.approx(chances([("years", span)]), abs=1e-12)
    graph = graph_of(FOLDER)
    (row,) = identify(graph, read(graph, [("years", year)])).fittings
    known = row.of(of)
    assert known is not None
    assert not known.apart


def test_a_year_that_is_recorded_itself_is_that_value() -> None:
    (look,) = read(graph_of(FOLDER), [("years", "1979")]).looks
    assert (look.value, look.agrees) == ("1979", frozenset())


def test_a_year_that_no_span_holds_is_told() -> None:
    (note,) = read(graph_of(FOLDER), [("years", "1970")]).notes
    assert note.startswith("no set has '1970' for years")


def test_a_list_on_one_line_is_each_of_its_values() -> None:
    graph = graph_of(FOLDER)
    apart = read(graph, [("bands", "LW"), ("bands", "MW"), ("bands", "DAB")])
    assert read(graph, [("bands", "LW, MW,DAB")]) == apart
    (whole,) = read(graph, [("finish", "grey, brushed")]).looks
    assert whole.text == "grey, brushed"


@pytest.mark.parametrize(
    ("key", "text"),
    [
        ("stamp", "TN7"),
        ("stamp", "tn7 mechanism"),
        ("tape mechanism", "TN7"),
        ("tape mechanism", "TN-7 deck"),
    ],
)
def test_an_assembly_is_meant_by_what_its_name_begins_with(key: str, text: str) -> None:
    graph = graph_of(FOLDER)
    (look,) = read(graph, [(key, text)]).looks
    assert (look.key, look.value) == ("tapemechanism", "tn7mechanism")
    assert chances([(key, text)]) == chances([("tape mechanism", "TN7 mechanism")])


def test_a_stamp_that_may_be_of_two_assemblies_stays_unknown() -> None:
    graph = graph_of(FOLDER + "- assembly: TN7 board\n  kind: board\n- uses: TN7 board\n  in: Orvanek 2200\n")
    seen = read(graph, [("stamp", "TN7")])
    assert seen.looks == ()
    assert seen.silent == ("stamp = TN7: no set records it",)


def test_stamps_that_sets_record_are_compared_as_such() -> None:
    graph = graph_of(FOLDER + "- set: Quillon 32\n  stamp: QX1\n")
    (look,) = read(graph, [("stamp", "TN7")]).looks
    assert look.key == "stamp"
