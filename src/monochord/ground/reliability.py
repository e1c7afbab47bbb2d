"""Reliability: which readings check each other, how large a mistake stays hidden, and what it would do.

Everything here works with independent and with correlated readings, from two numbers of a reading that an
:class:`~monochord.ground.least_squares.Adjustment` keeps: its weighted residual p = (P v)_i and the information
m = (P Q_v P)_ii. For independent readings p = v / sigma^2 and m = redundancy / sigma^2.

A reading that no other checks has redundancy 0: its numbers are NaN (residual tests) or infinite (hidden mistakes), never 0.
Source of the chapter: Baarda 1968, A testing procedure for use in geodetic networks (from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.ground.faults import Fault, Refused
from monochord.ground.least_squares import Adjustment
from monochord.ground.statistics import (
    chi_square_quantile,
    detectable_shift,
    family_wise,
    normal_quantile,
    tau_quantile,
)

Array = NDArray[np.float64]

#: Part of a reading's own weight below which others do not check it; rounding leaves about 1e-14 for an exact zero.
UNCHECKED = 1e-9


def checked(adjustment: Adjustment) -> NDArray[np.bool_]:
    """Which readings are checked by others (n,).

    >>> from monochord.ground.least_squares import adjust
    >>> checked(adjust([[1, 0], [1, 0], [0, 1]], [1.0, 1.1, 5.0])).tolist()
    [True, True, False]
    """
    held: NDArray[np.bool_] = adjustment.information > UNCHECKED * adjustment.weight
    return held


def standardised_residuals(adjustment: Adjustment) -> Array:
    """Residuals over their own standard deviation (n,), w = p / sqrt(m); v / (sigma sqrt(r)) for independent readings.

    Standard normal when the given uncertainties are right. The square of w is the drop of omega when that reading is left out.

    >>> from monochord.ground.least_squares import adjust
    >>> standardised_residuals(adjust([[1.0], [1.0]], [0.0, 2.0], sigma=1.0)).round(6).tolist()
    [-1.414214, 1.414214]
    """
    m = np.where(checked(adjustment), adjustment.information, np.nan)
    numbers: Array = adjustment.weighted_residuals / np.sqrt(m)
    return numbers


def studentised_residuals(adjustment: Adjustment) -> Array:
    """Standardised residuals over the square root of the variance factor (n,): the tau of Pope 1976, at most sqrt(dof).

    >>> from monochord.ground.least_squares import adjust
    >>> studentised_residuals(adjust([[1.0], [1.0], [1.0]], [0.0, 0.0, 3.0])).round(6).tolist()
    [-0.707107, -0.707107, 1.414214]
    """
    numbers: Array = standardised_residuals(adjustment) / np.sqrt(adjustment.variance_factor)
    return numbers


def estimated_errors(adjustment: Adjustment) -> Array:
    """Mistake of each reading (n,), as the other readings estimate it, p / m; in the reading's unit.

    >>> from monochord.ground.least_squares import adjust
    >>> estimated_errors(adjust([[1.0], [1.0], [1.0]], [0.0, 0.0, 3.0])).round(6).tolist()
    [-1.5, -1.5, 3.0]
    """
    m = np.where(checked(adjustment), adjustment.information, np.nan)
    errors: Array = adjustment.weighted_residuals / m
    return errors


def detectable_errors(adjustment: Adjustment, *, level: float = 0.001, power: float = 0.80) -> Array:
    """Smallest mistake of each reading (n,) that its test finds, delta0 / sqrt(m); sigma delta0 / sqrt(r) when independent.

    level  of the test of one reading, two-sided;  power  with which the mistake is found
    In the reading's unit; infinite where no other reading checks it.

    >>> from monochord.ground.least_squares import adjust
    >>> detectable_errors(adjust([[1.0], [1.0]], [0.0, 0.0], sigma=10e-6)).round(8).tolist()
    [5.844e-05, 5.844e-05]
    """
    held = checked(adjustment)
    error = np.full(len(held), np.inf)
    error[held] = detectable_shift(level, power) / np.sqrt(adjustment.information[held])
    return error


def hidden_effects(adjustment: Adjustment, *, level: float = 0.001, power: float = 0.80) -> Array:
    """What the smallest mistake that is found does to the unknowns (u, n), gain times mistake: external reliability.

    A column of an unchecked reading is infinite where the reading has a part in the unknown.

    >>> from monochord.ground.least_squares import adjust
    >>> hidden_effects(adjust([[1.0], [1.0]], [0.0, 0.0], sigma=10e-6)).round(8).tolist()
    [[2.922e-05, 2.922e-05]]
    """
    error = detectable_errors(adjustment, level=level, power=power)
    finite = np.isfinite(error)
    effect = adjustment.gain * np.where(finite, error, 0.0)
    part = np.abs(adjustment.gain) > 1e-12 * np.abs(adjustment.gain).max(initial=0.0)
    effect[:, ~finite] = np.where(part[:, ~finite], np.inf, 0.0)
    return effect


@dataclass(frozen=True, slots=True)
class Suspect:
    """The reading that fits worst, when it fits too badly.

    index     its place among the readings, from 0;  statistic  |w| or |tau|;  critical  what a good one seldom exceeds
    error     its mistake as the others estimate it, in its unit
    """

    index: int
    statistic: float
    critical: float
    error: float


def suspect(adjustment: Adjustment, *, family_level: float = 0.05, noise_known: bool = True) -> Suspect | None:
    """The reading with the largest test number when that exceeds the critical value of the whole family, else None.

    family_level  probability that any of n good readings is suspected
    noise_known   True: w against the normal distribution; False: tau, the noise taken from this very adjustment

    Take out one reading at a time and adjust again: one mistake smears over its neighbours.

    >>> from monochord.ground.least_squares import adjust
    >>> suspect(adjust([[1.0]] * 4, [0.0, 0.1, 9.0, -0.1], sigma=1.0)).index
    2
    """
    numbers = standardised_residuals(adjustment) if noise_known else studentised_residuals(adjustment)
    size = np.abs(numbers)
    if not np.isfinite(size).any() or (not noise_known and adjustment.dof < 2):
        return None
    level = family_wise(family_level, int(np.isfinite(size).sum()))
    critical = normal_quantile(1.0 - level / 2.0) if noise_known else tau_quantile(level, adjustment.dof)
    worst = int(np.nanargmax(size))
    if size[worst] <= critical:
        return None
    return Suspect(worst, float(size[worst]), critical, float(estimated_errors(adjustment)[worst]))


@dataclass(frozen=True, slots=True)
class GlobalTest:
    """Whether the residuals are as large as the given uncertainties say: omega between two chi-square quantiles."""

    ok: bool
    omega: float
    lower: float
    upper: float
    dof: int


def global_test(omega: float, dof: int, *, level: float = 0.05) -> GlobalTest:
    """Two-sided test of the weighted square sum against chi-square; refused without redundancy.

    >>> global_test(20.5, 10).ok, round(global_test(20.5, 10).upper, 3)
    (False, 20.483)
    """
    if dof < 1:
        raise Refused([Fault("an adjustment without redundancy", "at least one redundant reading", "read more")])
    lower, upper = chi_square_quantile(level / 2.0, dof), chi_square_quantile(1.0 - level / 2.0, dof)
    return GlobalTest(lower <= omega <= upper, omega, lower, upper, dof)


def quadratic_form(difference: Array, cofactor: Array, *, tolerance: float = 1e-9) -> tuple[float, int]:
    """Square of a difference in units of its own uncertainty, and its rank: d' Q^+ d, chi-square with that many degrees.

    The congruence test of two occasions: with both in one datum of inner constraints Q is singular, and the answer is the same
    in every datum.  difference (n,);  cofactor (n, n) its covariance, singular or not

    >>> quadratic_form(np.array([3.0, -3.0]), np.array([[1.0, -1.0], [-1.0, 1.0]]))[1]
    1
    """
    unit = np.sqrt(np.maximum(np.diag(cofactor), 0.0))
    unit = np.where(unit > 0.0, unit, 1.0)
    value, vector = np.linalg.eigh(cofactor / np.outer(unit, unit))
    held = value > tolerance * max(value.max(initial=0.0), 1e-300)
    # Undo the scaling of the null space: only the part of d inside the range of Q can be measured in its unit.
    root = unit[:, None] * vector[:, held] * np.sqrt(value[held])
    along = np.linalg.lstsq(root, difference, rcond=None)[0]
    return float(along @ along), int(held.sum())


@dataclass(frozen=True, slots=True)
class GroupFactor:
    """Variance factor of one group of readings: 1 when its uncertainties are right; u its standard uncertainty."""

    factor: float
    redundancy: float
    u: float


def group_factors(adjustment: Adjustment, groups: Sequence[str]) -> dict[str, GroupFactor]:
    """Variance factor of each group of independent readings, sum v p / sum r over the group (Forstner 1979, from memory).

    groups  name of the group of each reading (n,). A group with no redundancy has factor NaN.
    u is sqrt(2 / redundancy) times the factor, for normal noise.

    >>> from monochord.ground.least_squares import adjust
    >>> round(group_factors(adjust([[1.0], [1.0]], [0.0, 2.0]), ["a", "a"])["a"].factor, 9)
    2.0
    """
    names = np.asarray(groups)
    found = {}
    for name in dict.fromkeys(groups):
        own = names == name
        r = float(adjustment.redundancy[own].sum())
        square = float(adjustment.residuals[own] @ adjustment.weighted_residuals[own])
        factor = square / r if r > UNCHECKED else float("nan")
        found[name] = GroupFactor(factor, r, factor * (2.0 / r) ** 0.5 if r > UNCHECKED else float("nan"))
    return found


def variance_components(
    solve: Callable[[Array], Adjustment],
    sigma: Array,
    groups: Sequence[str],
    *,
    rounds: int = 30,
    tolerance: float = 1e-3,
) -> tuple[Array, Adjustment, bool]:
    """Uncertainties scaled group by group until every group's variance factor is one.

    solve  sigma (n,) -> adjustment with it;  sigma  first guess (n,);  groups  name of the group of each reading (n,)
    Returns the scaled sigma, the last adjustment, and whether all factors came within ``tolerance`` of one. Groups without
    redundancy keep their sigma and are not judged; when no group has any, the answer is False.

    >>> from monochord.ground.least_squares import adjust
    >>> scaled, _, settled = variance_components(
    ...     lambda s: adjust([[1.0], [1.0]], [0.0, 2.0], sigma=s), np.ones(2), ["a", "a"]
    ... )
    >>> (scaled**2).round(9).tolist(), settled
    ([2.0, 2.0], True)
    """
    names = np.asarray(groups)
    scaled = np.array(sigma, float)
    for _ in range(rounds):
        adjustment = solve(scaled)
        factors = {name: g.factor for name, g in group_factors(adjustment, groups).items() if g.factor > 0.0}
        if not factors:
            return scaled, adjustment, False
        if all(abs(f - 1.0) <= tolerance for f in factors.values()):
            return scaled, adjustment, True
        for name, f in factors.items():
            scaled[names == name] *= np.sqrt(f)
    return scaled, solve(scaled), False
