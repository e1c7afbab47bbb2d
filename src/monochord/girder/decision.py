"""The decision of a bolt plan: which turns, and whether turning is worth it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Girder
from monochord.girder.aim import Aim, aim_for, best_heights, best_steps
from monochord.girder.expect import Outcome, outcome, rms_of
from monochord.girder.model import Standing
from monochord.girder.state import Stand

Array = NDArray[np.float64]

#: Turning must leave at most this part of the mean square that doing nothing leaves, or nothing is turned.
_WORTH = 0.8
#: A gain smaller than this [m, rms at the magnets] is below what a survey can show: leave the bolts. Common practice, no source.
_LEAST_GAIN = 2e-6


@dataclass(frozen=True, eq=False, slots=True)
class Task:
    """What is asked for beside where the girder stands.

    weights     magnet -> its weight in the common line;  least_load  part of a foot's load on level bolts that it must keep
    hold_rigid  True when turns shall not move the line either;  loose  (m,) feet that are brought to touch first
    """

    girder: Girder
    on: Standing
    weights: Mapping[str, float]
    least_load: float
    hold_rigid: bool
    loose: NDArray[np.bool_]
    at: str


@dataclass(frozen=True, eq=False, slots=True)
class Decision:
    """What was decided.

    aim      the problem;  heights  (m,) best, not rounded [um];  steps  (m,) whole steps, 0 when nothing is worth it
    nothing, found   the girder without and with the turns;  kept  whether all feet keep their least load
    """

    aim: Aim
    heights: Array
    steps: Array
    nothing: Outcome
    found: Outcome
    do_nothing: bool
    kept: bool

    @property
    def turned(self) -> Array:
        """Heights that are turned (m,) [m]."""
        return np.asarray(self.steps * self.aim.step * 1e-6, float)


def decide(task: Task, now: Stand) -> Decision:
    """The best whole steps from where the girder stands, and whether they are worth it.

    Raises Undetermined when no heights within the bolts' travel can be found.
    """
    girder, on = task.girder, task.on
    aim = aim_for(girder, on, now, weights=task.weights, least_load=task.least_load, hold_rigid=task.hold_rigid)
    heights, _ = best_heights(aim)
    steps, kept = best_steps(aim, heights)
    nothing = outcome(girder, on, now, aim, np.zeros(len(steps)), loose=task.loose, at=task.at)
    found = outcome(girder, on, now, aim, steps * aim.step * 1e-6, loose=task.loose, at=task.at)
    before, after = rms_of(nothing.shape_before), rms_of(found.shape_after)
    bearing = bool((aim.least <= 0.0).all())
    idle = after[0] ** 2 > _WORTH * before[0] ** 2 or before[0] - after[0] < _LEAST_GAIN
    do_nothing = not steps.any() or (bearing and idle)
    if do_nothing:
        return Decision(aim, heights, np.zeros(len(steps)), nothing, nothing, True, kept)
    return Decision(aim, heights, steps, nothing, found, False, kept)


def turns_of(girder: Girder, decision: Decision) -> dict[str, float]:
    """Bolt -> turns [turn], whole multiples of its smallest step; 0 for "leave"."""
    steps = zip(girder.bolts, decision.steps.tolist(), finest_of(girder).tolist(), strict=True)
    return {bolt.name: count * finest + 0.0 for bolt, count, finest in steps}


def finest_of(girder: Girder) -> Array:
    """Smallest step of every bolt (m,) [turn]; one without any is turned as finely as a hand can, a thousandth of a turn."""
    told = np.array([b.smallest_step for b in girder.bolts])
    return np.where(np.isfinite(told) & (told > 0.0), told, 1e-3)


def curable_share(decision: Decision, own: Mapping[str, tuple[float, float]]) -> float | None:
    """Mean square that the best heights take away, as a part of it and of what they leave: own moves, shapes of no bolt.

    own  carrier that moved on the girder -> its own shift (x, y) [m]
    """
    aim = decision.aim
    shifts = np.array([own.get(name, (0.0, 0.0)) for name in aim.magnets]).reshape(-1) * 1e6
    cured = aim.answer @ decision.heights
    kept = [cured, aim.here + cured, aim.about @ shifts]
    square = [float(v @ v) for v in kept]
    return square[0] / sum(square) if sum(square) > 1e-6 else None
