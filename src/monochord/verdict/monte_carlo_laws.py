"""Laws of what is known of a quantity, and draws from them, for Monte Carlo runs.

Sources of the forms: JCGM 101:2008, clause 6.4; JCGM 100:2008, 4.3 (both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from monochord.ground.estimate import Estimate
from monochord.verdict.dof import dof_of_cause
from monochord.verdict.propagation_checks import known_wanted, wanted

Array = NDArray[np.float64]
Generator = np.random.Generator
#: (generator, how many) -> draws (how many, n)
Drawer = Callable[[Generator, int], Array]


class Law(Protocol):
    """A probability law of one quantity: its mean, its standard uncertainty, and draws from it."""

    @property
    def mean(self) -> float:
        """Best value."""

    @property
    def u(self) -> float:
        """Standard uncertainty."""

    def draw(self, rng: Generator, n: int) -> Array:
        """Draws (n,)."""


@dataclass(frozen=True, slots=True)
class Normal:
    """Normal law.

    >>> Normal(1.0, 0.1).u
    0.1
    """

    mean: float
    u: float

    def draw(self, rng: Generator, n: int) -> Array:
        """Draws (n,)."""
        return rng.normal(self.mean, self.u, n)


@dataclass(frozen=True, slots=True)
class Rectangular:
    """All values within mean +- half_width alike; u = a / sqrt(3).

    >>> round(Rectangular(0.0, 1.0).u, 4)
    0.5774
    """

    mean: float
    half_width: float

    @property
    def u(self) -> float:
        """Standard uncertainty a / sqrt(3)."""
        return self.half_width / math.sqrt(3.0)

    def draw(self, rng: Generator, n: int) -> Array:
        """Draws (n,)."""
        return rng.uniform(self.mean - self.half_width, self.mean + self.half_width, n)


@dataclass(frozen=True, slots=True)
class Triangular:
    """Falling evenly from the mean to mean +- half_width; u = a / sqrt(6).

    >>> round(Triangular(0.0, 1.0).u, 4)
    0.4082
    """

    mean: float
    half_width: float

    @property
    def u(self) -> float:
        """Standard uncertainty a / sqrt(6)."""
        return self.half_width / math.sqrt(6.0)

    def draw(self, rng: Generator, n: int) -> Array:
        """Draws (n,)."""
        return self.mean + self.half_width * (rng.random(n) - rng.random(n))


@dataclass(frozen=True, slots=True)
class Arcsine:
    """A swing of amplitude half_width caught at any moment of its cycle; u = a / sqrt(2).

    >>> round(Arcsine(0.0, 0.5).u, 4)
    0.3536
    """

    mean: float
    half_width: float

    @property
    def u(self) -> float:
        """Standard uncertainty a / sqrt(2)."""
        return self.half_width / math.sqrt(2.0)

    def draw(self, rng: Generator, n: int) -> Array:
        """Draws (n,)."""
        return self.mean + self.half_width * np.sin(2.0 * math.pi * rng.random(n))


@dataclass(frozen=True, slots=True)
class RoughlyLimited:
    """All values within mean +- a alike, the half width a itself known to +- doubt; u^2 = a^2 / 3 + doubt^2 / 9.

    >>> round(RoughlyLimited(0.0, 0.05, 0.025).u, 5)
    0.03005
    """

    mean: float
    half_width: float
    doubt: float

    @property
    def u(self) -> float:
        """Standard uncertainty sqrt(a^2 / 3 + doubt^2 / 9)."""
        return math.sqrt(self.half_width**2 / 3.0 + self.doubt**2 / 9.0)

    def draw(self, rng: Generator, n: int) -> Array:
        """Draws (n,)."""
        width = self.half_width + self.doubt * (2.0 * rng.random(n) - 1.0)
        return self.mean + width * (2.0 * rng.random(n) - 1.0)


@dataclass(frozen=True, slots=True)
class Student:
    """Student's t about the mean, for a mean of few readings: scale s / sqrt(n), dof n - 1; u infinite up to dof 2.

    >>> round(Student(0.0, 1.0, 8.0).u, 4)
    1.1547
    """

    mean: float
    scale: float
    dof: float

    @property
    def u(self) -> float:
        """Standard uncertainty scale sqrt(dof / (dof - 2))."""
        return self.scale * math.sqrt(self.dof / (self.dof - 2.0)) if self.dof > 2.0 else math.inf

    def draw(self, rng: Generator, n: int) -> Array:
        """Draws (n,)."""
        return self.mean + self.scale * rng.standard_t(self.dof, n)


def independent(laws: Sequence[Law]) -> Drawer:
    """Draws of quantities that do not know of each other, one column for each law.

    >>> independent([Normal(0.0, 1.0), Rectangular(5.0, 1.0)])(np.random.default_rng(1), 3).shape
    (3, 2)
    """
    wanted(len(laws) > 0, "no law", "one law for each quantity", "name the laws")

    def draw(rng: Generator, n: int) -> Array:
        return np.column_stack([law.draw(rng, n) for law in laws])

    return draw


def drawer_of(estimate: Estimate, dof_of: Mapping[str, float] | None = None) -> Drawer:
    """Draws of an estimate's components, cause by cause: normal, or multivariate t where a cause has finite dof.

    Correlations come out as the shared causes make them. A cause of nu degrees of freedom is a normal vector times
    sqrt(nu / chi-square(nu)), one factor for all its components (JCGM 101:2008, 6.4.9 and JCGM 102:2011, 5.3.2, from memory).

    dof_of  cause id or kind -> degrees of freedom; infinite where none is named

    >>> pair = Estimate.of([1.0, 2.0], ["a", "b"], unit="m", frame="girder", causes={"scale": np.ones((2, 2))})
    >>> (drawer_of(pair)(np.random.default_rng(1), 2) @ [1.0, -1.0]).round(9).tolist()
    [-1.0, -1.0]
    """
    known_wanted(estimate.value, estimate.names, "it is unknown, and nothing can be drawn for it")
    ways = []
    for cause, factor in estimate.factors.items():
        values, vectors = np.linalg.eigh(factor.spread)
        root = factor.jacobian @ (vectors * np.sqrt(np.maximum(values, 0.0)))
        ways.append((root, dof_of_cause(cause, dof_of or {})))

    def draw(rng: Generator, n: int) -> Array:
        drawn = np.tile(estimate.value, (n, 1))
        for root, dof in ways:
            own = rng.standard_normal((n, root.shape[1]))
            if math.isfinite(dof):
                own *= np.sqrt(dof / rng.chisquare(dof, n))[:, None]
            drawn += own @ root.T
        return drawn

    return draw
