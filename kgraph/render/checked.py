"""What `check` found, for a person: the serious things first, of the rest what a screen holds, the counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from kgraph.problems import Problem
from kgraph.render.terminal import visible_lines

MOST_WARNINGS = 40
"""So many warnings are printed unless all are asked for."""

_HURTS = ("must-match-missing",)
_CHANGES_ANSWERS = (
    *(
        "conflict",
        "fact-and-refuses",
        "two-originals",
        "told-otherwise",
        "same-but-differ",
        "unclear-condition",
    ),
    *("uses-circle", "replaces-circle", "unknown-withdraw", "wrong-trust", "says-nothing", "hash-cuts"),
    *("lengths-disagree", "belt-sizes", "belt-outside-window", "order-of-events", "given-spoilt", "not-owed"),
    *("stock-used-up", "unknown-set", "unknown-place"),
)
_INCOMPLETE = ("undeclared", "no-evidence", "no-type", "unused")
_LATE = 10_000
_RANKS = {code: rank for rank, code in enumerate((*_HURTS, *_CHANGES_ANSWERS))} | {
    code: _LATE + rank for rank, code in enumerate(_INCOMPLETE)
}
"""Sort of warning -> how early it is told: what can hurt, what changes answers, slips, what is not said."""


def most_serious_first(warnings: Sequence[Problem]) -> list[Problem]:
    """The warnings in the order in which they are told; those of one sort as they stand in the files."""
    return sorted(warnings, key=lambda p: _RANKS.get(p.code, len(_RANKS)))


def warnings_text(warnings: Sequence[Problem], every: bool) -> str:
    """The warnings, the first of them unless every one is asked for."""
    told = most_serious_first(warnings)
    shown = told if every else told[:MOST_WARNINGS]
    lines = [visible_lines(_as_warning(problem)) for problem in shown]
    if len(shown) < len(told):
        lines.append(f"{count(len(told) - len(shown), 'more warning')}; --all shows all")
    return "".join(f"{line}\n" for line in lines)


def _as_warning(problem: Problem) -> str:
    text = f"{problem.says}; {problem.mend}" if problem.mend else problem.says
    return f"{problem.where}: warning: {text}" if problem.where else f"warning: {text}"


def counts_text(entries: int, errors: Sequence[Problem], warnings: Sequence[Problem]) -> str:
    """How many of each sort there are, and in all."""
    sorts = [
        f"{what}: {_by_sort(those)}\n"
        for what, those in (("errors", errors), ("warnings", warnings))
        if those
    ]
    whole = ", ".join((count(len(errors), "error"), count(len(warnings), "warning")))
    return "".join([*sorts, f"{count(entries, 'entry', 'entries')}: {whole}\n"])


def _by_sort(problems: Sequence[Problem]) -> str:
    counts = Counter(p.code for p in most_serious_first(problems))
    return ", ".join(f"{number} {code}" for code, number in counts.most_common())


def count(number: int, one: str, many: str = "") -> str:
    """1 error, 2 errors."""
    return f"{number} {one if number == 1 else many or f'{one}s'}"
