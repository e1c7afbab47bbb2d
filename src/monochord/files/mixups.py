"""Mix-ups of sightings and nominal places: one table of what can go wrong, each with the key of the description it belongs to.

A station's picture is its readings of targets and their nominal places. Every mix-up is a change that would put the
picture right; tried one by one, and two together, those that make it fit are named. A picture hangs upright: where it fits
only upside down or lying on its side, that is a mix-up as well, for flat sets the only sign of one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from monochord.ground.faults import Undetermined
from monochord.ground.frames import fit_rigid

Array = NDArray[np.float64]

#: Cosine of the largest lean of a station that still stands upright.
UPRIGHT = 0.5
#: Explanations whose misfits are within this factor of the best cannot be told apart.
ALIKE = 3.0
#: How much farther from what carries them targets may be in one explanation than in another before it is dropped [m].
AWAY = 0.15
#: Relative departure of a size from a known ratio of units.
NEAR_RATIO = 0.01


@dataclass(frozen=True, eq=False, slots=True)
class Picture:
    """What one station saw of n targets.

    polar      (n, 3) direction counter-clockwise seen from above [rad], zenith angle [rad], distance [m]
    places     (n, 3) nominal [m], girder frame;  matrix  (3, 3) the laboratory's axes to the girder's
    clockwise, elevation  whether the description says that the circle counts clockwise, that the vertical angle is an elevation
    carriers   (n, 3) where what carries each target stands [m], NaN where nobody knows; None when it is not known of any
    """

    polar: Array
    places: Array
    matrix: Array
    clockwise: bool = False
    carriers: Array | None = None
    elevation: bool = False

    @property
    def points(self) -> Array:
        """The targets in the station's own frame (n, 3) [m], its z up."""
        h, z, d = self.polar.T
        return np.stack([d * np.sin(z) * np.cos(h), d * np.sin(z) * np.sin(h), d * np.cos(z)], axis=1)


@dataclass(frozen=True, slots=True)
class Mixup:
    """One thing that can be wrong: words, the key of the lab description to change, and the change that puts it right.

    group  two of one group are never tried together;  ratio  of sizes that the change brings, 1.0 when none
    """

    words: str
    key: str
    group: str
    change: Callable[[Picture], Picture]
    ratio: float = 1.0


@dataclass(frozen=True, slots=True)
class Explanation:
    """Mix-ups that together make a picture fit, the misfit that is left, and how far from their carriers targets then are [m]."""

    mixups: tuple[Mixup, ...]
    misfit: float
    away: float = 0.0

    @property
    def words(self) -> str:
        """All of it with the keys to change."""
        return " and ".join(f"{m.words} ({m.key})" for m in self.mixups)


def _polar(picture: Picture, column: int, change: Callable[[Array], Array]) -> Picture:
    polar = picture.polar.copy()
    polar[:, column] = change(polar[:, column])
    return replace(picture, polar=polar)


def _written(picture: Picture, factor: float, columns: str, *, signed: bool) -> Picture:
    """Angles as they were written times a factor; signed  the circle was written from -180 to 180, not from 0 to 360."""
    sign = -1.0 if picture.clockwise else 1.0
    polar = picture.polar.copy()
    if "h" in columns:
        turn = sign * polar[:, 0]
        # what was written beyond a full circle stays as it was written: 400 gon read as degrees
        turn = np.where(np.abs(turn) > 2.0 * np.pi, turn, np.mod(turn, 2.0 * np.pi))
        polar[:, 0] = sign * factor * (np.mod(turn + np.pi, 2.0 * np.pi) - np.pi if signed else turn)
    if "v" in columns:
        level = np.pi / 2 if picture.elevation else 0.0
        polar[:, 1] = level + factor * (polar[:, 1] - level)
    return replace(picture, polar=polar)


def _lab(picture: Picture, change: Callable[[Array], Array]) -> Picture:
    """Nominal places changed in the laboratory's own axes."""
    return replace(picture, places=change(picture.places @ picture.matrix) @ picture.matrix.T)


def _exchanged(a: int, b: int) -> Callable[[Picture], Picture]:
    order = [0, 1, 2]
    order[a], order[b] = b, a
    return lambda picture: _lab(picture, lambda p: p[:, order])


def _round(first: int) -> Callable[[Picture], Picture]:
    return lambda picture: _lab(picture, lambda p: np.roll(p, first, axis=1))


def _turned(axis: int) -> Callable[[Picture], Picture]:
    signs = np.ones(3)
    signs[axis] = -1.0
    return lambda picture: _lab(picture, lambda p: p * signs)


def _rescaled(factor: float) -> Callable[[Picture], Picture]:
    return lambda picture: _polar(picture, 2, lambda d: d * factor)


def _places_rescaled(factor: float) -> Callable[[Picture], Picture]:
    return lambda picture: replace(picture, places=picture.places * factor)


def _angle_unit(factor: float, columns: str, *, signed: bool) -> Callable[[Picture], Picture]:
    return lambda picture: _written(picture, factor, columns, signed=signed)


def _swap_angles(picture: Picture) -> Picture:
    sign = -1.0 if picture.clockwise else 1.0
    h, v, d = picture.polar.T
    return replace(picture, polar=np.stack([sign * v, np.mod(sign * h, 2.0 * np.pi), d], axis=1))


def _vertical(at_zero: float) -> Callable[[Picture], Picture]:
    return lambda picture: _polar(picture, 1, lambda v: at_zero - v)


_LENGTHS = {
    1e3: ("1000 times too small (m for mm, mm for um)", "1000 times too large (mm for m, um for mm)"),
    25.4: ("inches read as millimetres", "millimetres read as inches"),
    0.3048: ("feet read as metres", "metres read as feet"),
    10.0: ("centimetres read as millimetres", "millimetres read as centimetres"),
    304.8: ("feet read as millimetres", "millimetres read as feet"),
    100.0: ("metres read as centimetres", "centimetres read as metres"),
    0.0254: ("inches read as metres", "metres read as inches"),
    2.54: ("inches read as centimetres", "centimetres read as inches"),
    30.48: ("feet read as centimetres", "centimetres read as feet"),
    12.0: ("feet read as inches", "inches read as feet"),
}
_ANGLES = {
    "gon read as degrees": 0.9,
    "degrees read as gon": 1.0 / 0.9,
    "rad read as degrees": 180.0 / np.pi,
    "degrees read as rad": np.pi / 180.0,
    "rad read as gon": 200.0 / np.pi,
    "gon read as rad": np.pi / 200.0,
}


def _angle_mixups() -> list[Mixup]:
    found = []
    for words, factor in _ANGLES.items():
        for columns, which in (("hv", "angles"), ("h", "horizontal angles"), ("v", "vertical angles")):
            key = "tables.sightings.columns." + {"hv": "horizontal.unit, vertical.unit"}.get(
                columns, "horizontal.unit" if columns == "h" else "vertical.unit"
            )
            for signed in (False, True) if "h" in columns else (False,):
                found.append(Mixup(f"{which} in {words}", key, "unit", _angle_unit(factor, columns, signed=signed)))
    return found


def _length_mixups() -> list[Mixup]:
    """A size that is wrong: of the distances, or the other way round of the nominal places."""
    found = []
    for factor, (small, large) in _LENGTHS.items():
        for times, of_sightings, of_targets in ((factor, small, large), (1.0 / factor, large, small)):
            key = "tables.sightings.columns.distance.unit"
            found.append(Mixup(f"distances: {of_sightings}", key, "size", _rescaled(times), times))
            key = "tables.targets.columns.x.unit"
            found.append(Mixup(f"nominal places: {of_targets}", key, "size", _places_rescaled(1.0 / times), times))
    return found


#: Everything that is tried.
MIXUPS: tuple[Mixup, ...] = (
    Mixup(
        "the sense of the horizontal circle is the other one",
        "angles.horizontal",
        "mirror",
        lambda p: _polar(p, 0, lambda h: -h),
    ),
    Mixup(
        "the vertical angle is an elevation, or the other way round",
        "angles.vertical",
        "vertical",
        _vertical(np.pi / 2),
    ),
    Mixup("the zenith angle counts from the nadir", "angles.vertical", "vertical", _vertical(np.pi)),
    Mixup(
        "horizontal and vertical angles in two exchanged columns",
        "tables.sightings.columns.horizontal, vertical",
        "angles",
        _swap_angles,
    ),
    Mixup("nominal x and y in two exchanged columns", "tables.targets.columns.x, y", "mirror", _exchanged(0, 1)),
    Mixup("nominal y and z in two exchanged columns", "tables.targets.columns.y, z", "mirror", _exchanged(1, 2)),
    Mixup("nominal x and z in two exchanged columns", "tables.targets.columns.x, z", "mirror", _exchanged(0, 2)),
    Mixup("nominal x counts the other way", "tables.targets.columns.x sign, or frame.x", "mirror", _turned(0)),
    Mixup("nominal y counts the other way", "tables.targets.columns.y sign, or frame.y", "mirror", _turned(1)),
    Mixup("nominal z counts the other way", "tables.targets.columns.z sign, or frame.z", "mirror", _turned(2)),
    Mixup("nominal x, y, z each one column too far left", "tables.targets.columns.x, y, z", "mirror", _round(1)),
    Mixup("nominal x, y, z each one column too far right", "tables.targets.columns.x, y, z", "mirror", _round(-1)),
    *_angle_mixups(),
    *_length_mixups(),
)


def explain(picture: Picture, limit: float, *, upright: bool = True) -> list[Explanation]:
    """The fewest mix-ups that make the picture fit within the limit [m], best first; only those as good as the best.

    upright  whether the picture must also hang upright
    """
    best: list[Explanation] = []
    for count in (1, 2):
        for mixups in combinations(MIXUPS, count):
            if len({m.group for m in mixups}) == count:
                found = tried(picture, mixups, limit, upright=upright)
                best += [found] if found is not None else []
        if best:
            break
    best.sort(key=lambda e: e.misfit)
    floor = max(best[0].misfit, 1e-4) if best else 0.0
    near = min((e.away for e in best if e.misfit <= ALIKE * floor), default=0.0) + AWAY
    unique: dict[str, Explanation] = {}
    for e in best:
        if e.misfit <= ALIKE * floor and e.away <= near:
            unique.setdefault(e.words, e)
    return list(unique.values())


def tried(picture: Picture, mixups: Sequence[Mixup], limit: float, *, upright: bool) -> Explanation | None:
    """Whether these mix-ups make the picture fit within the limit [m], and upright where it must."""
    changed = picture
    # Units of angles come first, as they were written; then what the angles mean; then sizes.
    for mixup in sorted(mixups, key=lambda m: ("unit", "angles", "vertical", "mirror", "size").index(m.group)):
        changed = mixup.change(changed)
    if any(m.ratio != 1.0 for m in mixups) and abs(_ratio(changed) - 1.0) > NEAR_RATIO:
        return None
    left, up = misfit(changed.points, changed.places)
    fits = left <= limit and (up[1] > UPRIGHT or not upright)
    return Explanation(tuple(mixups), left, _away(changed)) if fits else None


def _away(picture: Picture) -> float:
    """Median distance of targets from what carries them, along the beam and across [m]; 0 where nobody knows."""
    if picture.carriers is None or not np.isfinite(picture.carriers).all(axis=1).any():
        return 0.0
    return float(np.nanmedian(np.linalg.norm(picture.places - picture.carriers, axis=1)))


def _ratio(picture: Picture) -> float:
    """Size of the places over that of the points: the median over all pairs of targets, so that single blunders do not count."""
    i, j = np.triu_indices(len(picture.places), 1)
    a = np.linalg.norm(picture.points[i] - picture.points[j], axis=1)
    b = np.linalg.norm(picture.places[i] - picture.places[j], axis=1)
    good = a > 1e-9
    return float(np.median(b[good] / a[good])) if good.any() else float("nan")


def misfit(points: Array, places: Array) -> tuple[float, Array]:
    """Median distance [m] after a rigid fit that leaves out the worst, and the station's up in the girder frame (3,).

    Infinite, with no up, where the points lie on one line.
    """
    keep = np.ones(len(points), bool)
    residual, up = np.zeros(len(points)), np.zeros(3)
    for _ in range(4):
        try:
            motion = fit_rigid(points[keep], places[keep], frames=("station", "girder"))
        except Undetermined:
            return float("inf"), np.zeros(3)
        up = motion.rotation[:, 2]
        residual = np.linalg.norm(motion.apply(points) - places, axis=1)
        worst = residual > max(3.0 * float(np.median(residual)), 1e-3)
        if worst.sum() > 0.4 * len(points) or (keep == ~worst).all():
            break
        keep = ~worst
    return float(np.median(residual)), up
