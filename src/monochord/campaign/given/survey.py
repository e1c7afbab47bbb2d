"""Survey: the instrument and its sightings.

Angles in rad. The horizontal direction grows from the instrument's x towards its y, counter-clockwise
seen from above (from +up); readers turn other senses into this one. The zenith angle is 0 straight up.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Instrument:
    """What is known of a tracker, one standard deviation each.

    u_angle          across the line of sight in both angles [rad] (direction error is u_angle / sin zenith)
    u_range, u_range_ratio   slope distance: quadratic or plain sum as ``range_sum`` says, constant [m] and part of the distance
    u_level          tilt of a levelled station [rad]; None when stations are free
    u_mounting       seating of a reflector, per axis [m], once per occasion and target, seen by all stations alike
    u_scale          prior of the range scale of an occasion (relative); mistakes far beyond it are found and named
    """

    name: str
    u_angle: float
    u_range: float
    u_range_ratio: float
    u_level: float | None
    u_mounting: float
    u_scale: float
    range_sum: str = "plain"


@dataclass(frozen=True, slots=True)
class Sighting:
    """One pointing from a station to a target: direction and zenith angle [rad], slope distance [m]; None when not read."""

    station: str
    target: str
    direction: float | None
    zenith: float | None
    distance: float | None
    round: int
    file: str
    line: int
