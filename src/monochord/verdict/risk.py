"""A value against limits on one or both sides: probability of conformity, specific risk, capability of the measurement.

``conformity`` holds the plain question, a value within +- one limit. Here the limits may be one-sided or not
about zero, and u may have few degrees of freedom. Source: JCGM 106:2012, clause 7 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.special import stdtr

from monochord.ground.statistics import normal_probability
from monochord.verdict.propagation_checks import spread_wanted, wanted


@dataclass(frozen=True, slots=True)
class Limits:
    """Tolerance limits, SI; infinite on a side that has none.

    >>> Limits.about_zero(30e-6).upper, Limits(upper=2.0).lower
    (3e-05, -inf)
    """

    lower: float = -math.inf
    upper: float = math.inf

    def __post_init__(self) -> None:
        some = math.isfinite(self.lower) or math.isfinite(self.upper)
        wanted(
            some and self.lower < self.upper,
            f"limits {self.lower:g} to {self.upper:g}",
            "a lower limit below the upper one, one of them finite",
            "give the tolerance as its two ends",
        )

    @classmethod
    def about_zero(cls, limit: float) -> Limits:
        """Limits -limit and +limit."""
        return cls(-limit, limit)

    @property
    def finite(self) -> tuple[float, ...]:
        """The limits that there are."""
        return tuple(end for end in (self.lower, self.upper) if math.isfinite(end))

    def hold(self, value: float) -> bool:
        """Whether a value lies within, ends included."""
        return self.lower <= value <= self.upper


def probability_conforming(value: float, u: float, limits: Limits, *, dof: float = math.inf) -> float:
    """Probability that the truth lies within the limits when nothing but the reading is known of it.

    p = F((upper - y) / u) - F((lower - y) / u), F normal, or Student's with the degrees of freedom of u

    value, u  reading and its standard uncertainty, unit of the limits; u = 0 gives 0 or 1; an unknown value (NaN) gives NaN

    >>> round(probability_conforming(-5.47, 0.05, Limits(upper=-5.40)), 3)
    0.919
    """
    if math.isnan(value):
        return math.nan
    if spread_wanted(u) == 0.0:
        return float(limits.hold(value))
    low, high = (limits.lower - value) / u, (limits.upper - value) / u
    if low > 0.0:  # both tails above: the difference of the mirrored ones keeps its digits
        low, high = -high, -low
    return _below(high, dof) - _below(low, dof)


def _below(z: float, dof: float) -> float:
    if math.isinf(dof) or math.isinf(z):
        return normal_probability(z)
    return float(stdtr(dof, z))


@dataclass(frozen=True, slots=True)
class SpecificRisk:
    """What is risked by a decision on one item, given its reading.

    accepting  that it does not conform although accepted (consumer's);  rejecting  that it conforms although rejected (producer's)
    """

    accepting: float
    rejecting: float


def specific_risk(value: float, u: float, limits: Limits, *, dof: float = math.inf) -> SpecificRisk:
    """Consumer's and producer's risk of deciding on this very item.

    accepting = 1 - p,  rejecting = p,  p of ``probability_conforming``

    >>> risk = specific_risk(27e-6, 2e-6, Limits.about_zero(30e-6))
    >>> round(risk.accepting, 4), round(risk.rejecting, 4)
    (0.0668, 0.9332)
    """
    p = probability_conforming(value, u, limits, dof=dof)
    return SpecificRisk(1.0 - p, p)


def capability(u: float, limits: Limits) -> float:
    """Measurement capability index C_m = (upper - lower) / (4 u): how well the measurement can decide at all.

    Needs both limits. Source: JCGM 106:2012, 7.6.3 (from memory).

    >>> round(capability(0.04, Limits(-0.2, 0.2)), 9)
    2.5
    """
    width = limits.upper - limits.lower
    wanted(math.isfinite(width) and u > 0.0, f"width {width:g}, u {u:g}", "two limits and u > 0", "name both limits")
    return width / (4.0 * u)
