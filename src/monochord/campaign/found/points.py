"""Adjusted targets, stations, and what the survey's adjustment says about itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from monochord.campaign.found.axes import Gate
from monochord.ground.estimate import Estimate
from monochord.ground.frames import Rigid
from monochord.ground.trace import Unfold


@dataclass(frozen=True, slots=True)
class Rejected:
    """A sighting or reading that was left out: how large its error is, in which unit, and why."""

    station: str
    target: str
    kind: str
    size: float
    unit: str
    reason: str


@dataclass(frozen=True, slots=True)
class Residual:
    """One reading after the adjustment.

    residual      observed minus adjusted, SI;  redundancy  its redundancy number, 0..1
    standardised  residual / (sigma sqrt(redundancy)), None where the redundancy is 0
    """

    station: str
    target: str
    kind: str
    round: int
    residual: float
    sigma: float
    redundancy: float
    standardised: float | None


@dataclass(frozen=True, eq=False, slots=True)
class StationFit:
    """Where an instrument stood: its pose (station -> survey frame) and how many sightings it took."""

    name: str
    pose: Rigid
    sightings: int


@dataclass(frozen=True, eq=False, slots=True)
class PointSet:
    """Points of one occasion from one adjustment.

    frame      of the coordinates;  names  targets that are determined
    estimate   components "<target>.x", ".y", ".z" [m], full covariance by causes (reading noise, mounting, range scale, ...)
    carriers   target -> carrier
    pose       survey (hall) frame -> girder frame, the fit onto the nominal girder targets
    undetermined  target -> why it is left out
    scale, u_scale   range scale of the occasion, relative, and its standard uncertainty
    unfold     tells every number down to its rows, None when nobody can
    variance_factor  weighted square sum / degrees of freedom;  dof  of the adjustment
    """

    frame: str
    names: tuple[str, ...]
    estimate: Estimate
    carriers: Mapping[str, str]
    pose: Rigid
    stations: tuple[StationFit, ...]
    residuals: tuple[Residual, ...]
    rejected: tuple[Rejected, ...]
    undetermined: Mapping[str, str]
    scale: float
    u_scale: float
    variance_factor: float
    dof: float
    gates: tuple[Gate, ...]
    unfold: Unfold | None = None
