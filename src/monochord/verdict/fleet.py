"""Closures of many girders taken together: is the budget right, and if not, by which factor is it too small.

Each girder's closure is a square sum that follows a chi-square law when the budget is right. Sums of independent ones follow
it too, and their probabilities lie evenly between 0 and 1. Only numbers go in, so that the whole can be tried on drawn ones.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from scipy.special import bdtrc, chdtrc, smirnov

from monochord.campaign.found.fleet import FleetClosure, GirderClosure, MagnetMean
from monochord.campaign.given.budget_scale import FEWEST_GIRDERS
from monochord.ground.statistics import chi_square_quantile, family_wise, normal_probability

#: Risk of calling a budget too small that is right.
RISK = 0.01
#: Coverage of the interval of the factor.
COVERED = 0.95


def pooled(squares: Iterable[float], dofs: Iterable[int]) -> tuple[float, int, float]:
    """Sum of independent square sums, its degrees of freedom, and the probability of as much or more by chance.

    >>> square, dof, probability = pooled([3.0, 9.0], [4, 8])
    >>> square, dof, round(probability, 4)
    (12.0, 12, 0.4457)
    """
    square, dof = float(sum(squares)), int(sum(dofs))
    return square, dof, float(chdtrc(dof, square)) if dof > 0 else math.nan


def budget_factor(square: float, dof: int) -> tuple[float, float, float]:
    """S = sqrt(chi-square / dof) and its 95 % interval: by how much the budget's uncertainties are too small.

    The differences are taken to be s times as large as told, so chi-square / s^2 follows the chi-square law:
    s between sqrt(chi-square / q(0.975)) and sqrt(chi-square / q(0.025)).

    Source: Birge 1932 (from memory); the interval derived.

    >>> [round(v, 3) for v in budget_factor(200.0, 100)]
    [1.414, 1.242, 1.642]
    """
    if dof <= 0:
        return math.nan, math.nan, math.nan
    tail = (1.0 - COVERED) / 2.0
    low, high = (math.sqrt(square / chi_square_quantile(p, dof)) for p in (1.0 - tail, tail))
    return math.sqrt(square / dof), low, high


def evenness(probabilities: Sequence[float]) -> tuple[float, float]:
    """Largest distance D of the probabilities' distribution from the uniform one, and that chance gives as much or more.

    D = max_i max(i/n - p_i, p_i - (i-1)/n) with p_i in order. Twice the exact one-sided law is never too small, and exact where it
    matters (below 0.05 to six digits). Sources: Kolmogorov 1933, Smirnov 1939 (from memory).

    >>> [round(v, 3) for v in evenness([0.1, 0.3, 0.5, 0.7, 0.9])]
    [0.1, 1.0]
    """
    n = len(probabilities)
    if n == 0:
        return math.nan, math.nan
    ordered = sorted(probabilities)
    distance = max(max((i + 1) / n - p, p - i / n) for i, p in enumerate(ordered))
    return distance, min(1.0, 2.0 * float(smirnov(n, distance)))


def below(probabilities: Sequence[float], level: float) -> tuple[int, float]:
    """How many probabilities lie below a level, and the chance of so many or more, by the binomial law.

    >>> below([0.5, 0.004, 0.3], 0.01)[0], round(below([0.5, 0.004, 0.3], 0.01)[1], 4)
    (1, 0.0297)
    """
    count = sum(p < level for p in probabilities)
    return count, 1.0 if count == 0 else float(bdtrc(count - 1, len(probabilities), level))


def magnet_means(girders: Iterable[GirderClosure]) -> tuple[MagnetMean, ...]:
    """Mean difference of every magnet and plane over the girders of a type, the largest over its u first.

    mean = sum d/u^2 / sum 1/u^2,  u of the mean = (sum 1/u^2)^(-1/2);  what all girders share is left by the mean.
    """
    gathered: dict[tuple[str, str, str], list[tuple[float, float]]] = {}
    for girder in girders:
        for magnet, (x, y, u_x, u_y) in girder.closure.offsets.items():
            for plane, d, u in (("x", x, u_x), ("y", y, u_y)):
                if math.isfinite(d) and math.isfinite(u) and u > 0.0:
                    gathered.setdefault((girder.type_name, magnet, plane), []).append((d, u))
    means = [_mean(*place, pairs) for place, pairs in gathered.items()]
    return tuple(sorted(means, key=lambda m: -abs(m.mean) / m.u))


def _mean(type_name: str, magnet: str, plane: str, pairs: Sequence[tuple[float, float]]) -> MagnetMean:
    weight = sum(u**-2 for _, u in pairs)
    mean, u = sum(d * u**-2 for d, u in pairs) / weight, weight**-0.5
    return MagnetMean(type_name, magnet, plane, mean, u, len(pairs), 2.0 * normal_probability(-abs(mean) / u))


def fleet_closure(girders: Sequence[GirderClosure], *, risk: float = RISK) -> FleetClosure:
    """Everything that the closures of a fleet say together.

    A factor is given when more than ten girders are in and the pooled closure fails at ``risk``; it is never below 1. A magnet
    stands out when a mean as far as its own comes by chance to any of them all with less than the risk (Sidak 1967).
    """
    ordered = tuple(sorted(girders, key=lambda g: (g.since, g.campaign)))
    closures = [g.closure for g in ordered]
    square, dof, probability = pooled((c.chi_square for c in closures), (c.dof for c in closures))
    distance, uniform = evenness([c.probability for c in closures])
    scale, low, high = budget_factor(square, dof)
    means = magnet_means(ordered)
    several = [m for m in means if m.girders > 1]
    level = family_wise(risk, len(several)) if several else risk
    fails = probability < risk and scale > 1.0
    return FleetClosure(
        ordered,
        square,
        dof,
        probability,
        risk,
        distance,
        uniform,
        below([c.probability for c in closures], risk),
        scale,
        low,
        high,
        scale if fails and len(ordered) >= FEWEST_GIRDERS else None,
        means,
        tuple(m for m in several if m.probability < level),
        _heaviest(ordered),
    )


def _heaviest(girders: Sequence[GirderClosure]) -> tuple[str, float] | None:
    """The girder whose square sum exceeds its expectation most, and the pooled probability of the others."""
    if len(girders) < 2:
        return None
    heavy = max(girders, key=lambda g: (g.closure.chi_square - g.closure.dof) / math.sqrt(2.0 * g.closure.dof))
    rest = [g.closure for g in girders if g is not heavy]
    return heavy.campaign, pooled((c.chi_square for c in rest), (c.dof for c in rest))[2]
