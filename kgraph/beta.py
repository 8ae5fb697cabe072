"""The Beta distribution of a share of which so many of so many were counted."""

from __future__ import annotations

import math


def interval(found: int, looked: int) -> tuple[float, float]:
    """Where 95 % of a share lies of which `found` of `looked` were counted; all equally likely before."""
    a, b = found + 1, looked - found + 1
    return quantile(0.025, a, b), quantile(0.975, a, b)


def incomplete_beta(x: float, a: int, b: int) -> float:
    """The regularised incomplete beta function I_x(a, b) for whole a, b >= 1.

    As a binomial tail: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.5.24.
    """
    if x <= 0.0 or x >= 1.0:
        return 0.0 if x <= 0.0 else 1.0
    n = a + b - 1
    logs = (
        math.lgamma(n + 1)
        - math.lgamma(j + 1)
        - math.lgamma(n - j + 1)
        + j * math.log(x)
        + (n - j) * math.log1p(-x)
        for j in range(a, n + 1)
    )
    return min(1.0, math.fsum(math.exp(v) for v in logs))


def quantile(share: float, a: int, b: int) -> float:
    """The x with I_x(a, b) = share, by halving; good to the last digits of a float."""
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if incomplete_beta(middle, a, b) < share else (low, middle)
    return (low + high) / 2
