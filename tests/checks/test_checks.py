"""The checks of a folder: for each a folder that breaks the rule and one that keeps it.

The rules are the project's own; the hostile files' lines come from their index.
"""

from __future__ import annotations

import random

import pytest

from kgraph import collection
from kgraph.checks import CHECKS, check_all
from kgraph.fits import graph
from kgraph.folder.reading import read_bytes, read_folder
from kgraph.folder.schema import check_file
from kgraph.problems import Problem
from tests.support import ROOT


def found(*texts: str) -> list[Problem]:
    """The problems of files `1.yaml`, `2.yaml`, ... whose entries must all be readable."""
    entries = []
    for number, text in enumerate(texts, 1):
        read = read_bytes(text.encode(), f"{number}.yaml")
        made, problems = check_file(read)
        assert not [p for p in (*read.problems, *problems) if p.severity == "error"]
        entries += made
    data = collection.build(entries)
    return check_all(data, graph.build(data))


def lines(code: str, text: str) -> list[int]:
    """The lines at which a folder of one file has problems of this code."""
    return [p.where.line for p in found(text) if p.code == code and p.where]


FUSES = """\
- position: fuse
  must match: [mains]
- set: A 1
  mains: 240 V
"""
FITTED = """\
- takes: F
  in: A 1
  position: fuse
"""
# (code, severity, words in the message, the lines it stands at, bad folder, good folder)
CASES: list[tuple[str, str, str, list[int], str, str]] = [
    (
        "entries-disagree",
        "error",
        "bore is 6.2 mm here and 6 mm at 1.yaml:1",
        [3],
        "- part: K-1\n  bore: 6 mm\n- part: k 1\n  bore: 6.2 mm\n",
        "- part: K-1\n  bore: 6 mm\n- part: k 1\n  bore: 0.6 cm\n  shaft: D\n",
    ),
    (
        "entries-disagree",
        "error",
        "inside length is 130 mm",
        [4],
        "- part: B\n  kind: belt\n  inside length: 120 mm\n- part: B\n  folded: 65 mm\n",
        "- part: B\n  kind: belt\n  inside length: 130 mm\n- part: B\n  folded: 65.5 mm\n",
    ),
    (
        "entries-disagree",
        "error",
        "count is 2 here and 3",
        [4],
        "- stock: B\n  count: 3\n  where: tin\n- stock: B\n  count: 2\n  where: tin\n",
        "- stock: B\n  count: 3\n  where: tin\n- stock: B\n  count: 2\n  where: box\n",
    ),
    (
        "entries-disagree",
        "error",
        "state, back is good here and broken",
        [4],
        "- unit: U\n  set: A 1\n  state: {back: broken}\n- unit: U\n  set: A 1\n  state: {back: good}\n",
        "- unit: U\n  set: A 1\n  state: {back: good}\n- unit: U\n  set: A 1\n  state: {foot: good}\n",
    ),
    (
        "also-twice",
        "error",
        "is also said of K-1 at 1.yaml:1",
        [3],
        "- part: K-1\n  also: [X 9]\n- part: K-2\n  also: [x9]\n",
        "- part: K-1\n  also: [X 9]\n- part: K-2\n  also: [X 8]\n- part: k1\n  also: [x9]\n",
    ),
    (
        "also-declared",
        "error",
        "declared at 1.yaml:3",
        [1],
        "- part: K-1\n  also: [K-2]\n- part: K-2\n",
        "- part: K-1\n  also: [K-2, k 1]\n- set: K-2\n",
    ),
    (
        "set-and-assembly",
        "error",
        "is a set at 1.yaml:1 and an assembly at 1.yaml:2",
        [2],
        "- set: A 1\n- assembly: a1\n",
        "- set: A 1\n- assembly: a2\n",
    ),
    (
        "set-and-assembly",
        "error",
        "B 1",
        [2],
        "- rebadge: [A 1, B 1]\n- uses: B 1\n  in: A 1\n",
        "- rebadge: [A 1, B 1]\n- uses: B 2\n  in: A 1\n",
    ),
    (
        "unknown-grade",
        "error",
        "mesured",
        [1],
        "- rebadge: [A 1, B 1]\n  how: mesured\n",
        "- rebadge: [A 1, B 1]\n  how: Measured\n- grade: weighed\n  certainty: 0.9\n"
        "- rebadge: [A 1, C 1]\n  how: weighed\n",
    ),
    (
        "id-twice",
        "error",
        "stands for another statement at 1.yaml:1",
        [3],
        "- rebadge: [A 1, B 1]\n  id: f1\n- rebadge: [A 1, C 1]\n  id: f1\n",
        "- rebadge: [A 1, B 1]\n  id: f1\n- rebadge: [B 1, A 1]\n  id: f1\n",
    ),
    (
        "id-twice",
        "error",
        "e1",
        [4],
        "- taken: foot\n  from: U\n  id: e1\n- taken: back\n  from: U\n  id: e1\n",
        "- taken: foot\n  from: U\n  id: e1\n- taken: back\n  from: U\n  id: e2\n",
    ),
    (
        "unknown-unit",
        "error",
        "from: U-O7",
        [4],
        "- unit: U-07\n  set: A 1\n# The unit is misspelt.\n- taken: foot\n  from: U-O7\n",
        "- unit: U-07\n  set: A 1\n- taken: foot\n  from: u 07\n  to: U-07\n",
    ),
    (
        "unknown-unit",
        "error",
        "restored: to: U-08",
        [3],
        "- unit: U-07\n  set: A 1\n- restored: foot\n  to: U-08\n",
        "- unit: U-07\n  set: A 1\n- restored: foot\n  to: U-07\n",
    ),
    (
        "replaces-circle",
        "warning",
        "P1 replaces P2 (1.yaml:1), P3 replaces P1 (1.yaml:4)",
        [1],
        "- replaces: P1\n  old: P2\n- same: [P2, P3]\n- replaces: P3\n  old: P1\n",
        "- replaces: P1\n  old: P2\n- same: [P2, P3]\n- replaces: P4\n  old: P1\n- replaces: P4\n  old: P3\n",
    ),
    (
        "uses-circle",
        "warning",
        "M2 is built on M1 (1.yaml:1), M1 is built on M2 (1.yaml:3)",
        [1],
        "- uses: M1\n  in: M2\n- uses: M2\n  in: M1\n",
        "- uses: M1\n  in: M2\n- uses: M2\n  in: A 1\n- uses: M1\n  in: A 1\n",
    ),
    (
        "uses-circle",
        "warning",
        "M1 is built on M1",
        [1],
        "- uses: M1\n  in: M1\n",
        "- uses: M1\n  in: A 1\n",
    ),
    (
        "unknown-withdraw",
        "error",
        "f0",
        [3],
        "- rebadge: [A 1, B 1]\n  id: f1\n- withdraw: f0\n  why: misread\n",
        "- rebadge: [A 1, B 1]\n  id: f1\n- withdraw: f1\n  why: misread\n",
    ),
    (
        "undeclared",
        "warning",
        "part K-115",
        [3],
        "- set: A 1\n- part: K-114\n- takes: K-115\n  in: A 1\n  position: foot\n"
        "- takes: K-115\n  in: A 1\n  position: back\n",
        "- set: A 1\n- part: K-114\n  also: [K-115]\n- takes: K-115\n  in: A 1\n  position: foot\n",
    ),
    (
        "undeclared",
        "warning",
        "caution mainz",
        [1],
        "- position: back\n  caution: mainz\n",
        "- position: back\n  caution: [mains, dust]\n- caution: dust\n  text: Wear a mask.\n",
    ),
    (
        "undeclared",
        "warning",
        "source list",
        [3],
        "- set: A 1\n- set: B 1\n- rebadge: [A 1, B 1]\n  source: list\n",
        "- set: A 1\n- set: B 1\n- rebadge: [A 1, B 1]\n  source: list\n- source: list\n",
    ),
    (
        "near-position",
        "warning",
        "volumne knob",
        [4],
        "- takes: K\n  in: A 1\n  position: volume knob\n- takes: K\n  in: B 1\n  position: volumne knob\n",
        "- takes: K\n  in: A 1\n  position: push button 1\n"
        "- takes: K\n  in: B 1\n  position: push button 2\n",
    ),
    (
        "near-position",
        "warning",
        "carrying handel",
        [3],
        "- position: carrying handle\n# Misspelt.\n- takes: K\n  in: B 1\n  position: carrying handel\n",
        "- position: carrying handle\n- position: carrying handel\n"
        "- takes: K\n  in: B 1\n  position: carrying handel\n",
    ),
    (
        "near-position",
        "warning",
        "vollume knob is used 2 times and declared nowhere",
        [7],
        "- takes: K\n  in: A 1\n  position: volume knob\n- takes: K\n  in: B 1\n  position: volume knob\n"
        "- takes: L\n  in: C 1\n  position: vollume knob\n- takes: L\n  in: D 1\n  position: vollume knob\n"
        "- takes: K\n  in: E 1\n  position: volume knob\n",
        "- position: volume knob\n- takes: K\n  in: A 1\n  position: volume knob\n",
    ),
    (
        "unknown-withdraw",
        "warning",
        "nothing withdraws one",
        [5],
        "- takes: K\n  in: A 1\n  position: lid\n  id: one\n"
        "- takes: L\n  in: A 1\n  position: lid\n  corrects: one\n",
        "- takes: K\n  in: A 1\n  position: lid\n  id: one\n- withdraw: one\n"
        "- takes: L\n  in: A 1\n  position: lid\n  corrects: one\n",
    ),
    (
        "unknown-withdraw",
        "warning",
        "nothing withdraws 17416452d295cdac",
        [3],
        "- set: A 1\n  years: 1981\n- set: A 1\n  market: UK\n  corrects: 17416452d295cdac\n",
        "- set: A 1\n  years: 1981\n- withdraw: 17416452d295cdac\n"
        "- set: A 1\n  years: 1982\n  corrects: 17416452d295cdac\n",
    ),
    (
        "unknown-withdraw",
        "error",
        "corrects: no fact and no thing has the id 17416452d295cda0",
        [3],
        "- set: A 1\n  years: 1981\n- set: A 1\n  market: UK\n  corrects: 17416452d295cda0\n",
        "- set: A 1\n  years: 1981\n",
    ),
    (
        "near-kind",
        "warning",
        "knobb",
        [2],
        "- kind: turning knob\n- part: K\n  kind: turning knobb\n",
        "- kind: turning knob\n- part: K\n  kind: window\n",
    ),
    (
        "near-except",
        "warning",
        "volumne knob",
        [2],
        "- position: volume knob\n- rebadge: [A 1, B 1]\n  except: [volumne knob]\n",
        "- position: volume knob\n- set: A 1\n  volumne knob: red\n- rebadge: [A 1, B 1]\n"
        "  except: [volumne knob, line socket, volume knob]\n",
    ),
    (
        "two-spellings",
        "warning",
        "part k 1 is written K-1 at 1.yaml:1",
        [1, 2],
        "- part: K-1\n- stock: k 1\n- stock: k 1\n  where: tin\n",
        "- part: K-1\n  also: [k 1]\n- stock: k 1\n- stock: K-1\n",
    ),
    (
        "two-spellings",
        "warning",
        "set caf\u00e9 2 is written Caf\u00e9 2",
        [1, 2],
        "- set: Caf\u00e9 2\n- set: caf\u00e9 2\n",
        "- set: caf\u00e9 2\n- set: cafe\u0301  2\n",
    ),
    (
        "look-alike",
        "warning",
        "looks like K-10 at 1.yaml:1",
        [2],
        "- part: K-10\n- part: K-1O\n",
        "- part: K-10\n- part: K-1Q\n- part: K-L1\n- part: K-11\n",
    ),
    (
        "look-alike",
        "warning",
        "\u041a-114 looks like K-114",
        [2],
        "- part: K-114\n- part: \u041a-114\n",
        "- part: K-114\n- part: \u0416-114\n",
    ),
    (
        "look-alike",
        "warning",
        "mixes scripts: \u0430 (cyrillic small letter a)",
        [1],
        "- part: b\u0430ck\n",
        "- part: 10 k\u03a9\n- part: \u0431\u0430\u043a\n",
    ),
    (
        "near-number",
        "warning",
        "SQ 12 x 62 differs from SQ 1.2 x 62 at 1.yaml:1",
        [2],
        "- part: SQ 1.2 x 62\n- part: SQ 12 x 62\n",
        "- part: SQ 1.2 x 62\n- part: SQ 1.2 x 63\n- set: SQ 12 x 62\n",
    ),
    (
        "unused",
        "warning",
        "declared",
        [1, 2, 3, 4, 5],
        "- part: K\n- assembly: M\n- source: list\n- position: foot\n- kind: knob\n",
        "- part: K\n  kind: knob\n- assembly: M\n- source: list\n- position: foot\n- kind: knob\n"
        "- stock: K\n- uses: M\n  in: A 1\n  except: [foot]\n  source: list\n",
    ),
    (
        "two-originals",
        "warning",
        "has two originals: K2, and K1 at 1.yaml:1",
        [4],
        "- takes: K1\n  in: A 1\n  position: foot\n- takes: K2\n  in: A 1\n  position: foot\n",
        "- takes: K1\n  in: A 1\n  position: foot\n- takes: K2\n  in: A 1\n  position: foot\n"
        "- same: [K1, K2]\n"
        "- takes: K3\n  in: A 1\n  position: foot\n  role: substitute\n",
    ),
    (
        "two-originals",
        "warning",
        "(the foot of A 1, which facts make alike)",
        [4],
        "- takes: K1\n  in: A 1\n  position: foot\n- takes: K2\n  in: B 1\n  position: foot\n"
        "- rebadge: [A 1, B 1]\n",
        "- takes: K1\n  in: A 1\n  position: foot\n- takes: K2\n  in: B 1\n  position: foot\n"
        "- rebadge: [A 1, B 1]\n"
        "  except: [foot]\n",
    ),
    (
        "fact-and-refuses",
        "warning",
        "K1 is refused at the foot of A 1, and goes by 1.yaml:1",
        [4],
        "- takes: K1\n  in: A 1\n  position: foot\n- refuses: K1\n  in: A 1\n  position: foot\n",
        "- takes: K1\n  in: A 1\n  position: foot\n- refuses: K1\n  in: A 1\n  position: back\n",
    ),
    (
        "fact-and-refuses",
        "warning",
        "the foot of B 1 is refused at the foot of A 1, and goes by 1.yaml:1",
        [4],
        "- fits: B 1\n  position: foot\n  to: A 1\n"
        "- refuses: B 1\n  from: foot\n  in: A 1\n  position: foot\n",
        "- fits: A 1\n  position: foot\n  to: B 1\n"
        "- refuses: B 1\n  from: foot\n  in: A 1\n  position: foot\n",
    ),
    (
        "must-match-missing",
        "warning",
        "B 1 records no mains, needed at fuse",
        [5],
        FUSES + "- set: B 1\n- rebadge: [A 1, B 1]\n" + FITTED,
        FUSES + "- set: B 1\n  mains: 220 V\n- set: C 1\n- rebadge: [A 1, B 1]\n" + FITTED,
    ),
    (
        "no-evidence",
        "warning",
        "this rebadge has no source and no how",
        [1],
        "- rebadge: [A 1, B 1]\n",
        "- rebadge: [A 1, B 1]\n  how: photo\n- same: [K, L]\n  source: list\n"
        "- same: [K, M]\n  certainty: 0.4\n",
    ),
    (
        "no-type",
        "warning",
        "source list",
        [1],
        "- source: list\n",
        "- source: list\n- source: list\n  type: page\n",
    ),
    (
        "position-not-listed",
        "warning",
        "M does not list foot",
        [3],
        "- assembly: M\n  positions: [back]\n- takes: K\n  in: M\n  position: foot\n",
        "- assembly: M\n  positions: [back]\n- takes: K\n  in: M\n  position: back\n"
        "- takes: K\n  in: A 1\n  position: foot\n",
    ),
    (
        "positions-not-passed-on",
        "warning",
        "do not get foot",
        [5],
        "- assembly: M\n  positions: [foot, back]\n- assembly: N\n  positions: [back]\n- uses: M\n  in: N\n",
        "- assembly: M\n  positions: [foot, back]\n- assembly: N\n  positions: [back]\n- uses: M\n  in: N\n"
        "  except: [foot]\n- uses: M\n  in: A 1\n",
    ),
    (
        "same-but-differ",
        "warning",
        "bore 6 mm and 6.2 mm",
        [9],
        "- kind: knob\n  compare: {bore: 0.1 mm}\n- part: K\n  kind: knob\n  bore: 6 mm\n"
        "- part: L\n  kind: knob\n  bore: 6.2 mm\n- same: [K, L]\n",
        "- kind: knob\n  compare: {bore: 0.1 mm}\n- part: K\n  kind: knob\n  bore: 6 mm\n  hue: red\n"
        "- part: L\n  kind: knob\n  bore: 6.1 mm\n- part: M\n  kind: knob\n- same: [K, L]\n- same: [K, M]\n",
    ),
    (
        "same-but-differ",
        "warning",
        "inside length 200 mm and 210 mm",
        [7],
        "- part: K\n  kind: belt\n  inside length: 200 mm\n- part: L\n  kind: belt\n  inside length: 210 mm\n"
        "- same: [K, L]\n",
        "- part: K\n  kind: belt\n  inside length: 200 mm\n"
        "- part: L\n  kind: belt\n  folded: 101 mm\n- same: [K, L]\n",
    ),
    (
        "same-but-differ",
        "warning",
        "kind knob and window",
        [5],
        "- part: K\n  kind: knob\n- part: L\n  kind: window\n- same: [K, L]\n",
        "- part: K\n  kind: knob\n- part: L\n- same: [K, L]\n",
    ),
    (
        "unread-size",
        "warning",
        "bore of K is compared by its size, and wide is none",
        [3],
        "- kind: knob\n  compare: {bore: 0.1 mm, hue: same}\n"
        "- part: K\n  kind: knob\n  bore: wide\n  hue: red\n",
        "- kind: knob\n  compare: {bore: 0.1 mm, hue: same}\n"
        "- part: K\n  kind: knob\n  bore: 1/4 in\n  hue: red\n",
    ),
    (
        "unknown-set",
        "warning",
        "unit U is a A 2, of which nothing is known",
        [2],
        "- set: A 1\n- unit: U\n  set: A 2\n",
        "- set: A 1\n- unit: U\n  set: A 1\n- unit: V\n  set: B 1\n- rebadge: [A 1, B 1]\n",
    ),
    (
        "unknown-place",
        "warning",
        "wants: nothing else names the place fot",
        [2],
        "- position: foot\n- unit: U\n  set: A 1\n  state: {foot: good}\n  wants: [fot]\n",
        "- position: foot\n- unit: U\n  set: A 1\n  state: {foot: good}\n  wants: [back]\n"
        "- takes: K\n  in: A 1\n  position: back\n",
    ),
    (
        "belt-sizes",
        "warning",
        "belt B has no section and no inside length",
        [1],
        "- part: B\n  kind: belt\n",
        "- part: B\n  kind: belt\n  section: square 1.2 mm\n  inside diameter: 60 mm\n"
        "- part: K\n  kind: knob\n",
    ),
]

RUN = """\
- assembly: M
  positions: [main belt]
- run: main belt
  in: M
  pulleys:
    - {name: motor, x: 0 mm, y: 0 mm, diameter: 10 mm, drives: yes}
    - {name: flywheel, x: %s mm, y: 0 mm, diameter: 10 mm}
- uses: M
  in: A 1
- part: B
  kind: belt
  section: round 1 mm
  inside length: %s mm
- takes: B
  in: A 1
  position: main belt
"""
# Two equal pulleys: the mid-line is 2 x centres + pi (d + t), and at rest inside length + pi t.
PATH_MM = 2 * 50 + 3.14159265 * 11
INSIDE_MM = round(PATH_MM / 1.06 - 3.14159265, 3)
CASES += [
    ("impossible-run", "error", "flywheel", [3], RUN % (5, 100), RUN % (50, 100)),
    ("belt-outside-window", "warning", "belt B", [14], RUN % (50, INSIDE_MM + 6), RUN % (50, INSIDE_MM)),
]


@pytest.mark.parametrize("case", CASES, ids=lambda c: f"{c[0]}-{c[2][:20]}")
def test_a_check_names_the_bad_and_leaves_the_good(case: tuple[str, str, str, list[int], str, str]) -> None:
    code, severity, says, at_lines, bad, good = case
    told = [p for p in found(bad) if p.code == code]
    assert sorted({p.where.line for p in told if p.where}) == at_lines
    assert {p.severity for p in told} == {severity}
    assert any(says in p.says for p in told), [p.says for p in told]
    assert lines(code, good) == []


def test_must_match_is_said_once_for_each_set_that_lacks_it() -> None:
    text = (
        "- position: fuse\n  must match: [mains]\n- position: socket\n  must match: [mains]\n"
        "- set: A 1\n  mains: 240 V\n- set: B 1\n- set: C 1\n- rebadge: [A 1, B 1]\n"
        "- takes: F\n  in: A 1\n  position: fuse\n- takes: S\n  in: B 1\n  position: socket\n"
    )
    told = [p for p in found(text) if p.code == "must-match-missing"]
    assert [p.where.line for p in told if p.where] == [7]
    assert "B 1 records no mains, needed at fuse, socket" in told[0].says


def test_what_is_recorded_of_sets_may_be_declared_for_how_often_it_is_misread() -> None:
    declared = "- position: tape counter\n  misread: 0.2\n- kind: knobs\n  misread: 0.1\n"
    assert lines("unused", declared) == [1, 3]
    assert (
        lines("unused", f"{declared}- set: Larkfield LK-40\n  features: [tape counter]\n  knobs: 5\n") == []
    )


def test_mends_name_the_nearest_declared_name() -> None:
    text = (
        "- set: Larkfield LK-40\n- assembly: TN7 mechanism\n- part: K-114\n"
        "- takes: K-1l4\n  in: TN7 mechansim\n  position: foot\n  how: measurd\n- taken: foot\n  from: U-7\n"
        "- unit: U-07\n  set: Larkfeld LK-40\n"
    )
    mends = {(p.code, p.mend) for p in found(text)}
    assert ("undeclared", "did you mean K-114?") in mends
    assert ("undeclared", "did you mean TN7 mechanism?") in mends
    grades = "use one of fitted, measured, printed, compared, photo, reported, guess, or "
    grades += "kgraph add grade measurd --certainty ..."
    assert ("unknown-grade", grades) in mends
    assert ("unknown-unit", "did you mean U-07?") in mends
    assert ("unknown-set", "did you mean Larkfield LK-40?") in mends


def test_the_same_thing_in_two_files_names_both() -> None:
    told = found("- part: K\n  bore: 6 mm\n", "- stock: K\n- part: K\n  bore: 7 mm\n")
    [problem] = [p for p in told if p.code == "entries-disagree"]
    assert str(problem.where) == "2.yaml:2:3"
    assert "1.yaml:1" in problem.says


def test_two_circles_are_named_apart_and_whole() -> None:
    text = "".join(f"- replaces: {a}\n  old: {b}\n" for a, b in ("PQ", "QR", "RP", "RX", "XY", "YX"))
    told = [p for p in found(text) if p.code == "replaces-circle"]
    assert [p.where.line for p in told if p.where] == [1, 9]
    assert all(f"1.yaml:{n}" in told[0].says for n in (1, 3, 5))
    assert "R replaces X" not in told[0].says
    assert "X replaces Y (1.yaml:9), Y replaces X (1.yaml:11)" in told[1].says


def test_a_long_chain_is_no_circle_and_no_deep_recursion() -> None:
    text = "".join(f"- replaces: P{n}\n  old: P{n + 1}\n" for n in range(3000))
    assert lines("replaces-circle", text) == []


@pytest.mark.parametrize(
    ("file", "expected"),
    [
        ("n02-case-and-form", {("two-spellings", n) for n in (1, 2, 5, 6, 7, 8, 9, 10, 11, 12, 13)}),
        ("n04-lookalikes", {("look-alike", 3), *(("two-spellings", n) for n in (1, 5, 7))}),
        (
            "n11-fold-eats-the-point",
            {
                ("near-number", 3),
                ("near-number", 9),
                ("near-number", 17),
                *(("two-spellings", n) for n in (11, 13)),
            },
        ),
        ("y49-cycles", {("uses-circle", 1), ("replaces-circle", 5), ("unknown-withdraw", 13)}),
    ],
)
def test_hostile_files_that_must_be_warned_of(file: str, expected: set[tuple[str, int]]) -> None:
    read = read_bytes((ROOT / "tests" / "hostile" / f"{file}.yaml").read_bytes(), f"{file}.yaml")
    data = collection.build(check_file(read)[0])
    problems = check_all(data, graph.build(data))
    left_out = {"unused", "undeclared", "no-evidence", "belt-sizes"}
    assert {(p.code, p.where.line) for p in problems if p.where and p.code not in left_out} == expected
    assert {p.code for p in problems if p.severity == "error"} <= {"unknown-withdraw"}


def demo() -> list[list[object]]:
    return [list(check_file(read)[0]) for read in read_folder(ROOT / "data")]


def test_the_demo_has_no_errors_and_the_doubts_it_was_made_with() -> None:
    data = collection.build(e for entries in demo() for e in entries)  # type: ignore[misc]
    problems = check_all(data, graph.build(data))
    assert [str(p) for p in problems if p.severity == "error"] == []
    codes = {p.code for p in problems}
    assert {"two-originals", "fact-and-refuses", "must-match-missing", "belt-outside-window"} <= codes


def test_the_order_of_files_changes_nothing() -> None:
    files = demo()
    told = []
    for seed in range(3):
        random.Random(seed).shuffle(files)
        data = collection.build(e for entries in files for e in entries)  # type: ignore[misc]
        told.append([str(p) for p in check_all(data, graph.build(data))])
    assert told[0] == told[1] == told[2]


def test_every_check_has_a_name_and_a_rule_in_its_docstring() -> None:
    names = [check.__name__ for check in CHECKS]
    assert len(set(names)) == len(names)
    assert all((check.__doc__ or "").strip() for check in CHECKS)
