"""Magnetic axes as found, and the common line they are judged against."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from monochord.ground.estimate import Estimate


@dataclass(frozen=True, slots=True)
class Correction:
    """One correction that a centre carries: what was added to x and y [m], and how well that is known."""

    cause: str
    x: float
    y: float
    u_x: float
    u_y: float


@dataclass(frozen=True, slots=True)
class Gate:
    """A check that a finding passed or not, with a sentence for the person."""

    name: str
    ok: bool
    message: str


@dataclass(frozen=True, eq=False, slots=True)
class Axis:
    """The magnetic axis of one magnet on one occasion.

    frame      "girder", or "wire" (origin on the chord of the wire at z = 0, stages at zero)
    z          of the magnet's middle [m]
    estimate   components "<magnet>.x", ".y" [m], ".slope_x", ".slope_y" [rad]; centre of the field that follows the
               current. A slope that was not observed is NaN with its reason in ``unknown``.
    remanence_x, remanence_y   centre of the whole field, the magnet's own remanence kept [m], or None; its distance from
               the centre of the field that follows the current is good to u_remanence [m], per axis
    roll, u_roll   rotation about z, x towards y [rad], or None with its reason in ``unknown``
    unknown    quantity -> why it is not known
    roll_estimate  component "<magnet>.roll" [rad] with its causes, None where there is no roll
    """

    magnet: str
    frame: str
    z: float
    estimate: Estimate
    remanence_x: float | None
    remanence_y: float | None
    roll: float | None
    u_roll: float | None
    corrections: tuple[Correction, ...]
    gates: tuple[Gate, ...]
    unknown: Mapping[str, str] = field(default_factory=dict)
    u_remanence: float | None = None
    roll_estimate: Estimate | None = None


@dataclass(frozen=True, eq=False, slots=True)
class CommonLine:
    """Offsets of the centres from the common line, in the frame of the axes.

    rule     in words;  offsets  components "<magnet>.x", "<magnet>.y" [m], with their joint covariance
    start, slope   (x, y) of the line at z = 0 [m] and its (dx/dz, dy/dz) [rad]
    leverage magnet -> part of its own position that the fitted line follows
    """

    rule: str
    offsets: Estimate
    start: tuple[float, float]
    slope: tuple[float, float]
    leverage: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Move:
    """What the crew should do to one magnet: move by (x, y) [m], with uncertainty, and the same in words."""

    magnet: str
    x: float
    y: float
    u_x: float
    u_y: float
    words: str
