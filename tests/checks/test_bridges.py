"""One guess that alone joins two large groups is told; a second fact, or a certain one, makes it none."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.support import ask, folder_with


def family(first: int, size: int) -> str:
    """A family of so many sets in a row, by printed facts."""
    pairs = ((n, n + 1) for n in range(first, first + size - 1))
    return "".join(f"- rebadge: [Norvane {a}, Norvane {b}]\n  how: printed\n" for a, b in pairs)


def told(tmp_path: Path, capsys: Any, text: str) -> list[str]:
    folder = folder_with(tmp_path, [("facts.yaml", text)])
    _, found = ask(capsys, "--data", str(folder), "check")
    return [w["says"] for w in found["warnings"] if w["code"] == "weak-bridge"]


BRIDGE = "- rebadge: [Norvane 105, Norvane 205]\n  how: {}\n"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (family(101, 20) + family(201, 24) + BRIDGE.format("guess"), ["joins 20 sets with 24"]),
        (family(101, 19) + family(201, 24) + BRIDGE.format("guess"), []),
        (family(101, 20) + family(201, 24) + BRIDGE.format("printed"), []),
        (
            family(101, 20)
            + family(201, 24)
            + BRIDGE.format("guess")
            + "- rebadge: [Norvane 110, Norvane 210]\n  how: guess\n",
            [],
        ),
    ],
    ids=["one guess", "a small group", "a printed fact", "two guesses"],
)
def test_a_weak_bridge(tmp_path: Path, capsys: Any, text: str, said: list[str]) -> None:
    found = told(tmp_path, capsys, text)
    assert len(found) == len(said)
    assert all(part in line for part, line in zip(said, found, strict=True))


def test_parts_that_are_one_by_a_guess(tmp_path: Path, capsys: Any) -> None:
    def row(first: int) -> str:
        return "".join(f"- same: [K-{n}, K-{n + 1}]\n  how: printed\n" for n in range(first, first + 21))

    text = row(100) + row(200) + "- same: [K-100, K-200]\n  how: guess\n"
    assert ["joins 22 parts with 22" in line for line in told(tmp_path, capsys, text)] == [True]
