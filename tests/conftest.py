"""What holds for every test: its indexes are its own, never those of who runs it."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def _own_cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """One cache folder for the whole run."""
    monkeypatch.setenv("KGRAPH_CACHE", str(Path(tmp_path_factory.getbasetemp()) / "kgraph-cache"))
