"""Blocks: all scans of one magnet in one mode, their background subtracted, fitted by one field law."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Magnet
from monochord.ground.faults import Undetermined
from monochord.wire.background import Background, BackgroundPlan, find_backgrounds, from_currents, plan_background
from monochord.wire.field_law import Law, Plan, as_complex, as_real, plan_law, solve_law, stacked, zero_of
from monochord.wire.readings import Readings
from monochord.wire.setup import Setup
from monochord.wire.weights import Weighing

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Block:
    """One magnet under one mode.

    readings    with current;  current  to which all are scaled [A]
    law         of the field that follows the current;  whole  zero of the law without the background subtracted
    background  what was subtracted, or None;  carry  (2 N, 2 k) change of the law by the background's coefficients
    weighing    how the mode weighs this magnet
    """

    magnet: Magnet
    mode: int
    readings: Readings
    current: float
    law: Law
    whole: complex
    background: Background | None
    carry: Array
    weighing: Weighing

    @property
    def name(self) -> str:
        """As a person calls it."""
        return f"{self.magnet.name} in mode {self.mode}"

    @property
    def lead(self) -> complex:
        """Leading coefficient per metre of magnet and per ampere [T/m^(N-1)/A]."""
        value, _ = self.law.about(self.law.zero, self.magnet.order - 1)
        return value / self.weighing.offset / self.current

    @property
    def sharpness(self) -> float:
        """Variance of the zero that this block alone gives, from noise [m2]."""
        order, law = self.magnet.order, self.law
        lead, _ = law.about(law.zero, order - 1)
        g = as_real(-law.about(law.zero, order - 2)[1] / ((order - 1) * lead))
        return float(np.trace(g @ law.cov @ g.T))


@dataclass(frozen=True, eq=False, slots=True)
class Lost:
    """A block that could not be evaluated, and why."""

    magnet: str
    mode: int
    reason: str


@dataclass(frozen=True, eq=False, slots=True)
class Layout:
    """Which readings make which law, and the least squares for each: the same for every round of an evaluation.

    lit, dark    places of the readings with and without current, by (mode, magnet)
    plans        of the blocks;  backgrounds  of the modes;  lost  blocks that cannot be fitted
    """

    lit: Mapping[tuple[int, str], int]
    dark: Mapping[tuple[int, str], int]
    plans: Mapping[tuple[int, str], Plan]
    backgrounds: Mapping[int, BackgroundPlan]
    lost: Sequence[Lost] = field(default=())


def lay_out(readings: Sequence[Readings], setup: Setup) -> Layout:
    """The layout of an occasion's readings."""
    places = {state: {} for state in (True, False)}  # type: dict[bool, dict[tuple[int, str], int]]
    for i, r in enumerate(readings):
        places[r.passes.on][(r.passes.mode, r.passes.magnet)] = i
    lit, dark = places[True], places[False]
    plans: dict[tuple[int, str], Plan] = {}
    lost: list[Lost] = []
    for (mode, name), i in lit.items():
        r, factor = readings[i], to_current(readings[i])
        sigma = np.abs(factor)[:, None] * r.sigma
        try:
            degree = setup.magnets[name].order - 1
            plans[(mode, name)] = plan_law(r.passes.zeta, sigma, degree, scan=r.passes.scan)
        except Undetermined as error:
            lost.append(Lost(name, mode, f"mode {mode}: {error.why}"))
    modes = sorted({mode for mode, _ in [*lit, *dark]})
    backgrounds = {
        mode: plan_background(mode, {n: readings[i] for (m, n), i in dark.items() if m == mode}, setup.magnets)
        for mode in modes
    }
    return Layout(lit, dark, plans, backgrounds, tuple(lost))


def to_current(readings: Readings) -> Array:
    """Factor (n,) that brings each reading to the largest current of its block."""
    current = readings.passes.current
    return np.asarray(current[np.argmax(np.abs(current))] / current, float)


def solve_blocks(
    layout: Layout, readings: Sequence[Readings], setup: Setup, noisier: float = 1.0
) -> tuple[list[Block], list[Background]]:
    """Blocks of all magnets and modes, and the backgrounds they share.

    noisier  true noise of the readings over the one they were given
    """
    blocks: list[Block] = []
    found: dict[int, Background] = {}
    for mode, plan in layout.backgrounds.items():
        off = {name: readings[i] for (m, name), i in layout.dark.items() if m == mode}
        backgrounds = find_backgrounds(plan, off, setup.magnets, noisier)
        for (m, name), i in layout.lit.items():
            if m != mode or (m, name) not in layout.plans:
                continue
            magnet = setup.magnets[name]
            background = backgrounds.get(name) or from_currents(readings[i], magnet, mode, noisier)
            blocks.append(_block(magnet, readings[i], layout.plans[(m, name)], background, noisier, setup=setup))
            if background is not None:
                found[id(background)] = background
    return blocks, list(found.values())


def _block(
    magnet: Magnet, readings: Readings, plan: Plan, background: Background | None, noisier: float, *, setup: Setup
) -> Block:
    factor = to_current(readings)
    current = float(readings.passes.current[0] * factor[0])
    columns = readings.columns * factor[:, None]
    zeta, n = readings.passes.zeta, len(factor)
    gain = plan.gain[: 2 * magnet.order]
    whole = zero_of(as_complex(gain @ stacked(columns[:, 0])), plan.ref, plan.scale)
    carry = np.zeros((2 * magnet.order, 0))
    if background is not None:
        columns = columns - factor[:, None] * background.law.at(zeta)
        design = as_real(factor[:, None] * background.law.plan.powers(zeta))
        carry = -gain[:, :n] @ design[0::2] - gain[:, n:] @ design[1::2]
    law = solve_law(plan, columns, noisier)
    weighing = setup.weigh(magnet.name, readings.passes.mode, readings.w, readings.shift)
    return Block(magnet, readings.passes.mode, readings, current, law, whole, background, carry, weighing)
