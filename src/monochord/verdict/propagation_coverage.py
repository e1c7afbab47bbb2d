"""From a standard uncertainty to an interval or a region that holds the truth with a wanted probability.

Source of the rules: JCGM 100:2008, annex G; JCGM 102:2011, 6.5 (both from memory).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from monochord.ground.estimate import Estimate
from monochord.ground.statistics import chi_square_quantile, f_quantile, student_quantile
from monochord.verdict.propagation_checks import share_wanted, wanted

Array = NDArray[np.float64]


def coverage_factor(p: float, dof: float = math.inf, *, whole: bool = False) -> float:
    """Factor k of a two-sided interval y +- k u that holds the truth with probability p, for a normal law.

    k = Student quantile of (1 + p) / 2 with dof degrees of freedom

    p      0 < p < 1;  dof  degrees of freedom of u, more than 0, infinity when u is known
    whole  cut the degrees of freedom down to a whole number first, as printed tables need (JCGM 100:2008, G.4.1, from memory)

    >>> round(coverage_factor(0.95), 3), round(coverage_factor(0.99, 16.7, whole=True), 2)
    (1.96, 2.92)
    """
    share_wanted("coverage", p)
    wanted(dof > 0.0, f"{dof:g} degrees of freedom", "more than 0", "repeat readings, or tell how well u is known")
    cut = max(math.floor(dof), 1) if whole and math.isfinite(dof) else dof
    return student_quantile(0.5 + p / 2.0, cut)


def rectangular_coverage_factor(p: float) -> float:
    """Factor k of y +- k u for a rectangular law, k = p sqrt(3).

    >>> round(rectangular_coverage_factor(0.95), 3)
    1.645
    """
    return share_wanted("coverage", p) * math.sqrt(3.0)


def expanded(estimate: Estimate, p: float, dof: Array | float | None = None, *, whole: bool = False) -> Array:
    """Expanded uncertainty U = k u of every component, (n,), its unit.

    dof  of each component or of all; None takes the estimate's own

    >>> two = Estimate.of([0.0, 0.0], ["a", "b"], unit="m", frame="girder", causes={"noise": np.diag([1.0, 4.0])})
    >>> expanded(two, 0.95).round(2).tolist()
    [1.96, 3.92]
    """
    each = np.broadcast_to(np.asarray(estimate.dof if dof is None else dof, float), estimate.u.shape)
    return np.array([coverage_factor(p, float(d), whole=whole) for d in each]) * estimate.u


def ellipsoid_factor(p: float, dimension: int, dof: float = math.inf) -> float:
    """Factor k of the ellipsoid (y - t)' U^-1 (y - t) <= k^2 that holds the truth t with probability p.

    k^2 = chi-square quantile of p; with a covariance of dof degrees of freedom nu, k^2 = m nu / (nu - m + 1) F(m, nu - m + 1)

    dimension  m, the rank of U;  dof  at least m. Source: JCGM 102:2011, 6.5.2; Hotelling 1931 (both from memory).

    >>> round(ellipsoid_factor(0.95, 2), 3), round(ellipsoid_factor(0.95, 1, 10), 3)
    (2.448, 2.228)
    """
    share_wanted("coverage", p)
    wanted(
        dimension >= 1 and dof >= dimension,
        f"{dimension} components with {dof:g} degrees of freedom",
        "one component or more, and as many degrees of freedom",
        "take fewer components, or more readings",
    )
    if math.isinf(dof):
        return math.sqrt(chi_square_quantile(p, dimension))
    left = dof - dimension + 1.0
    return math.sqrt(dimension * dof / left * f_quantile(p, dimension, left))


def rectangle_factor_bound(p: float, dimension: int, dof: float = math.inf) -> float:
    """Factor k, never too small, with which y_i +- k u_i hold the truth together with probability p or more.

    Each interval gets 1 - (1 - p) / m, whatever the correlations (Bonferroni; JCGM 102:2011, 6.5.3, from memory).

    >>> round(rectangle_factor_bound(0.95, 2), 3), round(rectangle_factor_bound(0.95, 1), 3)
    (2.241, 1.96)
    """
    share_wanted("coverage", p)
    wanted(dimension >= 1, f"{dimension} components", "one or more", "name the components that count")
    return coverage_factor(1.0 - (1.0 - p) / dimension, dof)
