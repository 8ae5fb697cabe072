"""take, owed, and events added by hand: what is written, what is refused, what is warned of."""

from __future__ import annotations

import errno
import json
import os
import shlex
import shutil
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from kgraph.collection.fact_ids import written_id
from kgraph.folder import disk
from kgraph.records import Statement
from kgraph.shelf.ledger import shelf_now
from tests.support import DEMO, ask, caution_of_the_trade, folder_with, graph_of_folder

FACTS = """\
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: fitted
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
- takes: K-200
  in: Quillon 31
  position: tone knob
- refuses: K-200
  in: Orvanek 2200
  position: tone knob
  how: fitted
- takes: K-200
  in: Orvanek 2200
  position: tone knob
- position: mains transformer
  must match: [mains]
  caution: charged capacitors
- assembly: LF4 front
  kind: front
  positions: [front, dial glass]
- uses: LF4 front
  in: Larkfield LK-40
- takes: T-1
  in: Larkfield LK-40
  position: mains transformer
- unit: D-1
  set: Larkfield LK-40
  role: donor
  state: {play key: broken, handle: missing}
- unit: D-2
  set: Larkfield LK-40
  role: keep
- unit: Q-1
  set: Quillon 31
- unit: P-1
  set: Orvanek 2200
  role: patient
  wants: [volume knob]
- unit: P-2
  set: Orvanek 2200
  role: patient
  wants: [volume knob]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return folder_with(tmp_path, [("facts.yaml", FACTS)])


def take(folder: Path, *words: str) -> int:
    return run(["--data", str(folder), "take", *words])


def test_a_removal_is_written_with_its_reason_and_cautions(folder: Path, capsys: Any) -> None:
    status = take(folder, "volume", "knob", "--from", "D-1", "--to", "P-1", "--owed", "--by", "EV")
    out = capsys.readouterr().out
    assert status == 0
    assert out == (
        "volume knob from D-1 to P-1\n"
        "goes there: inferred, 98 %\n"
        "    98 %  Larkfield LK-40 and Orvanek 2200 are one design  [fitted] "
        f"{folder}/facts.yaml:1\n"
        "warning: P-2 counts on it: nothing else on the shelf could be its volume knob\n"
        f"\nCaution, mains: {caution_of_the_trade('mains')}\n"
        f"\nCaution, charged capacitors: {caution_of_the_trade('charged capacitors')}\n"
        f"\nwritten: {folder}/bench.yaml:1\n"
    )
    written = (folder / "bench.yaml").read_text()
    assert written == "- taken: volume knob\n  from: D-1\n  to: P-1\n  owed: yes\n  by: EV\n"
    shelf = shelf_now(graph_of_folder(folder))
    assert (shelf.units["p1"].met, [o.unit for o in shelf.owed]) == (("volumeknob",), ["d1"])


def test_who_else_counts_on_it_and_what_would_be_left_for_them(folder: Path, capsys: Any) -> None:
    with (folder / "facts.yaml").open("a") as facts:
        facts.write("- unit: D-3\n  set: Orvanek 2200\n  role: donor\n")
        facts.write("".join(f"- inspected: volume knob\n  of: {d}\n  state: good\n" for d in ("D-1", "D-3")))
    assert take(folder, "volume knob", "--from", "D-3", "--json") == 0
    (answer,) = json.loads(capsys.readouterr().out)["answers"]
    assert [(c["unit"], c["want"]) for c in answer["counting"]] == [
        ("P-1", "volume knob"),
        ("P-2", "volume knob"),
    ]
    assert (
        "P-2 counts on it: it is the surest for its volume knob (100 %); the next is that of D-1 (98 %)"
        in answer["warnings"]
    )


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (("play key", "--from", "D-1"), 1, "it is broken"),
        (("handle", "--from", "D-1"), 1, "it came without it (missing)"),
        (("dial glass", "--from", "D-1", "--to", "D-1"), 1, "gives nothing to itself"),
        (("dial glass", "--from", "D-9"), 2, "no unit is called 'D-9'"),
        (("dial glass", "--from", "D-1", "--to", "P-9"), 2, "no unit is called 'P-9'"),
        (("dial glas", "--from", "D-1"), 2, "did you mean dial glass?"),
        (("dial glass", "--from", "D-1", "--at", "nowhere"), 2, "no position is called 'nowhere'"),
        (("dial glass",), 2, "--from"),
    ],
)
def test_what_cannot_be_taken_is_refused_and_nothing_written(
    folder: Path, capsys: Any, words: tuple[str, ...], status: int, said: str
) -> None:
    assert take(folder, *words) == status
    assert said in capsys.readouterr().err
    assert [p.name for p in folder.glob("*.yaml")] == ["facts.yaml"]


def test_what_was_taken_cannot_be_taken_again(folder: Path, capsys: Any) -> None:
    assert take(folder, "volume knob", "--from", "D-1", "--to", "P-1") == 0
    assert take(folder, "volume knob", "--from", "D-1", "--to", "P-2") == 1
    assert f"was taken at {folder}/bench.yaml:1:3" in capsys.readouterr().err
    # What came off with a whole assembly is gone as well.
    assert take(folder, "front", "--from", "D-1", "--to", "P-1") == 0
    assert take(folder, "dial glass", "--from", "D-1", "--to", "P-1") == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("volume knob", "--from", "D-2", "--to", "P-1"), "D-2 is kept"),
        (("volume knob", "--from", "P-2", "--to", "P-1"), "P-2 is itself being restored"),
        (("play key", "--from", "Q-1", "--to", "P-1"), "no fact says that it goes on P-1"),
        (("play key", "--from", "Q-1", "--to", "P-1"), "nothing is known of a play key on Quillon 31"),
        (("tone knob", "--from", "Q-1", "--to", "P-1"), "it is recorded that it does not go on P-1"),
        (("mains transformer", "--from", "D-1", "--to", "P-1"), "mains is not recorded on"),
    ],
)
def test_what_may_go_wrong_is_warned_of(folder: Path, capsys: Any, words: tuple[str, ...], said: str) -> None:
    status, found = ask(capsys, "--data", str(folder), "take", *words)
    assert status == 0
    assert any(said in w for w in found["answers"][0]["warnings"]), found["answers"][0]["warnings"]


def test_a_removal_as_json(folder: Path, capsys: Any) -> None:
    status, found = ask(capsys, "--data", str(folder), "take", "front", "--from", "D-1", "--to", "P-1")
    (answer,) = found["answers"]
    assert (status, found["refused"], found["written"]) == (0, 0, [f"{folder}/bench.yaml:1"])
    assert (answer["brings"], answer["owed"]) == (["dial glass"], False)
    status, found = ask(capsys, "--data", str(folder), "take", "front", "--from", "D-1", "--to", "P-1")
    assert (status, found["answers"], found["refused"]) == (1, [], 1)
    assert "was taken at" in found["notes"][0]


# Which file ------------------------------------------------------------------------------------


def test_a_new_event_goes_behind_all_earlier_ones(tmp_path: Path, capsys: Any) -> None:
    """bench.yaml is read before shelf.yaml: a removal written there would come before its predecessor."""
    there = "- taken: volume knob\n  from: D-1\n  to: P-1\n"
    folder = folder_with(tmp_path, [("bench.yaml", FACTS), ("shelf.yaml", there)])
    assert take(folder, "volume knob", "--from", "P-1", "--to", "P-2") == 0
    assert f"written: {folder}/shelf.yaml:4" in capsys.readouterr().out
    assert (folder / "bench.yaml").read_text() == FACTS
    shelf = shelf_now(graph_of_folder(folder))
    assert (shelf.problems, shelf.units["p2"].met) == ((), ("volumeknob",))


def test_a_file_that_would_make_later_events_impossible_is_refused(tmp_path: Path, capsys: Any) -> None:
    later = "- taken: volume knob\n  from: P-1\n  to: P-2\n"
    facts = FACTS + "  state: {volume knob: missing}\n"
    folder = folder_with(
        tmp_path,
        [("a.yaml", facts), ("b.yaml", "- taken: volume knob\n  from: D-1\n  to: P-1\n"), ("c.yaml", later)],
    )
    before = (folder / "a.yaml").read_bytes()
    # Nothing is wrong with taking it back from P-2, but read before the others there is nothing to take.
    words = ("volume knob", "--from", "P-2", "--to", "P-1", "--file", "a.yaml")
    assert take(folder, *words) == 3
    assert "and would count after the new one" in capsys.readouterr().err
    assert (folder / "a.yaml").read_bytes() == before


def test_a_plan_is_written_behind_earlier_events(tmp_path: Path, capsys: Any) -> None:
    folder = tmp_path / "demo"
    shutil.copytree(DEMO, folder)
    assert run(["--data", str(folder), "plan", "U-11", "--take"]) == 0
    assert "shelf.yaml" in capsys.readouterr().out
    assert not (folder / "bench.yaml").exists()


# Added by hand ---------------------------------------------------------------------------------


def test_an_event_added_by_hand_is_checked_for_what_is_there(folder: Path, capsys: Any) -> None:
    add = ["--data", str(folder), "add"]
    assert run([*add, "taken", "handle", "--from", "D-1", "--yes"]) == 1
    assert "came without it" in capsys.readouterr().err
    assert run([*add, "taken", "dial glass", "--from", "D-1", "--to", "P-1", "--owed", "yes", "--yes"]) == 0
    assert run([*add, "restored", "volume knob", "--to", "D-1", "--yes"]) == 0
    assert "which was owed none" in capsys.readouterr().err
    assert run([*add, "restored", "dial glass", "--to", "D-1", "--yes"]) == 0
    assert "owed" not in capsys.readouterr().err
    assert [o.settled is not None for o in shelf_now(graph_of_folder(folder)).owed] == [True]


def test_an_event_of_a_unit_that_is_not_declared_is_warned_of(folder: Path, capsys: Any) -> None:
    add = ["--data", str(folder), "add", "restored", "dial glass", "--to", "D-11", "--yes"]
    for new in ("new unit: D-11 (did you mean D-1?)\n", ""):
        assert run(add) == 0
        said = capsys.readouterr().err
        assert "warning: unit 'D-11' is not declared: the event counts for nothing on it until then" in said
        assert new in said


def test_a_spoilt_article_added_by_hand_is_warned_of(folder: Path, capsys: Any) -> None:
    words = ["--data", str(folder), "add", "taken", "play key", "--from", "D-1", "--to", "P-1", "--yes"]
    assert run(words) == 0
    assert "warning: the play key that D-1 gave was broken\n" in capsys.readouterr().err


def test_what_must_match_is_told_where_no_fact_says_that_it_goes(folder: Path, capsys: Any) -> None:
    """Whoever takes a transformer against the facts is told of the other mains all the same."""
    mains = "- set: Quillon 31\n  mains: 110 V 60 Hz\n- set: Orvanek 2200\n  mains: 220 V 50 Hz\n"
    folder_with(folder, [("mains.yaml", mains)])
    words = ("mains transformer", "--from", "Q-1", "--to", "P-1")
    status, found = ask(capsys, "--data", str(folder), "take", *words)
    said = "mains must match: 110 V 60 Hz on Quillon 31 but 220 V 50 Hz on Orvanek 2200"
    assert (status, found["answers"][0]["standing"]) == (0, None)
    assert said in found["answers"][0]["warnings"]
    sheet = ask(capsys, "--data", str(folder), "sheet", "P-1")[1]
    assert {"position": "mains transformer", "says": said} in sheet["doubtful"]


def test_an_event_is_taken_back_by_the_id_that_show_prints(folder: Path, capsys: Any) -> None:
    take(folder, "dial glass", "--from", "D-1", "--to", "P-1", "--date", "2024-05-01")
    event = graph_of_folder(folder).data.entries[0]
    assert isinstance(event, Statement)
    ident = written_id(event)
    capsys.readouterr()
    run(["--data", str(folder), "show", "D-1"])
    assert f"    {ident}  2024-05-01: dial glass taken from D-1, put in P-1" in capsys.readouterr().out
    back = ["--data", str(folder), "withdraw", ident, "--why", "the wrong unit", "--yes"]
    assert run(back) == 0
    assert shelf_now(graph_of_folder(folder)).units["d1"].places["dialglass"].usable
    capsys.readouterr()
    assert run(back) == 2
    assert "is withdrawn already" in capsys.readouterr().err
    run(["--data", str(folder), "show", "D-1"])
    assert f"withdrawn (the wrong unit): {ident}" in capsys.readouterr().out
    run(["--data", str(folder), "check"])
    assert "no fact has the id" not in capsys.readouterr().out


# What is owed ----------------------------------------------------------------------------------


def test_what_is_owed_until_it_is_given_back(folder: Path, capsys: Any) -> None:
    words = ["--data", str(folder), "owed"]
    assert run(words) == 1
    assert capsys.readouterr().err == "nothing is owed\n"
    take(folder, "dial glass", "--from", "D-1", "--to", "P-1", "--owed", "--by", "EV", "--date", "2024-05-01")
    capsys.readouterr()
    assert run(words) == 0
    assert capsys.readouterr().out == (
        "D-1\tLarkfield LK-40\tdial glass\tP-1\t2024-05-01, EV\t"
        "it is in P-1 still, at dial glass; give it back: kgraph take 'dial glass' --from P-1 --to D-1; "
        "settle it with another: kgraph add restored 'dial glass' --to D-1\n"
    )
    back = ["add", "restored", "dial glass", "--to", "D-1", "--date", "2024-06-01", "--yes"]
    run(["--data", str(folder), *back])
    status, found = ask(capsys, *words, "--all")
    (answer,) = found["answers"]
    assert (status, answer["unit"], answer["to"], answer["settle"]) == (0, "D-1", "P-1", None)
    assert answer["settled"]["date"] == "2024-06-01"
    assert ask(capsys, *words)[0] == 1
    assert ask(capsys, *words, "P-1", "--all")[1]["answers"] == []


def test_what_is_owed_may_go_back_itself(folder: Path, capsys: Any) -> None:
    take(folder, "dial glass", "--from", "D-1", "--to", "P-1", "--at", "tone knob", "--owed")
    (answer,) = ask(capsys, "--data", str(folder), "owed")[1]["answers"]
    assert answer["give back"] == "kgraph take 'tone knob' --from P-1 --to D-1 --at 'dial glass'"
    assert take(folder, *shlex.split(answer["give back"])[2:]) == 0
    capsys.readouterr()
    assert run(["--data", str(folder), "owed"]) == 1
    shelf = shelf_now(graph_of_folder(folder))
    assert shelf.units["d1"].places["dialglass"].usable
    assert not shelf.units["p1"].places["toneknob"].usable


def test_a_whole_that_is_owed_goes_back_whole(tmp_path: Path, capsys: Any) -> None:
    """A front is known by its kind alone here, and its parts come before it by name."""
    facts = (
        "- assembly: LF4\n  kind: front\n  positions: [dial glass, band switch]\n"
        "- uses: LF4\n  in: Larkfield LK-40\n- unit: D-1\n  set: Larkfield LK-40\n"
        "- unit: P-1\n  set: Larkfield LK-40\n"
    )
    data = ["--data", str(folder_with(tmp_path, [("a.yaml", facts)]))]
    assert run([*data, "take", "front", "--from", "D-1", "--to", "P-1", "--owed"]) == 0
    assert "is the name right?" not in capsys.readouterr().out
    (owed,) = ask(capsys, *data, "owed")[1]["answers"]
    assert owed["still there at"] == "front"
    assert run([*data, *shlex.split(owed["give back"])[1:]]) == 0
    assert ask(capsys, *data, "owed")[1]["answers"] == []
    units = {u["unit"]: u for u in ask(capsys, *data, "shelf", "D-1")[1]["answers"]}
    assert {p["position"] for p in units["D-1"]["places"] if p["usable"]} >= {"front", "dial glass"}


def test_what_a_withdrawal_makes_impossible_is_told(folder: Path, capsys: Any) -> None:
    take(folder, "dial glass", "--from", "D-1", "--to", "Q-1")
    first = graph_of_folder(folder).data.entries[0]
    run(
        [
            "--data",
            str(folder),
            "add",
            "unit",
            "D-3",
            "--set",
            "Larkfield LK-40",
            "--state",
            "dial glass=missing",
            "--yes",
        ]
    )
    take(folder, "dial glass", "--from", "Q-1", "--to", "D-3")
    take(folder, "dial glass", "--from", "D-3", "--to", "P-1")
    capsys.readouterr()
    assert isinstance(first, Statement)
    second = graph_of_folder(folder).data.entries[2]
    assert isinstance(second, Statement)
    assert run(["--data", str(folder), "withdraw", written_id(second), "--why", "no", "--yes"]) == 0
    said = capsys.readouterr()
    assert "dial glass taken from Q-1, put in D-3\n" in said.out
    assert "bench.yaml:10:3: dial glass cannot be taken from D-3: it came without it (missing)" in said.err


@pytest.mark.parametrize("order", [("one", "two"), ("two", "one")])
def test_of_two_folders_the_first_is_written_to(tmp_path: Path, capsys: Any, order: tuple[str, str]) -> None:
    """What stands in the other may be read later: it must still be possible."""
    for name in order:
        (tmp_path / name).mkdir()
    folder_with(tmp_path / "one", [("facts.yaml", FACTS)])
    folder_with(tmp_path / "two", [("more.yaml", "- taken: dial glass\n  from: D-1\n  to: P-1\n")])
    data = [w for name in order for w in ("--data", str(tmp_path / name))]
    later = order[0] == "one"
    # Read before the other folder's event, the dial glass would still be in D-1 and not in P-1.
    assert run([*data, "take", "dial glass", "--from", "P-1", "--to", "P-2"]) == (3 if later else 0), order
    assert not (tmp_path / order[0] / "bench.yaml").exists()
    assert ("would count after the new one" in capsys.readouterr().err) == later


def test_a_file_that_fails_before_the_removal_is_named(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(path: Path) -> bytes:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr(disk, "read_path", fails)
    assert take(folder, "volume knob", "--from", "D-1") == 3
    assert f"{folder}/facts.yaml: Input/output error" in capsys.readouterr().err
    assert not (folder / "bench.yaml").exists()
