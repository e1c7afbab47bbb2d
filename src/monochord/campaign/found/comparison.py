"""Two occasions compared: what is rigid motion, temperature and scale, what is shape, and what moved by itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.axes import Gate
from monochord.campaign.found.shift import Shifts
from monochord.ground.estimate import Estimate
from monochord.ground.frames import Rigid
from monochord.ground.mixture import TwoNormals
from monochord.ground.trace import Unfold


@dataclass(frozen=True, eq=False, slots=True)
class ShapeBasis:
    """Shapes that the girder may have taken, before anything was measured of them.

    names, units  of the k shapes and of their coefficients;  prior (k,) standard deviation of each coefficient in its unit:
              far beyond any real one where a shape is free, small where it may only take up what the others leave
    at        points (p, 3) [m], girder frame -> their displacement (p, 3, k) for a coefficient of 1 of each shape
    turning   the same for the small rotation of the section at each point (p, 3, k) [rad]
    families  of every shape: those of one family are expected to be of one size, which the data tell, at most as large as
              the prior; "" where the prior stands as it is, and () when it does so for all
    """

    names: tuple[str, ...]
    units: tuple[str, ...]
    prior: NDArray[np.float64]
    at: Callable[[NDArray[np.float64]], NDArray[np.float64]]
    turning: Callable[[NDArray[np.float64]], NDArray[np.float64]]
    families: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ShapePart:
    """One named part of the girder's change of shape: size at its largest [m] (or [rad] for twist) and its standard uncertainty."""

    cause: str
    size: float
    u: float
    unit: str
    words: str


@dataclass(frozen=True, eq=False, slots=True)
class OwnMove:
    """One magnet's rigid motion relative to the girder's fitted shape, given at its axis.

    estimate   components "<magnet>.dx", ".dy", ".dz" [m], ".rx", ".ry", ".rz" [rad], girder frame
    found      True when it moved, False when it did not, None when the data cannot tell it apart from something else
    evidence   "targets", "wire and targets";  words  what is said of it
    laws       of the six components, where a slip was neither found nor excluded; () where each is normal about its value
    """

    magnet: str
    estimate: Estimate
    found: bool | None
    evidence: str
    words: str
    laws: tuple[TwoNormals, ...] = ()

    def interval(self, component: int, level: float = 0.95) -> tuple[float, float]:
        """The interval of one of the six that holds the truth at this level, as much left out on either side; SI."""
        if self.laws:
            return self.laws[component].interval(level)
        value, u = float(self.estimate.value[component]), float(self.estimate.u[component])
        return TwoNormals(0.0, value, u, value, u).interval(level)


@dataclass(frozen=True, slots=True)
class TargetMove:
    """A target that moved by itself: displacement (x, y, z) [m] with its standard uncertainties."""

    target: str
    move: tuple[float, float, float]
    u: tuple[float, float, float]
    found: bool | None
    words: str


@dataclass(frozen=True, slots=True)
class Closure:
    """Wire change minus survey change at the axes of one girder.

    offsets  magnet -> (x, y, u_x, u_y) [m] of the difference;  chi_square, dof, probability  that chance gives as much or more
    """

    offsets: Mapping[str, tuple[float, float, float, float]]
    chi_square: float
    dof: int
    probability: float
    ok: bool
    words: str


@dataclass(frozen=True, eq=False, slots=True)
class Comparison:
    """What changed from one occasion to another.

    rigid      motion of the girder frame that was taken out (as small rotation and shift)
    scale, u_scale  relative scale that was taken out beyond what temperature explains
    shape      named parts;  axis_changes  change of every magnet's axis about the line that shape and own moves make,
               components "<magnet>.x", "<magnet>.y" [m]
    shifts     of own moves and of axes: has each magnet moved, and by less than its margin?
    unfold     tells every number down to its rows, None when nobody can
    own_moves  from all evidence there is;  own_moves_from_targets  from targets alone
    """

    start: str
    end: str
    rigid: Rigid
    scale: float
    u_scale: float
    shape: tuple[ShapePart, ...]
    own_moves: tuple[OwnMove, ...]
    own_moves_from_targets: tuple[OwnMove, ...]
    targets_moved: tuple[TargetMove, ...]
    axis_changes: Estimate
    closure: Closure | None
    gates: tuple[Gate, ...]
    sentence: str
    unfold: Unfold | None = None
    shifts: tuple[Shifts, ...] = ()
