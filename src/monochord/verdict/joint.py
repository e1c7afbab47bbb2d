"""A whole girder against its tolerance: that ALL magnets conform, the largest value, the root mean square.

Offsets of one girder hang together, through the common line, the sag, the scale. That all of them lie within their limits is
neither the product of the single probabilities nor the smallest of them; it is computed from the joint covariance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from monochord.campaign.found.verdict import CANNOT_BE_DECIDED, CONFORMS, DOES_NOT_CONFORM
from monochord.ground.estimate import Estimate
from monochord.verdict.joint_normal import SEED, SHIFTS, SIGMAS, UNCORRELATED, Chance, rectangle_probability, richtmyer
from monochord.verdict.propagation_checks import known_wanted, share_wanted, wanted
from monochord.verdict.propagation_coverage import coverage_factor, rectangle_factor_bound
from monochord.verdict.risk_numerics import root
from monochord.verdict.risk_radial import within_circle
from monochord.verdict.risk_rms import chance_of_such_length, rms_within

Array = NDArray[np.float64]

UNKNOWN = "its value is unknown, so nothing can be said of all together"


@dataclass(frozen=True, eq=False, slots=True)
class Together:
    """Whether all components keep their limits.

    all_conform  probability that they do, with its error;  each (n,) single probabilities, by ``names``
    at_least, at_most   what it must lie between whatever the correlations: sum of p less n - 1, and the smallest p
    if_independent      what it would be without correlation, the product
    outside (n,) largest probability with which a conforming component gives a reading as far out: small where one is proven out
    """

    all_conform: Chance
    names: tuple[str, ...]
    each: Array
    outside: Array
    at_least: float
    at_most: float
    if_independent: float

    @property
    def weakest(self) -> str:
        """The component that conforms with the smallest probability."""
        return self.names[int(np.argmin(self.each))]

    def proven_out(self, risk: float = 0.05) -> tuple[str, ...]:
        """Components that are proven not to conform, the risk shared out evenly over all of them."""
        share_wanted("risk", risk)
        return tuple(n for n, p in zip(self.names, self.outside, strict=True) if p <= risk / len(self.names))

    def judge(self, risk: float = 0.05) -> str:
        """One of the three verdicts for all together; the error of the probability may not decide.

        conforms when p - error >= 1 - risk; does not conform when one component is proven out: a small p alone may only mean
        that many components were measured poorly
        """
        wanted(0.0 < risk < 0.5, f"risk {risk:g}", "above 0 and below 0.5", "give 5 % as 0.05")
        if self.all_conform.probability - self.all_conform.error >= 1.0 - risk:
            return CONFORMS
        return DOES_NOT_CONFORM if self.proven_out(risk) else CANNOT_BE_DECIDED


def all_conform(
    estimate: Estimate, limits: ArrayLike, *, lower: ArrayLike | None = None, tolerance: float = 2e-4, seed: int = SEED
) -> Together:
    """Probability that every component lies within its own limits, L_i <= v_i <= U_i for all i, from the joint covariance.

    limits  (n,) or one, unit of the components: the upper ones, above 0 unless ``lower`` is given;  lower  None: -limits
    Undetermined, with the names, when a component is unknown. Limits may be infinite on one side.

    >>> pair = Estimate.of([0.0, 0.0], ["A.x", "B.x"], unit="m", frame="girder", causes={"sag": np.ones((2, 2))})
    >>> both = all_conform(pair, 1.96)
    >>> round(both.all_conform.probability, 3), round(both.if_independent, 4)  # one cause: one fate
    (0.95, 0.9025)
    """
    known_wanted(estimate.value, estimate.names, UNKNOWN)
    bound = np.broadcast_to(np.asarray(limits, float), estimate.value.shape)
    least = -bound if lower is None else np.broadcast_to(np.asarray(lower, float), estimate.value.shape)
    wanted(
        estimate.value.size > 0 and bool((least < bound).all()),
        f"limits {least.tolist()} to {bound.tolist()}",
        "above 0, or the lower ones below the upper ones",
        "name limits",
    )
    value, u = estimate.value, estimate.u
    # the side of the nearer limit, mirrored to the upper one: both tails keep their digits
    mirrored = value - least < bound - value
    near, far = np.where(mirrored, value - least, bound - value), np.where(mirrored, value - bound, least - value)
    with np.errstate(divide="ignore", invalid="ignore"):
        each = np.where(u > 0.0, ndtr(near / u) - ndtr(far / u), near >= 0.0)
        outside = np.where(u > 0.0, ndtr(near / u), near >= 0.0)
    chance = rectangle_probability(estimate.value, estimate.cov, least, bound, tolerance=tolerance, seed=seed)
    return _together(chance, estimate.names, each, outside)


def _together(chance: Chance, names: tuple[str, ...], each: Array, outside: Array) -> Together:
    at_least = max(float(each.sum()) - len(each) + 1.0, 0.0)
    return Together(chance, names, each, outside, at_least, float(each.min()), float(each.prod()))


def largest_within(estimate: Estimate, limit: float, *, tolerance: float = 2e-4, seed: int = SEED) -> Chance:
    """Probability that the largest absolute value of all components is within one limit; the same as all conforming.

    >>> three = Estimate.of([0.0] * 3, ["A", "B", "C"], unit="m", frame="girder", causes={"noise": np.eye(3)})
    >>> round(largest_within(three, 2.0).probability, 4)
    0.8696
    """
    return all_conform(estimate, limit, tolerance=tolerance, seed=seed).all_conform


def all_within_circles(
    estimate: Estimate, pairs: Sequence[tuple[str, str]], radii: ArrayLike,
    *, tolerance: float = 2e-3, most_points: int = 2**15, seed: int = SEED,
) -> Together:  # fmt: skip
    """Probability that every point (x, y) lies within its circle, radial tolerance along a girder.

    pairs  names of x and y of each point;  radii  (k,) or one, above 0
    Points without a cause in common multiply; else points are counted over shifted lattices, error as in rectangle_probability.

    >>> two = Estimate.of([0.0] * 4, ["A.x", "A.y", "B.x", "B.y"], unit="m", frame="girder", causes={"noise": np.eye(4)})
    >>> both = all_within_circles(two, [("A.x", "A.y"), ("B.x", "B.y")], 1.0)
    >>> round(both.all_conform.probability, 5) == round(0.39347**2, 5), both.all_conform.error
    (True, 0.0)
    """
    names = [name for pair in pairs for name in pair]
    wanted(bool(names), "no pairs", "one or more", "name x and y of each point")
    picked = estimate.pick(names)
    known_wanted(picked.value, picked.names, UNKNOWN)
    radius = np.broadcast_to(np.asarray(radii, float), (len(pairs),))
    wanted(bool((radius > 0.0).all()), f"radii {radius.tolist()}", "above 0", "name radii")
    cov, points = picked.cov, picked.value.reshape(-1, 2)
    blocks = [slice(2 * k, 2 * k + 2) for k in range(len(pairs))]
    known = list(zip(points, (cov[s, s] for s in blocks), (float(r) for r in radius), strict=True))
    each = np.array([within_circle(*point) for point in known])
    outside = np.array([chance_of_such_length(*point) for point in known])
    xs = tuple(x for x, _ in pairs)
    if _apart(cov, blocks):
        return _together(Chance(float(each.prod()), 0.0, 0), xs, each, outside)
    return _together(_counted(picked.value, cov, radius, tolerance, most_points, seed=seed), xs, each, outside)


def _apart(cov: Array, blocks: Sequence[slice]) -> bool:
    """Whether no point is correlated with another."""
    u = np.sqrt(np.diag(cov))
    near = np.abs(cov) > UNCORRELATED * np.outer(u, u)
    return not any(near[s, t].any() for i, s in enumerate(blocks) for t in blocks[:i])


def _counted(value: Array, cov: Array, radius: Array, tolerance: float, most: int, *, seed: int) -> Chance:
    """Part of the points, drawn evenly, that lie within all circles."""
    squares, axes = np.linalg.eigh(cov)
    held = squares > 1e-14 * squares[-1]
    root = axes[:, held] * np.sqrt(squares[held])
    shifts = np.random.default_rng(seed).random((SHIFTS, int(held.sum())))
    count, error, mean = 512, math.inf, 0.0
    while error > tolerance and count < most:
        count *= 2
        each = [_share_inside(value, root, radius, count, shift) for shift in shifts]
        mean = float(np.mean(each))
        # no point outside proves nothing beyond one in so many
        error = max(SIGMAS * float(np.std(each, ddof=1)) / math.sqrt(SHIFTS), 3.0 / (count * SHIFTS))
    return Chance(mean, error, count * SHIFTS)


def _share_inside(value: Array, root: Array, radius: Array, count: int, shift: Array) -> float:
    z = ndtri(np.clip((richtmyer(count, root.shape[1]) + shift) % 1.0, 1e-16, 1.0 - 1e-16))
    points = (value + z @ root.T).reshape(count, -1, 2)
    return float(((points**2).sum(axis=2) <= radius**2).all(axis=1).mean())


def rms_conforms(estimate: Estimate, limit: float, weights: ArrayLike | None = None) -> float:
    """Probability that the root mean square of all components keeps a limit, exact for a normal law.

    >>> three = Estimate.of([0.0] * 3, ["A", "B", "C"], unit="m", frame="girder", causes={"noise": np.eye(3)})
    >>> round(rms_conforms(three, (7.815 / 3.0) ** 0.5), 4)
    0.95
    """
    known_wanted(estimate.value, estimate.names, UNKNOWN)
    return rms_within(estimate.value, estimate.cov, limit, weights)


def judge_rms(estimate: Estimate, limit: float, risk: float = 0.05) -> str:
    """One of the three verdicts for the root mean square of all components, equally weighted.

    conforms when the probability is 1 - risk or more; does not conform when components within the limit would give a reading
    as large with a probability of ``risk`` at most

    >>> three = Estimate.of([9.0, -9.0, 9.0], ["A", "B", "C"], unit="m", frame="girder", causes={"noise": np.eye(3)})
    >>> [judge_rms(three, limit) for limit in (12.0, 9.0, 7.0)]
    ['conforms', 'cannot be decided', 'does not conform']
    """
    share_wanted("risk", risk)
    if rms_conforms(estimate, limit) >= 1.0 - risk:
        return CONFORMS
    length = limit * math.sqrt(estimate.value.size)
    out = chance_of_such_length(estimate.value, estimate.cov, length) <= risk
    return DOES_NOT_CONFORM if out else CANNOT_BE_DECIDED


def joint_factor(estimate: Estimate, p: float, *, seed: int = SEED) -> float:
    """Factor k with which the intervals v_i +- k u_i hold all truths together with probability p, correlations counted.

    It lies between the factor of a single component and ``rectangle_factor_bound``. Components without uncertainty are left out.

    >>> pair = Estimate.of([0.0, 0.0], ["A.x", "B.x"], unit="m", frame="girder", causes={"sag": np.ones((2, 2))})
    >>> round(joint_factor(pair, 0.95), 3)
    1.96
    """
    share_wanted("coverage", p)
    u = estimate.u
    moving = u > 0.0
    wanted(bool(moving.any()), "no component with an uncertainty", "one or more", "nothing needs a factor")
    correlation = (estimate.cov / np.outer(np.where(moving, u, 1.0), np.where(moving, u, 1.0)))[np.ix_(moving, moving)]
    zero = np.zeros(len(correlation))

    def excess(k: float) -> float:
        # one lattice of fixed size, so that the function is the same at every k
        return (
            rectangle_probability(zero, correlation, -k, k, tolerance=0.0, most_points=4096, seed=seed).probability - p
        )

    low, high = coverage_factor(p), rectangle_factor_bound(p, len(zero))
    return low if excess(low) >= 0.0 else root(excess, low, high + 1e-6)
