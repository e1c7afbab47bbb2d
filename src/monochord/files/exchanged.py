"""Targets whose names look exchanged: each lies where the other should, and the misfit falls when they are turned back.

Names are paired by their spelling, so two exchanged names pair without complaint; only the places tell. It is said
and not put right: the survey leaves such targets out of what decides the frame.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Target
from monochord.campaign.given.survey import Sighting
from monochord.ground.faults import Fault, Undetermined
from monochord.ground.frames import fit_rigid

Array = NDArray[np.float64]

#: Fewest targets of one station among which an exchange can be seen.
FEWEST = 5

#: A target is far from its place beyond this [m], and beyond so many times what the nominal places are good to.
FAR, FAR_TIMES = 1e-3, 5.0

#: Both of a pair must come nearer by this factor.
FALLS = 5.0

#: More far targets than this are another mix-up.
MOST = 16


def exchanged_targets(sightings: Sequence[Sighting], targets: Sequence[Target]) -> list[Fault]:
    """A note for each two targets that look exchanged, with the misfit of a station's picture before and after.

    >>> exchanged_targets([], [])
    []
    """
    nominal = {t.name: t.nominal for t in targets if t.nominal is not None}
    good_to = max((t.u_nominal for t in targets), default=0.0)
    by_station: dict[str, dict[str, Sighting]] = {}
    for s in sightings:
        if s.target in nominal and None not in (s.direction, s.zenith, s.distance):
            by_station.setdefault(s.station, {}).setdefault(s.target, s)
    found: dict[tuple[str, str], list[tuple[str, float, float, Sighting]]] = {}
    for station, seen in by_station.items():
        try:
            pairs = _pairs(seen, nominal, good_to)
        except Undetermined:
            continue  # targets on one line lie as well in one order as in the other
        for pair, before, after in pairs:
            found.setdefault(pair, []).append((station, before, after, seen[pair[1]]))
    return [_note(pair, told) for pair, told in found.items()]


def _note(pair: tuple[str, str], told: list[tuple[str, float, float, Sighting]]) -> Fault:
    stations = ", ".join(station for station, *_ in told)
    _, before, after, sighting = max(told, key=lambda t: t[1])
    given = f"{pair[0]} and {pair[1]} look exchanged from station {stations}: "
    given += f"the misfit to the nominal places falls from {length(before)} to {length(after)} if so"
    remedy = "look at the reflectors and the table, and exchange the two names in the file where they are wrong"
    return Fault(given, "every target at its place", remedy, sighting.file, sighting.line)


def length(metres: float) -> str:
    """A length in words, in the unit that suits it.

    >>> length(0.012), length(6.04e-6), length(0.31)
    ('12 mm', '6.04 um', '310 mm')
    """
    return (
        f"{metres * 1e6:.3g} um" if metres < 1e-4 else f"{metres * 1e3:.3g} mm" if metres < 1.0 else f"{metres:.3g} m"
    )


def _pairs(
    seen: Mapping[str, Sighting], nominal: Mapping[str, tuple[float, float, float] | None], good_to: float
) -> list[tuple[tuple[str, str], float, float]]:
    if len(seen) < FEWEST:
        return []
    names = list(seen)
    points = _cartesian(np.array([(s.direction, s.zenith, s.distance) for s in seen.values()], float))
    places = np.array([nominal[name] for name in names], float)
    laid = _laid(points, places)
    apart = np.linalg.norm(laid - places, axis=1)
    far = np.flatnonzero(apart > max(FAR, FAR_TIMES * good_to, FAR_TIMES * float(np.median(apart))))
    if not 2 <= far.size <= MOST:
        return []
    found = []
    for i, j in combinations(far.tolist(), 2):
        crossed = max(float(np.linalg.norm(laid[i] - places[j])), float(np.linalg.norm(laid[j] - places[i])))
        if crossed * FALLS < min(apart[i], apart[j]):
            turned = places.copy()
            turned[[i, j]] = places[[j, i]]
            found.append(((names[i], names[j]), _rms(points, places), _rms(points, turned)))
    return found


def _cartesian(polar: Array) -> Array:
    h, z, d = polar.T
    return np.stack([d * np.sin(z) * np.cos(h), d * np.sin(z) * np.sin(h), d * np.cos(z)], axis=1)


def _laid(points: Array, places: Array) -> Array:
    """The points laid onto their places by a rigid motion that those far away do not decide."""
    keep = np.ones(len(points), bool)
    laid = points
    for _ in range(6):
        laid = fit_rigid(points[keep], places[keep], frames=("station", "girder")).apply(points)
        apart = np.linalg.norm(laid - places, axis=1)
        worst = apart > max(2.5 * float(np.median(apart)), FAR)
        if worst.sum() > 0.5 * len(points) or len(points) - worst.sum() < 3 or (keep == ~worst).all():
            break
        keep = ~worst
    return laid


def _rms(points: Array, places: Array) -> float:
    """Root mean square distance after a rigid fit of all points [m]."""
    laid = fit_rigid(points, places, frames=("station", "girder")).apply(points)
    return float(np.sqrt(((laid - places) ** 2).sum(axis=1).mean()))
