"""A range scale or an air entry that went wrong, found by the girder's own size.

One free survey cannot know its own range scale. But the girder keeps its size: between occasions
it may move, bend, twist, warm up and lose a magnet's place, and what is left is the range scale of
one survey against that of the others.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from monochord.campaign.found.points import PointSet
from monochord.ground.faults import Fault, Refused
from monochord.ground.statistics import family_wise
from monochord.survey.network import Array, Flags
from monochord.survey.sizes import (
    NO_STRETCH,
    Sizes,
    Stretch,
    common_places,
    common_targets,
    gather_sizes,
    magnet_bodies,
    settle,
)

__all__ = ["NO_STRETCH", "ScaleChange", "Scales", "Stretch", "occasion_scales", "scale_between"]


@dataclass(frozen=True, slots=True)
class ScaleChange:
    """Range scale of one survey against another, relative, real stretch taken off, with its standard uncertainty.

    apart   magnets and targets that moved on their own and did not count
    """

    scale: float
    u: float
    apart: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Scales:
    """Range scales of several occasions.

    scale, u   occasion -> how far its range scale is off if all the others agree, relative, and its standard uncertainty
    wrong      the occasion whose range scale is off, None when there is none or it cannot be told which
    agree      whether all range scales agree within their uncertainty
    apart      (occasion, magnet or target) that moved on its own and did not count
    sentence   in plain words
    """

    scale: Mapping[str, float]
    u: Mapping[str, float]
    wrong: str | None
    agree: bool
    apart: tuple[tuple[str, str], ...]
    sentence: str


@dataclass(frozen=True, eq=False, slots=True)
class Settled:
    """Surveys of common targets with everything free that moved on its own.

    names    n common targets;  wall  (n,) which of them are monuments;  found  (K, n, 3) [m], NaN where they do not count
    sizes    their precision and places seen;  places (n, 3) [m];  apart  (number of the survey, what moved)
    """

    names: tuple[str, ...]
    carriers: Mapping[str, str]
    wall: Flags
    found: Array
    sizes: Sizes
    places: Array
    apart: tuple[tuple[int, str], ...]


def settled(
    surveys: Sequence[PointSet], stretches: Sequence[Stretch], neutral_line: float | None, u_room: float
) -> Settled:
    """What a girder's size on several occasions rests on; arguments as in :func:`scale_between`."""
    names, carriers, counting = common_targets(surveys)
    wall = np.array([carriers[name] == "wall" for name in names])
    found = common_places(surveys, names, counting)
    sizes, places = gather_sizes(
        surveys, stretches, found, names=names, wall=wall, neutral_line=neutral_line, u_room=u_room
    )
    sizes, apart = settle(sizes, names, magnet_bodies(names, carriers, places), 0.05)
    return Settled(tuple(names), carriers, wall, found, sizes, places, apart)


def _judged(
    surveys: Sequence[PointSet],
    stretches: Sequence[Stretch],
    neutral_line: float | None,
    u_room: float,
) -> tuple[Array, Array, tuple[tuple[int, str], ...]]:
    """How far each survey's scale is off if all others agree (K,), its uncertainty (K,), and what moved on its own."""
    found = settled(surveys, stretches, neutral_line, u_room)
    M, c, _, _ = found.sizes.solved()
    return c / np.diag(M), 1.0 / np.sqrt(np.diag(M)), found.apart


def scale_between(
    a: PointSet,
    b: PointSet,
    *,
    stretch: Stretch = NO_STRETCH,
    neutral_line: float | None = None,
    u_room: float = 1e-6,
) -> ScaleChange:
    """Range scale of survey b against that of survey a from the size of the girder and what sits on it.

    x_b - x_a = rigid motion + bending and twist + (scale + stretch) (x - c) + own moves + noise, by least squares
    with the full covariance of both. Magnets and targets that moved on their own (family-wise test, 5 %) are given
    unknowns of their own. Monuments common to both help, as one more rigid body.

    stretch   real change of the girder's size from a to b;  neutral_line  y of the girder's neutral line [m], or None
    u_room    how well the room keeps its own size, relative (a tenth of a kelvin in concrete is 1e-6)

    Positive: b measured the girder larger. Raises Refused with fewer than four common targets on the girder.
    """
    scale, u, apart = _judged([a, b], [NO_STRETCH, stretch], neutral_line, u_room)
    return ScaleChange(float(scale[1]), float(u[1]), tuple(name for _, name in apart))


def occasion_scales(
    surveys: Mapping[str, PointSet],
    stretches: Mapping[str, Stretch],
    *,
    neutral_line: float | None = None,
    u_room: float = 1e-6,
    level: float = 0.05,
) -> Scales:
    """Compare the size of one girder on all occasions and name the one whose range scale went wrong.

    surveys    occasion -> points, two or more;  stretches  occasion -> real stretch since any common moment
    level      chance to name one when all agree;  the rest as in :func:`scale_between`

    Raises Refused with fewer than two surveys, or fewer than four common targets on the girder.
    """
    names = list(surveys)
    if len(names) < 2:
        raise Refused([Fault(f"{len(names)} surveys", "two or more", "a range scale needs another occasion")])
    points, real = [surveys[name] for name in names], [stretches[name] for name in names]
    scale, u, moved = _judged(points, real, neutral_line, u_room)
    worst = int(np.argmax(np.abs(scale) / u))
    limit = float(ndtri(1.0 - family_wise(level, len(names) if len(names) > 2 else 1) / 2.0))
    found = bool(abs(scale[worst]) > limit * u[worst])
    return Scales(
        dict(zip(names, scale.tolist(), strict=True)),
        dict(zip(names, u.tolist(), strict=True)),
        names[worst] if found and len(names) > 2 else None,
        not found,
        tuple((names[k], name) for k, name in moved),
        _sentence(names, worst, float(scale[worst]), float(u[worst]), found),
    )


def _sentence(names: Sequence[str], worst: int, scale: float, u: float, found: bool) -> str:
    if not found:
        return "the range scales of all occasions agree within their uncertainty"
    size = f"{scale * 1e6:+.1f} +- {u * 1e6:.1f} um/m"
    if len(names) == 2:
        other = names[1 - worst]
        words = f"the range scale of {names[worst]} differs from that of {other} by {size}"
        return f"{words}; two occasions alone do not tell which is off"
    return f"distances on {names[worst]} are off by {size} against the other occasions: check its air and range entry"
