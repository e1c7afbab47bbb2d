"""Intervals and regions of a cloud of draws, and the accuracy to which they are wanted.

Source: JCGM 101:2008, clauses 7.7 and 7.9.2; JCGM 102:2011, 7.7 (both from memory).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from monochord.verdict.propagation_checks import share_wanted, wanted

Array = NDArray[np.float64]


def numerical_tolerance(u: float, digits: int = 2) -> float:
    """Half a unit of the last of the significant digits in which a standard uncertainty is told.

    u = c 10^l with c a whole number of so many digits; tolerance 10^l / 2

    >>> numerical_tolerance(0.000_35, 2), numerical_tolerance(0.35, 1), numerical_tolerance(0.0996, 2)
    (5e-06, 0.05, 0.005)
    """
    wanted(u > 0.0 and math.isfinite(u), f"u = {u:g}", "more than 0", "a constant outcome needs no draws")
    wanted(digits >= 1, f"{digits} digits", "1 or 2 digits", "ask for one digit or two")
    power = int(
        f"{u:.{digits - 1}e}".split("e")[1]
    )  # after rounding: 0.0996 to two digits is 0.10, so its unit is 0.01
    return 0.5 * 10.0 ** (power - digits + 1)


def _count(size: int, p: float) -> int:
    share_wanted("coverage", p)
    inside = math.floor(p * size + 0.5)
    wanted(inside < size, f"{size} draws", f"more than {1 / (1 - p):.0f} for {100 * p:g} %", "draw more")
    return inside


def symmetric_interval(sorted_draws: Array, p: float) -> tuple[Array, Array]:
    """Interval with probability (1 - p) / 2 left on either side: low and high (m,).

    sorted_draws  (n,) or (n, m), each column rising

    >>> [float(end) for end in symmetric_interval(np.arange(1.0, 101.0), 0.90)]
    [5.0, 95.0]
    """
    inside = _count(len(sorted_draws), p)
    first = max((len(sorted_draws) - inside + 1) // 2, 1)
    return sorted_draws[first - 1], sorted_draws[first + inside - 1]


def shortest_interval(sorted_draws: Array, p: float) -> tuple[Array, Array]:
    """The shortest interval that holds the part p of the draws: low and high (m,).

    The law's peak may leave its ends loose by more than those of the symmetric interval: they wander along a flat bottom.
    sorted_draws  (n,) or (n, m), each column rising

    >>> [float(end) for end in shortest_interval(np.array([0.0, 1.0, 1.1, 1.2, 5.0]), 0.4)]
    [1.0, 1.2]
    """
    inside = _count(len(sorted_draws), p)
    widths = sorted_draws[inside:] - sorted_draws[: len(sorted_draws) - inside]
    first = np.argmin(widths, axis=0)
    if sorted_draws.ndim == 1:
        return sorted_draws[first], sorted_draws[first + inside]
    columns = np.arange(sorted_draws.shape[1])
    return sorted_draws[first, columns], sorted_draws[first + inside, columns]


def cloud_factors(draws: Array, p: float) -> tuple[float, float]:
    """Factors of the ellipsoid and of the rectangle about the mean that hold the part p of a cloud.

    ellipsoid  (y - mean)' U^-1 (y - mean) <= k^2, U the covariance of the draws (directions without spread are left out)
    rectangle  |y_i - mean_i| <= k u_i for all i (components without spread are left out)

    draws  (n, m)

    >>> round(cloud_factors(np.linspace(-1.0, 1.0, 2001)[:, None], 0.95)[1], 3)
    1.644
    """
    inside = _count(len(draws), p)
    about = draws - draws.mean(axis=0)
    u = about.std(axis=0, ddof=1)
    moving = u > 0.0
    if not moving.any():
        return 0.0, 0.0
    scaled = about[:, moving] / u[moving]
    values, vectors = np.linalg.eigh(scaled.T @ scaled / (len(draws) - 1.0))
    held = values > 1e-10 * values[-1]
    square = (((scaled @ vectors[:, held]) ** 2) / values[held]).sum(axis=1)
    largest = np.abs(scaled).max(axis=1)
    at = inside - 1
    return math.sqrt(np.partition(square, at)[at]), float(np.partition(largest, at)[at])
