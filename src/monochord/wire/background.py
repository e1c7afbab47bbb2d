"""Background: what the wire feels while the scanned magnet is off, fitted once a mode and subtracted.

With all magnets off the wire feels the room's field and every magnet's remanence, whichever magnet the crew
calls the scanned one. So the background scans of one mode are readings of one and the same field, and are
fitted together unless they contradict each other; then each magnet keeps its own.

Source: derived.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Magnet
from monochord.ground.faults import Undetermined
from monochord.ground.statistics import f_quantile
from monochord.wire.field_law import Law, Plan, plan_law, solve_law, span_of
from monochord.wire.readings import Readings

#: Level at which scans of one background count as contradicting each other.
_LEVEL = 1e-4
#: A common background that fits within this many times the noise (squared) is kept: it then averages more than it errs.
_MUCH = 1.5


@dataclass(frozen=True, eq=False, slots=True)
class Background:
    """The background of one mode: its law, a name for the cause it is, and whether magnets share it.

    w, shift  mean drive and shift of the fundamental while it was read [rad/s]
    """

    law: Law
    mode: int
    scope: str
    shared: bool
    w: float
    shift: float


@dataclass(frozen=True, eq=False, slots=True)
class BackgroundPlan:
    """Least squares for the background scans of one mode: all together, and each magnet's alone (None where too few)."""

    mode: int
    together: Plan | None
    alone: Mapping[str, Plan | None]


def plan_background(mode: int, off: Mapping[str, Readings], magnets: Mapping[str, Magnet]) -> BackgroundPlan:
    """The plans for magnet -> its readings without current."""
    alone = {name: _plan([r], magnets[name].order - 1) for name, r in off.items()}
    degree = max((magnets[name].order for name in off), default=2) - 1
    return BackgroundPlan(mode, _plan(list(off.values()), degree) if off else None, alone)


def _plan(readings: Sequence[Readings], degree: int) -> Plan | None:
    zeta = np.concatenate([r.passes.zeta for r in readings])
    sigma = np.concatenate([r.sigma for r in readings])
    first = np.cumsum([0] + [len(r.passes.scans) for r in readings[:-1]])
    scan = np.concatenate([f + r.passes.scan for f, r in zip(first, readings, strict=True)])
    try:
        return plan_law(zeta, sigma, degree, scan=scan)
    except Undetermined:
        return None


def find_backgrounds(
    plan: BackgroundPlan, off: Mapping[str, Readings], magnets: Mapping[str, Magnet], noisier: float
) -> dict[str, Background]:
    """Magnet -> its background, for all magnets when they share one, else for those that have their own."""
    single = {
        name: solve_law(p, off[name].columns, noisier)
        for name, p in plan.alone.items()
        if p is not None and name in off
    }
    if plan.together is not None:
        columns = np.concatenate([r.columns for r in off.values()])
        common = solve_law(plan.together, columns, noisier)
        if len(single) < 2 or not _contradict(common, list(single.values())):
            one = _background(common, plan.mode, f"mode {plan.mode}", list(off.values()), shared=True)
            return dict.fromkeys(magnets, one)
    return {
        name: _background(law, plan.mode, f"mode {plan.mode}, {name}", [off[name]], shared=False)
        for name, law in single.items()
    }


def _background(law: Law, mode: int, scope: str, readings: Sequence[Readings], *, shared: bool) -> Background:
    w = float(np.mean([r.w for r in readings]))
    return Background(law, mode, scope, shared, w, float(np.mean([r.shift for r in readings])))


def _contradict(shared: Law, single: Sequence[Law]) -> bool:
    """Whether the common law misses the scans by more than their own ones do, beyond chance at _LEVEL.

    The separate fits tell the noise: their median, so that one bad set of scans cannot hide among the rest.
    """
    dof = sum(law.dof for law in single)
    noise = float(np.median([law.square / max(law.dof, 1) for law in single]))
    if dof < 10 or noise <= 0.0:
        return False
    return shared.square / shared.dof / noise > max(_MUCH, f_quantile(1.0 - _LEVEL, shared.dof, dof))


@dataclass(frozen=True, eq=False, slots=True)
class Level:
    """Readings at one of two currents: which (n,), the least squares of their law, and its part in the background."""

    here: NDArray[np.bool_]
    plan: Plan
    part: float


def plan_levels(readings: Readings, magnet: Magnet) -> tuple[Level, Level] | None:
    """The lowest and the highest current of a magnet's readings; None when they are one, or cannot be fitted."""
    current = readings.passes.current
    first, second = float(current.min()), float(current.max())
    if second - first < 0.02 * max(abs(first), abs(second)):
        return None
    frame = span_of(readings.passes.zeta)
    parts = second / (second - first), -first / (second - first)

    def level(at: float, part: float) -> Level:
        here = current == at
        zeta, scan = readings.passes.zeta[here], readings.passes.scan[here]
        return Level(here, plan_law(zeta, readings.sigma[here], magnet.order - 1, frame=frame, scan=scan), part)

    try:
        return level(first, parts[0]), level(second, parts[1])
    except Undetermined:
        return None


def from_currents(readings: Readings, magnet: Magnet, mode: int, noisier: float) -> Background | None:
    """Background of a magnet that was never off, from two of its currents: the polynomial at current zero.

    b = (I_2 a_1 - I_1 a_2) / (I_2 - I_1)

    The two currents that lie furthest apart are used; None when there is only one, or they cannot be fitted.
    """
    levels = plan_levels(readings, magnet)
    if levels is None:
        return None
    laws = [solve_law(level.plan, readings.columns[level.here], noisier) for level in levels]
    one, two = (level.part for level in levels)
    law = replace(
        laws[0],
        solved=one * laws[0].solved + two * laws[1].solved,
        cov=one**2 * laws[0].cov + two**2 * laws[1].cov,
    )
    return _background(law, mode, f"mode {mode}, {magnet.name} at two currents", [readings], shared=False)
