"""The trade's ground: what it says, how it lies under a folder, and that a folder overrides it key by key."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from kgraph import records, trade
from kgraph.cli.main import run
from kgraph.collection import Collection
from tests.support import ask, folder_with, graph_of, places

GROUND = Path(trade.__file__).parent
PLACES = [t for t in trade.ground().things["position"].values() if isinstance(t, records.Position)]
MAINS_SIDE = [p for p in PLACES if p.must_match]


def data_of(text: str) -> Collection:
    return graph_of(text).data


def rules(text: str, position: str) -> tuple[list[str], list[str], bool]:
    data = data_of(text)
    found = data.position_rules(data.key("position", position.replace(" ", "")))
    return list(found.must_match), [n.text for n in found.cautions], found.by_name


# What it says ---------------------------------------------------------------------------------


def test_it_is_large_enough_and_says_that_it_has_no_source() -> None:
    assert len(PLACES) >= 120
    for file in GROUND.glob("*.yaml"):
        assert "no source" in file.read_text(encoding="utf-8").splitlines()[0], file.name


def test_every_name_is_of_one_thing() -> None:
    for kind, things in trade.ground().things.items():
        named = Counter(n.key for t in things.values() for n in (t.name, *t.also))
        assert [name for name, times in named.items() if times > 1] == [], kind


def test_the_mains_side_matches_and_warns() -> None:
    assert len(MAINS_SIDE) >= 20
    named = {n.text for p in MAINS_SIDE for n in (p.name, *p.also)}
    assert {"mains transformer", "mains fuse", "voltage selector", "mains cord", "mains socket"} <= named
    for place in MAINS_SIDE:
        assert place.must_match == ("mains",)
        assert "mains" in [n.key for n in place.cautions], place.name


def test_every_caution_that_it_names_has_its_text() -> None:
    cautions = trade.ground().names["caution"]
    things = [*PLACES, *trade.ground().things["kind"].values()]
    named = {n.key for t in things if isinstance(t, records.Position | records.Kind) for n in t.cautions}
    assert named <= cautions.keys()
    said = trade.cautions()["mains"].text
    assert "local codes" in said
    assert "licensed" in said


@pytest.mark.parametrize(
    ("place", "kind", "spoils"),
    [
        ("main belt", "", True),
        ("drive belt", "", True),
        ("idler tyre", "", True),
        ("pressure roller", "", True),
        ("cells", "", True),
        ("volume knob", "", False),
        ("volume knob", "belt", True),
        ("a place", "tire", True),
        ("a place", "battery", True),
        ("a place", "knob", False),
    ],
)
def test_what_spoils_with_age(place: str, kind: str, spoils: bool) -> None:
    data = data_of("")
    found = data.is_perishable(
        data.key("position", place.replace(" ", "")), data.key("kind", kind.replace(" ", ""))
    )
    assert found == spoils


def test_an_entry_says_otherwise_of_what_spoils() -> None:
    data = data_of("- kind: belt\n  perishable: no\n- position: main belt\n  perishable: no\n")
    assert not data.is_perishable("mainbelt", "belt")


@pytest.mark.parametrize(
    ("kind", "one", "other", "equal"),
    [
        ("capacitor", "value: 10 uF\n  voltage: 63 V", "value: 10 \N{MICRO SIGN}F\n  voltage: 25 V", True),
        ("capacitor", "value: 10 uF\n  voltage: 16 V", "value: 10 uF\n  voltage: 25 V", False),
        ("resistor", "value: 4K7\n  rating: 0.5 W", "value: 4.7 kohm\n  rating: 1/4 W", True),
        ("resistor", "value: 4K7\n  rating: 0.125 W", "value: 4K7\n  rating: 1/4 W", False),
        ("fuse", "body: 5 x 20 mm\n  rating: 315 mA", "body: 5 x 20 mm\n  rating: 0.315 A", True),
        ("fuse", "body: 5 x 20 mm\n  rating: 500 mA", "body: 5 x 20 mm\n  rating: 315 mA", False),
        ("bulb", "cap: E10\n  rating: 6 V 60 mA", "cap: E10\n  rating: 6 V 60 mA", True),
        ("screw", "thread: M2.6\n  length: 6 mm", "thread: M2.5\n  length: 6 mm", False),
        ("O-ring", "section: round 1.78 mm\n  inside diameter: 20 mm",
         "section: round 1.78 mm\n  inside diameter: 20.1 mm", True),
    ],
)  # fmt: skip
def test_kinds_compare_as_the_trade_compares(kind: str, one: str, other: str, equal: bool) -> None:
    """Whether the first does for the second."""
    text = f"- part: A\n  kind: {kind}\n  {one}\n- part: B\n  kind: {kind}\n  {other}\n"
    graph = graph_of(text + "- takes: B\n  in: Larkfield LK-40\n  position: a place\n")
    assert ("b" in [part for part, _ in graph.equal_size("a")]) == equal


# How it lies under a folder -------------------------------------------------------------------

SAME_PLACE = "- takes: K-1\n  in: Larkfield LK-40\n  position: {}\n"


@pytest.mark.parametrize(
    ("written", "asked"),
    [
        ("main belt", "drive belt"),
        ("drive belt", "main belt"),
        ("drive belt", "capstan belt"),
        ("antenna", "aerial rod"),
    ],
)
def test_a_place_is_one_by_all_its_names(tmp_path: Path, capsys: Any, written: str, asked: str) -> None:
    folder = str(
        folder_with(
            tmp_path,
            [("a.yaml", SAME_PLACE.format(written) + "- rebadge: [Larkfield LK-40, Orvanek 2200]\n")],
        )
    )
    status, answer = ask(capsys, "--data", folder, "takers", "Larkfield LK-40", asked)
    assert status == 0
    assert places(answer) == [("Orvanek 2200", written)], "it is called as the folder calls it"


@pytest.mark.parametrize("own", ["", "  also: [stick]\n", "  note: bent\n"])
def test_what_the_folder_declares_under_another_name_is_the_place_and_keeps_its_name(own: str) -> None:
    data = data_of(f"- position: aerial rod\n{own}" + SAME_PLACE.format("aerial"))
    assert {data.key("position", k) for k in ("aerial", "antenna", "aerialrod")} == {"aerialrod"}
    assert data.text("position", data.key("position", "antenna")) == "aerial rod"
    (fact,) = data.facts.values()
    assert fact.claim[2] == "aerialrod"


def test_a_name_of_the_folder_for_another_thing_wins() -> None:
    """The folder's `counter` is a shelf of its own, though the trade calls the tape counter so."""
    data = data_of("- position: shop counter\n  also: [counter]\n- position: tape counter\n")
    assert data.key("position", "counter") == "shopcounter"
    assert data.key("position", "tapecounter") == "tapecounter"
    assert data.key("position", "digitcounter") == "tapecounter"


def test_two_places_of_the_folder_stay_two_and_both_are_guarded() -> None:
    text = "- position: mains transformer\n- position: power transformer\n  note: the second one\n"
    data = data_of(text)
    assert data.key("position", "powertransformer") == "powertransformer"
    assert data.key("position", "mainstrafo") == "mainstransformer"
    for key in ("mainstransformer", "powertransformer"):
        assert data.position_rules(key).must_match == ("mains",)
        assert "mains" in [n.key for n in data.position_rules(key).cautions]


def test_an_other_name_that_the_folder_gives_guards_the_place() -> None:
    data = data_of("- position: T1\n  also: [power transformer]\n")
    assert data.key("position", "mainstransformer") == "t1"
    assert data.position_rules("t1").must_match == ("mains",)


def test_an_ambiguous_other_name_of_the_folder_stays_so() -> None:
    data = data_of(
        "- position: left lamp\n  also: [dial light]\n- position: right lamp\n  also: [dial light]\n"
    )
    assert data.meanings("position", "diallight") == {"leftlamp", "rightlamp"}
    assert data.key("position", "diallight") == "diallight"
    assert data.key("position", "dialbulb") == "diallamp"


@pytest.mark.parametrize(
    ("entry", "match", "cautions"),
    [
        ("", ["mains"], ["mains"]),
        ("- position: mains fuse\n  also: [F1]\n", ["mains"], ["mains"]),
        ("- position: primary fuse\n", ["mains"], ["mains"]),
        ("- position: mains fuse\n  must match: []\n", [], ["mains"]),
        ("- position: mains fuse\n  must match: [market]\n", ["market"], ["mains"]),
        ("- position: mains fuse\n  caution: springs\n", ["mains"], ["springs"]),
        ("- position: mains fuse\n  caution: []\n  must match: []\n", [], []),
        ("- position: mains fuse\n- position: mains fuse\n  must match: [market]\n", ["market"], ["mains"]),
    ],
)
def test_an_entry_overrides_key_by_key(entry: str, match: list[str], cautions: list[str]) -> None:
    assert rules(entry, "mains fuse") == (match, cautions, False)


@pytest.mark.parametrize(
    ("entry", "match", "cautions", "by_name"),
    [
        ("", ["mains"], ["mains"], True),
        ("- position: supply lid\n  also: [lid]\n", ["mains"], ["mains"], True),
        ("- position: supply lid\n  must match: []\n", [], [], False),
        ("- position: supply lid\n  must match: [market]\n", ["market"], ["mains"], True),
        ("- position: supply lid\n  caution: []\n", ["mains"], [], True),
        ("- position: supply lid\n  caution: springs\n  must match: []\n", [], ["springs"], False),
        ("- position: lid\n  also: [supply lid]\n", ["mains"], ["mains"], True),
    ],
)
def test_an_unknown_place_is_guarded_by_its_name(
    entry: str, match: list[str], cautions: list[str], by_name: bool
) -> None:
    assert rules(entry + SAME_PLACE.format("supply lid"), "supply lid") == (match, cautions, by_name)


def test_a_place_that_the_ground_knows_is_not_guarded_by_its_name() -> None:
    for place in ("dial cord", "supply reel", "tuning cord"):
        assert rules("", place)[::2] == ([], False)


def test_kinds_are_overridden_key_by_key() -> None:
    data = data_of("- kind: screw\n  certainty: 0.5\n- kind: fuse\n  generic: no\n")
    screw, fuse = data.kind_rules("screw"), data.kind_rules("fuse")
    assert (screw.generic, screw.certainty, dict(screw.compare)["thread"]) == (True, 0.5, "same")
    assert (fuse.generic, [n.text for n in fuse.cautions]) == (False, ["mains"])


def test_grades_and_cautions_are_overridden() -> None:
    data = data_of("- grade: photo\n  certainty: 0.5\n- caution: mains\n  text: Mind.\n")
    assert data.grades["photo"] == 0.5
    assert data.grades["fitted"] == 0.98
    assert data.caution_text("mains") == "Mind."
    assert data.caution_text("solvent") == trade.cautions()["solvents"].text


def test_an_assembly_keeps_its_name_in_an_exception() -> None:
    """`trim` is another name of a place in the ground, and an assembly here."""
    text = "- assembly: trim\n- uses: trim\n  in: Larkfield LK-40\n"
    text += "- rebadge: [Larkfield LK-40, Orvanek 2200]\n  except: [trim]\n"
    (fact,) = (f for f in data_of(text).facts.values() if f.kind == "rebadge")
    assert fact.claim[2] == ("trim",)


def test_an_exception_leaves_out_a_place_by_any_of_its_names() -> None:
    text = (
        SAME_PLACE.format("main belt")
        + "- rebadge: [Larkfield LK-40, Orvanek 2200]\n  except: [drive belt]\n"
    )
    graph = graph_of(text)
    assert not list(graph.like("s:larkfieldlk40", "mainbelt"))


def test_one_fact_said_by_two_names_is_one_and_found_by_either_id() -> None:
    apart = [next(iter(data_of(SAME_PLACE.format(n)).facts.values())) for n in ("main belt", "drive belt")]
    assert apart[0].id != apart[1].id, "an id is made of what is written"
    both = data_of("".join(SAME_PLACE.format(n) for n in ("drive belt", "main belt")))
    (fact,) = both.facts.values()
    assert {a.id for a in apart} <= set(fact.ids)
    assert len(fact.evidence) == 2
    gone = data_of(SAME_PLACE.format("drive belt") + f"- withdraw: {apart[0].id}\n  why: misread\n")
    assert not gone.facts


# Nothing of it is taken for the user's --------------------------------------------------------


@pytest.fixture
def mine(tmp_path: Path, capsys: Any) -> Callable[..., tuple[int, str, str]]:
    folder = tmp_path / "mine"
    assert run(["init", str(folder)]) == 0
    told = capsys.readouterr().out
    assert "below it lies what is common to the trade" in told

    def asked(*words: str) -> tuple[int, str, str]:
        capsys.readouterr()
        status = run(["--data", str(folder), *words])
        out = capsys.readouterr()
        return status, out.out, out.err

    return asked


def test_a_new_folder_has_nothing_of_its_own(
    mine: Callable[..., tuple[int, str, str]], tmp_path: Path
) -> None:
    assert mine("check")[:2] == (0, "0 entries: 0 errors, 0 warnings\n")
    assert mine("find", "belt")[0] == 1
    for form in ("turtle", "csv", "ntriples"):
        assert "belt" not in mine("export", "--to", form)[1].replace("kgraph", "")
    assert mine("book", str(tmp_path / "book"))[0] == 0
    assert not list((tmp_path / "book").glob("positions/*"))


def test_show_tells_what_comes_from_where(tmp_path: Path, capsys: Any) -> None:
    text = "- position: mains fuse\n  also: [F1]\n  caution: springs\n" + SAME_PLACE.format("supply lid")
    folder = str(folder_with(tmp_path, [("a.yaml", text)]))
    _, said = ask(capsys, "--data", folder, "show", "F1")
    (fuse,) = said["answers"]
    assert fuse["from"] == {"also": ["folder", "ground"], "caution": ["folder"], "must match": ["ground"]}
    assert fuse["ground"][0]["entry"]["position"] == "mains fuse"
    _, said = ask(capsys, "--data", folder, "show", "supply lid")
    assert said["answers"][0]["from"] == {"must match": ["name"], "caution": ["name"]}
    assert run(["--data", folder, "show", "primary fuse"]) == 0
    out = capsys.readouterr().out
    assert "from the trade's ground (common practice, no source), kgraph/trade/mains-side.yaml:" in out
    assert "caution: mains  (the folder says otherwise)" in out
    assert run(["--data", folder, "show", "rewind belt"]) == 0
    assert "nothing in this folder speaks of it" in capsys.readouterr().out


def test_check_asks_for_the_mains_of_sets_and_not_for_the_ground(tmp_path: Path, capsys: Any) -> None:
    text = (
        SAME_PLACE.format("power transformer")
        + "- rebadge: [Larkfield LK-40, Orvanek 2200]\n  how: compared\n"
    )
    text += "- unit: P-1\n  set: Larkfield LK-40\n  wants: [drive belt, drive bell]\n"
    _, said = ask(capsys, "--data", str(folder_with(tmp_path, [("a.yaml", text)])), "check")
    told = [(w["code"], w["says"]) for w in said["warnings"]]
    assert {c for c, _ in told} == {
        "undeclared",
        "no-evidence",
        "must-match-missing",
        "unknown-place",
        "near-position",
    }
    assert [s for c, s in told if c == "unknown-place"] == [
        "unit P-1: wants: nothing else names the place drive bell"
    ]
    assert "needed at power transformer" in next(s for c, s in told if c == "must-match-missing")


def test_a_misspelt_place_is_near_one_of_the_ground(tmp_path: Path, capsys: Any) -> None:
    folder = str(folder_with(tmp_path, [("a.yaml", SAME_PLACE.format("handle"))]))
    assert run(["--data", folder, "takers", "Larkfield LK-40", "rewind bellt"]) == 2
    assert "did you mean rewind belt" in capsys.readouterr().err


def test_merging_does_not_copy_it_and_one_place_stays_one(tmp_path: Path, capsys: Any) -> None:
    for name in ("mine", "yours"):
        (tmp_path / name).mkdir()
    mine = folder_with(
        tmp_path / "mine", [("a.yaml", "- position: aerial\n  note: mine\n" + SAME_PLACE.format("aerial"))]
    )
    yours = folder_with(
        tmp_path / "yours",
        [
            (
                "b.yaml",
                "- position: antenna\n  length: 60 cm\n" + SAME_PLACE.format("antenna").replace("K-1", "K-2"),
            )
        ],
    )
    assert run(["--data", str(mine), "merge", str(yours)]) == 0
    text = "".join(p.read_text(encoding="utf-8") for p in mine.glob("*.yaml"))
    assert text.count("- position:") == 2
    assert "must match" not in text
    _, said = ask(capsys, "--data", str(mine), "show", "antenna")
    (aerial,) = said["answers"]
    assert aerial["name"] == "aerial"
    assert len(aerial["facts"]) == 2


def test_what_theirs_calls_a_place_does_not_move_our_facts(tmp_path: Path, capsys: Any) -> None:
    """`antenna` is our aerial by the ground alone; their whip of that other name must not take it away."""
    for name in ("mine", "yours"):
        (tmp_path / name).mkdir()
    mine = folder_with(tmp_path / "mine", [("a.yaml", SAME_PLACE.format("antenna"))])
    whip = "- position: whip\n  also: [antenna]\n"
    yours = folder_with(
        tmp_path / "yours", [("b.yaml", whip + SAME_PLACE.format("antenna").replace("K-1", "K-2"))]
    )
    assert run(["--data", str(mine), "merge", str(yours)]) == 0
    assert "another thing here" in capsys.readouterr().err
    _, said = ask(capsys, "--data", str(mine), "takers", "K-1")
    assert places(said) == [("Larkfield LK-40", "antenna")]
    _, said = ask(capsys, "--data", str(mine), "takers", "K-2")
    assert places(said) == [("Larkfield LK-40", "whip")]
