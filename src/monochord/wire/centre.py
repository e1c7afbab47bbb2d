"""Centre and slope of one magnet from its blocks, with every cause that can move them.

Block n says d_n = S_n (centre - point) + C_n slope + i (sag under its weights), as a complex-linear
function of its law's coefficients; the weights of :mod:`monochord.wire.slope` turn the d_n into

    values = (x, y, slope_x, slope_y) = T (Re d_1, Im d_1, Re d_2, ...)

so each cause that moves coefficients, sag or stages enters by its Jacobian through T, and keeps its name.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.ground.estimate import Estimate, Factor, Label
from monochord.wire.blocks import Block
from monochord.wire.field_law import as_real
from monochord.wire.missing import unmeasured_background
from monochord.wire.readings import BENCH
from monochord.wire.sag import Sag
from monochord.wire.sensors import SensorFinding
from monochord.wire.setup import Setup
from monochord.wire.slope import SLOPE, Weights, mode_weights
from monochord.wire.stringing import stringing_factor

Array = NDArray[np.float64]

#: Where a scan's resonance stood is not known better than this part of the half linewidth.
SHIFT_FLOOR = 0.01


@dataclass(frozen=True, eq=False, slots=True)
class View:
    """One block as the combination sees it.

    d     S (centre - point) + C slope, sag taken out [m2], x + i y;  g  (2, 2 N) its change by the law's coefficients
    cov   (2, 2) of d from noise and background;  sag  Int W sag dz [m2]
    """

    block: Block
    d: complex
    g: Array
    cov: Array
    sag: float


@dataclass(frozen=True, eq=False, slots=True)
class Combined:
    """What the blocks of one magnet say together.

    point     zero of the sharpest block, stages [m];  lead  c_(N-1) per metre of magnet [T/m^(N-1)]
    views     sharpest first;  x, y  the weights of the two planes;  t  (4, 2 k) from the d_n to the values
    estimate  of x, y, slope_x, slope_y in the wire's frame;  alone  centre by the sharpest block alone [m], x + i y
    """

    point: complex
    lead: complex
    views: tuple[View, ...]
    x: Weights
    y: Weights
    t: Array
    estimate: Estimate
    alone: complex


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What all magnets of one occasion share: bench, sensors, sag, and the name of the stringing."""

    setup: Setup
    sensors: SensorFinding
    sag: Sag
    stringing: str


def combine(blocks: Sequence[Block], around: Circumstances) -> Combined:
    """Centre and slope of one magnet from all its blocks (at least one)."""
    ordered = sorted(blocks, key=lambda b: b.sharpness)
    first = ordered[0]
    point, lead = first.law.zero, first.lead * first.current
    views = tuple(_view(b, point, lead, around) for b in ordered)
    s = np.array([v.block.weighing.offset for v in views])
    c = np.array([v.block.weighing.slope for v in views])
    weights = [mode_weights(s, c, np.diag([v.cov[i, i] for v in views])) for i in (0, 1)]
    t = np.zeros((4, 2 * len(views)))
    for i, w in enumerate(weights):
        t[i, i::2] = w.centre
        if w.slope is not None:
            t[2 + i, i::2] = w.slope
    d = np.array([part for v in views for part in (v.d.real, v.d.imag)])
    values = t @ d + np.array([point.real, point.imag, 0.0, 0.0])
    for i, w in enumerate(weights):
        if w.slope is None:
            values[2 + i] = np.nan
    alone = point + views[0].d / s[0]
    found = Combined(point, lead, views, weights[0], weights[1], t, _bare(first.magnet.name, values), alone)
    return Combined(point, lead, views, weights[0], weights[1], t, _with_causes(found, around), alone)


def _view(block: Block, point: complex, lead: complex, around: Circumstances) -> View:
    order, law = block.magnet.order, block.law
    value, row = law.about(point, order - 2)
    g = as_real(-row / ((order - 1) * lead))
    cov = g @ law.cov @ g.T
    if block.background is not None:
        carried = g @ block.carry
        cov = cov + carried @ block.background.law.cov @ carried.T
    sag = block.weighing.sag(around.setup.wire, around.setup.f1(block.readings.shift))
    return View(block, -value / ((order - 1) * lead) - 1j * sag, g, cov, sag)


def _bare(name: str, values: Array) -> Estimate:
    units = {"x": "m", "y": "m", "slope_x": "rad", "slope_y": "rad"}
    return Estimate(values, tuple(Label(f"{name}.{q}", unit, "wire") for q, unit in units.items()), {})


def _with_causes(found: Combined, around: Circumstances) -> Estimate:
    """The estimate with all its causes."""
    setup, views, t = around.setup, found.views, found.t
    name, occasion = views[0].block.magnet.name, setup.occasion
    columns = [t[:, 2 * i : 2 * i + 2] @ v.g for i, v in enumerate(views)]
    noise = sum((c @ v.block.law.cov @ c.T for c, v in zip(columns, views, strict=True)), np.zeros((4, 4)))
    factors = {f"fit:{occasion}/{name}": Factor(np.eye(4), noise)}
    for column, view in zip(columns, views, strict=True):
        factors |= _background(column, view.block, setup)
    by = [[c @ v.block.law.by(q) for c, v in zip(columns, views, strict=True)] for q in (*BENCH, "shift", "planes")]
    bench = np.stack([np.sum(by[i], axis=0) for i in range(len(BENCH))], axis=1)
    factors[f"gain:{occasion}"] = Factor(bench, around.sensors.cov)
    factors[f"detuning:{occasion}/{name}"] = Factor(np.stack(by[len(BENCH)], axis=1), _shift_spread(found, setup))
    if setup.transfer.measured:
        turned = np.sum(by[-1], axis=0)[:, None]
        factors[f"planes:{occasion}"] = Factor(turned, np.array([[setup.transfer.u_turn**2]]))
    sag = np.array([part for v in views for part in (0.0, -v.sag)])
    factors[f"sag:{occasion}"] = Factor((t @ sag)[:, None], np.array([[around.sag.relative**2]]))
    leak = np.array([[found.x.leak, 0.0], [0.0, found.y.leak], [0.0, 0.0], [0.0, 0.0]])
    factors[f"slope leakage:{name}"] = Factor(leak, SLOPE**2 * np.eye(2))
    factors |= _stages(found.point, views[0].block.magnet.point[2], setup)
    factors[f"stringing:{around.stringing}"] = stringing_factor(views[0].block.magnet.point[2], setup.wire)
    return Estimate(found.estimate.value, found.estimate.labels, factors)


def _background(column: Array, block: Block, setup: Setup) -> dict[str, Factor]:
    if block.background is None:
        jacobian, spread = unmeasured_background(block, setup)
        cause = f"background:{setup.occasion}/mode {block.mode}, {block.magnet.name}, not measured"
        return {cause: Factor(column @ jacobian, spread)}
    cause = f"background:{setup.occasion}/{block.background.scope}"
    return {cause: Factor(column @ block.carry, block.background.law.cov)}


def _shift_spread(found: Combined, setup: Setup) -> Array:
    """Variance of the shift of each block (k, k) [(rad/s)^2]; a scan that nobody could tune has a whole half width."""
    out = []
    for view in found.views:
        half = setup.transfer.damping(view.block.mode) / view.block.mode
        told = float(view.block.readings.tuned.u_shift.max())
        out.append(np.hypot(min(told, half), SHIFT_FLOOR * half) ** 2)
    return np.diag(out)


def _stages(point: complex, z: float, setup: Setup) -> dict[str, Factor]:
    """Scale of the stages in x and y, and the turn of the two stages about z, at the place of the zero."""
    wire, x, y = setup.wire, point.real, point.imag
    t = (z - wire.z_start) / wire.length
    scale = np.array([[x, 0.0], [0.0, y], [0.0, 0.0], [0.0, 0.0]])
    turn = np.outer([-y, x, 0.0, 0.0], [1.0 - t, t]) + np.outer([0.0, 0.0, -y, x], [-1.0, 1.0]) / wire.length
    return {
        "stage scale": Factor(scale, wire.u_stage_scale**2 * np.eye(2)),
        "stage turn": Factor(turn, wire.u_stage_turn**2 * np.eye(2)),
    }
