"""The elastic girder: a beam along z that bends in two planes, twists, and rests on springs.

Every cross-section stays plane and rigid (Euler-Bernoulli bending, Saint-Venant torsion, both about the
neutral line x = 0, y = neutral_line); shear deformation is neglected. What rides on a section follows it
over its arm: d = shift + rotation x (x, y - neutral_line, 0). Vertical bolts that stand off the middle
twist the girder, lateral ones below the neutral line do so too.

Unknowns are six per node: shift (x, y, z) [m] of the neutral line and the small rotation vector [rad] of
the section, so that d(shift_x)/dz = rotation_y and d(shift_y)/dz = -rotation_x.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Beam, Girder
from monochord.ground.faults import Fault, Gatherer, Refused

Array = NDArray[np.float64]

#: Longest element as a part of the girder's length.
_LONGEST = 1.0 / 12.0
#: Places along z nearer than this part of the length share a node.
_NEAREST = 1.0 / 2000.0
#: Springs to earth at every node, as a part of the softer of bolts and beam: they hold what no bolt holds and carry nothing else.
_EARTH = 1e-9


@dataclass(frozen=True, eq=False, slots=True)
class Elastic:
    """The free girder, cut into elements, with what pulls and bends it.

    z          (n,) nodes [m];  stiffness  (6n, 6n), singular in the six rigid motions
    weight     (6n,) forces of the girder's own weight and of what it carries [N, N m]
    bow        (6n,) forces that a top one kelvin warmer than the bottom stands for [N m/K]
    beam       as told
    """

    z: Array
    stiffness: Array
    weight: Array
    bow: Array
    beam: Beam

    def follow(self, points: Array) -> Array:
        """How points follow the nodes: (p, 6, 6n), shift (x, y, z) [m] and rotation [rad] of the section below each.

        points  (p, 3) [m], girder frame. A point beyond an end rides rigidly on the end section.

        Cubic interpolation between nodes: exact for point forces and springs at nodes.
        """
        z = np.clip(points[:, 2], self.z[0], self.z[-1])
        element = np.clip(np.searchsorted(self.z, z, side="right") - 1, 0, len(self.z) - 2)
        length = self.z[element + 1] - self.z[element]
        s = (z - self.z[element]) / length
        value = [1 - 3 * s**2 + 2 * s**3, length * (s - 2 * s**2 + s**3), 3 * s**2 - 2 * s**3, length * (s**3 - s**2)]
        slope = [(6 * s**2 - 6 * s) / length, 1 - 4 * s + 3 * s**2, (6 * s - 6 * s**2) / length, 3 * s**2 - 2 * s]
        rows = np.zeros((len(points), 6, 6 * len(self.z)))
        k, a, b = np.arange(len(points)), 6 * element, 6 * element + 6
        for shift, rotation, sign in ((0, 4, 1.0), (1, 3, -1.0)):
            places = (a + shift, a + rotation, b + shift, b + rotation)
            for place, v, d, turned in zip(places, value, slope, (1.0, sign, 1.0, sign), strict=True):
                rows[k, shift, place] = v * turned
                rows[k, rotation, place] = sign * d * turned
        for straight in (2, 5):
            rows[k, straight, a + straight] = 1 - s
            rows[k, straight, b + straight] = s
        arm = np.stack([points[:, 0], points[:, 1] - self.beam.neutral_line, points[:, 2] - z], axis=1)
        rows[:, 0] += arm[:, 2, None] * rows[:, 4] - arm[:, 1, None] * rows[:, 5]
        rows[:, 1] += arm[:, 0, None] * rows[:, 5] - arm[:, 2, None] * rows[:, 3]
        rows[:, 2] += arm[:, 1, None] * rows[:, 3] - arm[:, 0, None] * rows[:, 4]
        return rows

    @property
    def rigid(self) -> Array:
        """The six rigid motions of the nodes, (6n, 6): shifts, then rotations about x, y, z through (0, neutral line, 0)."""
        motion = np.zeros((len(self.z), 6, 6))
        motion[:, range(6), range(6)] = 1.0
        motion[:, 0, 4], motion[:, 1, 3] = self.z, -self.z
        return motion.reshape(-1, 6)


def elastic(
    girder: Girder,
    *,
    gravity: float = 9.80665,
    bending_vertical: float = 1.0,
    bending_lateral: float = 1.0,
    torsion: float = 1.0,
) -> Elastic:
    """The free elastic girder by its drawing.

    gravity  [m/s2], down along -y
    bending_vertical, bending_lateral, torsion   factors on the drawing's stiffness, to see what its error does

    Axial stiffness is taken as that of a solid rectangle, E A = 12 E I / depth^2; nothing but the axial
    bolts depends on it. Items pull at their reference points. Raises Refused when the beam is not told or
    a stiffness is not positive.

    >>> from monochord.campaign.given.girder import Beam, Girder, Item
    >>> beam = Beam(0.0, 2.0, 1e7, 1e7, 1e7, 0.0, 0.2, 12e-6)
    >>> free = elastic(Girder("g", "t", beam, (Item("load", "dummy", (0.0, 0.0, 0.0), mass=10.0),), (), ()))
    >>> round(float(free.weight.sum()), 4)
    -98.0665
    """
    beam = _told(girder)
    z = _nodes(beam, [*(b.point[2] for b in girder.bolts), *(i.point[2] for i in girder.items)])
    n = len(z)
    lateral, vertical = beam.bending_lateral * bending_lateral, beam.bending_vertical * bending_vertical
    axial = 12.0 * vertical / beam.depth**2
    stiffness = np.zeros((6 * n, 6 * n))
    length = np.diff(z)
    for e, element in enumerate(_elements(length, lateral, vertical, axial, beam.torsion * torsion)):
        stiffness[6 * e : 6 * e + 12, 6 * e : 6 * e + 12] += element
    own = np.zeros((n, 6))
    own[:-1, 1] -= 0.5 * length
    own[1:, 1] -= 0.5 * length
    own[:-1, 3] += length**2 / 12.0
    own[1:, 3] -= length**2 / 12.0
    weight = own.ravel() * beam.mass_per_length * gravity
    # y'' = -expansion dT / depth, so the ends are bent by E I y'' about x, rotation_x = -dy/dz
    bow = np.zeros(6 * n)
    bow[[3, 6 * (n - 1) + 3]] = vertical * beam.expansion / beam.depth * np.array([-1.0, 1.0])
    free = Elastic(z, stiffness, weight, bow, beam)
    masses = [i for i in girder.items if i.mass]
    if masses:
        down = free.follow(np.array([i.point for i in masses]))[:, 1]
        weight -= down.T @ np.array([i.mass * gravity for i in masses])
    return free


def _told(girder: Girder) -> Beam:
    beam = girder.beam
    if beam is None:
        remedy = "add the beam to what is told of the girder"
        raise Refused([Fault("no beam", "the girder's mass, stiffness, neutral line and depth", remedy)])
    faults = Gatherer()
    for what in ("length", "bending_vertical", "bending_lateral", "torsion", "depth"):
        value = getattr(beam, what)
        if not (np.isfinite(value) and value > 0.0):
            faults.add(f"beam {what.replace('_', ' ')} {value}", "a positive number", "mend what is told of the girder")
    faults.refuse_if_any()
    return beam


def _nodes(beam: Beam, wanted: Sequence[float]) -> Array:
    """Nodes at both ends and at every place that is wanted, with others between where the gap is long."""
    end = 0.5 * beam.length
    kept: list[float] = [-end]
    for z in sorted(float(np.clip(w, -end, end)) for w in wanted):
        if kept[-1] + _NEAREST * beam.length < z < end - _NEAREST * beam.length:
            kept.append(z)
    kept.append(end)
    parts = [
        np.linspace(a, b, int(np.ceil((b - a) / (_LONGEST * beam.length) - 1e-9)) + 1)[:-1] for a, b in pairwise(kept)
    ]
    return np.concatenate([*parts, [end]])


def _elements(length: Array, lateral: float, vertical: float, axial: float, torsion: float) -> Array:
    """Stiffness (e, 12, 12) of the elements between neighbouring nodes; length (e,) [m]."""
    full = np.zeros((len(length), 12, 12))
    one = np.ones_like(length)
    rows = [[12 * one, 6 * length, -12 * one, 6 * length], [6 * length, 4 * length**2, -6 * length, 2 * length**2]]
    rows += [[-v for v in rows[0]], [6 * length, 2 * length**2, -6 * length, 4 * length**2]]
    bend = np.moveaxis(np.array(rows), -1, 0) / length[:, None, None] ** 3
    for stiff, shift, rotation, sign in ((lateral, 0, 4, 1.0), (vertical, 1, 3, -1.0)):
        at, signs = np.array([shift, rotation, shift + 6, rotation + 6]), np.array([1.0, sign, 1.0, sign])
        full[:, at[:, None], at] += stiff * bend * np.outer(signs, signs)
    for stiff, place in ((axial, 2), (torsion, 5)):
        at = np.array([place, place + 6])
        full[:, at[:, None], at] += (stiff / length)[:, None, None] * np.array([[1.0, -1.0], [-1.0, 1.0]])
    return full


@dataclass(frozen=True, eq=False, slots=True)
class Standing:
    """The girder on its bolts.

    names      of the bolts;  push  (m, 6n) how the girder moves at each bolt, along the bolt's direction
    stiffness  (m,) [N/m];  one_sided  (m,) feet that can lift off
    held       (6n, 6n) stiffness of the free girder with the weak springs to earth

    A bolt pushes with stiffness (height - push u); a one-sided one never pulls.
    """

    free: Elastic
    names: tuple[str, ...]
    push: Array
    stiffness: Array
    one_sided: NDArray[np.bool_]
    held: Array

    def solve(self, closed: NDArray[np.bool_], forces: Array) -> Array:
        """Displacement (6n, q) of the nodes under forces (6n, q) with the closed feet's bolts as springs at height 0."""
        on = self.push[closed]
        return np.asarray(np.linalg.solve(self.held + (on.T * self.stiffness[closed]) @ on, forces), float)


def standing(girder: Girder, free: Elastic, *, foot_stiffness: float = 1.0, side_stiffness: float = 1.0) -> Standing:
    """The free girder set on its bolts.

    foot_stiffness, side_stiffness   factors on the told stiffness of one-sided and of other bolts

    Raises Refused when there are no bolts or one has no positive stiffness.

    >>> from monochord.campaign.given.girder import Beam, Bolt, Girder
    >>> beam = Beam(0.0, 2.0, 1e7, 1e7, 1e7, 0.0, 0.2, 12e-6)
    >>> foot = Bolt("V", (0.0, 1.0, 0.0), (0.0, -0.5, 0.0), 1e-3, None, 0.01, True, 5e8)
    >>> girder = Girder("g", "t", beam, (), (), (foot,))
    >>> standing(girder, elastic(girder)).stiffness.tolist()
    [500000000.0]
    """
    bolts = girder.bolts
    faults = Gatherer()
    if not bolts:
        faults.add("no bolts", "the bolts with their places and directions", "add the table of bolts")
    for bolt in bolts:
        if not (np.isfinite(bolt.stiffness) and bolt.stiffness > 0.0):
            faults.add(f"bolt {bolt.name} stiffness {bolt.stiffness}", "a positive number", "tell its stiffness")
    faults.refuse_if_any()
    direction = np.array([b.direction for b in bolts])
    push = np.einsum("ik,ikn->in", direction, free.follow(np.array([b.point for b in bolts]))[:, :3])
    one_sided = np.array([b.one_sided for b in bolts])
    factor = np.where(one_sided, foot_stiffness, side_stiffness)
    stiffness = np.array([b.stiffness for b in bolts]) * factor
    arm = 0.5 * free.beam.length
    beam = 12.0 * min(free.beam.bending_vertical, free.beam.bending_lateral) / free.beam.length**3
    softest = min(float(stiffness.max()), beam)
    earth = _EARTH * softest * np.tile([1.0, 1.0, 1.0, arm**2, arm**2, arm**2], len(free.z))
    return Standing(free, tuple(b.name for b in bolts), push, stiffness, one_sided, free.stiffness + np.diag(earth))
