"""Charts of single values in time order: natural limits, runs, and trends.

Sources: Shewhart, W. A. (1931); ISO 7870-2:2013 (limits from moving ranges, names of the chart); Western Electric (1956)
(rules of runs); NIST/SEMATECH e-Handbook of statistical methods, 6.3.2.2 and 6.3.2. All from memory; the factor is derived below.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from monochord.campaign.found.charts import Limits, Signal, Trend

Array = NDArray[np.float64]

#: Mean of the range of two normal values in standard deviations, 2 / sqrt(pi) = 1.128; derived.
RANGE_OF_TWO = 2.0 / math.sqrt(math.pi)
#: Three standard deviations in mean moving ranges: 2.66.
FACTOR = 3.0 / RANGE_OF_TWO
#: Fewer values than these give no limits, or no trend.
FEWEST, FEWEST_TREND = 3, 4
#: Values in a row on one side of the centre that count as a shift.
RUN = 8

BEYOND = "beyond the limits"
TWO_OF_THREE = "2 of 3 beyond two thirds of the limit"
FOUR_OF_FIVE = "4 of 5 beyond a third of the limit"
ONE_SIDE = f"{RUN} in a row on one side"


def natural_limits(values: Array) -> Limits | None:
    """Centre and limits of a chart of single values with moving ranges.

    centre = mean(x),  limits = centre -+ 3 / d2 * mean |x_i - x_(i-1)|,  d2 = 2 / sqrt(pi), so 3 / d2 = 2.66

    values (n,) in time order, any unit. None below three values. The limits are those of a process at rest: the moving
    range is of neighbours, so a slow drift or a shift does not widen them. Zero ranges give limits of no width.

    >>> found = natural_limits(np.array([1.0, 3.0, 2.0, 4.0]))
    >>> found.centre, round(found.moving_range, 4), round(found.low, 2), round(found.high, 2)
    (2.5, 1.6667, -1.93, 6.93)
    >>> natural_limits(np.array([1.0, 2.0])) is None
    True
    """
    if len(values) < FEWEST:
        return None
    centre, width = float(values.mean()), float(np.abs(np.diff(values)).mean())
    return Limits(centre, centre - FACTOR * width, centre + FACTOR * width, width)


def signals(values: Array, limits: Limits | None) -> tuple[Signal, ...]:
    """Values that a process at rest seldom gives, each with the first rule that it breaks, in time order.

    Rules of Western Electric (1956): one beyond three standard deviations; two of three beyond two on the same side; four
    of five beyond one on the same side; eight in a row on one side. The value that completes a rule is named.

    >>> [s.rule for s in signals(np.array([0.0, 1.0, 0.0, 9.0]), Limits(0.0, -3.0, 3.0, 1.0))]
    ['beyond the limits']
    """
    if limits is None:
        return ()
    sigma = (limits.high - limits.centre) / 3.0
    away = values - limits.centre
    broken: dict[int, str] = {}
    for rule, hits in ((BEYOND, _beyond(away, 3.0 * sigma)), *_runs(away, sigma)):
        for place in np.flatnonzero(hits):
            broken.setdefault(int(place), rule)
    return tuple(Signal(place, broken[place]) for place in sorted(broken))


def _beyond(away: Array, width: float) -> NDArray[np.bool_]:
    found: NDArray[np.bool_] = np.abs(away) > width * (1.0 + 1e-9)  # a value on its limit is not beyond it by rounding
    return found


def _runs(away: Array, sigma: float) -> list[tuple[str, NDArray[np.bool_]]]:
    rules = ((TWO_OF_THREE, 3, 2, 2.0 * sigma), (FOUR_OF_FIVE, 5, 4, sigma), (ONE_SIDE, RUN, RUN, 0.0))
    found = []
    for name, of, wanted, width in rules:
        hits = np.zeros(len(away), dtype=np.bool_)
        for side in (away, -away):
            there = side > width
            counted = np.convolve(there, np.ones(of), "full")[: len(away)]
            hits |= there & (counted >= wanted)
        found.append((name, hits))
    return found


def trend(years: Array, values: Array) -> Trend | None:
    """Slope of a straight line through values in time, by least squares with equal weights.

    b = sum (t - mean t)(x - mean x) / sum (t - mean t)^2,  u(b) = s / sqrt(sum (t - mean t)^2),  s^2 = sum r^2 / (n - 2);
    the probability is that of |b| / u(b) or more by Student's law with n - 2 degrees of freedom.

    years (n,) [year];  values (n,). The scatter is taken from the values themselves, so that what a stated u leaves out is
    in it; values are taken as independent. None below four values, and where all lie at one time.

    >>> t = trend(np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 1.1, 1.9, 3.0]))
    >>> round(t.slope, 3), round(t.u, 4), t.dof, round(t.probability, 5)
    (0.98, 0.0424, 2, 0.00187)
    """
    n = len(values)
    if n < FEWEST_TREND:
        return None
    if np.ptp(values) <= 1e-12 * np.abs(values).max():  # all the same, but for rounding, of which no slope may come
        return Trend(0.0, 0.0, n - 2, 1.0) if np.ptp(years) > 0.0 else None
    t = years - years.mean()
    spread = float(t @ t)
    if spread <= 0.0:
        return None
    slope = float(t @ values) / spread
    left = values - values.mean() - slope * t
    u = math.sqrt(float(left @ left) / (n - 2) / spread)
    if u == 0.0:
        return Trend(slope, 0.0, n - 2, 1.0 if slope == 0.0 else 0.0)
    return Trend(slope, u, n - 2, 2.0 * float(stdtr(n - 2, -abs(slope) / u)))


def significant(probabilities: Sequence[float], risk: float) -> tuple[bool, ...]:
    """Which of many probabilities are too small for chance, so that all together err with no more than the risk.

    Holm, S. (1979), from memory: the smallest must be below risk / n, the next below risk / (n - 1), and so on.

    >>> significant([0.001, 0.04, 0.5], 0.05)
    (True, False, False)
    """
    order = sorted(range(len(probabilities)), key=lambda i: probabilities[i])
    found = [False] * len(probabilities)
    for rank, i in enumerate(order):
        if probabilities[i] >= risk / (len(order) - rank):
            break
        found[i] = True
    return tuple(found)
