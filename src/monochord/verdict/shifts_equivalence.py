"""Has it moved by less than a limit? Yes, no, or it cannot be decided.

A shift that is not significant may still be large when it was measured poorly. So the question is asked the other way
round: that it moved by the limit or more must be refuted before "yes" is said, and that it moved by less before "no".
Source: two one-sided tests, Schuirmann 1987 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri, stdtr

from monochord.ground.estimate import Estimate
from monochord.ground.statistics import student_quantile
from monochord.verdict.propagation_checks import spread_wanted, wanted
from monochord.verdict.risk_numerics import root
from monochord.verdict.risk_radial import within_circle
from monochord.verdict.risk_rms import chance_of_such_length, length_within

Array = NDArray[np.float64]
Answer = Literal["yes", "no", "cannot be decided"]


@dataclass(frozen=True, slots=True)
class Equivalence:
    """Answer to "has it moved by less than the limit?".

    moved_more  probability of a reading as small or smaller had it moved by the limit (for vectors: that it moved by more,
                given the reading): "yes" when at most the level
    moved_less  probability of a reading as large or larger had it moved by less: "no" when at most the level
    answerable  smallest limit that this measurement could have answered with "yes", unit of the value
    """

    answer: Answer
    moved_more: float
    moved_less: float
    answerable: float
    words: str


def moved_less_than(value: float, u: float, limit: float, *, level: float = 0.05, dof: float = math.inf) -> Equivalence:
    """Two one-sided tests of a difference against +- limit.

    yes when |d| + t u <= L, no when |d| - t u >= L, else it cannot be decided;  t the quantile of 1 - level, one-sided

    value, u, limit  in one unit, limit > 0;  dof  behind u. An unknown value (NaN) cannot be decided.

    >>> [moved_less_than(d, 2e-6, 10e-6).answer for d in (1e-6, 8e-6, 14e-6)]
    ['yes', 'cannot be decided', 'no']
    """
    _asked(limit, level)
    if math.isnan(value):
        return Equivalence("cannot be decided", math.nan, math.nan, math.nan, "its shift is unknown")
    size = abs(value)
    if spread_wanted(u) == 0.0:
        more, less = (0.0, 1.0) if size < limit else (1.0, 0.0)
    else:
        # the larger of the two one-sided probabilities is that of the nearer limit
        more, less = _tail((size - limit) / u, dof), _tail((limit - size) / u, dof)
    return _answer(more, less, size + student_quantile(1.0 - level, dof) * u, level)


def _tail(z: float, dof: float) -> float:
    return float(ndtr(z) if math.isinf(dof) else stdtr(dof, z))


def _asked(limit: float, level: float) -> None:
    wanted(limit > 0.0, f"limit {limit:g}", "above 0", "say how far it may have moved")
    wanted(0.0 < level < 0.5, f"level {level:g}", "above 0 and below 0.5", "give 5 % as 0.05")


def _answer(more: float, less: float, answerable: float, level: float) -> Equivalence:
    answer: Answer = "yes" if more <= level else "no" if less <= level else "cannot be decided"
    words = {
        "yes": "it moved by less than the limit",
        "no": "it moved by the limit or more",
        "cannot be decided": "whether it moved by less than the limit cannot be decided with this uncertainty",
    }[answer]
    return Equivalence(answer, more, less, answerable, words)


def each_moved_less_than(shift: Estimate, limit: float, *, level: float = 0.05) -> dict[str, Equivalence]:
    """The question for every component of a shift by itself, by name, with the shift's own degrees of freedom.

    limit  in the components' common unit

    >>> d = Estimate.of([1e-6, 9e-6], ["A.x", "A.y"], unit="m", frame="girder", causes={"noise": 4e-12 * np.eye(2)})
    >>> {name: e.answer for name, e in each_moved_less_than(d, 10e-6).items()}
    {'A.x': 'yes', 'A.y': 'cannot be decided'}
    """
    units = {label.unit for label in shift.labels}
    wanted(len(units) <= 1, f"units {sorted(units)}", "one unit", "ask for lengths and angles apart")
    return {
        name: moved_less_than(float(v), float(u), limit, level=level, dof=shift.dof)
        for name, v, u in zip(shift.names, shift.value, shift.u, strict=True)
    }


def vector_moved_less_than(shift: Estimate, limit: float, *, level: float = 0.05) -> Equivalence:
    """The question for the length of a shift vector, |d| <= L, its covariance counted; normal law.

    yes when the probability that the true shift is no longer than L is 1 - level or more, nothing known of it but the reading;
    no when a shift within L would give so long a reading with a probability of ``level`` at most
    A test of lengths alone would say yes to every reading near zero, as no truth makes such a one likely: hence the first rule.

    >>> d = Estimate.of([2e-6, 1e-6], ["A.x", "A.y"], unit="m", frame="girder", causes={"noise": 4e-12 * np.eye(2)})
    >>> vector_moved_less_than(d, 10e-6).answer, vector_moved_less_than(d, 4e-6).answer
    ('yes', 'cannot be decided')
    """
    _asked(limit, level)
    units = {label.unit for label in shift.labels}
    wanted(len(units) == 1, f"units {sorted(units)}", "one unit", "ask for lengths and angles apart")
    v, cov = shift.value, shift.cov
    if not np.isfinite(v).all():
        return Equivalence("cannot be decided", math.nan, math.nan, math.nan, "its shift is unknown")

    more, less = 1.0 - length_within(v, cov, limit), chance_of_such_length(v, cov, limit)
    return _answer(more, less, _answerable(v, cov, level), level)


def planar_moved_less_than(shift: Estimate, limit: float, *, level: float = 0.05) -> Equivalence:
    """The question of ``vector_moved_less_than`` for a shift (x, y), by the faster sum over a circle; the same answers.

    >>> d = Estimate.of([2e-6, 1e-6], ["A.x", "A.y"], unit="m", frame="girder", causes={"noise": 4e-12 * np.eye(2)})
    >>> planar_moved_less_than(d, 10e-6).answer, planar_moved_less_than(d, 4e-6).answer
    ('yes', 'cannot be decided')
    """
    _asked(limit, level)
    wanted(shift.value.size == 2, f"{shift.value.size} components", "x and y", "pick two components")
    v, cov = shift.value, shift.cov
    if not np.isfinite(v).all():
        return Equivalence("cannot be decided", math.nan, math.nan, math.nan, "its shift is unknown")
    more, less = 1.0 - within_circle(v, cov, limit), chance_of_such_length(v, cov, limit)
    return _answer(more, less, _planar_reach(v, cov, level), level)


def _planar_reach(v: Array, cov: Array, level: float) -> float:
    """The radius that holds the true point with probability 1 - level, to a millionth.

    Its normal quantile is nearly straight in the radius, so the secant through two good guesses is soon there.
    """
    wanted_z = float(ndtri(1.0 - level))

    def excess(radius: float) -> float:
        return float(ndtri(within_circle(v, cov, radius))) - wanted_z

    far = float(np.linalg.norm(v)) + wanted_z * math.sqrt(max(float(np.linalg.eigvalsh(cov)[-1]), 0.0))
    if far == 0.0:
        return 0.0
    near, here = far, 1.02 * far
    below, at = excess(near), excess(here)
    for _ in range(8):
        if not math.isfinite(at - below) or at == below:
            break
        near, here, below = here, here - at * (here - near) / (at - below), at
        if abs(here - near) <= 1e-6 * here:
            return here
        if here <= 0.0:
            break
        at = excess(here)
    return _answerable(v, cov, level)


def _answerable(v: Array, cov: Array, level: float) -> float:
    """Smallest limit for which the answer would have been "yes"."""
    length = float(np.linalg.norm(v))
    far = length + 10.0 * math.sqrt(max(float(np.trace(cov)), 0.0))
    if far == length:
        return length
    return root(lambda reach: 1.0 - length_within(v, cov, reach) - level, 1e-9 * far, far)
