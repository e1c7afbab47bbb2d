"""Do sightings and nominal targets show the same thing? Mirrors, wrong units and wrong senses.

From one station the sightings of targets with nominal places form a picture that must fit the nominal
one by a rigid motion, to a few millimetres. When it does not, the usual mix-ups are tried and the ones
that explain it are named: nothing is put right in silence.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Target
from monochord.campaign.given.survey import Sighting
from monochord.ground.faults import Fault
from monochord.ground.frames import fit_rigid

Array = NDArray[np.float64]

#: Median misfit that still passes [m], and in units of the nominal places' uncertainty.
PASSES, PASSES_TIMES = 0.010, 10.0

#: Fewest common targets for a picture; with fewer than ``SURE`` only a mix-up that explains it is a fault.
FEWEST, SURE = 3, 5

# Nominal size over measured size -> what makes it.
_SCALES = {1e3: "distances 1000 times too small", 1e-3: "distances 1000 times too large"} | {
    25.4: "the measured distances look like inches read as millimetres",
    1 / 25.4: "the nominal places look like inches read as millimetres",
    0.3048: "feet and metres exchanged",
    1 / 0.3048: "feet and metres exchanged",
    10.0: "centimetres and millimetres exchanged",
    0.1: "centimetres and millimetres exchanged",
}
_ANGLES = {
    1.0: "",
    0.9: "angles in gon read as degrees",
    1 / 0.9: "angles in degrees read as gon",
    180 / np.pi: "angles in radians read as degrees",
    200 / np.pi: "angles in radians read as gon",
    0.18 / np.pi: "angles in milliradians read as degrees",
    0.2 / np.pi: "angles in milliradians read as gon",
    1 / 60: "angles in minutes of arc read as degrees",
}
_MIRROR = (
    "the picture is a mirror image: the sense of the horizontal circle, two exchanged columns, or an axis turned round"
)


def check_survey(sightings: Sequence[Sighting], targets: Sequence[Target]) -> list[Fault]:
    """One fault for each station whose picture of the targets cannot be theirs."""
    nominal = {t.name: t.nominal for t in targets if t.nominal is not None}
    limit = max(PASSES, PASSES_TIMES * max((t.u_nominal for t in targets), default=0.0))
    by_station: dict[str, dict[str, Sighting]] = {}
    for s in sightings:
        if s.target in nominal and None not in (s.direction, s.zenith, s.distance):
            by_station.setdefault(s.station, {}).setdefault(s.target, s)
    faults = []
    for station, seen in by_station.items():
        if len(seen) < FEWEST:
            continue
        fault = _picture(station, seen, nominal, limit)
        if fault is not None:
            faults.append(fault)
    return faults


def _picture(
    station: str, seen: Mapping[str, Sighting], nominal: Mapping[str, tuple[float, float, float] | None], limit: float
) -> Fault | None:
    places = np.array([nominal[name] for name in seen], float)
    polar = np.array([(s.direction, s.zenith, s.distance) for s in seen.values()], float)
    misfit = _misfit(_cartesian(polar), places)
    if misfit <= limit:
        return None
    first = next(iter(seen.values()))
    reasons = _reasons(polar, places, limit)
    if len(seen) < SURE and not reasons:
        return None
    remedy = f"{' or '.join(reasons)}; mend the lab description or the file" if reasons else _NO_REASON
    given = f"a picture of {len(seen)} targets from station {station} that misses their nominal places by "
    size = f"{misfit * 1e3:.3g} mm"
    return Fault(given + size, f"less than {limit * 1e3:.3g} mm", remedy, first.file, first.line)


_NO_REASON = "no usual mix-up explains it; check names, units, angle senses and the table of targets"


def _reasons(polar: Array, places: Array, limit: float) -> list[str]:
    """What would make the picture fit, fewest changes first."""
    found: list[tuple[int, str]] = []
    for (factor, angle), elevation, mirrored in product(_ANGLES.items(), (False, True), (False, True)):
        trial = polar.copy()
        trial[:, :2] *= factor
        if elevation:
            trial[:, 1] = np.pi / 2 - trial[:, 1]
        if mirrored:
            trial[:, 0] *= -1.0
        points = _cartesian(trial)
        for scale in (1.0, _scale(points, places)):
            known = 1.0 if scale == 1.0 else _nearest(scale)
            if known is None or _misfit(points * known, places) > limit:
                continue
            words = [angle] if angle else []
            words += ["the vertical angle is an elevation, or the other way round"] if elevation else []
            words += [_MIRROR] if mirrored else []
            words += [f"{_SCALES[known]} (measured over nominal size {1.0 / scale:.4g})"] if known != 1.0 else []
            found.append((len(words), " and ".join(words)))
    fewest = min((n for n, _ in found), default=0)
    return list(dict.fromkeys(words for n, words in found if n == fewest))


def _nearest(scale: float) -> float | None:
    return next((known for known in _SCALES if abs(scale / known - 1.0) < 0.01), None)


def _cartesian(polar: Array) -> Array:
    h, z, d = polar.T
    return np.stack([d * np.sin(z) * np.cos(h), d * np.sin(z) * np.sin(h), d * np.cos(z)], axis=1)


def _scale(points: Array, places: Array) -> float:
    """Ratio of the sizes of two pictures, robust against single blunders."""
    a = np.linalg.norm(points - np.median(points, axis=0), axis=1)
    b = np.linalg.norm(places - np.median(places, axis=0), axis=1)
    good = a > 1e-9
    return float(np.median(b[good] / a[good])) if good.any() else 1.0


def _misfit(points: Array, places: Array) -> float:
    """Median distance after a rigid fit from which the worst have been left out [m]."""
    keep = np.ones(len(points), bool)
    residual = np.zeros(len(points))
    for _ in range(4):
        motion = fit_rigid(points[keep], places[keep], frames=("station", "girder"))
        residual = np.linalg.norm(motion.apply(points) - places, axis=1)
        worst = residual > max(3.0 * float(np.median(residual)), 1e-3)
        if worst.sum() > 0.4 * len(points) or (keep == ~worst).all():
            break
        keep = ~worst
    return float(np.median(residual))
