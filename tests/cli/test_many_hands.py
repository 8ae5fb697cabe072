"""Who said it, and taking it back; keeping up with the folders of others."""

from __future__ import annotations

from itertools import permutations
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from kgraph import records
from kgraph.cli.main import run
from kgraph.collection.fact_ids import thing_id, written_id
from tests.support import ask, folder_with, graph_of, graph_of_folder

TAKES = "- takes: {}\n  in: Larkfield LK-40\n  position: volume knob\n  how: {}\n"


def folder_of(root: Path, name: str, text: str) -> Path:
    (root / name).mkdir(exist_ok=True)
    return folder_with(root / name, [("a.yaml", text)])


def merge(ours: Path, theirs: Path, *more: str) -> int:
    return run(["--data", str(ours), "merge", str(theirs), "--yes", *more])


def certainties(folder: Path) -> dict[tuple[Any, ...], float]:
    """What each fact states -> how certain it is."""
    facts = graph_of_folder(folder).data.facts.values()
    return {(f.kind, *f.claim): round(f.certainty, 9) for f in facts}


def of_part(folder: Path, part: str) -> float | None:
    found = [c for (_, what, *_), c in certainties(folder).items() if what == part]
    return found[0] if found else None


# Keeping up -----------------------------------------------------------------------------------


@pytest.fixture
def two(tmp_path: Path) -> tuple[Path, Path]:
    ours = folder_of(tmp_path, "ours", TAKES.format("K-114", "reported"))
    theirs = TAKES.format("K-114", "fitted") + TAKES.format("K-2", "compared")
    return ours, folder_of(tmp_path, "bert", theirs)


def test_another_trust_replaces_the_last_and_none_keeps_it(two: tuple[Path, Path]) -> None:
    ours, bert = two
    for more, expected in (
        (["--trust", "0.5"], 0.425),
        ([], 0.425),
        (["--trust", "0.01"], 0.0085),
        (["--trust", "1"], 0.85),
    ):
        assert merge(ours, bert, *more) == 0
        assert of_part(ours, "k2") == pytest.approx(expected)
    assert of_part(ours, "k114") == 0.98


def test_what_they_correct_and_take_back_arrives_for_them_alone(two: tuple[Path, Path]) -> None:
    ours, bert = two
    assert merge(ours, bert) == 0
    one = next(f.id for f in graph_of_folder(bert).data.facts.values() if f.claim[0] == "k2")
    assert run(["--data", str(bert), "correct", one, "how", "guess", "--yes"]) == 0
    assert merge(ours, bert) == 0
    assert of_part(ours, "k2") == 0.4
    mine = next(f.id for f in graph_of_folder(bert).data.facts.values() if f.claim[0] == "k114")
    assert run(["--data", str(bert), "withdraw", mine, "--why", "misread", "--yes"]) == 0
    assert merge(ours, bert, "--trust", "0.01") == 0
    assert of_part(ours, "k114") == 0.6


def test_what_they_say_again_counts_again_as_often_as_they_turn_round(two: tuple[Path, Path]) -> None:
    ours, bert = two
    text = (bert / "a.yaml").read_text()
    for turn in range(6):
        folder_with(bert, [("a.yaml", text if turn % 2 == 0 else TAKES.format("K-114", "fitted"))])
        assert merge(ours, bert) == 0
        assert of_part(ours, "k2") == (0.85 if turn % 2 == 0 else None)
        assert run(["--data", str(ours), "check"]) == 0


def test_a_folder_is_known_again_by_its_name_wherever_it_lies(two: tuple[Path, Path]) -> None:
    ours, bert = two
    assert merge(ours, bert, "--as", "bert of the club") == 0
    before = {p.name: p.read_bytes() for p in ours.glob("*.yaml")}
    elsewhere = bert.rename(bert.parent / "sent by mail")
    assert merge(ours, elsewhere, "--as", "Bert of the Club") == 0
    assert {p.name: p.read_bytes() for p in ours.glob("*.yaml")} == before


def test_a_folder_written_with_marks_is_understood_and_kept_up_with(tmp_path: Path) -> None:
    """As version 0 wrote it: the mark in the note, the folder as source, the trust on the saying."""
    marked = TAKES.format("K-2", "compared") + "  source: bert\n  trust: 0.5\n  note: '[from bert]'\n"
    ours = folder_of(tmp_path, "ours", "- source: bert\n  type: letter\n" + marked)
    assert of_part(ours, "k2") == pytest.approx(0.425)
    bert = folder_of(tmp_path, "bert", TAKES.format("K-2", "compared"))
    assert merge(ours, bert, "--trust", "0.8") == 0
    assert of_part(ours, "k2") == pytest.approx(0.68)
    folder_with(bert, [("a.yaml", TAKES.format("K-3", "compared"))])
    assert merge(ours, bert) == 0
    assert of_part(ours, "k2") is None


PARTS = ("K-1", "K-2", "K-3")
SAID = st.lists(
    st.tuples(st.sampled_from(PARTS), st.sampled_from(["guess", "compared", "fitted"]), st.booleans()),
    max_size=4,
)


def text_of(said: list[tuple[str, str, bool]]) -> str:
    """What somebody says; where the last of three is set it is taken back behind."""
    text = "- set: Larkfield LK-40\n" + "".join(TAKES.format(part, how) for part, how, _ in said)
    ids = {f.claim[0]: f.id for f in graph_of(text).data.facts.values()}
    gone = {part for part, _, back in said if back}
    return text + "".join(
        f"- withdraw: {ids[part.lower().replace('-', '')]}\n  why: misread\n" for part in sorted(gone)
    )


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(SAID, st.lists(st.tuples(SAID, SAID), min_size=2, max_size=2), st.integers(0, 1))
def test_no_order_and_no_repetition_of_merging_changes_an_answer(
    mine: list[tuple[str, str, bool]], others: list[tuple[Any, Any]], first: int
) -> None:
    """Three people; two of them change what they say; merged in any order, and more often, it is the same."""
    results = []
    with TemporaryDirectory() as scratch:
        for number, order in enumerate(permutations([0, 1, 0, 1], 4)):
            if number % 6 != first:
                continue
            root = Path(scratch, str(number))
            root.mkdir()
            ours = folder_of(root, "ours", text_of(mine))
            own = certainties(ours)
            names = ("anna", "bert")
            for name, (before, _) in zip(names, others, strict=True):
                folder_of(root, name, text_of(before))
            for who in order[:2]:
                assert merge(ours, root / names[who], "--trust", "0.5") == 0
            for name, (_, after) in zip(names, others, strict=True):
                folder_of(root, name, text_of(after))
            for who in (*order, 0, 1):
                assert merge(ours, root / names[who], "--trust", "0.5") == 0
            found = certainties(ours)
            assert all(found.get(fact, 0) >= certainty for fact, certainty in own.items())
            assert run(["--data", str(ours), "check"]) == 0
            results.append(found)
    assert all(r == results[0] for r in results)


PEOPLE = ("anna", "bert", "carl")
PAIRS = [(one, other) for one in PEOPLE for other in PEOPLE if one != other]


def renamed(name: str, day: int) -> str:
    """An entry by which the set is called otherwise from a day on; none without a name."""
    return f"- set: Larkfield LK-40\n  called: {name}\n  date: 2026-03-0{day}\n" if name else ""


def facts_using(text: str, name: str) -> str:
    """The facts of somebody who writes the new name in them, as he calls the set so."""
    return text.replace("in: Larkfield LK-40", f"in: {name}") if name else text


@settings(max_examples=6, phases=[Phase.generate], deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.lists(
        st.tuples(SAID, st.sampled_from(["", "Larkfield 41", "Larkfield Mark 2"])), min_size=3, max_size=3
    ),
    st.booleans(),
    st.lists(st.permutations(PAIRS), min_size=2, max_size=2),
)
def test_three_who_rename_and_merge_each_other_in_any_order_come_to_the_same(
    three: list[tuple[list[tuple[str, str, bool]], str]], new_names: bool, orders: list[list[tuple[str, str]]]
) -> None:
    """Each says and takes back things, and may rename the set and use the new name; then all merge all.

    What each comes to is the same in any order. It need not be the same for all: what somebody took back
    without saying whose saying of it is meant counts no more for that person, whoever says it.
    """
    results = []
    with TemporaryDirectory() as scratch:
        for number, order in enumerate(orders):
            root = Path(scratch, str(number))
            root.mkdir()
            own = {}
            for day, (person, (said, name)) in enumerate(zip(PEOPLE, three, strict=True), 1):
                text = text_of(said) + renamed(name, day)
                folder = folder_of(root, person, facts_using(text, name) if new_names else text)
                own[person] = certainties(folder)
            # Twice, so that what is had from a third is there before it is asked for.
            for one, other in (*order, *order):
                assert merge(root / one, root / other) == 0
            found = {person: certainties(root / person) for person in PEOPLE}
            for person in PEOPLE:
                assert all(found[person].get(fact, 0) >= sure for fact, sure in own[person].items())
                assert run(["--data", str(root / person), "check"]) == 0
            shown = {p: graph_of_folder(root / p).data.text("set", "larkfieldlk40") for p in PEOPLE}
            results.append((found, shown))
    (first, names), (second, others) = results
    assert first == second
    assert names == others


# Things -----------------------------------------------------------------------------------------


def recorded(folder: Path) -> dict[str, set[str]]:
    """What is recorded of the set, by key."""
    found: dict[str, set[str]] = {}
    for thing in graph_of_folder(folder).data.things["set"].get("larkfieldlk40", ()):
        for key, value in thing.attributes:
            found.setdefault(key, set()).add(str(value))
    return found


def a_set(**said: str) -> str:
    return "- set: Larkfield LK-40\n" + "".join(f"  {key}: {value}\n" for key, value in said.items() if value)


def test_what_they_correct_of_a_thing_arrives_as_often_as_they_turn_round(tmp_path: Path) -> None:
    ours = folder_of(tmp_path, "ours", a_set(market="UK"))
    for turn in range(5):
        bert = folder_of(tmp_path, "bert", a_set(market="UK", years=f"198{turn % 2}", colour="grey"))
        for _ in range(2):
            assert merge(ours, bert) == 0
            assert recorded(ours) == {"market": {"UK"}, "years": {f"198{turn % 2}"}, "colour": {"grey"}}
            assert run(["--data", str(ours), "check"]) == 0
    assert merge(ours, folder_of(tmp_path, "bert", "- set: Quillon 31\n")) == 0
    assert recorded(ours) == {"market": {"UK"}}


def test_what_two_say_of_a_thing_stays_when_one_goes(tmp_path: Path, capsys: Any) -> None:
    ours = folder_of(tmp_path, "ours", "- set: Quillon 31\n")
    for name in ("anna", "bert"):
        folder = folder_of(tmp_path, name, a_set(years="1981", **{name: "yes"}))
        assert merge(ours, folder) == 0
    capsys.readouterr()
    assert run(["--data", str(ours), "withdraw", "--via", "anna", "--why", "guessed", "--yes"]) == 0
    assert "1 entry of things no longer counts" in capsys.readouterr().out
    for _ in range(2):
        assert recorded(ours) == {"years": {"1981"}, "bert": {"yes"}}
        assert run(["--data", str(ours), "check"]) == 0
        # What we took back ourselves stays so, however often they say it.
        assert merge(ours, tmp_path / "anna") == 0


def test_what_they_took_back_of_a_thing_and_we_say_is_told_and_stays(tmp_path: Path, capsys: Any) -> None:
    text = a_set(years="1981")
    ident = thing_id(graph_of(text).data.things["set"]["larkfieldlk40"][0])
    ours = folder_of(tmp_path, "ours", text)
    bert = folder_of(tmp_path, "bert", f"{text}- withdraw: {ident}\n  why: misread\n")
    assert merge(ours, bert) == 0
    assert f"if they are right: kgraph withdraw {ident}" in capsys.readouterr().err
    assert recorded(ours) == {"years": {"1981"}}
    assert run(["--data", str(ours), "withdraw", ident, "--why", "they are right", "--yes"]) == 0
    assert "until now: set: Larkfield LK-40, years: 1981" in capsys.readouterr().out
    assert recorded(ours) == {}


def test_all_of_a_source_and_a_person_is_taken_back_of_things_too(tmp_path: Path, capsys: Any) -> None:
    text = a_set(years="1981", source="list.csv") + a_set(market="UK", by="EV") + a_set(colour="grey")
    folder = folder_of(tmp_path, "club", text)
    words = ["--data", str(folder), "withdraw", "--why", "guessed"]
    assert run([*words, "--source", "LIST.csv", "--yes"]) == 0
    assert set(recorded(folder)) == {"market", "by", "colour"}
    assert run([*words, "--by", "ev", "--yes"]) == 0
    assert set(recorded(folder)) == {"colour"}
    assert run([*words, "--by", "EV", "--yes"]) == 2
    assert run(["--data", str(folder), "check"]) == 0
    capsys.readouterr()
    _, found = ask(capsys, "--data", str(folder), "show", "Larkfield LK-40")
    shown = found["answers"][0]
    assert [list(e["entry"]) for e in shown["withdrawn entries"]] == [
        ["set", "years", "source"],
        ["set", "market", "by"],
    ]
    assert run(["--data", str(folder), "show", shown["withdrawn entries"][0]["id"][:8]]) == 0
    assert "withdrawn (guessed)" in capsys.readouterr().out


def test_a_withdrawal_of_a_thing_is_taken_back_and_its_id_must_be_right(tmp_path: Path, capsys: Any) -> None:
    folder = folder_of(tmp_path, "club", a_set(years="1981"))
    ident = thing_id(graph_of_folder(folder).data.things["set"]["larkfieldlk40"][0])
    words = ["--data", str(folder), "withdraw"]
    assert run([*words, ident, "--why", "misread", "--yes"]) == 0
    assert run([*words, ident, "--why", "again", "--yes"]) == 2
    (back,) = graph_of_folder(folder).data.of_kind("withdraw")
    assert isinstance(back, records.Withdraw)
    assert run(["--data", str(folder), "add", "set", "Larkfield LK-40", "--years", "1981", "--yes"]) == 2
    told = capsys.readouterr().err
    assert (
        f"was withdrawn at {back.where} (misread); withdraw that first: kgraph withdraw {written_id(back)}"
        in told
    )
    assert run([*words, written_id(back), "--why", "it was right", "--yes"]) == 0
    assert recorded(folder) == {"years": {"1981"}}
    assert run(["--data", str(folder), "check"]) == 0
    assert run([*words, ident, "--why", "misread", "--yes"]) == 2
    assert "say why in other words" in capsys.readouterr().err
    assert run([*words, ident, "--why", "misread, once more", "--yes"]) == 0
    assert recorded(folder) == {}
    wrong = ("0" if ident[0] != "0" else "1") + ident[1:]
    with (folder / "a.yaml").open("a") as file:
        file.write(f"- withdraw: {wrong}\n  why: misread\n")
    assert run(["--data", str(folder), "check"]) == 1
    assert f"no fact and no thing has the id {wrong}" in (told := capsys.readouterr().out)
    assert f"did you mean {ident}, the set at" in told


def test_a_fact_is_found_by_the_name_that_a_thing_had_by_an_entry_taken_back(tmp_path: Path) -> None:
    also = "- set: Larkfield LK-40\n  also: [LK Forty]\n"
    folder = folder_of(
        tmp_path, "club", also + TAKES.format("K-1", "fitted").replace("Larkfield LK-40", "LK Forty")
    )
    assert run(["--data", str(folder), "withdraw", the_id(folder), "--why", "misread", "--yes"]) == 0
    ident = thing_id(graph_of_folder(folder).data.things["set"]["larkfieldlk40"][0])
    assert run(["--data", str(folder), "withdraw", ident, "--why", "another set", "--yes"]) == 0
    assert certainties(folder) == {}
    assert run(["--data", str(folder), "check"]) == 0


def test_a_trust_that_was_taken_back_can_be_said_again(two: tuple[Path, Path]) -> None:
    ours, bert = two
    for _ in range(3):
        assert merge(ours, bert, "--trust", "0.5") == 0
        assert of_part(ours, "k2") == pytest.approx(0.425)
        (via,) = graph_of_folder(ours).data.things["via"]["bert"]
        assert run(["--data", str(ours), "withdraw", thing_id(via), "--why", "misjudged", "--yes"]) == 0
        assert of_part(ours, "k2") == 0.85
    assert run(["--data", str(ours), "check"]) == 0


OF_A_SET = st.fixed_dictionaries(
    {k: st.booleans() for k in ("market", "years")} | {"own": st.sampled_from(["", "a", "b"])}
)


@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.tuples(OF_A_SET, OF_A_SET, OF_A_SET), min_size=2, max_size=2), OF_A_SET)
def test_what_people_say_of_a_thing_is_the_same_in_any_order(others: list[Any], mine: dict[str, Any]) -> None:
    """Two others change what they say twice; merged in any order and again it is what they say at last."""

    def text(who: str, said: dict[str, Any]) -> str:
        both = {"market": "UK" if said["market"] else "", "years": "1981" if said["years"] else ""}
        return a_set(**both, **{who: said["own"]})

    last = [mine, *(steps[-1] for steps in others)]
    expected = {k: {v} for k, v in (("market", "UK"), ("years", "1981")) if any(said[k] for said in last)}
    expected |= {who: {s["own"]} for who, s in zip(("ours", "anna", "bert"), last, strict=True) if s["own"]}
    for order in ((0, 1), (1, 0), (0, 0, 1)):
        with TemporaryDirectory() as scratch:
            ours = folder_of(Path(scratch), "ours", text("ours", mine))
            for step in range(3):
                for who in order:
                    name = ("anna", "bert")[who]
                    assert merge(ours, folder_of(Path(scratch), name, text(name, others[who][step]))) == 0
            assert recorded(ours) == expected
            assert run(["--data", str(ours), "check"]) == 0


# Who said it ------------------------------------------------------------------------------------

BOTH = TAKES.format("K-114", "fitted") + "  by: EV\n" + TAKES.format("K-114", "compared") + "  by: AK\n"


def the_id(folder: Path) -> str:
    return next(iter(graph_of_folder(folder).data.facts))


def test_what_one_member_said_is_taken_back_for_that_member(tmp_path: Path) -> None:
    folder = folder_of(tmp_path, "club", BOTH)
    words = ["--data", str(folder), "withdraw", the_id(folder), "--why", "misread", "--yes"]
    assert run([*words, "--by", "EV"]) == 0
    assert of_part(folder, "k114") == 0.85
    assert run([*words, "--all-sayings"]) == 0
    assert of_part(folder, "k114") is None


def test_all_that_somebody_said_is_taken_back_in_one_append(tmp_path: Path, capsys: Any) -> None:
    folder = folder_of(tmp_path, "club", BOTH + TAKES.format("K-9", "fitted") + "  by: EV\n")
    assert run(["--data", str(folder), "withdraw", "--by", "EV", "--why", "guessed", "--yes"]) == 0
    assert "1 fact no longer counts, 1 stays by" in capsys.readouterr().out
    assert (of_part(folder, "k114"), of_part(folder, "k9")) == (0.85, None)
    assert run(["--data", str(folder), "withdraw", "--by", "NOBODY", "--why", "x", "--yes"]) == 2
    assert run(["--data", str(folder), "withdraw", "--why", "x", "--yes"]) == 2


def test_all_that_came_by_a_folder_is_taken_back_and_ours_stays(two: tuple[Path, Path]) -> None:
    ours, bert = two
    assert merge(ours, bert) == 0
    assert run(["--data", str(ours), "withdraw", "--via", "bert", "--why", "guessed", "--yes"]) == 0
    assert (of_part(ours, "k114"), of_part(ours, "k2")) == (0.6, None)
    assert merge(ours, bert) == 0
    assert (of_part(ours, "k114"), of_part(ours, "k2")) == (0.6, None)


def test_what_we_take_back_stays_said_by_others(two: tuple[Path, Path], capsys: Any) -> None:
    ours, bert = two
    assert merge(ours, bert, "--trust", "0.5") == 0
    one = next(f.id for f in graph_of_folder(ours).data.facts.values() if f.claim[0] == "k114")
    assert run(["--data", str(ours), "withdraw", one, "--why", "misread", "--yes"]) == 0
    assert of_part(ours, "k114") == pytest.approx(0.49)
    assert merge(ours, bert) == 0
    assert of_part(ours, "k114") == pytest.approx(0.49)


def test_show_tells_by_source_and_via_of_every_saying(tmp_path: Path, capsys: Any) -> None:
    text = BOTH + "  source: letter 3\n  via: [bert, carl]\n- via: bert\n  trust: 0.6\n"
    folder = folder_of(tmp_path, "club", text)
    _, found = ask(capsys, "--data", str(folder), "show", the_id(folder))
    first, second = found["answers"][0]["evidence"]
    assert (first["by"], second["by"], second["source"], second["via"]) == (
        "EV",
        "AK",
        "letter 3",
        "bert, carl",
    )
    assert second["certainty"] == pytest.approx(0.51)


# Asked, not done -------------------------------------------------------------------------------


def answering(monkeypatch: pytest.MonkeyPatch, answers: list[bool]) -> list[str]:
    """A terminal on which these answers are given; the questions are kept."""
    asked: list[str] = []

    def confirm(text: str, **_: Any) -> bool:
        asked.append(text)
        return answers[len(asked) - 1]

    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("click.confirm", confirm)
    return asked


def test_what_they_took_back_and_we_say_is_asked_one_by_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    said = TAKES.format("K-1", "reported") + TAKES.format("K-2", "reported")
    ours = folder_of(tmp_path, "ours", said)
    back = "".join(f"- withdraw: {i}\n  why: misread\n" for i in graph_of(said).data.facts)
    bert = folder_of(tmp_path, "bert", said + back)
    assert run(["--data", str(ours), "merge", str(bert), "--yes"]) == 0
    assert (of_part(ours, "k1"), of_part(ours, "k2")) == (0.6, 0.6)
    asked = answering(monkeypatch, [True, False])
    assert run(["--data", str(ours), "merge", str(bert)]) == 0
    assert len(asked) == 2
    assert all("bert took it back (misread)" in question for question in asked)
    out = capsys.readouterr().out
    assert all(i in out for i in graph_of(said).data.facts)
    assert (of_part(ours, "k1"), of_part(ours, "k2")) == (None, 0.6)


def test_the_same_sayings_under_an_unlike_name_are_asked_about(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    said = "".join(TAKES.format(part, "compared") for part in PARTS)
    ours = folder_of(tmp_path, "ours", "- set: Larkfield LK-40\n")
    bert, moved = folder_of(tmp_path, "bert", said), folder_of(tmp_path, "usb stick", said)
    assert merge(ours, bert) == 0
    before = {path.name: path.read_bytes() for path in ours.glob("*.yaml")}
    assert run(["--data", str(ours), "merge", str(moved)]) == 2
    assert "say --as 'bert'" in capsys.readouterr().err
    asked = answering(monkeypatch, [False])
    assert run(["--data", str(ours), "merge", str(moved)]) == 1
    assert asked == ["is usb stick another folder than bert?"]
    assert {path.name: path.read_bytes() for path in ours.glob("*.yaml")} == before
    assert run(["--data", str(ours), "merge", str(moved), "--as", "bert"]) == 0
    assert {path.name: path.read_bytes() for path in ours.glob("*.yaml")} == before


def test_two_with_little_in_common_are_not_asked_about(tmp_path: Path) -> None:
    ours = folder_of(tmp_path, "ours", "- set: Larkfield LK-40\n")
    bert = folder_of(tmp_path, "bert", TAKES.format("K-1", "compared") + TAKES.format("K-2", "compared"))
    anna = folder_of(tmp_path, "anna", TAKES.format("K-1", "compared") + TAKES.format("K-3", "compared"))
    assert merge(ours, bert) == 0
    assert run(["--data", str(ours), "merge", str(anna)]) == 0


def test_the_text_of_a_proof_tells_whose_folder_it_came_by(two: tuple[Path, Path], capsys: Any) -> None:
    ours, bert = two
    assert merge(ours, bert) == 0
    capsys.readouterr()
    assert run(["--data", str(ours), "takers", "K-2", "--proof"]) == 0
    out = capsys.readouterr().out
    assert "via bert" in out


def test_of_two_new_names_that_come_the_later_is_shown_in_any_order(tmp_path: Path) -> None:
    for name, text in (("bert", renamed("Larkfield 41", 2)), ("carl", renamed("Larkfield Mark 2", 3))):
        folder_of(tmp_path, name, "- set: Larkfield LK-40\n" + text)
    for number, order in enumerate((("bert", "carl", "bert"), ("carl", "bert", "carl"))):
        ours = folder_of(tmp_path, f"ours {number}", "- set: Larkfield LK-40\n")
        for name in order:
            assert merge(ours, tmp_path / name) == 0
        data = graph_of_folder(ours).data
        assert data.text("set", "larkfieldlk40") == "Larkfield Mark 2"
        assert data.key("set", "larkfield41") == "larkfieldlk40"
        assert run(["--data", str(ours), "check"]) == 0
