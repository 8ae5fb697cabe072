"""correct: a fact put right in one append; and what one pair said with unlike exceptions comes to."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from kgraph.collection.fact_ids import thing_id
from kgraph.folder import writing
from kgraph.names import fold
from kgraph.problems import CannotRun
from tests.support import ask, folder_with, graph_of, graph_of_folder

FACTS = """\
- set: Larkfield LK-40
- set: Orvanek 2200
- part: K-114
- source: parts list, LK-40
  type: printed
- rebadge: [Larkfield LK-40, Orvanek 2200]
  except: [line socket]
  how: compared
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: printed
  source: parts list, LK-40
"""
SHELF = """\
- unit: U-07
  set: Larkfield LK-40
- unit: U-11
  set: Orvanek 2200
  wants: [volume knob]
- taken: volume knob
  from: U-07
  to: U-11
  date: 2026-03-01
  by: EV
"""
AGAIN = """\
- rebadge: [Orvanek 2200, Larkfield LK-40]
  except: [dial scale]
  how: printed
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return folder_with(tmp_path, [("facts.yaml", FACTS), ("shelf.yaml", SHELF)])


def asked(folder: Path, capsys: Any, *words: str) -> list[dict[str, Any]]:
    _, answer = ask(capsys, "--data", str(folder), *words)
    found: list[dict[str, Any]] = answer["answers"]
    return found


def fact_id(folder: Path, capsys: Any, *words: str) -> str:
    """The id of the first fact of the proof of the first answer."""
    return str(asked(folder, capsys, *words)[0]["proof"][0]["fact"])


def design(folder: Path, capsys: Any) -> str:
    return fact_id(folder, capsys, "sisters", "Larkfield LK-40")


def corrected(folder: Path, *words: str) -> int:
    return run(["--data", str(folder), "correct", *words, "--yes"])


# One pair with unlike exceptions --------------------------------------------------------------


def test_another_exception_makes_nothing_surer(capsys: Any) -> None:
    """The highest certainty counts once, and what either saying leaves out is left out."""
    graph = graph_of(FACTS + AGAIN)
    (fact,) = [f for f in graph.data.facts.values() if f.kind == "rebadge"]
    assert fact.certainty == 0.95
    assert fact.claim[2] == ("dialscale", "linesocket")
    assert [len(graph.data.told_otherwise[fact.id]), len(fact.evidence)] == [2, 2]


def test_a_place_that_one_of_two_sayings_leaves_out_is_not_carried(folder: Path, capsys: Any) -> None:
    assert len(asked(folder, capsys, "takers", "K-114")) == 2
    (folder / "more.yaml").write_text(AGAIN.replace("dial scale", "volume knob"), encoding="utf-8")
    assert [a["set"] for a in asked(folder, capsys, "takers", "K-114")] == ["Larkfield LK-40"]


def test_the_order_of_the_sayings_decides_nothing() -> None:
    one, other = (graph_of(text).data.facts for text in (FACTS + AGAIN, AGAIN + FACTS))
    assert {i: (f.claim, f.certainty, f.ids) for i, f in one.items()} == {
        i: (f.claim, f.certainty, f.ids) for i, f in other.items()
    }


@pytest.mark.parametrize("first", [True, False])
def test_withdrawing_either_leaves_the_other_with_its_own(folder: Path, capsys: Any, first: bool) -> None:
    before = design(folder, capsys)
    (folder / "more.yaml").write_text(AGAIN, encoding="utf-8")
    joined = design(folder, capsys)
    target = before if first else joined
    assert run(["--data", str(folder), "withdraw", target, "--why", "misread", "--yes"]) == 0
    (sister,) = asked(folder, capsys, "sisters", "Larkfield LK-40")
    assert sister["differs"] == (["dial scale"] if first else ["line socket"])
    assert sister["certainty"] == (0.95 if first else 0.85)


def test_check_add_and_show_tell_it_and_offer_a_correction_that_mends_it(folder: Path, capsys: Any) -> None:
    words = ["rebadge", "Larkfield LK-40", "Orvanek 2200", "--except", "dial scale", "--how", "printed"]
    assert run(["--data", str(folder), "add", *words, "--yes"]) == 0
    said = "".join(capsys.readouterr())
    assert "told otherwise" in said
    offered = said.split("such as: ")[1].splitlines()[0]
    assert offered.startswith("kgraph correct ")
    run(["--data", str(folder), "check"])
    assert "kgraph correct " in capsys.readouterr().out
    run(["--data", str(folder), "show", design(folder, capsys)])
    assert capsys.readouterr().out.count("told so:") == 2
    _, _, one, key, names = offered.split(" ", 4)
    # Both are put right, one after the other, until they say the same.
    assert corrected(folder, one, key, names.strip("'")) == 0
    run(["--data", str(folder), "check"])
    said = capsys.readouterr().out
    _, _, one, key, names = said.split("such as: ")[1].splitlines()[0].split(" ", 4)
    assert corrected(folder, one, key, names.strip("'")) == 0
    run(["--data", str(folder), "check"])
    assert "told otherwise" not in capsys.readouterr().out
    (sister,) = asked(folder, capsys, "sisters", "Larkfield LK-40")
    assert sister["certainty"] == 0.95


def test_a_correction_of_an_exception_makes_no_answer_surer(folder: Path, capsys: Any) -> None:
    """What the fault was: the same rebadge with another except was a second proof of every answer."""
    before = {(a["set"], a["position"]): a["certainty"] for a in asked(folder, capsys, "takers", "K-114")}
    assert corrected(folder, design(folder, capsys), "except", "line socket, dial scale") == 0
    after = {(a["set"], a["position"]): a["certainty"] for a in asked(folder, capsys, "takers", "K-114")}
    assert after == before


# A fact ---------------------------------------------------------------------------------------


def test_the_withdrawal_and_the_new_fact_stand_one_after_the_other(folder: Path, capsys: Any) -> None:
    one = design(folder, capsys)
    assert corrected(folder, one, "except", "line socket, dial scale", "how", "fitted", "--by", "EV") == 0
    said = capsys.readouterr().out
    assert "until now: Larkfield LK-40 and Orvanek 2200 are one design, except line socket\n" in said
    assert "are one design, except dial scale, line socket\nthis makes 0 new answers" in said
    assert (folder / "bench.yaml").read_text(encoding="utf-8") == (
        f'- withdraw: {one}\n  why: "corrected: except was line socket, how was compared"\n  by: EV\n'
        "- rebadge: [Larkfield LK-40, Orvanek 2200]\n  except: [line socket, dial scale]\n  how: fitted\n"
        f"  by: EV\n  corrects: {one}\n"
    )
    (sister,) = asked(folder, capsys, "sisters", "Larkfield LK-40")
    assert (sister["differs"], sister["certainty"]) == (["dial scale", "line socket"], 0.98)


def test_an_empty_value_takes_the_key_away(folder: Path, capsys: Any) -> None:
    assert corrected(folder, design(folder, capsys), "except", "") == 0
    (sister,) = asked(folder, capsys, "sisters", "Larkfield LK-40")
    assert sister["differs"] == []


def test_what_it_states_stays_and_how_it_is_known_changes(folder: Path, capsys: Any) -> None:
    """Its id would be that of what was withdrawn, so it has one of its own, and can be withdrawn by it."""
    old = fact_id(folder, capsys, "takers", "K-114")
    assert corrected(folder, old, "how", "guess") == 0
    (answer,) = [a for a in asked(folder, capsys, "takers", "K-114") if a["set"] == "Larkfield LK-40"]
    assert answer["certainty"] == 0.4
    new = answer["proof"][0]["fact"]
    assert new != old
    assert run(["--data", str(folder), "withdraw", new, "--why", "misread", "--yes"]) == 0
    assert asked(folder, capsys, "takers", "K-114") == []


def certainty(folder: Path, capsys: Any) -> float:
    (answer,) = [a for a in asked(folder, capsys, "takers", "K-114") if a["set"] == "Larkfield LK-40"]
    return float(answer["certainty"])


@pytest.mark.parametrize("own", ["", "bench-17"])
@pytest.mark.parametrize("shown", [False, True], ids=["by the first id", "by the id that is shown"])
@pytest.mark.parametrize("name", ["a.yaml", "z.yaml"])
def test_how_it_is_known_is_corrected_again_and_again(
    own: str, shown: bool, name: str, tmp_path: Path, capsys: Any
) -> None:
    """By the id that it ever had, whether its file is read before or after that of the corrections."""
    facts = FACTS + (f"  id: {own}\n" if own else "")
    folder = folder_with(tmp_path, [(name, facts)])
    one = fact_id(folder, capsys, "takers", "K-114")
    for how, sure in (("guess", 0.4), ("photo", 0.7), ("fitted", 0.98), ("photo", 0.7), ("guess", 0.4)):
        now = fact_id(folder, capsys, "takers", "K-114") if shown else one
        assert corrected(folder, now, "how", how) == 0
        assert certainty(folder, capsys) == sure
    assert run(["--data", str(folder), "check"]) == 0
    assert run(["--data", str(folder), "withdraw", one, "--why", "misread", "--yes"]) == 0
    assert asked(folder, capsys, "takers", "K-114") == []


def test_a_correction_of_what_it_states_takes_all_that_was_said_back(folder: Path, capsys: Any) -> None:
    one = fact_id(folder, capsys, "takers", "K-114")
    assert corrected(folder, one, "how", "guess") == 0
    assert corrected(folder, one, "takes", "K-115") == 0
    assert asked(folder, capsys, "takers", "K-114") == []
    assert asked(folder, capsys, "takers", "K-115")[0]["certainty"] == 0.4


@pytest.mark.parametrize("own", ["", "bench-17"])
def test_what_it_states_is_put_back_as_it_was(own: str, tmp_path: Path, capsys: Any) -> None:
    folder = folder_with(tmp_path, [("facts.yaml", FACTS + (f"  id: {own}\n" if own else ""))])
    now, other = "K-114", "K-115"
    for _ in range(4):
        assert corrected(folder, fact_id(folder, capsys, "takers", now), "takes", other) == 0
        capsys.readouterr()
        now, other = other, now
        assert [a["certainty"] for a in asked(folder, capsys, "takers", now)][:1] == [0.95]
        assert asked(folder, capsys, "takers", other) == []
    assert run(["--data", str(folder), "check"]) == 0


def test_an_event_is_put_back_as_it_was(folder: Path, capsys: Any) -> None:
    for owed in ("yes", "", "yes", ""):
        (event,) = asked(folder, capsys, "show", "U-07")[0]["history"]
        assert corrected(folder, event["id"], "owed", owed) == 0
        assert len(asked(folder, capsys, "owed")) == (owed == "yes")


def test_what_somebody_corrected_is_taken_back_with_all_that_they_said(folder: Path, capsys: Any) -> None:
    one = fact_id(folder, capsys, "takers", "K-114")
    assert corrected(folder, one, "how", "guess", "--by", "EV") == 0
    assert run(["--data", str(folder), "withdraw", "--by", "EV", "--why", "misread", "--yes"]) == 0
    assert asked(folder, capsys, "takers", "K-114") == []


def test_of_several_sources_the_one_that_is_corrected_stands_with_it(tmp_path: Path, capsys: Any) -> None:
    facts = (
        "- takes: K-114\n  in: Larkfield LK-40\n  position: volume knob\n  how: printed\n"
        "  source: [page 3, page 4]\n"
    )
    folder = folder_with(tmp_path, [("facts.yaml", facts)])
    one = fact_id(folder, capsys, "takers", "K-114")
    assert corrected(folder, one, "how", "fitted", "--source", "page 3") == 0
    (fact,) = asked(folder, capsys, "takers", "K-114")[0]["proof"]
    assert {(e["how"], e["source"]) for e in fact["evidence"]} == {
        ("fitted", "page 3"),
        ("printed", "page 4"),
    }
    assert run(["--data", str(folder), "withdraw", one, "--source", "page 3", "--why", "no", "--yes"]) == 0
    assert corrected(folder, one, "how", "guess") == 0
    (fact,) = asked(folder, capsys, "takers", "K-114")[0]["proof"]
    assert [(e["how"], e["source"]) for e in fact["evidence"]] == [("guess", "page 4")]


def test_a_correction_can_be_corrected(folder: Path, capsys: Any) -> None:
    for names, how in (("line socket, meter", "guess"), ("line socket, meter", "fitted")):
        assert corrected(folder, design(folder, capsys), "except", names, "how", how) == 0
    (sister,) = asked(folder, capsys, "sisters", "Larkfield LK-40")
    assert (sister["differs"], sister["certainty"]) == (["line socket", "meter"], 0.98)


def test_one_source_alone_is_corrected(folder: Path, capsys: Any) -> None:
    more = "- takes: K-114\n  in: Larkfield LK-40\n  position: volume knob\n  how: fitted\n  source: letter\n"
    (folder / "more.yaml").write_text(more, encoding="utf-8")
    one = fact_id(folder, capsys, "takers", "K-114")
    assert corrected(folder, one, "how", "guess", "--source", "letter") == 0
    assert asked(folder, capsys, "takers", "K-114")[0]["certainty"] == 0.95
    assert corrected(folder, one, "how", "guess", "--source", "page 9") == 2


def test_all_who_said_it_are_named_before(folder: Path, capsys: Any) -> None:
    more = "- takes: K-114\n  in: Larkfield LK-40\n  position: volume knob\n  how: fitted\n  source: letter\n"
    (folder / "more.yaml").write_text(more, encoding="utf-8")
    assert corrected(folder, fact_id(folder, capsys, "takers", "K-114"), "takes", "K-115") == 0
    assert "said 2 times" in capsys.readouterr().err
    assert "source: letter" in (folder / "bench.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["none"], "has no value"),
        (["except", "line socket"], "says so already"),
        (["excpet", "meter"], "has no key excpet; did you mean except?"),
        (["how", "sure"], "is not a grade"),
        (["id", "mine"], "id cannot be corrected"),
        (["rebadge", "Larkfield LK-40"], "rebadge"),
    ],
)
def test_what_cannot_be_corrected_so_writes_nothing(
    folder: Path, capsys: Any, words: list[str], says: str
) -> None:
    one = design(folder, capsys)
    before = {p.name: p.read_bytes() for p in folder.glob("*.yaml")}
    assert corrected(folder, one, *words) == 2
    assert says in capsys.readouterr().err
    assert before == {p.name: p.read_bytes() for p in folder.glob("*.yaml")}


def test_without_a_terminal_it_asks_for_yes(folder: Path, capsys: Any) -> None:
    assert run(["--data", str(folder), "correct", design(folder, capsys), "except", "meter"]) == 2
    assert not (folder / "bench.yaml").exists()


def test_a_withdrawn_fact_is_not_corrected(folder: Path, capsys: Any) -> None:
    one = design(folder, capsys)
    assert run(["--data", str(folder), "withdraw", one, "--why", "misread", "--yes"]) == 0
    assert corrected(folder, one, "except", "meter") == 2
    assert "withdrawn already" in capsys.readouterr().err


def test_both_or_neither(folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The two are one append: what cannot be written whole leaves the file as it was."""
    one = design(folder, capsys)
    (folder / "bench.yaml").write_text("- set: Quillon 31\n", encoding="utf-8")

    def torn(*_: object) -> None:
        raise CannotRun("no room")

    monkeypatch.setattr(writing, "_replace", torn)
    assert corrected(folder, one, "except", "meter") == 3
    assert (folder / "bench.yaml").read_text(encoding="utf-8") == "- set: Quillon 31\n"


# Events and things ----------------------------------------------------------------------------


def test_an_event_is_corrected(folder: Path, capsys: Any) -> None:
    (event,) = asked(folder, capsys, "show", "U-07")[0]["history"]
    assert corrected(folder, event["id"], "owed", "yes") == 0
    (owed,) = asked(folder, capsys, "owed")
    assert owed["unit"] == "U-07"
    (event,) = asked(folder, capsys, "show", "U-07")[0]["history"]
    assert corrected(folder, event["id"], "date", "2026-03-02") == 0
    (event,) = asked(folder, capsys, "show", "U-07")[0]["history"]
    assert event["date"] == "2026-03-02"
    assert corrected(folder, event["id"], "from", "U-11") == 1
    assert "nothing was written" in capsys.readouterr().err


def test_an_event_is_corrected_again_and_again(folder: Path, capsys: Any) -> None:
    (event,) = asked(folder, capsys, "show", "U-07")[0]["history"]
    first = event["id"]
    for by in ("MT", "AK", "EV", "MT"):
        assert corrected(folder, first, "by", by) == 0
        (event,) = asked(folder, capsys, "show", "U-07")[0]["history"]
        assert event["by"] == by
    for by in ("AK", "EV"):
        assert corrected(folder, event["id"], "by", by) == 0
        (event,) = asked(folder, capsys, "show", "U-07")[0]["history"]
        assert event["by"] == by
    assert run(["--data", str(folder), "withdraw", first, "--why", "never", "--yes"]) == 0
    assert asked(folder, capsys, "show", "U-07")[0]["history"] == []


def test_a_unit_is_given_what_was_not_known_of_it(folder: Path, capsys: Any) -> None:
    assert (
        corrected(folder, "U-07", "role", "donor", "wants", "meter, dial glass", "state", "handle=missing")
        == 0
    )
    (unit,) = asked(folder, capsys, "show", "U-07")
    assert unit["wants"] == ["meter", "dial glass"]
    assert {e["position"]: e["condition"] for e in unit["places"]}["handle"] == "missing"


def test_what_an_entry_of_a_thing_says_is_taken_back_for_the_right_one(folder: Path, capsys: Any) -> None:
    data = graph_of_folder(folder).data
    (old,) = data.things["unit"][fold("U-07")]
    assert corrected(folder, "U-07", "set", "Orvanek 2200") == 0
    assert f"corrects: {thing_id(old)}" in capsys.readouterr().out
    data = graph_of_folder(folder).data
    (unit,) = data.things["unit"][fold("U-07")]
    assert dict(unit.pairs)["set"] == "Orvanek 2200"
    assert {k for k, _ in old.pairs} | {"corrects"} == {k for k, _ in unit.pairs}
    assert run(["--data", str(folder), "check"]) == 0
    # By its id, and back again: the first entry stays taken back.
    assert corrected(folder, thing_id(unit)[:8], "set", dict(old.pairs)["set"]) == 0
    (again,) = graph_of_folder(folder).data.things["unit"][fold("U-07")]
    assert thing_id(again) not in (thing_id(old), thing_id(unit))
    assert corrected(folder, thing_id(unit), "set", "Orvanek 2200") == 2
    assert "is withdrawn already" in capsys.readouterr().err
    assert corrected(folder, thing_id(again), "set", dict(old.pairs)["set"]) == 2
    assert "it says so already" in capsys.readouterr().err
    assert corrected(folder, "U-17", "set", "Orvanek 2200") == 2
    assert "did you mean" in capsys.readouterr().err


def test_two_entries_that_say_otherwise_are_named_with_their_ids(folder: Path, capsys: Any) -> None:
    for text in ("- set: Quillon 31\n  years: 1981\n", "- set: Quillon 31\n  years: 1981\n  market: UK\n"):
        with (folder / "more.yaml").open("a", encoding="utf-8") as file:
            file.write(text)
    assert corrected(folder, "Quillon 31", "years", "1983") == 2
    told = capsys.readouterr().err
    first = graph_of_folder(folder).data.things["set"]["quillon31"][0]
    assert f"take the other back: kgraph withdraw {thing_id(first)} --why ..." in told


def test_another_thing_too(folder: Path, capsys: Any) -> None:
    assert corrected(folder, "orvanek 2200", "mains", "220 V 50 Hz") == 0
    text = (folder / "bench.yaml").read_text(encoding="utf-8")
    assert text == "- set: Orvanek 2200\n  mains: 220 V 50 Hz\n"
