"""What a belt pulls: loads on the shafts, and the most before it slips, in N."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kgraph.belts import shapes
from kgraph.belts.runs import BeltRun, pulled

FRICTION = 0.5


@dataclass(frozen=True, slots=True)
class Load:
    """The pull of the belt on a shaft in N, as a vector and its magnitude."""

    x_n: float
    y_n: float

    @property
    def n(self) -> float:
        """The magnitude in N."""
        return math.hypot(self.x_n, self.y_n)


@dataclass(frozen=True, slots=True)
class MostPull:
    """The most that a belt pulls and the pull that the load needs, both in N."""

    limit_n: float
    range_n: tuple[float, float]
    needed_n: float | None


def most_pull_n(tension_n: float, friction: float, wrap_rad: float) -> float:
    """The most that a belt fitted with that tension pulls before it slips, in N.

    Between fixed shafts the tight side gains what the slack side loses, so T1 + T2 = 2 T; with
    T1/T2 = e^(μθ) the difference is 2 T tanh(μθ/2).
    """
    return 2 * tension_n * math.tanh(friction * wrap_rad / 2)


def shaft_loads(path: shapes.Path, tension_n: float) -> dict[str, Load]:
    """The pull of the two spans on each shaft, in N, the belt at the same tension all round."""
    loads: dict[str, Load] = {}
    for i, arc in enumerate(path.arcs):
        before, after = path.spans[i - 1].direction_rad, path.spans[i].direction_rad
        x = tension_n * (math.cos(after) - math.cos(before))
        y = tension_n * (math.sin(after) - math.sin(before))
        # A pulley that the belt meets twice is pulled by both.
        met = loads.get(arc.name, Load(0.0, 0.0))
        loads[arc.name] = Load(met.x_n + x, met.y_n + y)
    return loads


def most_pull(run: BeltRun, path: shapes.Path, tension: float, ends: tuple[float, float]) -> MostPull:
    """The most that the belt pulls over the smallest wrap that carries load, and the pull that is needed."""
    friction = FRICTION if run.friction is None else run.friction
    wrap = path.wraps_rad[least_wrapped(run, path)]
    low, high = (most_pull_n(end, friction, wrap) for end in ends)
    loaded = pulled(run)
    needed = None
    if run.pull_nm is not None and loaded is not None:
        # The torque in N m over the radius of the mid-line in m.
        radius_mm = path.arcs[[arc.name for arc in path.arcs].index(loaded.name)].radius_mm
        needed = run.pull_nm / (radius_mm / 1000)
    return MostPull(most_pull_n(tension, friction, wrap), (low, high), needed)


def least_wrapped(run: BeltRun, path: shapes.Path) -> str:
    """The pulley with the smallest wrap, of those that carry load.

    A pulley on the belt's back with no capstan, no drive and no recorded load turns freely: slip on it is
    no loss.
    """
    names = [
        p.name
        for p in run.pulleys
        if p.side == "inside" or p.drives or p.capstan_mm is not None or p is pulled(run)
    ]
    return min(names, key=lambda name: path.wraps_rad[name])
