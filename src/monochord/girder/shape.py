"""Named shapes of the girder, as arrays that others can fit with.

Every shape is a set of nodal displacements of the elastic model, so that bends, twists, the thermal bow
and the axial growth are evaluated at targets and magnets in one and the same way, section rotations and
arms included. Rigid motion is left out of the elastic shapes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.girder.model import Elastic, Standing

Array = NDArray[np.float64]

#: Shapes weaker than this part of the strongest of their kind are not told apart from it.
_WEAKEST = 1e-4
#: Which of the six freedoms of a node belong to which kind of shape: shift first, then rotation.
_KINDS: dict[str, tuple[int, ...]] = {"bend_x": (0, 4), "bend_y": (1, 3), "twist": (5,)}


@dataclass(frozen=True, eq=False, slots=True)
class Basis:
    """Named shapes.

    names   such as "bend_y.1";  units  of the coefficients
    nodes   (6n, k) nodal displacement for a coefficient of 1
    """

    free: Elastic
    names: tuple[str, ...]
    units: tuple[str, ...]
    nodes: Array

    def at(self, points: Array) -> Array:
        """Displacement (p, 3, k) of points (p, 3) [m] on the girder for a coefficient of 1 of each shape."""
        return np.asarray(self.free.follow(points)[:, :3] @ self.nodes, float)

    def turning(self, points: Array) -> Array:
        """Rotation (p, 3, k) [rad] of the sections at points (p, 3) for a coefficient of 1 of each shape."""
        return np.asarray(self.free.follow(points)[:, 3:] @ self.nodes, float)


def free_shapes(free: Elastic, forces: Array) -> Array:
    """Displacement (6n, q) of the girder floating free under balanced forces (6n, q), up to a rigid motion.

    The rigid motion is held by springs that balanced forces do not load, so it is exact.

    >>> from monochord.campaign.given.girder import Beam, Girder
    >>> from monochord.girder.model import elastic
    >>> free = elastic(Girder("g", "t", Beam(100.0, 4.0, 1e8, 1e8, 1e8, 0.0, 0.5, 12e-6), (), (), ()))
    >>> bow = free.follow(np.array([[0.0, 0.0, -2.0], [0.0, 0.0, 0.0]]))[:, 1] @ free_shapes(free, free.bow[:, None])
    >>> round(float(bow[1, 0] - bow[0, 0]) * 1e6, 6)  # 12e-6 * 4^2 / (8 * 0.5) for one kelvin
    48.0
    """
    rigid = free.rigid / np.linalg.norm(free.rigid, axis=0)
    beam = free.beam
    soft = 48.0 * max(beam.bending_vertical, beam.bending_lateral) / beam.length**3
    return np.asarray(np.linalg.solve(free.stiffness + soft * rigid @ rigid.T, forces), float)


def balanced(standing: Standing) -> Array:
    """Patterns of bolt forces that balance among themselves: orthonormal columns (m, d) [N per N].

    Everything that bolts can do to the girder's shape is the answer to these; there are as many as bolts
    beyond those that hold the rigid motion.

    >>> from monochord.campaign.given.girder import Beam, Bolt, Girder
    >>> from monochord.girder.model import elastic, standing
    >>> beam = Beam(100.0, 4.0, 1e8, 1e8, 1e8, 0.0, 0.5, 12e-6)
    >>> spots = [(0.0, -0.4, -1.5), (0.0, -0.4, 0.0), (0.0, -0.4, 1.5)]
    >>> feet = tuple(Bolt(f"V{k}", (0.0, 1.0, 0.0), spot, 1e-3, None, 0.01, True, 1e9) for k, spot in enumerate(spots))
    >>> girder = Girder("g", "t", beam, (), (), feet)
    >>> pattern = balanced(standing(girder, elastic(girder)))
    >>> (pattern / pattern[0]).round(9).ravel().tolist()
    [1.0, -2.0, 1.0]
    """
    free = standing.free
    arm = 0.5 * free.beam.length
    moments = (standing.push @ free.rigid) / np.array([1.0, 1.0, 1.0, arm, arm, arm])
    u, size, _ = np.linalg.svd(moments)
    rank = int((size > 1e-9 * max(float(size.max(initial=0.0)), 1e-300)).sum())
    return np.asarray(u[:, rank:], float)


def elastic_basis(standing: Standing) -> Basis:
    """The shapes that bolts can give the girder, each kind by itself, strongest first.

    "bend_x.k", "bend_y.k" [m]: largest shift of the neutral line 1; "twist.k" [rad]: largest roll 1.
    Bends and twist that a bolt off the middle makes together are told apart, so that the basis spans a
    little more than the bolts can do. The whole is free of rigid motion.
    """
    shapes = free_shapes(standing.free, standing.push.T @ balanced(standing))
    return _apart(standing.free, shapes)


def _apart(free: Elastic, shapes: Array) -> Basis:
    n, d = len(free.z), shapes.shape[1]
    by_node = shapes.reshape(n, 6, d)
    names: list[str] = []
    columns: list[Array] = []
    for kind, freedoms in _KINDS.items():
        part = np.zeros((n, 6, d))
        part[:, freedoms] = by_node[:, freedoms]
        flat = _straightened(free, part.reshape(6 * n, d))
        u, size, _ = np.linalg.svd(flat.reshape(n, 6, d)[:, freedoms[0]], full_matrices=False)
        count = int((size > _WEAKEST * max(float(size.max(initial=0.0)), 1e-300)).sum()) if size.any() else 0
        for k in range(count):
            # the shape whose main shift is the k-th singular vector
            mix = np.linalg.lstsq(flat.reshape(n, 6, d)[:, freedoms[0]], u[:, k], rcond=_WEAKEST)[0]
            shape = flat @ mix
            main = shape.reshape(n, 6)[:, freedoms[0]]
            names.append(f"{kind}.{k + 1}")
            columns.append(shape / main[np.abs(main).argmax()])
    units = tuple("rad" if name.startswith("twist") else "m" for name in names)
    return Basis(free, tuple(names), units, np.array(columns).reshape(-1, 6 * n).T)


def _straightened(free: Elastic, shapes: Array) -> Array:
    """The shapes (6n, d) less their best rigid motion of the neutral line and roll."""
    shifts = shapes.reshape(len(free.z), 6, -1)[:, [0, 1, 2, 5]].reshape(4 * len(free.z), -1)
    rigid = free.rigid.reshape(len(free.z), 6, 6)[:, [0, 1, 2, 5]].reshape(4 * len(free.z), 6)
    return np.asarray(shapes - free.rigid @ np.linalg.lstsq(rigid, shifts, rcond=None)[0], float)


def smooth_basis(free: Elastic) -> Basis:
    """Smooth shapes that need no bolts: Legendre bends P2 and P3 in both planes, and twist P1 and P2.

    With s = z / (L/2): "bend_x.2", "bend_x.3", "bend_y.2", "bend_y.3" shift the neutral line by P_k(s) [m] and
    turn the sections with its slope; "twist.1", "twist.2" roll them by P_k(s) [rad].

    >>> from monochord.campaign.given.girder import Beam, Girder
    >>> from monochord.girder.model import elastic
    >>> free = elastic(Girder("g", "t", Beam(100.0, 4.0, 1e8, 1e8, 1e8, 0.0, 0.5, 12e-6), (), (), ()))
    >>> smooth_basis(free).at(np.array([[0.0, 0.0, 2.0]]))[0, 1].round(9).tolist()
    [0.0, 0.0, 1.0, 1.0, 0.0, 0.0]
    """
    half = 0.5 * free.beam.length
    s = free.z / half
    p2, p3 = 0.5 * (3 * s**2 - 1), 0.5 * (5 * s**3 - 3 * s)
    d2, d3 = 3 * s / half, 0.5 * (15 * s**2 - 3) / half
    nodes = np.zeros((len(s), 6, 6))
    for k, (value, slope) in enumerate(((p2, d2), (p3, d3))):
        nodes[:, 0, k], nodes[:, 4, k] = value, slope
        nodes[:, 1, 2 + k], nodes[:, 3, 2 + k] = value, -slope
    nodes[:, 5, 4], nodes[:, 5, 5] = s, p2
    names = ("bend_x.2", "bend_x.3", "bend_y.2", "bend_y.3", "twist.1", "twist.2")
    return Basis(free, names, ("m",) * 4 + ("rad",) * 2, nodes.reshape(-1, 6))


def thermal_basis(free: Elastic) -> Basis:
    """What temperature does to a girder that is free to follow it, per kelvin.

    "bow": top one kelvin warmer than the bottom, y'' = -expansion / depth, level at the middle; the ends sink by
    expansion L^2 / (8 depth).  "axial_growth": all warmer by one kelvin, shift_z = expansion z; growth across
    the beam is left to a change of scale.

    >>> from monochord.campaign.given.girder import Beam, Girder
    >>> from monochord.girder.model import elastic
    >>> free = elastic(Girder("g", "t", Beam(100.0, 4.0, 1e8, 1e8, 1e8, -0.5, 0.5, 12e-6), (), (), ()))
    >>> (thermal_basis(free).at(np.array([[0.0, -0.5, 2.0]]))[0] * 1e6).round(6).tolist()
    [[0.0, 0.0], [-48.0, 0.0], [0.0, 24.0]]
    """
    expansion, depth = free.beam.expansion, free.beam.depth
    nodes = np.zeros((len(free.z), 6, 2))
    nodes[:, 1, 0] = -0.5 * expansion / depth * free.z**2
    nodes[:, 3, 0] = expansion / depth * free.z
    nodes[:, 2, 1] = expansion * free.z
    return Basis(free, ("bow", "axial_growth"), ("K", "K"), nodes.reshape(-1, 2))


def joined(*bases: Basis) -> Basis:
    """Several bases of one girder as one, in the order given."""
    names = tuple(name for b in bases for name in b.names)
    units = tuple(unit for b in bases for unit in b.units)
    return Basis(bases[0].free, names, units, np.hstack([b.nodes for b in bases]))
