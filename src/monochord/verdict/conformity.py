"""A value against a limit: probability of conformity, guard band, three verdicts.

Decision rule: conforms when |value| + g u <= limit, does not conform when |value| - g u > limit, and
cannot be decided between. g comes from the accepted risk: 1.645 for 5 % (JCGM 106:2012, 8.3.2;
ISO 14253-1:2017 default; both from memory).
"""

from __future__ import annotations

from monochord.campaign.found.verdict import CANNOT_BE_DECIDED, CONFORMS, DOES_NOT_CONFORM
from monochord.ground.statistics import normal_probability, normal_quantile


def probability_within(value: float, u: float, limit: float) -> float:
    """Probability that the true value lies in [-limit, +limit], for a normal law about the value.

    p = Phi((limit - value) / u) - Phi((-limit - value) / u); u = 0 gives 0 or 1. All in one unit.

    >>> round(probability_within(0.0802, 0.012, 0.1), 5)
    0.95053
    """
    if u <= 0.0:
        return 1.0 if abs(value) <= limit else 0.0
    return normal_probability((limit - value) / u) - normal_probability((-limit - value) / u)


def guard_factor(risk: float) -> float:
    """G with one-sided risk 1 - Phi(g).

    >>> round(guard_factor(0.05), 3)
    1.645
    """
    return normal_quantile(1.0 - risk)


def judge(value: float, u: float, limit: float, *, risk: float = 0.05) -> str:
    """One of the three verdicts for a value with standard uncertainty u against +-limit.

    >>> judge(5e-6, 2e-6, 30e-6), judge(29e-6, 2e-6, 30e-6), judge(-40e-6, 2e-6, 30e-6)
    ('conforms', 'cannot be decided', 'does not conform')
    """
    guard = guard_factor(risk) * u
    if abs(value) + guard <= limit:
        return CONFORMS
    if abs(value) - guard > limit:
        return DOES_NOT_CONFORM
    return CANNOT_BE_DECIDED


def rule_words(risk: float) -> str:
    """The decision rule as people say it.

    >>> rule_words(0.05)
    'guard band of 1.64 u on either side of the limit (risk 5 %)'
    """
    return f"guard band of {guard_factor(risk):.2f} u on either side of the limit (risk {100.0 * risk:g} %)"
