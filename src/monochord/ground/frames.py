"""Frames and rigid transforms that know between which two frames they lead.

The girder frame is right-handed: z along the beam, y up, x = y cross z, which lies to the LEFT of
somebody who looks along the beam. Rotations are proper (determinant +1); a mirrored pair of frames
is a fault of the input and is refused where axes are mapped.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.ground.faults import Fault, FrameMismatch, Refused, Undetermined

Array = NDArray[np.float64]

#: Directions of the girder frame in words, with the unit vector each stands for.
DIRECTIONS: dict[str, tuple[float, float, float]] = {
    "left": (1.0, 0.0, 0.0),
    "right": (-1.0, 0.0, 0.0),
    "up": (0.0, 1.0, 0.0),
    "down": (0.0, -1.0, 0.0),
    "along beam": (0.0, 0.0, 1.0),
    "against beam": (0.0, 0.0, -1.0),
}


@dataclass(frozen=True, eq=False, slots=True)
class Rigid:
    """A rigid motion from one named frame to another: p_target = rotation @ p_source + shift.

    rotation  (3, 3) proper orthogonal;  shift  (3,) [m]

    ``b @ a`` applies a first, and is refused unless a leads to the frame where b begins.

    >>> lift = Rigid("girder", "hall", np.eye(3), np.array([0.0, 1.2, 0.0]))
    >>> lift.apply(np.zeros(3)).tolist()
    [0.0, 1.2, 0.0]
    >>> lift @ lift
    Traceback (most recent call last):
        ...
    monochord.ground.faults.FrameMismatch: given frame 'hall'; expected frame 'girder'; transform it first
    """

    source: str
    target: str
    rotation: Array
    shift: Array

    def __post_init__(self) -> None:
        error = np.abs(self.rotation @ self.rotation.T - np.eye(3)).max()
        if error > 1e-9 or np.linalg.det(self.rotation) < 0.0:
            fault = Fault(
                f"a matrix that is no rotation (departs by {error:.1e})",
                "a proper rotation, determinant +1",
                "look for mirrored axes in the lab description",
            )
            raise Refused([fault])

    def apply(self, points: Array) -> Array:
        """Points (..., 3) of the source frame, expressed in the target frame [m]."""
        return points @ self.rotation.T + self.shift

    def turn(self, vectors: Array) -> Array:
        """Free vectors (..., 3): rotated, not shifted."""
        return vectors @ self.rotation.T

    def inverse(self) -> Rigid:
        """The way back."""
        back = self.rotation.T
        return Rigid(self.target, self.source, back, -back @ self.shift)

    def __matmul__(self, first: Rigid) -> Rigid:
        if first.target != self.source:
            raise FrameMismatch(first.target, self.source)
        return Rigid(
            first.source,
            self.target,
            self.rotation @ first.rotation,
            self.rotation @ first.shift + self.shift,
        )


def axis_map(axes: dict[str, str]) -> Array:
    """Rotation (3, 3) that takes a laboratory's axes to the girder frame.

    axes  the laboratory's axis letters with their directions in words, for example
          ``{"x": "along beam", "y": "left", "z": "up"}``; order x, y, z

    Raises Refused for an unknown direction, a direction used twice, or a mirrored (left-handed) set.

    >>> axis_map({"x": "along beam", "y": "left", "z": "up"}) @ [1.0, 2.0, 3.0]
    array([2., 3., 1.])
    """
    unknown = [word for word in axes.values() if word not in DIRECTIONS]
    if unknown or sorted(axes) != ["x", "y", "z"]:
        expected = f"x, y and z, each one of {', '.join(DIRECTIONS)}"
        raise Refused([Fault(f"axes {axes}", expected, "mend the frame in the lab description")])
    matrix = np.array([DIRECTIONS[axes[letter]] for letter in "xyz"]).T
    if abs(np.linalg.det(matrix)) < 0.5:
        raise Refused(
            [Fault(f"axes {axes}", "three different directions", "two axes run along one line; mend the frame")]
        )
    if np.linalg.det(matrix) < 0.0:
        raise Refused(
            [
                Fault(
                    f"axes {axes}, a left-handed set",
                    "a right-handed frame",
                    "check which way each axis points; one of them is turned round",
                )
            ]
        )
    return matrix


def cross_matrix(vector: Array) -> Array:
    """The matrix [v]x with [v]x w = v cross w, (3, 3).

    >>> cross_matrix(np.array([0.0, 0.0, 1.0])) @ [1.0, 0.0, 0.0]
    array([0., 1., 0.])
    """
    x, y, z = vector
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def rotation_from_vector(vector: Array) -> Array:
    """Rotation by |vector| rad about the direction of vector (right-handed), (3, 3). Rodrigues' formula.

    >>> rotation_from_vector(np.array([0.0, 0.0, np.pi / 2])).round(12) @ [1.0, 0.0, 0.0]
    array([0., 1., 0.])
    """
    angle = float(np.linalg.norm(vector))
    k = cross_matrix(vector)
    if angle < 1e-12:
        return np.eye(3) + k
    matrix: Array = np.eye(3) + np.sin(angle) / angle * k + (1.0 - np.cos(angle)) / angle**2 * (k @ k)
    return matrix


#: Points whose second extent is below this part of their first count as one line: over 5 m that is 5 um.
LINE = 1e-6


def half_axes(points: Array, weights: Array | None = None) -> tuple[Array, Array]:
    """Root mean square extents (3,) of points (n, 3) about their centre, falling [m], and their directions, the rows of (3, 3).

    >>> half_axes(np.array([[0.0, 0, 0], [2.0, 0, 0]]))[0].tolist()
    [1.0, 0.0, 0.0]
    """
    w = np.ones(len(points)) if weights is None else weights
    about = points - (w @ points) / w.sum()
    squares, directions = np.linalg.eigh((w[:, None] * about).T @ about / w.sum())
    return np.sqrt(np.maximum(squares[::-1], 0.0)), np.asarray(directions.T[::-1], float)


def fit_rigid(source: Array, target: Array, *, frames: tuple[str, str], weights: Array | None = None) -> Rigid:
    """Best rigid motion of source points onto target points, both (n, 3), n >= 3 not on one line.

    Minimises sum w |R a + t - b|^2 by singular values; the determinant is held at +1 (Umeyama 1991). It leads from the first
    of the frames to the second, and takes the weighted centre of the source to that of the target.

    Raises Undetermined with what the points leave free, Refused when a coordinate is no number or the sets differ in size.

    >>> a = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
    >>> fit_rigid(a, a + [1.0, 2, 3], frames=("a", "b")).shift.round(12).tolist()
    [1.0, 2.0, 3.0]
    """
    w = np.ones(len(source)) if weights is None else weights
    _check_points(source, target, w)
    mean_a, mean_b = (w @ source) / w.sum(), (w @ target) / w.sum()
    u, s, vt = np.linalg.svd((w[:, None] * (target - mean_b)).T @ (source - mean_a))
    if not s[1] > LINE**2 * s[0]:
        raise Undetermined(
            _FREE, "the pairs of points turn against each other as they like; see their names and columns"
        )
    rotation = u @ np.diag([1.0, 1.0, np.sign(np.linalg.det(u @ vt))]) @ vt
    return Rigid(frames[0], frames[1], rotation, mean_b - rotation @ mean_a)


_FREE = ("the turn about the line of the points",)


def _check_points(source: Array, target: Array, w: Array) -> None:
    """Two sets of as many points, all numbers, that mark a place and two directions."""
    if source.shape != target.shape or source.ndim != 2 or source.shape[1] != 3 or w.shape != source.shape[:1]:
        given = f"{source.shape} and {target.shape} coordinates with {w.shape} weights"
        raise Refused([Fault(given, "as many points in both sets, three coordinates each", "pair them by name first")])
    if not (np.isfinite(source).all() and np.isfinite(target).all() and np.isfinite(w).all() and (w >= 0.0).all()):
        fine = np.isfinite(source).all(axis=1) & np.isfinite(target).all(axis=1) & np.isfinite(w) & (w >= 0.0)
        rows = ", ".join(str(k + 1) for k in np.flatnonzero(~fine)[:5])
        expected = "numbers in all coordinates, and weights of 0 or more"
        raise Refused([Fault(f"point {rows} of {len(source)} without them", expected, "leave it out by name")])
    used = w > 0.0
    for points, which in ((source, "source"), (target, "target")):
        first, second, _ = half_axes(points[used], w[used])[0] if used.any() else np.zeros(3)
        size = float(np.abs(points[used]).max(initial=0.0))
        if used.sum() < 2 or not first > 1e-12 * size:
            why = f"{used.sum()} points in one place (of the {which}); three that do not lie on one line are needed"
            raise Undetermined(["the rotation about all three axes"], why)
        if used.sum() < 3 or not second > LINE * first:
            why = f"the {used.sum()} points of the {which} lie on one line; add one beside it"
            raise Undetermined(_FREE, why)
