"""Degrees of freedom of an uncertainty that is made of several causes, each known as well as it is.

A cause whose covariance came from nu spare readings has nu degrees of freedom; a cause that is known has
infinitely many. The formula holds for causes whose variances were found independently of each other. Two cases of
correlated inputs are within it: inputs correlated within one cause (read together, n - 1 degrees for all), and
inputs that share a cause (the shares are taken in the outcome, where they have added already). Causes whose
spreads rest on one and the same estimated variance are not independent: name them ``together``. Estimates whose
variances are correlated in part are outside the formula; then the smallest dof is the careful choice.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from monochord.ground.estimate import Estimate, kind_of
from monochord.verdict.propagation_checks import share_wanted, wanted
from monochord.verdict.propagation_coverage import coverage_factor

Array = NDArray[np.float64]


def dof_of_cause(cause: str, dof_of: Mapping[str, float]) -> float:
    """Degrees of freedom of one cause: by its id, then by its kind, else infinite.

    >>> dof_of_cause("mounting:T1", {"mounting": 12.0}), dof_of_cause("sag", {})
    (12.0, inf)
    """
    found = dof_of.get(cause, dof_of.get(kind_of(cause), math.inf))
    wanted(found > 0.0, f"{found:g} degrees of freedom of {cause}", "more than 0", "leave unknown ones out")
    return found


def effective_dof(estimate: Estimate, dof_of: Mapping[str, float], *, together: Sequence[Sequence[str]] = ()) -> Array:
    """Effective degrees of freedom of every component, (n,), Welch-Satterthwaite over its causes.

    nu_eff = u^4 / sum_c (u_c^4 / nu_c),  min(nu_c) <= nu_eff <= sum(nu_c);  infinite when only known causes act

    dof_of    cause id or kind -> degrees of freedom, infinite where a cause is not named
    together  groups of cause ids that rest on one estimated variance; their shares add before they are squared, and the
              group has the smallest dof of its members
    Source: Welch 1947, Satterthwaite 1946; JCGM 100:2008, G.4 (all from memory).

    >>> one = Estimate.of([0.0], ["a"], unit="m", frame="girder", causes={"read": np.eye(1), "scale": np.eye(1)})
    >>> effective_dof(one, {"read": 5.0}).round(6).tolist()
    [20.0]
    """
    unknown = [cause for group in together for cause in group if cause not in estimate.factors]
    wanted(not unknown, f"no cause {unknown}", "causes of the estimate", "name causes as the estimate does")
    grouped = {cause for group in together for cause in group}
    groups = [*together, *([cause] for cause in estimate.factors if cause not in grouped)]
    doubt = np.zeros(len(estimate.value))
    for group in groups:
        share = np.sum([_variance(estimate, cause) for cause in group], axis=0)
        doubt += share**2 / min(dof_of_cause(cause, dof_of) for cause in group)
    total = np.sum([_variance(estimate, cause) for cause in estimate.factors], axis=0) + np.zeros(len(doubt))
    found: Array = np.divide(total**2, doubt, out=np.full(len(doubt), math.inf), where=doubt > 0.0)
    return found


def _variance(estimate: Estimate, cause: str) -> Array:
    factor = estimate.factors[cause]
    found: Array = np.einsum("ij,jk,ik->i", factor.jacobian, factor.spread, factor.jacobian)
    return found


def with_dof(estimate: Estimate, dof_of: Mapping[str, float], *, together: Sequence[Sequence[str]] = ()) -> Estimate:
    """The same estimate, told the smallest effective degrees of freedom among its components.

    >>> one = Estimate.of([0.0], ["a"], unit="m", frame="girder", causes={"read": np.eye(1), "scale": np.eye(1)})
    >>> round(with_dof(one, {"read": 5.0}).dof, 6)
    20.0
    """
    return replace(estimate, dof=float(np.min(effective_dof(estimate, dof_of, together=together), initial=math.inf)))


def expanded_by_causes(estimate: Estimate, p: float, dof_of: Mapping[str, float], *, whole: bool = False) -> Array:
    """Expanded uncertainty (n,) of every component with the coverage factor of its own effective degrees of freedom.

    >>> one = Estimate.of([0.0], ["a"], unit="m", frame="girder", causes={"read": np.eye(1)})
    >>> expanded_by_causes(one, 0.95, {"read": 10.0}).round(3).tolist()
    [2.228]
    """
    share_wanted("coverage", p)
    factors = [coverage_factor(p, float(nu), whole=whole) for nu in effective_dof(estimate, dof_of)]
    return np.array(factors) * estimate.u


def dof_from_doubt(relative: float) -> float:
    """Degrees of freedom that fit a standard uncertainty which is itself good to a relative doubt, nu = 1 / (2 r^2).

    relative  r > 0, so that "u is good to 25 %" is 0.25. Source: JCGM 100:2008, G.4.2 (from memory).

    >>> dof_from_doubt(0.25), dof_from_doubt(0.5)
    (8.0, 2.0)
    """
    wanted(relative > 0.0, f"relative doubt {relative:g}", "more than 0", "say 25 % as 0.25")
    return 0.5 / relative**2


def doubt_from_dof(dof: float) -> float:
    """Relative standard uncertainty of a standard uncertainty, r = 1 / sqrt(2 nu).

    >>> doubt_from_dof(8.0)
    0.25
    """
    wanted(dof > 0.0, f"{dof:g} degrees of freedom", "more than 0", "repeat readings")
    return math.sqrt(0.5 / dof)
