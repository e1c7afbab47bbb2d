"""A small virtual hall for the tests of the survey room: a girder, monuments, free or levelled trackers, known truth.

It obeys the adjustment's own model exactly (straight light, no circle error), so that statistics can be judged.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.points import PointSet
from monochord.campaign.given.girder import Target
from monochord.campaign.given.survey import Instrument, Sighting
from monochord.ground.estimate import kind_of
from monochord.ground.frames import fit_rigid
from monochord.survey.model import UPRIGHT, readings_from, spreads, turned

Array = NDArray[np.float64]

LEVELLED = Instrument("tracker", 2.6e-6, 6e-6, 0.8e-6, 3e-6, 3e-6, 1e-6, "quadratic")
FREE = replace(LEVELLED, u_level=None)
STATIONS = (
    (-2.4, 0.5, -1.5), (2.6, 0.9, 0.4), (-2.2, 0.2, 2.2), (2.3, 1.2, -2.5),
    (0.2, 1.6, -4.2), (-0.4, 1.8, 4.3), (3.0, 0.1, 2.9), (-3.0, 1.0, 0.0),
)  # fmt: skip


def hall(girder: int = 12, magnets: int = 5, monuments: int = 6) -> dict[str, tuple[str, tuple[float, float, float]]]:
    """Targets of a 4.4 m girder, four on each magnet, and monuments round it: name -> carrier and place [m]."""
    places: dict[str, tuple[str, tuple[float, float, float]]] = {}
    for k in range(girder // 2):
        z = -2.2 + 4.4 * k / max(girder // 2 - 1, 1)
        places[f"G{k + 1}L"], places[f"G{k + 1}R"] = ("girder", (0.3, -0.37, z)), ("girder", (-0.3, -0.36, z))
    for m in range(magnets):
        z = -1.8 + 3.6 * m / max(magnets - 1, 1)
        for j, (x, dz) in enumerate(((-0.2, -0.08), (0.2, -0.08), (-0.2, 0.08), (0.2, 0.08))):
            places[f"Q{m + 1}-{j + 1}"] = (f"Q{m + 1}", (x, 0.31, z + dz))
    for w in range(monuments):
        angle = 2.0 * math.pi * w / monuments + 0.3
        places[f"M{w + 1}"] = ("wall", (3.5 * math.cos(angle), 0.4 * (-1) ** w, 4.0 * math.sin(angle)))
    return places


@dataclass(frozen=True, eq=False)
class World:
    """Sightings of one virtual survey, the girder's list of targets, and where every target truly is [m]."""

    sightings: tuple[Sighting, ...]
    instrument: Instrument
    targets: tuple[Target, ...]
    truth: Mapping[str, Array]


def survey(
    seed: int,
    *,
    stations: int = 3,
    rounds: int = 2,
    instrument: Instrument = LEVELLED,
    places: Mapping[str, tuple[str, tuple[float, float, float]]] | None = None,
    noise: float = 1.0,
    seating: float = 1.0,
    jitter: float = 2e-5,
    scale: float = 0.0,
    displaced: Mapping[str, Sequence[float]] | None = None,
    seen: Callable[[str, str], bool] = lambda station, target: True,
) -> World:
    """Sight every target from every station.

    noise, seating  multiples of the instrument's reading noise and mounting;  scale  of its distances, relative
    jitter          how far targets truly lie from the list, per coordinate [m]
    displaced       carrier -> (3,) how far its targets lie from the list [m];  seen  whether a station sights a target
    """
    rng = np.random.default_rng(seed)
    places = hall() if places is None else places
    names = list(places)
    truth = np.array([places[n][1] for n in names]) + rng.normal(0.0, jitter, (len(names), 3))
    truth += np.array([(displaced or {}).get(places[n][0], (0.0, 0.0, 0.0)) for n in names])
    seated = truth + seating * instrument.u_mounting * rng.standard_normal(truth.shape)
    lean = 3e-6 if instrument.u_level is not None else 0.02
    made: list[Sighting] = []
    for s in range(stations):
        station = f"T{s + 1}"
        heading = turned(UPRIGHT[None], np.array([[0.0, rng.uniform(-3.0, 3.0), 0.0]]))
        stand = turned(heading, np.array([[lean * rng.standard_normal(), 0.0, lean * rng.standard_normal()]]))
        position = np.array(STATIONS[s]) + rng.normal(0.0, 0.2, 3)
        rows = [i for i, n in enumerate(names) if seen(station, n)]
        true, _, _ = readings_from(
            np.repeat(position[None], len(rows), 0), np.repeat(stand, len(rows), 0), seated[rows]
        )
        sigma = spreads(instrument, true[:, 1], true[:, 2])
        for round_ in range(1, rounds + 1):
            read = true + noise * sigma * rng.standard_normal(true.shape)
            for row, (h, z, d) in zip(rows, read.tolist(), strict=True):
                place = (round_, "obs.csv", len(made) + 2)
                made.append(Sighting(station, names[row], h, z, d * (1.0 + scale), *place))
    listed = tuple(Target(n, c, p, 5e-4) for n, (c, p) in places.items() if c != "wall")
    return World(tuple(made), instrument, listed, dict(zip(names, truth, strict=True)))


def spoiled(
    sightings: Sequence[Sighting], station: str, target: str, error: Sequence[float], *, round_: int | None = None
) -> list[Sighting]:
    """The sightings with an error of direction, zenith angle [rad] and distance [m] in one of them, in all rounds or one."""
    return [
        replace(
            s,
            direction=(s.direction or 0.0) + error[0],
            zenith=(s.zenith or 0.0) + error[1],
            distance=(s.distance or 0.0) + error[2],
        )
        if (s.station, s.target) == (station, target) and round_ in (None, s.round)
        else s
        for s in sightings
    ]


def errors(points: PointSet, truth: Mapping[str, Array]) -> tuple[Array, Array]:
    """Errors (3n,) [m] about the truth in the datum of the girder's targets, and their covariance without the scale."""
    found = points.estimate.value.reshape(-1, 3)
    true = np.array([truth[name] for name in points.names])
    datum = np.array([points.carriers[name] == "girder" for name in points.names])
    error = found - fit_rigid(true[datum], found[datum], frames=("truth", "girder")).apply(true)
    parts = [f.cov for cause, f in points.estimate.factors.items() if kind_of(cause) != "range scale"]
    return error.reshape(-1), np.sum(parts, axis=0)
