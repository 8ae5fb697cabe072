"""Every name of every place on the mains side, through every answer: refused with both values, or warned.

The folder has nothing but sets of unlike mains, or of none recorded, and what one of them takes.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from itertools import zip_longest
from pathlib import Path
from typing import Any

import pytest
import rdflib
from rdflib import RDF, RDFS, SKOS

from kgraph import records, trade
from kgraph.cli.main import run
from kgraph.names import fold
from tests.support import ask, folder_with

OURS, UNLIKE, UNKNOWN = "Larkfield LK-40", "Orvanek 2200", "Quillon 31"
K = rdflib.Namespace("urn:kgraph:term:")
SETS = (
    f"- set: {OURS}\n  mains: 240 V 50 Hz\n- set: {UNLIKE}\n  mains: 220 V 50 Hz\n- set: {UNKNOWN}\n"
    f"- rebadge: [{OURS}, {UNLIKE}]\n  how: compared\n- rebadge: [{OURS}, {UNKNOWN}]\n  how: compared\n"
)
BY_NAME = (
    "mains inlet panel",
    "audio transformer",
    "battery fuse",
    "voltage doubler",
    "supply lid",
    "pull cord",
    "headphone plug",
)
"""Places that the ground does not know, one for each of the words that speak of mains."""


def names() -> Iterator[list[str]]:
    """Every name of every place on the mains side, each place at most once in a list."""
    places = [p for p in trade.ground().things["position"].values() if isinstance(p, records.Position)]
    all_names = [[n.text for n in (p.name, *p.also)] for p in places if p.must_match]
    all_names += [[name] for name in BY_NAME]
    yield from ([n for n in some if n] for some in zip_longest(*all_names, fillvalue=""))


ROUNDS = list(names())


def facts_of(some: list[str]) -> str:
    """What one set takes at these places, and three units."""
    takes = (f"- takes: T-{i}\n  in: {OURS}\n  position: {name}\n" for i, name in enumerate(some))
    units = f"- unit: P-1\n  set: {OURS}\n  role: patient\n  wants: [{', '.join(some)}]\n"
    units += f"- unit: D-1\n  set: {UNLIKE}\n  role: donor\n- unit: D-2\n  set: {UNKNOWN}\n  role: keep\n"
    return SETS + "".join(takes) + units


@pytest.fixture(params=range(len(ROUNDS)))
def walk(request: Any, tmp_path: Path) -> tuple[list[str], Path]:
    """Some of the names, each of another place, and a folder that calls the places so."""
    some = ROUNDS[request.param]
    return some, folder_with(tmp_path, [("a.yaml", facts_of(some))])


def refused_with_both(said: str) -> bool:
    return "240 V 50 Hz on Larkfield LK-40" in said and "220 V 50 Hz on Orvanek 2200" in said


def to_be_checked(said: str) -> bool:
    return "mains is not recorded on Quillon 31: check it first" in said


def out_of(capsys: Any, *words: str) -> str:
    """All that a command prints."""
    capsys.readouterr()
    run(list(words))
    found = capsys.readouterr()
    return str(found.out) + str(found.err)


@pytest.mark.parametrize("command", ["donors", "takers"])
def test_a_question_about_a_place(walk: tuple[list[str], Path], capsys: Any, command: str) -> None:
    some, folder = walk
    for name in some:
        _, every = ask(capsys, "--data", str(folder), command, OURS, name, "--all")
        answers = {a["set"]: a for a in every["answers"]}
        assert answers.keys() == {UNLIKE, UNKNOWN}, name
        assert answers[UNLIKE]["standing"] == "refused", name
        assert refused_with_both(" ".join(answers[UNLIKE]["warnings"])), name
        assert answers[UNKNOWN]["standing"] == "inferred", name
        assert to_be_checked(" ".join(answers[UNKNOWN]["warnings"])), name
        assert all("mains" in a["cautions"] for a in every["answers"]), name
        _, few = ask(capsys, "--data", str(folder), command, OURS, name)
        assert [a["set"] for a in few["answers"]] == [UNKNOWN], name
        assert refused_with_both(" ".join(few["notes"])), name
        assert "mains" in few["caution texts"], name
        if name in BY_NAME:
            assert any("on the mains side by its name" in note for note in few["notes"]), name


def test_a_question_about_a_part(walk: tuple[list[str], Path], capsys: Any) -> None:
    some, folder = walk
    for number, name in enumerate(some):
        _, every = ask(capsys, "--data", str(folder), "takers", f"T-{number}", "--all")
        answers = {a["set"]: a for a in every["answers"]}
        assert refused_with_both(" ".join(answers[UNLIKE]["warnings"])), name
        assert to_be_checked(" ".join(answers[UNKNOWN]["warnings"])), name
        assert all("mains" in a["cautions"] for a in every["answers"]), name


def test_plan_hunt_take_and_sheet(walk: tuple[list[str], Path], capsys: Any) -> None:
    some, folder = walk
    _, planned = ask(capsys, "--data", str(folder), "plan", "P-1")
    assert planned["lines"] == []
    assert len(planned["unmet"]) == len(some)
    for unmet in planned["unmet"]:
        assert refused_with_both(unmet["why"]), unmet
        assert "mains" in unmet["cautions"], unmet
    assert "mains" in planned["caution texts"]
    _, hunted = ask(capsys, "--data", str(folder), "hunt", "P-1")
    (quarry,) = hunted["answers"]
    assert quarry["set"] == UNKNOWN
    assert all(to_be_checked(" ".join(w)) for w in quarry["warnings"].values())
    assert len(quarry["warnings"]) == len(some)
    assert refused_with_both(" ".join(hunted["notes"]))
    assert "mains" in hunted["caution texts"]
    for name in some:
        taken = out_of(capsys, "--data", str(folder), "take", name, "--from", "D-1", "--to", "P-1")
        assert refused_with_both(taken), name
        assert "Caution, mains: " in taken, name
    _, sheet = ask(capsys, "--data", str(folder), "sheet", "P-1")
    doubts = [d for d in sheet["doubtful"] if refused_with_both(str(d))]
    assert len(doubts) == len(some)
    assert "mains" in sheet["caution texts"]


def test_a_plan_warns_where_the_mains_is_not_recorded(tmp_path: Path, capsys: Any) -> None:
    for number, some in enumerate(ROUNDS):
        text = (
            facts_of(some)
            .replace("role: keep", "role: donor")
            .replace(f"- unit: D-1\n  set: {UNLIKE}", f"- unit: D-1\n  set: {UNKNOWN}")
        )
        (tmp_path / str(number)).mkdir()
        folder = folder_with(tmp_path / str(number), [("a.yaml", text)])
        _, planned = ask(capsys, "--data", str(folder), "plan", "P-1")
        assert len(planned["lines"]) == len(some)
        for line in planned["lines"]:
            assert to_be_checked(" ".join(line["warnings"])), line["want"]
            assert "mains" in line["cautions"], line["want"]


def test_pictures(walk: tuple[list[str], Path], capsys: Any) -> None:
    some, folder = walk
    for name in some:
        drawn = out_of(capsys, "--data", str(folder), "draw", "takers", OURS, name)
        plain = re.sub(r"\\[nl]", " ", drawn)
        assert refused_with_both(plain), name
        assert to_be_checked(plain), name
        assert "Caution, mains: " in plain, name
    for name in some[:4]:
        proof = out_of(capsys, "--data", str(folder), "draw", "proof", "donors", OURS, name, "--set", UNLIKE)
        plain = re.sub(r"\\[nl]", " ", proof)
        assert refused_with_both(plain), name
        assert "Caution, mains: " in plain, name


def test_rdf(walk: tuple[list[str], Path], capsys: Any) -> None:
    some, folder = walk
    capsys.readouterr()
    assert run(["--data", str(folder), "export", "--to", "turtle", "--inferred"]) == 0
    found = rdflib.Graph().parse(data=capsys.readouterr().out, format="turtle")
    for name in some:
        (place,) = (
            s
            for s in found.subjects(SKOS.prefLabel, rdflib.Literal(name))
            if (s, RDF.type, K.Position) in found
        )
        assert [str(found.value(a, SKOS.prefLabel)) for a in found.objects(place, K.mustMatch)] == [
            "mains"
        ], name
        cautions = {str(found.value(c, SKOS.prefLabel)): c for c in found.objects(place, K.caution)}
        assert "local codes" in str(found.value(cautions["mains"], RDFS.comment)), name
    _, asked = ask(capsys, "--data", str(folder), "query", "donors", "--set", OURS, "--position", some[-1])
    rows = {row["set_name"]: row for row in asked["answers"]}
    assert rows[UNLIKE]["unlike"] is True or rows[UNLIKE]["unlike"] == "true"
    assert rows[UNKNOWN]["unlike"] in (False, "false")
    assert all(
        "must match: mains" in r["remarks"] and "caution: mains" in r["remarks"] for r in rows.values()
    )


def test_the_book(tmp_path: Path, capsys: Any) -> None:
    every = sorted({fold(n): n for some in ROUNDS[:1] for n in some}.values())
    folder = folder_with(tmp_path, [("a.yaml", facts_of(every))])
    assert run(["--data", str(folder), "book", str(tmp_path / "book")]) == 0
    pages = {p: unescape(p.read_text(encoding="utf-8")) for p in (tmp_path / "book").glob("*/*.html")}
    positions = {p: t for p, t in pages.items() if p.parent.name == "positions"}
    assert len(positions) == len(every)
    for path, text in positions.items():
        assert "Must be the same on both sets: mains" in text, path
        assert "Caution, mains" in text, path
    (ours,) = (
        t for p, t in pages.items() if p.name.startswith("larkfield-lk-40-") and p.parent.name == "sets"
    )
    assert ours.count("220 V 50 Hz on Orvanek 2200 but 240 V 50 Hz on Larkfield LK-40") >= len(every)
    assert ours.count("mains is not recorded on Quillon 31: check it first") >= len(every)
    units = "".join(t for p, t in pages.items() if p.parent.name == "units")
    assert "Caution, mains" in units
