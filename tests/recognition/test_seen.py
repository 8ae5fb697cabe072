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


FM = """
- set: Larkfield LK-40
  bands: [LW, FM 87.5-108 MHz]
- set: Orvanek 2200
  bands: [MW, FM 76-90 MHz]
- set: Quillon 31
  bands: [LW, FMX]
"""


def test_what_is_seen_agrees_with_what_says_as_much_and_more() -> None:
    graph = graph_of(FM)
    seen = read(graph, [("bands", "fm")])
    assert seen.notes == ()
    found = fitting(graph, *seen.looks)
    rows = [found.of(owner) for owner in ("s:larkfieldlk40", "s:orvanek2200", "s:quillon31")]
    assert [row is not None and row.apart for row in rows] == [False, False, True]
    (exact,) = read(graph, [("bands", "FM 76-90 MHz")]).looks
    assert exact.agrees == frozenset()


PARTS = """
- part: K-114
  numbers: {Larkfield: 440 1882}
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
- same: [K-114, 77-2]
- takes: K-200
  in: Larkfield LK-40
  position: tone knob
- takes: K-200
  in: Larkfield LK-40
  position: balance knob
- set: Larkfield LK-40
  stamp: TN7
"""


@pytest.mark.parametrize("text", ["K-114", "440 1882", "77-2"])
@pytest.mark.parametrize("key", ["part", "part number", "number"])
def test_a_part_number_is_taken_for_what_is_at_its_one_place(key: str, text: str) -> None:
    graph = graph_of(PARTS)
    found = read(graph, [(key, text)])
    assert [look.name for look in found.looks] == ["volume knob"]
    assert found.notes == (f"the part {text} is taken for what is at volume knob",)


def test_a_part_of_two_places_or_of_none_is_not_taken_for_either() -> None:
    graph = graph_of(PARTS)
    for text in ("K-200", "K-999"):
        found = read(graph, [("part", text)])
        assert found.looks == ()
        assert "no set records 'part'" in found.notes[0]


def test_the_stamp_is_among_the_keys_that_a_wrong_one_is_held_to() -> None:
    folder = (
        "- assembly: TN7 mechanism\n  kind: tape mechanism\n- uses: TN7 mechanism\n  in: Larkfield LK-40\n"
    )
    assert "did you mean stamp?" in read(graph_of(folder), [("stampp", "TN7")]).notes[0]
