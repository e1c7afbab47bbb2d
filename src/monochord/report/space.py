"""The survey in space, as plain numbers for a drawing that can be turned: stations, targets, ellipsoids, sightings.

Everything stands in the girder frame [m], z along the beam first, x to the left, y up. Ellipsoids hold 95 % and are
enlarged by the factor that is told.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.points import PointSet
from monochord.report.facts import blocks, in_girder_frame, station_in_girder
from monochord.report.plot import round_step

Array = NDArray[np.float64]

#: Semi-axes of the ellipsoid that holds 95 % of a normal law in space, in standard deviations: square root of the
#: chi-square quantile with 3 degrees of freedom, 7.8147 (tables of the chi-square distribution; from memory).
ELLIPSOID_95 = math.sqrt(7.814727903251179)
#: The largest ellipsoid is drawn about so long [m].
DRAWN = 0.15


def space_of(occasion: str, points: PointSet) -> Mapping[str, object] | None:
    """The drawing of one occasion's survey; None when nothing was found."""
    known = blocks(in_girder_frame(points), points.names)
    stations = {s.name: station_in_girder(points, s.pose) for s in points.stations}
    if not known:
        return None
    largest = max(ELLIPSOID_95 * float(np.sqrt(np.linalg.eigvalsh(cov)[-1])) for _, cov in known.values())
    factor = round_step(DRAWN / max(largest, 1e-9), 1)
    left_out = {(r.station, r.target) for r in points.rejected}
    sighted = sorted({(r.station, r.target) for r in points.residuals} - left_out)
    return {
        "occasion": occasion,
        "factor": factor,
        "targets": [_target(name, xyz, cov, points) for name, (xyz, cov) in known.items()],
        "stations": [{"name": name, "place": _place(xyz)} for name, xyz in stations.items()],
        "sightings": [[s, t] for s, t in sighted if s in stations and t in known],
        "left_out": [[s, t] for s, t in sorted(left_out) if s in stations and t in known],
        "rings": [ring for xyz, cov in known.values() for ring in _rings(xyz, cov, factor)],
    }


def _target(name: str, xyz: Array, cov: Array, points: PointSet) -> Mapping[str, object]:
    u = np.sqrt(np.diag(cov)) * 1e6
    return {
        "name": name,
        "carrier": points.carriers.get(name, ""),
        "place": _place(xyz),
        "u": [round(float(v), 2) for v in u],  # of x, y, z [um]
    }


def _place(xyz: Array) -> list[float]:
    return [round(float(v), 6) for v in xyz]


def _rings(xyz: Array, cov: Array, factor: float) -> list[list[list[float]]]:
    """Three circles on the ellipsoid, in the planes of its axes; closed."""
    variances, axes = np.linalg.eigh(cov)
    reach = axes * (ELLIPSOID_95 * factor * np.sqrt(np.maximum(variances, 0.0)))
    turn = np.linspace(0.0, 2.0 * np.pi, 25)
    circle = np.stack([np.cos(turn), np.sin(turn)])
    return [[_place(xyz + p) for p in (reach[:, pair] @ circle).T] for pair in ([0, 1], [0, 2], [1, 2])]
