"""How the girder changes its shape: what each cross-section does, and how it carries what sits on it.

The seam: a shape is any callable that takes z (n,) and returns :class:`Sections`. The shapes here are
stated (polynomials through the feet, and a thermal bow), not computed from forces; an elastic beam on
one-sided springs can be put in their place by one small adaptor, and nothing else has to change.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
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


def summed(shapes: Sequence[Shape]) -> Shape:
    """Several small shape changes at once: shifts and rotations add.

    >>> both = summed([SmoothShape(along_z=1e-6), SmoothShape(along_z=2e-6)])
    >>> round(float(both(np.zeros(1)).shift[0, 2]), 9)
    3e-06
    """

    def together(z: Array) -> Sections:
        parts = [shape(z) for shape in shapes]
        still = np.zeros((len(z), 3))
        return Sections(sum((p.shift for p in parts), still), sum((p.rotation for p in parts), still))

    return together


def bowed(top_minus_bottom: float, *, expansion: float, depth: float) -> SmoothShape:
    """Free bow of a girder whose top is warmer than its bottom: the top grows longer, the ends sink.

    y'' = -expansion (T_top - T_bottom) / depth, zero shift and slope at z = 0

    top_minus_bottom  [K];  expansion  [1/K];  depth  [m]

    >>> round(float(bowed(0.1, expansion=12e-6, depth=0.5).along_y[2]), 9)
    -1.2e-06
    """
    return SmoothShape(along_y=np.array([0.0, 0.0, -0.5 * expansion * top_minus_bottom / depth]))


def through_feet(points: Array, heights: Array) -> SmoothShape:
    """The smoothest shape that takes the girder's underside to the given heights at its vertical feet.

    Mean height and left-minus-right difference are each one polynomial of the lowest degree through the
    pairs: four pairs give heave, pitch and two bends, and roll and three twists.

    points   (n, 3) of the feet in pairs of equal z [m];  heights  (n,) of the girder at them [m]

    >>> feet = np.array([[0.25, 0, -1.0], [-0.25, 0, -1.0], [0.25, 0, 1.0], [-0.25, 0, 1.0]])
    >>> lifted = through_feet(feet, np.array([1e-4, 1e-4, 3e-4, 3e-4]))
    >>> round(float(lifted(np.array([0.0])).shift[0, 1]), 12)
    0.0002
    """
    pairs = np.unique(points[:, 2])
    across: list[tuple[float, float]] = []
    mean = np.zeros(len(pairs))
    for k, z in enumerate(pairs):
        here = points[:, 2] == z
        mean[k] = heights[here].mean()
        arm = points[here, 0] - points[here, 0].mean()
        if np.any(arm):
            # dy = x * twist: the least-squares slope across the pair is exact for two feet.
            across.append((float(z), float(arm @ heights[here] / (arm @ arm))))
    twist = np.array(across).reshape(-1, 2)
    return SmoothShape(along_y=_through(pairs, mean), twist=_through(twist[:, 0], twist[:, 1]))


def _through(z: Array, values: Array) -> Array:
    if not len(z):
        return np.zeros(1)
    return np.asarray(np.linalg.solve(np.vander(z, increasing=True), values), float)


def through_sides(z: Array, pushed: Array) -> SmoothShape:
    """The smoothest lateral shape through the lateral bolts: a polynomial of the lowest degree.

    z  (n,) of the bolts [m];  pushed  (n,) x of the girder at them [m]

    >>> side = through_sides(np.array([-1.0, 1.0]), np.array([1e-5, 1e-5]))
    >>> round(float(side(np.array([0.3])).shift[0, 0]), 12)
    1e-05
    """
    return SmoothShape(along_x=_through(z, pushed))


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
