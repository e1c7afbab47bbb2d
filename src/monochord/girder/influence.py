"""What a turn of each bolt does to magnets and targets."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.girder.contact import response, settle
from monochord.girder.model import Standing

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Influence:
    """Answer of points and feet to the height of each bolt.

    bolts     names (m)
    shift     (p, 3, m) of the points [m/m];  turning  (p, 3, m) of their sections [rad/m]
    loads     (m, m) of the feet [N/m], row foot, column bolt
    """

    bolts: tuple[str, ...]
    shift: Array
    turning: Array
    loads: Array


def influence(standing: Standing, points: Array, closed: NDArray[np.bool_]) -> Influence:
    """Influence of a small change of height while the contact stays as it is.

    points  (p, 3) [m], girder frame;  closed  (m,) feet that carry; the column of an open foot is 0

    >>> from monochord.campaign.given.girder import Beam, Bolt, Girder
    >>> from monochord.girder.model import elastic, standing
    >>> beam = Beam(100.0, 2.0, 1e8, 1e8, 1e8, 0.0, 0.2, 12e-6)
    >>> spots = [(-0.2, -0.5, -0.8), (0.2, -0.5, -0.8), (0.0, -0.5, 0.8)]
    >>> feet = tuple(Bolt(f"V{k}", (0.0, 1.0, 0.0), spot, 1e-3, None, 0.01, True, 1e9) for k, spot in enumerate(spots))
    >>> girder = Girder("g", "t", beam, (), (), feet)
    >>> found = influence(standing(girder, elastic(girder)), np.array([[0.0, 0.0, 0.0]]), np.ones(3, dtype=bool))
    >>> found.shift[0, 1].round(6).tolist()
    [0.25, 0.25, 0.5]
    """
    moved, loads = response(standing, closed)
    rows = standing.free.follow(points) @ moved
    return Influence(standing.names, rows[:, :3], rows[:, 3:], loads)


def secant(standing: Standing, points: Array, heights: Array, forces: Array, steps: Array) -> Influence:
    """Influence of steps so large that feet may lift off or come to bear: (after - before) / step, bolt by bolt.

    points   (p, 3) [m];  heights  (m,) of the bolts [m];  forces  (6n,) at the nodes
    steps    (m,) by which each bolt by itself is turned [m]; a step of 0 gives a column of 0
    """
    before = settle(standing, heights, forces)
    rows = standing.free.follow(points)
    change, loads = np.zeros((len(points), 6, len(heights))), np.zeros((len(heights), len(heights)))
    for k, step in enumerate(steps):
        if step:
            raised = heights.copy()
            raised[k] += step
            after = settle(standing, raised, forces)
            change[:, :, k] = rows @ (after.displacement - before.displacement) / step
            loads[:, k] = (after.loads - before.loads) / step
    return Influence(standing.names, change[:, :3], change[:, 3:], loads)
