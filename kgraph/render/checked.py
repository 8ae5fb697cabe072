"""What `check` found, for a person: the serious things first, of the rest what a screen holds, the counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from kgraph.problems import Problem
from kgraph.render.terminal import table, visible_lines

MOST_WARNINGS = 10
"""So many warnings are printed unless all are asked for."""

_HURTS = ("must-match-missing", "mains-ways")
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
    *("stock-used-up", "unknown-set", "unknown-place", "ditto", "weak-bridge", "near-name"),
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


def problems_text(errors: Sequence[Problem], warnings: Sequence[Problem], every: bool) -> str:
    """The errors, then the warnings, the first of them unless every one is asked for; each with its word."""
    told = most_serious_first(warnings)
    shown = told if every else told[:MOST_WARNINGS]
    lines = [visible_lines(as_line(problem)) for problem in (*errors, *shown)]
    if len(shown) < len(told):
        lines.append(f"{count(len(told) - len(shown), 'more warning')}; --all shows all")
    return "".join(f"{line}\n" for line in lines)


def as_line(problem: Problem) -> str:
    """A problem with its place and its word, error or warning."""
    text = f"{problem.says}; {problem.mend}" if problem.mend else problem.says
    return f"{problem.where}: {problem.severity}: {text}" if problem.where else f"{problem.severity}: {text}"


def summary(problems: Sequence[Problem]) -> list[dict[str, str | int]]:
    """How many there are of each sort in each file, the serious sorts first."""
    errors = [p for p in problems if p.severity == "error"]
    warnings = most_serious_first([p for p in problems if p.severity == "warning"])
    counts = Counter((p.severity, p.code, p.where.file if p.where else "") for p in (*errors, *warnings))
    return [{"is": word, "sort": code, "file": file, "number": n} for (word, code, file), n in counts.items()]


def summary_text(problems: Sequence[Problem], terminal: bool) -> str:
    """The same as two tables, by sort and by file, and the problems that matter most."""
    rows = summary(problems)
    by_sort: dict[tuple[str, str], Counter[str]] = {}
    by_file: dict[str, Counter[str]] = {}
    for row in rows:
        word, sort, file, number = str(row["is"]), str(row["sort"]), str(row["file"]), int(row["number"])
        by_sort.setdefault((word, sort), Counter())[file] += number
        by_file.setdefault(file, Counter())[word] += number
    sorts = [[w, s, str(f.total()), count(len(f), "file")] for (w, s), f in by_sort.items()]
    files = sorted(by_file.items(), key=lambda f: (-f[1]["error"], -f[1]["warning"], f[0]))
    errors = [p for p in problems if p.severity == "error"]
    first = [*errors, *most_serious_first([p for p in problems if p.severity == "warning"])]
    return "".join(
        (
            *(f"{visible_lines(as_line(p))}\n" for p in first[:MOST_WARNINGS]),
            table(("", "sort", "number", "in"), sorts, terminal),
            table(
                ("file", "errors", "warnings"),
                [[f or "-", str(c["error"]), str(c["warning"])] for f, c in files],
                terminal,
            ),
        )
    )


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
