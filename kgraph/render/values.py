"""Recorded values as text."""

from __future__ import annotations

from kgraph import records


def value_text(value: records.Value) -> str:
    """A recorded value on one line."""
    if isinstance(value, str):
        return value
    if isinstance(value, tuple):
        return ", ".join(value_text(v) for v in value)
    return ", ".join(f"{k}: {value_text(v)}" for k, v in value.items())
