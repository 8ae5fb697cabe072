"""The command line as its user meets it: answers, exit statuses, messages, what is written."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli import main
from kgraph.cli.main import run
from kgraph.problems import CannotRun
from tests.support import DEMO, ROOT, ask, folder_with, graph_of_folder, places

FACTS = """\
- set: Larkfield LK-40
  also: [LK 40 L]
  mains: 240 V 50 Hz
- set: Orvanek 2200
  mains: 220 V 50 Hz
- set: Quillon 31
- part: K-114
  kind: knob
  numbers: {Larkfield: "440 1882"}
- position: mains fuse
  must match: [mains]
  caution: mains
- rebadge: [Larkfield LK-40, Orvanek 2200]
  except: [line socket, dial scale]
  how: fitted
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: printed
- fits: Orvanek 2200
  position: volume knob
  to: Quillon 31
  at: tone knob
  work: ream the bore to 6.1 mm
  how: fitted
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return folder_with(tmp_path, [("facts.yaml", FACTS)])


def test_the_answer_of_the_contract(folder: Path, capsys: Any) -> None:
    status, answer = ask(capsys, "--data", str(folder), "takers", "K-114")
    assert status == 0
    assert answer["question"] == {"command": "takers", "part": "K-114"}
    first, second, third = answer["answers"]
    assert (first["set"], first["standing"], first["best"]) == ("Larkfield LK-40", "stated", 0.95)
    assert second["set"] == "Orvanek 2200"
    assert second["standing"] == "inferred"
    assert second["best"] == second["certainty"] == pytest.approx(0.98 * 0.95)
    assert second["bounds"] is None
    assert second["differs"] == ["dial scale", "line socket"]
    assert second["basis"] == ["stated facts"]
    assert [f["line"] for f in second["proof"]] == [16, 13]
    assert second["proof"][1]["says"] == (
        "Larkfield LK-40 and Orvanek 2200 are one design, except dial scale, line socket"
    )
    assert third["work"] == ["ream the bore to 6.1 mm"]
    assert third["position"] == "tone knob"


def test_no_number_is_rounded(folder: Path, capsys: Any) -> None:
    _, answer = ask(capsys, "--data", str(folder), "takers", "K-114")
    assert answer["answers"][1]["best"] == 0.98 * 0.95


@pytest.mark.parametrize(
    "words", [["LK 40 L", "volume knob"], ["lk40l", "VOLUME-KNOB"], ["Larkfield", "LK-40", "volume", "knob"]]
)
def test_other_spellings_work_everywhere(folder: Path, capsys: Any, words: list[str]) -> None:
    _, answer = ask(capsys, "--data", str(folder), "takers", *words)
    assert places(answer) == [("Orvanek 2200", "volume knob"), ("Quillon 31", "tone knob")]


def test_a_makers_number_names_its_part(folder: Path, capsys: Any) -> None:
    _, answer = ask(capsys, "--data", str(folder), "takers", "440 1882")
    assert answer["question"]["part"] == "K-114"


def test_must_match_refuses_with_both_values(folder: Path, capsys: Any) -> None:
    status, answer = ask(capsys, "--data", str(folder), "donors", "Larkfield LK-40", "mains fuse")
    assert (status, answer["refused"]) == (1, 1)
    _, answer = ask(capsys, "--data", str(folder), "donors", "Larkfield LK-40", "mains fuse", "--all")
    (row,) = answer["answers"]
    assert row["standing"] == "refused"
    assert any("240 V 50 Hz" in w and "220 V 50 Hz" in w for w in row["warnings"])
    assert row["cautions"] == ["mains"]
    assert "unplug" in answer["caution texts"]["mains"].lower()


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (["takers", "K-115"], 2, "no part is called 'K-115'; did you mean K-114?"),
        (["takers", "Larkfeild LK-40", "volume knob"], 2, "did you mean Larkfield LK-40?"),
        (["sisters", "Quillon 31"], 1, "nothing found"),
        (["taker", "K-114"], 2, "did you mean takers"),
        (["takers", "K-114", "--at-least", "2"], 2, "--at-least"),
        (["find", "zzzzzz"], 1, "nothing found"),
        (["show", "K-115"], 2, "did you mean K-114?"),
        (["withdraw", "0123", "--why", "x", "--yes"], 2, "no fact has the id '0123'"),
        (["add", "rebagde", "A 1", "B 2", "--yes"], 2, "did you mean rebadge?"),
        (["add", "takes", "K-1", "--in", "A 1", "--yes"], 2, "takes has no position:"),
        (["add", "takes", "K-1", "--in", "A 1", "--positon", "x", "--yes"], 2, "did you mean position?"),
        (["add"], 2, "add needs a KIND"),
    ],
    ids=lambda v: " ".join(v) if isinstance(v, list) else None,
)
def test_wrong_use_says_what_would_be_right(
    folder: Path, capsys: Any, words: list[str], status: int, said: str
) -> None:
    before = (folder / "facts.yaml").read_bytes()
    assert run(["--data", str(folder), *words]) == status
    err = capsys.readouterr().err
    assert said in err
    assert "Traceback" not in err
    assert [p.name for p in folder.glob("*.yaml")] == ["facts.yaml"]
    assert (folder / "facts.yaml").read_bytes() == before


def test_a_missing_folder_and_an_empty_one(tmp_path: Path, capsys: Any) -> None:
    assert run(["--data", str(tmp_path / "none"), "takers", "K-114"]) == 3
    assert "none" in capsys.readouterr().err
    assert run(["--data", str(tmp_path), "takers", "K-114"]) == 3
    assert "kgraph init" in capsys.readouterr().err


def test_memory_that_runs_out_is_one_line(folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: Any) -> None:
        raise MemoryError

    monkeypatch.setattr("kgraph.lookup.find", full)
    assert run(["--data", str(folder), "find", "x"]) == 3
    said = capsys.readouterr()
    assert (said.out, len(said.err.splitlines())) == ("", 1)
    assert said.err.startswith("there is not enough memory")


@pytest.mark.skipif(sys.platform != "linux", reason="the bound on memory is set as Linux has it")
def test_memory_that_runs_out_in_earnest_is_one_line(folder: Path) -> None:
    (folder / "large.yaml").write_text(f"- source: x\n  note: {'x' * 60_000_000}\n", encoding="utf-8")
    command = f"ulimit -v 180000; exec '{sys.executable}' -m kgraph --data '{folder}' takers K-114"
    env = {**os.environ, "PYTHONPATH": str(ROOT), "KGRAPH_CACHE": "off"}
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False, env=env)
    assert (done.returncode, done.stdout) == (3, "")
    assert len(done.stderr.splitlines()) == 1
    assert done.stderr.startswith("there is not enough memory")


def test_a_message_of_several_lines_is_printed_in_lines(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(*_: Any) -> None:
        raise CannotRun("a thing is missing:\n  one cure\nor another \x1b[1m")

    monkeypatch.setattr("kgraph.lookup.find", stopped)
    assert run(["--data", str(folder), "find", "x"]) == 3
    assert capsys.readouterr().err == "a thing is missing:\n  one cure\n  or another \\x1b[1m\n"


def test_every_error_of_every_file_is_told(folder: Path, capsys: Any) -> None:
    (folder / "bad.yaml").write_text("- rebagde: [A 1, B 2]\n- takes: K-1\n  in: A 1\n", encoding="utf-8")
    assert run(["--data", str(folder), "check"]) == 1
    told = [line for line in capsys.readouterr().out.splitlines() if ": error: " in line]
    assert [line.split(": ")[0].rsplit("/", 1)[-1] for line in told] == ["bad.yaml:1:3", "bad.yaml:2:3"]


def test_add_appends_and_keeps_what_stands_there(folder: Path, capsys: Any) -> None:
    before = (folder / "facts.yaml").read_bytes()
    words = ["add", "takes", "K-115", "--in", "Quillon 31", "--position", "back", "--how", "printed"]
    assert run(["--data", str(folder), *words, "--file", "facts.yaml", "--yes"]) == 0
    out = capsys.readouterr().out
    assert "this makes 1 new answer" in out
    after = (folder / "facts.yaml").read_bytes()
    assert after.startswith(before)
    assert after[len(before) :] == b"- takes: K-115\n  in: Quillon 31\n  position: back\n  how: printed\n"
    assert places(ask(capsys, "--data", str(folder), "takers", "K-115")[1]) == [("Quillon 31", "back")]


def test_add_without_yes_and_without_a_terminal_writes_nothing(folder: Path, capsys: Any) -> None:
    assert run(["--data", str(folder), "add", "set", "Norvane 7"]) == 2
    assert "--yes" in capsys.readouterr().err
    assert len(list(folder.glob("*.yaml"))) == 1


def test_add_tells_what_it_contradicts(folder: Path, capsys: Any) -> None:
    words = [
        "add",
        "refuses",
        "K-114",
        "--in",
        "Orvanek 2200",
        "--position",
        "volume knob",
        "--how",
        "fitted",
        "--yes",
    ]
    assert run(["--data", str(folder), *words]) == 0
    assert "it contradicts" in capsys.readouterr().out
    # The refusal reaches the like place too: 0.98 x 0.98 is more than the 0.95 of what the list says.
    _, answer = ask(capsys, "--data", str(folder), "takers", "K-114")
    assert answer["refused"] == 2
    assert places(answer) == [("Quillon 31", "tone knob")]


def test_the_same_fact_again_is_more_evidence(folder: Path, capsys: Any) -> None:
    words = [
        "add",
        "rebadge",
        "Orvanek 2200",
        "Larkfield LK-40",
        "--except",
        "dial scale",
        "--except",
        "line socket",
    ]
    assert run(["--data", str(folder), *words, "--how", "guess", "--source", "letter", "--yes"]) == 0
    assert "known already" in capsys.readouterr().out
    _, answer = ask(capsys, "--data", str(folder), "sisters", "Larkfield LK-40")
    (row,) = answer["answers"]
    assert row["certainty"] == 0.98
    assert len(row["proof"][0]["evidence"]) == 2


def test_withdraw_takes_back_and_deletes_nothing(folder: Path, capsys: Any) -> None:
    _, answer = ask(capsys, "--data", str(folder), "sisters", "Larkfield LK-40")
    fact = answer["answers"][0]["proof"][0]["fact"]
    before = (folder / "facts.yaml").read_bytes()
    assert run(["--data", str(folder), "withdraw", fact, "--why", "misread label", "--yes"]) == 0
    assert ask(capsys, "--data", str(folder), "sisters", "Larkfield LK-40")[0] == 1
    assert (folder / "facts.yaml").read_bytes() == before
    assert run(["--data", str(folder), "show", fact]) == 0
    assert "misread label" in capsys.readouterr().out
    assert run(["--data", str(folder), "withdraw", fact, "--why", "again", "--yes"]) == 2


def test_init_never_writes_into_what_is_there(folder: Path, tmp_path: Path, capsys: Any) -> None:
    assert run(["init", str(folder)]) == 3
    assert run(["init", str(tmp_path / "new"), "--demo"]) == 0
    for path in DEMO.glob("*.yaml"):
        assert (tmp_path / "new" / path.name).read_bytes() == path.read_bytes()


ONE_OF_EACH = {
    "set": ["Norvane 7", "--market", "UK"],
    "assembly": [
        "TN7 mechanism", "--kind", "tape mechanism",
        "--positions", "main belt", "--positions", "idler",
    ],
    "part": ["SQ 1.25 x 262", "--kind", "belt", "--section", "square 1.25 mm", "--inside-length", "262 mm"],
    "position": ["speaker grille", "--also", "loudspeaker grille", "--must-match", "mains"],
    "kind": ["knob", "--generic", "no", "--compare", "shaft=same", "--compare", "bore=0.1 mm"],
    "source": ["parts list, LK-40", "--type", "printed", "--where", "page 14"],
    "grade": ["fitted", "--certainty", "0.99"],
    "caution": ["mains", "--text", "Unplug it first."],
    "unit": [
        "U-07", "--set", "Quillon 31", "--state",
        "speaker grille=broken", "--state", "front=good", "--wants", "front",
    ],
    "stock": ["K-114", "--count", "3", "--where", "drawer 4"],
    "rebadge": ["Larkfield LK-40", "Quillon 31"],
    "uses": ["TN7 mechanism", "--in", "Larkfield LK-40", "--except", "counter belt"],
    "takes": ["K-1", "--in", "Quillon 31", "--position", "back", "--role", "substitute"],
    "same": ["K-114", "440 1882"],
    "replaces": ["K-114B", "--old", "K-114"],
    "fits": ["Quillon 31", "--position", "back", "--to", "Orvanek 2200", "--both-ways", "yes"],
    "refuses": ["Orvanek 2200", "--from", "back", "--in", "Quillon 31", "--position", "back"],
    "run": [
        "main belt", "--in", "TN7 mechanism",
        "--pulley", "name=motor, x=0 mm, y=0 mm, diameter=9.2 mm, drives=yes, rpm=2400",
        "--pulley", "name=flywheel, x=62 mm, y=5 mm, diameter=58 mm, capstan=2.0 mm",
        "--stretch", "4 % to 10 %",
    ],
    "taken": ["volume knob", "--from", "U-07", "--to", "U-11", "--owed", "yes"],
    "restored": ["volume knob", "--to", "U-07"],
    "withdraw": ["ID OF A FACT", "--why", "misread"],
}  # fmt: skip


def _an_id(folder: Path) -> str:
    return next(iter(graph_of_folder(folder).data.facts))


@pytest.mark.parametrize("kind", ONE_OF_EACH)
def test_every_kind_can_be_added_and_is_read_back(folder: Path, capsys: Any, kind: str) -> None:
    given = [_an_id(folder) if w == "ID OF A FACT" else w for w in ONE_OF_EACH[kind]]
    assert run(["--data", str(folder), "add", kind, *given, "--yes"]) == 0, capsys.readouterr().err
    status, found = ask(capsys, "--data", str(folder), "check")
    assert (status, found["errors"]) == (
        (0, []) if kind not in ("taken", "restored") else (status, found["errors"])
    )
    assert (folder / "bench.yaml").read_text(encoding="utf-8").startswith(f"- {kind}: ")


@pytest.mark.parametrize(
    ("encoding", "words"),
    [
        ("ascii", ["find", "quillon"]),
        ("latin-1", ["takers", "K-114", "--proof"]),
        ("ascii", ["show", "Caf\u00e9 1"]),
    ],
)
def test_no_locale_stops_a_command(folder: Path, encoding: str, words: list[str]) -> None:
    (folder / "cafe.yaml").write_text("- set: Caf\u00e9 1\n  note: \u6f22\n", encoding="utf-8")
    environment = {**os.environ, "PYTHONIOENCODING": encoding, "LC_ALL": "C", "PYTHONPATH": str(ROOT)}
    run_it = [sys.executable, "-m", "kgraph.cli.main", "--data", str(folder), *words]
    done = subprocess.run(run_it, capture_output=True, env=environment, check=False)
    assert done.returncode == 0, done.stderr
    assert b"Traceback" not in done.stderr


def test_a_full_disk_for_the_output_is_an_error_and_a_closed_pipe_is_none(folder: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "kgraph.cli.main", "--data", str(folder), "takers", "K-114"]
    with open("/dev/full", "w", encoding="utf-8") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, env=environment, check=False)
    assert done.returncode == 3
    assert b"No space left" in done.stderr
    ours, theirs = os.pipe()
    os.close(ours)
    done = subprocess.run(command, stdout=theirs, stderr=subprocess.PIPE, env=environment, check=False)
    os.close(theirs)
    assert b"Traceback" not in done.stderr
    assert done.returncode == 0


@pytest.mark.parametrize("words", [["add", "set", "Corr C-1", "--yes"], ["import", "t.csv", "--yes"]])
def test_who_closes_the_pipe_does_not_stop_what_is_written(
    words: list[str], folder: Path, tmp_path: Path
) -> None:
    (tmp_path / "t.csv").write_text("set,market\nCorr C-1,UK\n", encoding="utf-8")
    given = [str(tmp_path / w) if w == "t.csv" else w for w in words]
    ours, theirs = os.pipe()
    os.close(ours)
    done = subprocess.run(
        [sys.executable, "-u", "-m", "kgraph.cli.main", "--data", str(folder), *given],
        stdout=theirs,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        check=False,
    )
    os.close(theirs)
    assert (done.returncode, b"Traceback" in done.stderr) == (0, False)
    assert any("Corr C-1" in p.read_text(encoding="utf-8") for p in folder.glob("*.yaml"))


def test_ctrl_c_while_a_module_is_loaded_is_ctrl_c(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is raised while a class is made Python wraps, KeyboardInterrupt too."""

    class Field:
        def __set_name__(self, owner: type, name: str) -> None:
            raise self.error

        def __init__(self, error: BaseException) -> None:
            self.error = error

    def loaded(error: BaseException) -> None:
        type("Loaded", (), {"field": Field(error)})

    monkeypatch.setattr(main.cli, "main", lambda *_, **__: loaded(KeyboardInterrupt()))
    assert main.run([]) == 130
    monkeypatch.setattr(main.cli, "main", lambda *_, **__: loaded(ValueError()))
    with pytest.raises(RuntimeError):
        main.run([])
