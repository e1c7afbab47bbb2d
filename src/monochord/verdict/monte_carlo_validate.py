"""Whether the linear law would have done: its intervals and regions against those of a Monte Carlo run.

Source: JCGM 101:2008, clause 8; JCGM 102:2011, clause 8 (both from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.ground.estimate import Estimate
from monochord.verdict.monte_carlo import MonteCarlo
from monochord.verdict.monte_carlo_intervals import numerical_tolerance
from monochord.verdict.propagation_checks import wanted
from monochord.verdict.propagation_coverage import ellipsoid_factor, expanded

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class LinearCheck:
    """Differences between the linear law and the draws for m components.

    d_low, d_high    (m,) of the ends of the coverage intervals;  tolerance (m,) what they may be
    d_value, d_u     (m,) of values and standard uncertainties
    d_eigenvalue, d_factor   of the largest eigenvalue of the correlation matrix and of the ellipsoid's factor, with what
                     they may be; NaN for one component
    holds            (m,) whether both ends of a component agree;  holds_jointly  whether all of the second kind do
    words            the finding in a sentence
    """

    d_low: Array
    d_high: Array
    tolerance: Array
    d_value: Array
    d_u: Array
    d_eigenvalue: tuple[float, float]
    d_factor: tuple[float, float]
    holds: NDArray[np.bool_]
    holds_jointly: bool
    words: str


def check_linear(linear: Estimate, run: MonteCarlo, *, digits: int = 2, shortest: bool = False) -> LinearCheck:
    """Whether the linear law's intervals agree with the draws to the digits in which u is told.

    d_low = |y - U - y_low|,  d_high = |y + U - y_high|,  both at most half a unit of the last digit of u

    linear    y and u by the linear law, U with its own degrees of freedom at the run's coverage; m components with u > 0
    run       of the same components, settled to a fifth of the tolerance (``tighter=5``), or its own noise decides
    shortest  compare with the shortest intervals instead of the symmetric ones

    >>> from monochord.verdict.monte_carlo import monte_carlo
    >>> from monochord.verdict.monte_carlo_laws import drawer_of
    >>> x = Estimate.of([1.0], ["x"], unit="m", frame="girder", causes={"noise": np.array([[0.04]])})
    >>> run = monte_carlo(lambda d: d, drawer_of(x), np.random.default_rng(1), digits=1, tighter=5.0)
    >>> check_linear(x, run, digits=1).words
    'the linear law holds to 1 digits of u'
    """
    wanted(
        linear.value.shape == run.value.shape and bool((linear.u > 0.0).all()),
        f"{len(linear.value)} values by the linear law, {len(run.value)} drawn",
        "the same components, each with an uncertainty",
        "compare like with like",
    )
    reach = expanded(linear, run.coverage)
    low, high = (run.shortest_low, run.shortest_high) if shortest else (run.low, run.high)
    tolerance = np.array([numerical_tolerance(float(u), digits) for u in linear.u])
    d_low, d_high = np.abs(linear.value - reach - low), np.abs(linear.value + reach - high)
    d_value, d_u = np.abs(linear.value - run.value), np.abs(linear.u - run.u)
    holds = (d_low <= tolerance) & (d_high <= tolerance)
    eigenvalue, factor = _joint(linear, run, digits)
    joint = bool((d_value <= tolerance).all() and (d_u <= tolerance).all())
    joint = joint and all(not difference > allowed for difference, allowed in (eigenvalue, factor))
    failing = [name for name, good in zip(linear.names, holds, strict=True) if not good]
    words = f"the linear law holds to {digits} digits of u"
    if failing:
        words = (
            f"the linear law does not hold to {digits} digits of u for {', '.join(failing)}: use the drawn intervals"
        )
    return LinearCheck(d_low, d_high, tolerance, d_value, d_u, eigenvalue, factor, holds, joint, words)


def _joint(linear: Estimate, run: MonteCarlo, digits: int) -> tuple[tuple[float, float], tuple[float, float]]:
    m = len(linear.value)
    if m == 1 or not (run.u > 0.0).all():
        return (math.nan, math.nan), (math.nan, math.nan)
    ours, drawn = (np.linalg.eigvalsh(cov / np.outer(u, u)) for cov, u in ((linear.cov, linear.u), (run.cov, run.u)))
    factor = ellipsoid_factor(run.coverage, int((ours > 1e-10 * ours[-1]).sum()))
    return (
        (abs(float(ours[-1] - drawn[-1])), numerical_tolerance(float(ours[-1]), digits)),
        (abs(factor - run.ellipsoid), numerical_tolerance(factor, digits)),
    )
