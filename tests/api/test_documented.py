"""The examples of docs/python.md print what the page says."""

from __future__ import annotations

import doctest
import re
import shutil
from pathlib import Path

import pytest

from kgraph.api.folder import Folder
from tests.docs import README
from tests.support import DEMO, ROOT

PAGE = ROOT / "docs" / "python.md"


def test_every_example_of_the_page_prints_what_it_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(DEMO, tmp_path / "mine")
    monkeypatch.chdir(tmp_path)
    blocks = re.findall(r"^```python\n(.*?)^```$", PAGE.read_text(encoding="utf-8"), re.M | re.S)
    test = doctest.DocTestParser().get_doctest("\n".join(blocks), {}, PAGE.name, str(PAGE), 0)
    assert len(test.examples) > 30
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS)
    said: list[str] = []
    runner.run(test, out=said.append)
    assert not said, "".join(said)


def test_the_example_of_the_readme_prints_sets_with_their_proofs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(DEMO, tmp_path / "mine")
    monkeypatch.chdir(tmp_path)
    (block,) = re.findall(r"^```python\n(.*?)^```$", README.read_text(encoding="utf-8"), re.M | re.S)
    exec(compile(block, "README.md", "exec"), {})
    first = capsys.readouterr().out.splitlines()[0]
    assert first.startswith("Vessimorn 5510 0.93")
    assert "mine/single-yn1.yaml:24" in first


def test_every_method_is_on_the_page() -> None:
    page = PAGE.read_text(encoding="utf-8")
    public = [name for name in dir(Folder) if not name.startswith("_")]
    assert len(public) > 25
    assert [name for name in public if f"{name}(" not in page and f"`{name}`" not in page] == []
