"""What changes in an answer when a fact is supposed or left out. Compares two answers, and asks nothing."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kgraph.questions import Answer, Row


@dataclass(frozen=True, slots=True)
class ChangedRows:
    """Rows gained and lost, and those that differ as (before, after)."""

    gained: tuple[Row, ...] = ()
    lost: tuple[Row, ...] = ()
    different: tuple[tuple[Row, Row], ...] = ()


def compare(before: Answer, after: Answer) -> ChangedRows:
    """How the rows of one answer differ from those of another to the same question."""
    old = {_key(r): r for r in before.rows}
    new = {_key(r): r for r in after.rows}
    return ChangedRows(
        tuple(r for k, r in new.items() if k not in old),
        tuple(r for k, r in old.items() if k not in new),
        tuple((old[k], r) for k, r in new.items() if k in old and _differ(old[k], r)),
    )


def _key(row: Row) -> tuple[str, str, str, str]:
    return (row.wanted, row.assembly, row.set, row.position)


def _differ(one: Row, other: Row) -> bool:
    if (one.standing, one.parts, one.warnings) != (other.standing, other.parts, other.warnings):
        return True
    pairs = [(one.certainty, other.certainty), (one.best, other.best), (one.no, other.no)]
    return not all(math.isclose(a, b, rel_tol=1e-12, abs_tol=1e-15) for a, b in pairs)
