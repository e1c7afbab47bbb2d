"""Probability that correlated normal numbers all lie within their bounds, with the error of the answer itself.

The numbers are taken one after the other, each within what the earlier ones leave of its bounds, which makes the
probability a smooth integral over a cube; that is summed over lattices of points, shifted at random from a fixed seed.
The scatter among the shifts is the error. Singular covariances are allowed: offsets from a refitted line have one always.
Source: Genz 1992; Genz and Bretz 2002 for the order; Genz and Kwong 2000 for singular ones; Richtmyer 1951 for the lattice
(all from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from monochord.verdict.propagation_checks import wanted

Array = NDArray[np.float64]

#: Seed of the shifts: the same data print the same digits.
SEED = 20240229
#: Lattices, each with a shift of its own.
SHIFTS = 12
#: The error is so many standard deviations of their mean. Of 400 random girders known exactly three lay further off.
SIGMAS = 4.0
#: A remaining variance below this part of its own counts as none: the number is fixed by those before it.
SINGULAR = 1e-10
#: A correlation below this is none.
UNCORRELATED = 1e-12


@dataclass(frozen=True, slots=True)
class Chance:
    """A probability and its error: the truth lies within probability +- error in 99 cases of 100; 0 where it is exact.

    points  evaluations behind it
    """

    probability: float
    error: float
    points: int


def rectangle_probability(
    mean: ArrayLike, cov: ArrayLike, lower: ArrayLike, upper: ArrayLike,
    *, tolerance: float = 2e-4, most_points: int = 2**14, seed: int = SEED,
) -> Chance:  # fmt: skip
    """Probability that lower <= v <= upper in every component, v normal with this mean and covariance.

    mean (n,);  cov (n, n), may be singular;  lower, upper (n,), infinite where there is no bound, all in one unit
    tolerance    error at which it stops;  most_points of each lattice, whatever the error is then

    >>> pair = rectangle_probability([0.0, 0.0], [[1.0, 0.5], [0.5, 1.0]], [0.0, 0.0], [np.inf, np.inf])
    >>> round(pair.probability, 4)  # a quarter and arcsin(1/2) / 2 pi
    0.3333
    """
    m, matrix = np.asarray(mean, float), np.asarray(cov, float)
    a, b = (np.broadcast_to(np.asarray(end, float), m.shape) - m for end in (lower, upper))
    wanted(
        matrix.shape == (m.size, m.size), f"{m.shape}, {matrix.shape}", "n values, (n, n)", "give the joint covariance"
    )
    wanted(bool((a <= b).all()), "a lower bound above its upper one", "lower <= upper", "look at the bounds")
    u = np.sqrt(np.maximum(np.diag(matrix), 0.0))
    fixed = u == 0.0
    if bool(((a > 0.0) | (b < 0.0))[fixed].any()):
        return Chance(0.0, 0.0, 0)
    moving = np.flatnonzero(~fixed)
    correlation = matrix[np.ix_(moving, moving)] / np.outer(u[moving], u[moving])
    a, b = a[moving] / u[moving], b[moving] / u[moving]
    wanted(
        moving.size == 0 or float(np.linalg.eigvalsh(correlation)[0]) > -1e-8 * moving.size,
        "a covariance with a negative direction", "a covariance", "look at the covariance",
    )  # fmt: skip
    parts = [
        _block(correlation[np.ix_(group, group)], a[group], b[group], tolerance, most_points, seed)
        for group in _groups(correlation)
    ]
    p = math.prod(part.probability for part in parts)
    # each block's error, times what the others let through
    error = math.sqrt(sum((part.error * p / part.probability) ** 2 for part in parts if part.probability > 0.0))
    return Chance(p, error, sum(part.points for part in parts))


def _groups(correlation: Array) -> list[list[int]]:
    """Indices of components that hang together; groups are independent of each other."""
    left, found = set(range(len(correlation))), []
    while left:
        waiting = [min(left)]
        group = set(waiting)
        while waiting:
            near = {int(j) for j in np.flatnonzero(np.abs(correlation[waiting.pop()]) > UNCORRELATED)} - group
            group |= near
            waiting += sorted(near)
        left -= group
        found.append(sorted(group))
    return found


@dataclass(frozen=True, eq=False, slots=True)
class _Ordered:
    """Components as sums of r independent ones, v = root y, and for each y the rows that bound it once those before are known."""

    root: Array
    rows: tuple[NDArray[np.intp], ...]
    a: Array
    b: Array


def _block(c: Array, a: Array, b: Array, tolerance: float, most: int, seed: int) -> Chance:  # noqa: PLR0917 (private)
    ordered = _order(c, a, b)
    rank = ordered.root.shape[1]
    if rank == 1:
        return Chance(float(_integrand(ordered, np.empty((1, 0)))[0]), 0.0, 1)
    shifts = np.random.default_rng(seed).random((SHIFTS, rank - 1))
    count, error, mean = 512, math.inf, 0.0
    while error > tolerance and count < most:
        count *= 2
        lattice = richtmyer(count, rank - 1)
        each = [_integrand(ordered, np.abs(2.0 * ((lattice + shift) % 1.0) - 1.0)).mean() for shift in shifts]
        mean, error = float(np.mean(each)), SIGMAS * float(np.std(each, ddof=1)) / math.sqrt(SHIFTS)
    return Chance(min(max(mean, 0.0), 1.0), error, count * SHIFTS)


def _order(c: Array, a: Array, b: Array) -> _Ordered:
    """Cholesky factor with the component that is bound most tightly, given those before, taken next; stops at the rank."""
    n = len(c)
    root = np.zeros((n, 0))
    seen, waiting = np.zeros(0), list(range(n))
    while waiting:
        w = np.array(waiting)
        variance = np.diag(c)[w] - (root[w] ** 2).sum(axis=1)
        free = variance > SINGULAR
        if not free.any():
            break
        s, m = np.sqrt(variance[free]), root[w[free]] @ seen
        low, high = (a[w[free]] - m) / s, (b[w[free]] - m) / s
        k = int(np.argmin(ndtr(high) - ndtr(low)))
        pivot = int(w[free][k])
        column = np.zeros(n)
        column[w] = (c[w, pivot] - root[w] @ root[pivot]) / s[k]
        column[pivot] = s[k]
        root = np.column_stack([root, column])
        seen = np.append(seen, _mean_within(float(low[k]), float(high[k])))
        waiting.remove(pivot)
    held = np.abs(root) > 1e-8
    last = root.shape[1] - 1 - np.argmax(held[:, ::-1], axis=1)
    return _Ordered(np.where(held, root, 0.0), tuple(np.flatnonzero(last == j) for j in range(root.shape[1])), a, b)


def _mean_within(low: float, high: float) -> float:
    """Mean of a standard normal number between two bounds."""
    p = float(ndtr(high) - ndtr(low))
    if p < 1e-12:  # far out: the nearer bound
        return min(max(0.0, low), high)
    density = (math.exp(-0.5 * end * end) if math.isfinite(end) else 0.0 for end in (low, high))
    return (next(density) - next(density)) / math.sqrt(2.0 * math.pi) / p


def _integrand(ordered: _Ordered, cube: Array) -> Array:
    """Product over y_1 ... y_r of the probability that each keeps its bounds, at points (count, r - 1) of the unit cube."""
    points, rank = len(cube), ordered.root.shape[1]
    product, y = np.ones(points), np.zeros((points, rank))
    for j, rows in enumerate(ordered.rows):
        slope = ordered.root[rows, j]
        before = y[:, :j] @ ordered.root[rows, :j].T
        ends = np.stack([(ordered.a[rows] - before) / slope, (ordered.b[rows] - before) / slope])
        low, high = ends.min(axis=0).max(axis=1), ends.max(axis=0).min(axis=1)
        below, above = ndtr(low), ndtr(high)
        width = np.maximum(above - below, 0.0)
        product *= width
        if j < rank - 1:
            y[:, j] = ndtri(np.clip(below + cube[:, j] * width, 1e-300, 1.0 - 1e-16))
    return product


def richtmyer(count: int, dimension: int) -> Array:
    """Points (count, dimension) of the unit cube that fill it evenly: k sqrt(prime_j) modulo 1.

    >>> richtmyer(2, 2).round(4).tolist()
    [[0.4142, 0.7321], [0.8284, 0.4641]]
    """
    return np.asarray((np.arange(1, count + 1)[:, None] * np.sqrt(_primes(dimension))) % 1.0)


def _primes(count: int) -> Array:
    found: list[int] = []
    candidate = 2
    while len(found) < count:
        if all(candidate % p for p in found):
            found.append(candidate)
        candidate += 1
    return np.array(found, float)
