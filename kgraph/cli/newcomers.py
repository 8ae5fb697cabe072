"""New names told before they are written; a place that is nearly a known one is asked about."""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Sequence

import click

from kgraph.api.adding import refuse_near, what_is_new
from kgraph.checks.newcomers import Newcomer
from kgraph.render.terminal import visible

CREATED = ("position", "part", "assembly")
"""Kinds of thing of which each new one is told, also where it has an entry of its own."""
MOST_LINES = 12
"""Of more new names of one kind that are like no other, all stand on one line."""


def told_in_bulk(found: Sequence[Newcomer]) -> list[Newcomer]:
    """Those of many new names that are told: places, parts, assemblies, and what is not declared."""
    return [n for n in found if n.kind in CREATED or not n.declared]


def tell(found: Sequence[Newcomer]) -> None:
    """Each new name with the nearest known one, on standard error."""
    alone: dict[str, list[str]] = defaultdict(list)
    for new in found:
        if new.near:
            print(visible(f"new {new.kind}: {new.name} (did you mean {new.near}?)"), file=sys.stderr)
        else:
            alone[new.kind].append(new.name)
    for kind, names in alone.items():
        lines = names if len(names) <= MOST_LINES else [f"({len(names)}) {', '.join(names)}"]
        for line in lines:
            print(visible(f"new {kind}: {line}"), file=sys.stderr)


def agreed(found: Sequence[Newcomer], yes: bool) -> bool:
    """Whether each new place that is nearly a known one is meant to be another.

    Raises WrongUse where nobody can be asked and `yes` was not said.
    """
    doubtful = [n for n in found if n.doubtful]
    if yes:
        for new in doubtful:
            says = (
                f"warning: {what_is_new(new)} is written as another place than {new.near}; `check` lists it"
            )
            print(visible(says), file=sys.stderr)
        return True
    if not sys.stdin.isatty():
        refuse_near(doubtful)
    return all(click.confirm(visible(f"is {what_is_new(n)} another place than {n.near}?")) for n in doubtful)
