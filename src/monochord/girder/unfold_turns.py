"""Why these turns: the numbers that decided, and the decision made again from them; and what the turns are expected to do."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property, partial

import numpy as np

from monochord.campaign.found.plan import BoltPlan
from monochord.girder import evidence
from monochord.girder.aim import magnet_rows
from monochord.girder.contact import Contact, settle
from monochord.girder.decision import Array, Decision, curable_share, decide, finest_of, turns_of
from monochord.girder.expect import rms_of
from monochord.girder.unfold_causes import steps_name
from monochord.girder.unfold_rows import (
    NOTHING,
    Planned,
    displacement_name,
    mass_lines,
    masses_of,
    relative_load,
    sag_per_mass,
    weighed,
)
from monochord.ground.estimate import Estimate
from monochord.ground.trace import Line, Place, Sum
from monochord.ground.trace_linear import Linear, Source, Teller, part_of, relative, whole


def turn_tellers(plan: BoltPlan, planned: Planned) -> dict[str, Teller]:
    """Tellers of the turns and of all that follows from them."""
    after = _After(planned)
    table: dict[str, Teller] = {}
    for i, bolt in enumerate(planned.task.girder.bolts):
        table[relative("turns", bolt.name)] = whole(partial(_turns, plan, planned, i))
        table[steps_name(bolt.name)] = whole(partial(_steps, planned, i))
        table[height_name(bolt.name)] = whole(partial(_height, planned, i))
        table[relative("loads_after", bolt.name)] = whole(partial(_load_after, plan, after, i))
    for k, label in enumerate(plan.shape_after.names):
        table[relative("shape_after", *label.rsplit(".", 1))] = whole(partial(_shape_after, plan, after, k))
    for k, label in enumerate(plan.offsets_after.names):
        if np.isfinite(plan.offsets_after.value[k]):
            table[relative("offsets_after", *label.rsplit(".", 1))] = whole(partial(_offset_after, plan, after, k))
    table["left_before"] = whole(partial(_left, "left_before", plan.left_before, plan.shape_before, "shape_before"))
    table["left_after"] = whole(partial(_left, "left_after", plan.left_after, plan.shape_after, "shape_after"))
    table["left_after_95"] = whole(partial(_left, "left_after_95", plan.left_after_95, plan.shape_after, "shape_after"))
    if plan.curable_share is not None:
        table["curable_share"] = whole(partial(_curable, plan, planned))
    for name in planned.now.own:
        for k in range(2):
            table[own_name(name, k)] = partial(_own, planned, name, k)
    return table


def height_name(bolt: str) -> str:
    """Name of a bolt's height today."""
    return part_of("loads_after", "height", bolt)


def own_name(carrier: str, k: int) -> str:
    """Name of the own shift of a thing on the girder."""
    return part_of("curable_share", "own shift", carrier, "xy"[k])


def _deciding(planned: Planned) -> tuple[tuple[Line, ...], Callable[[Sequence[float]], Decision]]:
    """The numbers that decide, and the decision made again from them: balanced forces, bow, and loads today."""
    d, now, task = planned.of.d, planned.now, planned.task
    words = [f"change of balanced force {k + 1} since the reference" for k in range(d)]
    words += [f"balanced force {k + 1} today" for k in range(d)] + ["change of top minus bottom"]
    names = [part_of("shape_before", "balanced force", k + 1) for k in range(d)]
    names += [part_of("loads_before", "balanced force", k + 1) for k in range(d)] + [part_of("shape_before", "bow")]
    lines = [Line(w, float(v), of) for w, v, of in zip(words, now.amounts.value, names, strict=True)]
    lines += [
        Line(f"load of {bolt} today", float(load), relative_load(bolt))
        for bolt, load in zip(task.on.names, now.loads, strict=True)
    ]

    def again(amounts: Sequence[float]) -> Decision:
        value, loads = np.array(amounts[: 2 * d + 1]), np.array(amounts[2 * d + 1 : 2 * d + 1 + len(now.loads)])
        start = now.fitted.level + now.unknowns.shapes @ value[d : 2 * d] + now.unknowns.bow * value[2 * d]
        heights = task.on.push @ start + loads / task.on.stiffness
        estimate = replace(now.amounts, value=value)
        return decide(task, replace(now, amounts=estimate, loads=loads, start=start, heights=heights))

    return tuple(lines), again


def _turns(plan: BoltPlan, planned: Planned, i: int) -> Sum:
    bolt = planned.task.girder.bolts[i].name
    lines, again = _deciding(planned)
    how = (
        "the best whole steps of all bolts together, from the shape and the loads today: departures at the magnets as small "
        "as they get, every foot bearing, within the bolts' travel; 0 where turning is not worth it"
    )

    def turn(amounts: Sequence[float]) -> float:
        return turns_of(planned.task.girder, again(amounts))[bolt]

    return Sum(relative("turns", bolt), "turn", plan.turns[bolt], lines, how, turn)


def _steps(planned: Planned, i: int) -> Sum:
    bolt, decision = planned.task.girder.bolts[i], planned.decision
    turns = turns_of(planned.task.girder, decision)[bolt.name]
    finest = float(finest_of(planned.task.girder)[i])
    lines = (
        Line("turns", turns, relative("turns", bolt.name)),
        Line("smallest step, in turns", finest, places=(Place("", 0, f"girder.bolts.{bolt.name}.smallest_step"),)),
    )
    how = "turns in smallest steps"
    return Sum(steps_name(bolt.name), "1", float(decision.steps[i]), lines, how, lambda v: float(np.rint(v[0] / v[1])))


def _height(planned: Planned, i: int) -> Sum:
    """Height of a bolt today, up to a rigid motion: where the girder is there, and how far the bolt is squeezed."""
    on, of, now = planned.task.on, planned.of, planned.now
    bolt, d = on.names[i], of.d
    lines = mass_lines(planned, on.push[i] @ sag_per_mass(planned))
    for k in range(d):
        factor, given = float(on.push[i] @ of.shapes[:, k]), float(now.amounts.value[d + k])
        name = part_of("loads_before", "balanced force", k + 1)
        lines.append(Line(f"balanced force {k + 1} today", factor * given, name, factor, given, "N"))
    factor, given = float(on.push[i] @ of.bow), float(now.amounts.value[2 * d])
    lines.append(Line("bow", factor * given, part_of("shape_before", "bow"), factor, given, "K"))
    factor, given = 1.0 / float(on.stiffness[i]), float(now.loads[i])
    lines.append(Line("squeeze of the bolt by its load", factor * given, relative_load(bolt), factor, given, "N"))
    how = "where the girder is above the bolt today, and how far its load squeezes the bolt"
    return Sum(height_name(bolt), "m", float(now.heights[i]), tuple(lines), how)


def _own(planned: Planned, carrier: str, k: int, part: str) -> Sum:
    """Own shift of a thing on the girder: what its targets did beyond what shape and rigid motion of the girder do to them."""
    fitted, task = planned.now.fitted, planned.task
    rest = [item.name for item in task.girder.items if item.name not in fitted.moved]
    rows, seen = evidence.target_rows(
        task.girder, task.on.free, planned.of, fitted.shift, own_moved=["girder", *rest], at="own"
    )
    item = next(i for i in task.girder.items if i.name == carrier)
    on = [i for i, s in enumerate(rows.subject) if seen.carriers[seen.names.index(s)] == carrier]
    arms = np.array([seen.places[seen.names.index(rows.subject[i])] for i in on]) - np.array(item.point)
    first = 2 * planned.of.d + 2
    axes = [int(rows.design[i, first : first + 3].argmax()) for i in on]
    body = np.array([evidence.carry(arm)[axis] for arm, axis in zip(arms, axes, strict=True)])
    own = np.linalg.pinv(body, rcond=1e-9)[k]
    sources, factors = [], []
    for i, axis, factor in zip(on, axes, own.tolist(), strict=True):
        name, along = rows.subject[i], "xyz"[axis]
        value = float(fitted.shift.value[fitted.shift.index(f"{name}.{along}")])
        sources.append(Source(f"{name} {along}", value, displacement_name(name, along), "m", f"targets on {carrier}"))
        factors.append(factor)
    # what the girder does there follows all rows of its own fit
    girder = -(own @ rows.design[on]) @ planned.gain * planned.units * 1e-6
    how = "mean motion of its targets as a body, less what the girder's shape and rigid motion do to them"
    grouped = [Source(s.words, s.value, s.of, s.unit, f"the girder: {s.group}", s.places) for s in planned.sources]
    value = planned.now.own[carrier][k]
    made = Linear(
        own_name(carrier, k), "m", value, [*factors, *girder.tolist()], [*sources, *grouped], how, planned.quiet(girder)
    )
    return made.tell(part)


def _curable(plan: BoltPlan, planned: Planned) -> Sum:
    lines, again = _deciding(planned)
    own = planned.now.own
    names = [(name, k) for name in own for k in range(2) if name in planned.decision.aim.magnets]
    shifts = [Line(f"own shift of {name}, {'xy'[k]}", own[name][k], own_name(name, k)) for name, k in names]

    def share(amounts: Sequence[float]) -> float:
        told = dict(zip(names, amounts[len(lines) :], strict=True))
        moved = {name: (told[name, 0], told[name, 1]) for name, k in names if k == 0}
        found = curable_share(again(amounts[: len(lines)]), moved)
        return float("nan") if found is None else found

    how = "mean square that the best heights take away, over that, what they leave, and magnets' own moves together"
    return Sum("curable_share", "1", plan.curable_share or 0.0, (*lines, *shifts), how, share)


def _left(name: str, value: float, shape: Estimate, of: str) -> Sum:
    """Root mean square departure, expected or stayed below in 95 of 100 cases, from departures and uncertainties."""
    cov = shape.cov
    u = np.sqrt(np.maximum(np.diag(cov), 0.0))
    safe = np.where(u > 0.0, u, 1.0)
    together = cov / np.outer(safe, safe)
    n = len(shape.value)
    labels = [label.rsplit(".", 1) for label in shape.names]
    lines = [
        Line(f"departure of {m}, {p}", float(v), relative(of, m, p))
        for (m, p), v in zip(labels, shape.value, strict=True)
    ]
    lines += [
        Line(f"its uncertainty at {m}, {p}", float(s), relative(of, m, f"u_{p}"))
        for (m, p), s in zip(labels, u, strict=True)
    ]

    def again(amounts: Sequence[float]) -> float:
        departures, spread = np.array(amounts[:n]), np.array(amounts[n:])
        causes = {"all": together * np.outer(spread, spread)}
        told = Estimate.of(departures, shape.names, unit="m", frame="girder", causes=causes)
        return rms_of(told)[1 if name.endswith("95") else 0]

    below = ", which it stays below in 95 of 100 cases" if name.endswith("95") else ""
    how = f"root mean square of departures and their uncertainties, correlated as their causes say{below}"
    return Sum(name, "m", value, tuple(lines), how, again)


class _After:
    """The girder before and after the turns, settled on its bolts when first asked."""

    def __init__(self, planned: Planned) -> None:
        self.planned = planned

    @cached_property
    def forces(self) -> Array:
        """Weight and bow today (6n,)."""
        on, now = self.planned.task.on, self.planned.now
        return np.asarray(on.free.weight + on.free.bow * now.amounts.value[-1], float)

    @cached_property
    def touched(self) -> Contact:
        """On today's heights, every foot touching."""
        return settle(self.planned.task.on, self.planned.now.heights, self.forces)

    @cached_property
    def after(self) -> Contact:
        """After the turns."""
        return settle(self.planned.task.on, self.planned.now.heights + self.planned.decision.turned, self.forces)

    @cached_property
    def moved(self) -> Array:
        """Nodes after the turns per height of each bolt (6n, m)."""
        return self._pushed(self.after)

    @cached_property
    def lifted(self) -> Array:
        """How otherwise the nodes follow heights after the turns than before (6n, m): zero when the same feet carry."""
        return self.moved - self._pushed(self.touched)

    def _pushed(self, contact: Contact) -> Array:
        on = self.planned.task.on
        return on.solve(contact.closed, on.push.T * np.where(contact.closed, on.stiffness, 0.0))

    def turned(self, row: Array) -> list[Line]:
        """What the turns do to a number that follows the nodes by ``row`` (6n,)."""
        girder, turns = self.planned.task.girder, turns_of(self.planned.task.girder, self.planned.decision)
        lines = []
        for j, bolt in enumerate(girder.bolts):
            given, height = turns[bolt.name], float(self.planned.decision.turned[j])
            if given:
                factor = float(row @ self.moved[:, j]) * (height / given)
                words = f"turn of {bolt.name}"
                lines.append(Line(words, factor * given, relative("turns", bolt.name), factor, given, "turn"))
        return lines

    def lifting(self, row: Array) -> list[Line]:
        """What feet that lift off or come to bear add to a number that follows the nodes by ``row`` (6n,)."""
        planned, on = self.planned, self.planned.task.on
        if (self.touched.closed == self.after.closed).all():
            return []
        lines = []
        for j, bolt in enumerate(on.names):
            factor, given = float(row @ self.lifted[:, j]), float(planned.now.heights[j])
            lines.append(
                Line(f"height of {bolt}, as other feet carry", factor * given, height_name(bolt), factor, given, "m")
            )
        both = [
            on.solve(c.closed, np.column_stack([masses_of(planned)[1], on.free.bow]))
            for c in (self.after, self.touched)
        ]
        factors = row @ (both[0] - both[1])
        given = float(planned.now.amounts.value[-1])
        bow = Line(
            "bow, as other feet carry",
            float(factors[-1]) * given,
            part_of("shape_before", "bow"),
            float(factors[-1]),
            given,
            "K",
        )
        return [*lines, *mass_lines(planned, factors[:-1]), bow]


def _load_after(plan: BoltPlan, after: _After, i: int) -> Sum:
    """Load of a foot after the turns: heights, weights and bow on the feet that carry then; nothing where it lifts off."""
    planned, on = after.planned, after.planned.task.on
    bolt = on.names[i]
    name, value = relative("loads_after", bolt), plan.loads_after[bolt]
    turns = turns_of(planned.task.girder, planned.decision)
    heights = [
        Line(f"height of {b} today", float(h), height_name(b))
        for b, h in zip(on.names, planned.now.heights, strict=True)
    ]
    small = NOTHING * float(np.abs(planned.of.level).sum())
    if not after.after.closed[i] or abs(value) < small:
        return _settled(after, name, value, heights, i)
    row = -on.stiffness[i] * on.push[i]
    lines: list[Line] = []
    for j, line in enumerate(heights):
        factor = float(row @ after.moved[:, j]) + (float(on.stiffness[i]) if j == i else 0.0)
        lines.append(Line(line.words, factor * line.amount, line.of, factor, line.amount, "m"))
        b, height = planned.task.girder.bolts[j].name, float(planned.decision.turned[j])
        if turns[b]:
            per_turn = factor * (height / turns[b])
            lines.append(Line(f"turn of {b}", per_turn * turns[b], relative("turns", b), per_turn, turns[b], "turn"))
    columns = on.solve(after.after.closed, np.column_stack([masses_of(planned)[1], on.free.bow]))
    factors, given = row @ columns, float(planned.now.amounts.value[-1])
    lines += mass_lines(planned, factors[:-1])
    factor = float(factors[-1])
    lines.append(Line("bow", factor * given, part_of("shape_before", "bow"), factor, given, "K"))
    how = "heights today, turns, weights and bow on the elastic girder, standing on the feet that carry after the turns"
    return Sum(name, "N", value, tuple(lines), how)


def _settled(after: _After, name: str, value: float, heights: list[Line], i: int) -> Sum:
    """A foot that carries nothing, or next to nothing, after the turns: the girder settled again."""
    planned, on = after.planned, after.planned.task.on
    turns = turns_of(planned.task.girder, planned.decision)
    turned = [Line(f"turn of {b}", t, relative("turns", b)) for b, t in turns.items()]
    masses = masses_of(planned)[0]
    weights = [Line(words, mass, places=(Place("", 0, key),)) for words, key, mass in masses]
    bow = Line("change of top minus bottom", float(planned.now.amounts.value[-1]), part_of("shape_before", "bow"))
    step, finest = planned.decision.aim.step, finest_of(planned.task.girder)

    def again(amounts: Sequence[float]) -> float:
        every, count = np.array(amounts), len(on.names)
        steps = np.rint(every[count : 2 * count] / finest)
        now = weighed(planned, amounts[2 * count : -1])
        forces = now.free.weight + now.free.bow * every[-1]
        return float(settle(now, every[:count] + steps * step * 1e-6, forces).loads[i])

    how = "the girder settled on its bolts after the turns: nothing, or next to nothing, comes to this one"
    return Sum(name, "N", value, (*heights, *turned, *weights, bow), how, again)


def _shape_after(plan: BoltPlan, after: _After, k: int) -> Sum:
    """Departure after the turns: that of today, what is kept of a bow that will pass, and what the turns do."""
    planned, on = after.planned, after.planned.task.on
    label = plan.shape_after.names[k].rsplit(".", 1)
    name, value = relative("shape_after", *label), float(plan.shape_after.value[k])
    lines = [Line("departure today", float(plan.shape_before.value[k]), relative("shape_before", *label))]
    if planned.decision.do_nothing or not planned.decision.turned.any():
        return Sum(name, "m", value, tuple(lines), "nothing is turned, so it stays")
    row = (planned.decision.aim.about @ magnet_rows(planned.task.girder, on))[k]
    kept = float(row @ (planned.of.bow - on.solve(np.ones(len(on.names), bool), on.free.bow)))
    given = float(planned.now.amounts.value[-1])
    lines.append(
        Line("what the feet keep of a bow that passes", kept * given, part_of("shape_before", "bow"), kept, given, "K")
    )
    lines += [*after.turned(row), *after.lifting(row)]
    return Sum(name, "m", value, tuple(lines), "departure today and what the turns do to it on the elastic girder")


def _offset_after(plan: BoltPlan, after: _After, k: int) -> Sum:
    planned = after.planned
    magnet, plane = plan.offsets_after.names[k].rsplit(".", 1)
    name, value = relative("offsets_after", magnet, plane), float(plan.offsets_after.value[k])
    lines = [Line("offset today", float(plan.offsets_before.value[k]), relative("offsets_before", magnet, plane))]
    if magnet in planned.decision.aim.magnets and planned.decision.turned.any():
        at = 2 * planned.decision.aim.magnets.index(magnet) + "xy".index(plane)
        row = (planned.decision.aim.about @ magnet_rows(planned.task.girder, planned.task.on))[at]
        lines += [*after.turned(row), *after.lifting(row)]
    return Sum(name, "m", value, tuple(lines), "offset today and what the turns do to it on the elastic girder")
