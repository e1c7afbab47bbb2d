"""Decision rules: where a reading is accepted, where it is rejected, and where nothing can be decided.

Every rule says in words what it is, so that an acceptance without a guard band is never mistaken for one with it.
Source: JCGM 106:2012, clause 8; ISO 14253-1:2017 (both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from monochord.campaign.found.verdict import CANNOT_BE_DECIDED, CONFORMS, DOES_NOT_CONFORM
from monochord.ground.statistics import student_quantile
from monochord.verdict.propagation_checks import share_wanted, spread_wanted, wanted
from monochord.verdict.risk import Limits, probability_conforming
from monochord.verdict.risk_numerics import root

#: How simple acceptance is said wherever it is the rule.
SIMPLE_WORDS = "simple acceptance, no guard band: of those at the limit about half are wrongly accepted"


@dataclass(frozen=True, slots=True)
class Rule:
    """A decision rule for readings against limits.

    limits   the tolerance;  accept  readings that are accepted, None when none can be
    reject   readings below reject[0] or above reject[1] are said not to conform
    words    the rule as people say it
    """

    limits: Limits
    accept: Limits | None
    reject: tuple[float, float]
    words: str

    @property
    def guards(self) -> tuple[float, float]:
        """Width of the guard band inside the lower and the upper limit; NaN where nothing is accepted, 0 where no limit is."""
        if self.accept is None:
            return math.nan, math.nan
        lower = self.accept.lower - self.limits.lower if math.isfinite(self.limits.lower) else 0.0
        upper = self.limits.upper - self.accept.upper if math.isfinite(self.limits.upper) else 0.0
        return lower, upper

    def judge(self, value: float) -> str:
        """One of the three verdicts; an unknown value (NaN) cannot be decided."""
        if self.accept is not None and self.accept.hold(value):
            return CONFORMS
        if value < self.reject[0] or value > self.reject[1]:
            return DOES_NOT_CONFORM
        return CANNOT_BE_DECIDED


def simple_acceptance(limits: Limits) -> Rule:
    """Readings within the limits are accepted, all others rejected: no guard band, half the risk each at the limit.

    >>> simple_acceptance(Limits.about_zero(30e-6)).judge(29.9e-6)
    'conforms'
    """
    return Rule(limits, limits, (limits.lower, limits.upper), SIMPLE_WORDS)


def guarded(limits: Limits, u: float, factor: float) -> Rule:
    """Guard bands of factor times u on either side of each limit.

    >>> rule = guarded(Limits.about_zero(100e-6), 12e-6, 1.65)
    >>> round(rule.accept.upper * 1e6, 3), rule.judge(90e-6), rule.words
    (80.2, 'cannot be decided', 'guard band of 1.65 u on either side of the limit')
    """
    wanted(factor >= 0.0, f"guard factor {factor:g}", "0 or more", "give the factor of u")
    guard = factor * spread_wanted(u)
    return _banded(limits, guard, guard, f"guard band of {factor:.2f} u on either side of the limit")


def relaxed(limits: Limits, u: float, factor: float) -> Rule:
    """Guard bands of factor times u OUTSIDE the limits: rejected is only what is proven beyond one, all else is accepted.

    It keeps the producer's risk; the consumer bears the other one, and the words say so. Nothing is left undecided.
    Source: JCGM 106:2012, 8.3.3, guarded rejection (from memory).

    >>> rule = relaxed(Limits.about_zero(100e-6), 12e-6, 1.65)
    >>> rule.judge(-119e-6), rule.judge(120e-6)
    ('conforms', 'does not conform')
    """
    wanted(factor >= 0.0, f"guard factor {factor:g}", "0 or more", "give the factor of u")
    guard = factor * spread_wanted(u)
    low, high = limits.lower - guard, limits.upper + guard
    words = f"accepted unless proven beyond the limit, guard band of {factor:.2f} u outside the limit"
    return Rule(limits, Limits(low, high), (low, high), words)


def guarded_by_risk(limits: Limits, u: float, risk: float, *, dof: float = math.inf) -> Rule:
    """Accept where the specific consumer's risk is at most ``risk``, reject where the producer's is, each for a bare reading.

    accept: p(y) >= 1 - risk with both limits counted;  reject: y beyond a limit by q u, q the quantile of 1 - risk

    With u beyond about a quarter of the tolerance no reading can be accepted; the rule then says so. Against both limits a
    reading is rejected by the nearer one alone, so that a poor measurement decides nothing instead of rejecting all.

    >>> rule = guarded_by_risk(Limits.about_zero(30e-6), 8e-6, 0.05)
    >>> round(rule.accept.upper * 1e6, 2), guarded_by_risk(Limits.about_zero(30e-6), 20e-6, 0.05).accept is None
    (16.84, True)
    """
    wanted(0.0 < risk <= 0.5, f"risk {risk:g}", "above 0 and at most 0.5", "simple acceptance risks 50 % at the limit")
    factor = student_quantile(1.0 - risk, dof)
    guard = factor * spread_wanted(u)
    words = f"accepted where the risk of accepting wrongly is at most {100.0 * risk:g} %"
    if len(limits.finite) == 1:
        return _banded(limits, guard, guard, words)
    middle = (limits.lower + limits.upper) / 2.0

    def excess(y: float) -> float:
        return probability_conforming(y, u, limits, dof=dof) - (1.0 - risk)

    if u > 0.0 and excess(middle) <= 0.0:
        nothing = (
            f"no reading can be accepted at a risk of {100.0 * risk:g} %: u = {u:.3g} is too large for the tolerance"
        )
        return Rule(limits, None, (limits.lower - guard, limits.upper + guard), nothing)
    inner = limits.upper - root(excess, middle, limits.upper) if u > 0.0 else 0.0
    return _banded(limits, inner, guard, words)


def _banded(limits: Limits, inner: float, outer: float, words: str) -> Rule:
    low, high = limits.lower + inner, limits.upper - inner
    reject = (limits.lower - outer, limits.upper + outer)
    if low > high:
        return Rule(limits, None, reject, f"{words}; the bands meet, no reading can be accepted")
    if low == high:
        low = math.nextafter(high, -math.inf)  # bands that just meet leave one reading
    return Rule(limits, Limits(low, high), reject, words)


def reading_that_proves(limit: float, u_at: Callable[[float], float], risk: float) -> float:
    """Smallest reading that proves a limit exceeded when the uncertainty grows with the reading.

    y - z u(y) = limit,  z the normal quantile of 1 - risk

    limit  upper limit;  u_at  reading -> its standard uncertainty, growing by less than 1 / z per unit
    Source: JCGM 106:2012, 8.3.3, the example of a speed limit (from memory).

    >>> round(reading_that_proves(100.0, lambda v: 0.02 * v, 0.001), 2)
    106.59
    """
    z = student_quantile(1.0 - share_wanted("risk", risk), math.inf)
    step = max(z * u_at(limit), 1e-12 * abs(limit), 1e-300)
    high = limit + step
    for _ in range(200):
        if high - z * u_at(high) >= limit:
            return root(lambda y: y - z * u_at(y) - limit, limit - step, high)
        high = limit + 2.0 * (high - limit)
    wanted(
        False, "an uncertainty that outgrows the reading", f"one that grows by less than {1 / z:.3g}", "measure better"
    )
    return math.nan  # never reached: the line above refuses
