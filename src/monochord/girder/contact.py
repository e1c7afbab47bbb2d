"""Which feet carry: equilibrium of the girder on bolts that push and never pull.

The energy  u'Ku/2 - f'u + sum k (h - b'u)^2 / 2  over closed feet is convex and once differentiable, so
there is one equilibrium. It is found by Newton steps with an exact search along each step, which lowers
the energy every time and ends after finitely many changes of contact.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from monochord.girder.model import Standing
from monochord.ground.faults import Undetermined

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

_MOST_STEPS = 100
#: A foot is as good as touching when it overlaps or gapes by less [m]: far below any load or gap that matters.
_TOUCH = 1e-12


@dataclass(frozen=True, eq=False, slots=True)
class Contact:
    """The girder at rest on its feet.

    closed        (m,) feet that carry;  loads  (m,) along each bolt's direction [N], 0 where a foot is open
    gaps          (m,) between bolt and girder [m], 0 where the foot is closed
    displacement  (6n,) of the nodes
    """

    closed: Flags
    loads: Array
    gaps: Array
    displacement: Array


def settle(standing: Standing, heights: Array, forces: Array) -> Contact:
    """Where the girder comes to rest.

    heights  (m,) of the bolts along their directions [m];  forces  (6n,) at the nodes, such as ``free.weight``

    Raises Undetermined when the feet in contact do not hold the girder.

    >>> from monochord.campaign.given.girder import Beam, Bolt, Girder
    >>> from monochord.girder.model import elastic, standing
    >>> beam = Beam(100.0, 2.0, 1e8, 1e8, 1e8, 0.0, 0.2, 12e-6)
    >>> spots = [(-0.2, -0.5, -0.8), (0.2, -0.5, -0.8), (0.0, -0.5, 0.8), (0.0, -0.5, 0.0)]
    >>> feet = tuple(Bolt(f"V{k}", (0.0, 1.0, 0.0), spot, 1e-3, None, 0.01, True, 1e9) for k, spot in enumerate(spots))
    >>> girder = Girder("g", "t", beam, (), (), feet)
    >>> free = elastic(girder, gravity=10.0)
    >>> rest = settle(standing(girder, free), np.array([0.0, 0.0, 0.0, -1e-3]), free.weight)
    >>> rest.closed.tolist(), rest.loads.round(3).tolist()
    ([True, True, True, False], [500.0, 500.0, 1000.0, 0.0])
    """
    u = _equilibrium(standing, np.ones(len(heights), dtype=bool), heights, forces)
    for _ in range(_MOST_STEPS):
        closed = ~standing.one_sided | (heights - standing.push @ u > 0.0)
        aim = _equilibrium(standing, closed, heights, forces)
        squeeze = np.where(standing.one_sided, heights - standing.push @ aim, 0.0)
        if not np.any(np.where(closed, -squeeze, squeeze) > _TOUCH):
            return _rest(standing, closed, heights, aim, forces)
        u = u + _length(standing, heights, forces, u, aim - u) * (aim - u)
    raise Undetermined(
        ["contact"], "the feet in contact could not be settled; look at the heights and the feet's places"
    )


def _equilibrium(standing: Standing, closed: Flags, heights: Array, forces: Array) -> Array:
    pushed = standing.push[closed].T @ (standing.stiffness[closed] * heights[closed])
    return standing.solve(closed, forces + pushed)


def _length(standing: Standing, heights: Array, forces: Array, u: Array, step: Array) -> float:
    """Where along the step, between 0 and 1, the energy is least: its slope is linear between changes of contact."""
    squeeze, rate = heights - standing.push @ u, -(standing.push @ step)
    kept = standing.held @ step
    constant, growing = float(kept @ u - forces @ step), float(kept @ step)

    def slope(t: float) -> float:
        pushing = squeeze + t * rate
        pushing = np.where(standing.one_sided, np.maximum(pushing, 0.0), pushing)
        return constant + t * growing + float(rate @ (standing.stiffness * pushing))

    with np.errstate(divide="ignore", invalid="ignore"):
        changes = np.where(standing.one_sided & (rate != 0.0), -squeeze / rate, np.inf)
    marks = [0.0, *sorted(t for t in changes if 0.0 < t < 1.0), 1.0]
    for a, b in pairwise(marks):
        low, high = slope(a), slope(b)
        if high >= 0.0:
            return b if high == low else float(np.clip(a - low * (b - a) / (high - low), a, b))
    return 1.0


def _rest(standing: Standing, closed: Flags, heights: Array, u: Array, forces: Array) -> Contact:
    squeeze = heights - standing.push @ u
    loads = np.where(closed, standing.stiffness * squeeze, 0.0)
    loads[standing.one_sided] = np.maximum(loads[standing.one_sided], 0.0)
    gaps = np.where(closed, 0.0, np.maximum(-squeeze, 0.0))
    # what the bolts do not carry hangs on the weak springs to earth: then the feet do not hold the girder
    missing = standing.free.rigid.T @ (forces + standing.push.T @ loads)
    scale = np.abs(standing.free.rigid.T @ forces).max() + np.abs(loads).sum()
    if np.abs(missing).max() > 1e-5 * max(float(scale), 1e-9):
        raise Undetermined(["foot loads"], "the feet in contact do not hold the girder; more feet must bear")
    return Contact(closed, loads, gaps, u)


def response(standing: Standing, closed: Flags) -> tuple[Array, Array]:
    """What a unit of height does at each bolt while the contact stays as it is.

    closed  (m,) feet that carry

    Returns displacement (6n, m) of the nodes per height [m/m] and loads (m, m) per height [N/m]; the column
    of an open foot is 0.
    """
    k = np.where(closed, standing.stiffness, 0.0)
    moved = standing.solve(closed, standing.push.T * k)
    loads: Array = k[:, None] * (np.diag(closed.astype(float)) - standing.push @ moved)
    return moved, loads
