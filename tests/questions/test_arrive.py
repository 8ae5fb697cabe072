"""One page before the back comes off."""

from __future__ import annotations

from pathlib import Path

import pytest

from kgraph.cli.main import run
from tests.questions.test_faults import FOLDER


@pytest.mark.parametrize("text", ["- set: Quillon 31\n", FOLDER])
@pytest.mark.parametrize("more", [[], ["--markdown"]])
def test_it_is_useful_for_a_fresh_folder_too(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, more: list[str]
) -> None:
    (tmp_path / "a.yaml").write_text(text)
    assert run(["--data", str(tmp_path), "arrive", "Quillon 31", *more]) == 0
    said = capsys.readouterr().out
    for title in ("Before the back comes off", "What to check", "To have at hand", "often missing"):
        assert title in said
    assert "Mains voltage can kill" in said
    assert "belt stretched or perished" in said
    assert "not a diagnosis" in said


def test_what_is_counted_and_missing_is_told_of_a_unit(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a.yaml").write_text(FOLDER)
    assert run(["--data", str(tmp_path), "arrive", "U-1"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Before opening: U-1, Larkfield LK-40" in said
    assert said.index("slide switch oxidised: record switch") < said.index("What every bench checks")
    assert (
        said.count("common practice, no source") == 2
    )  # The title of that section, and the remark at the end.
    assert "counter belt, 1 of 2 (9 % to 91 %)" in said
    assert "counter belt: 1 of the units of its family" in said


def test_a_page_for_print_shows_texts_as_texts(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_text('- set: Quillon 31\n  market: "<script>alert(1)</script>"\n')
    assert run(["--data", str(tmp_path), "arrive", "Quillon 31", "-o", str(tmp_path / "a.html")]) == 0
    said = (tmp_path / "a.html").read_text()
    assert "<script>alert" not in said
    assert "A4" in said


def test_what_own_units_have_no_longer_whole_is_not_offered(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "a.yaml").write_text(FOLDER)
    assert run(["--data", str(tmp_path), "arrive", "Larkfield LK-40", "--markdown"]) == 0
    said = capsys.readouterr().out
    givers = said[said.index("Which own units could give it") :]
    assert "U-2, Orvanek 2200: counter belt (good)" in givers
    assert "missing" not in givers
    assert "perished" not in givers
