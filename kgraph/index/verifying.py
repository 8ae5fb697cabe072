"""An index row for row against what the files say now."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator
from typing import Any

from kgraph.index.store import Store
from kgraph.problems import Damaged

OF_ITS_MAKING = frozenset({"version", "token", "stamps"})
"""Rows that say how an index was made, not what the files say."""


def differences(opened: Store, expected: Iterable[tuple[str, Any]]) -> Iterator[tuple[str, str]]:
    """Of each row its key and what is wrong with it, "" where nothing is; rows too many come last.

    Raises Damaged where the index cannot even list its rows.
    """
    keys = set()
    for key, value in expected:
        keys.add(key)
        yield key, _fault(opened, key, json.loads(json.dumps(value)))
    for key in sorted(_keys(opened) - keys - OF_ITS_MAKING):
        yield key, "stands for nothing in the files"


def _fault(opened: Store, key: str, value: Any) -> str:
    try:
        found = opened.get(key)
    except Damaged:
        return "is torn"
    if found is None and value is not None:
        return "is missing"
    return "" if found == value else "says something else than the files"


def _keys(opened: Store) -> set[str]:
    try:
        mine = {key for (key,) in opened.base.execute("SELECT key FROM row")}
    except (sqlite3.Error, UnicodeError):
        raise Damaged from None
    # A newer row of nothing stands for one that is gone.
    return {k for k in mine | opened.over.keys() if k not in opened.over or opened.over[k] is not None}
