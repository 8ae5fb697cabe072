"""What a sister's badge says against a set's own fact: an exception would explain both."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph import checks, questions
from kgraph.cli.main import run
from kgraph.questions import Row, Wanted
from tests.support import ask, folder_with, graph_of

ALL = Wanted(refused_too=True)
OWN = """\
- set: Larkfield LK-40
- set: Orvanek 2200
- set: Quillon 31
- part: K-114
- takes: K-114
  in: Larkfield LK-40
  position: volume knob
  how: printed
- takes: K-114
  in: Quillon 31
  position: volume knob
  how: compared
"""
SISTER = """\
- rebadge: [Larkfield LK-40, Orvanek 2200]
  except: [line socket]
  how: compared
"""
REFUSES = """\
- refuses: K-114
  in: Orvanek 2200
  position: volume knob
  how: fitted
"""
LK_40, ORVANEK = "s:larkfieldlk40", "s:orvanek2200"


def takers(text: str) -> dict[str, Row]:
    rows = questions.takers_of_part(graph_of(text), "k114", ALL).rows
    return {r.set: r for r in rows}


def test_the_own_fact_of_a_set_stands_whatever_its_sister_refuses() -> None:
    rows = takers(OWN + SISTER + REFUSES)
    assert (rows[LK_40].standing, rows[LK_40].no, rows[LK_40].against) == ("stated", 0.0, ())
    assert rows[ORVANEK].standing == "refused"


@pytest.mark.parametrize(("how", "standing"), [("guess", "refused"), ("fitted", "stated")])
def test_a_no_that_is_at_least_as_strong_refuses_as_ever(how: str, standing: str) -> None:
    rows = takers(OWN.replace("printed", how) + SISTER.replace("compared", "fitted") + REFUSES)
    assert rows[LK_40].standing == standing


def test_a_donor_for_it_is_not_disputed_either() -> None:
    """What the donor has goes on the set by the set's own fact."""
    graph = graph_of(OWN.replace("compared", "fitted") + SISTER + REFUSES)
    rows = questions.donors(graph, LK_40[2:], ["volumeknob"], ALL).rows
    assert {r.set: r.standing for r in rows} == {"s:quillon31": "inferred", ORVANEK: "disputed"}


def test_what_is_refused_on_the_set_itself_still_counts() -> None:
    own = REFUSES.replace("Orvanek 2200", "Larkfield LK-40").replace("fitted", "guess")
    rows = takers(OWN + SISTER + REFUSES + own)
    assert (rows[LK_40].standing, rows[LK_40].no) == ("disputed", 0.4)
    assert [f.kind for f in rows[LK_40].against] == ["refuses"]


def test_what_an_assembly_of_the_set_refuses_still_counts() -> None:
    """No badge lies between: nothing of the kind can be excepted."""
    built = """\
- assembly: LC3 chassis
  positions: [volume knob]
- uses: LC3 chassis
  in: Larkfield LK-40
  how: compared
- refuses: K-114
  in: LC3 chassis
  position: volume knob
  how: fitted
"""
    rows = takers(OWN + SISTER + built)
    assert (rows[LK_40].standing, rows[LK_40].no) == ("disputed", 0.85 * 0.98)


def test_what_follows_for_a_set_that_says_nothing_itself_is_disputed_as_ever() -> None:
    third = "- rebadge: [Larkfield LK-40, Quillon 32]\n  how: fitted\n"
    rows = takers(OWN + SISTER + REFUSES + third)
    assert rows["s:quillon32"].standing == "disputed"


def test_check_proposes_the_exception_as_a_command_that_settles_it(tmp_path: Path, capsys: Any) -> None:
    folder = folder_with(tmp_path, [("facts.yaml", OWN + SISTER + REFUSES)])
    run(["--data", str(folder), "check"])
    said = capsys.readouterr().out
    command = said.split("an exception would explain both: kgraph ")[1].splitlines()[0]
    _, one, key, names = command.split(" ", 3)
    assert names == "'line socket, volume knob'"
    assert run(["--data", str(folder), "correct", one, key, names.strip("'"), "--yes"]) == 0
    run(["--data", str(folder), "check"])
    assert "an exception would explain both" not in capsys.readouterr().out
    _, answer = ask(capsys, "--data", str(folder), "takers", "K-114")
    assert [a["set"] for a in answer["answers"]] == ["Larkfield LK-40", "Quillon 31"]


def test_of_several_badges_between_the_least_certain_is_proposed() -> None:
    further = (
        SISTER.replace("Orvanek 2200", "Quillon 40").replace("compared", "guess")
        + "- rebadge: [Quillon 40, Orvanek 2200]\n  how: fitted\n"
    )
    graph = graph_of(OWN + further + REFUSES)
    (weak,) = [f.id for f in graph.data.facts.values() if f.kind == "rebadge" and f.certainty == 0.4]
    mends = [p.mend for p in checks.check_all(graph.data, graph) if p.code == "fact-and-refuses"]
    assert mends == [
        f"an exception would explain both: kgraph correct {weak} except 'line socket, volume knob'"
    ]


def test_where_no_exception_of_a_badge_would_explain_it_none_is_proposed() -> None:
    own = REFUSES.replace("Orvanek 2200", "Larkfield LK-40")
    graph = graph_of(OWN + own)
    (mend,) = [p.mend for p in checks.check_all(graph.data, graph) if p.code == "fact-and-refuses"]
    assert "kgraph correct" not in mend


@pytest.mark.parametrize("seed", range(30))
def test_it_is_the_no_of_a_folder_in_which_every_badge_excepts_the_place(seed: int) -> None:
    """For what is refused by its number: a second way to the same, by the facts and not by the walk."""
    import random

    dice = random.Random(seed)
    sets = [f"Quillon {n}" for n in range(5)]
    text = OWN + "- assembly: LC3 chassis\n  positions: [volume knob]\n"
    for _ in range(6):
        one, other = dice.sample([*sets, "Larkfield LK-40"], 2)
        text += f"- rebadge: [{one}, {other}]\n  certainty: {dice.choice([0.9, 0.7])}\n"
    for one in dice.sample([*sets, "Larkfield LK-40"], 3):
        text += f"- uses: LC3 chassis\n  in: {one}\n  certainty: 0.8\n"
    for one in dice.sample([*sets, "LC3 chassis"], 2):
        text += REFUSES.replace("Orvanek 2200", one)
    apart = text.replace("  certainty: 0.9\n", "  certainty: 0.9\n  except: [volume knob]\n")
    apart = apart.replace("  certainty: 0.7\n", "  certainty: 0.7\n  except: [volume knob]\n")
    found, alone = takers(text)[LK_40], takers(apart)[LK_40]
    if len(found.proof) == 1 and found.proof[0].kind == "takes" and found.standing != "refused":
        assert found.no == pytest.approx(alone.no)
