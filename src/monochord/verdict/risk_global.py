"""Risks of a rule over all items of a fleet, and rules made for a wanted risk.

A specific risk is about one item with its reading in hand; a global risk is about an item drawn from the fleet before
anybody has measured it. Both need what is known of the fleet, the prior.
Source: JCGM 106:2012, clause 9 (from memory).
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from monochord.verdict.propagation_checks import share_wanted, spread_wanted, wanted
from monochord.verdict.risk import Limits, probability_conforming
from monochord.verdict.risk_guard import Rule
from monochord.verdict.risk_numerics import about, panels, root
from monochord.verdict.risk_priors import NormalPrior, Prior, UniformPrior

Array = NDArray[np.float64]
Side = Literal["both", "lower", "upper"]


@dataclass(frozen=True, slots=True)
class GlobalRisks:
    """Shares of a fleet under a rule.

    consumer   accepted and not conforming;  producer  conforming and not accepted
    accepted   all that is accepted;  conforming  all that conforms
    """

    consumer: float
    producer: float
    accepted: float
    conforming: float

    @property
    def wrong_among_accepted(self) -> float:
        """Part of the accepted items that does not conform; NaN when none is accepted."""
        return self.consumer / self.accepted if self.accepted > 0.0 else math.nan

    @property
    def right_among_rejected(self) -> float:
        """Part of the items that are not accepted that conforms; NaN when all are accepted."""
        return self.producer / (1.0 - self.accepted) if self.accepted < 1.0 else math.nan


def global_risks(prior: Prior, u: float, limits: Limits, accept: Limits | None) -> GlobalRisks:
    """Consumer's and producer's risk of a rule for an item drawn from the fleet.

    R_C = integral over y outside the limits of f(y) P(accept | y),  R_P = integral over y inside of f(y) (1 - P(accept | y)),
    P(accept | y) = Phi((a_high - y) / u) - Phi((a_low - y) / u)

    prior  f, law of the true values;  u  of a reading about the truth, 0 allowed;  accept  None accepts nothing

    >>> risks = global_risks(NormalPrior(1500.0, 0.12), 0.04, Limits(1499.8, 1500.2), Limits(1499.8, 1500.2))
    >>> round(risks.consumer, 4), round(risks.producer, 4)
    (0.0189, 0.0372)
    """
    spread_wanted(u)
    edges = accept.finite if accept else ()
    own = prior.breaks
    inside_reach = [b for b in (*limits.finite, *edges, *about(edges, u)) if min(own) < b < max(own)]
    y, weight = panels([*own, *inside_reach])
    mass = weight * np.exp(prior.log_density(y))
    taken = _accepted(y, u, accept)
    good = (y >= limits.lower) & (y <= limits.upper)
    return GlobalRisks(
        float(mass[~good] @ taken[~good]),
        float(mass[good] @ (1.0 - taken[good])),
        float(mass @ taken),
        float(mass[good].sum()),
    )


def _accepted(y: Array, u: float, accept: Limits | None) -> Array:
    if accept is None:
        return np.zeros_like(y)
    if u == 0.0:
        return ((y >= accept.lower) & (y <= accept.upper)).astype(float)
    low, high = (accept.lower - y) / u, (accept.upper - y) / u
    flip = low > 0.0
    taken: Array = ndtr(np.where(flip, -low, high)) - ndtr(np.where(flip, -high, low))
    return taken


def rule_for_consumers_risk(prior: Prior, u: float, limits: Limits, risk: float, *, side: Side = "both") -> Rule:
    """The narrowest guard bands, equal on the sides named, that keep the global consumer's risk at most ``risk``.

    Where simple acceptance keeps it already there is no band, and the words say so.
    side  which limits are guarded; a limit that cannot be passed, such as 0 of a roughness, needs none

    >>> from monochord.verdict.risk_priors import GammaPrior
    >>> rule = rule_for_consumers_risk(GammaPrior(4.0, 0.25), 0.25, Limits(0.0, 2.0), 0.001, side="upper")
    >>> round(rule.accept.upper, 5)
    1.67183
    """
    share_wanted("risk", risk)

    def excess(guard: float) -> float:
        return global_risks(prior, u, limits, _inside(limits, guard, side)).consumer - risk

    told = f"{100.0 * risk:g} % of the fleet accepted wrongly at most"
    if excess(0.0) <= 0.0:
        return _rule(limits, 0.0, side, f"no guard band needed for {told}")
    guard = root(excess, 0.0, _widest(limits, side, prior, u))
    return _rule(limits, guard, side, f"guard band for {told}")


def rule_for_producers_risk(prior: Prior, u: float, limits: Limits, risk: float, *, side: Side = "both") -> Rule:
    """The bands, equal on the sides named, with which ``risk`` of the fleet is rejected wrongly; outside the limits if need be.

    A negative guard accepts readings beyond the limits: it protects the maker, and the words say so.

    >>> prior = NormalPrior(0.0, 0.12)
    >>> rule = rule_for_producers_risk(prior, 0.04, Limits.about_zero(0.2), 0.0372078002)
    >>> abs(rule.guards[1]) < 1e-6
    True
    """
    share_wanted("risk", risk)

    def excess(guard: float) -> float:
        return global_risks(prior, u, limits, _inside(limits, guard, side)).producer - risk

    widest = _widest(limits, side, prior, u)
    wanted(
        excess(widest) > 0.0,
        f"risk {risk:g}",
        "less than the share of the fleet that conforms",
        "ask for a smaller risk",
    )
    outside = -10.0 * u if u > 0.0 else -1e-12 * widest
    guard = root(excess, outside, widest)
    where = "inside" if guard >= 0.0 else "OUTSIDE"
    told = f"accepted up to a place {where} the limits, so that {100.0 * risk:g} % of the fleet is rejected wrongly"
    return _rule(limits, guard, side, told)


def _widest(limits: Limits, side: Side, prior: Prior, u: float) -> float:
    """A guard beyond which nothing of the fleet is accepted."""
    if side == "both" and len(limits.finite) == 2:
        return (limits.upper - limits.lower) / 2.0 * (1.0 - 1e-9)
    if len(limits.finite) == 2:
        return (limits.upper - limits.lower) * (1.0 - 1e-9)
    return abs(limits.finite[0]) + max(abs(b) for b in prior.breaks) + 40.0 * u


def _inside(limits: Limits, guard: float, side: Side) -> Limits:
    return Limits(
        limits.lower + (guard if side != "upper" else 0.0), limits.upper - (guard if side != "lower" else 0.0)
    )


def _rule(limits: Limits, guard: float, side: Side, words: str) -> Rule:
    accept, mirror = _inside(limits, guard, side), _inside(limits, -abs(guard), side)
    return Rule(limits, accept, (mirror.lower, mirror.upper), words)


def probability_conforming_given(value: float, u: float, limits: Limits, prior: Prior) -> float:
    """Probability that this item conforms, from its reading and from what is known of its fleet.

    p = integral over the limits of f(y) phi((value - y) / u) / the same over all y

    >>> round(probability_conforming_given(27.0, 2.0, Limits.about_zero(30.0), NormalPrior(0.0, 10.0)), 4)
    0.9803
    """
    if math.isnan(value):
        return math.nan
    if isinstance(prior, NormalPrior):
        return probability_conforming(*prior.given(value, spread_wanted(u)), limits)
    if spread_wanted(u) == 0.0:
        return float(limits.hold(value))
    if isinstance(prior, UniformPrior):
        return prior.within(value, u, limits.lower, limits.upper)
    own = prior.breaks
    spots = [*limits.finite, *about([value], u), *np.linspace(min(own), max(own), 200)]
    y, weight = panels([*own, *(b for b in spots if min(own) < b < max(own))])
    log = prior.log_density(y) - 0.5 * ((value - y) / u) ** 2
    mass = weight * np.exp(log - log.max())  # of any size: only the ratio counts
    return float(mass[(y >= limits.lower) & (y <= limits.upper)].sum() / mass.sum())


def rule_for_specific_risk(prior: Prior, u: float, limits: Limits, risk: float) -> Rule:
    """Accept the readings after which the item fails to conform with a probability of at most ``risk``, its fleet known.

    The readings that are accepted make one interval; it may reach beyond the limits where the fleet lies well inside.
    Rejected is where the item conforms with a probability of at most ``risk``: every reading, for a fleet far outside.

    >>> rule = rule_for_specific_risk(NormalPrior(0.0, 10.0), 8.0, Limits.about_zero(30.0), 0.05)
    >>> round(rule.accept.upper, 2)
    32.35
    """
    share_wanted("risk", risk)
    wanted(spread_wanted(u) > 0.0, "u = 0", "an uncertainty above 0", "without uncertainty use simple acceptance")

    def p(y: float) -> float:
        return probability_conforming_given(y, u, limits, prior)

    own = prior.breaks
    spots = [*own, *limits.finite]
    reach = (min(spots) - 30.0 * u, max(spots) + 30.0 * u)
    readings = np.linspace(*reach, 241)
    found = np.array([p(float(y)) for y in readings])
    highest = np.flatnonzero(found == found.max())  # far from a fleet's bound the probability is flat
    best = float(readings[highest[len(highest) // 2]])
    words = f"accepted where an item of this fleet fails to conform with at most {100.0 * risk:g} %"
    reject = _edges(lambda y: p(y) - risk, best, reach) if p(best) > risk else (math.inf, -math.inf)
    if p(best) < 1.0 - risk:
        return Rule(limits, None, reject, f"no reading can be accepted at a risk of {100.0 * risk:g} %")
    low, high = _edges(lambda y: p(y) - (1.0 - risk), best, reach)
    if math.isinf(low) and math.isinf(high):
        low, words = -sys.float_info.max, f"{words}: every reading is, the fleet conforms by itself"
    return Rule(limits, Limits(low, min(high, sys.float_info.max)), reject, words)


def _edges(excess: Callable[[float], float], best: float, reach: tuple[float, float]) -> tuple[float, float]:
    """Where a function that is positive at ``best`` falls to zero on either side; infinite where it does not."""
    return _edge(excess, best, reach[0]), _edge(excess, best, reach[1])


def _edge(excess: Callable[[float], float], best: float, end: float) -> float:
    side = math.copysign(math.inf, end - best)
    for _ in range(40):  # a reading far poorer than the fleet's own spread moves what is known only slowly
        if excess(end) < 0.0:
            return root(excess, min(best, end), max(best, end))
        end = best + 2.0 * (end - best)
    return side
