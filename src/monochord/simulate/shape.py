"""How the girder changes its shape: what each cross-section does, and how it carries what sits on it.

The seam: a shape is any callable that takes z (n,) and returns :class:`Sections`. The elastic girder gives
one (see :mod:`~monochord.simulate.iron`); a stated one serves where a shape is wanted without forces.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.polynomial import polynomial
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Sections:
    """What the girder's cross-sections did.

    shift     (n, 3) of the point of the section on the neutral line [m], girder frame
    rotation  (n, 3) small rotation vector of the section [rad]; (-dy/dz, dx/dz, twist) for a slender beam
    """

    shift: Array
    rotation: Array


Shape = Callable[[Array], Sections]


@dataclass(frozen=True, eq=False, slots=True)
class SmoothShape:
    """A stated shape: plain polynomials in z [m], lowest power first.

    along_x, along_y  shift of the neutral line [m];  twist  about z [rad];  along_z  shift along the beam [m]

    >>> bow = SmoothShape(along_y=np.array([0.0, 0.0, 1e-6]))
    >>> moved = bow(np.array([2.0]))
    >>> float(moved.shift[0, 1]), float(moved.rotation[0, 0])
    (4e-06, -4e-06)
    """

    along_x: Array = field(default_factory=lambda: np.zeros(1))
    along_y: Array = field(default_factory=lambda: np.zeros(1))
    twist: Array = field(default_factory=lambda: np.zeros(1))
    along_z: float = 0.0

    def __call__(self, z: Array) -> Sections:
        """Shift and rotation of the sections at z (n,)."""
        x, y = polynomial.polyval(z, self.along_x), polynomial.polyval(z, self.along_y)
        slope_x = polynomial.polyval(z, polynomial.polyder(self.along_x))
        slope_y = polynomial.polyval(z, polynomial.polyder(self.along_y))
        twist = polynomial.polyval(z, self.twist)
        return Sections(
            np.stack([x, y, np.full_like(x, self.along_z)], axis=-1), np.stack([-slope_y, slope_x, twist], axis=-1)
        )


def unmoved(z: Array) -> Sections:
    """The shape that changes nothing.

    >>> float(unmoved(np.array([0.5])).shift.sum())
    0.0
    """
    return Sections(np.zeros((len(z), 3)), np.zeros((len(z), 3)))


def carried(points: Array, shape: Shape, neutral_line: float) -> Array:
    """Displacement (n, 3) of girder points (n, 3): shift of their section plus its rotation about the neutral line.

    neutral_line  its y [m]. Small rotations: d = shift + rotation x (x, y - neutral_line, 0).

    >>> rolled = SmoothShape(twist=np.array([1e-3]))
    >>> carried(np.array([[0.0, 0.1, 0.0]]), rolled, -0.4)[0].round(9).tolist()
    [-0.0005, 0.0, 0.0]
    """
    sections = shape(points[:, 2])
    arm = points - [0.0, neutral_line, 0.0]
    arm[:, 2] = 0.0
    moved: Array = sections.shift + np.cross(sections.rotation, arm)
    return moved


def grown(points: Array, warmer: float, expansion: float, foot: float) -> Array:
    """Displacement (n, 3) of points (n, 3) when everything is ``warmer`` [K]: growth about (0, foot, 0).

    >>> grown(np.array([[0.0, 0.2, 1.0]]), 0.5, 12e-6, -0.8)[0].round(12).tolist()
    [0.0, 6e-06, 6e-06]
    """
    away: Array = expansion * warmer * (points - [0.0, foot, 0.0])
    return away
