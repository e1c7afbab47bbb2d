"""Straight lines: least squares with weights, orthogonal, errors in both co-ordinates, smallest largest distance.

A line through readings y at places z is y = start + slope z. Readings may have one column or several (x and y of a
magnet's centre): (n,) or (n, k); start and slope then have k entries.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monochord.ground.faults import Fault, Refused, Undetermined

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Line:
    """A straight line y = start + slope z.

    start, slope  (k,) [unit of y], [unit of y per unit of z];  offsets  (n, k) readings minus line
    leverage  (n,) part of its own reading that the line follows; sum 2. NaN where the line is not linear in the readings
    """

    start: Array
    slope: Array
    offsets: Array
    leverage: Array

    def at(self, z: ArrayLike) -> Array:
        """Points of the line at places z, (..., k)."""
        points: Array = self.start + np.multiply.outer(np.asarray(z, float), self.slope)
        return points


def line_gain(z: ArrayLike, weights: ArrayLike | None = None) -> Array:
    """Matrix (2, n) that takes readings to (start, slope) of their least-squares line: the line as a linear map.

    z  places (n,), at least two different;  weights  (n,), not negative, equal when not given; at least two places with weight
    The offsets are (I - [1 z] gain) y, so an Estimate of the readings goes ``through`` that matrix.

    >>> line_gain([0.0, 2.0]).tolist()
    [[1.0, 0.0], [-0.5, 0.5]]
    """
    place = np.asarray(z, float)
    w = np.ones(len(place)) if weights is None else np.asarray(weights, float)
    if not (np.isfinite(w).all() and (w >= 0.0).all()):
        raise Refused([Fault("a weight below 0 or not finite", "weights of 0 or more", "mend the weights")])
    total = float(w.sum())
    middle = float(w @ place) / total if total > 0.0 else 0.0
    arm = place - middle
    inertia = float(w @ arm**2)
    if not inertia > 1e-20 * total * float(np.max(np.abs(place), initial=0.0)) ** 2:
        raise Undetermined(["start", "slope"], "fewer than two different places carry weight; add one")
    slope = w * arm / inertia
    return np.vstack([w / total - middle * slope, slope])


def fit_line(z: ArrayLike, y: ArrayLike, *, weights: ArrayLike | None = None) -> Line:
    """Least-squares line, sum w (y - start - slope z)^2 smallest, for each column of y alone.

    z  (n,);  y  (n,) or (n, k);  weights  (n,) as in :func:`line_gain`. A reading of weight 0 still gets its offset.

    >>> line = fit_line([0.0, 1.0, 2.0], [0.0, 3.0, 0.0])
    >>> line.start.tolist(), line.slope.tolist(), line.offsets.ravel().tolist()
    ([1.0], [0.0], [-1.0, 2.0, -1.0])
    """
    place, readings = np.asarray(z, float), _columns(y)
    gain = line_gain(place, weights)
    start, slope = gain @ readings
    offsets = readings - start - np.outer(place, slope)
    leverage = gain[0] + place * gain[1]
    return Line(start, slope, offsets, leverage)


def _columns(y: ArrayLike) -> Array:
    readings = np.asarray(y, float)
    return readings[:, None] if readings.ndim == 1 else readings


@dataclass(frozen=True, eq=False, slots=True)
class OrthogonalLine:
    """A line in space or in a plane: points centre + t direction. distance (n,) of the points from it, rms their rms."""

    centre: Array
    direction: Array
    distance: Array

    @property
    def rms(self) -> float:
        """Root mean square of the distances."""
        return float(np.sqrt(np.mean(self.distance**2)))


def fit_orthogonal_line(points: ArrayLike) -> OrthogonalLine:
    """Line with the smallest square sum of perpendicular distances (Pearson 1901), through the centre of gravity.

    points  (n, 2) or (n, 3), all co-ordinates equally good. The direction has length one; its largest component is positive.
    Raises Undetermined when the points mark no direction.

    >>> fit_orthogonal_line([[0.0, 0.0], [1.0, 1.0], [3.0, 3.0]]).direction.round(6).tolist()
    [0.707107, 0.707107]
    """
    place = np.asarray(points, float)
    centre = place.mean(axis=0)
    _, s, vt = np.linalg.svd(place - centre, full_matrices=False)
    if not s[0] > 0.0 or (len(s) > 1 and s[0] - s[1] <= 1e-12 * s[0]):
        raise Undetermined(["direction"], "the points mark no direction; add some farther along the line")
    direction = vt[0] * np.sign(vt[0][np.argmax(np.abs(vt[0]))])
    along = (place - centre) @ direction
    return OrthogonalLine(centre, direction, np.linalg.norm(place - centre - np.outer(along, direction), axis=1))


@dataclass(frozen=True, slots=True)
class LineInBoth:
    """A line fitted to readings with errors in both co-ordinates: values, standard uncertainties, square sum."""

    start: float
    slope: float
    u_start: float
    u_slope: float
    chi_square: float


def fit_line_in_both(x: ArrayLike, y: ArrayLike, u_x: ArrayLike, u_y: ArrayLike) -> LineInBoth:
    """Line y = start + slope x through readings with known independent errors in both co-ordinates (York 1966, 2004).

    Minimises sum (y - start - slope x)^2 / (u_y^2 + slope^2 u_x^2); every u above 0.  Uncertainties after York 2004, at the
    adjusted points; all from memory.

    >>> both = fit_line_in_both([0.0, 1.0, 2.0], [1.0, 3.0, 5.0], [0.1] * 3, [0.1] * 3)
    >>> round(both.start, 6), round(both.slope, 6)
    (1.0, 2.0)
    """
    a, b = np.asarray(x, float), np.asarray(y, float)
    va, vb = (
        np.broadcast_to(np.asarray(u_x, float) ** 2, a.shape),
        np.broadcast_to(np.asarray(u_y, float) ** 2, a.shape),
    )
    if not ((va > 0.0).all() and (vb > 0.0).all()):
        raise Refused(
            [Fault("an uncertainty of 0 or below", "uncertainties above 0", "state them in both co-ordinates")]
        )
    slope, settled = float(fit_line(a, b, weights=1.0 / vb).slope[0]), False
    for _ in range(500):
        w = 1.0 / (vb + slope**2 * va)
        mean_a, mean_b = w @ a / w.sum(), w @ b / w.sum()
        pull = w**2 * ((a - mean_a) * vb + slope * (b - mean_b) * va)
        run = float(pull @ (a - mean_a))
        last, slope = slope, float(pull @ (b - mean_b)) / run if run != 0.0 else float("nan")
        settled = abs(slope - last) <= 1e-14 * abs(slope)
        if settled or not np.isfinite(slope):
            break
    if not settled:
        raise Undetermined(["slope"], "the iteration does not settle; the readings hardly mark a line")
    w = 1.0 / (vb + slope**2 * va)
    mean_a, mean_b = float(w @ a / w.sum()), float(w @ b / w.sum())
    adjusted = mean_a + w * ((a - mean_a) * vb + slope * (b - mean_b) * va)
    middle = float(w @ adjusted / w.sum())
    var_slope = 1.0 / float(w @ (adjusted - middle) ** 2)
    start = mean_b - slope * mean_a
    misfit = float(w @ (b - start - slope * a) ** 2)
    return LineInBoth(
        start, slope, float(np.sqrt(1.0 / w.sum() + middle**2 * var_slope)), float(np.sqrt(var_slope)), misfit
    )


def fit_minimax_line(z: ArrayLike, y: ArrayLike, *, weights: ArrayLike | None = None) -> Line:
    """Line whose largest distance is smallest: max over readings of sqrt(w) |y - start - slope z|, all columns together.

    z  (n,);  y  (n,) per axis, or (n, 2) radially: |.| is then the length of the offset (x, y)
    weights  (n,), not negative: a distance counts sqrt(w) times; a reading of weight 0 is left out of the condition

    The answer carries its proof: a weighted least-squares line never has a mean square above that of the best line's largest, so
    the weights that hold the touching readings in balance bound the largest distance from below. The bound must meet the
    answer within 1e-6, else Undetermined is raised, as for fewer than two places with weight.
    Source: duality of minimax and weighted least squares, Lawson 1961 (from memory).

    >>> line = fit_minimax_line([0.0, 1.0, 2.0], [0.0, 3.0, 0.0])
    >>> line.start.round(9).tolist(), abs(line.offsets).round(9).ravel().tolist()
    ([1.5], [1.5, 1.5, 1.5])
    """
    place, readings = np.asarray(z, float), _columns(y)
    w = np.ones(len(place)) if weights is None else np.asarray(weights, float)
    begin = fit_line(place, readings, weights=w)
    middle, half = 0.5 * (place.max() + place.min()), 0.5 * float(np.ptp(place))
    base = np.column_stack([np.ones(len(place)), (place - middle) / half])
    size = float(np.sqrt(w * (begin.offsets**2).sum(axis=1)).max())
    tiny = 1e-12 * float(np.sqrt(w.max()) * np.abs(readings).max(initial=0.0))
    change = np.zeros((2, readings.shape[1]))
    if size > tiny:
        change = size * _smallest_largest(base, begin.offsets / size, w)
    slope = begin.slope + change[1] / half
    start = begin.start + change[0] - middle * change[1] / half
    return Line(start, slope, readings - start - np.outer(place, slope), np.full(len(place), np.nan))


def _smallest_largest(base: Array, offsets: Array, w: Array) -> Array:
    """Change (2, k) of a line, in the given base (n, 2), that makes max w |offsets - base change|^2 smallest."""
    from scipy.optimize import minimize  # loads slowly, and few lines are of this kind

    k = offsets.shape[1]
    top = np.zeros(2 * k + 1)
    top[-1] = 1.0

    def left(p: Array) -> Array:
        return offsets - base @ p[:-1].reshape(2, k)

    def room(p: Array) -> Array:
        space: Array = p[-1] - w * (left(p) ** 2).sum(axis=1)
        return space

    def room_slope(p: Array) -> Array:
        by_line = 2.0 * w[:, None, None] * base[:, :, None] * left(p)[:, None, :]
        return np.column_stack([by_line.reshape(len(base), -1), np.ones(len(base))])

    found = minimize(
        lambda p: p[-1],
        top,
        jac=lambda p: top,
        constraints=[{"type": "ineq", "fun": room, "jac": room_slope}],
        method="SLSQP",
        options={"ftol": 1e-15, "maxiter": 500},
    )
    change: Array = found.x[:-1].reshape(2, k)
    largest = float((w * (left(found.x) ** 2).sum(axis=1)).max())
    if largest - _lower_bound(base, offsets, w, room_slope(found.x), room(found.x)) > 2e-6 * largest:
        raise Undetermined(["start", "slope"], "no line could be proved to have the smallest largest distance")
    return change


def _lower_bound(base: Array, offsets: Array, w: Array, slopes: Array, room: Array) -> float:
    """Least weighted mean square with the weights that hold the touching readings in balance (n,)."""
    from scipy.optimize import nnls

    touching = room <= 1e-4 * room.max(initial=1.0)
    balance = np.zeros(slopes.shape[1])
    balance[-1] = 1.0
    share = np.zeros(len(w))
    share[touching] = nnls(slopes[touching].T, balance)[0]
    root = np.sqrt(share * w / share.sum())[:, None]
    change = np.linalg.lstsq(root * base, root * offsets, rcond=None)[0]
    return float(((root * (offsets - base @ change)) ** 2).sum())
