"""Whether something has shifted: a difference against its own uncertainty, all components together and one by one.

The difference of two estimates that share causes is taken by ``after - before``, so that what is common cancels. To find
no shift is not to show that there was none: see ``shifts_equivalence``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, fdtrc, ndtr, stdtr

from monochord.ground.estimate import Estimate
from monochord.ground.faults import FrameMismatch
from monochord.ground.reliability import quadratic_form
from monochord.ground.statistics import detectable_shift, family_wise, normal_quantile, student_quantile
from monochord.verdict.propagation_checks import known_wanted, share_wanted, wanted

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ComponentShift:
    """One component of a shift.

    value, u     SI;  ratio  value / u
    probability  that chance alone gives as much or more, two-sided, this component by itself
    given_others the same for what is left when the other components are held to no shift (NaN where nothing is left)
    found        whether it is significant at its part of the family's level
    detectable   the shift that would have been found in four cases of five, SI
    """

    name: str
    value: float
    u: float
    ratio: float
    probability: float
    given_others: float
    found: bool
    detectable: float


@dataclass(frozen=True, slots=True)
class ShiftTest:
    """A shift vector against its covariance.

    square       d' C^+ d;  rank  of C;  dof  behind C, infinite when it is known
    probability  that chance alone gives as much or more;  found  probability below the level
    components   one by one
    """

    square: float
    rank: int
    dof: float
    probability: float
    found: bool
    level: float
    components: tuple[ComponentShift, ...]

    @property
    def words(self) -> str:
        """The finding in a sentence."""
        named = ", ".join(c.name for c in self.components if c.found)
        if not self.found:
            alone = f"; {named} alone would stand out" if named else ""
            return f"no shift found (chance gives as much in {100.0 * self.probability:.3g} % of cases){alone}"
        where = f", in {named}" if named else ", though in no component by itself"
        return f"a shift was found{where} (chance gives as much in {100.0 * self.probability:.2g} % of cases)"


def judge_shift(shift: Estimate, *, level: float = 0.05) -> ShiftTest:
    """Whether a shift vector differs from zero, its correlations counted.

    T = d' C^+ d  against chi-square with rank(C) degrees, or T / rank against F(rank, dof) when all of C is scaled by one
    variance that was estimated with dof degrees of freedom;
    component i: d_i / u_i against normal or Student, at the level 1 - (1 - level)^(1/n);
    given the others: (C^-1 d)_i / sqrt((C^-1)_ii), for C of full rank

    shift  after minus before, (n,);  level  of the whole test and of the family of single ones
    A singular C is right for shifts about a fitted motion: d then lies in its range. Undetermined when a component is unknown.
    Source: the congruence test; family level after Sidak 1967 (both from memory).

    >>> d = Estimate.of([3.0, -3.0], ["A.x", "B.x"], unit="m", frame="girder", causes={"noise": np.eye(2)})
    >>> tested = judge_shift(d)
    >>> tested.square, tested.rank, tested.found, [c.found for c in tested.components]
    (18.0, 2, True, [True, True])
    """
    share_wanted("level", level)
    known_wanted(shift.value, shift.names, "its shift is unknown")
    wanted(bool((shift.u > 0.0).all()), "a shift without uncertainty", "u above 0", "leave out what is known exactly")
    square, rank = quadratic_form(shift.value, shift.cov)
    dof = shift.dof
    p = float(chdtrc(rank, square) if math.isinf(dof) else fdtrc(rank, dof, square / rank))
    return ShiftTest(square, rank, dof, p, p < level, level, _components(shift, rank, level))


def _components(shift: Estimate, rank: int, level: float) -> tuple[ComponentShift, ...]:
    n, own = len(shift.value), family_wise(level, len(shift.value))
    ratio = shift.value / shift.u
    rest = np.full(n, math.nan)
    if rank == n:
        inverse = np.linalg.inv(shift.cov / np.outer(shift.u, shift.u))
        rest = inverse @ ratio / np.sqrt(np.diag(inverse))
    least = detectable_shift(own, 0.8)
    if math.isfinite(shift.dof):
        least = student_quantile(1.0 - own / 2.0, shift.dof) + student_quantile(0.8, shift.dof)
    return tuple(
        ComponentShift(name, float(d), float(u), float(t), p, two_sided(float(r), shift.dof), p < own, float(least * u))
        for name, d, u, t, p, r in zip(
            shift.names, shift.value, shift.u, ratio, [two_sided(float(t), shift.dof) for t in ratio], rest, strict=True
        )
    )


def two_sided(ratio: float, dof: float = math.inf) -> float:
    """Probability that chance gives a ratio of value to standard uncertainty as large as this, either sign; NaN for NaN.

    >>> round(two_sided(-1.959964), 4), round(two_sided(2.228, 10), 3)
    (0.05, 0.05)
    """
    return 2.0 * float(ndtr(-abs(ratio)) if math.isinf(dof) else stdtr(dof, -abs(ratio)))


def e_n(
    value: float, expanded: float, reference: float, expanded_reference: float, *, correlation: float = 0.0
) -> float:
    """E_n score of a value against a reference, E_n = (x - X) / sqrt(U^2 + U_ref^2 - 2 r U U_ref); fine when |E_n| <= 1.

    expanded, expanded_reference  EXPANDED uncertainties (k = 2) of both, not standard ones;  correlation  r of the two
    Source: ISO/IEC 17043, ISO 13528 (formula read at second hand, texts from memory).

    >>> round(e_n(10.025, 0.020, 10.010, 0.010), 5)
    0.67082
    """
    wanted(abs(correlation) <= 1.0, f"correlation {correlation:g}", "-1 to 1", "look at the correlation")
    square = expanded**2 + expanded_reference**2 - 2.0 * correlation * expanded * expanded_reference
    wanted(square > 0.0, "no uncertainty of the difference", "more than 0", "give expanded uncertainties")
    return (value - reference) / math.sqrt(square)


def e_n_scores(values: Estimate, reference: Estimate, *, coverage_factor: float = 2.0) -> dict[str, float]:
    """E_n of every component of an estimate against the same component of another; causes they share cancel.

    E_n = (x - X) / (k u(x - X));  with k = 1 it is the zeta score. Components are matched by name. NaN where one is unknown.

    >>> lab = Estimate.of([10.025], ["A.x"], unit="mm", frame="girder", causes={"lab": np.array([[0.010**2]])})
    >>> ref = Estimate.of([10.010], ["A.x"], unit="mm", frame="girder", causes={"ref": np.array([[0.005**2]])})
    >>> round(e_n_scores(lab, ref)["A.x"], 5)
    0.67082
    """
    wanted(coverage_factor > 0.0, f"factor {coverage_factor:g}", "above 0", "2 for E_n, 1 for the zeta score")
    other = reference.pick(values.names)
    if any((a.unit, a.frame) != (b.unit, b.frame) for a, b in zip(values.labels, other.labels, strict=True)):
        raise FrameMismatch(str(other.labels[0]), str(values.labels[0]))
    difference = values - other
    wanted(
        bool((difference.u > 0.0).all()), "no uncertainty of the difference", "more than 0",
        "leave out what both take from the same source",
    )  # fmt: skip
    scores = difference.value / (coverage_factor * difference.u)
    return {name: float(score) for name, score in zip(difference.names, scores, strict=True)}


def least_significant(u: float, *, level: float = 0.05) -> float:
    """The smallest value that is significant at a level, z u, normal law, unit of u.

    >>> round(least_significant(2.0), 2)
    3.92
    """
    return normal_quantile(1.0 - share_wanted("level", level) / 2.0) * u
