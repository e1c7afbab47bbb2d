"""What is known of an item before it is measured: from the fleet, or from how it is made."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaincinv, gammaln, log_ndtr, xlogy

from monochord.verdict.propagation_checks import wanted
from monochord.verdict.risk_numerics import about, root

Array = NDArray[np.float64]


class Prior(Protocol):
    """A law of the true values of a fleet of items."""

    def log_density(self, y: Array) -> Array:
        """Natural logarithm of the density at y, per unit of y; -inf where there is none."""

    @property
    def breaks(self) -> list[float]:
        """Places between which the density is smooth, the outermost leaving out less than 1e-15 of it."""


@dataclass(frozen=True, slots=True)
class NormalPrior:
    """Normal law of mean and standard deviation, u > 0.

    >>> round(float(np.exp(NormalPrior(0.0, 1.0).log_density(np.array(0.0)))), 4)
    0.3989
    """

    mean: float
    u: float

    def __post_init__(self) -> None:
        good = self.u > 0.0 and math.isfinite(self.u + self.mean)
        wanted(good, f"a fleet of {self.mean:g} +- {self.u:g}", "a spread above 0", "leave the prior out")

    def log_density(self, y: Array) -> Array:
        """Natural logarithm of the density at y."""
        return -0.5 * ((y - self.mean) / self.u) ** 2 - math.log(self.u * math.sqrt(2.0 * math.pi))

    @property
    def breaks(self) -> list[float]:
        """Places between which the density is smooth."""
        return about([self.mean], self.u)

    def given(self, value: float, u: float) -> tuple[float, float]:
        """Mean and standard deviation of an item's truth after a reading, 1/s^2 = 1/u0^2 + 1/u^2.

        >>> NormalPrior(0.0, 1.0).given(2.0, 1.0)[0]
        1.0
        """
        if u == 0.0:
            return value, 0.0
        kept = u**2 / (u**2 + self.u**2)
        return kept * self.mean + (1.0 - kept) * value, self.u * math.sqrt(kept)


@dataclass(frozen=True, slots=True)
class UniformPrior:
    """Every value from low to high alike, none beyond; low < high, both finite.

    >>> round(float(np.exp(UniformPrior(-2.0, 2.0).log_density(np.array(0.0)))), 6)
    0.25
    """

    low: float
    high: float

    def __post_init__(self) -> None:
        good = self.low < self.high and math.isfinite(self.high - self.low)
        wanted(good, f"from {self.low:g} to {self.high:g}", "two finite ends, the lower first", "leave the prior out")

    def log_density(self, y: Array) -> Array:
        """Natural logarithm of the density at y."""
        return np.where((y >= self.low) & (y <= self.high), -math.log(self.high - self.low), -np.inf)

    @property
    def breaks(self) -> list[float]:
        """Places between which the density is smooth."""
        return [self.low, self.high]

    def within(self, value: float, u: float, lower: float, upper: float) -> float:
        """Probability that the truth lies between lower and upper after a reading: a normal law cut off at low and high.

        p = [Phi(b) - Phi(a)] / [Phi(h) - Phi(l)],  l, h = (low - y) / u, (high - y) / u,  a, b the same of the limits within them

        A reading ever so far beyond the ends is told by logarithms; u > 0.

        >>> round(UniformPrior(-30.0, 30.0).within(30.0, 2.0, -28.0, 28.0), 4)  # half of the law is cut off
        0.3173
        """
        a, b = max(lower, self.low), min(upper, self.high)
        if a >= b:
            return 0.0
        inside, all_ = ((log_between((s - value) / u, (t - value) / u)) for s, t in ((a, b), (self.low, self.high)))
        return min(math.exp(inside - all_), 1.0)


def log_between(low: float, high: float) -> float:
    """Natural logarithm of the probability of a standard normal number between low < high, good in the far tails.

    >>> round(log_between(-1.959964, 1.959964), 4), round(log_between(50.0, 51.0), 2)
    (-0.0513, -1254.83)
    """
    if low > 0.0:
        low, high = -high, -low
    top = float(log_ndtr(high))
    return top + math.log1p(-math.exp(float(log_ndtr(low)) - top))


@dataclass(frozen=True, slots=True)
class GammaPrior:
    """Gamma law of a quantity that cannot be negative, mean shape * scale, variance shape * scale^2; shape >= 1.

    >>> round(float(np.exp(GammaPrior(1.0, 2.0).log_density(np.array(0.0)))), 6)
    0.5
    """

    shape: float
    scale: float

    def __post_init__(self) -> None:
        good = self.shape >= 1.0 and self.scale > 0.0 and math.isfinite(self.shape * self.scale)
        wanted(good, f"shape {self.shape:g}, scale {self.scale:g}", "shape of 1 or more, scale above 0", "look at both")

    def log_density(self, y: Array) -> Array:
        """Natural logarithm of the density at y."""
        t = np.maximum(y, 0.0) / self.scale
        log = xlogy(self.shape - 1.0, t) - t - gammaln(self.shape) - math.log(self.scale)
        return np.where(y >= 0.0, log, -np.inf)

    @property
    def breaks(self) -> list[float]:
        """Places between which the density is smooth."""
        inner = gammaincinv(self.shape, [1e-9, 1e-4, 0.01, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99, 1.0 - 1e-4, 1.0 - 1e-9])
        beyond = [inner[-1] + 20.0, inner[-1] + 40.0]  # e-foldings: what lies further has less than 1e-15 of the law
        return [0.0, *(self.scale * float(t) for t in [*inner, *beyond])]


def fleet_prior(values: ArrayLike, u: ArrayLike) -> NormalPrior:
    """Normal law of a fleet's true values from its measured ones, the measurement's own scatter taken out.

    sum (x - m)^2 / (u^2 + s^2) = n - 1,  m the mean weighted with 1 / (u^2 + s^2): solved for s (Paule and Mandel)

    values  (n,) of n >= 3 items;  u  (n,) or one, their standard uncertainties, independent of each other
    Refused when the values scatter no more than their uncertainties explain: such a fleet has not shown a spread of its own.
    Source: Paule and Mandel 1982 (from memory).

    >>> prior = fleet_prior([-2.0, 0.0, 2.0], 0.0)
    >>> prior.mean, round(prior.u, 9)
    (0.0, 2.0)
    """
    x = np.asarray(values, float)
    variance = np.broadcast_to(np.asarray(u, float), x.shape) ** 2
    wanted(x.size >= 3, f"{x.size} items", "three or more", "measure more items, or give the prior")
    good = bool(np.isfinite(x).all() and np.isfinite(variance).all())
    wanted(good, "unknown values in the fleet", "known values", "leave unknown items out")

    def mean(square: float) -> float:
        return float(np.average(x, weights=1.0 / (variance + square)))

    def excess(square: float) -> float:
        return float(np.sum((x - mean(square)) ** 2 / (variance + square))) - (len(x) - 1.0)

    most, least = float(np.var(x, ddof=1)), 1e-12 * float(np.var(x, ddof=1))
    wanted(
        most > 0.0 and excess(least) > 0.0, "a fleet whose scatter its uncertainties explain", "a spread of its own",
        "decide without a prior, or give one",
    )  # fmt: skip
    square = root(excess, least, 2.0 * most)
    return NormalPrior(mean(square), math.sqrt(square))
