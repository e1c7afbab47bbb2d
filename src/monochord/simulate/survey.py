"""The virtual survey: levelled tracker stations round the girder, and what goes wrong with them.

True here and in no adjustment's model: the vertical is curved, air bends the sights a little, the direction
circle is slightly off centre, every set-up has its own range zero; one occasion's range scale may be wrong,
and one target may be seated badly while one station looks at it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.survey import Instrument, Sighting
from monochord.ground.frames import Rigid, rotation_from_vector

Array = NDArray[np.float64]

#: Mean radius of the earth [m]: the vertical turns by 1/R per metre (0.157 urad/m).
EARTH_RADIUS = 6.371e6
#: Change of air's refractive index with temperature [1/K], near 20 degC and 1013 hPa.
INDEX_PER_KELVIN = -0.95e-6


@dataclass(frozen=True, eq=False, slots=True)
class Room:
    """A hall or tunnel: where the tracker is set up and which monuments its walls carry.

    stations, monuments  name -> (x, y, z) [m], hall frame: the girder frame up to the girder's small pose
    layering             growth of air temperature with height [K/m]
    """

    name: str
    stations: Mapping[str, tuple[float, float, float]]
    monuments: Mapping[str, tuple[float, float, float]]
    layering: float = 0.15


@dataclass(frozen=True, slots=True)
class WrongSighting:
    """A sighting that is wrong in every round: the reflector sat off its place by ``away`` (x, y, z) [m] for one station."""

    station: str
    target: str
    away: tuple[float, float, float]


@dataclass(frozen=True, eq=False, slots=True)
class Setup:
    """What was true of one survey and is not told.

    scale      reading over true distance, minus 1;  wrong  or None
    mountings  target -> (3,) seating error of its reflector [m], hall frame
    tilts      station -> (2,) remaining tilt about hall z and x [rad]
    headings   station -> zero of the circle [rad];  range_zeros  station -> [m]
    hidden     (station, target) that could not be seen
    """

    scale: float
    wrong: WrongSighting | None
    mountings: Mapping[str, Array]
    tilts: Mapping[str, Array]
    headings: Mapping[str, float]
    range_zeros: Mapping[str, float]
    hidden: frozenset[tuple[str, str]]


def set_up(
    instrument: Instrument,
    room: Room,
    targets: Sequence[str],
    rng: np.random.Generator,
    *,
    scale: float = 0.0,
    wrong: WrongSighting | None = None,
    hidden_part: float = 0.06,
) -> Setup:
    """Draw what is true of one survey: seatings, tilts, headings and which sights are blocked.

    hidden_part  of the sights is blocked, but every target stays seen from three stations or from all there are
    """
    stations = list(room.stations)
    level = instrument.u_level or 0.0
    seen = {t: len(stations) for t in targets}
    hidden: set[tuple[str, str]] = set()
    for station, target in np.array([(s, t) for s in stations for t in targets])[
        rng.random(len(stations) * len(targets)) < hidden_part
    ]:
        if seen[target] > 3 and (wrong is None or (station, target) != (wrong.station, wrong.target)):
            hidden.add((str(station), str(target)))
            seen[target] -= 1
    seats = instrument.u_mounting * rng.normal(size=(len(targets), 3))
    return Setup(
        scale, wrong, dict(zip(targets, seats, strict=True)),
        {s: level * rng.normal(size=2) for s in stations},
        {s: float(rng.uniform(0.0, 2.0 * np.pi)) for s in stations},
        {s: 1.5e-6 * float(rng.normal()) for s in stations},
        frozenset(hidden),
    )  # fmt: skip


def sight(
    instrument: Instrument,
    room: Room,
    setup: Setup,
    points: Mapping[str, Array],
    rng: np.random.Generator | None,
    *,
    rounds: int = 2,
    file: str = "",
    first_row: int = 2,
) -> tuple[Sighting, ...]:
    """All sightings of one survey, station by station, round by round.

    points  target -> (3,) true place [m], hall frame;  rng None sights without reading noise
    file, first_row  where the readings will stand
    """
    made: list[Sighting] = []
    for station, place in room.stations.items():
        names = [n for n in points if (station, n) not in setup.hidden]
        seats = np.array([points[n] + setup.mountings[n] for n in names])
        if setup.wrong is not None and setup.wrong.station == station:
            seats[names.index(setup.wrong.target)] += setup.wrong.away
        true = _polar(seats, np.array(place), setup.tilts[station], setup.headings[station])
        for round_ in range(1, rounds + 1):
            direction, zenith, distance = _read(true, instrument, room.layering, rng)
            distance = distance * (1.0 + setup.scale) + setup.range_zeros[station]
            for name, hz, v, d in zip(names, direction, zenith, distance, strict=True):
                row = first_row + len(made)
                made.append(Sighting(station, name, float(hz), float(v), float(d), round_, file, row))
    return tuple(made)


def _polar(points: Array, station: Array, tilt: Array, heading: float) -> tuple[Array, Array, Array]:
    # The plumb line leans outward by 1/R per metre from the origin; the remaining tilt comes on top.
    lean = np.array([station[2], 0.0, -station[0]]) / EARTH_RADIUS + [tilt[1], 0.0, tilt[0]]
    x, y, z = ((points - station) @ rotation_from_vector(lean)).T
    # Up is hall y; seen from above, counter-clockwise runs from hall z to hall x.
    direction = np.arctan2(x, z) - heading
    distance = np.sqrt(x**2 + y**2 + z**2)
    return direction, np.arccos(y / distance), distance


def _read(
    true: tuple[Array, Array, Array], instrument: Instrument, layering: float, rng: np.random.Generator | None
) -> tuple[Array, Array, Array]:
    direction, zenith, distance = true
    steep = np.sin(zenith)
    # Air that is warmer above bends the sight down: the target seems higher.
    bent = 0.5 * INDEX_PER_KELVIN * layering * distance * steep
    off_centre = 0.4e-6 * np.sin(direction)
    noise = np.zeros((3, len(distance))) if rng is None else rng.normal(size=(3, len(distance)))
    spread = instrument.u_range + instrument.u_range_ratio * distance
    if instrument.range_sum != "plain":
        spread = np.hypot(instrument.u_range, instrument.u_range_ratio * distance)
    return (
        np.mod(direction + off_centre + instrument.u_angle * noise[0] / steep, 2.0 * np.pi),
        zenith + bent + instrument.u_angle * noise[1],
        distance + spread * noise[2],
    )


def in_hall(pose: Rigid, points: Mapping[str, Array]) -> dict[str, Array]:
    """Points of the girder frame, (3,) each, as they lie in the hall."""
    placed = pose.apply(np.array([points[n] for n in points]).reshape(-1, 3))
    return dict(zip(points, placed, strict=True))
