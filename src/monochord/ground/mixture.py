"""A number that is one of two normal laws, nobody knows which: told by quantiles, since its standard deviation misleads.

Something that happened with a small chance and would matter much makes the standard deviation large and the middle
narrow: 68 % of the truth then lie well inside one standard deviation, and one in forty far outside two.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from monochord.ground.statistics import normal_probability


@dataclass(frozen=True, slots=True)
class TwoNormals:
    """With ``chance`` the number is normal about ``other`` with ``u_other``, else about ``value`` with ``u``.

    >>> law = TwoNormals(0.1, 0.0, 1.0, 10.0, 1.0)
    >>> round(law.mean, 6), round(law.below(5.0), 4)
    (1.0, 0.9)
    """

    chance: float
    value: float
    u: float
    other: float
    u_other: float

    @property
    def mean(self) -> float:
        """Mean of the whole law."""
        return self.value + self.chance * (self.other - self.value)

    def below(self, x: float) -> float:
        """Probability that the number is at most x."""
        first, second = _below(x, self.value, self.u), _below(x, self.other, self.u_other)
        return first + self.chance * (second - first)

    def within(self, low: float, high: float) -> float:
        """Probability that the number lies between low and high."""
        return self.below(high) - self.below(low)

    def quantile(self, p: float) -> float:
        """X with probability p below it, by halving an interval that holds it; 0 < p < 1.

        >>> round(TwoNormals(0.0, 1.0, 2.0, 0.0, 1.0).quantile(0.975), 4)
        4.9199
        """
        reach = 40.0
        low = min(self.value - reach * self.u, self.other - reach * self.u_other)
        high = max(self.value + reach * self.u, self.other + reach * self.u_other)
        while high - low > 1e-12 * max(abs(low), abs(high), self.u, self.u_other):
            middle = 0.5 * (low + high)
            if middle in (low, high):
                break
            low, high = (middle, high) if self.below(middle) < p else (low, middle)
        return 0.5 * (low + high)

    def interval(self, level: float) -> tuple[float, float]:
        """The interval that leaves the same probability out on either side and holds ``level``."""
        tail = 0.5 * (1.0 - level)
        return self.quantile(tail), self.quantile(1.0 - tail)


def _below(x: float, value: float, u: float) -> float:
    if u <= 0.0 or not math.isfinite(u):
        return 1.0 if x >= value else 0.0
    return normal_probability((x - value) / u)
