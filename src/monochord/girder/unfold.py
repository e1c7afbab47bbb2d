"""Why every number of a bolt plan is what it is, asked for by its name in the result; nothing is computed before that.

Names as in the result document below one plan. Behind them stand, among others: ``shape_before#displacement/<target>/<x>``,
``loads_before#level/<bolt>`` the load on level bolts, ``loads_after#height/<bolt>``, and ``cause/<id>/<i>/<j>``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache, partial

import numpy as np

from monochord.campaign.found.plan import BoltPlan
from monochord.girder.aim import line_remover, magnet_rows
from monochord.girder.decision import Array
from monochord.girder.evidence import LOOSE_KN
from monochord.girder.fit import solve
from monochord.girder.unfold_causes import cause_entry, entry_of
from monochord.girder.unfold_rows import Planned, level_name, relative_load, row_tellers, sources_of, units_of
from monochord.girder.unfold_turns import turn_tellers
from monochord.ground.trace import Line, Place, Sum, Unfold, pointer
from monochord.ground.trace_linear import Linear, Teller, part_of, relative, told_by, whole
from monochord.ground.trace_spread import Share, Spread


def unfolding(plan: BoltPlan, planned: Planned) -> Unfold:
    """Tells every number of a plan by its name; the table of what can be asked is made when something first is."""

    @cache
    def table() -> Mapping[str, Teller]:
        return {
            **row_tellers(planned),
            **_amounts(planned),
            **_loads(plan, planned),
            **_shape(plan, planned),
            **_offsets(plan, planned),
            **turn_tellers(plan, planned),
        }

    return lambda name: cause_entry(planned, name) or told_by(table(), name)


def amount_name(planned: Planned, k: int) -> str:
    """Name of one number of where the girder stands: balanced forces of the shape, of the loads, or the bow."""
    d = planned.of.d
    if k < d:
        return part_of("shape_before", "balanced force", k + 1)
    return part_of("loads_before", "balanced force", k + 1 - d) if k < 2 * d else part_of("shape_before", "bow")


def _amounts(planned: Planned) -> dict[str, Teller]:
    """Balanced forces and bow, as the fit found them."""
    amounts, d = planned.now.amounts, planned.of.d
    how = "what every row says of it, by its weight in the fit"
    table: dict[str, Teller] = {}
    for k, label in enumerate(amounts.labels):
        row = np.zeros(planned.of.size)
        row[k] = 1e3 if k < 2 * d else 1.0
        name = amount_name(planned, k)
        table[name] = planned.linear(name, label.unit, float(amounts.value[k]), row, how=how).tell
    return table


def _load_rows(planned: Planned) -> Array:
    """How the loads today [N] follow the unknowns (m, p)."""
    of = planned.of
    rows = np.zeros((len(of.level), of.size))
    rows[:, of.d : 2 * of.d] = 1e3 * of.patterns
    return rows


def _loads(plan: BoltPlan, planned: Planned) -> dict[str, Teller]:
    """Loads today with their uncertainties; a foot that would have to pull carries nothing."""
    on, of, fitted = planned.task.on, planned.of, planned.now.fitted
    rows = _load_rows(planned)
    table: dict[str, Teller] = {}
    for i, bolt in enumerate(on.names):
        name = relative_load(bolt)
        if fitted.bound[i]:
            table[name] = whole(partial(_held, planned, i))
        else:
            level = (Line("on level bolts", float(of.level[i]), level_name(bolt)),)
            how = "the load on level bolts, and what every row says of the difference, by its weight in the fit"
            value = float(planned.now.loads[i])
            table[name] = planned.linear(name, "N", value, rows[i], how=how, more=level).tell
        of_u = relative("u_loads_before", bolt)
        shares = {c: f.jacobian for c, f in fitted.solution.rows.causes.items()}
        follow = rows[i] @ planned.gain
        parts = {
            c: Share(follow @ j, fitted.solution.rows.causes[c].spread, follow @ j)
            for c, j in shares.items()
            if (follow @ j).any()
        }
        table[of_u] = Spread(of_u, "N", plan.u_loads_before[bolt], parts, entry_of(planned), root=True).tell
    return table | _unheld(planned)


def _unheld(planned: Planned) -> dict[str, Teller]:
    """Loads of the fit in which no foot was held at nothing yet."""
    fitted, of = planned.now.fitted, planned.of
    if not fitted.bound.any():
        return {}

    @cache
    def factors() -> tuple[Array, Array]:
        solution = solve(fitted.rows)
        rows = _load_rows(planned)
        return rows @ solution.gain * units_of(fitted.rows), of.level + rows @ solution.value

    def tell(i: int, name: str, part: str) -> Sum:
        gain, value = factors()
        level = Line("on level bolts", float(of.level[i]), level_name(planned.task.on.names[i]))
        how = "the load by the fit in which feet may pull"
        sources = sources_of(planned, fitted.rows)
        more = (level, *planned.quiet(gain[i]))
        return Linear(name, "N", float(value[i]), gain[i].tolist(), sources, how, more).tell(part)

    names = [part_of("loads_before", "if feet could pull", bolt) for bolt in planned.task.on.names]
    return {name: partial(tell, i, name) for i, name in enumerate(names)}


def _held(planned: Planned, i: int) -> Sum:
    """A foot that would have to pull, by the loads of the fit in which feet may: those that pull most are held, one by one."""
    fitted, on = planned.now.fitted, planned.task.on
    solution = solve(fitted.rows)
    rows = _load_rows(planned)
    loads, cov = planned.of.level + rows @ solution.value, rows @ solution.cov @ rows.T
    lines = tuple(
        Line(f"load of {bolt} if feet could pull", float(load), part_of("loads_before", "if feet could pull", bolt))
        for bolt, load in zip(on.names, loads, strict=True)
    )

    def again(amounts: Sequence[float]) -> float:
        free = np.array(amounts)
        bound, now = np.zeros(len(free), bool), free
        while True:
            pulling = fitted.lifts & ~bound & (now < 0.0)
            if not pulling.any():
                return 0.0 if bound[i] else float(now[i])
            bound[np.where(pulling, now, np.inf).argmin()] = True
            held = np.flatnonzero(bound)
            inner = cov[np.ix_(held, held)] + (LOOSE_KN * 1e3) ** 2 * np.eye(len(held))
            now = free - cov[:, held] @ np.linalg.solve(inner, free[held])

    how = "a foot cannot pull: the one that would pull most is held at nothing and the rest told anew, until none pulls"
    return Sum(relative_load(on.names[i]), "N", float(planned.now.loads[i]), lines, how, again)


def _shape(plan: BoltPlan, planned: Planned) -> dict[str, Teller]:
    """Departures from the reference shape today, from what the rows say of the balanced forces."""
    task, d = planned.task, planned.of.d
    follow = planned.decision.aim.about @ magnet_rows(task.girder, task.on) @ planned.of.shapes
    rows = np.zeros((len(follow), planned.of.size))
    rows[:, :d] = 1e3 * follow
    how = "what every row says of the girder's change of shape at the magnet, a straight line taken off"
    table: dict[str, Teller] = {}
    for row, label, value in zip(rows, plan.shape_before.names, plan.shape_before.value.tolist(), strict=True):
        name = relative("shape_before", *label.rsplit(".", 1))
        table[name] = planned.linear(name, "m", value, row, how=how).tell
    return table


def _offsets(plan: BoltPlan, planned: Planned) -> dict[str, Teller]:
    """Offsets of the axes today about the line that is laid through them."""
    table: dict[str, Teller] = {}
    for label, value in zip(plan.offsets_before.names, plan.offsets_before.value.tolist(), strict=True):
        if np.isfinite(value):
            name = relative("offsets_before", *label.rsplit(".", 1))
            table[name] = whole(partial(_offset, planned, name, label, value))
    return table


def _offset(planned: Planned, name: str, label: str, value: float) -> Sum:
    magnet, plane = label.rsplit(".", 1)
    if planned.told.axes is None:
        line = Line("offset as handed in", value, places=(Place("", 0, "offsets_now"),))
        return Sum(name, "m", value, (line,), "handed in")
    axes, behind = planned.told.axes
    weights = np.array([max(planned.task.weights.get(a.magnet, 1.0), 0.0) for a in axes])
    left = line_remover(np.array([a.z for a in axes]), weights if weights.any() else np.ones(len(axes)))
    k = [a.magnet for a in axes].index(magnet)
    lines = []
    for axis, factor in zip(axes, left[k].tolist(), strict=True):
        centre = float(axis.estimate.value[axis.estimate.index(f"{axis.magnet}.{plane}")])
        of = pointer("occasions", planned.task.at, "axes", axis.magnet, plane) + (f"#{behind}" if behind else "")
        lines.append(Line(f"centre of {axis.magnet}, {plane}", factor * centre, of, factor, centre, "m"))
    how = "centre less the straight line through all centres, each by its weight"
    return Sum(name, "m", value, tuple(lines), how)
