"""Which feet carry: equilibrium of the girder on bolts that push and never pull.

The energy  u'Ku/2 - f'u + sum k (h - b'u)^2 / 2  over closed feet is convex, so there is one equilibrium:
the set of closed feet whose loads push and whose open feet gape. It is found by exchanging every foot that
is on the wrong side at once, and one foot at a time when that does not get on, which ends for certain
(block pivoting with Murty's rule; Portugal, Judice and Vicente 1994, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.girder.model import Standing
from monochord.ground.faults import Undetermined

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

_MOST_STEPS = 2000
#: Exchanges of all wrong feet that may fail to lower their number before feet are exchanged one at a time.
_PATIENCE = 3
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
    closed = np.ones(len(heights), dtype=bool)
    fewest, patience = len(heights) + 1, _PATIENCE
    for _ in range(_MOST_STEPS):
        u = _equilibrium(standing, closed, heights, forces)
        squeeze = heights - standing.push @ u
        wrong = standing.one_sided & (np.where(closed, -squeeze, squeeze) > _TOUCH)
        count = int(wrong.sum())
        if not count:
            return _rest(standing, closed, heights, u, forces)
        if count < fewest:
            fewest, patience = count, _PATIENCE
        elif patience:
            patience -= 1
        else:
            wrong &= np.arange(len(wrong)) == np.flatnonzero(wrong)[-1]
        closed = closed ^ wrong
    raise Undetermined(
        ["contact"], "the feet in contact could not be settled; look at the heights and the feet's places"
    )


def _equilibrium(standing: Standing, closed: Flags, heights: Array, forces: Array) -> Array:
    pushed = standing.push[closed].T @ (standing.stiffness[closed] * heights[closed])
    return standing.solve(closed, forces + pushed)


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
