"""Rotations from directions, and the three angles of a rotation with the order in which they follow each other.

Directions of unequal length count alike: a fit of raw vectors would believe a long one more, unasked. Three angles mean
nothing without their order, so the order is part of their name.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.ground.faults import Fault, Refused, Undetermined
from monochord.ground.frames import rotation_from_vector

Array = NDArray[np.float64]

#: Sine of the angle between directions below which they count as one, or as opposite.
PARALLEL = 1e-9
#: Cosine of the second angle below which the first and the third cannot be told apart.
LEVEL = 1e-7


@dataclass(frozen=True, slots=True)
class Turns:
    """Three angles [rad], each about an axis that the turns before it have moved: about z, then the new y, then the new x.

    >>> Turns(0.1, 0.0, 0.0).order
    'about z by about_z, then about the new y by about_y, then about the new x by about_x'
    """

    about_z: float
    about_y: float
    about_x: float

    @property
    def order(self) -> str:
        """The convention, to be printed beside the angles."""
        return "about z by about_z, then about the new y by about_y, then about the new x by about_x"

    @property
    def rotation(self) -> Array:
        """R = Rz(about_z) Ry(about_y) Rx(about_x), (3, 3)."""
        z, y, x = np.eye(3)[::-1]
        first, second, third = (
            rotation_from_vector(angle * axis)
            for angle, axis in ((self.about_z, z), (self.about_y, y), (self.about_x, x))
        )
        return np.asarray(first @ second @ third, float)


def turns_of(rotation: Array) -> Turns:
    """The three angles [rad] of a rotation (3, 3), about z, the new y and the new x.

    Raises Undetermined where the second is a quarter turn, because then the first and the third turn about one axis.

    >>> there = Turns(np.radians(10), np.radians(-5), np.radians(2))
    >>> back = turns_of(there.rotation)
    >>> [round(float(np.degrees(a)), 9) for a in (back.about_x, back.about_y, back.about_z)]
    [2.0, -5.0, 10.0]
    """
    level = float(np.hypot(rotation[0, 0], rotation[1, 0]))
    if level < LEVEL:
        why = "the turn about the new y is a quarter turn: the other two turn about one axis and cannot be separated"
        raise Undetermined(["about_z", "about_x"], why)
    return Turns(
        float(np.arctan2(rotation[1, 0], rotation[0, 0])),
        float(np.arctan2(-rotation[2, 0], level)),
        float(np.arctan2(rotation[2, 1], rotation[2, 2])),
    )


def fit_turn(source: Array, target: Array, *, weights: Array | None = None, held: int | None = None) -> Array:
    """Rotation (3, 3) that takes source directions onto target directions, both (n, 3), of any length and equal trust.

    Minimises sum w |R a/|a| - b/|b||^2, det R = +1. With ``held`` the pair of that number is met exactly and the others say
    what is left, the turn about it.

    Raises Undetermined when all directions lie along one line, Refused when one has no length.
    Source: Wahba 1965 (from memory), solved by singular values; the held pair derived.

    >>> one = np.radians(1.0)
    >>> a = np.array([[1000.0, 0, 0], [0, 1, 0]])
    >>> b = np.array([[1000 * np.cos(one), 1000 * np.sin(one), 0], [0, 1, 0]])
    >>> round(float(np.degrees(turns_of(fit_turn(a, b)).about_z)), 9)
    0.5
    """
    a, b = _units(source), _units(target)
    w = np.ones(len(a)) if weights is None else weights
    if held is not None:
        return _held(a, b, w, held)
    u, s, vt = np.linalg.svd((w[:, None] * b).T @ a)
    if not s[1] > PARALLEL * s[0]:
        raise Undetermined(["the turn about the directions"], "they all lie along one line; add one across it")
    return np.asarray(u @ np.diag([1.0, 1.0, np.sign(np.linalg.det(u @ vt))]) @ vt, float)


def _units(vectors: Array) -> Array:
    length = np.linalg.norm(vectors, axis=1)
    if not (length > 0.0).all():
        row = int(np.flatnonzero(~(length > 0.0))[0]) + 1
        raise Refused([Fault(f"direction {row} without a length", "a direction", "leave it out")])
    return np.asarray(vectors / length[:, None], float)


def _held(a: Array, b: Array, w: Array, held: int) -> Array:
    """First the held pair by the shortest way, then a turn about it by what the others leave."""
    axis = b[held]
    first = _shortest(a[held], axis)
    moved = a @ first.T
    across = moved - np.outer(moved @ axis, axis)
    sine = float(w @ (b * np.cross(axis, across)).sum(axis=1))
    cosine = float(w @ (b * across).sum(axis=1))
    if not np.hypot(sine, cosine) > PARALLEL * float(w.sum()):
        raise Undetermined(["the turn about the held direction"], "no other direction tells it; add one across it")
    return np.asarray(rotation_from_vector(np.arctan2(sine, cosine) * axis) @ first, float)


def _shortest(a: Array, b: Array) -> Array:
    """Rotation by the shortest way from unit vector a to b; by half a turn about any axis across when they are opposite."""
    across = np.cross(a, b)
    sine, cosine = float(np.linalg.norm(across)), float(a @ b)
    if sine > PARALLEL:
        return rotation_from_vector(np.arctan2(sine, cosine) / sine * across)
    if cosine > 0.0:
        return np.eye(3)
    side = np.cross(a, np.eye(3)[int(np.argmin(np.abs(a)))])
    return rotation_from_vector(np.pi * side / float(np.linalg.norm(side)))
