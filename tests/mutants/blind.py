"""Tests that run and check nothing: a harness that lets them pass for tests is broken."""

from __future__ import annotations

from kgraph.exchange import cells, terms
from kgraph.folder import plain, reading, writing


def test_nothing() -> None:
    data = b"- set: Arden 12\n  also: [A 12, 'B']\n"
    plain.entries(data)
    reading.by_yaml(data, "a.yaml")
    writing.entry_text([("set", "Arden: 12")])
    cells.cell_of("set", "=1", True)
    terms.literal('"')
