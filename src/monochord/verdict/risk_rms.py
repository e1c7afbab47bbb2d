"""Tolerances on a root mean square or a length: the law of a sum of squares of correlated normal numbers.

Its tail probability is an integral in the complex plane. Taken through the saddle of the integrand and bent away from the
singularities it converges in a few hundred terms, for probabilities near 0 and near 1 as well.
Source: Rice 1980 (from memory); the path taken here is derived.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monochord.verdict.propagation_checks import wanted

Array = NDArray[np.float64]

#: How far the path leans to the right of straight up: well between its bounds 0 and 1, where it would not converge.
LEAN = 0.5

#: Relative error of the logarithm of the place where the path leaves the real line.
SADDLE = 1e-4


def length_within(value: ArrayLike, cov: ArrayLike, limit: float) -> float:
    """Probability that the true vector is no longer than ``limit``, |v| <= L, for a normal law about the value.

    |v|^2 = sum_i (b_i + sqrt(l_i) z_i)^2,  l the eigenvalues of the covariance, b the value along its axes, z standard normal

    value  (n,);  cov  (n, n), may be singular;  limit  L > 0, all in one unit. NaN when a component is unknown.
    Good to about 1e-10.

    >>> round(length_within(np.zeros(3), np.eye(3), 7.815**0.5), 4)  # chi-square of three, 95 %
    0.95
    """
    v, matrix = np.asarray(value, float), np.asarray(cov, float)
    wanted(limit > 0.0, f"limit {limit:g}", "more than 0", "give the tolerance as a length")
    wanted(
        matrix.shape == (v.size, v.size),
        f"{v.shape}, {matrix.shape}",
        "n values and (n, n)",
        "give the joint covariance",
    )
    if not np.isfinite(v).all() or not np.isfinite(matrix).all():
        return math.nan
    squares, axes = np.linalg.eigh(matrix / limit**2)
    largest = float(squares[-1]) if v.size else 0.0
    wanted(
        v.size == 0 or float(squares[0]) >= -1e-9 * largest,
        "a negative variance",
        "a covariance",
        "look at the covariance",
    )
    along = (v / limit) @ axes
    known = squares <= 1e-14 * largest
    left = 1.0 - float(np.sum(along[known] ** 2))
    if known.all() or largest == 0.0:
        return float(left >= 0.0)
    return 0.0 if left <= 0.0 else _below(_Sum(squares[~known], along[~known] ** 2, left))


def rms_within(value: ArrayLike, cov: ArrayLike, limit: float, weights: ArrayLike | None = None) -> float:
    """Probability that the true root mean square is within the limit, sqrt(sum w_i v_i^2 / sum w_i) <= L.

    value  (n,);  cov  (n, n);  weights  (n,), none negative, equal when None

    >>> round(rms_within([3.0, -4.0], 0.01 * np.eye(2), 3.6), 4), rms_within([3.0, -4.0], np.zeros((2, 2)), 3.5)
    (0.8164, 0.0)
    """
    v = np.asarray(value, float)
    w = np.ones(v.size) if weights is None else np.asarray(weights, float)
    good = w.shape == v.shape and bool((w >= 0.0).all()) and float(w.sum()) > 0.0
    wanted(good, f"weights {w.tolist()}", "one for each value, none negative", "give the weights")
    scale = np.sqrt(w / w.sum())
    return length_within(scale * v, np.asarray(cov, float) * np.outer(scale, scale), limit)


def chance_of_such_length(value: ArrayLike, cov: ArrayLike, limit: float) -> float:
    """Largest probability with which a truth within the limit gives a reading as long as this one or longer.

    max over |t| = L of P(|t + noise| >= |value|): small where the limit is proven exceeded, however poor the measurement.
    The truth is put on the limit along each axis of the covariance and along the reading; the worst of these counts.

    >>> round(chance_of_such_length([5.0, 0.0], np.diag([1.0, 1e-6]), 3.0), 4)  # two standard uncertainties beyond
    0.0228
    """
    v, matrix = np.asarray(value, float), np.asarray(cov, float)
    length = float(np.linalg.norm(v))
    if math.isnan(length):
        return math.nan
    if length <= limit:
        return 1.0
    axes = np.linalg.eigh(matrix)[1].T
    return max(1.0 - length_within(limit * axis, matrix, length) for axis in [*axes, v / length])


@dataclass(frozen=True, eq=False, slots=True)
class _Sum:
    """Sum of (b_i + sqrt(l_i) z_i)^2 against x: exponent K(s) = ln E exp(s Q) - s x and its derivatives."""

    l: Array  # noqa: E741 (the letter of the equation)
    b2: Array
    x: float

    @property
    def mean(self) -> float:
        return float(np.sum(self.l + self.b2))

    def exponent(self, s: NDArray[np.complex128]) -> NDArray[np.complex128]:
        gap = 1.0 - 2.0 * s[:, None] * self.l
        return np.asarray(np.sum(-0.5 * np.log(gap) + self.b2 * s[:, None] / gap, axis=1) - s * self.x)

    def slope(self, s: float) -> float:
        """First derivative of K - ln|s|."""
        gaps = [(lam, b2, 1.0 - 2.0 * s * lam) for lam, b2 in zip(self.l.tolist(), self.b2.tolist(), strict=True)]
        return float(sum(lam / gap + b2 / gap**2 for lam, b2, gap in gaps)) - self.x - 1.0 / s

    def slopes(self, s: float) -> tuple[float, float, float]:
        """First three derivatives of K - ln|s|."""
        gap = 1.0 - 2.0 * s * self.l
        first = np.sum(self.l / gap + self.b2 / gap**2) - self.x - 1.0 / s
        second = np.sum(2.0 * (self.l / gap) ** 2 + 4.0 * self.l * self.b2 / gap**3) + 1.0 / s**2
        third = np.sum(8.0 * (self.l / gap) ** 3 + 24.0 * self.l**2 * self.b2 / gap**4) - 2.0 / s**3
        return float(first), float(second), float(third)


def _below(q: _Sum) -> float:
    """P(Q <= x): below the mean the lower tail is summed, above it the upper one, each through its own saddle."""
    lower = q.x < q.mean
    saddle = _saddle(q, lower)
    if math.isinf(saddle):
        return 1.0
    _, second, third = q.slopes(saddle)
    bend = max(third / (6.0 * second), 0.05 * math.sqrt(second))
    tail = _tail(q, saddle, second, bend)
    return min(max(tail if lower else 1.0 - tail, 0.0), 1.0)


def _saddle(q: _Sum, lower: bool) -> float:
    """Real place, left of 0 or between 0 and the first singularity, where the integrand is least along the real line.

    Infinite where it lies within 1e-9 of the singularity: x is beyond 1e9 of the variance then, and so rare that exp gives 0.
    """
    pole = 0.5 / float(q.l[-1])
    if not lower:
        if q.slope(pole * (1.0 - 1e-9)) < 0.0:
            return math.inf
        return _place(q, 1e-9 * min(pole, 1.0 / q.x), pole * (1.0 - 1e-9))
    far = -1.0 / q.x
    while q.slope(far) > 0.0:
        far *= 4.0
    near = far / 4.0
    while q.slope(near) < 0.0:
        near /= 4.0
    return _place(q, far, near)


def _place(q: _Sum, low: float, high: float) -> float:
    """The saddle between low and high, in logarithm: the path may pass anywhere near it, the sum stays the same.

    Halving, since the slope rises throughout (K - ln|s| is convex) and a better search would load for longer than it runs.
    """
    sign = math.copysign(1.0, low)
    fall, rise = math.log(abs(low)), math.log(abs(high))  # where the slope is below and above 0
    while abs(rise - fall) > SADDLE:
        middle = 0.5 * (fall + rise)
        if q.slope(sign * math.exp(middle)) < 0.0:
            fall = middle
        else:
            rise = middle
    return sign * math.exp(0.5 * (fall + rise))


def _tail(q: _Sum, saddle: float, second: float, bend: float) -> float:
    """|1 / (2 pi i) integral exp(K) / s ds| along half a hyperbola, by sums of ever finer steps until they stand.

    s = saddle + a (sqrt(w^2 + t^2) - w) + i t,  a / 2w = bend: it leaves the saddle as the steepest path does and goes out
    at arctan(1 / a) = 63 degrees. Every term of the exponent falls, its linear part set aside, between 45 and 90 degrees.
    """
    step, before, width = 0.5 / math.sqrt(second), math.inf, LEAN / (2.0 * bend)
    for _ in range(8):
        count = 64
        while True:
            t = step * (np.arange(count) + 0.5)
            wide = np.sqrt(width**2 + t**2)
            s = saddle + LEAN * (wide - width) + 1j * t
            part = np.imag(np.exp(q.exponent(s)) / s * (LEAN * t / wide + 1j))
            if np.abs(part[-8:]).max() <= 1e-17 * np.abs(part).max() or count > 1_000_000:
                break
            count *= 2
        now = abs(step * float(part.sum()) / math.pi)
        if abs(now - before) <= 1e-11 * max(now, 1e-3):
            break
        before, step = now, step / 2.0
    return now
