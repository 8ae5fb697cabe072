"""merge: what another folder adds, what differs, where it came from, and how far it is trusted."""

from __future__ import annotations

import os
import socket
from pathlib import Path
from typing import Any

import pytest

from kgraph import collection
from kgraph.checks import check_all
from kgraph.cli.main import run
from kgraph.fits import graph as graphs
from kgraph.folder import reading, schema
from tests.support import ask, folder_with, graph_of, graph_of_folder

OURS = """\
- set: Larkfield LK-40
  mains: 240 V
- source: bench book
  type: bench
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: reported
  source: bench book
- refuses: K-200
  in: Larkfield LK-40
  position: tone knob
- takes: K-9
  in: Larkfield LK-40
  position: side knob
  id: ours-1
"""
THEIRS = """\
- set: Larkfield LK 40
  mains: 220 V
  market: UK
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: fitted
- takes: K-200
  in: Larkfield LK-40
  position: tone knob
  how: measured
- takes: K-7
  in: Larkfield LK-40
  position: back knob
  id: ours-1
- takes: K-3
  in: Larkfield LK-40
  position: back
  id: theirs-1
- withdraw: theirs-1
  why: misread label
- unit: U-1
  set: Larkfield LK-40
"""


@pytest.fixture
def ours(tmp_path: Path) -> Path:
    (tmp_path / "ours").mkdir()
    return folder_with(tmp_path / "ours", [("a.yaml", OURS)])


@pytest.fixture
def theirs(tmp_path: Path) -> Path:
    (tmp_path / "anna").mkdir()
    return folder_with(tmp_path / "anna", [("x.yaml", THEIRS)])


def merge(ours: Path, theirs: Path, *more: str) -> int:
    return run(["--data", str(ours), "merge", str(theirs), *more])


def files(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file()}


def facts(folder: Path) -> dict[str, Any]:
    return dict(graph_of_folder(folder).data.facts)


def knob(folder: Path, position: str = "volumeknob") -> Any:
    """The fact of what a place takes."""
    (found,) = [f for f in facts(folder).values() if f.kind == "takes" and f.claim[2] == position]
    return found


def test_the_same_fact_is_one_with_both_sources_and_the_higher_certainty(ours: Path, theirs: Path) -> None:
    assert merge(ours, theirs) == 0
    fact = knob(ours)
    assert [(e.source, e.via, e.certainty) for e in fact.evidence] == [
        ("bench book", "", 0.6),
        ("", "anna", 0.98),
    ]
    assert fact.certainty == 0.98


def test_what_stood_here_is_not_changed_and_all_goes_to_one_file(ours: Path, theirs: Path) -> None:
    before = files(ours)
    assert merge(ours, theirs) == 0
    after = files(ours)
    assert {name: after[name] for name in before} == before
    assert sorted(n for n in after if n.endswith(".yaml")) == ["a.yaml", "merged-anna.yaml"]


def test_a_dry_run_tells_the_same_and_writes_nothing(ours: Path, theirs: Path, capsys: Any) -> None:
    before = files(ours)
    status, dry = ask(capsys, "--data", str(ours), "merge", str(theirs), "--dry-run")
    assert status == 0
    assert files(ours) == before
    assert dry["written"] is None
    _, wet = ask(capsys, "--data", str(ours), "merge", str(theirs))
    assert wet["answers"] == dry["answers"]
    assert wet["conflicts"] == dry["conflicts"]
    assert Path(wet["written"]).name == "merged-anna.yaml"


def test_merged_twice_the_second_says_so_and_changes_nothing(ours: Path, theirs: Path, capsys: Any) -> None:
    assert merge(ours, theirs, "--trust", "0.7") == 0
    before = files(ours)
    capsys.readouterr()
    assert merge(ours, theirs, "--trust", "0.7") == 0
    assert "nothing new" in capsys.readouterr().out
    assert files(ours) == before


def test_each_conflict_is_told_and_ours_is_kept(ours: Path, theirs: Path, capsys: Any) -> None:
    _, found = ask(capsys, "--data", str(ours), "merge", str(theirs))
    told = {(p["code"], Path(p["file"]).name, p["line"]) for p in found["conflicts"]}
    assert told >= {
        ("entries-disagree", "x.yaml", 1),
        ("fact-and-refuses", "a.yaml", 10),
        ("id-twice", "x.yaml", 12),
    }
    entries = [e for e in graph_of_folder(ours).data.entries if e.kind == "set"]
    assert [v for e in entries for k, v in e.pairs if k == "mains"] == ["240 V"]
    assert [v for e in entries for k, v in e.pairs if k == "market"] == ["UK"]
    # Their fact is here, under an id that is not ours.
    assert knob(ours, "sideknob").id == "ours-1"
    assert knob(ours, "backknob").id != "ours-1"


def test_what_they_took_back_and_we_say_is_told_and_stays(ours: Path, theirs: Path, capsys: Any) -> None:
    folder_with(ours, [("b.yaml", "- takes: K-3\n  in: Larkfield LK-40\n  position: back\n")])
    mine = knob(ours, "back").id
    _, found = ask(capsys, "--data", str(ours), "merge", str(theirs))
    (told,) = [p for p in found["conflicts"] if p["code"] == "taken-back-there"]
    assert mine in str(told)
    assert "misread label" in str(told)
    assert knob(ours, "back").id == mine
    assert graph_of_folder(ours).data.withdrawn == {}


def test_the_shelf_stays_theirs_unless_asked_for(ours: Path, theirs: Path, capsys: Any) -> None:
    assert merge(ours, theirs) == 0
    assert "1 entry of their shelf left out" in capsys.readouterr().err
    assert graph_of_folder(ours).data.things["unit"] == {}
    assert merge(ours, theirs, "--shelf") == 0
    assert list(graph_of_folder(ours).data.things["unit"]) == ["u1"]


def test_a_source_of_their_own_is_kept(ours: Path, tmp_path: Path) -> None:
    (tmp_path / "bert").mkdir()
    text = (
        "- source: letter 3\n  type: letter\n- takes: K-5\n  in: X 1\n  position: back\n  source: letter 3\n"
    )
    assert merge(ours, folder_with(tmp_path / "bert", [("x.yaml", text)])) == 0
    (saying,) = knob(ours, "back").evidence
    assert (saying.source, saying.via) == ("letter 3", "bert")


# Trust ----------------------------------------------------------------------------------------


def test_trust_scales_each_saying_and_the_grade_stays(ours: Path, theirs: Path) -> None:
    assert merge(ours, theirs, "--trust", "0.5") == 0
    ours_said, theirs_said = knob(ours).evidence
    assert theirs_said.how == "fitted"
    assert theirs_said.certainty == pytest.approx(0.49)
    assert theirs_said.trust == 0.5
    assert (knob(ours).certainty, ours_said.certainty) == (0.6, 0.6)


def test_a_folder_is_distrusted_as_a_whole_afterwards(ours: Path, theirs: Path) -> None:
    assert merge(ours, theirs) == 0
    folder_with(ours, [("z.yaml", "- via: anna\n  trust: 0.5\n  date: 2999-01-01\n")])
    assert knob(ours).certainty == 0.6
    assert knob(ours).evidence[1].certainty == pytest.approx(0.49)
    assert knob(ours, "backknob").certainty == pytest.approx(0.3)


TRUSTED = """\
- part: K-1
- source: letter
  trust: 0.5
- takes: K-1
  in: Larkfield LK-40
  position: back
  how: fitted
  trust: 0.8
  source: letter
"""


def test_trust_in_a_saying_and_in_its_source_multiply() -> None:
    (fact,) = graph_of(TRUSTED).data.facts.values()
    assert fact.certainty == pytest.approx(0.98 * 0.5 * 0.8)


def test_of_two_entries_for_a_source_the_more_careful_one_holds() -> None:
    (fact,) = graph_of(TRUSTED + "- source: Letter\n  trust: 0.25\n").data.facts.values()
    assert fact.certainty == pytest.approx(0.98 * 0.25 * 0.8)


def test_a_proof_shows_the_trust(tmp_path: Path, capsys: Any) -> None:
    folder_with(tmp_path, [("a.yaml", TRUSTED)])
    assert run(["--data", str(tmp_path), "takers", "K-1", "--proof"]) == 0
    assert "fitted, trust 0.4, letter" in capsys.readouterr().out
    _, found = ask(capsys, "--data", str(tmp_path), "takers", "K-1", "--proof")
    assert found["answers"][0]["certainty"] == pytest.approx(0.392)


@pytest.mark.parametrize("trust", ["0", "1.5", "-1", "much"])
def test_a_trust_out_of_range_is_warned_of_and_counts_for_nothing(trust: str) -> None:
    text = TRUSTED.replace("trust: 0.5", f"trust: {trust}")
    entries, problems = schema.check_file(reading.read_bytes(text.encode(), "a.yaml"))
    assert [(p.code, p.severity, p.where and p.where.line) for p in problems] == [
        ("wrong-trust", "warning", 3)
    ]
    (fact,) = collection.build(entries).facts.values()
    assert fact.certainty == pytest.approx(0.98 * 0.8)


def test_the_index_gives_the_same_with_trust(tmp_path: Path, capsys: Any, monkeypatch: Any) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    (tmp_path / "facts").mkdir()
    folder = folder_with(tmp_path / "facts", [("a.yaml", TRUSTED)])
    first, second = (ask(capsys, "--data", str(folder), "takers", "K-1", "--proof") for _ in range(2))
    assert first == second
    folder_with(folder, [("a.yaml", TRUSTED.replace("trust: 0.5", "trust: 0.25"))])
    _, changed = ask(capsys, "--data", str(folder), "takers", "K-1", "--proof")
    assert changed["answers"][0]["certainty"] == pytest.approx(0.196)


# What is refused ------------------------------------------------------------------------------


def test_odd_files_are_refused_without_being_opened(ours: Path, theirs: Path, capsys: Any) -> None:
    before = files(ours)
    secret = ours.parent / "secret.yaml"
    secret.write_text("- part: SECRET\n")
    (theirs / "out.yaml").symlink_to(secret)
    (theirs / "nowhere.yaml").symlink_to(theirs / "gone")
    (theirs / "folder").symlink_to(ours.parent)
    os.mkfifo(theirs / "pipe.yaml")
    with socket.socket(socket.AF_UNIX) as made:
        made.bind(os.path.relpath(theirs / "sock.yaml"))
        assert merge(ours, theirs) == 3
    out, err = capsys.readouterr()
    for name, what in (
        ("out.yaml", "a link out of the folder"),
        ("folder", "a link out of the folder"),
        ("nowhere.yaml", "a link that leads nowhere"),
        ("pipe.yaml", "a fifo"),
        ("sock.yaml", "a socket"),
    ):
        assert f"{name}:1:1: {what}" in err
    assert "SECRET" not in out + err
    assert files(ours) == before


@pytest.mark.parametrize(
    ("more", "status"),
    [(("--trust", "2"), 2), (("--trust", "0"), 2), (("--as", "a[b"), 2), (("--as", "-"), 2)],
)
def test_wrong_use_writes_nothing(more: tuple[str, ...], status: int, ours: Path, theirs: Path) -> None:
    before = files(ours)
    assert merge(ours, theirs, *more) == status
    assert files(ours) == before


def test_a_folder_is_not_merged_into_itself(ours: Path, capsys: Any) -> None:
    assert merge(ours, ours) == 2
    assert "one folder" in capsys.readouterr().err
    assert merge(ours, ours.parent / "gone") == 3


def test_a_fault_of_theirs_is_told_at_its_line_and_nothing_is_written(
    ours: Path, theirs: Path, capsys: Any
) -> None:
    before = files(ours)
    folder_with(theirs, [("y.yaml", "- part: K-77\n- takes: K-78\n  in: X 1\n")])
    assert merge(ours, theirs) == 3
    assert "y.yaml:2:" in capsys.readouterr().err
    assert files(ours) == before
    assert run(["--data", str(ours), "merge", str(theirs), "--skip-bad"]) == 0
    assert "k77" in graph_of_folder(ours).data.things["part"]


def test_a_merged_folder_has_no_error_that_was_in_neither(ours: Path, theirs: Path) -> None:
    assert merge(ours, theirs) == 0
    data = graph_of_folder(ours).data
    assert [p for p in check_all(data, graphs.build(data)) if p.severity == "error"] == []


# Names that mean something else here ------------------------------------------------------------


def merged(tmp_path: Path, ours: str, theirs: str, *words: str) -> tuple[Path, int]:
    """Our folder after theirs was merged into it, and the exit status."""
    for name, text in (("ours", ours), ("theirs", theirs)):
        (tmp_path / name).mkdir()
        folder_with(tmp_path / name, [("a.yaml", text)])
    given = ["--data", str(tmp_path / "ours"), "merge", str(tmp_path / "theirs"), *words]
    return tmp_path / "ours", run(given)


def test_a_part_called_as_ours_by_another_name_is_written_by_its_own(tmp_path: Path, capsys: Any) -> None:
    ours = "- part: X-9\n  kind: belt\n- takes: X-9\n  in: Larkfield LK-40\n  position: main belt\n"
    theirs = "- part: K-114\n  also: [X-9]\n  kind: knob\n"
    theirs += "- takes: X-9\n  in: Orvanek 2200\n  position: volume knob\n  how: fitted\n"
    folder, status = merged(tmp_path, ours, theirs)
    assert status == 0
    found = {}
    for part in ("K-114", "X-9"):
        _, answer = ask(capsys, "--data", str(folder), "takers", part)
        found[part] = [a["set"] for a in answer["answers"]]
    assert found == {"K-114": ["Orvanek 2200"], "X-9": ["Larkfield LK-40"]}


def test_what_cannot_mean_the_same_here_is_left_out_and_told(tmp_path: Path, capsys: Any) -> None:
    ours = "- assembly: TN7\n  positions: [main belt]\n- uses: TN7\n  in: Larkfield LK-40\n  how: measured\n"
    theirs = "- set: TN7\n- takes: SQ 9\n  in: TN7\n  position: main belt\n  how: fitted\n"
    folder, _ = merged(tmp_path, ours, theirs)
    told = capsys.readouterr()
    assert "TN7 is a set there and an assembly here" in told.out + told.err
    assert "a name in this takes is that of something else here" in told.out + told.err
    assert run(["--data", str(folder), "takers", "SQ 9"]) == 2


def test_a_set_that_is_only_named_here_is_not_made_an_assembly(tmp_path: Path, capsys: Any) -> None:
    ours = "- rebadge: [TN 7, Foo 1]\n  how: compared\n"
    ours += "- takes: K-1\n  in: TN 7\n  position: volume knob\n  how: fitted\n"
    theirs = "- assembly: TN7\n  positions: [main belt]\n- uses: TN7\n  in: Bar 3\n"
    folder, _ = merged(tmp_path, ours, theirs)
    assert "TN7 is an assembly there and a set here" in "".join(capsys.readouterr())
    _, answer = ask(capsys, "--data", str(folder), "takers", "K-1")
    assert sorted(a["set"] for a in answer["answers"]) == ["Foo 1", "TN 7"]


def test_an_attribute_is_one_however_it_is_written(tmp_path: Path, capsys: Any) -> None:
    folder, _ = merged(tmp_path, "- set: Foo 1\n  mains: 240 V\n", "- set: Foo 1\n  Mains: 120 V\n")
    assert "another at" in "".join(capsys.readouterr())
    folder_with(folder, [("b.yaml", "- set: Foo 1\n  Mains: 120 V\n")])
    _, found = ask(capsys, "--data", str(folder), "check")
    assert [e["code"] for e in found["errors"]] == ["entries-disagree"]


def test_loose_parts_by_another_name_are_taken_over_once(tmp_path: Path, capsys: Any) -> None:
    part = "- part: Q-1\n  also: [quill]\n"
    folder, _ = merged(
        tmp_path, part + "- stock: quill\n  count: 3\n", part + "- stock: Q-1\n  count: 3\n", "--shelf"
    )
    _, shelf = ask(capsys, "--data", str(folder), "shelf")
    assert [s["count"] for s in shelf["stock"]] == [3]


def test_a_rebadge_told_otherwise_is_a_conflict(tmp_path: Path, capsys: Any) -> None:
    ours = "- rebadge: [Foo 1, Bar 2]\n  except: [line socket]\n"
    merged(tmp_path, ours, "- rebadge: [Foo 1, Bar 2]\n")
    assert "told otherwise" in "".join(capsys.readouterr())
