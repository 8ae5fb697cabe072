"""Tables out and in: CSV, workbooks and GraphML, what comes back, and every fault at its row and column."""

from __future__ import annotations

import csv
import io
import zipfile
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import networkx
import openpyxl
import pytest

from kgraph.cli.main import run
from kgraph.exchange import columns, csv_in
from kgraph.exchange.cells import cell_of, read_cell
from kgraph.exchange.graphml import graph_of, xml_text
from tests.exchanged import EVERY, exported, graph, meant
from tests.support import DEMO, ROOT, graph_of_folder

HOSTILE = ROOT / "tests" / "hostile"
INDEX = [
    row
    for row in csv.reader((HOSTILE / "index.tsv").read_text(encoding="utf-8").splitlines(), delimiter="\t")
    if row[0].startswith("c") and row[0].endswith(".csv")
]
TOLD = {
    "c01-formula.csv": "@x",
    "c02-ragged.csv": "c02-ragged.csv:4:1: 1 cell where the first row has 2",
    "c03-open-quote.csv": "never closed",
    "c04-nul.csv": "control character \\x00",
    "c05-semicolon-bom.csv": "1,25 is kept as it is written",
    "c06-double-header.csv": "named twice",
    "c07-field-200k.csv": "more than 131072 characters",
    "c08-newline-in-field.csv": "3 cells where the first row has 2",
    "c09-latin1.csv": "--encoding",
    "c10-unknown-column.csv": "did you mean set?",
}
"""What must be told of each hostile table."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """An empty fact folder."""
    made = tmp_path / "facts"
    made.mkdir()
    return made


def bring(folder: Path, file: Path, *more: str) -> int:
    return run(["--data", str(folder), "import", str(file), *more])


def written(tmp_path: Path, text: str, name: str = "table.csv") -> Path:
    file = tmp_path / name
    file.write_text(text, encoding="utf-8", newline="")
    return file


def every(tmp_path: Path) -> Path:
    """A folder with every kind of entry."""
    source = tmp_path / "every"
    source.mkdir()
    (source / "all.yaml").write_text(EVERY, encoding="utf-8")
    return source


# Hostile tables -------------------------------------------------------------------------------


def test_each_hostile_table_is_told_of() -> None:
    assert {row[0] for row in INDEX} == TOLD.keys()


@pytest.mark.parametrize("row", INDEX, ids=[row[0] for row in INDEX])
def test_a_hostile_table_is_read_or_refused_as_listed(row: list[str], folder: Path, capsys: Any) -> None:
    name, kind, line = row[:3]
    status = bring(folder, HOSTILE / name, "--yes")
    out, err = capsys.readouterr()
    assert TOLD[name] in out + err
    assert "Traceback" not in err
    assert status == (3 if kind == "error" else 0)
    assert bool(list(folder.iterdir())) == (kind != "error")
    if kind == "error":
        assert f"{name}:{line}:" in err


def test_latin_1_is_read_where_it_is_named(folder: Path) -> None:
    assert bring(folder, HOSTILE / "c09-latin1.csv", "--yes", "--encoding", "latin-1") == 0
    data = graph_of_folder(folder).data
    assert any(
        "\xe9" in value for entry in data.entries for _, value in entry.pairs if isinstance(value, str)
    )


# There and back -------------------------------------------------------------------------------


@pytest.mark.parametrize("target", ["tables", "book.xlsx"])
def test_every_kind_of_entry_comes_back(target: str, tmp_path: Path, folder: Path) -> None:
    source = every(tmp_path)
    to = "xlsx" if target.endswith("xlsx") else "csv"
    assert run(["--data", str(source), "export", "--to", to, "-o", str(tmp_path / target)]) == 0
    assert bring(folder, tmp_path / target, "--yes") == 0
    before, after = (meant(graph_of_folder(f).data) for f in (source, folder))
    # Columns stand in one order for all rows, so the keys of an entry may come back in another.
    for found in (before, after):
        found["entries"] = [(kind, dict(pairs)) for kind, pairs in found["entries"]]
    assert after == before


@pytest.mark.parametrize("target", ["tables", "book.xlsx"])
def test_the_demo_comes_back_and_nothing_is_new_then(target: str, tmp_path: Path, folder: Path) -> None:
    to = "xlsx" if target.endswith("xlsx") else "csv"
    assert run(["--data", str(DEMO), "export", "--to", to, "-o", str(tmp_path / target)]) == 0
    assert bring(folder, tmp_path / target, "--yes") == 0
    before, after = (meant(graph_of_folder(f).data) for f in (DEMO, folder))
    assert after["facts"] == before["facts"]
    assert after["withdrawn"] == before["withdrawn"]
    files = {p: p.read_bytes() for p in folder.iterdir()}
    assert bring(folder, tmp_path / target, "--yes") == 0
    assert {p: p.read_bytes() for p in folder.iterdir()} == files


CELLS = [
    *("plain", "-5", "+1", "=1+1", "@SUM(A1)", "\t=1", "\uff1d1+1", "'quoted", "'-5", "''=x", "' x"),
    *("", " ends ", "[LW]", "{a: b}", '"x"', "a;b", "a,b", "two\nlines", "\x1b[31m", "12:30", "no", "\\x41"),
]


@pytest.mark.parametrize("is_csv", [True, False])
@pytest.mark.parametrize("key", ["note", "also"])
@pytest.mark.parametrize("text", CELLS)
def test_a_text_comes_back_letter_for_letter(text: str, key: str, is_csv: bool) -> None:
    assert read_cell(key, cell_of(key, text, is_csv), is_csv) == text


@pytest.mark.parametrize("text", [c for c in CELLS if c.strip()[:1] in tuple("=+-@\uff1d")])
def test_no_cell_of_csv_begins_like_a_formula(text: str) -> None:
    # Of these a spreadsheet makes a formula; OWASP, "CSV Injection", names them.
    assert cell_of("note", text, True).strip()[0] not in "=+-@\uff1d"


# Workbooks ------------------------------------------------------------------------------------


def test_the_same_facts_give_the_same_workbook_without_a_date_of_today() -> None:
    one, other = (exported(graph("- part: '=1+1'\n  kind: knob\n"), "xlsx") for _ in range(2))
    assert one == other
    with zipfile.ZipFile(io.BytesIO(one)) as archive:
        assert {member.date_time for member in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert b"1980-01-01T00:00:00Z" in archive.read("docProps/core.xml")
    cell = openpyxl.load_workbook(io.BytesIO(one))["part"]["A2"]
    assert (cell.value, cell.data_type) == ("=1+1", "s")


def workbook(path: Path, *rows: list[Any]) -> Path:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "part"
    for row in rows:
        sheet.append(row)
    book.save(path)
    return path


def test_a_formula_in_a_workbook_is_an_error_at_its_cell(tmp_path: Path, folder: Path, capsys: Any) -> None:
    file = workbook(tmp_path / "a.xlsx", ["part", "kind"], ["K-1", "knob"], ["=1+1", "knob"])
    assert bring(folder, file, "--yes") == 3
    err = capsys.readouterr().err
    assert "a.xlsx:3:1: sheet part: the cell holds a formula" in err
    assert list(folder.iterdir()) == []


def test_numbers_and_dates_of_a_workbook_are_read_as_they_are_meant(tmp_path: Path, folder: Path) -> None:
    import datetime

    day = datetime.datetime(2024, 3, 1)
    file = workbook(tmp_path / "a.xlsx", ["part", "kind", "count", "seen"], [114, "knob", 2.5, day])
    assert bring(folder, file, "--yes") == 0
    (entry,) = graph_of_folder(folder).data.entries
    said = {"part": "114", "kind": "knob", "count": "2.5", "seen": "2024-03-01"}
    assert dict(entry.pairs) == {**said, "source": "a.xlsx", "page": "sheet part, row 2"}


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"PK\x03\x04 cut", "cannot be read as a workbook"),
        (b"", "cannot be read as a workbook"),
    ],
)
def test_what_is_no_workbook_is_refused(
    data: bytes, says: str, tmp_path: Path, folder: Path, capsys: Any
) -> None:
    (tmp_path / "a.xlsx").write_bytes(data)
    assert bring(folder, tmp_path / "a.xlsx", "--yes") == 3
    assert says in capsys.readouterr().err


def test_a_workbook_with_a_doctype_is_refused(tmp_path: Path, folder: Path, capsys: Any) -> None:
    good = workbook(tmp_path / "good.xlsx", ["part", "kind"], ["K-1", "knob"])
    with zipfile.ZipFile(good) as old, zipfile.ZipFile(tmp_path / "bad.xlsx", "w") as new:
        for name in old.namelist():
            data = old.read(name)
            if name == "xl/worksheets/sheet1.xml":
                data = b'<!DOCTYPE x [<!ENTITY e "boom">]>' + data
            new.writestr(name, data)
    assert bring(folder, tmp_path / "bad.xlsx", "--yes") == 3
    assert "DOCTYPE" in capsys.readouterr().err


# Rows and columns -----------------------------------------------------------------------------

TAKES = """\
Part,Set,Position,Certainty
K-1,Larkfield LK-40,volume knob,
K-2,Larkfield LK-40,back,1.5
,X 2,back,
"""


def test_faults_name_their_row_and_column_and_nothing_is_written(
    tmp_path: Path, folder: Path, capsys: Any
) -> None:
    assert bring(folder, written(tmp_path, TAKES), "--kind", "takes", "--yes") == 3
    err = capsys.readouterr().err
    assert "table.csv:3:4: certainty: '1.5' is out of range" in err
    assert "table.csv:4:1: takes has no takes: in this row" in err
    assert list(folder.iterdir()) == []


def test_bad_rows_are_listed_and_left_out_where_that_is_asked_for(
    tmp_path: Path, folder: Path, capsys: Any
) -> None:
    assert bring(folder, written(tmp_path, TAKES), "--kind", "takes", "--yes", "--skip-bad") == 0
    err = capsys.readouterr().err
    assert err.count("skipped: ") == 2
    data = graph_of_folder(folder).data
    assert [dict(e.pairs)["takes"] for e in data.entries] == ["K-1"]


def test_without_a_terminal_a_guess_is_printed_as_a_mapping_that_then_works(
    tmp_path: Path, folder: Path, capsys: Any
) -> None:
    table = written(tmp_path, "Part,Set,Position\nK-1,Larkfield LK-40,volume knob\n")
    assert bring(folder, table, "--kind", "takes") == 2
    out, err = capsys.readouterr()
    assert "--yes" in err
    assert list(folder.iterdir()) == []
    mapping = written(tmp_path, out, "map.yaml")
    assert bring(folder, table, "--map", str(mapping), "--yes") == 0
    assert len(graph_of_folder(folder).data.facts) == 1


def test_a_mapping_joins_columns_gives_constants_and_leaves_out(tmp_path: Path, folder: Path) -> None:
    table = written(tmp_path, "Make;Model;Bands;Price\nLarkfield;LK-40;LW/MW;3\n")
    text = (
        "- kind: set\n- column: [Make, Model]\n  key: set\n- column: Bands\n  key: bands\n  divide: /\n"
        "- column: Price\n- key: mains\n  value: 240 V\n"
    )
    assert bring(folder, table, "--map", str(written(tmp_path, text, "map.yaml")), "--yes") == 0
    (entry,) = graph_of_folder(folder).data.entries
    expected = {"set": "Larkfield LK-40", "bands": ("LW", "MW"), "mains": "240 V"}
    expected |= {"source": "table.csv", "page": "row 2"}
    assert dict(entry.pairs) == expected


@pytest.mark.parametrize(
    ("mapping", "says"),
    [
        ("- kind: sett\n- column: Part\n  key: takes\n", "map.yaml:1:3: sett is not a kind of entry"),
        ("- kind: takes\n- colum: x\n", "map.yaml:2:3: an item of a mapping does not begin with colum"),
        ("- kind: takes\n- column: Part\n  key: takes\n- column: Sett\n  key: in\n", "did you mean Set?"),
        ("- kind: takes\n- column: Part\n  key: takes\n  kee: x\n", "did you mean key?"),
        ("- kind: takes\n- column: Part\n  key: nonsense\n", "takes has no key nonsense"),
        ("", "it names no column"),
    ],
)
def test_a_wrong_mapping_is_refused_at_its_place(
    mapping: str, says: str, tmp_path: Path, folder: Path, capsys: Any
) -> None:
    table = written(tmp_path, "Part,Set,Position\nK-1,Larkfield LK-40,volume knob\n")
    assert bring(folder, table, "--map", str(written(tmp_path, mapping, "map.yaml")), "--yes") == 3
    assert says in capsys.readouterr().err
    assert list(folder.iterdir()) == []


def test_several_kinds_need_a_folder_or_a_choice(capsysbinary: Any) -> None:
    assert run(["--data", str(DEMO), "export", "--to", "csv"]) == 2
    assert b"--kind" in capsysbinary.readouterr().err
    assert run(["--data", str(DEMO), "export", "--to", "csv", "--kind", "grade"]) == 0
    assert capsysbinary.readouterr().out.splitlines()[0] == b"grade,certainty,[order]"


def test_a_folder_named_like_a_table_is_told_of(folder: Path, tmp_path: Path, capsys: Any) -> None:
    (tmp_path / "tables" / "x.csv").mkdir(parents=True)
    assert bring(folder, tmp_path / "tables", "--yes") == 3
    assert capsys.readouterr().err == f"{tmp_path / 'tables' / 'x.csv'}: not a regular file\n"


@pytest.mark.parametrize("to", ["csv", "xlsx"])
def test_keys_of_the_users_own_come_back_as_they_are_written(to: str, tmp_path: Path, folder: Path) -> None:
    facts = "- set: Foo 1\n  Mains: 240 V\n  Colour: silver\n- set: Bar 2\n  mains: 120 V\n"
    facts += "- set: Baz 3\n  Kind: portable\n"
    there = tmp_path / "there"
    there.mkdir()
    (there / "a.yaml").write_text(facts, encoding="utf-8")
    out = tmp_path / f"out.{to}"
    words = ["--kind", "set"] if to == "csv" else []
    assert run(["--data", str(there), "export", "--to", to, *words, "-o", str(out)]) == 0
    assert bring(folder, out, "--yes") == 0
    (brought,) = folder.glob("*.yaml")
    assert [e.pairs for e in graph_of_folder(folder).data.entries] == [
        e.pairs for e in graph_of_folder(there).data.entries
    ], brought.read_text(encoding="utf-8")


# Graphs ---------------------------------------------------------------------------------------


def test_a_graph_tool_reads_the_same_graph_back() -> None:
    made = graph(EVERY)
    before = graph_of(made.data)
    after = networkx.parse_graphml(exported(made, "graphml").decode(), force_multigraph=True)
    assert dict(after.nodes(data=True)) == dict(before.nodes(data=True))
    edges = [
        sorted((a, b, repr(sorted(d.items()))) for a, b, d in g.edges(data=True)) for g in (before, after)
    ]
    assert edges[0] == edges[1]
    assert len(edges[0]) == len(made.data.facts)
    certainties = {d["fact"]: d["certainty"] for _, _, d in after.edges(data=True)}
    assert certainties == {f.id: f.certainty for f in made.data.facts.values()}


def test_each_key_of_a_graph_has_one_type() -> None:
    text = exported(
        graph("- same: [K-1, K-2]\n  certainty: 1\n- same: [K-2, K-3]\n  certainty: 0.5\n"), "graphml"
    )
    keys = [dict(k.attrib) for k in ElementTree.fromstring(text).iter() if k.tag.endswith("}key")]
    names = [(k["for"], k["attr.name"]) for k in keys]
    assert len(names) == len(set(names))
    assert next(k["attr.type"] for k in keys if k["attr.name"] == "certainty") == "double"


def test_what_xml_cannot_hold_is_shown_as_an_escape() -> None:
    assert xml_text("a\x1bb\\c \uffff") == "a\\x1bb\\\\c \\uffff"
    assert xml_text("a\\b") == "a\\b"


@pytest.mark.parametrize(
    ("header", "kind", "keys"),
    [
        ("Set;Position;Part", "takes", ["in", "position", "takes"]),
        ("in;position;takes;how", "takes", ["in", "position", "takes", "how"]),
        ("part;kind;shaft", "part", ["part", "kind", "shaft"]),
        ("Make;Model;Years", "set", ["set", "badge", "model", "years"]),
        ("unit;set;role", "unit", ["unit", "set", "role"]),
        ("Set;Assembly", "uses", ["in", "uses"]),
    ],
)
def test_the_kind_of_the_rows_is_the_one_whose_keys_most_columns_are(
    header: str, kind: str, keys: list[str]
) -> None:
    sheet = csv_in.read("q.csv", "", f"{header}\n".encode(), "utf-8")
    assert sheet
    (plan,) = columns.guess(sheet)
    assert (plan.kind, [c.key for c in plan.columns]) == (kind, keys)
