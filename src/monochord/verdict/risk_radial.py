"""Radial tolerances: the probability that a point, known with its covariance, lies within a circle.

Independent and equally good coordinates give Rice's law; unequal or correlated ones have no closed form and are summed.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from monochord.campaign.found.verdict import CANNOT_BE_DECIDED, CONFORMS, DOES_NOT_CONFORM
from monochord.verdict.propagation_checks import share_wanted, wanted
from monochord.verdict.risk_numerics import about, panels
from monochord.verdict.risk_rms import chance_of_such_length

Array = NDArray[np.float64]


def within_circle(value: ArrayLike, cov: ArrayLike, radius: float) -> float:
    """Probability that the true point (x, y) lies within ``radius`` of zero, for a normal law about the value.

    p = integral over |s| <= R of phi_2(s) [Phi((+c - m_1) / s_1) - Phi((-c - m_1) / s_1)] ds,  c = sqrt(R^2 - s^2)

    along the axis 2 of the error ellipse that is known better, s = R sin t; m, s_1 >= s_2 in the axes of the ellipse

    value  (2,);  cov  (2, 2), may be singular;  radius  R > 0, all in one unit. NaN when a coordinate is unknown.
    Good to 1e-12. Source: Rice 1945 for equal axes (from memory); else derived.

    >>> round(within_circle([0.0, 0.0], [[1.0, 0.0], [0.0, 1.0]], 1.0), 5)  # the standard error ellipse holds 39 %
    0.39347
    """
    point, matrix = np.asarray(value, float), np.asarray(cov, float)
    wanted(radius > 0.0, f"radius {radius:g}", "more than 0", "give the tolerance as a radius")
    wanted(
        point.shape == (2,) and matrix.shape == (2, 2),
        f"{point.shape}, {matrix.shape}",
        "(2,) and (2, 2)",
        "pick x and y",
    )
    if not np.isfinite(point).all() or not np.isfinite(matrix).all():
        return math.nan
    squares, axes = np.linalg.eigh(matrix / radius**2)
    wanted(
        bool(squares[0] >= -1e-9 * abs(squares[1]) and squares[1] >= 0.0), "a negative variance", "a covariance",
        "look at the covariance",
    )  # fmt: skip
    (fine, coarse), (m_fine, m_coarse) = np.sqrt(np.maximum(squares, 0.0)), (point / radius) @ axes
    if fine <= 1e-9 * coarse or fine == 0.0:
        return _across(float(m_fine), float(m_coarse), float(coarse))
    t, weight = panels(_turns(float(m_fine), float(fine), float(m_coarse), float(coarse)))
    density = np.exp(-0.5 * ((np.sin(t) - m_fine) / fine) ** 2) / (fine * math.sqrt(2.0 * math.pi))
    chord = np.cos(t)
    inside = ndtr((chord - m_coarse) / coarse) - ndtr((-chord - m_coarse) / coarse)
    return min(float(np.sum(weight * density * chord * inside)), 1.0)


def judge_radial(value: ArrayLike, cov: ArrayLike, radius: float, risk: float = 0.05) -> str:
    """One of the three verdicts for a point against a circle about zero.

    conforms when the probability of lying within is 1 - risk or more; does not conform when a point within would give a
    reading as far out with a probability of ``risk`` at most; an unknown point cannot be decided

    >>> [judge_radial([x, 0.0], np.diag([4.0, 4.0]), 30.0) for x in (26.0, 29.0, 34.0)]
    ['conforms', 'cannot be decided', 'does not conform']
    """
    share_wanted("risk", risk)
    p = within_circle(value, cov, radius)
    if math.isnan(p):
        return CANNOT_BE_DECIDED
    if p >= 1.0 - risk:
        return CONFORMS
    return DOES_NOT_CONFORM if chance_of_such_length(value, cov, radius) <= risk else CANNOT_BE_DECIDED


def _turns(m_fine: float, fine: float, m_coarse: float, coarse: float) -> list[float]:
    """Breaks in t: where the density lives, and where the circle's edge passes through the point's uncertainty."""
    lives = [math.asin(min(max(s, -1.0), 1.0)) for s in about([m_fine], fine)]
    edge = [math.acos(c) for c in about([abs(m_coarse)], coarse) if 0.0 < c < 1.0]
    low, high = min(lives), max(lives)
    return [*lives, *(t for turn in edge for t in (turn, -turn) if low < t < high)]


def _across(m_fine: float, m_coarse: float, coarse: float) -> float:
    """The same on a line: one coordinate is known."""
    chord = math.sqrt(max(1.0 - m_fine**2, 0.0))
    if abs(m_fine) > 1.0:
        return 0.0
    if coarse == 0.0:
        return float(abs(m_coarse) <= chord)
    return float(ndtr((chord - m_coarse) / coarse) - ndtr((-chord - m_coarse) / coarse))
