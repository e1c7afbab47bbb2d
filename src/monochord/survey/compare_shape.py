"""What shapes a girder may take between two occasions, when nobody hands in an elastic model.

Sections stay plane. A vertical bend v(z) moves a point by (0, v, -(y - y0) v'), a lateral bend u(z) by (u, 0, -x u'),
a twist t(z) by (-(y - y0) t, x t, 0), with y0 the neutral line. A beam that changes its shape because forces at
its feet change is a cubic between feet and straight beyond the last; its twist is straight between feet and constant
beyond, and only vertical feet make any: lateral bolts push near the neutral line. Legendre polynomials take what such
a beam does not do: other supports, an uneven section, shear.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from monochord.campaign.found.comparison import ShapeBasis
from monochord.campaign.given.girder import Beam, Girder
from monochord.survey.network import Array

#: Sizes that no girder reaches between two occasions, for what is free: a bend [m] and a twist [rad].
FREE_BEND, FREE_TWIST = 1e-3, 1e-3
#: What smooth polynomials of higher degree may take up [m] and [rad], so small that they cannot hide a magnet's move; no source.
LEFT_BEND, LEFT_TWIST = 2e-6, 5e-6
#: Legendre degrees that are free, and those that only take up what is left.
_FREE_DEGREES, _LEFT_DEGREES = (2, 3, 4), (5, 6)
#: Feet nearer to each other along z than this are one place [m].
_SAME_PLACE = 0.05

Curve = Callable[[Array], Array]
Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Profile:
    """One shape along z: its kind ("vertical", "lateral", "twist", "axial", "sideways"), size and slope along z, and its prior.

    "axial" and "sideways" shift points along z and x without turning sections; they stand in for an unknown neutral line.
    """

    name: str
    kind: str
    value: Curve
    slope: Curve
    prior: float


#: Kinds that shift the neutral line, and along which axis.
_SHIFT: dict[str, int] = {"vertical": 1, "lateral": 0, "axial": 2, "sideways": 0}


def sections(profiles: Sequence[Profile], z: Array) -> tuple[Array, Array]:
    """Shift (n, 3, k) [m] and small rotation (n, 3, k) [rad] of the sections at z (n,), on the neutral line."""
    shift, turn = np.zeros((2, len(z), 3, len(profiles)))
    for k, profile in enumerate(profiles):
        if profile.kind in _SHIFT:
            shift[:, _SHIFT[profile.kind], k] = profile.value(z)
        if profile.kind == "vertical":
            turn[:, 0, k] = -profile.slope(z)
        elif profile.kind == "lateral":
            turn[:, 1, k] = profile.slope(z)
        elif profile.kind == "twist":
            turn[:, 2, k] = profile.value(z)
    return shift, turn


def basis_of(profiles: Sequence[Profile], neutral_line: float) -> ShapeBasis:
    """The profiles as shapes of a girder whose neutral line runs at this y [m].

    >>> lift = Profile("tilt", "vertical", lambda z: z, np.ones_like, 1e-3)
    >>> basis_of([lift], -0.5).at(np.array([[0.0, 0.5, 2.0]]))[0, :, 0].tolist()
    [0.0, 2.0, -1.0]
    """

    def at(points: Array) -> Array:
        shift, turn = sections(profiles, points[:, 2])
        x, y = points[:, 0, None], points[:, 1, None] - neutral_line
        shift[:, 0] -= turn[:, 2] * y
        shift[:, 1] += turn[:, 2] * x
        shift[:, 2] += turn[:, 0] * y - turn[:, 1] * x
        return shift

    def turning(points: Array) -> Array:
        return sections(profiles, points[:, 2])[1]

    units = tuple("rad" if p.kind == "twist" else "m" for p in profiles)
    prior = np.array([p.prior for p in profiles])
    families = tuple(p.kind if p.prior in (FREE_BEND, FREE_TWIST) else "" for p in profiles)
    return ShapeBasis(tuple(p.name for p in profiles), units, prior, at, turning, families)


def default_basis(girder: Girder, span: Span) -> ShapeBasis:
    """Bends and twists of a beam held at the girder's bolts, and smooth polynomials.

    span  first and last z over which targets were seen [m]

    Those that may be large come in three families of one size each ("vertical", "lateral", "twist"), which the data tell.
    """
    vertical = feet(girder, 1)
    lateral = feet(girder, 0)
    profiles = [
        *_splines("vertical", vertical, span),
        *_splines("lateral", lateral, span),
        *_ramps(vertical),
        *_polynomials(span),
    ]
    neutral = girder.beam.neutral_line if girder.beam is not None else None
    if neutral is None:
        profiles += _unknown_neutral_line(span)
    return basis_of(profiles, 0.0 if neutral is None else neutral)


def leftover_basis(girder: Girder, span: Span) -> ShapeBasis:
    """What may be left beside an elastic model that was handed in: all the polynomials, each of them small."""
    neutral = girder.beam.neutral_line if girder.beam is not None else 0.0
    return basis_of([_small(p) for p in _polynomials(span)], neutral)


def bow_basis(beam: Beam, u_kelvin: float) -> ShapeBasis:
    """The bow of a girder whose top is warmer than its bottom, per kelvin: y'' = -expansion / depth, level at z = 0.

    u_kelvin  how well the change of top minus bottom is known [K]

    Its ends sink by expansion L^2 / (8 depth) below the middle.
    """
    curvature = -beam.expansion / beam.depth
    bow = Profile("thermal bow", "vertical", lambda z: 0.5 * curvature * z**2, lambda z: curvature * z, u_kelvin)
    made = basis_of([bow], beam.neutral_line)
    return ShapeBasis(made.names, ("K",), made.prior, made.at, made.turning, ("",))


def joined(bases: Sequence[ShapeBasis]) -> ShapeBasis:
    """Several sets of shapes as one, in the order given."""

    def at(points: Array) -> Array:
        return np.concatenate([b.at(points) for b in bases], axis=2)

    def turning(points: Array) -> Array:
        return np.concatenate([b.turning(points) for b in bases], axis=2)

    names = tuple(n for b in bases for n in b.names)
    units = tuple(u for b in bases for u in b.units)
    families = tuple(f for b in bases for f in b.families or ("",) * len(b.names))
    return ShapeBasis(names, units, np.concatenate([b.prior for b in bases]), at, turning, families)


def feet(girder: Girder, axis: int) -> Array:
    """Places along z of the bolts that push along x (axis 0) or y (axis 1) [m], those close together as one."""
    z = sorted(b.point[2] for b in girder.bolts if abs(b.direction[axis]) > 0.5)
    kept: list[float] = []
    for place in z:
        if not kept or place - kept[-1] > _SAME_PLACE:
            kept.append(place)
    return np.array(kept)


def _splines(kind: str, knots: Array, span: Span) -> list[Profile]:
    """Natural cubic splines with these knots, straight line taken off, largest value 1 over the girder."""
    if len(knots) < 3:
        return []
    last = knots[-1]
    grid = np.linspace(*span, 41)
    made = []
    for k in range(len(knots) - 2):
        pieces = ((knots[k], 1.0), (knots[-2], -1.0))

        def raw(z: Array, power: int, pieces: Sequence[tuple[float, float]] = pieces) -> Array:
            factor = 1.0 if power == 3 else 3.0
            total = np.zeros_like(z)
            for start, sign in pieces:
                rise = np.maximum(z - start, 0.0) ** power - np.maximum(z - last, 0.0) ** power
                total = total + sign * factor * rise / (last - start)
            return total

        line = np.polyfit(grid, raw(grid, 3), 1)
        size = float(np.abs(raw(grid, 3) - np.polyval(line, grid)).max()) or 1.0

        def value(z: Array, raw: Callable[[Array, int], Array] = raw, line: Array = line, size: float = size) -> Array:
            return np.asarray((raw(z, 3) - np.polyval(line, z)) / size, float)

        def slope(z: Array, raw: Callable[[Array, int], Array] = raw, line: Array = line, size: float = size) -> Array:
            return np.asarray((raw(z, 2) - line[0]) / size, float)

        made.append(Profile(f"{kind} bend at feet {k + 1}", kind, value, slope, FREE_BEND))
    return made


def _ramps(knots: Array) -> list[Profile]:
    """Twists that grow between two neighbouring feet and nowhere else."""
    made = []
    for k, (start, end) in enumerate(pairwise(knots.tolist())):

        def value(z: Array, start: float = start, end: float = end) -> Array:
            return np.clip((z - start) / (end - start), 0.0, 1.0) - 0.5

        made.append(Profile(f"twist between feet {k + 1}", "twist", value, np.zeros_like, FREE_TWIST))
    return made


def _polynomials(span: Span) -> list[Profile]:
    made = []
    for degree in (*_FREE_DEGREES, *_LEFT_DEGREES):
        prior = FREE_BEND if degree in _FREE_DEGREES else LEFT_BEND
        made += [_legendre(f"{kind} bend P{degree}", kind, degree, span, prior) for kind in ("vertical", "lateral")]
    made += [_legendre(f"twist P{k}", "twist", k, span, FREE_TWIST if k < 3 else LEFT_TWIST) for k in (1, 2, 3)]
    return made


def _unknown_neutral_line(span: Span) -> list[Profile]:
    axial = [_legendre(f"section lean P{k}", "axial", k, span, FREE_BEND) for k in _FREE_DEGREES]
    # what the slope of a bend does along z, over an arm that is not known
    leaning = [Profile(p.name, p.kind, p.slope, np.zeros_like, p.prior) for p in axial]
    return [*leaning, _legendre("shift by twist P2", "sideways", 2, span, FREE_BEND)]


def _legendre(name: str, kind: str, degree: int, span: Span, prior: float) -> Profile:
    """A Legendre polynomial over the span, 1 at its end; s runs from -1 to 1 there."""
    powers = np.polynomial.legendre.leg2poly([0.0] * degree + [1.0])[::-1]
    slopes = np.polyder(powers)
    middle, half = 0.5 * (span[0] + span[1]), 0.5 * (span[1] - span[0])

    def value(z: Array) -> Array:
        return np.asarray(np.polyval(powers, (z - middle) / half), float)

    def slope(z: Array) -> Array:
        return np.asarray(np.polyval(slopes, (z - middle) / half) / half, float)

    return Profile(name, kind, value, slope, prior)


def _small(profile: Profile) -> Profile:
    prior = LEFT_TWIST if profile.kind == "twist" else LEFT_BEND
    return Profile(profile.name, profile.kind, profile.value, profile.slope, prior)
