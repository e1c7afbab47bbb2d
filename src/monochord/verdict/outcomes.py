"""What a tolerance says of one value, of x and y together, of a root mean square, and of all components at once."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.verdict import CANNOT_BE_DECIDED, CONFORMS, DOES_NOT_CONFORM
from monochord.campaign.given.tolerance import CONSUMERS, PRODUCERS, SIMPLE_ACCEPTANCE, Tolerance
from monochord.ground.estimate import Estimate
from monochord.ground.statistics import student_quantile
from monochord.verdict.conformity import judge, probability_within
from monochord.verdict.joint import Together, all_conform, judge_rms, rms_conforms
from monochord.verdict.joint_normal import rectangle_probability
from monochord.verdict.risk import probability_conforming
from monochord.verdict.risk_global import GlobalRisks, global_risks, probability_conforming_given
from monochord.verdict.risk_priors import NormalPrior, Prior, UniformPrior
from monochord.verdict.risk_radial import judge_radial, within_circle
from monochord.verdict.risk_rms import chance_of_such_length, rms_within
from monochord.verdict.tolerated import Known, limits_of, rule_of

Array = NDArray[np.float64]

#: Below this the probability of what a uniform prior allows is no more than the error of its sum.
FAR_OUT = 1e-3
#: Why only single values have the risks of a whole fleet.
ONE_VALUE_ONLY = "the risks over all there may be are told for each axis by itself"


@dataclass(frozen=True, slots=True)
class Outcome:
    """One decision: value and u [SI], the three-word verdict, its probabilities; posterior None without a prior that tells it.

    fleet  risks over all there may be, None where they are not told, with the reason in ``why``
    """

    value: float
    u: float
    verdict: str
    probability: float
    guard: float = math.nan
    posterior: float | None = None
    fleet: GlobalRisks | None = None
    why: str = ""
    dof: float = math.inf


def axis_outcome(value: float, u: float, tolerance: Tolerance, known: Known, *, dof: float = math.inf) -> Outcome:
    """One component against its limits; an unknown one (NaN) cannot be decided.

    >>> from monochord.verdict.tolerated import prior_of
    >>> limit = Tolerance("offset", 30e-6, sides="upper")
    >>> axis_outcome(-80e-6, 2e-6, limit, prior_of(limit.prior)).verdict
    'conforms'
    """
    if not (math.isfinite(value) and math.isfinite(u)):
        return Outcome(value, u, CANNOT_BE_DECIDED, math.nan, why="its value is not known")
    limits, rule = limits_of(tolerance), rule_of(tolerance, u, dof)
    simple = tolerance.rule == SIMPLE_ACCEPTANCE
    if not simple and tolerance.whose == CONSUMERS and tolerance.even and math.isinf(dof):
        verdict = judge(value, u, tolerance.limit, risk=tolerance.risk)
        p = probability_within(value, u, tolerance.limit)
    else:
        verdict, p = rule.judge(value), probability_conforming(value, u, limits, dof=dof)
    guard = math.nan if simple else student_quantile(1.0 - tolerance.risk, dof) * u
    if known.law is None:
        return Outcome(value, u, verdict, p, guard, why=known.why, dof=dof)
    after = probability_conforming_given(value, u, limits, known.law)
    risks = global_risks(known.law, u, limits, rule.accept)
    return Outcome(value, u, verdict, p, guard, after, risks, dof=dof)


def radial_outcome(pair: Estimate, tolerance: Tolerance, known: Known) -> Outcome:
    """The length of (x, y) against the radius of a circle about zero, their correlation counted.

    >>> from monochord.verdict.tolerated import prior_of
    >>> one = Estimate.of([27e-6, 10e-6], ["Q.x", "Q.y"], unit="m", frame="girder", causes={"n": 4e-12 * np.eye(2)})
    >>> circle = Tolerance("offset", 30e-6, form="radial")
    >>> found = radial_outcome(one, circle, prior_of(circle.prior))
    >>> found.verdict, round(1e6 * found.value, 3)
    ('cannot be decided', 28.792)
    """
    v, cov, limit = pair.value, pair.cov, tolerance.limit
    if not _all_known(v, cov):
        return _unknown()
    length = float(np.hypot(*v))
    verdict = _length_verdict(tolerance, length, limit, (v, cov)) or judge_radial(v, cov, limit, tolerance.risk)
    p, (after, why) = within_circle(v, cov, limit), _after(pair, known)
    posterior = None if after is None else within_circle(*after, limit)
    return Outcome(length, _u_of_length(v, cov), verdict, p, posterior=posterior, why=why, dof=pair.dof)


def rms_outcome(all_: Estimate, tolerance: Tolerance, known: Known) -> Outcome:
    """The root mean square of all components against a limit, their correlation counted.

    >>> from monochord.verdict.tolerated import prior_of
    >>> two = Estimate.of([3e-6, -4e-6], ["Q.x", "Q.y"], unit="m", frame="girder", causes={"n": 1e-14 * np.eye(2)})
    >>> limit = Tolerance("offset", 3.8e-6, form="rms")
    >>> rms_outcome(two, limit, prior_of(limit.prior)).verdict
    'conforms'
    """
    v, cov, limit = all_.value, all_.cov, tolerance.limit
    if not _all_known(v, cov):
        return _unknown()
    root_n = math.sqrt(v.size)
    length = float(np.linalg.norm(v))
    verdict = _length_verdict(tolerance, length, limit * root_n, (v, cov)) or judge_rms(all_, limit, tolerance.risk)
    p, (after, why) = rms_conforms(all_, limit), _after(all_, known)
    posterior = None if after is None else rms_within(*after, limit)
    u = _u_of_length(v, cov) / root_n
    return Outcome(length / root_n, u, verdict, p, posterior=posterior, why=why, dof=all_.dof)


def all_outcome(all_: Estimate, tolerance: Tolerance, known: Known) -> tuple[Outcome, str]:
    """Every component within its limits at once, and the name of the one that keeps them least surely, whose value is told.

    >>> from monochord.verdict.tolerated import prior_of
    >>> two = Estimate.of([3e-6, -4e-6], ["Q.x", "Q.y"], unit="m", frame="girder", causes={"n": 1e-12 * np.eye(2)})
    >>> limit = Tolerance("offset", 6e-6, form="all together")
    >>> found, weakest = all_outcome(two, limit, prior_of(limit.prior))
    >>> found.verdict, weakest, round(found.probability, 3)
    ('conforms', 'Q.y', 0.976)
    """
    v, cov = all_.value, all_.cov
    if not _all_known(v, cov):
        return _unknown(), ""
    low, high = tolerance.ends
    joint = all_conform(all_, high, lower=low)
    verdict = _all_verdict(tolerance, joint, bool(((v >= low) & (v <= high)).all()))
    posterior, why = _all_after(all_, tolerance, known)
    margin = np.minimum(v - low, high - v)
    with np.errstate(divide="ignore", invalid="ignore"):
        i = int(np.argmin(np.where(all_.u > 0.0, margin / all_.u, np.copysign(np.inf, margin))))
    p = joint.all_conform.probability
    told = Outcome(float(v[i]), float(all_.u[i]), verdict, p, posterior=posterior, why=why, dof=all_.dof)
    return told, all_.names[i]


def _unknown() -> Outcome:
    return Outcome(math.nan, math.nan, CANNOT_BE_DECIDED, math.nan, why="its value is not known")


def _all_known(value: Array, cov: Array) -> bool:
    return value.size > 0 and bool(np.isfinite(value).all() and np.isfinite(cov).all())


def _length_verdict(tolerance: Tolerance, length: float, limit: float, known: tuple[Array, Array]) -> str | None:
    """The verdict on a length by the rules that ask for no proof within the limit; None for the guard band."""
    if tolerance.rule == SIMPLE_ACCEPTANCE:
        return CONFORMS if length <= limit else DOES_NOT_CONFORM
    if tolerance.whose == PRODUCERS:
        return DOES_NOT_CONFORM if chance_of_such_length(*known, limit) <= tolerance.risk else CONFORMS
    return None


def _all_verdict(tolerance: Tolerance, joint: Together, within: bool) -> str:
    if tolerance.rule == SIMPLE_ACCEPTANCE:
        return CONFORMS if within else DOES_NOT_CONFORM
    if tolerance.whose == PRODUCERS:
        return DOES_NOT_CONFORM if joint.proven_out(tolerance.risk) else CONFORMS
    return joint.judge(tolerance.risk)


def _u_of_length(value: Array, cov: Array) -> float:
    """Standard uncertainty of a length, to first order; at zero that of the component known least."""
    length = float(np.linalg.norm(value))
    if length == 0.0:
        return math.sqrt(max(float(np.linalg.eigvalsh(cov)[-1]), 0.0))
    along = value / length
    return math.sqrt(max(float(along @ cov @ along), 0.0))


def _after(all_: Estimate, known: Known) -> tuple[tuple[Array, Array] | None, str]:
    """Mean and covariance once each component is known beforehand by a normal law, independent of the others."""
    if known.law is None:
        return None, known.why
    if not isinstance(known.law, NormalPrior):
        return None, "of a length only a normal prior or that of a fleet is told"
    return _shrunk(all_.value, all_.cov, known.law), ONE_VALUE_ONLY


def _shrunk(value: Array, cov: Array, law: NormalPrior) -> tuple[Array, Array]:
    """Product of two normal laws, written so that a singular covariance of the reading is allowed."""
    before = law.u**2 * np.eye(value.size)
    gain = np.linalg.solve(before + cov, before).T
    return law.mean + gain @ (value - law.mean), before - gain @ before


def _all_after(all_: Estimate, tolerance: Tolerance, known: Known) -> tuple[float | None, str]:
    low, high = tolerance.ends
    law: Prior | None = known.law
    if law is None:
        return None, known.why
    if isinstance(law, NormalPrior):
        mean, cov = _shrunk(all_.value, all_.cov, law)
        return rectangle_probability(mean, cov, low, high).probability, ONE_VALUE_ONLY
    if not isinstance(law, UniformPrior):
        return None, "of all together only a normal, a uniform prior or that of a fleet is told"
    a, b = max(low, law.low), min(high, law.high)
    whole = rectangle_probability(all_.value, all_.cov, law.low, law.high).probability
    if whole < FAR_OUT:
        return None, "the values lie so far beyond the uniform prior that it cannot be meant"
    inside = rectangle_probability(all_.value, all_.cov, a, b).probability if a < b else 0.0
    return min(inside / whole, 1.0), ONE_VALUE_ONLY
