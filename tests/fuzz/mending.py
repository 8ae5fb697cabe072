"""What a message names as the mend, done by somebody who follows it word by word.

Nothing here knows which fault was planted: only the message, its place, and the text.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from kgraph.problems import Problem

SAMPLE = "note 1"
"""What is written where a message says `...`."""


@dataclass(frozen=True, slots=True)
class Spot:
    """The line that a message names, and the character in it; both from 0."""

    lines: tuple[str, ...]
    row: int
    column: int

    @property
    def line(self) -> str:
        return self.lines[self.row]

    def with_line(self, *new: str) -> str:
        """The text with other lines in the place of this one."""
        return "\n".join([*self.lines[: self.row], *new, *self.lines[self.row + 1 :]])

    def with_token(self, new: str) -> str:
        """The text with another token at the character."""
        return self.with_line(self.line[: self.column] + new + self.line[self.token_end() :])

    def token_end(self) -> int:
        """Where the key, or the value, that begins at the character ends."""
        rest = self.line[self.column :]
        found = re.match(r'"[^"]*"|\'[^\']*\'|\[[^\]]*\]|\{[^}]*\}|[^:]+(?=:(?: |$))|.*', rest)
        return self.column + (found.end() if found else len(rest))


def mended(text: str, problem: Problem) -> str | None:
    """The text after what the message names; None where it names nothing that can be done so."""
    if problem.where is None:
        return None
    spot = Spot(tuple(text.split("\n")), problem.where.line - 1, problem.where.column - 1)
    for pattern, do in _WAYS:
        if match := re.search(pattern, problem.mend):
            return do(spot, match, problem)
    return None


Way = Callable[[Spot, "re.Match[str]", Problem], str | None]


def _token(spot: Spot, match: re.Match[str], problem: Problem) -> str:
    """What the message quotes as wrong, or else the whole token, becomes what it names as right."""
    rest = spot.line[spot.column :]
    quoted = re.search(r"'([^']+)'", problem.says)
    if quoted and quoted[1] in rest:
        return spot.with_line(spot.line[: spot.column] + rest.replace(quoted[1], match[1], 1))
    return spot.with_token(match[1])


def _whole_line(spot: Spot, match: re.Match[str], problem: Problem) -> str:
    begin = re.match(r" *(?:- +)?", spot.line)
    return spot.with_line((begin[0] if begin else "") + match[1])


def _taken_out(spot: Spot, match: re.Match[str], problem: Problem) -> str:
    """The word that the message quotes, or the character that it names by its number."""
    if word := re.match(r"(?:alias|anchor|tag) (\S+) refused", problem.says):
        return spot.with_line(spot.line.replace(f"{word[1]} ", "", 1).replace(word[1], "", 1))
    if problem.code == "name-character":
        return spot.with_line(re.sub(r"\\u[0-9a-fA-F]{4}", "", spot.line, count=1))
    return spot.with_line(spot.line[: spot.column] + spot.line[spot.column + 1 :])


def _double_backslash(spot: Spot, match: re.Match[str], problem: Problem) -> str:
    return spot.with_line(spot.line[: spot.column] + "\\" + spot.line[spot.column :])


def _line_out(spot: Spot, match: re.Match[str], problem: Problem) -> str:
    return spot.with_line()


def _indent_by_spaces(spot: Spot, match: re.Match[str], problem: Problem) -> str:
    return spot.with_line(re.sub(r"^[ \t]*", "  ", spot.line))


def _indent_as_above(spot: Spot, match: re.Match[str], problem: Problem) -> str:
    row = spot.row - 1
    while row and not re.match(r" *(?:- )?\S", spot.lines[row]):
        row -= 1
    above = re.match(r"(?: *- | *)", spot.lines[row])
    return spot.with_line(" " * len(above[0] if above else "") + spot.line.strip())


def _dash(spot: Spot, match: re.Match[str], problem: Problem) -> str:
    return spot.with_line("- " + spot.line.strip())


def _close(spot: Spot, match: re.Match[str], problem: Problem) -> str:
    closing = {"[": "]", "{": "}"}.get(spot.line[spot.column], spot.line[spot.column])
    return spot.with_line(spot.line.rstrip() + closing)


def _put_first(spot: Spot, match: re.Match[str], problem: Problem) -> str | None:
    key = match[1]
    for row in range(spot.row + 1, len(spot.lines)):
        if spot.lines[row].strip().startswith(f"{key}:"):
            lines = list(spot.lines)
            lines[row] = "  " + spot.line[2:]
            lines[spot.row] = "- " + spot.lines[row].strip()
            return "\n".join(lines)
    return None


def _add_key(spot: Spot, match: re.Match[str], problem: Problem) -> str:
    return spot.with_line(spot.line, f"  {match[1]}: {SAMPLE}")


def _key_value(spot: Spot, match: re.Match[str], problem: Problem) -> str:
    key, _, value = spot.line.strip().partition(" ")
    return spot.with_line(f"  {key}: {value}")


def _or_leave_out(spot: Spot, match: re.Match[str], problem: Problem) -> str:
    return spot.with_line(f"{spot.line.rstrip()} {SAMPLE}")


def _sample_list(spot: Spot, match: re.Match[str], problem: Problem) -> str:
    return spot.with_token(match[1])


_WAYS: tuple[tuple[str, Way], ...] = (
    (r"for a backslash", _double_backslash),
    (r"put quotes round it: (.*)$", _whole_line),
    (r"did you mean (.+?)(?: or .+)?\?", _token),
    (r"^put (\S+): first", _put_first),
    (r"^add ([a-z ]+): \.\.\.", _add_key),
    (r"^take it out", _taken_out),
    (r"keep one of the two", _line_out),
    (r"^write the keys themselves", _line_out),
    (r"indent with spaces", _indent_by_spaces),
    (r"indent it exactly as", _indent_as_above),
    (r"^(?:begin a new entry|start an entry) with '- '", _dash),
    (r"^close it", _close),
    (r"^write a value or leave the key out", _or_leave_out),
    (r"^write key: value", _key_value),
    (r"^write - KIND: NAME, for example - (set: )NAME", lambda s, m, p: s.with_token(f"{m[1]}{SAMPLE}")),
    (r"^write yes or no", lambda s, m, p: s.with_token("yes")),
    (r"^write one text", lambda s, m, p: s.with_token(SAMPLE)),
    (r"^(?:use one of|use|begin with one of) ([^,]+)", _token),
    (r"^write it like (.+?)(?:, (?!.* to )| or |, from|$)", _token),
    (r"^write (?:a whole number such as|a fraction like) (\S+)", _token),
    (r"^write (\[.*\]|\{.*\})", _token),
    (r"(?:above|from) \S+ (?:up )?to (\S+)", _token),
    (r"^write (.+?)(?: or .+)?$", _token),
    (r"(\d+) (?:are|is) the most", lambda s, m, p: s.with_line(s.line[: s.column + int(m[1])])),
    (r"a name needs one of them", lambda s, m, p: s.with_token(SAMPLE)),
)
"""What a mend says -> what is done for it; the first that is found counts."""
