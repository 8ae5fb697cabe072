"""identify: published values, general-purpose libraries, all worlds one by one, and the command itself."""

from __future__ import annotations

import itertools
import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import entropy as scipy_entropy
from sklearn.naive_bayes import CategoricalNB

from kgraph.cli.main import run
from kgraph.questions.identify import ASSUMED, SCALES_NOTE, identify
from kgraph.recognition import differing, spreading
from kgraph.recognition.likelihood import chance_of, entropy, fall_of_entropy, fit_of, fitting, shares_of
from kgraph.recognition.seen import read
from kgraph.recognition.weighing import joined
from tests.support import DEMO, graph_of

FOLDER = """
- set: Larkfield LK-40
  mains: 240 V 50 Hz
  bands: [LW, MW]
  stamp: TN7
  features: [line socket]
- set: Orvanek 2200
  mains: 220 V 50 Hz
  bands: [MW, SW]
- set: Quillon 31
  mains: 120 V 60 Hz
  bands: [SW]
- set: Quillon 32
- rebadge: [Larkfield LK-40, Orvanek 2200]
  except: [line socket]
  how: compared
- assembly: LC4 chassis
  kind: chassis
  positions: [volume knob]
- uses: LC4 chassis
  in: Larkfield LK-40
  how: printed
- part: K-114
  numbers: {Larkfield: 440 114}
  diameter: 34 mm
- takes: K-114
  in: LC4 chassis
  position: volume knob
  how: fitted
"""


@pytest.mark.parametrize("written", ["240V", "240 volts", "240 V~ 50Hz", "AC 240 V, 50 c/s"])
def test_mains_as_somebody_writes_it_is_the_value_that_is_recorded(written: str) -> None:
    graph = graph_of(FOLDER)
    (look,) = read(graph, [("mains", written)]).looks
    recorded = read(graph, [("mains", "240 V 50 Hz")])
    assert (look.value, look.text) == (recorded.looks[0].value, written)
    assert read(graph, [("mains", written)]).notes == ()


def test_mains_that_may_be_two_recorded_values_are_asked_about() -> None:
    graph = graph_of(FOLDER + "- set: Pellow 9\n  mains: 240 V 60 Hz\n")
    found = read(graph, [("mains", "240V")])
    assert found.looks[0].value == "240v"
    assert "did you mean 240 V" in found.notes[0]


# Published and computed values ----------------------------------------------------------------


def test_four_birds_by_information_gain() -> None:
    # "Appendix 1: Information Gain", studylib.net/doc/7807821: colour 1 bit; long bill 0.25 -> 0.811278.
    birds = dict.fromkeys("abcd", 0.25)
    color = {"a": {"w": 1.0}, "b": {"w": 1.0}, "c": {"g": 1.0}, "d": {"g": 1.0}}
    bill = {"a": {"l": 1.0}, "b": {"s": 1.0}, "c": {"s": 1.0}, "d": {"s": 1.0}}
    assert fall_of_entropy(birds, color) == pytest.approx(1.0)
    assert fall_of_entropy(birds, bill) == pytest.approx(2 - 0.75 * math.log2(3))


def test_sixty_taxa_of_which_twenty_are_unknown_are_weighed_by_shares() -> None:
    # Species-ID wiki, "Information Gain": counting sets gives 0.585; weighing them by shares 0.666667.
    prior = {f"{s}{i}": 1 / 60 for s in "abu" for i in range(20)}
    state = {"a": {"A": 1.0}, "b": {"B": 1.0}, "u": {"A": 0.5, "B": 0.5}}
    third = {**state, "u": {"none": 1.0}}
    assert fall_of_entropy(prior, {n: state[n[0]] for n in prior}) == pytest.approx(2 / 3)
    assert fall_of_entropy(prior, {n: third[n[0]] for n in prior}) == pytest.approx(math.log2(3))


@pytest.mark.parametrize(("e", "f", "g"), [(0.0, 0.468996, 0.881291), (0.05, 0.297842, 0.617985)])
def test_chances_count_and_misreading_takes_away(e: float, f: float, g: float) -> None:
    prior = {"a": 0.7, "b": 0.2, "c": 0.1}
    yes, no = {"y": 1 - e, "n": e}, {"y": e, "n": 1 - e}
    assert fall_of_entropy(prior, {"a": yes, "b": yes, "c": no}) == pytest.approx(f, abs=1e-6)
    assert fall_of_entropy(prior, {"a": yes, "b": no, "c": no}) == pytest.approx(g, abs=1e-6)


def test_entropy_is_that_of_scipy() -> None:
    for chances in ([0.7, 0.2, 0.1], [0.25] * 4, [1.0, 0.0]):
        assert entropy(chances) == pytest.approx(scipy_entropy(chances, base=2))


def test_value_lists_by_hand_and_by_categorical_naive_bayes() -> None:
    # Two features of three values; A {0,1} {1}; B {2} {1,2}; C {0} {0,2}; seen (0, 1).
    rows = [({"0", "1"}, {"1"}), ({"2"}, {"1", "2"}), ({"0"}, {"0", "2"})]
    known = {"0", "1", "2"}
    table = [[[chance_of(r[i], v, known, 0.05) for v in "012"] for r in rows] for i in (0, 1)]
    model = CategoricalNB().fit(np.array([[0, 0], [1, 1], [2, 2]]), [0, 1, 2])
    model.feature_log_prob_ = [np.log(np.array(of)) for of in table]
    model.class_log_prior_ = np.log(np.full(3, 1 / 3))
    theirs = model.predict_proba([[0, 1]])[0]
    joint = [table[0][c][0] * table[1][c][1] for c in range(3)]
    assert [p / sum(joint) for p in joint] == pytest.approx(list(theirs))
    # Every other value is e / 2 there, e for the two of one: as printed where e is not divided.
    assert joint[0] == pytest.approx(0.45125)


def test_the_chances_of_all_values_sum_to_one() -> None:
    known = {"lw", "mw", "sw", "fm"}
    for n in range(1, 5):
        for values in itertools.combinations(sorted(known), n):
            assert sum(chance_of(values, v, known, 0.05) for v in known) == pytest.approx(1.0)


def test_shares_are_add_one_smoothed() -> None:
    assert shares_of({frozenset("a"): 2, frozenset("ab"): 1}, {"a", "b"}) == pytest.approx(
        {"a": 3.5 / 5, "b": 1.5 / 5}
    )


def test_fit_is_a_tail_of_the_binomial() -> None:
    from scipy.stats import binom

    for n, k in ((10, 0), (10, 1), (10, 4)):
        assert fit_of([0.05] * n, k) == pytest.approx(binom.sf(k - 1, n, 0.05))


def test_keys_of_a_group_weigh_no_more_than_the_strongest() -> None:
    assert joined([1.0, 2.0, -0.5], [("g", "a"), ("g", "b"), ("h", "c")]) == pytest.approx(1.5)
    assert joined([1.0, 2.0], [("g", "a"), ("g", "a")]) == pytest.approx(3.0)


# What a set is like ---------------------------------------------------------------------------


def test_what_comes_through_sisters_is_what_all_worlds_say() -> None:
    """A chain of three sets: the last has the stamp in the worlds in which both facts hold."""
    graph = graph_of(
        "- set: Larkfield LK-40\n  stamp: TN7\n- set: Orvanek 2200\n- set: Quillon 31\n"
        "- rebadge: [Larkfield LK-40, Orvanek 2200]\n  certainty: 0.8\n"
        "- rebadge: [Orvanek 2200, Quillon 31]\n  certainty: 0.6\n"
    )
    look = read(graph, [("stamp", "TN7")]).looks[0]
    found = fitting(graph, look)
    has = 0.95
    want = 0.0
    for one, two in itertools.product((True, False), repeat=2):
        weight = (0.8 if one else 0.2) * (0.6 if two else 0.4)
        want += weight * (has if one and two else found.share)
    row = found.of("s:quillon31")
    assert row
    assert row.chance == pytest.approx(want)


def test_a_feature_that_is_excepted_is_not_there() -> None:
    trait = spreading.trait(graph_of(FOLDER), "linesocket")
    assert trait.at["s:larkfieldlk40"].values == {"yes"}
    assert trait.at["s:orvanek2200"].values == {"no"}
    assert "s:quillon31" not in trait.at


def test_a_part_is_met_through_the_chassis_by_any_of_its_numbers() -> None:
    graph = graph_of(FOLDER)
    for text in ("K-114", "440 114"):
        look = read(graph, [("volume knob", text)]).looks[0]
        for owner in ("s:larkfieldlk40", "s:orvanek2200"):
            row = fitting(graph, look).of(owner)
            assert row
            assert not row.apart
    by_size = read(graph, [("volume knob diameter", "about 34 mm")]).looks[0]
    wrong = read(graph, [("volume knob diameter", "20 mm")]).looks[0]
    assert by_size.size_mm == 34.0
    fits, other = fitting(graph, by_size).of("s:larkfieldlk40"), fitting(graph, wrong).of("s:larkfieldlk40")
    assert fits
    assert other
    assert (fits.apart, other.apart) == (False, True)


@pytest.mark.parametrize("written", ["3 1/4 in", "82.55 mm", "about 82.55 mm", "8.255 cm +- 1 mm"])
def test_a_length_is_read_as_it_was_written(written: str) -> None:
    graph = graph_of(
        f"- set: Larkfield LK-40\n  dial width: {written}\n- set: Quillon 31\n  dial width: 30 mm\n"
    )
    found = fitting(graph, read(graph, [("dial width", "82.5 mm")]).looks[0])
    row, other = found.of("s:larkfieldlk40"), found.of("s:quillon31")
    assert row
    assert other
    assert (row.apart, other.apart) == (False, True)
    assert row.chance > found.share > other.chance


@pytest.mark.parametrize("word", ["?", "faded", "missing", "unreadable"])
def test_what_was_not_seen_says_nothing(word: str) -> None:
    found = read(graph_of(FOLDER), [("stamp", word)])
    assert not found.looks
    assert len(found.silent) == 1


def test_what_cannot_be_is_a_value_of_its_own() -> None:
    assert [look.value for look in read(graph_of(FOLDER), [("stamp", "cannot be")]).looks] == ["cannotbe"]


# All of it together ---------------------------------------------------------------------------


def test_every_hypothesis_is_there_and_all_sum_to_one() -> None:
    graph = graph_of(FOLDER)
    found = identify(graph, read(graph, [("mains", "240 V 50 Hz"), ("bands", "LW"), ("stamp", "TN7")]))
    assert math.fsum(c.probability for c in found.candidates) == pytest.approx(1.0)
    assert sum(c.set is not None for c in found.candidates) == 4
    assert sum(c.set is None and c.family is not None for c in found.candidates) == 3
    assert max(found.chances, key=lambda f: found.chances[f]) == "s:larkfieldlk40"


def test_without_a_look_the_priors_stand() -> None:
    graph = graph_of(FOLDER)
    found = identify(graph, read(graph, []))
    none = next(c for c in found.candidates if c.family is None)
    assert none.probability == pytest.approx(0.2)
    assert sum(c.probability for c in found.candidates if c.set) == pytest.approx(0.4)


def test_differences_start_from_what_is_assumed() -> None:
    graph = graph_of("- set: Larkfield LK-40\n- set: Quillon 31\n")
    assert differing.differences(graph).sisters == pytest.approx(0.25)
    assert differing.others_differ(graph) == pytest.approx(0.6)


def test_what_sisters_differ_in_is_counted_at_each_key() -> None:
    """Both mains and knobs are known of two sisters; at the volume knob one of two rebadges leaves it out."""
    graph = graph_of(
        "- set: Larkfield LK-40\n  mains: 240 V 50 Hz\n  knobs: 5\n"
        "- set: Orvanek 2200\n  mains: 220 V 50 Hz\n  knobs: 5\n- set: Quillon 31\n"
        "- takes: K-114\n  in: Larkfield LK-40\n  position: volume knob\n"
        "- rebadge: [Larkfield LK-40, Orvanek 2200]\n"
        "- rebadge: [Orvanek 2200, Quillon 31]\n  except: [volume knob]\n"
    )
    found = differing.differences(graph)
    assert found.sisters == pytest.approx((0.5 + 0.25 * 10) / 11)
    assert found.sisters_at("mains") == pytest.approx((1 + 4 * found.sisters) / 5)
    assert found.sisters_at("knobs") == pytest.approx((0 + 4 * found.sisters) / 5)
    # Of two pairs that have the place one differs; that is all that is known of places.
    assert found.sisters_at("volumeknob") == pytest.approx((1 + 4 * (1 + 0.25 * 10) / 12) / 6)
    assert found.sisters_at("stamp") == pytest.approx(found.sisters)


def test_a_place_of_an_assembly_within_an_assembly_is_compared_too() -> None:
    folder = "- assembly: TN7 mechanism\n  kind: tape mechanism\n  positions: [main belt]\n"
    folder += "- assembly: LC4 chassis\n  kind: chassis\n- uses: TN7 mechanism\n  in: LC4 chassis\n"
    folder += "- takes: SQ 1.25 x 262\n  in: TN7 mechanism\n  position: main belt\n"
    folder += "- uses: LC4 chassis\n  in: Larkfield LK-40\n- rebadge: [Larkfield LK-40, Orvanek 2200]\n"
    found = differing.differences(graph_of(folder))
    usual = 0.25 * 10 / 13
    for key in ("mainbelt", "tapemechanism", "chassis"):
        assert found.sisters_at(key) == pytest.approx(4 * usual / 5), key


def test_a_feature_that_no_exception_names_is_alike() -> None:
    folder = "- set: Larkfield LK-40\n  features: [line socket, tape counter]\n"
    folder += "- rebadge: [Larkfield LK-40, Orvanek 2200]\n  except: [tape counter]\n"
    found = differing.differences(graph_of(folder))
    assert found.sisters == pytest.approx((0.5 + 0.25 * 10) / 11)
    assert found.sisters_at("linesocket") == pytest.approx((0 + 4 * found.sisters) / 5)
    assert found.sisters_at("tapecounter") == pytest.approx((1 + 4 * found.sisters) / 5)


def test_what_only_sisters_have_alike_is_no_group_of_keys() -> None:
    """Stamp and knobs are those of each family; markets have their mains whatever the design."""
    folder = ""
    for family, knobs in enumerate((4, 5, 6, 4, 5, 6, 4, 5)):
        for at, market in enumerate(("UK", "DE")):
            mains = {"UK": "240 V 50 Hz", "DE": "220 V 50 Hz"}[market]
            folder += f"- set: Quillon {family}-{at}\n  market: {market}\n  mains: {mains}\n"
            folder += f"  stamp: TN{family}\n  knobs: {knobs}\n"
        folder += f"- rebadge: [Quillon {family}-0, Quillon {family}-1]\n"
    assert differing.groups(graph_of(folder)) == {"mains": "mains", "market": "mains"}


# Badges ---------------------------------------------------------------------------------------


def test_a_badge_that_nobody_has_recorded_is_that_of_a_sister() -> None:
    graph = graph_of(FOLDER)
    looks = [("bands", "LW"), ("stamp", "TN7"), ("line socket", "yes")]

    def best(badge: str) -> tuple[str | None, str | None]:
        top = identify(graph, read(graph, [*looks, ("badge", badge)])).candidates[0]
        return top.set, top.family

    assert best("Larkfield") == ("s:larkfieldlk40", "s:larkfieldlk40")
    assert best("Pellow") == (None, "s:larkfieldlk40")


def test_another_badge_does_not_make_a_sister_fit_less(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    looks = [("bands", "LW"), ("stamp", "TN7"), ("line socket", "yes")]
    graph = graph_of(FOLDER)

    def fits(*more: tuple[str, str]) -> dict[str | None, float]:
        found = identify(graph, read(graph, [*looks, *more])).candidates
        return {c.set: c.fit for c in found if c.family == "s:larkfieldlk40"}

    without, beside = fits(), fits(("badge", "Pellow"))
    assert beside[None] == without[None] == pytest.approx(1.0)
    assert beside["s:larkfieldlk40"] == pytest.approx(1.0 - 0.99 * 0.95**3)
    (tmp_path / "a.yaml").write_text(FOLDER)
    seen = [word for key, value in [*looks, ("badge", "Pellow")] for word in ("--seen", f"{key}={value}")]
    assert run(["--data", str(tmp_path), "identify", *seen]) == 0
    told = capsys.readouterr().out
    assert "kgraph add rebadge 'Pellow MODEL' 'Larkfield LK-40' --how compared" in told
    (reason,) = {
        line.split(",")[-1].strip()
        for line in told.splitlines()
        if "against: badge Pellow (recorded: Larkfield)" in line
    }
    assert -0.1 < float(reason.split()[0]) < 0.0


def test_no_sister_has_the_badge_of_another() -> None:
    graph = graph_of("- set: Larkfield LK-40\n- rebadge: [Larkfield LK-40, Orvanek 2200]\n  how: fitted\n")
    trait = spreading.trait(graph, "badge")
    # Nobody declares the other set: its badge is its name without the model.
    assert {o: set(k.values) for o, k in trait.at.items()} == {
        "s:larkfieldlk40": {"larkfield"},
        "s:orvanek2200": {"orvanek"},
    }
    hidden = spreading.without(graph, trait, frozenset({"s:larkfieldlk40"}))
    assert list(hidden.at) == ["s:orvanek2200"]
    assert differing.differences(graph_of("- set: Larkfield LK-40\n")).sisters_at("badge") == 0.95
    counted = differing.differences(graph_of(FOLDER))
    assert counted.sisters_at("badge") == pytest.approx((1 + 4 * 0.95) / 5)
    # Mains, bands and line socket are unlike; the badges do not count among them.
    assert counted.sisters == pytest.approx((1 + 0.25 * 10) / 11)


def test_nobody_is_asked_for_the_badge(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.yaml").write_text(FOLDER)
    found = _json(tmp_path, capsys, "--seen", "mains=240 V 50 Hz")
    asked = [look["key"] for look in found["look at next"]]  # type: ignore[attr-defined]
    assert asked
    assert "badge" not in asked
    assert run(["--data", str(tmp_path), "identify", "--key"]) == 0
    assert "badge" not in capsys.readouterr().out


# The command ----------------------------------------------------------------------------------


def _json(folder: Path, capsys: pytest.CaptureFixture[str], *more: str) -> dict[str, object]:
    assert run(["--data", str(folder), "identify", *more, "--json"]) == 0
    found: dict[str, object] = json.loads(capsys.readouterr().out)
    return found


def test_the_answers_have_the_keys_of_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    unit = "- unit: U-13\n  state: {volume knob: missing}\n  seen: {stamp: TN7, volume knob: K-114}\n"
    (tmp_path / "a.yaml").write_text(FOLDER + unit)
    found = _json(tmp_path, capsys, "U-13")
    answers = found["answers"]
    assert isinstance(answers, list)
    assert set(answers[0]) == {"set", "family", "probability", "fit", "for", "against", "unknown"}
    assert sum(a["probability"] for a in answers) == pytest.approx(1.0)
    assert answers[-1]["probability"] <= answers[0]["probability"]
    assert ASSUMED in found["notes"]  # type: ignore[operator]
    assert SCALES_NOTE in found["notes"]  # type: ignore[operator]
    assert "volume knob: looked, and not to be seen (missing)" in found["notes"]  # type: ignore[operator]
    assert run(["--data", str(tmp_path), "identify", "U-13"]) == 0
    assert "kgraph correct U-13 set 'Larkfield LK-40'" in capsys.readouterr().out


def test_bad_input_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.yaml").write_text(FOLDER)
    given = ["--seen", "stampp=1", "--seen", "stamp=QQ", "--seen", "volume knob diameter=34"]
    notes = " / ".join(_json(tmp_path, capsys, *given)["notes"])  # type: ignore[arg-type]
    assert "did you mean stamp?" in notes
    assert "no set has 'QQ'" in notes
    assert "has no unit" in notes
    assert run(["--data", str(tmp_path), "identify", "--seen", "stamp"]) == 2
    assert run(["--data", str(tmp_path), "identify"]) == 2
    assert run(["--data", str(tmp_path), "identify", "--seen", "stamp=TN7", "--prior", "0,0,0"]) == 2


def test_on_the_demo_sets_are_found_again(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--data", str(DEMO), "identify", "--tried", "--json"]) == 0
    by_name = {a["tried"]: a for a in json.loads(capsys.readouterr().out)["answers"]}
    assert by_name["families"]["first"] >= 0.95 * by_name["families"]["tries"]
    assert by_name["families"]["sure_and_right"] >= 0.95 * by_name["families"]["sure"]
    assert by_name["sister"]["first"] >= 0.9 * by_name["sister"]["tries"]
    assert by_name["kin"]["first"] >= 0.9 * by_name["kin"]["tries"]
    assert by_name["kin"]["sure_and_right"] >= 0.95 * by_name["kin"]["sure"]
    assert by_name["gone"]["sure"] - by_name["gone"]["sure_and_right"] <= 0.05 * by_name["gone"]["tries"]


# find -----------------------------------------------------------------------------------------


def test_find_finds_values_and_leads_from_an_assembly_to_its_sets(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = FOLDER.replace("kind: chassis", "kind: chassis\n  board print: 4411")
    (tmp_path / "a.yaml").write_text(text + "- unit: U-13\n  set: Quillon 31\n  place: cellar\n")
    assert run(["--data", str(tmp_path), "find", "4411", "--json"]) == 0
    met = {(a["name"], a["met"]) for a in json.loads(capsys.readouterr().out)["answers"]}
    assert met == {("LC4 chassis", "value"), ("Larkfield LK-40", "built on")}
    assert run(["--data", str(tmp_path), "find", "cellar"]) == 0
    assert "U-13" in capsys.readouterr().out
