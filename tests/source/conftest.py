"""Indexes that a test opened are closed after it: what was fetched from one holds it open by a cycle."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from kgraph.index.store import Store


@pytest.fixture(autouse=True)
def closed_indexes(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    opened: list[Store] = []
    begin = Store.__init__

    def noted(self: Store, path: str) -> None:
        begin(self, path)
        opened.append(self)

    monkeypatch.setattr(Store, "__init__", noted)
    yield
    for store in opened:
        store.close()
