"""What turns of the bolts shall achieve, as one small convex problem in the heights.

Once every foot touches, the girder answers to heights linearly as long as no foot lifts off, and the
least loads keep it so. Departures count at the magnets, about a straight line; the rest of the girder
and the sizes of turns count so little that they only choose among equals.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Girder
from monochord.girder.contact import response
from monochord.girder.model import Standing
from monochord.girder.state import Stand
from monochord.girder.steps import Wish, whole_steps
from monochord.ground.faults import Undetermined

Array = NDArray[np.float64]

#: A departure anywhere else on the girder counts by this part of one at a magnet.
_ELSEWHERE = 0.1
#: Arm [m] over which roll of the sections counts as a shift.
_ROLL_ARM = 0.2
#: A turn of this many um costs as much as a departure of _TURNING um at one magnet.
_LONG, _TURNING = 100.0, 0.1
#: A load 1 kN short of its least costs as much as a departure of this many um, where no whole steps keep all least loads.
_SHORT = 5.0


@dataclass(frozen=True, eq=False, slots=True)
class Aim:
    """The problem, heights in um, loads in kN, departures in um.

    magnets    names;  about (2M, 2M) takes shifts of the magnets, x and y in turn, to departures from their line
    answer     (2M, m) departures per height;  here (2M,) departures with all feet at touch, at the reference's temperatures
    square, linear   cost of heights h: h' square h + 2 linear h
    bears      (k, m), least (k,): loads  bears h >= least  (today and at the reference's temperatures)
    step       (m,) smallest step of each bolt;  reach (m,) farthest either way
    free       (m, 6) heights that move the girder as a rigid body
    """

    magnets: tuple[str, ...]
    about: Array
    answer: Array
    here: Array
    square: Array
    linear: Array
    bears: Array
    least: Array
    step: Array
    reach: Array
    free: Array


def line_remover(z: Array, weights: Array) -> Array:
    """Projector (M, M) that takes values at z (M,) [m] to their departures from the weighted straight line.

    >>> (line_remover(np.array([-1.0, 0.0, 1.0]), np.ones(3)) @ [0.0, 3.0, 0.0]).round(9).tolist()
    [-1.0, 2.0, -1.0]
    """
    a = np.column_stack([np.ones_like(z), z])
    root = np.sqrt(weights)
    return np.asarray(np.eye(len(z)) - a @ np.linalg.pinv(root[:, None] * a) * root, float)


def magnet_rows(girder: Girder, standing: Standing) -> Array:
    """How the magnets' reference points follow the nodes, (2M, 6n), x and y in turn."""
    points = np.array([m.point for m in girder.magnets]).reshape(-1, 3)
    return standing.free.follow(points)[:, :2].reshape(2 * len(points), -1)


def about_line(girder: Girder, weights: Mapping[str, float]) -> Array:
    """Projector (2M, 2M) from shifts of the magnets, x and y in turn, to departures from their weighted line."""
    z = np.array([m.point[2] for m in girder.magnets])
    weight = np.array([max(weights.get(m.name, 1.0), 0.0) for m in girder.magnets])
    if not weight.any():
        weight = np.ones(len(z))
    return np.asarray(np.kron(line_remover(z, weight), np.eye(2)), float)


def aim_for(
    girder: Girder, standing: Standing, now: Stand, *, weights: Mapping[str, float], least_load: float, hold_rigid: bool
) -> Aim:
    """The problem of one occasion.

    weights     magnet -> its weight in the common line;  least_load  part of a foot's load on level bolts that it must keep
    hold_rigid  True when turns shall not move the magnets' line either
    """
    every = np.ones(len(standing.names), dtype=bool)
    moved, loads = response(standing, every)
    bow = standing.solve(every, standing.free.bow)
    at_magnets, about = magnet_rows(girder, standing), about_line(girder, weights)
    change = float(now.amounts.value[-1])
    # with its feet bearing the girder keeps only what the bolts let it of a bow that is to pass
    shape = now.nodes + (now.unknowns.bow - bow) * change
    answer, here = about @ at_magnets @ moved, about @ at_magnets @ shape * 1e6
    rest, rest_here = _elsewhere(standing, moved), _elsewhere(standing, shape[:, None])[:, 0] * 1e6
    cost = [answer, _ELSEWHERE * rest, np.eye(len(every)) * (_TURNING / _LONG)]
    target = [here, _ELSEWHERE * rest_here, np.zeros(len(every))]
    if hold_rigid:
        cost.append(at_magnets @ moved - answer)
        target.append(np.zeros(len(answer)))
    rows, wanted = np.vstack(cost), np.concatenate(target)
    feet = standing.one_sided
    least = least_load * np.maximum(now.unknowns.level, 0.0)
    passing = standing.stiffness * (standing.push @ bow) * change
    bears = np.vstack([loads[feet], loads[feet]]) * 1e-9
    short = np.concatenate([(least - now.loads)[feet], (least - now.loads - passing)[feet]]) * 1e-3
    free = standing.push @ standing.free.rigid
    step = np.array([_step(b.thread_pitch, b.smallest_step) for b in girder.bolts])
    reach = np.array([np.inf if b.travel is None else 0.5e6 * b.travel for b in girder.bolts])
    names = tuple(m.name for m in girder.magnets)
    return Aim(names, about, answer, here, rows.T @ rows, rows.T @ wanted, bears, short, step, reach, free)


def _step(thread_pitch: float, smallest_step: float) -> float:
    """Smallest step [um]; a bolt without one is turned as finely as a hand can, a thousandth of a turn."""
    finest = smallest_step if np.isfinite(smallest_step) and smallest_step > 0.0 else 1e-3
    return abs(thread_pitch) * finest * 1e6


def _elsewhere(standing: Standing, nodes: Array) -> Array:
    """Shape along the whole girder, x and y on the axis and roll on an arm, its rigid motion taken out, (q, k)."""
    half = 0.5 * standing.free.beam.length
    z = np.linspace(-half, half, 9)
    seen = standing.free.follow(np.column_stack([0 * z, 0 * z, z])) @ nodes
    bare = line_remover(z, np.ones(9))
    roll = seen[:, 5] - seen[:, 5].mean(axis=0)
    return np.vstack([bare @ seen[:, 0], bare @ seen[:, 1], _ROLL_ARM * roll]) / 3.0


def best_heights(aim: Aim) -> tuple[Array, bool]:
    """The best heights that could be, not rounded, (m,) [um], and whether all least loads are kept.

    Raises Undetermined when the solver of the convex problem gives up.
    """
    from daqp import solve  # loaded only when a plan is made

    m = len(aim.step)
    big = 1e6
    reach = np.minimum(aim.reach, big)
    matrix = np.ascontiguousarray(aim.bears)
    upper = np.concatenate([reach, np.full(len(aim.least), 1e30)])
    lower = np.concatenate([-reach, aim.least])
    for kind, kept in ((0, True), (8, False)):
        sense = np.concatenate([np.zeros(m), np.full(len(aim.least), kind)]).astype(np.int32)
        found, _, status, _ = solve(aim.square, aim.linear, matrix, upper, lower, sense)
        if status > 0:
            return np.asarray(found, float), kept
    raise Undetermined(["bolt turns"], "no heights within the bolts' travel keep the feet bearing")


def best_steps(aim: Aim, heights: Array) -> tuple[Array, bool]:
    """Whole steps (m,) near the best heights (m,) [um], and whether all least loads are kept.

    Among good sets the cheapest that keeps the loads is taken; if none does, the search is repeated with
    the shortage of load priced in.
    """
    scaled = aim.step[:, None] * aim.square * aim.step
    linear = aim.step * aim.linear
    limit = np.floor(np.minimum(aim.reach, 1e6) / aim.step + 1e-9)
    free = aim.free * 1e6 / aim.step[:, None]
    size = np.abs(free).max(axis=0)
    free = free[:, size > 0.0] / size[size > 0.0]
    wanted = heights / aim.step
    for price in (0.0, _SHORT):
        pull = price * aim.bears * aim.step
        held = price * (aim.bears @ heights)
        wish = Wish(scaled + pull.T @ pull, linear - pull.T @ held, -limit, limit, free)
        sets = whole_steps(wish, wanted)
        short = np.maximum(aim.least - (sets * aim.step) @ aim.bears.T, 0.0).max(axis=1, initial=0.0)
        cost = np.einsum("ki,ij,kj->k", sets, scaled, sets) + 2.0 * sets @ linear
        if (short < 1e-6).any():
            return np.asarray(sets[np.where(short < 1e-6, cost, np.inf).argmin()], float), True
    return np.asarray(sets[(cost + (_SHORT * short) ** 2).argmin()], float), False
