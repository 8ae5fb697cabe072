"""What every bench knows to go wrong: faults that hold for a place by its name, in any set.

Common practice, no source; nobody counted how often. Each of its entries has `fault`, `positions`, `signs`,
`check`, `cure` and `caution`.
"""

from __future__ import annotations

import os
from functools import cache
from typing import NamedTuple

from kgraph.names import Name, name
from kgraph.trade import SHOWN_AS

FILE = "faults/common.yaml"


class CommonFault(NamedTuple):
    """One fault, with the names of the places at which it is found."""

    fault: str
    positions: tuple[Name, ...]
    signs: tuple[str, ...]
    check: str
    cure: str
    cautions: tuple[str, ...]


@cache
def common() -> tuple[CommonFault, ...]:
    """All of them, read once."""
    from kgraph.folder import schema
    from kgraph.folder.reading import read_bytes
    from kgraph.problems import CannotRun

    with open(os.path.join(os.path.dirname(__file__), "common.yaml"), "rb") as stream:
        read = read_bytes(stream.read(), SHOWN_AS + FILE)
    if read.problems:
        raise CannotRun(*read.problems)
    return tuple(_common(dict(schema.pairs_of(node))) for node in read.entries)


def _common(said: dict[str, tuple[str, ...]]) -> CommonFault:
    def one(key: str) -> str:
        return said.get(key, ("",))[0]

    positions = tuple(name(p) for p in said["positions"])
    return CommonFault(
        one("fault"), positions, said["signs"], one("check"), one("cure"), said.get("caution", ())
    )
