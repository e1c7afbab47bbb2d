"""The survey of one occasion in the result document."""

from __future__ import annotations

from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import Result
from monochord.report.entries import Value, entry, gates_part, matrix, pose_part
from monochord.report.facts import blocks, finite, in_girder_frame
from monochord.report.residuals import KindStatistics, statistics

NOT_SIGHTED = "no sighting of this target on this occasion"


def targets_part(result: Result, points: PointSet | None) -> dict[str, object]:
    """Targets in the girder frame with their covariance; those not determined stand there with the reason."""
    if points is None:
        return {}
    found = blocks(in_girder_frame(points), points.names)
    carriers = {target.name: target.carrier for target in result.campaign.girder.targets} | dict(points.carriers)
    names = dict.fromkeys([*points.names, *points.undetermined, *(t.name for t in result.campaign.girder.targets)])
    parts: dict[str, object] = {}
    for name in names:
        xyz, cov = found.get(name, (None, None))
        values: dict[str, Value] = {
            "xyz": None if xyz is None else matrix(xyz),
            "cov": None if cov is None else matrix(cov),
            "carrier": carriers.get(name, ""),
        }
        why = points.undetermined.get(name, NOT_SIGHTED)
        parts[name] = entry(values, {"xyz": why, "cov": why})
    return parts


def rejected_part(points: PointSet) -> list[object]:
    """Sightings and readings that were left out, with the size of their error."""
    keys = ("station", "target", "kind", "unit", "reason")
    return [{**{key: getattr(r, key) for key in keys}, "size": finite(r.size)} for r in points.rejected]


def stations_part(points: PointSet) -> dict[str, object]:
    """Poses of the stations (station -> survey frame) and the factors of the instrument on this occasion."""
    factors = {"scale": finite(points.scale), "u_scale": finite(points.u_scale)}
    return {s.name: {"pose": pose_part(s.pose), "sightings": s.sightings, "factors": factors} for s in points.stations}


def survey_part(points: PointSet) -> dict[str, object]:
    """What the adjustment says about itself."""
    values: dict[str, Value] = {
        "pose": pose_part(points.pose),
        "scale": finite(points.scale),
        "u_scale": finite(points.u_scale),
        "variance_factor": finite(points.variance_factor),
        "dof": finite(points.dof),
        "residuals": {s.kind: _statistics(s) for s in statistics(points)},
        "gates": gates_part(points.gates),
    }
    return entry(values, {"variance_factor": "the adjustment has no redundancy"})


def _statistics(found: KindStatistics) -> dict[str, object]:
    values: dict[str, Value] = {
        "count": found.count,
        "rms": finite(found.rms),
        "sigma": finite(found.sigma),
        "redundancy": finite(found.redundancy),
        "standardised_rms": finite(found.standardised_rms),
    }
    return entry(values, {"standardised_rms": "no reading of this kind is controlled by others"})
