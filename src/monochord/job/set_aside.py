"""What sightings that people set aside would have said: each reading held against the adjustment without it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.excluded import Aside, AsideReading
from monochord.campaign.found.points import PointSet
from monochord.campaign.given.campaign import Campaign
from monochord.campaign.given.excluded import Excluded
from monochord.campaign.given.survey import Instrument, Sighting
from monochord.ground.trace import Line, pointer
from monochord.survey.model import KINDS, UNITS, read, spreads, wrap

Array = NDArray[np.float64]

#: Said of a scan: its share in a centre is known only with it.
NO_SCAN = "nothing is computed for a scan that is set aside"
COUNTS = "it counts: what it says stands among the others"
GONE = "it is not found any more in the files"
#: Settings of the instrument on which the standard uncertainty of a reading rests, by kind.
SPREADS: tuple[tuple[str, ...], ...] = (("u_angle",), ("u_angle",), ("u_range", "u_range_ratio"))


def asides(campaign: Campaign, points: Mapping[str, PointSet]) -> tuple[Aside, ...]:
    """Every exclusion of a campaign with what its sighting would have said, or why that is not known."""
    return tuple(_aside(e, campaign.instrument, points.get(e.occasion)) for e in campaign.excluded)


def _aside(excluded: Excluded, instrument: Instrument | None, points: PointSet | None) -> Aside:
    sighting = excluded.reading
    if not excluded.holds:
        return Aside(excluded, reason=COUNTS)
    if sighting is None:
        return Aside(excluded, reason=GONE)
    if not isinstance(sighting, Sighting):
        return Aside(excluded, reason=NO_SCAN)
    if instrument is None or points is None:
        return Aside(excluded, reason="the survey of this occasion was not adjusted")
    lines = geometry(excluded.occasion, points, sighting)
    if isinstance(lines, str):
        return Aside(excluded, reason=lines)
    amounts = [line.amount for line in lines]
    found = [
        AsideReading(KINDS[k], UNITS[k], residual(float(value), amounts, k), spread(instrument, amounts, k))
        for k, value in enumerate(readings(sighting))
        if value is not None
    ]
    return Aside(excluded, tuple(found))


def readings(sighting: Sighting) -> tuple[float | None, float | None, float | None]:
    """What was read, in the order of the kinds: direction, zenith angle, distance."""
    return sighting.direction, sighting.zenith, sighting.distance


def geometry(occasion: str, points: PointSet, sighting: Sighting) -> list[Line] | str:
    """The 27 numbers from which a sighting is computed, each with its name; or why there are none.

    The target in the girder frame (3), the girder in the survey's frame (12), the station in the survey's frame (12).
    """
    station = next((s for s in points.stations if s.name == sighting.station), None)
    if station is None:
        return f"station {sighting.station} is not adjusted without it"
    if sighting.target not in points.names:
        why = points.undetermined.get(sighting.target, "nothing else sights it")
        return f"the place of {sighting.target} is not known without it: {why}"
    at = [points.estimate.index(f"{sighting.target}.{axis}") for axis in "xyz"]
    here = ("occasions", occasion)
    target = [
        Line(f"{sighting.target}, {axis}", float(points.estimate.value[i]), pointer(*here, "targets", sighting.target, "xyz", k))
        for k, (i, axis) in enumerate(zip(at, "xyz", strict=True))
    ]  # fmt: skip
    return [
        *target,
        *_pose("survey to girder", points.pose.rotation, points.pose.shift, (*here, "survey", "pose")),
        *_pose(station.name, station.pose.rotation, station.pose.shift, (*here, "stations", station.name, "pose")),
    ]


def _pose(words: str, rotation: Array, shift: Array, keys: tuple[str, ...]) -> list[Line]:
    turns = [
        Line(f"{words}, rotation {i} {j}", float(rotation[i, j]), pointer(*keys, "rotation", i, j))
        for i in range(3)
        for j in range(3)
    ]
    return turns + [Line(f"{words}, shift {i}", float(shift[i]), pointer(*keys, "shift", i)) for i in range(3)]


def computed(amounts: Sequence[float]) -> Array:
    """Direction, zenith angle [rad] and distance [m] (3,) of a target from its station, from the numbers of :func:`geometry`.

    u = S' (G' (p - g) - s), with G, g the girder's pose from the survey and S, s that of the station in it

    >>> upright = [0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    >>> computed([0.0, 0.0, 2.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, *upright]).round(6).tolist()
    [0.0, 1.570796, 2.0]
    """
    v = np.asarray(amounts, np.float64)
    girder, station = v[3:12].reshape(3, 3), v[15:24].reshape(3, 3)
    away = station.T @ (girder.T @ (v[:3] - v[12:15]) - v[24:27])
    values: Array = read(away[None])[0][0]
    return values


def residual(value: float, amounts: Sequence[float], kind: int) -> float:
    """Read minus computed, a direction within half a circle."""
    apart = value - float(computed(amounts)[kind])
    return float(wrap(np.array([apart]))[0]) if kind == 0 else apart


def spread(instrument: Instrument, amounts: Sequence[float], kind: int) -> float:
    """Standard uncertainty of one reading of this kind there, as the adjustment weighs it."""
    there = computed(amounts)
    return float(spreads(instrument, there[1:2], there[2:3])[0, kind])


def with_settings(instrument: Instrument, kind: int, values: Sequence[float]) -> Instrument:
    """The instrument with the settings behind one kind of reading put in place of its own."""
    if kind == KINDS.index("distance"):
        return replace(instrument, u_range=values[0], u_range_ratio=values[1])
    return replace(instrument, u_angle=values[0])
