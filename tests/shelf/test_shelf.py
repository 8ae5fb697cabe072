"""shelf: what each unit gives, waits for and is owed; and the checks of units and events."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph.checks import check_all
from kgraph.cli.main import run
from tests.support import DEMO, ask, folder_with, graph_of

FACTS = """\
- rebadge: [Larkfield LK-40, Orvanek 2200]
  how: fitted
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
- takes: H-1
  in: Larkfield LK-40
  position: handle
- unit: D-1
  set: Larkfield LK-40
  role: donor
  keep: 2
- unit: P-1
  set: Orvanek 2200
  role: patient
  state: {volume knob: missing}
  wants: [volume knob]
- stock: K-114
  count: 2
  where: drawer 4
"""


def shelf_of(tmp_path: Path, *events: str) -> list[str]:
    return ["--data", str(folder_with(tmp_path, [("facts.yaml", FACTS + "".join(events))])), "shelf"]


def test_the_shelf_in_a_pipe(tmp_path: Path, capsys: Any) -> None:
    taken = "- taken: handle\n  from: D-1\n  to: P-1\n  owed: yes\n  date: 2024-05-01\n"
    assert run(shelf_of(tmp_path, taken)) == 0
    assert capsys.readouterr().out == (
        "D-1\tLarkfield LK-40\tdonor\t1 of 2\t-\tothers wait for: volume knob (P-1 volume knob 78 %); "
        "is owed: handle (went to P-1, 2024-05-01)\n"
        "P-1\tOrvanek 2200\tpatient\t1 of 2\t1 open\twaits for: volume knob; owes D-1: handle\n"
        "\n"
        "K-114\t2 of 2\tdrawer 4\tfor P-1 volume knob 59 %\n"
    )


def test_one_unit_with_every_place(tmp_path: Path, capsys: Any) -> None:
    taken = "- taken: handle\n  from: D-1\n  to: P-1\n"
    assert run([*shelf_of(tmp_path, taken), "P-1"]) == 0
    assert capsys.readouterr().out == (
        "P-1: Orvanek 2200, patient\n"
        "  waits for: volume knob\n"
        "handle\tthere\tfrom D-1, of Larkfield LK-40\n"
        "volume knob\tmissing\t\n"
    )
    assert run(["--data", str(tmp_path), "shelf", "P-9"]) == 2
    assert "no unit is called 'P-9'" in capsys.readouterr().err


def test_the_shelf_as_json(tmp_path: Path, capsys: Any) -> None:
    put_in = "- restored: volume knob\n  to: P-1\n  part: K-114\n"
    status, found = ask(capsys, *shelf_of(tmp_path, put_in))
    donor, patient = found["answers"]
    assert status == 0
    assert (donor["gives"], donor["keep"], donor["opened"]) == (["handle", "volume knob"], 2, False)
    assert (patient["wants"], patient["met"], patient["gives"]) == ([], ["volume knob"], [])
    knob = next(p for p in patient["places"] if p["position"] == "volume knob")
    assert (knob["part"], knob["usable"], knob["event"]["event"]) == ("K-114", True, "restored")
    assert found["stock"] == [
        {"part": "K-114", "count": 1, "counted": 2, "where": "drawer 4", "waited for": []}
    ]


def test_the_demo_says_what_its_page_says(capsys: Any) -> None:
    status, found = ask(capsys, "--data", str(DEMO), "shelf")
    units = {a["unit"]: a for a in found["answers"]}
    assert (status, len(units)) == (0, 12)
    assert units["U-06"]["gives"] == []
    assert [o["position"] for o in units["U-01"]["owed"]] == ["tape counter"]


def test_units_stand_in_natural_order(tmp_path: Path, capsys: Any) -> None:
    names = ["U-10", "u-9", "U-2", "U-2b", "A-3", "U-100"]
    units = "".join(f"- unit: {n}\n  set: Larkfield LK-40\n" for n in names)
    units += "- stock: K-20\n- stock: K-3\n"
    folder_with(tmp_path, [("facts.yaml", "- set: Larkfield LK-40\n" + units)])
    _, found = ask(capsys, "--data", str(tmp_path), "shelf")
    assert [a["unit"] for a in found["answers"]] == ["A-3", "U-2", "U-2b", "u-9", "U-10", "U-100"]
    assert [s["part"] for s in found["stock"]] == ["K-3", "K-20"]


def test_an_empty_shelf(tmp_path: Path, capsys: Any) -> None:
    folder_with(tmp_path, [("facts.yaml", "- set: Larkfield LK-40\n")])
    assert run(["--data", str(tmp_path), "shelf"]) == 1
    assert "nothing is on the shelf" in capsys.readouterr().err


def test_show_tells_what_is_left_of_loose_parts(tmp_path: Path, capsys: Any) -> None:
    shelf_of(tmp_path, "- restored: volume knob\n  to: P-1\n  part: K-114\n")
    assert run(["--data", str(tmp_path), "show", "K-114"]) == 0
    assert "  left: 1, in drawer 4\n" in capsys.readouterr().out


# Checks ----------------------------------------------------------------------------------------

TAKEN = "- taken: handle\n  from: D-1\n  to: P-1\n"


@pytest.mark.parametrize(
    ("events", "code", "severity"),
    [
        (TAKEN * 2, "not-there", "error"),
        ("- taken: handle\n  from: D-1\n  to: D-1\n", "taken-from-itself", "error"),
        ("- restored: handle\n  to: D-1\n", "not-owed", "warning"),
        ("- restored: handle\n  to: D-1\n  part: K-114\n" * 3, "stock-used-up", "warning"),
        (
            TAKEN.rstrip() + "\n  date: 2024-02-01\n- taken: volume knob\n  from: D-1\n  date: 2024-01-31\n",
            "order-of-events",
            "warning",
        ),
        (
            "- unit: D-2\n  set: Larkfield LK-40\n  state: {handle: broken}\n"
            "- taken: handle\n  from: D-2\n  to: P-1\n",
            "given-spoilt",
            "warning",
        ),
        (
            "- unit: D-2\n  set: Larkfield LK-40\n  state: {handle: broken off}\n",
            "unclear-condition",
            "warning",
        ),
    ],
)
def test_what_is_wrong_on_the_shelf_is_told_with_its_place(events: str, code: str, severity: str) -> None:
    graph = graph_of(FACTS + events)
    found = [p for p in check_all(graph.data, graph) if p.code == code]
    assert [(p.severity, p.where is not None) for p in found] == [(severity, True)]


def test_what_is_right_on_the_shelf_is_let_be() -> None:
    codes = {"not-there", "not-owed", "order-of-events", "given-spoilt", "unclear-condition", "stock-used-up"}
    events = (
        TAKEN + "  owed: yes\n  date: 2024-02-01\n"
        "- taken: volume knob\n  from: D-1\n"
        "- restored: handle\n  to: D-1\n  date: 2024-02-01\n"
        "- restored: volume knob\n  to: P-1\n  part: K-114\n"
    )
    graph = graph_of(FACTS + events)
    assert {p.code for p in check_all(graph.data, graph)} & codes == set()


# Hostile texts ---------------------------------------------------------------------------------

ODD = "a\\e[31m\\u202e<b>&`$(x)`</b>"
"""In a quoted YAML text: an escape sequence, a mark that turns text round, marks of HTML and the shell."""
NAME = "D <b>&`$(x)`</b>"


def test_no_text_of_the_shelf_reaches_a_terminal_raw(tmp_path: Path, capsys: Any) -> None:
    facts = FACTS + (
        f'- unit: "{NAME}"\n  set: Larkfield LK-40\n  state: {{handle: "{ODD}"}}\n  note: "{ODD}"\n'
        f'- taken: "handle"\n  from: "{NAME}"\n  to: P-1\n  owed: yes\n'
        f'  by: "{ODD}"\n  note: "{ODD}"\n'
        f'- stock: S-1\n  where: "{ODD}"\n'
    )
    data = ["--data", str(folder_with(tmp_path, [("facts.yaml", facts)]))]
    sheets = [
        ["sheet", unit, "--to", form] for unit in ("P-1", NAME) for form in ("text", "markdown", "html")
    ]
    takes = [["take", "volume knob", "--from", NAME, "--to", "P-1"], ["take", "handle", "--from", NAME]]
    for words in (["shelf"], ["shelf", NAME], ["owed"], ["show", "P-1"], ["show", NAME], *sheets, *takes):
        assert run([*data, *words]) in (0, 1), words
        said = capsys.readouterr()
        assert not set(said.out + said.err) & set("\x1b\u202e"), words
        assert "html" not in words or "<b>" not in said.out
