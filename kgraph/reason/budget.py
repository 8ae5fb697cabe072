"""How much work a question may do: steps walked, nodes of a decision diagram, worlds drawn.

Work is counted, not timed, so that the same folder gives the same digits on every machine. The clock only
stops a question that would pass the longest time that any may take.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

SECONDS = 2.0
"""The time meant for weighing the answers of a question, unless `--seconds` says another."""
LONGEST_SECONDS = 8.0
"""No question is worked at for longer, whatever is asked of it; with a longer `--seconds`, that.

Of the ten seconds that a question may take in all, the rest is for opening the folder and for telling.
"""
TELLING_SECONDS = 3.0
"""So much of the longest time is left for telling what was found: tens of thousands of answers take two."""

_STATES = 40_000
"""The most states of one network: some 1 kB each."""
_STEPS_A_SECOND = 150_000
_NODES_A_SECOND = 120_000
"""Nodes of decision diagrams that a slow machine makes in a second of Python; others make 600,000."""
_TRIES_A_SECOND = 30_000
"""Ways that a search for best proofs looks at in a second."""
_DRAWS_A_SECOND = 500_000
"""Steps of a network that are followed in a second, each in a block of worlds at once."""


_SHARED = ("steps", "nodes", "tries", "draws")


@dataclass(slots=True)
class Budget:
    """What is left of the work that a question may do; shared by the networks that it makes.

    `clock`: the time in seconds, asked now and then; `None` where nothing may depend on it.
    """

    seconds: float = SECONDS
    clock: Callable[[], float] | None = None
    states: int = _STATES
    steps: int = 0
    nodes: int = 0
    tries: int = 0
    draws: int = 0
    ends: float = 0.0

    def __post_init__(self) -> None:
        self.steps = int(self.seconds * _STEPS_A_SECOND)
        self.nodes = int(self.seconds * _NODES_A_SECOND)
        self.tries = int(self.seconds * _TRIES_A_SECOND)
        self.draws = int(self.seconds * _DRAWS_A_SECOND)
        if self.clock is not None:
            self.ends = self.clock() + max(self.seconds, LONGEST_SECONDS)

    def within(self, other: Budget) -> Budget:
        """This, ended when another ends at the latest."""
        self.ends = min(self.ends, other.ends)
        return self

    @contextmanager
    def share(self, parts: int) -> Iterator[Budget]:
        """One of so many shares of what is left, for one question; what that leaves is there for the next."""
        share = self._part(parts)
        yield share
        self._spent(share, parts)

    def _part(self, parts: int) -> Budget:
        share = Budget(self.seconds)
        share.clock, share.ends = self.clock, self.ends
        for name in _SHARED:
            setattr(share, name, getattr(self, name) // parts)
        return share

    def _spent(self, share: Budget, parts: int) -> None:
        for name in _SHARED:
            left = getattr(self, name)
            setattr(self, name, left - (left // parts - getattr(share, name)))

    @property
    def now(self) -> float:
        """The time by the clock; 0 without one."""
        return self.clock() if self.clock is not None else 0.0

    @property
    def late(self) -> bool:
        """Whether what is left of the longest time is needed to tell what was found."""
        return self.late_in(0.0)

    def late_in(self, seconds: float) -> bool:
        """Whether it will be so after some more seconds."""
        return self.clock is not None and self.clock() + seconds > self.ends - TELLING_SECONDS

    @property
    def over(self) -> bool:
        """Whether the longest time is up."""
        return self.clock is not None and self.clock() > self.ends
