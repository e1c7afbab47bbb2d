"""What the picture of targets from a station tells when it is laid rigidly on their nominal places.

Every unit of angle, sense of the circle and meaning of the vertical angle is tried. A reading that is right lays the
picture on the nominal places to a few millimetres; a wrong one bends or mirrors it. The nominal places count as
right-handed, since a description takes no other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from monochord.files.columns import Array
from monochord.ground.faults import Undetermined
from monochord.ground.frames import Rigid, fit_rigid

#: Fewest common targets of a station for a picture, and of all for one whose sense can be told.
FEWEST = 4

#: A picture fits below this [m]; a second reading of it fits as well below this many times the best, and this [m].
FITS, TIMES, CLEAR = 0.010, 5.0, 0.002

ANGLES = {"deg": np.pi / 180.0, "gon": np.pi / 200.0, "rad": 1.0}
LENGTHS = {"mm": 1e-3, "m": 1.0, "in": 0.0254}
SENSES = {"counter-clockwise": 1.0, "clockwise": -1.0}
VERTICALS = ("zenith", "elevation")


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """Sightings of one station as they stand in the file, of targets with nominal places.

    polar (n, 3): horizontal, vertical, distance;  places (n, 3) in one unit;  names of the targets
    """

    station: str
    polar: Array
    places: Array
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to read sightings."""

    unit: str
    horizontal: str
    vertical: str
    distance: str

    @property
    def words(self) -> str:
        """For people."""
        return f"{self.unit}, {self.horizontal}, {self.vertical}, distances in {self.distance}"


@dataclass(frozen=True, slots=True, eq=False)
class Tried:
    """A reading and how far it leaves the targets from their nominal places, median over all stations [m]."""

    reading: Reading
    misfit: float
    motions: tuple[Rigid, ...]


def tried(
    pictures: Sequence[Picture],
    to_metres: float,
    units: Sequence[str] = tuple(ANGLES),
    lengths: Sequence[str] = tuple(LENGTHS),
) -> list[Tried]:
    """Every reading with its misfit, the best first; empty when no station sees enough targets.

    to_metres  of the nominal places;  units, lengths  that come into question

    >>> places = np.array([[0.0, 0, 0], [3, 0, 0], [3, 1, 0], [0, 1, 0.4], [1, 0.5, 0.2]])
    >>> d = places + [2.0, 1, 0.5]
    >>> r = np.linalg.norm(d, axis=1)
    >>> polar = np.stack([-np.degrees(np.arctan2(d[:, 1], d[:, 0])), np.degrees(np.arcsin(d[:, 2] / r)), r], axis=1)
    >>> tried([Picture("A", polar, places, tuple("abcde"))], 1.0)[0].reading.words
    'deg, clockwise, elevation, distances in m'
    """
    seen = [p for p in pictures if len(p.names) >= FEWEST]
    if not seen:
        return []
    found = []
    for unit, sense, vertical, length in product(units, SENSES, VERTICALS, lengths):
        reading = Reading(unit, sense, vertical, length)
        laid = [_laid(cartesian(p.polar, reading), to_metres * p.places) for p in seen]
        found.append(Tried(reading, float(np.median([m for m, _ in laid])), tuple(r for _, r in laid)))
    return sorted(found, key=lambda t: t.misfit)


def as_good(found: Sequence[Tried]) -> list[Tried]:
    """The readings that fit, and that the misfit does not tell apart; empty when none fits."""
    if not found or found[0].misfit > FITS:
        return []
    limit = min(max(TIMES * found[0].misfit, CLEAR), FITS)
    return [t for t in found if t.misfit <= limit]


def cartesian(polar: Array, reading: Reading) -> Array:
    """Places (n, 3) [m] in the station's frame, its z up."""
    h = SENSES[reading.horizontal] * ANGLES[reading.unit] * polar[:, 0]
    v = ANGLES[reading.unit] * polar[:, 1]
    zenith = np.pi / 2 - v if reading.vertical == "elevation" else v
    d = LENGTHS[reading.distance] * polar[:, 2]
    return np.stack([d * np.sin(zenith) * np.cos(h), d * np.sin(zenith) * np.sin(h), d * np.cos(zenith)], axis=1)


def _laid(points: Array, places: Array) -> tuple[float, Rigid]:
    """Median distance [m] after a rigid fit that leaves out the worst, and the motion from the station to the places."""
    keep = np.ones(len(points), bool)
    residual, motion = np.full(len(points), np.inf), Rigid("station", "nominal", np.eye(3), np.zeros(3))
    for _ in range(4):
        try:
            motion = fit_rigid(points[keep], places[keep], frames=("station", "nominal"))
        except Undetermined:
            break  # on one line they prove nothing
        residual = np.linalg.norm(motion.apply(points) - places, axis=1)
        worst = residual > max(3.0 * float(np.median(residual)), 1e-3)
        if worst.sum() > 0.3 * len(points) or (keep == ~worst).all() or (~worst).sum() < FEWEST:
            break
        keep = ~worst
    return float(np.median(residual)), motion


def up(found: Tried) -> tuple[str, float, float] | None:
    """The nominal axis to which the stations' vertical points: letter, sign, and the largest tilt against it [rad].

    None when no axis lies within 20 degrees of it from every station.
    """
    verticals = np.array([m.rotation[:, 2] for m in found.motions])
    place = int(np.argmax(np.abs(verticals.mean(axis=0))))
    sign = float(np.sign(verticals[:, place].mean()))
    tilt = float(np.arccos(np.clip((sign * verticals[:, place]).min(), -1.0, 1.0)))
    return ("xyz"[place], sign, tilt) if tilt < 0.35 else None


def place_of(
    found: Tried, pictures: Sequence[Picture], seen: Mapping[str, Mapping[str, Array]], name: str
) -> Array | None:
    """Mean place (3,) [m] of a further point in the nominal frame, from all stations that saw it; None when none did.

    seen  station -> point -> its first sighting (3,)
    """
    fitting = [p for p in pictures if len(p.names) >= FEWEST]
    places = [
        motion.apply(cartesian(seen[p.station][name][None, :], found.reading))[0]
        for p, motion in zip(fitting, found.motions, strict=True)
        if name in seen.get(p.station, {})
    ]
    return np.median(np.array(places), axis=0) if places else None
