"""Recognition against published values and general-purpose libraries: gains, naive Bayes, weights, worlds.

Addresses are those at which the values were read on 2026-11-28; what was worked out from the source's own
formula says so.
"""

from __future__ import annotations

import itertools
import math
import random
from collections import Counter

import numpy as np
import pytest
from scipy.stats import entropy as scipy_entropy
from sklearn.metrics import mutual_info_score
from sklearn.naive_bayes import CategoricalNB

from kgraph.questions.identify import identify
from kgraph.recognition import spreading, traits
from kgraph.recognition.likelihood import (
    chance_of,
    entropy,
    fall_of_entropy,
    fitting,
    shares_of,
    values_known,
)
from kgraph.recognition.looks import next_looks
from kgraph.recognition.pairs import agreement, disagreement, probability
from kgraph.recognition.seen import Look, Seen, read
from kgraph.recognition.weighing import joined
from tests.bench import recognition
from tests.support import graph_of

TENNIS = """
sunny hot high weak no / sunny hot high strong no / overcast hot high weak yes / rain mild high weak yes /
rain cool normal weak yes / rain cool normal strong no / overcast cool normal strong yes /
sunny mild high weak no / sunny cool normal weak yes / rain mild normal weak yes /
sunny mild normal strong yes / overcast mild high strong yes / overcast hot normal weak yes /
rain mild high strong no
"""
"""Mitchell, Machine Learning, 1997, table 3.2, after Quinlan 1986; read at uvm.edu/~cbcafier/cs2510."""
DAYS = [day.split() for day in TENNIS.replace("\n", " ").split("/")]
OUTLOOK, TEMPERATURE, HUMIDITY, WIND, PLAY = range(5)


# Gains ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("look", "gain"),
    [(OUTLOOK, 0.246750), (HUMIDITY, 0.151836), (WIND, 0.048127), (TEMPERATURE, 0.029223)],
)
def test_the_gains_of_play_tennis(look: int, gain: float) -> None:
    # Printed 0.2467, 0.1518, 0.0481, 0.0292 at skoservice-algovisualize.pages.dev/ml/decision-tree.
    shares = {p: sum(day[PLAY] == p for day in DAYS) / len(DAYS) for p in ("yes", "no")}
    tables = {
        p: {v: rows.count(v) / len(rows) for v in set(rows)}
        for p in shares
        if (rows := [day[look] for day in DAYS if day[PLAY] == p])
    }
    assert entropy(shares.values()) == pytest.approx(0.940286, abs=1e-6)
    assert fall_of_entropy(shares, tables) == pytest.approx(gain, abs=1e-6)
    theirs = mutual_info_score([day[look] for day in DAYS], [day[PLAY] for day in DAYS]) / math.log(2)
    assert fall_of_entropy(shares, tables) == pytest.approx(theirs)


def test_two_looks_that_only_together_decide_gain_nothing_alone() -> None:
    # A is 00 or 11, B is 01 or 10: worked out.
    halves = {"A": 0.5, "B": 0.5}
    alone = {n: {"0": 0.5, "1": 0.5} for n in halves}
    pair = {"A": {"00": 0.5, "11": 0.5}, "B": {"01": 0.5, "10": 0.5}}
    assert fall_of_entropy(halves, alone) == pytest.approx(0.0, abs=1e-12)
    assert fall_of_entropy(halves, pair) == pytest.approx(1.0)


def test_of_looks_that_tell_nothing_none_is_named() -> None:
    graph = graph_of("- set: Larkfield LK-40\n  knobs: 4\n- set: Quillon 31\n  knobs: 4\n- set: Quillon 32\n")
    chances = dict.fromkeys(traits.sets_of(graph.data), 1 / 3)
    assert next_looks(graph, chances, ()) == []


def test_one_yes_or_no_look_misread_five_times_in_a_hundred() -> None:
    # 1 - H(0.05) = 0.713603: worked out.
    tables = {"A": {"y": 0.95, "n": 0.05}, "B": {"y": 0.05, "n": 0.95}}
    assert fall_of_entropy({"A": 0.5, "B": 0.5}, tables) == pytest.approx(0.713603, abs=1e-6)


def test_the_fall_of_entropy_is_that_of_scipy_on_random_tables() -> None:
    chance = np.random.default_rng(1)
    for _ in range(50):
        prior, rows = chance.dirichlet(np.ones(6)), chance.dirichlet(np.ones(4), size=6)
        joint = prior[:, None] * rows
        after = sum(joint[:, v].sum() * scipy_entropy(joint[:, v], base=2) for v in range(4))
        tables = {str(n): {str(v): rows[n, v] for v in range(4)} for n in range(6)}
        fall = fall_of_entropy({str(n): prior[n] for n in range(6)}, tables)
        assert fall == pytest.approx(scipy_entropy(prior, base=2) - after)


# Naive Bayes ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("day", "equal", "yes"),
    [
        (["sunny", "cool", "high", "strong"], False, 1176 / 4201),
        (["sunny", "cool", "high", "strong"], True, 392 / 2207),
        (["overcast", "cool", "high", "strong"], False, 1568 / 2173),
        ([None, "cool", "high", "strong"], False, 2352 / 5377),
    ],
)
def test_a_day_of_tennis_by_add_one_shares(day: list[str | None], equal: bool, yes: float) -> None:
    # The unsmoothed 0.205 is at groups.google.com/g/wekamooc-general; with add-one shares: worked out.
    logs = {}
    for play in ("yes", "no"):
        rows = [d for d in DAYS if d[PLAY] == play]
        seen = [(i, v) for i, v in enumerate(day) if v]
        shares = [
            shares_of(Counter(frozenset([d[i]]) for d in rows), {d[i] for d in DAYS})[v] for i, v in seen
        ]
        alone = [(str(i), str(i)) for i, _ in seen]
        logs[play] = joined([math.log(s) for s in shares], alone) + (0 if equal else math.log(len(rows)))
    assert 1 / (1 + math.exp(logs["no"] - logs["yes"])) == pytest.approx(yes)
    if None not in day:
        codes = [sorted({d[i] for d in DAYS}) for i in range(4)]
        table = [[codes[i].index(d[i]) for i in range(4)] for d in DAYS]
        model = CategoricalNB(alpha=1, fit_prior=not equal).fit(table, [d[PLAY] for d in DAYS])
        case = [codes[i].index(v or "") for i, v in enumerate(day)]
        assert model.predict_proba([case])[0][1] == pytest.approx(yes)


@pytest.mark.parametrize(
    ("seen", "want"),
    [("++-", (0.994007, 0.005071, 0.000922)), ("-+-", (0.545986, 0.002785, 0.451228))],
)
def test_the_form_of_bacteria_by_bayes(seen: str, want: tuple[float, ...]) -> None:
    # The form of Willcox, Lapage and Bascomb, J. Gen. Microbiol. 77 (1973) 317-330; numbers invented.
    plus = {"A": (0.99, 0.99, 0.01), "B": (0.99, 0.01, 0.50), "C": (0.10, 0.90, 0.99)}
    group = [(str(i), str(i)) for i in range(3)]
    found = {
        n: math.exp(
            joined([math.log(p if s == "+" else 1 - p) for p, s in zip(ps, seen, strict=True)], group)
        )
        for n, ps in plus.items()
    }
    assert [p / sum(found.values()) for p in found.values()] == pytest.approx(want, abs=1e-6)


def test_value_lists_with_none_of_these() -> None:
    # Worked out: seen (0, 1), then with "none" at 0.05 and the mean of the recorded rows for it.
    rows = [({"0", "1"}, {"1"}), ({"2"}, {"1", "2"}), ({"0"}, {"0", "2"})]
    known = {"0", "1", "2"}
    for seen, alone, with_none in (
        ("01", (0.883721, 0.023256, 0.093023), (0.823228, 0.021664, 0.086656, 0.068452)),
        ("20", None, (0.017727, 0.673612, 0.168403, 0.140258)),
    ):
        each = [[chance_of(r[i], seen[i], known, 0.05) for r in rows] for i in (0, 1)]
        joint = [a * b for a, b in zip(*each, strict=True)]
        if alone:
            assert [p / sum(joint) for p in joint] == pytest.approx(alone, abs=1e-6)
        none = math.prod(sum(column) / 3 for column in each)
        whole = [0.95 / 3 * p for p in joint] + [0.05 * none]
        assert [p / sum(whole) for p in whole] == pytest.approx(with_none, abs=1e-6)


def _random_folder(chance: random.Random, sets: int, keys: int) -> str:
    lines = []
    for n in range(sets):
        lines.append(f"- set: Quillon {n}\n")
        for k in range(keys):
            values = chance.sample("abcd", chance.randint(1, 3))
            lines.append(f"  look {k}: [{', '.join(values)}]\n")
    return "".join(lines)


def test_the_whole_of_identify_is_naive_bayes_with_the_same_tables() -> None:
    """Recorded sets alone, each a family: CategoricalNB with our tables put in gives the same posterior."""
    chance = random.Random(5)
    for _ in range(20):
        graph = graph_of(_random_folder(chance, 9, 4))
        owners = traits.sets_of(graph.data)
        known = [sorted(values_known(spreading.trait(graph, f"look{k}"))) for k in range(4)]
        model = CategoricalNB(min_categories=[len(v) for v in known])
        model.fit(np.zeros((9, 4), dtype=int), range(9))
        model.feature_log_prob_ = [
            np.log([[chance_of(spreading.trait(graph, f"look{k}").at[o].values, v, known[k], 0.05)
                     for v in known[k]] for o in owners])
            for k in range(4)
        ]  # fmt: skip
        model.class_log_prior_ = np.log(np.full(9, 1 / 9))
        seen = [chance.choice(values) for values in known]
        looks = tuple(Look(f"look{k}", f"look {k}", v, v) for k, v in enumerate(seen))
        found = identify(graph, Seen(looks, (), ()), (1.0, 0.0, 0.0))
        ours = {c.set: c.probability for c in found.candidates}
        theirs = model.predict_proba([[known[k].index(v) for k, v in enumerate(seen)]])[0]
        assert [ours[o] for o in owners] == pytest.approx(list(theirs))


def test_on_open_data_it_is_less_often_sure_and_less_often_wrong_where_it_is() -> None:
    """Iris in ten folds beside CategoricalNB on the same values; with the true class hidden as well."""
    found = recognition.score("iris")
    assert found.cases == 150
    assert found.right >= found.naive_right - 3
    assert found.sure_right >= 0.98 * found.sure > 0
    assert 2 * found.hidden_sure < found.naive_hidden_sure


# Weights of pairs -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("m", "u", "bits"),
    [(0.9617, 0.0250, 5.2656), (0.9617 / 0.9679, 0.0732, 3.7627), (0.9617 / 0.9679, 0.0000072, 17.0743)],
)
def test_rare_values_weigh_as_in_the_guide(m: float, u: float, bits: float) -> None:
    # bdespain.org/gencol/indgen/problink/rlg-540.htm prints 5.27, 3.76 and 17.07.
    assert agreement(m, u) == pytest.approx(bits, abs=5e-5)


def test_a_sum_of_weights_with_its_prior() -> None:
    # splink, docs/topic_guides/theory/fellegi_sunter.md: the six numbers come to 9.47, 0.998592.
    bits = sum((-6.67, 4.74, 6.49, -1.97, -1.12, 8.00))
    assert bits == pytest.approx(9.47)
    assert probability(bits) == pytest.approx(0.998592, abs=1e-6)
    assert probability(-6.67) == pytest.approx(0.009725, abs=5e-6)


@pytest.mark.parametrize(
    ("bands", "belt", "stamp", "bits", "chance"),
    [
        (True, True, None, -3.1184, 0.103261),
        (True, False, True, -3.8289, 0.065744),
        (False, True, False, -13.3961, 0.000093),
    ],
)
def test_a_pair_worked_by_hand_and_by_splink(
    bands: bool, belt: bool, stamp: bool | None, bits: float, chance: float
) -> None:
    # splink 5.0.0 gave the same to 4 places. Bands of a share of 0.75 agree by it: log2(0.95/0.75) = 0.3410.
    weights = [math.log2(0.01 / 0.99)]
    weights.append(agreement(0.95, 0.75) if bands else disagreement(0.95, 0.5))
    weights.append(agreement(0.9, 0.1) if belt else disagreement(0.9, 0.1))
    if stamp is not None:
        weights.append(agreement(0.99, 0.02) if stamp else disagreement(0.99, 0.02))
    assert sum(weights) == pytest.approx(bits, abs=1e-4)
    assert probability(sum(weights)) == pytest.approx(chance, abs=1e-6)


# What comes through sisters -------------------------------------------------------------------


def test_what_comes_through_random_trees_of_sisters_is_what_all_worlds_say() -> None:
    """One set has the stamp; in each world some rebadges hold, and those that except it carry it not."""
    chance = random.Random(3)
    for _ in range(40):
        n = chance.randint(2, 7)
        links = [
            (chance.randrange(i), i, chance.randint(1, 9) / 10, chance.random() < 0.2) for i in range(1, n)
        ]
        text = "- set: Quillon 0\n  stamp: TN7\n" + "".join(f"- set: Quillon {i}\n" for i in range(1, n))
        for one, other, certain, out in links:
            text += f"- rebadge: [Quillon {one}, Quillon {other}]\n  certainty: {certain}\n"
            text += "  except: [stamp]\n" if out else ""
        graph = graph_of(text)
        found = fitting(graph, read(graph, [("stamp", "TN7")]).looks[0])
        for i in range(1, n):
            want, reached = _over_worlds(links, i)
            row = found.of(f"s:quillon{i}")
            if not reached:
                assert row is None
            else:
                assert row
                assert row.chance == pytest.approx(want * 0.95 + (1 - want) * found.share)


def _over_worlds(links: list[tuple[int, int, float, bool]], at: int) -> tuple[float, bool]:
    """In how much of all worlds the record reaches a set, and whether in any."""
    whole, any_world = 0.0, False
    for world in itertools.product((True, False), repeat=len(links)):
        weight = math.prod(c if holds else 1 - c for holds, (_, _, c, _) in zip(world, links, strict=True))
        reached = {0}
        for holds, (one, other, _, out) in zip(world, links, strict=True):
            if holds and not out and one in reached:
                reached.add(other)
        if at in reached:
            whole, any_world = whole + weight, True
    return whole, any_world
