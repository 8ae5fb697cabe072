"""The box for a measured belt, in a real browser, against the command: 200 questions drawn at random."""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from kgraph.cli.main import run
from tests.support import ask, folder_with

QUESTIONS = 200
SHOWN = 8
"""So many answers stand in the box."""
WAYS = {"--inside-length": 1.0, "--folded": 2.0, "--inside-diameter": 3.141592653589793}


def belts(chance: random.Random) -> str:
    """Invented belts of all three forms, some alike in size, some about a size."""
    lines = []
    for n in range(60):
        form = ("square", "flat", "round")[n % 3]
        size = f"{chance.randint(8, 30) / 10}"
        section = f"flat 4 mm x {size} mm" if form == "flat" else f"{form} {size} mm"
        about = "about " if n % 7 == 0 else ""
        lines.append(f"- part: B-{n}\n  kind: belt\n  section: {section}\n")
        lines.append(f"  inside length: {about}{chance.randint(120, 330)} mm\n")
        lines.append(f"- takes: B-{n}\n  in: Larkfield LK-{n % 20}\n  position: main belt\n")
    return "".join(lines)


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return folder_with(tmp_path_factory.mktemp("facts"), [("belts.yaml", belts(random.Random(7)))])


@pytest.fixture(scope="module")
def box(browser: Any, facts: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    folder = tmp_path_factory.mktemp("book") / "pages"
    assert run(["--data", str(facts), "book", str(folder)]) == 0
    page = browser.new_page()
    page.goto((folder / "belts.html").as_uri())
    page.wait_for_selector("#measured:not([hidden])")
    yield page
    page.close()


def filled(page: Any, **fields: str) -> None:
    """Put values into the box as if they were typed."""
    page.evaluate(
        """fields => {
            for (const id of ["size", "thick", "length", "section-error", "length-error"]) {
                document.getElementById(id).value = "";
            }
            for (const [id, value] of Object.entries(fields)) document.getElementById(id).value = value;
            document.getElementById("worn").checked = fields.worn === "yes";
            document.getElementById("measured").dispatchEvent(new Event("input"));
        }""",
        {name.replace("_", "-"): value for name, value in fields.items()},
    )


def told(page: Any) -> list[tuple[str | None, float]]:
    rows = page.eval_on_selector_all(
        "#measured-found > li", "all => all.map(li => [li.dataset.belt, li.dataset.probability])"
    )
    return [(belt or None, float(probability)) for belt, probability in rows]


@pytest.mark.slow
def test_the_box_answers_as_the_command_does(box: Any, facts: Path, capsys: Any) -> None:
    chance = random.Random(2026)
    several = 0
    for _ in range(QUESTIONS):
        form = chance.choice(("square", "flat", "round"))
        size = f"{chance.uniform(0.6, 3.2):.2f}"
        option, factor = chance.choice(list(WAYS.items()))
        length = f"{chance.uniform(60, 400) / factor:.1f}"
        fields = {"form": form, "size": size, "length": length, "way": f"{factor:.16g}"}
        fields["way"] = {1.0: "1", 2.0: "2"}.get(factor, "3.141592653589793")
        words = ["--section", f"{form} {size} mm", option, f"{length} mm"]
        if form == "flat":
            fields |= {"size": "4", "thick": size}
            words[1] = f"flat 4 mm x {size} mm"
        if chance.random() < 0.5:
            fields["worn"] = "yes"
            words.append("--worn")
        if chance.random() < 0.3:
            fields["section_error"] = f"{chance.uniform(0.02, 0.5):.3f}"
            words += ["--section-error", f"{fields['section_error']} mm"]
        if chance.random() < 0.3:
            fields["length_error"] = f"{chance.uniform(0.2, 5):.2f}"
            words += ["--length-error", f"{fields['length_error']} %"]
        filled(box, **fields)
        status, answer = ask(capsys, "--data", str(facts), "belt", "find", *words)
        assert status == 0
        wanted = [(a["belt"], a["probability"]) for a in answer["answers"]][:SHOWN]
        found = told(box)
        assert [b for b, _ in found] == [b for b, _ in wanted], words
        for (_, mine), (_, theirs) in zip(found, wanted, strict=True):
            assert abs(mine - theirs) < 5e-7, words
        several += wanted[0][1] < 0.99
    assert several > 20  # Most questions are sure of themselves; enough must not be.


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"form": "square", "size": "9", "length": "200"}, "must be 0.5 to 8 mm"),
        ({"form": "square", "size": "1.2", "length": "20"}, "it must be 50 to 1000 mm"),
        ({"form": "square", "size": "1.2 mm", "length": "200"}, "Write plain numbers"),
        ({"form": "square", "size": "1.2", "length": "200", "section_error": "9"}, "0.001 to 5 mm"),
        ({"form": "square", "size": "1.2", "length": "200", "length_error": "200"}, "0 to 100 %"),
    ],
)
def test_what_cannot_be_is_told_and_nothing_is_answered(box: Any, fields: dict[str, str], says: str) -> None:
    filled(box, **fields)
    assert says in box.inner_text("#measured-says")
    assert told(box) == []


def test_the_keyboard_alone_fills_the_box(box: Any) -> None:
    filled(box, form="square")
    box.focus("#form")
    box.keyboard.press("Tab")
    box.keyboard.type("1,2")
    box.keyboard.press("Tab")
    box.keyboard.press("Tab")
    box.keyboard.type("211")
    assert len(told(box)) == SHOWN
    assert box.inner_text("#measured-says").startswith("Of 20 recorded square belts")
