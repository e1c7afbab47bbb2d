"""Where a girder comes to rest on bolts of which some push and never pull: downhill on its energy.

    E(u) = u'Ku / 2 - f'u + sum k (h - b'u)^2 / 2     over the bolts that push

is convex and piecewise quadratic: Newton's step for the bolts that push where one stands, as far along it as
the energy falls, ends at the only lowest point. With every bolt as a spring at work the girder answers to
pushes q at the bolts by g = g0 + C q where it meets them, and a bolt at work pushes q = k h, an open one
q = k g; so all steps are taken in as many numbers as there are bolts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.girder.model import Standing
from monochord.ground.faults import Undetermined

Array = NDArray[np.float64]

_MOST_STEPS = 200
#: A step is never longer than this many times Newton's.
_FARTHEST = 4.0


@dataclass(frozen=True, eq=False, slots=True)
class Bearing:
    """A girder on its bolts with its answers, worked out once.

    weight, bow  (6n,) nodes under the weight, and per kelvin of a warmer top, every bolt a spring at height 0
    pushed       (6n, m) nodes per newton at each bolt;  met  (m, m) the same where the girder meets the bolts
    """

    on: Standing
    weight: Array
    bow: Array
    pushed: Array
    met: Array


@dataclass(frozen=True, eq=False, slots=True)
class Rest:
    """A girder at rest.

    nodes  (6n,) displacement;  loads  (m,) along the bolts' directions [N];  gaps  (m,) below open feet [m]
    """

    nodes: Array
    loads: Array
    gaps: Array


def bearing(on: Standing) -> Bearing:
    """The answers of a girder on its bolts."""
    forces = np.column_stack([on.push.T, on.free.weight, on.free.bow])
    answers = on.solve(np.ones(len(on.names), dtype=bool), forces)
    pushed = answers[:, :-2]
    return Bearing(on, answers[:, -2], answers[:, -1], pushed, on.push @ pushed)


def at_rest(of: Bearing, heights: Array, top_minus_bottom: float = 0.0) -> Rest:
    """The girder at rest under its weight on bolts of heights (m,) [m].

    top_minus_bottom  [K]. Raises Undetermined when no lowest point is found.

    >>> from monochord.campaign.given.girder import Beam, Bolt, Girder
    >>> from monochord.girder.model import elastic, standing
    >>> beam = Beam(100.0, 2.0, 1e8, 1e8, 1e8, 0.0, 0.2, 12e-6)
    >>> spots = [(-0.2, -0.5, -0.8), (0.2, -0.5, -0.8), (0.0, -0.5, 0.8), (0.0, -0.5, 0.0)]
    >>> feet = tuple(Bolt(f"V{k}", (0.0, 1.0, 0.0), spot, 1e-3, None, 0.01, True, 1e9) for k, spot in enumerate(spots))
    >>> girder = Girder("g", "t", beam, (), (), feet)
    >>> rest = at_rest(bearing(standing(girder, elastic(girder, gravity=10.0))), np.array([0.0, 0.0, 0.0, -1e-3]))
    >>> rest.loads.round(3).tolist(), (rest.gaps > 0.0).tolist()
    ([500.0, 500.0, 1000.0, 0.0], [False, False, False, True])
    """
    stiffness, sided = of.on.stiffness, of.on.one_sided
    unloaded = of.weight + top_minus_bottom * of.bow
    apart = of.on.push @ unloaded
    push = stiffness * heights
    for _ in range(_MOST_STEPS):
        working = ~sided | (heights > apart + of.met @ push)
        wanted = _pushes(of, apart, heights, working)
        reached = apart + of.met @ wanted
        if np.array_equal(working, ~sided | (heights > reached)):
            loads, gaps = (
                np.where(working, stiffness * (heights - reached), 0.0),
                np.where(working, 0.0, reached - heights),
            )
            return Rest(unloaded + of.pushed @ wanted, loads, gaps)
        push = push + (wanted - push) * _lowest(of, apart, heights, push, wanted - push)
    raise Undetermined(["contact"], "no rest was found for the girder on these bolts")


def _pushes(of: Bearing, apart: Array, heights: Array, working: NDArray[np.bool_]) -> Array:
    """Pushes (m,) with which the bolts at work press and the open ones do not."""
    push = of.on.stiffness * heights
    open_ = ~working
    if open_.any():
        k = of.on.stiffness[open_]
        met = of.met[open_]
        matrix = np.eye(len(k)) - k[:, None] * met[:, open_]
        push[open_] = np.linalg.solve(matrix, k * (apart[open_] + met[:, working] @ push[working]))
    return push


def _lowest(of: Bearing, apart: Array, heights: Array, push: Array, way: Array) -> float:
    """How far along ``way`` the energy is lowest: where its slope, which only grows, passes zero."""
    stiffness, sided = of.on.stiffness, of.on.one_sided
    closing = of.met @ way
    squeeze = heights - apart - of.met @ push
    meeting = squeeze / np.where(closing == 0.0, np.inf, closing)
    knots = np.unique(np.clip([0.0, *meeting[sided], _FARTHEST], 0.0, _FARTHEST))
    left = squeeze - knots[:, None] * closing
    pressed = np.where(sided, np.maximum(left, 0.0), left)
    # dE/dt = (B du/dt)' (q - k g - loads)
    slope = (push + knots[:, None] * way - stiffness * (heights - left) - stiffness * pressed) @ closing
    beyond = int(np.argmax(slope > 0.0))
    if beyond == 0:
        return 1.0 if slope[0] > 0.0 else _FARTHEST
    a, b = slope[beyond - 1], slope[beyond]
    return float(knots[beyond - 1] - (knots[beyond] - knots[beyond - 1]) * a / (b - a))
