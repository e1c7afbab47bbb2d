"""The size of one girder on several occasions, when it may move, bend, twist and lose a magnet's place.

Each survey of the common targets is free to sit anywhere and to be bent; what a survey then still
says about coordinates is a precision matrix with those freedoms taken out. The surveys meet in one
set of common coordinates and one scale each.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri

from monochord.campaign.found.points import PointSet
from monochord.ground.estimate import Estimate, kind_of
from monochord.ground.faults import Fault, Refused
from monochord.ground.statistics import family_wise
from monochord.survey.datum import rigid_motions
from monochord.survey.network import Array, Flags


@dataclass(frozen=True, slots=True)
class Stretch:
    """Real change of size since any common moment, relative, and its standard uncertainty: expansion times warming.

    >>> Stretch(11.7e-6 * 0.5).size
    5.85e-06
    """

    size: float
    u: float = 0.0


#: Nothing grew, for certain.
NO_STRETCH = Stretch(0.0)


def bending_shapes(points: Array, neutral_line: float | None) -> Array:
    """How points (n, 3) [m] on a girder follow its bending and twist (3n, k), columns of order one.

    Sections stay plane: vertical bend v(z) moves a point by (0, v, -(y - y0) v'), lateral bend u(z) by
    (u, 0, -x u'), twist t(z) by (-(y - y0) t, x t, 0). Bends are the Legendre polynomials 2 to 4 of z, twists 1 and 2.

    neutral_line  y0 [m]; None when not known, and then what it decides is left free as well
    """
    x, y, z = points.T
    half = float(np.abs(z).max()) or 1.0
    y0 = 0.0 if neutral_line is None else neutral_line
    bends = [np.polynomial.legendre.Legendre.basis(k, [-half, half]) for k in (1, 2, 3, 4)]
    zero = np.zeros_like(x)
    columns = []
    for bend in bends[1:]:
        value, slope = bend(z), bend.deriv()(z)
        columns += [np.stack([zero, value, -(y - y0) * slope], 1), np.stack([value, zero, -x * slope], 1)]
    columns += [np.stack([-(y - y0) * twist(z), x * twist(z), zero], 1) for twist in bends[:2]]
    if neutral_line is None:
        columns += [np.stack([zero, zero, bend.deriv()(z)], 1) for bend in bends[1:]]
        columns.append(np.stack([bends[1](z), zero, zero], 1))
    shapes: Array = np.stack(columns, 2).reshape(-1, len(columns))
    return shapes


def noise_of(estimate: Estimate) -> Array:
    """Covariance without the range scale, which is what is asked for."""
    parts = [factor.cov for cause, factor in estimate.factors.items() if kind_of(cause) != "range scale"]
    total: Array = np.sum(parts, axis=0)
    return total


def _without(precision: Array, columns: Array) -> Array:
    """Precision (3n, 3n) of what is left when columns (3n, k) are free: W - W H (H' W H)^+ H' W."""
    pulled = precision @ columns
    rest: Array = precision - pulled @ np.linalg.pinv(columns.T @ pulled, rcond=1e-9, hermitian=True) @ pulled.T
    return rest


def common_targets(surveys: Sequence[PointSet]) -> tuple[list[str], dict[str, str], list[set[str]]]:
    """Targets that count on two occasions or more, their carriers, and what counts on each occasion.

    Monuments count where at least three that were seen elsewhere too stand together; two stands say nothing.
    """
    carriers: dict[str, str] = {}
    for survey in surveys:
        carriers.update({name: survey.carriers[name] for name in survey.names})
    counting: list[set[str]] = []
    for survey in surveys:
        elsewhere = {name for other in surveys if other is not survey for name in other.names}
        shared = {name for name in survey.names if name in elsewhere}
        walls = {name for name in shared if carriers[name] == "wall"}
        counting.append(shared if len(walls) > 2 else shared - walls)
    names = [name for name in carriers if sum(name in here for here in counting) > 1]
    own = sum(carriers[name] == "girder" for name in names)
    if own < 4:
        given = f"{len(names)} common targets, {own} of them on the girder"
        raise Refused([Fault(given, "at least four common targets on the girder", "sight the same targets again")])
    return names, {name: carriers[name] for name in names}, counting


@dataclass(frozen=True, eq=False, slots=True)
class Sizes:
    """Several surveys of n common targets, each free to sit anywhere and to bend.

    precision   W (K, 3n, 3n) of each survey's coordinates, 0 for targets it has not got, nuisances free
    seen        d (K, 3n) its coordinates minus those of the first survey that has them, real stretch taken off [m]
    size        (3n,) what one unit of scale does [m]
    """

    precision: Array
    seen: Array
    size: Array

    def solved(self) -> tuple[Array, Array, Array, Array]:
        """Scale normals M (K, K) and right side c (K,), and prediction (K, 3n) with cofactor (K, 3n, 3n) of each survey.

        The common coordinates p are eliminated first; a shift of all scales is not seen and has no place in M.
        """
        W = self.precision
        cofactor = np.linalg.pinv(W.sum(axis=0), rcond=1e-10, hermitian=True)
        pulled = W @ self.size  # (K, 3n)
        right = (W @ self.seen[:, :, None])[:, :, 0]
        total = right.sum(axis=0)
        M = np.diag(pulled @ self.size) - pulled @ cofactor @ pulled.T
        c = right @ self.size - pulled @ cofactor @ total
        inverse = np.linalg.pinv(M, rcond=1e-9, hermitian=True)
        scales = inverse @ c
        places = cofactor @ (total - scales @ pulled)
        predicted = places + scales[:, None] * self.size
        # Cofactor of p + s_k size, with p = N^-1 (b - B s).
        follow = self.size[None, :, None] * np.eye(len(W))[:, None, :] - (cofactor @ pulled.T)[None]
        return M, c, predicted, cofactor + follow @ inverse @ follow.transpose(0, 2, 1)

    def freed(self, occasion: int, columns: Array) -> Sizes:
        """The same with something on one occasion free to have moved."""
        precision = self.precision.copy()
        precision[occasion] = _without(precision[occasion], columns)
        return Sizes(precision, self.seen, self.size)


def common_places(surveys: Sequence[PointSet], names: Sequence[str], counting: Sequence[set[str]]) -> Array:
    """Coordinates (K, n, 3) of the common targets on every occasion, NaN where they do not count [m]."""
    places = np.full((len(surveys), len(names), 3), np.nan)
    for k, survey in enumerate(surveys):
        found = dict(zip(survey.names, survey.estimate.value.reshape(-1, 3), strict=True))
        for i, name in enumerate(names):
            if name in counting[k]:
                places[k, i] = found[name]
    return places


def nuisances_of(places: Array, wall: Flags, neutral_line: float | None) -> Array:
    """What every survey may do with common places (n, 3) without saying anything about their size: (3n, k)."""
    room = np.repeat(wall, 3).astype(float)[:, None]
    motions = rigid_motions(places, places[~wall].mean(axis=0))
    # The room is a body of its own; where there is none its columns are zero and free nothing.
    return np.hstack([motions, bending_shapes(places, neutral_line) * (1.0 - room), motions * room])


def own_precision(covariance: Array, nuisances: Array) -> Array:
    """Precision (3m, 3m) of one survey's coordinates with its nuisances (3m, k) free."""
    motions = nuisances[:, :6]
    # Where the frame is, nobody knows; that also makes the covariance invertible.
    inverse = np.asarray(np.linalg.inv(covariance + 1e-4 * motions @ motions.T), np.float64)
    return _without(inverse, nuisances)


def swellings(places: Array, wall: Flags) -> tuple[Array, Array]:
    """How places (n, 3) [m] follow a stretch of the girder, and one of the room: each about its own middle."""
    grown = (places - places[~wall].mean(axis=0)) * ~wall[:, None]
    swelling = (places - places[wall].mean(axis=0) if wall.any() else places) * wall[:, None]
    return grown, swelling


def gather_sizes(
    surveys: Sequence[PointSet],
    stretches: Sequence[Stretch],
    found: Array,
    *,
    names: Sequence[str],
    wall: Flags,
    neutral_line: float | None,
    u_room: float,
) -> tuple[Sizes, Array]:
    """The surveys' sizes, and the places (n, 3) of their common targets; found  as in :func:`common_places`."""
    first = np.isfinite(found[:, :, 0]).argmax(axis=0)
    places = found[first, np.arange(len(names))]
    nuisances = nuisances_of(places, wall, neutral_line)
    grown, swelling = swellings(places, wall)
    precision = np.zeros((len(surveys), 3 * len(names), 3 * len(names)))
    for k, (survey, stretch) in enumerate(zip(surveys, stretches, strict=True)):
        rows = np.flatnonzero(np.isfinite(found[k, :, 0])).tolist()
        flat = (3 * np.array(rows)[:, None] + np.arange(3)).reshape(-1)
        noise = noise_of(survey.estimate.pick([f"{names[i]}.{axis}" for i in rows for axis in "xyz"]))
        # The girder stretches as told, the room keeps its size so well.
        for field, spread in ((grown, stretch.u), (swelling, u_room / np.sqrt(2.0))):
            column = spread * field[rows].reshape(-1)
            noise = noise + np.outer(column, column)
        precision[k][np.ix_(flat, flat)] = own_precision(noise, nuisances[flat])
    real = np.array([stretch.size for stretch in stretches])[:, None, None]
    seen = np.nan_to_num(found - places - real * grown)
    size = (places - places.mean(axis=0)).reshape(-1)
    return Sizes(precision, seen.reshape(len(surveys), -1), size), places


def magnet_bodies(names: Sequence[str], carriers: Mapping[str, str], places: Array) -> dict[str, Array]:
    """Magnets that may have moved as a body: name -> columns (3n, 6)."""
    found = {}
    for carrier in dict.fromkeys(c for c in carriers.values() if c not in ("girder", "wall")):
        own = np.array([carriers[name] == carrier for name in names])
        if own.sum() >= 3:
            found[carrier] = rigid_motions(places, places[own].mean(axis=0)) * np.repeat(own, 3)[:, None]
    return found


def statistics(precision: Array, pull: Array, limits: Array) -> Array:
    """Statistics of alternatives (n,) over their critical values, from their own precision (n, k, k) and pull (n, k)."""
    values, vectors = np.linalg.eigh(precision)
    kept = values > 1e-6 * max(float(values.max(initial=0.0)), 1e-300)
    along = (vectors.transpose(0, 2, 1) @ pull[:, :, None])[:, :, 0]
    total: Array = np.where(kept, along**2 / np.where(kept, values, 1.0), 0.0).sum(axis=1)
    ratio: Array = total / limits[kept.sum(axis=1)]
    return ratio


def judge_alone(sizes: Sizes, occasion: int, bodies: Sequence[Array], limits: Array) -> tuple[Array, Array]:
    """Statistics over critical values of each target (n,) and each body on one occasion having moved on its own."""
    _, _, predicted, cofactor = sizes.solved()
    W = sizes.precision[occasion]
    pull = W @ (sizes.seen[occasion] - predicted[occasion])
    left = W - W @ cofactor[occasion] @ W
    count = len(pull) // 3
    each = np.arange(count)
    single = statistics(left.reshape(count, 3, count, 3)[each, :, each, :], pull.reshape(count, 3), limits)
    if not bodies:
        return single, np.zeros(0)
    inner = np.stack([columns.T @ left @ columns for columns in bodies])
    return single, statistics(inner, np.stack([columns.T @ pull for columns in bodies]), limits)


def settle(
    sizes: Sizes, names: Sequence[str], bodies: Mapping[str, Array], level: float
) -> tuple[Sizes, tuple[tuple[int, str], ...]]:
    """The sizes when everything that moved on its own is free, and what that was: (occasion, name), worst first."""
    count = len(sizes.seen)
    # Between two occasions it is all one on which of them something is said to have moved.
    occasions = range(count) if count > 2 else (1,)
    things = [*names, *bodies]
    each = family_wise(level, len(things) * len(occasions))
    limits = np.array([np.inf, *(float(chdtri(k, each)) for k in range(1, 7))])
    eye = np.eye(3 * len(names))
    named: list[tuple[int, str]] = []
    while len(named) < len(things):
        ratios = np.stack([np.concatenate(judge_alone(sizes, k, [*bodies.values()], limits)) for k in occasions])
        for k, name in named:
            ratios[list(occasions).index(k), things.index(name)] = 0.0
        row, column = np.unravel_index(int(np.argmax(ratios)), ratios.shape)
        if ratios[row, column] <= 1.0:
            break
        occasion, name = list(occasions)[int(row)], things[int(column)]
        named.append((occasion, name))
        one = 3 * int(column)
        sizes = sizes.freed(occasion, bodies[name] if column >= len(names) else eye[:, one : one + 3])
    return sizes, tuple(named)
