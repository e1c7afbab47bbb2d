"""Whether the linear law holds for a chain that takes long, told with what so few draws can tell.

The criterion is that of JCGM 101: the ends of the coverage intervals agree to the tolerance delta, half a unit of the last
digit in which u is told. A few hundred draws know an end to a tenth of u only, so each component has one of three
answers: validated, not validated, or that so many draws cannot tell. How far the chain bends is known much better, from
draws and their mirror images, for in these all that is linear drops out:

    bend = (f(x + d) + f(x - d)) / 2 - f(x)

Source: JCGM 101:2008, clause 8; JCGM 102:2011, clause 8 (both from memory); the mirrored draws are derived.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.ground.estimate import Estimate
from monochord.verdict.monte_carlo import MonteCarlo
from monochord.verdict.monte_carlo_intervals import cloud_factors, numerical_tolerance
from monochord.verdict.monte_carlo_validate import check_linear
from monochord.verdict.propagation_coverage import ellipsoid_factor

Array = NDArray[np.float64]

VALIDATED, NOT_VALIDATED, CANNOT_TELL = "validated", "not validated", "so many draws cannot tell"


@dataclass(frozen=True, slots=True)
class EndsCheck:
    """One component: standard uncertainties, differences of the interval's ends, what they may be, how well they are known."""

    name: str
    u_linear: float
    u_drawn: float
    d_low: float
    d_high: float
    tolerance: float
    doubt: float
    word: str


@dataclass(frozen=True, slots=True)
class JointCheck:
    """x and y of one magnet together: differences of the largest eigenvalue of their correlation and of the ellipse's factor."""

    magnet: str
    d_eigenvalue: float
    d_factor: float
    tolerance_eigenvalue: float
    tolerance_factor: float
    doubt_eigenvalue: float
    doubt_factor: float
    word: str


@dataclass(frozen=True, slots=True)
class ChainCheck:
    """What the draws say of the linear law.

    digits   of u to which it was asked;  draws  how many;  coverage
    inside   part of all draws that lie in the linear intervals
    bend     root mean square of the bend over the standard uncertainty, the largest of all components; NaN when not drawn
    """

    digits: int
    draws: int
    coverage: float
    ends: tuple[EndsCheck, ...]
    joint: tuple[JointCheck, ...]
    inside: float
    bend: float

    @property
    def word(self) -> str:
        """One word for all: validated when every component is, not validated when one is not."""
        words = {c.word for c in self.ends} | {c.word for c in self.joint}
        return NOT_VALIDATED if NOT_VALIDATED in words else VALIDATED if words == {VALIDATED} else CANNOT_TELL


def check_chain(linear: Estimate, run: MonteCarlo, bends: Array, *, digits: int = 1) -> ChainCheck:
    """The linear law of a chain against draws of it.

    linear  components "<magnet>.x", "<magnet>.y" with the causes that were drawn;  run  of the same components
    bends   (k, m) of mirrored draws, k may be 0

    >>> from monochord.verdict.monte_carlo import monte_carlo
    >>> from monochord.verdict.monte_carlo_laws import drawer_of
    >>> one = Estimate.of([0.0, 0.0], ["Q.x", "Q.y"], unit="m", frame="girder", causes={"noise": np.eye(2)})
    >>> run = monte_carlo(lambda d: d, drawer_of(one), np.random.default_rng(1), digits=1, batch=1000)
    >>> check_chain(one, run, np.zeros((0, 2))).word
    'validated'
    """
    told = check_linear(linear, run, digits=digits)
    doubt = end_doubt(run.coverage, len(run.sample)) * linear.u
    ends = tuple(
        EndsCheck(
            name, float(linear.u[i]), float(run.u[i]), float(told.d_low[i]), float(told.d_high[i]),
            float(told.tolerance[i]), float(doubt[i]),
            _word(max(float(told.d_low[i]), float(told.d_high[i])), float(told.tolerance[i]), float(doubt[i])),
        )
        for i, name in enumerate(linear.names)
    )  # fmt: skip
    half = _reach(run.coverage) * linear.u
    inside = float((np.abs(run.sample - linear.value) <= half).mean())
    bend = float(np.max(np.sqrt((bends**2).mean(axis=0)) / linear.u)) if len(bends) else math.nan
    return ChainCheck(digits, len(run.sample), run.coverage, ends, _joints(linear, run, digits), inside, bend)


def _word(difference: float, tolerance: float, doubt: float) -> str:
    """Two standard deviations of doubt decide whether a difference is told from its tolerance."""
    if difference > tolerance + 2.0 * doubt:
        return NOT_VALIDATED
    return VALIDATED if difference <= tolerance and 2.0 * doubt <= tolerance else CANNOT_TELL


def _reach(coverage: float) -> float:
    """Factor of a normal law's interval."""
    from scipy.special import ndtri

    return float(ndtri((1.0 + coverage) / 2.0))


def end_doubt(coverage: float, draws: int) -> float:
    """Standard deviation of the end of an interval that draws of a normal law give, in its standard uncertainties.

    sqrt(q (1 - q) / n) / phi(z), q = (1 - p) / 2.  Source: asymptotic law of a quantile, derived.

    >>> round(end_doubt(0.95, 1000), 4)
    0.0845
    """
    q, z = (1.0 - coverage) / 2.0, _reach(coverage)
    return math.sqrt(q * (1.0 - q) / draws) / (math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi))


def draws_needed(u: float, coverage: float, digits: int) -> int:
    """How many draws know an interval's end to half its tolerance, two standard deviations counted.

    >>> draws_needed(0.38, 0.95, 1)
    1649
    """
    return math.ceil((2.0 * end_doubt(coverage, 1) * u / numerical_tolerance(u, digits)) ** 2)


def _joints(linear: Estimate, run: MonteCarlo, digits: int) -> tuple[JointCheck, ...]:
    magnets = [n[:-2] for n in linear.names if n.endswith(".x") and f"{n[:-2]}.y" in linear.names]
    return tuple(_joint(m, linear, run.sample, run.coverage, digits=digits) for m in magnets)


def _joint(magnet: str, linear: Estimate, sample: Array, coverage: float, *, digits: int) -> JointCheck:
    rows = [linear.index(f"{magnet}.{p}") for p in "xy"]
    cov = linear.cov[np.ix_(rows, rows)]
    rho = float(cov[0, 1] / math.sqrt(cov[0, 0] * cov[1, 1]))
    drawn = float(np.atleast_2d(np.corrcoef(sample[:, rows].T))[0, 1])
    factor = ellipsoid_factor(coverage, 2)
    apart = abs(abs(rho) - abs(drawn)), abs(factor - cloud_factors(sample[:, rows], coverage)[0])
    allowed = numerical_tolerance(1.0 + abs(rho), digits), numerical_tolerance(factor, digits)
    n = len(sample)
    # the law of the distance in a plane normal cloud is k exp(-k^2/2), and its part outside k is 1 - coverage
    doubt = (1.0 - rho**2) / math.sqrt(n), math.sqrt(coverage * (1.0 - coverage) / n) / (factor * (1.0 - coverage))
    words = {_word(d, t, s) for d, t, s in zip(apart, allowed, doubt, strict=True)}
    word = NOT_VALIDATED if NOT_VALIDATED in words else VALIDATED if words == {VALIDATED} else CANNOT_TELL
    return JointCheck(magnet, *apart, *allowed, *doubt, word)


def named(checks: Sequence[EndsCheck | JointCheck], word: str) -> list[str]:
    """Names of the checks that ended with a word."""
    return [c.name if isinstance(c, EndsCheck) else f"{c.magnet} x with y" for c in checks if c.word == word]
