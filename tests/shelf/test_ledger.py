"""What units have and want after the events: taken, put in, given back, withdrawn."""

from __future__ import annotations

import pytest

from kgraph.collection import build
from kgraph.collection.fact_ids import written_id
from kgraph.fits import graph as graphs
from kgraph.fits.graph import Place
from kgraph.problems import Where
from kgraph.shelf.conditions import is_spoilt, sounds_spoilt
from kgraph.shelf.ledger import Shelf, shelf_now
from kgraph.shelf.wholes import parts_of_whole
from tests.support import DEMO, graph_of, graph_of_folder

FACTS = """\
- assembly: LF4 front
  kind: front
  positions: [front, speaker grille, cassette lamp]
- assembly: LC4 cabinet
  kind: cabinet
  positions: [handle, dial scale]
- uses: LF4 front
  in: Larkfield LK-40
- uses: LC4 cabinet
  in: Larkfield LK-40
- rebadge: [Larkfield LK-40, Orvanek 2200]
  except: [speaker grille]
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
- same: [K-114, 440 1882]
- unit: D-1
  set: Larkfield LK-40
  role: donor
  state: {speaker grille: Broken, handle: scratched, cassette lamp: missing}
- unit: P-1
  set: Orvanek 2200
  role: patient
  keep: 2
  state: {front: altered}
  wants: [front, volume knob, speaker grille]
- stock: K-114
  count: 2
"""


def after(*events: str) -> Shelf:
    return shelf_now(graph_of(FACTS + "".join(events)))


def test_a_unit_comes_in_with_what_its_set_has_less_its_state() -> None:
    shelf = after()
    unit = shelf.units["d1"]
    usable = {p for p, held in unit.places.items() if held.usable}
    assert usable == {"front", "handle", "dialscale", "volumeknob"}
    assert unit.places["speakergrille"].condition == "Broken"
    assert unit.places["front"].origin == Place("s:larkfieldlk40", "front")
    assert (unit.keep, unit.opened, shelf.units["p1"].keep) == (5.0, False, 2.0)
    assert not shelf.units["p1"].places["front"].usable


def test_what_is_taken_is_gone_and_stands_where_it_went() -> None:
    shelf = after("- taken: handle\n  from: D-1\n  to: P-1\n  at: volume knob\n")
    giver, getter = shelf.units["d1"], shelf.units["p1"]
    assert (giver.places["handle"].usable, giver.opened) == (False, True)
    put_in = getter.places["volumeknob"]
    assert (put_in.origin, put_in.condition) == (Place("s:larkfieldlk40", "handle"), "scratched")
    assert (getter.wants, getter.met, getter.opened) == (("front", "speakergrille"), ("volumeknob",), False)


def test_an_article_goes_on_as_what_it_was_at_first() -> None:
    third = "- unit: E-1\n  set: Velmoor 10\n"
    events = "- taken: volume knob\n  from: D-1\n  to: E-1\n- taken: volume knob\n  from: E-1\n  to: P-1\n"
    shelf = after(third, events)
    assert shelf.units["p1"].places["volumeknob"].origin == Place("s:larkfieldlk40", "volumeknob")
    assert not shelf.units["e1"].places["volumeknob"].usable


def test_a_whole_assembly_goes_with_all_its_places() -> None:
    shelf = after("- taken: front\n  from: D-1\n  to: P-1\n")
    giver, getter = shelf.units["d1"], shelf.units["p1"]
    assert [giver.places[p].usable for p in ("front", "speakergrille", "cassettelamp")] == [False] * 3
    assert giver.places["handle"].usable
    assert getter.met == ("front",), "its broken speaker grille meets no want"
    assert getter.places["speakergrille"].condition == "Broken"
    assert getter.places["front"].usable


def test_a_whole_is_known_by_its_name_and_by_its_kind() -> None:
    graph = graph_of(FACTS)
    for position in ("front", "lf4front"):
        assert parts_of_whole(graph, "larkfieldlk40", position) == ("cassettelamp", "front", "speakergrille")
    assert parts_of_whole(graph, "larkfieldlk40", "cabinet") == ("dialscale", "handle")
    assert parts_of_whole(graph, "larkfieldlk40", "handle") == ()
    assert parts_of_whole(graph, "orvanek2200", "front") == ("cassettelamp", "front"), "not what is excepted"
    two = graph_of(
        FACTS + "- assembly: LB5\n  kind: front\n  positions: [foot]\n- uses: LB5\n  in: Larkfield LK-40\n"
    )
    assert parts_of_whole(two, "larkfieldlk40", "front") == (), "two of the kind"


def test_what_is_given_back_settles_what_is_owed() -> None:
    taken = "- taken: handle\n  from: D-1\n  to: P-1\n  owed: yes\n"
    assert [(o.unit, o.position, o.to, o.settled) for o in after(taken).owed] == [
        ("d1", "handle", "p1", None)
    ]
    shelf = after(taken, "- restored: handle\n  to: D-1\n")
    assert shelf.owed[0].settled is not None
    assert shelf.units["d1"].places["handle"].usable
    assert shelf.problems == ()


@pytest.mark.parametrize("part", ["K-114", "440 1882"])
def test_a_loose_part_is_used_up_under_any_of_its_names(part: str) -> None:
    shelf = after(f"- restored: volume knob\n  to: P-1\n  part: {part}\n")
    assert shelf.stock["k114"] == 1
    held = shelf.units["p1"].places["volumeknob"]
    assert (held.usable, held.origin) == (True, None)
    assert "volumeknob" in shelf.units["p1"].met


def test_stock_never_falls_below_none() -> None:
    shelf = after("- restored: volume knob\n  to: P-1\n  part: K-114\n" * 3)
    assert shelf.stock["k114"] == 0


@pytest.mark.parametrize(
    ("event", "code", "says"),
    [
        ("- taken: cassette lamp\n  from: D-1\n", "not-there", "came without it (missing)"),
        ("- taken: handle\n  from: D-1\n" * 2, "not-there", "was taken at facts.yaml:"),
        ("- taken: handle\n  from: D-1\n  to: D-1\n", "taken-from-itself", "D-1 gives to itself"),
        ("- restored: handle\n  to: D-1\n", "not-owed", "was owed none"),
    ],
)
def test_what_cannot_have_happened_is_told(event: str, code: str, says: str) -> None:
    (problem,) = after(event).problems
    assert (problem.code, says in problem.says) == (code, True)
    assert problem.where is not None


def test_an_event_that_was_withdrawn_did_not_happen() -> None:
    event = "- taken: handle\n  from: D-1\n"
    entry = graph_of(FACTS + event).data.entries[-1]
    back = f"- withdraw: {written_id(entry)}\n  why: the wrong unit\n"  # type: ignore[arg-type]
    shelf = after(event, back)
    assert shelf.units["d1"].places["handle"].usable
    assert not shelf.units["d1"].opened


def test_the_history_of_a_unit_in_order() -> None:
    shelf = after("- taken: handle\n  from: D-1\n  to: P-1\n", "- restored: handle\n  to: D-1\n")
    assert [e.kind for e in shelf.histories["d1"]] == ["unit", "taken", "restored"]
    assert [e.kind for e in shelf.histories["p1"]] == ["unit", "taken"]


def test_the_demo_shelf() -> None:
    shelf = shelf_now(graph_of_folder(DEMO))
    assert shelf.problems == ()
    assert [(o.unit, o.position) for o in shelf.owed if o.settled is None] == [("u01", "tapecounter")]
    assert shelf.units["u01"].opened
    assert shelf.units["u05"].places["meter"].origin == Place("s:kazumoreikzr7l", "meter")


# What goes back, what was thought better of -----------------------------------------------------


def test_what_is_put_in_from_another_unit_settles_what_is_owed_too() -> None:
    taken = "- taken: handle\n  from: D-1\n  to: P-1\n  owed: yes\n"
    shelf = after(taken, "- taken: handle\n  from: P-1\n  to: D-1\n")
    assert shelf.owed[0].settled is not None
    assert shelf.units["d1"].places["handle"].usable
    assert not shelf.units["p1"].places["handle"].usable
    assert shelf.problems == ()


def test_a_want_is_open_again_when_what_met_it_is_taken_out() -> None:
    there = "- taken: volume knob\n  from: D-1\n  to: P-1\n"
    back = "- taken: volume knob\n  from: P-1\n  to: D-1\n"
    assert after(there).units["p1"].wants == ("front", "speakergrille")
    assert after(there, back).units["p1"].wants == ("front", "volumeknob", "speakergrille")


def test_a_whole_assembly_comes_back_with_its_places() -> None:
    taken = "- taken: front\n  from: D-1\n  to: P-1\n  owed: yes\n"
    shelf = after(taken, "- restored: front\n  to: D-1\n")
    assert [p for p in ("front", "speakergrille") if not shelf.units["d1"].places[p].usable] == []
    assert shelf.owed[0].settled is not None


def test_more_than_was_counted_in_stock_is_told() -> None:
    shelf = after("- restored: volume knob\n  to: P-1\n  part: K-114\n" * 3)
    assert [(p.code, p.severity) for p in shelf.problems] == [("stock-used-up", "warning")]


def test_an_event_told_in_two_files_with_its_date_happened_once() -> None:
    event = "- taken: handle\n  from: D-1\n  to: P-1\n  date: 2024-01-02\n  by: EV\n"
    one, other = graph_of(FACTS + event).data.entries, graph_of(event).data.entries
    moved = [e.changed(where=Where("other.yaml", e.where.line)) for e in other]
    assert shelf_now(graphs.build(build([*one, *moved]))).problems == ()
    # In one file it is a second removal, and there is nothing left to take.
    assert [p.code for p in after(event, event).problems] == ["not-there"]


def test_a_withdrawal_for_a_source_takes_back_what_that_source_said() -> None:
    event = "- taken: handle\n  from: D-1\n  source: bench book\n"
    entry = graph_of(FACTS + event).data.entries[-1]
    by = f"- withdraw: {written_id(entry)}\n  source: "  # type: ignore[arg-type]
    assert after(event, by + "letters\n").units["d1"].opened
    assert not after(event, by + "bench book\n").units["d1"].opened


def test_events_count_in_the_order_of_reading_whatever_their_dates() -> None:
    late = "- taken: handle\n  from: D-1\n  to: P-1\n  date: 2025-01-01\n"
    early = "- taken: handle\n  from: P-1\n  to: D-1\n  date: 2024-01-01\n"
    shelf = after(late, early)
    assert (shelf.units["d1"].places["handle"].usable, shelf.problems) == (True, ())


@pytest.mark.parametrize(
    ("condition", "spoilt", "sounds"),
    [
        ("Worn  out", True, False),
        ("snapped", True, False),
        ("broken off", False, True),
        ("snapped, second piece", False, True),
        ("unbroken", False, False),
        ("misisng", False, True),
        ("snaped", False, True),
        ("not there", False, True),
        ("Gone", False, True),
        ("cracked", True, False),
        ("good", False, False),
    ],
)
def test_what_a_condition_means(condition: str, spoilt: bool, sounds: bool) -> None:
    assert (is_spoilt(condition), sounds_spoilt(condition)) == (spoilt, sounds)
