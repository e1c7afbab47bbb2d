"""What changed since the reference: comparisons, axes carried by the targets, and bolt plans."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from monochord.campaign.found.axes import Axis
from monochord.campaign.found.comparison import Comparison
from monochord.campaign.found.plan import BoltPlan
from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import Temperature, WireFinding
from monochord.campaign.given.campaign import Campaign, LineRule
from monochord.campaign.given.occasion import Occasion
from monochord.girder.plan import plan_bolts
from monochord.girder.temperature import temperature_of
from monochord.girder.unfold_rows import Told
from monochord.ground.estimate import Estimate, Label, stack
from monochord.ground.faults import MonochordError
from monochord.job.faults import Notes, as_faults
from monochord.job.scales import stretch_between
from monochord.job.shifts import with_shifts
from monochord.job.widen import widened_moves
from monochord.survey.compare import compare
from monochord.verdict.line import common_line, known, weights_of


@dataclass(frozen=True, eq=False, slots=True)
class Found:
    """What the occasions gave by themselves: targets and axes by occasion."""

    points: Mapping[str, PointSet]
    wires: Mapping[str, WireFinding | None]

    def axes(self, name: str) -> tuple[Axis, ...] | None:
        """The axes of an occasion in the girder frame, None where there are none."""
        wire = self.wires.get(name)
        placed = tuple(a for a in known(wire.axes) if a.frame == "girder") if wire else ()
        return placed or None


def pairs(campaign: Campaign, found: Found) -> Iterator[tuple[Occasion, Occasion]]:
    """Pairs of surveyed occasions that are compared: the reference with every later one, then each with the next."""
    surveyed = [o for o in campaign.occasions if o.name in found.points]
    names = [o.name for o in surveyed]
    start = names.index(campaign.reference) if campaign.reference in names else None
    told = set()
    if start is not None:
        for later in surveyed[start + 1 :]:
            told.add((surveyed[start].name, later.name))
            yield surveyed[start], later
    for one, following in pairwise(surveyed):
        if (one.name, following.name) not in told:
            yield one, following


def comparisons(campaign: Campaign, found: Found, notes: Notes) -> tuple[Comparison, ...]:
    """Every pair compared; a pair that cannot be leaves a note."""
    made = []
    for one, other in pairs(campaign, found):
        try:
            change = widened_moves(_compared(campaign, found, one, other), campaign.budget_scale)
            made.append(with_shifts(campaign, change))
        except MonochordError as error:
            notes.extend(as_faults(error, f"{one.name} to {other.name}", "the comparison"))
    return tuple(made)


def _compared(campaign: Campaign, found: Found, one: Occasion, other: Occasion) -> Comparison:
    before, after = _temperature(one), _temperature(other)
    return compare(
        one.name,
        other.name,
        found.points[one.name],
        found.points[other.name],
        found.axes(one.name),
        found.axes(other.name),
        campaign.girder,
        stretch=stretch_between(campaign, before, after),
        bow=_bow(one, other, before, after),
        warmth=(before, after),
        same_stringing=bool(one.stringing) and one.stringing == other.stringing,
    )


def _temperature(occasion: Occasion) -> Temperature:
    return temperature_of(occasion.temperatures, occasion.temperature)


def _bow(one: Occasion, other: Occasion, before: Temperature, after: Temperature) -> tuple[float, float] | None:
    """Change of top minus bottom [K] and its standard uncertainty from the sensors, None where it was not read on both."""
    if before.top_minus_bottom is None or after.top_minus_bottom is None:
        return None
    # half of the sensors sit on either side, so a difference of two means of n/2 has variance 4 u^2 / n
    variance = sum(4.0 * max(r.u for r in o.temperatures) ** 2 / len(o.temperatures) for o in (one, other))
    return after.top_minus_bottom - before.top_minus_bottom, float(np.sqrt(variance))


def carried_axes(axes: Sequence[Axis], change: Comparison) -> tuple[Axis, ...]:
    """Axes of the start of a comparison, carried to its end by shape and own moves; slopes and roll are not carried."""
    carried = []
    for axis in axes:
        names = [f"{axis.magnet}.x", f"{axis.magnet}.y"]
        if not set(names) <= set(change.axis_changes.names):
            continue
        both = stack([axis.estimate.pick(names), change.axis_changes.pick(names)])
        jacobian = np.zeros((4, 4))
        jacobian[:2] = np.hstack([np.eye(2), np.eye(2)])
        labels = [Label(n, "m", "girder") for n in names]
        labels += [Label(f"{axis.magnet}.slope_{p}", "rad", "girder") for p in "xy"]
        value = jacobian @ both.value
        value[2:] = np.nan
        unknown = dict.fromkeys(("slope_x", "slope_y", "roll"), "axes carried by targets carry no angles")
        estimate = both.through(jacobian, labels, value=value)
        carried.append(Axis(axis.magnet, "girder", axis.z, estimate, None, None, None, None, (), (), unknown))
    return tuple(carried)


def plans(campaign: Campaign, found: Found, changes: Sequence[Comparison], notes: Notes) -> tuple[BoltPlan, ...]:
    """A bolt plan for every occasion after the reference that was surveyed."""
    made = []
    for change in changes:
        if change.start != campaign.reference or campaign.girder.beam is None or not campaign.girder.bolts:
            continue
        try:
            made.append(_plan(campaign, found, change))
        except MonochordError as error:
            notes.extend(as_faults(error, change.end, "a bolt plan"))
    return tuple(made)


def _plan(campaign: Campaign, found: Found, change: Comparison) -> BoltPlan:
    by_name = {o.name: o for o in campaign.occasions}
    one, other = by_name[change.start], by_name[change.end]
    before, after = _temperature(one), _temperature(other)
    magnets = campaign.girder.magnets
    axes, behind = _axes_now(found, change)
    points = found.points[change.start], found.points[change.end]
    return plan_bolts(
        campaign.girder,
        change.end,
        change.start,
        other.feet,
        displacement(*points),
        offsets_now=common_line(axes, _refitted(campaign), magnets).offsets,
        top_minus_bottom=_difference(before.top_minus_bottom, after.top_minus_bottom),
        temperature_change=_difference(before.mean, after.mean),
        own_moved=[m.magnet for m in change.own_moves if m.found],
        feet_reference=one.feet,
        weights={m.name: float(w) for m, w in zip(magnets, weights_of(campaign.line_rule, magnets), strict=True)},
        told=Told(points, (before, after), (tuple(known(axes)), behind)),
    )


def _difference(before: float | None, after: float | None) -> float | None:
    return None if before is None or after is None else after - before


def displacement(a: PointSet, b: PointSet) -> Estimate:
    """Displacement b - a of the targets that both occasions have and the girder carries, "<target>.x/.y/.z" [m]."""
    names = [n for n in a.names if n in b.names and a.carriers[n] != "wall"]
    components = [f"{n}.{c}" for n in names for c in "xyz"]
    return b.estimate.pick(components) - a.estimate.pick(components)


def _axes_now(found: Found, change: Comparison) -> tuple[Sequence[Axis], str]:
    """Axes at the end of a comparison, and what stands behind their names: its own wire's, else carried by the targets."""
    axes = found.axes(change.end)
    return (axes, "") if axes is not None else (carried_axes(found.axes(change.start) or (), change), "carried")


def _refitted(campaign: Campaign) -> LineRule:
    return LineRule(weights=campaign.line_rule.weights, weight_of=campaign.line_rule.weight_of)
