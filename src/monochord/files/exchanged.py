"""Targets whose names look exchanged: each lies where another should, and the misfit falls when they are put back.

Names are paired by their spelling, so two exchanged names pair without complaint; only the places tell. It is said
and not put right: the survey leaves such targets out of what decides the frame.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Target
from monochord.campaign.given.survey import Sighting
from monochord.files.words import listed
from monochord.ground.faults import Fault, Undetermined
from monochord.ground.frames import fit_rigid

Array = NDArray[np.float64]

#: Fewest targets of one station among which an exchange can be seen.
FEWEST = 5

#: A target is far from its place beyond this [m], and beyond so many times what the nominal places are good to.
FAR, FAR_TIMES = 1e-3, 5.0

#: Every one of a ring must come nearer by this factor.
FALLS = 5.0

#: More far targets than this are another mix-up.
MOST = 16

#: Names in the order of a ring: the first lies at the place of the second, and so on; the last at that of the first, or of
#: a target that was not seen.
_Ring = tuple[str, ...]


def exchanged_targets(sightings: Sequence[Sighting], targets: Sequence[Target]) -> list[Fault]:
    """A note for each ring of targets that look exchanged, with the misfit of a station's picture before and after.

    >>> exchanged_targets([], [])
    []
    """
    nominal = {t.name: t.nominal for t in targets if t.nominal is not None}
    good_to = max((t.u_nominal for t in targets), default=0.0)
    by_station: dict[str, dict[str, Sighting]] = {}
    anywhere: set[str] = set()
    for s in sightings:
        anywhere.add(s.target)
        if s.target in nominal and None not in (s.direction, s.zenith, s.distance):
            by_station.setdefault(s.station, {}).setdefault(s.target, s)
    found: dict[_Ring, list[tuple[str, float, float, Sighting]]] = {}
    for station, seen in by_station.items():
        free = [name for name in nominal if name not in anywhere]
        try:
            rings = _rings(seen, nominal, free, good_to)
        except Undetermined:
            continue  # targets on one line lie as well in one order as in the other
        for ring, before, after in rings:
            found.setdefault(ring, []).append((station, before, after, _second(ring, seen)))
    return [_note(ring, told) for ring, told in found.items()]


def _second(ring: _Ring, seen: Mapping[str, Sighting]) -> Sighting:
    return seen[ring[1]] if ring[1] in seen else seen[ring[0]]


def _note(ring: _Ring, told: list[tuple[str, float, float, Sighting]]) -> Fault:
    stations = ", ".join(station for station, *_ in told)
    _, before, after, sighting = max(told, key=lambda t: t[1])
    falls = f"the misfit to the nominal places falls from {length(before)} to {length(after)} if so"
    expected, look = "every target at its place", "look at the reflectors and the table, and"
    file, line = sighting.file, sighting.line
    if ring[0] == "":
        given = f"{ring[1]} looks like {ring[2]}, which was not seen, from station {stations}: {falls}"
        return Fault(given, expected, f"{look} mend the name in the file where it is wrong", file, line)
    if len(ring) == 2:
        given = f"{ring[0]} and {ring[1]} look exchanged from station {stations}: {falls}"
        return Fault(given, expected, f"{look} exchange the two names in the file where they are wrong", file, line)
    round_ = ", ".join(f"{a} at the place of {b}" for a, b in zip(ring, (*ring[1:], ring[0]), strict=True))
    given = f"{listed(ring)} look exchanged in a ring from station {stations} ({round_}): {falls}"
    return Fault(given, expected, f"{look} mend the names in the file where they are wrong", file, line)


def length(metres: float) -> str:
    """A length in words, in the unit that suits it.

    >>> length(0.012), length(6.04e-6), length(0.31)
    ('12 mm', '6.04 um', '310 mm')
    """
    return (
        f"{metres * 1e6:.3g} um" if metres < 1e-4 else f"{metres * 1e3:.3g} mm" if metres < 1.0 else f"{metres:.3g} m"
    )


def _rings(
    seen: Mapping[str, Sighting],
    nominal: Mapping[str, tuple[float, float, float] | None],
    free: Sequence[str],
    good_to: float,
) -> list[tuple[_Ring, float, float]]:
    """Rings of names, and names that stand for a target nobody saw, with the picture's misfit before and after."""
    if len(seen) < FEWEST:
        return []
    names = list(seen)
    points = _cartesian(np.array([(s.direction, s.zenith, s.distance) for s in seen.values()], float))
    places = np.array([nominal[name] for name in names], float)
    laid = _laid(points, places)
    apart = np.linalg.norm(laid - places, axis=1)
    far = np.flatnonzero(apart > max(FAR, FAR_TIMES * good_to, FAR_TIMES * float(np.median(apart))))
    if not 1 <= far.size <= MOST:
        return []
    unseen = np.array([nominal[name] for name in free], float).reshape(-1, 3)
    spots = np.concatenate([places[far], unseen])
    away = np.linalg.norm(laid[far][:, None] - spots[None], axis=2)
    nearest = away.argmin(axis=1)
    told = {
        int(i): int(k)
        for i, (k, d) in enumerate(zip(nearest, away.min(axis=1), strict=True))
        if d * FALLS < apart[far[i]]
    }
    found: list[tuple[_Ring, float, float]] = []
    before = _rms(points, places)
    for ring in _closed(told, far.size):
        turned = places.copy()
        turned[far[list(ring)]] = spots[[told[i] for i in ring]]
        found.append((tuple(names[far[i]] for i in ring), before, _rms(points, turned)))
    for i, k in told.items():
        if k >= far.size:
            turned = places.copy()
            turned[far[i]] = spots[k]
            found.append((("", names[far[i]], free[k - far.size]), before, _rms(points, turned)))
    return found


def _closed(told: Mapping[int, int], count: int) -> list[tuple[int, ...]]:
    """Rings of at least two among the first ``count``, each from its smallest member.

    >>> _closed({0: 1, 1: 0, 2: 3, 3: 4, 4: 2, 5: 9}, 6)
    [(0, 1), (2, 3, 4)]
    """
    rings = []
    for start in sorted(told):
        ring, at = [start], told[start]
        while at in told and at < count and at not in ring:
            ring.append(at)
            at = told[at]
        if at == start and len(ring) > 1 and start == min(ring):
            rings.append(tuple(ring))
    return rings


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
