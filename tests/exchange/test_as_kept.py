"""Tables as people keep them: trade columns, ditto marks, several names in a cell, belts, a second import."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import click
import hypothesis
import openpyxl
import pytest
from hypothesis import strategies as st

from kgraph.belts.described import described
from kgraph.cli.main import run
from kgraph.collection import Collection
from kgraph.collection.fact_ids import thing_id
from kgraph.exchange import columns, csv_in
from kgraph.exchange.pieces import NotWhole, pieces
from kgraph.names import fold
from kgraph.quantities import QuantityError
from tests.bench import lists
from tests.support import graph_of_folder

HEADER = "Make,Model,Year,Country,Voltage,Bands,Mechanism,Belt,Part No.,Place,Fits also,Remarks\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """An empty fact folder."""
    made = tmp_path / "facts"
    made.mkdir()
    return made


def bring(folder: Path, file: Path, *more: str) -> int:
    return run(["--data", str(folder), "import", str(file), "--yes", *more])


def written(folder: Path, text: str, name: str = "list.csv") -> Path:
    file = folder.parent / name
    file.write_text(text, encoding="utf-8", newline="")
    return file


def data_of(folder: Path) -> Collection:
    return graph_of_folder(folder).data


def said(folder: Path, kind: str) -> list[dict[str, Any]]:
    """The entries of a kind that the folder holds, without where in the table each stood."""
    found = [dict(e.pairs) for e in data_of(folder).entries if e.kind == kind]
    return [{k: v for k, v in pairs.items() if k not in ("page", "source")} for pairs in found]


# One row, several kinds -----------------------------------------------------------------------


def test_a_row_of_a_list_of_the_trade_is_a_set_and_all_that_belongs_to_it(folder: Path) -> None:
    row = (
        "Larkfield,LK-40,1981-84,UK,240,LW/MW,TN7 mechanism,1.2 sq x 75 dia,K-114,volume knob,Quillon 31,ok\n"
    )
    assert bring(folder, written(folder, HEADER + row)) == 0
    assert said(folder, "set") == [
        {
            "set": "Larkfield LK-40",
            "badge": "Larkfield",
            "model": "LK-40",
            "years": "1981-84",
            "market": "UK",
            "mains": "240 V",
            "bands": ("LW", "MW"),
            "note": "ok",
        }
    ]
    assert said(folder, "assembly") == [{"assembly": "TN7 mechanism", "kind": "tape mechanism"}]
    assert said(folder, "uses") == [{"uses": "TN7 mechanism", "in": "Larkfield LK-40"}]
    assert said(folder, "takes") == [
        {"takes": "1.2 sq x 75 dia", "in": "Larkfield LK-40", "position": "main belt"},
        {"takes": "K-114", "in": "Larkfield LK-40", "position": "volume knob"},
        {"takes": "K-114", "in": "Quillon 31", "position": "volume knob", "role": "substitute"},
    ]
    facts = [e for e in data_of(folder).entries if e.kind in ("uses", "takes")]
    assert {(dict(e.pairs)["source"], dict(e.pairs)["page"]) for e in facts} == {("list.csv", "row 2")}


def test_a_list_of_parts_names_the_sets_that_have_them(folder: Path) -> None:
    text = (
        "Part no.,Description,Used in,Fits also\nK-114,volume knob,Larkfield LK-40; Orvanek 2200,Quillon 31\n"
    )
    assert bring(folder, written(folder, text)) == 0
    assert said(folder, "part") == [{"part": "K-114"}]
    assert said(folder, "takes") == [
        {"takes": "K-114", "in": "Larkfield LK-40", "position": "volume knob"},
        {"takes": "K-114", "in": "Orvanek 2200", "position": "volume knob"},
        {"takes": "K-114", "in": "Quillon 31", "position": "volume knob", "role": "substitute"},
    ]


def test_a_list_of_sets_says_of_its_parts_where_else_they_are_used_and_go(folder: Path) -> None:
    text = (
        "Make,Model,Part No.,Place,Used in,Fits also\n"
        'Larkfield,LK-40,K-114,volume knob,"Orvanek 2200, Quillon 31",Vessimorn 5210\n'
        "Orvanek,2200,K-9,tone knob,,\n"
    )
    assert bring(folder, written(folder, text)) == 0
    found = {(f["takes"], f["in"]): f.get("role", "original") for f in said(folder, "takes")}
    assert found == {
        ("K-114", "Larkfield LK-40"): "original",
        ("K-114", "Orvanek 2200"): "original",
        ("K-114", "Quillon 31"): "original",
        ("K-114", "Vessimorn 5210"): "substitute",
        ("K-9", "Orvanek 2200"): "original",
    }
    assert {f["position"] for f in said(folder, "takes") if f["takes"] == "K-114"} == {"volume knob"}


def test_our_own_words_are_known_and_blanks_say_nothing(folder: Path) -> None:
    text = "set,years,market,mains\nLarkfield LK-40,1981-1984,,240 V 50 Hz\nOrvanek 2200,,Germany,\n"
    assert bring(folder, written(folder, text)) == 0
    assert said(folder, "set") == [
        {"set": "Larkfield LK-40", "years": "1981-1984", "mains": "240 V 50 Hz"},
        {"set": "Orvanek 2200", "market": "Germany"},
    ]


def test_the_guess_is_printed_as_a_mapping_that_does_the_same(folder: Path, capsys: Any) -> None:
    table = written(folder, lists.as_csv(lists.rows(40)).decode())
    assert run(["--data", str(folder), "import", str(table), "--skip-bad"]) == 2
    mapping = written(folder, capsys.readouterr().out, "map.yaml")
    assert bring(folder, table, "--skip-bad") == 0
    first = [e.pairs for e in data_of(folder).entries]
    for file in folder.iterdir():
        file.unlink()
    assert bring(folder, table, "--skip-bad", "--map", str(mapping)) == 0
    assert [e.pairs for e in data_of(folder).entries] == first


def test_a_mapping_makes_several_kinds_divides_cells_and_leaves_out_the_rest(folder: Path) -> None:
    text = "Maker;Types;Deck;Nr;Whose;His number;Price\nLarkfield;RX 20/22;TN7;K-1, K-2; Orvanek;440;3\n"
    text = text.replace("K-1, K-2;", '"K-1, K-2; K-3";')
    mapping = """\
- kind: set
- column: [Maker, Types]
  key: set
  divide: /
- rest: unused
- kind: uses
- column: Deck
  key: uses
- column: [Maker, Types]
  key: in
- kind: takes
- column: Nr
  key: takes
  divide: [",", ";"]
- column: [Maker, Types]
  key: in
- key: position
  value: volume knob
- kind: part
- column: Nr
  key: part
- column: [Whose, His number]
  key: numbers
"""
    assert bring(folder, written(folder, text), "--map", str(written(folder, mapping, "map.yaml"))) == 0
    assert [e["set"] for e in said(folder, "set")] == ["Larkfield RX 20", "Larkfield RX 22"]
    assert [e["in"] for e in said(folder, "uses")] == ["Larkfield RX 20", "Larkfield RX 22"]
    assert {(e["takes"], e["in"]) for e in said(folder, "takes")} == {
        (part, f"Larkfield RX {number}") for part in ("K-1", "K-2", "K-3") for number in (20, 22)
    }
    assert [e["numbers"] for e in said(folder, "part")] == [{"Orvanek": "440"}] * 3


def test_two_cells_are_the_two_names_of_a_pair(folder: Path) -> None:
    mapping = "- kind: same\n- column: [Ours, Theirs]\n  key: same\n"
    table = written(folder, "Ours,Theirs\nK-114,440 1882\n")
    assert bring(folder, table, "--map", str(written(folder, mapping, "map.yaml"))) == 0
    assert said(folder, "same") == [{"same": ("K-114", "440 1882")}]


@pytest.mark.parametrize(
    ("cell", "signs", "found"),
    [
        ("RX 20/22", "/", ["RX 20", "RX 22"]),
        ("LK-40/41 L/42", "/", ["LK-40", "LK-41 L", "LK-42"]),
        ("RX 9/120", "/", ["RX 9", "120"]),
        ("a, b; c", ",;", ["a", "b", "c"]),
        ("1,25; 2", ",;", ["1,25", "2"]),
        ("K-1;;K-1", ";", ["K-1"]),
    ],
)
def test_a_cell_in_pieces(cell: str, signs: str, found: list[str]) -> None:
    assert pieces(cell, tuple(signs)) == found


def test_a_piece_that_nobody_can_complete_is_a_fault(folder: Path, capsys: Any) -> None:
    with pytest.raises(NotWhole):
        pieces("LK-40/L", ("/",))
    mapping = written(folder, "- kind: set\n- column: Set\n  key: set\n  divide: /\n", "map.yaml")
    assert bring(folder, written(folder, "Set\nLarkfield LK-40/L\n"), "--map", str(mapping)) == 3
    assert "list.csv:2:1: L in Larkfield LK-40/L is short for nobody knows what" in capsys.readouterr().err


def test_what_looks_like_several_names_is_told_where_no_mapping_divides_it(folder: Path, capsys: Any) -> None:
    assert bring(folder, written(folder, "Make,Model\nLarkfield,RX 20/22\n")) == 0
    assert "RX 20/22 is taken for one name" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("mapping", "says"),
    [
        ("- kind: set\n- column: Set\n  key: set\n- rest: used\n", "rest: can only be unused"),
        ("- kind: set\n- column: Set\n  key: set\n  as: bellt\n", "no cell is read as bellt"),
        ("- kind: set\n- column: Set\n  key: set\n  as: belt\n", "is the key takes or part"),
        ("- kind: set\n- column: Set\n  key: set\n", "the mapping says nothing of the column Year"),
    ],
)
def test_a_wrong_mapping_is_refused(mapping: str, says: str, folder: Path, capsys: Any) -> None:
    table = written(folder, "Set,Year\nLarkfield LK-40,1981\n")
    assert bring(folder, table, "--map", str(written(folder, mapping, "map.yaml"))) == 3
    assert says in capsys.readouterr().err
    assert not list(folder.iterdir())


# Rows as people write them --------------------------------------------------------------------


@pytest.mark.parametrize(
    "mark", ['"', "''", "dto.", "Dto", "do.", '-"-', "\u2013\u201d\u2013", "\u3003", "ditto"]
)
def test_ditto_marks_repeat_the_row_above(mark: str, folder: Path) -> None:
    quoted = '"' + mark.replace('"', '""') + '"'
    text = f"Make,Model,Country\nLarkfield,LK-40,UK\n{quoted},LK-41,{quoted}\n{quoted},LK-42,{quoted}\n"
    assert bring(folder, written(folder, text)) == 0
    assert [(e["set"], e["market"]) for e in said(folder, "set")] == [
        (f"Larkfield LK-{number}", "UK") for number in (40, 41, 42)
    ]


def test_a_ditto_mark_without_a_row_above_is_a_fault(folder: Path, capsys: Any) -> None:
    assert bring(folder, written(folder, "Make,Model\ndto.,LK-40\n")) == 3
    assert "list.csv:2:1: dto. repeats the row above, and there is none" in capsys.readouterr().err


ODD = """\
Make,Model,Year,Mechanism
PORTABLES,,,
Larkfield,LK-40,1981,s. Remarks
?,LK-41,1982,
Orvanek,2200,-,-
"""
TOLD = (
    "list.csv:2:1: PORTABLES stands alone in its row",
    "list.csv:3:4: s. Remarks sends the reader elsewhere",
    "list.csv:4:1: ? has no letter and no digit, and a name belongs here",
)


def test_rows_that_are_no_entries_are_wrong_where_nobody_can_be_asked(folder: Path, capsys: Any) -> None:
    assert bring(folder, written(folder, ODD)) == 3
    err = capsys.readouterr().err
    assert all(told in err for told in TOLD)
    assert not list(folder.iterdir())
    assert bring(folder, written(folder, ODD), "--skip-bad") == 0
    assert said(folder, "set") == [{"set": "Orvanek 2200", "badge": "Orvanek", "model": "2200"}]
    assert said(folder, "uses") == []


@pytest.mark.parametrize("answer", [True, False])
def test_rows_that_are_no_entries_are_asked_about(answer: bool, folder: Path, monkeypatch: Any) -> None:
    asked: list[str] = []
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr(
        click, "confirm", lambda text, **_: (asked.append(text), "leave" not in text or answer)[1]
    )
    status = bring(folder, written(folder, ODD))
    assert "leave out 3 rows?" in asked
    assert status == (0 if answer else 3)
    assert bool(list(folder.iterdir())) == answer


def test_a_wrong_coding_is_one_line_and_names_the_right_one(folder: Path, capsys: Any) -> None:
    rows = "".join(f"M\xfcller {i},LK-4{i}\n" for i in range(9))
    table = folder.parent / "list.csv"
    table.write_bytes(f"Make,Model\n{rows}".encode("cp1252"))
    assert bring(folder, table) == 3
    mend = "save it as UTF-8, or say --encoding cp1252, in which it is \xfc"
    assert capsys.readouterr().err == f"{table}:2:1: byte 0xFC is not UTF-8; {mend}\n"
    assert bring(folder, table, "--encoding", "cp1252") == 0
    assert said(folder, "set")[0]["badge"] == "M\xfcller 0"


# Belts ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "pairs", "whole"),
    [
        ("1.2 sq x 75 dia", {"section": "square 1.2 mm", "inside diameter": "75 mm"}, True),
        ("75 mm i/d x 1.2 mm square", {"section": "square 1.2 mm", "inside diameter": "75 mm"}, True),
        ("SQ 1.25 x 262", {"section": "square 1.25 mm", "inside length": "262 mm"}, True),
        ("5 x 0.6 x 70 flat", {"section": "flat 5 mm x 0.6 mm", "inside diameter": "70 mm"}, True),
        ("70 x 5 flat", {"width": "5 mm", "inside diameter": "70 mm"}, False),
        ("ca. 240mm", {"inside length": "about 240 mm"}, False),
        ("~240 mm folded", {"folded": "about 240 mm"}, False),
    ],
)
def test_a_belt_as_sellers_write_it(text: str, pairs: dict[str, str], whole: bool) -> None:
    found = described(text)
    assert found is not None
    assert (dict(found.pairs), found.whole) == (pairs, whole)


@pytest.mark.parametrize("text", ["K-114", "440 1882", "FB-12", "flat belt A", "SBM 7.2"])
def test_a_name_is_no_size_of_a_belt(text: str) -> None:
    assert described(text) is None


@pytest.mark.parametrize("text", ["240", "1.2 x 75", "1,2 sq x 75", "ca. 150mm", "ca. so much", "3000 mm"])
def test_a_size_that_can_be_read_in_two_ways_is_refused(text: str) -> None:
    with pytest.raises(QuantityError):
        described(text)


def test_a_rough_size_is_a_belt_of_its_own_with_the_error_of_about(folder: Path, capsys: Any) -> None:
    text = "Make,Model,Belt\nLarkfield,LK-40,ca. 240mm\nOrvanek,2200,ca. 240mm\nQuillon,31,FB-12\n"
    assert bring(folder, written(folder, text)) == 0
    assert "ca. 240mm is read as a belt with inside length about 240 mm" in capsys.readouterr().err
    parts = data_of(folder).known("part")
    assert sorted(parts.values()) == [
        "FB-12",
        "main belt of Larkfield LK-40, about 240 mm",
        "main belt of Orvanek 2200, about 240 mm",
    ]
    rough = [p for p in said(folder, "part") if "inside length" in p]
    assert [p["inside length"] for p in rough] == ["about 240 mm"] * 2


# Imported again -------------------------------------------------------------------------------

LIST = """\
Make,Model,Mechanism,Part No.,Place
Larkfield,LK-40,TN7,K-114,volume knob
Orvanek,2200,TN7,K-115,volume knob
"""


def facts_of(folder: Path) -> set[tuple[str, ...]]:
    return {
        (
            str(dict(f.record.pairs).get("takes") or dict(f.record.pairs).get("uses")),
            str(dict(f.record.pairs)["in"]),
        )
        for f in data_of(folder).facts.values()
        if f.record
    }


def test_a_cell_that_was_changed_corrects_the_old_fact(folder: Path, capsys: Any) -> None:
    assert bring(folder, written(folder, LIST)) == 0
    changed = LIST.replace("K-115", "K-119").replace("Place\n", "Place\nVessimorn,5210,Q9,,\n")
    assert bring(folder, written(folder, changed)) == 0
    assert "takes was K-115, is K-119" in capsys.readouterr().err
    expected = {("K-114", "Larkfield LK-40"), ("TN7", "Larkfield LK-40"), ("TN7", "Orvanek 2200")}
    assert facts_of(folder) == expected | {("K-119", "Orvanek 2200"), ("Q9", "Vessimorn 5210")}
    assert run(["--data", str(folder), "check"]) == 0
    before = {p: p.read_bytes() for p in folder.iterdir()}
    assert bring(folder, written(folder, changed)) == 0
    assert {p: p.read_bytes() for p in folder.iterdir()} == before
    # And back again: what was withdrawn once can be said anew.
    assert bring(folder, written(folder, LIST)) == 0
    assert ("K-115", "Orvanek 2200") in facts_of(folder)
    assert ("K-119", "Orvanek 2200") not in facts_of(folder)
    assert "the table does not say this any more; `kgraph withdraw " in capsys.readouterr().err


YEARS = "Make,Model,Years,Voltage\nLarkfield,LK-40,1981-1984,240\nOrvanek,2200,1982,220\n"


def sets_of(folder: Path) -> dict[str, dict[str, Any]]:
    things = data_of(folder).things["set"]
    assert all(len(entries) == 1 for entries in things.values())
    return {entry.name.text: dict(entry.pairs) for (entry,) in things.values()}


def test_a_cell_of_a_thing_that_was_changed_corrects_what_was_said(folder: Path, capsys: Any) -> None:
    assert bring(folder, written(folder, YEARS)) == 0
    file = next(folder.glob("*.yaml"))
    before = file.read_bytes()
    capsys.readouterr()
    changed = YEARS.replace("1984", "1985") + "Quillon,31,1983,240\n"
    assert bring(folder, written(folder, changed)) == 0
    assert f"corrects {file}:1:3 (set): years was 1981-1984, is 1981-1985" in capsys.readouterr().err
    assert file.read_bytes().startswith(before)
    found = sets_of(folder)
    assert {entry["years"] for entry in found.values()} == {"1981-1985", "1982", "1983"}
    assert run(["--data", str(folder), "check"]) == 0
    lines = file.read_bytes()
    assert bring(folder, written(folder, changed)) == 0
    assert file.read_bytes() == lines


def test_values_said_before_are_said_again_however_often_a_cell_changes(folder: Path) -> None:
    for years in ("1984", "1985", "1984", "1985", "1984", "1986", "1985"):
        assert bring(folder, written(folder, YEARS.replace("1984", years))) == 0
        assert sets_of(folder)["Larkfield LK-40"]["years"] == f"1981-{years}"
        assert run(["--data", str(folder), "check"]) == 0


def test_a_row_moved_and_changed_and_a_name_put_right(folder: Path, capsys: Any) -> None:
    assert bring(folder, written(folder, YEARS)) == 0
    header, larkfield, orvanek = YEARS.splitlines(keepends=True)
    moved = header + orvanek.replace("1982", "1983") + "Vessimorn,5210,1982,220\n" + larkfield
    assert bring(folder, written(folder, moved)) == 0
    found = sets_of(folder)
    assert {name: found[name]["years"] for name in found} == {
        "Larkfield LK-40": "1981-1984",
        "Orvanek 2200": "1983",
        "Vessimorn 5210": "1982",
    }
    named = moved.replace("Vessimorn,5210", "Vessimorn,5211")
    assert bring(folder, written(folder, named)) == 0
    assert "set was Vessimorn 5210, is Vessimorn 5211" in capsys.readouterr().err
    assert set(sets_of(folder)) == {"Larkfield LK-40", "Orvanek 2200", "Vessimorn 5211"}


CELLS = st.tuples(
    st.sampled_from(["1981", "1982", ""]), st.sampled_from(["240", "220"]), st.sampled_from(["K-1", "K-2"])
)
LISTED = st.lists(st.tuples(CELLS, CELLS, CELLS, st.permutations(range(3))), min_size=2, max_size=4)


@hypothesis.settings(max_examples=20, deadline=None)
@hypothesis.given(LISTED)
def test_however_cells_change_and_rows_move_the_folder_says_what_the_list_says_at_last(
    tables: list[Any],
) -> None:
    names = ("Larkfield,LK-40", "Orvanek,2200", "Quillon,31")

    def text(*rows_and_order: Any) -> str:
        *rows, order = rows_and_order
        lines = [
            f"{name},{years},{volts},{part},volume knob\n"
            for name, (years, volts, part) in zip(names, rows, strict=True)
        ]
        return "Make,Model,Year,Voltage,Part No.,Place\n" + "".join(lines[i] for i in order)

    with TemporaryDirectory() as scratch:
        kept, anew = (Path(scratch, name, "facts") for name in ("kept", "anew"))
        for folder in (kept, anew):
            folder.mkdir(parents=True)
        for table in tables:
            assert bring(kept, written(kept, text(*table))) == 0
        assert bring(anew, written(anew, text(*tables[-1]))) == 0
        for folder in (kept, anew):
            assert run(["--data", str(folder), "check"]) == 0
        said_of = [
            {name: (s.get("years"), s["mains"]) for name, s in sets_of(folder).items()}
            for folder in (kept, anew)
        ]
        assert said_of[0] == said_of[1]
        takes = [{f.claim[:2] for f in data_of(folder).facts.values()} for folder in (kept, anew)]
        assert takes[0] == takes[1]


def test_what_was_put_right_or_taken_back_in_the_folder_stays_so(folder: Path, capsys: Any) -> None:
    text = "Make,Model,Years,Part No.,Place\nLarkfield,LK-40,1981,K-114,volume knob\n"
    text += "Orvanek,2200,1982,K-9,tone knob\n"
    assert bring(folder, written(folder, text)) == 0
    words = ["--data", str(folder)]
    assert run([*words, "correct", "Larkfield LK-40", "years", "1980", "--yes"]) == 0
    knob, other = (
        f.id for p in ("K-114", "K-9") for f in data_of(folder).facts.values() if f.claim[0] == fold(p)
    )
    assert run([*words, "correct", knob, "takes", "K-115", "--yes"]) == 0
    assert run([*words, "withdraw", other, "--why", "misread", "--yes"]) == 0
    before = {p: p.read_bytes() for p in folder.iterdir()}
    capsys.readouterr()
    assert bring(folder, written(folder, text)) == 0
    told = capsys.readouterr().err
    assert told.count("was taken back or corrected in the folder, and stays so") == 3
    assert "does not say this any more" not in told
    assert {p: p.read_bytes() for p in folder.iterdir()} == before
    # A cell that is changed there since counts; by the others' reason it is still as it was put right.
    assert bring(folder, written(folder, text.replace("1981", "1979").replace("K-114", "K-116"))) == 0
    assert sets_of(folder)["Larkfield LK-40"]["years"] == "1979"
    takes = {f.claim[0] for f in data_of(folder).facts.values() if f.kind == "takes"}
    assert takes == {fold("K-116")}
    assert run([*words, "check"]) == 0


def test_what_an_older_program_read_from_a_table_is_there_already(folder: Path, capsys: Any) -> None:
    """Its things name no table: nothing is said twice, and what differs is told with the id to take back."""
    old = "- set: Larkfield LK-40\n  badge: Larkfield\n  model: LK-40\n  years: 1981-1984\n  mains: 240 V\n"
    (folder / "import-list.yaml").write_text(old, encoding="utf-8")
    assert bring(folder, written(folder, YEARS)) == 0
    assert len(data_of(folder).things["set"][fold("Larkfield LK-40")]) == 1
    capsys.readouterr()
    assert bring(folder, written(folder, YEARS.replace("1984", "1985"))) == 3
    told = capsys.readouterr().err
    ident = thing_id(data_of(folder).things["set"][fold("Larkfield LK-40")][0])
    assert f"if this one, take the other back: kgraph withdraw {ident} --why ..." in told
    assert run(["--data", str(folder), "withdraw", ident, "--why", "the table is right", "--yes"]) == 0
    assert bring(folder, written(folder, YEARS.replace("1984", "1985"))) == 0
    assert sets_of(folder)["Larkfield LK-40"]["years"] == "1981-1985"


def test_what_somebody_else_says_stays_when_the_table_is_corrected(folder: Path) -> None:
    (folder / "mine.yaml").write_text(
        "- takes: K-115\n  in: Orvanek 2200\n  position: volume knob\n  how: fitted\n", encoding="utf-8"
    )
    assert bring(folder, written(folder, LIST)) == 0
    assert bring(folder, written(folder, LIST.replace("K-115", "K-119"))) == 0
    assert {("K-115", "Orvanek 2200"), ("K-119", "Orvanek 2200")} <= facts_of(folder)


def test_rows_in_another_order_are_nothing_new(folder: Path) -> None:
    assert bring(folder, written(folder, LIST)) == 0
    before = {p: p.read_bytes() for p in folder.iterdir()}
    header, *rows = LIST.splitlines(keepends=True)
    assert bring(folder, written(folder, header + "".join(reversed(rows)))) == 0
    assert {p: p.read_bytes() for p in folder.iterdir()} == before


def test_whole_numbers_that_another_program_made_fractions_are_the_same(folder: Path) -> None:
    text = "Make,Model,Year,knobs\nOrvanek,2200,1982,8\nQuillon,31,,\n"
    assert bring(folder, written(folder, text)) == 0
    before = {p: p.read_bytes() for p in folder.iterdir()}
    text = text.replace("2200,1982,8", "2200.0,1982.0,8.0").replace("31", "31.0")
    assert bring(folder, written(folder, text)) == 0
    assert {p: p.read_bytes() for p in folder.iterdir()} == before


def test_a_changed_cell_is_told_without_those_that_a_program_wrote_otherwise(
    folder: Path, capsys: Any
) -> None:
    text = "Make,Model,Year,knobs\nOrvanek,2200,1982,8\n"
    assert bring(folder, written(folder, text)) == 0
    assert bring(folder, written(folder, "Make,Model,Year,knobs\nOrvanek,2200.0,1983.0,8.0\n")) == 0
    assert "(set): years was 1982, is 1983" in (told := capsys.readouterr().err)
    assert "knobs was" not in told
    assert list(sets_of(folder)) == ["Orvanek 2200"]


def test_our_own_tables_come_back_from_a_program_that_made_fractions(folder: Path, tmp_path: Path) -> None:
    (folder / "a.yaml").write_text(
        '- set: Orvanek 2200\n  knobs: 8\n  step: "1.0"\n- set: Quillon 31\n', encoding="utf-8"
    )
    out = tmp_path / "out.csv"
    assert run(["--data", str(folder), "export", "--to", "csv", "--kind", "set", "-o", str(out)]) == 0
    header, *rows = csv.reader(out.read_text(encoding="utf-8").splitlines())
    turned = [[f"{c}.0" if c.isdigit() else c for c in row] for row in rows]
    text = io.StringIO()
    csv.writer(text).writerows([header, *turned])
    before = {p: p.read_bytes() for p in folder.iterdir()}
    assert bring(folder, written(folder, text.getvalue(), "out.csv")) == 0
    assert {p: p.read_bytes() for p in folder.iterdir()} == before


# Sheets, and what is wrong --------------------------------------------------------------------


def book(path: Path, **sheets: list[list[Any]]) -> Path:
    made = openpyxl.Workbook()
    made.remove(made.worksheets[0])
    for name, rows in sheets.items():
        sheet = made.create_sheet(name)
        for row in rows:
            sheet.append(row)
    made.save(path)
    return path


SETS = [["Make", "Model", "Year"], ["Larkfield", "LK-40", 1981]]


def test_sheets_are_chosen_by_name(folder: Path, tmp_path: Path, capsys: Any) -> None:
    file = book(tmp_path / "a.xlsx", Sets=SETS, Shopping=[["what"], ["glue"]])
    assert bring(folder, file) == 3
    assert "no column says which kind of entry the rows are" in capsys.readouterr().err
    assert bring(folder, file, "--sheet", "Set") == 3
    assert "did you mean Sets?" in capsys.readouterr().err
    assert bring(folder, file, "--sheet", "sets") == 0
    assert "sheet Shopping is left out" in capsys.readouterr().err
    assert [e["years"] for e in said(folder, "set")] == ["1981"]


def test_the_wrong_rows_of_a_csv_come_back_as_a_csv_that_says_why(folder: Path, tmp_path: Path) -> None:
    rows = "K-1;Larkfield LK-40;volume knob;\nK-2;Larkfield LK-40;back;1.5\nK-3;X 1\n"
    text = f"Part;Set;Position;Certainty\n{rows}"
    wrong = tmp_path / "wrong.csv"
    assert bring(folder, written(folder, text), "--kind", "takes", "--wrong", str(wrong)) == 3
    assert not list(folder.iterdir())
    rows = list(csv.DictReader(wrong.read_text(encoding="utf-8").splitlines(), delimiter=";"))
    assert [row["Part"] for row in rows] == ["K-2", "K-3"]
    assert [row["Set"] for row in rows] == ["Larkfield LK-40", "X 1"]
    assert "column 4: certainty: '1.5' is out of range" in rows[0]["[why]"]
    assert "2 cells where the first row has 4" in rows[1]["[why]"]
    mended = wrong.read_text(encoding="utf-8").replace("1.5;", "0.5;").replace("X 1;;", "X 1;handle;")
    assert bring(folder, written(folder, mended, "mended.csv"), "--kind", "takes") == 0
    assert [e["takes"] for e in said(folder, "takes")] == ["K-2", "K-3"]


def test_a_wrong_row_of_one_sheet_costs_no_row_of_another(folder: Path, tmp_path: Path, capsys: Any) -> None:
    """The third row of both: what is wrong in one is told with the sheet, and the other comes in."""
    file = book(
        tmp_path / "two.xlsx",
        set=[["set", "mains"], ["Larkfield LK-40", "240 V"], ["Orvanek 2200", "220 V"]],
        part=[["part", "kind", "section"], ["B-1", "belt", "square 1.2 mm"], ["B-2", "belt", "1.2 mm"]],
    )
    assert bring(folder, file, "--skip-bad") == 0
    assert f"skipped: {file}, sheet part:3:3: section: " in capsys.readouterr().err
    assert {e["set"] for e in said(folder, "set")} == {"Larkfield LK-40", "Orvanek 2200"}
    # So it is where the row is right by itself and is wrong beside the folder.
    (folder / "own.yaml").write_text("- part: B-3\n  kind: knob\n", encoding="utf-8")
    file = book(
        tmp_path / "more.xlsx", set=[["set"], ["Quillon 31"]], part=[["part", "kind"], ["B-3", "belt"]]
    )
    assert bring(folder, file, "--skip-bad") == 0
    assert f"skipped: {file}, sheet part:2:1: part B-3: kind is belt here" in capsys.readouterr().err
    assert "Quillon 31" in {e["set"] for e in said(folder, "set")}


def test_the_wrong_rows_of_a_workbook_come_back_by_sheet(folder: Path, tmp_path: Path) -> None:
    parts = [["part", "kind", "inside length"], ["K-1", "belt", "far"], ["K-2", "belt", "262 mm"]]
    file = book(tmp_path / "a.xlsx", set=[*SETS, ["Larkfield", "=1+1", 3]], part=parts)
    wrong = tmp_path / "wrong.xlsx"
    assert bring(folder, file, "--skip-bad", "--wrong", str(wrong)) == 0
    assert [e["part"] for e in said(folder, "part")] == ["K-2"]
    read = openpyxl.load_workbook(wrong)
    assert read.sheetnames == ["set", "part"]
    sets, found = ([[c.value for c in row] for row in read[name].rows] for name in read.sheetnames)
    assert (sets[0], sets[1][0]) == (["Make", "Model", "Year", "[why]"], "Larkfield")
    assert "the cell holds a formula" in sets[1][3]
    assert found[1][:3] == ["K-1", "belt", "far"]
    assert "inside length" in found[1][3]


def test_the_wrong_rows_keep_the_format_that_came(folder: Path, tmp_path: Path, capsys: Any) -> None:
    assert bring(folder, written(folder, LIST), "--wrong", str(tmp_path / "wrong.xlsx")) == 2
    assert "--wrong names a .csv file" in capsys.readouterr().err


def test_a_row_that_conflicts_with_the_folder_is_among_the_wrong_ones(folder: Path, tmp_path: Path) -> None:
    (folder / "a.yaml").write_text("- set: Larkfield LK-40\n  years: 1981\n", encoding="utf-8")
    wrong = tmp_path / "wrong.csv"
    text = "Make,Model,Year\nLarkfield,LK-40,1985\nOrvanek,2200,1982\n"
    assert bring(folder, written(folder, text), "--wrong", str(wrong)) == 3
    assert wrong.read_text(encoding="utf-8").splitlines()[1].startswith('Larkfield,LK-40,1985,"column 1: ')


# RFC 4180, "Common Format and MIME Type for CSV Files" (2005), section 2, rule by rule.
RFC_4180 = {
    "1 lines end with CR LF": ("a,b\r\nc,d\r\n", [["a", "b"], ["c", "d"]]),
    "2 the last line may have no end": ("a,b\r\nc,d", [["a", "b"], ["c", "d"]]),
    "4 blanks belong to the field": ("a,b\r\n c ,d", [["a", "b"], [" c ", "d"]]),
    "5 fields may be quoted": ('"a","b"\r\nc,"d"', [["a", "b"], ["c", "d"]]),
    "6 quoted are line ends and commas": ('a,b\r\n"c\r\nd","e,f"', [["a", "b"], ["c\nd", "e,f"]]),
    "7 a quote is doubled": ('a,b\r\n"c""d",""""', [["a", "b"], ['c"d', '"']]),
}


@pytest.mark.parametrize("rule", RFC_4180)
def test_csv_is_read_by_rfc_4180(rule: str) -> None:
    text, expected = RFC_4180[rule]
    sheet = csv_in.read("q.csv", "", text.encode(), "utf-8")
    assert sheet
    assert [list(row.cells) for row in (sheet.header, *sheet.rows)] == expected


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
def test_a_list_of_many_rows_says_the_same_in_both_formats_and_twice(suffix: str, folder: Path) -> None:
    cells = lists.rows(120)
    table = folder.parent / f"list.{suffix}"
    table.write_bytes((lists.as_csv if suffix == "csv" else lists.as_xlsx)(cells))
    assert bring(folder, table, "--skip-bad") == 0
    titles = [row for row in cells[1:] if not any(row[1:])]
    sets = {e["set"] for e in said(folder, "set")}
    assert len(sets) == len(cells) - 1 - len(titles)
    before = {p: p.read_bytes() for p in folder.iterdir()}
    assert bring(folder, table, "--skip-bad") == 0
    assert {p: p.read_bytes() for p in folder.iterdir()} == before


def test_numbered_columns_are_parts_with_their_places() -> None:
    sheet = csv_in.read("q.csv", "", b"Make,Model,Part 1,Place 1,Part 2,Place 2\n", "utf-8")
    assert sheet
    takes = [plan for plan in columns.guess(sheet) if plan.kind == "takes"]
    assert [[c.names for c in plan.columns] for plan in takes] == [
        [(f"Part {n}",), ("Make", "Model"), (f"Place {n}",)] for n in (1, 2)
    ]
