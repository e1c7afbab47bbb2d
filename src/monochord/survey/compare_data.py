"""What two occasions have in common: targets that were seen on both, and axes that were found on both.

The change of every coordinate is one row. Its covariance is kept by causes and comes from the joint covariance
of both occasions, so that what they share (calibrated vectors at the wire's ends) drops out by itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from monochord.campaign.found.axes import Axis
from monochord.campaign.found.points import PointSet
from monochord.ground.estimate import Estimate, Factor, kind_of, stack
from monochord.ground.faults import Fault, Refused
from monochord.ground.frames import Rigid, fit_rigid
from monochord.survey.network import Array, Flags
from monochord.survey.start import THIN, extents

#: Components of an axis that are compared, and those that must be there.
AXIS_PARTS = ("x", "y", "slope_x", "slope_y")


@dataclass(frozen=True, eq=False, slots=True)
class Change:
    """Change from one occasion to another, rigid motion of the frame taken out as far as a fit can.

    names, carriers, places (n, 3)   common targets, what carries them, and where they were [m]
    value    (N,) change: x, y, z of every target, then x, y and, where known, slopes of every axis [m, rad]
    causes   cause -> Factor over the N rows;  ranges  the range scales among them, by cause
    axis_rows  (magnet, component) of the rows behind the targets
    rigid    the motion that was taken out, from the girder frame of the start to that of the end
    """

    names: tuple[str, ...]
    carriers: tuple[str, ...]
    places: Array
    value: Array
    causes: Mapping[str, Factor]
    ranges: Mapping[str, Factor]
    axis_rows: tuple[tuple[str, str], ...]
    rigid: Rigid

    @property
    def target_rows(self) -> int:
        """How many rows belong to targets."""
        return 3 * len(self.names)

    def only_targets(self) -> Change:
        """The same without the axes."""
        n = self.target_rows
        return replace(
            self,
            value=self.value[:n],
            causes={c: Factor(f.jacobian[:n], f.spread) for c, f in self.causes.items()},
            ranges={c: Factor(f.jacobian[:n], f.spread) for c, f in self.ranges.items()},
            axis_rows=(),
        )


def common_carried(a: PointSet, b: PointSet) -> list[str]:
    """Targets that were determined on both occasions and sit on the girder or on something it carries.

    Raises Refused when they are fewer than four or stand along one line.
    """
    later = set(b.names)
    names = [n for n in a.names if n in later and a.carriers[n] != "wall" and b.carriers[n] != "wall"]
    places = a.estimate.value.reshape(-1, 3)[[a.names.index(n) for n in names]]
    if len(names) < 4 or extents(places)[1] <= THIN:
        given = (
            f"{len(names)} common targets on the girder and its magnets{' along one line' if len(names) > 3 else ''}"
        )
        raise Refused([Fault(given, "at least four, not along one line", "sight the same targets on both occasions")])
    return names


def gather_change(
    a: PointSet,
    b: PointSet,
    axes_a: Sequence[Axis] | None,
    axes_b: Sequence[Axis] | None,
    *,
    same_stringing: bool = False,
) -> Change:
    """The change of everything that a (the start) and b (the end) have in common.

    Axes count when both occasions have them in the girder frame; same_stringing says that the wire was not strung anew.
    """
    names = common_carried(a, b)
    coordinates = [f"{n}.{c}" for n in names for c in "xyz"]
    first, second = _in_frame(a).pick(coordinates), _in_frame(b).pick(coordinates)
    places = first.value.reshape(-1, 3)
    motion = fit_rigid(places, second.value.reshape(-1, 3), frames=("girder", "girder"))
    moved = [second.value - motion.apply(places).reshape(-1)]
    starts, ends = [first], [second]
    rows: list[tuple[str, str]] = []
    for one, other in _common_axes(axes_a, axes_b):
        parts = [p for p in AXIS_PARTS if _known(one, p) and _known(other, p)]
        rows += [(one.magnet, p) for p in parts]
        labels = [f"{one.magnet}.{p}" for p in parts]
        starts.append(one.estimate.pick(labels))
        ends.append(_later(other.estimate.pick(labels), one, other, same_stringing))
        moved.append(ends[-1].value - _carried(one, motion)[[AXIS_PARTS.index(p) for p in parts]])
    causes = _causes_of_change(starts, ends)
    ranges = {c: f for c, f in causes.items() if kind_of(c) == "range scale"}
    for cause in ranges:
        del causes[cause]
    return Change(
        tuple(names),
        tuple(a.carriers[n] for n in names),
        places,
        np.concatenate(moved),
        causes,
        ranges,
        tuple(rows),
        motion,
    )


def _causes_of_change(starts: Sequence[Estimate], ends: Sequence[Estimate]) -> dict[str, Factor]:
    """Causes of the ends less the starts, row below row; a cause named by several is one and the same.

    Raises Refused when one cause has two spreads, as :func:`monochord.ground.estimate.stack` does.
    """
    size = sum(len(e.value) for e in ends)
    factors: dict[str, Factor] = {}
    for sign, estimates in ((1.0, ends), (-1.0, starts)):
        row = 0
        for estimate in estimates:
            rows = slice(row, row + len(estimate.value))
            row = rows.stop
            for cause, factor in estimate.factors.items():
                if cause not in factors:
                    factors[cause] = Factor(np.zeros((size, len(factor.spread))), factor.spread)
                elif not _same(factors[cause].spread, factor.spread):
                    stack([*ends, *starts])
                factors[cause].jacobian[rows] += sign * factor.jacobian
    return {cause: factor for cause, factor in factors.items() if factor.jacobian.any()}


def _same(one: Array, other: Array) -> bool:
    return one is other or (one.shape == other.shape and bool(np.allclose(one, other, rtol=1e-6, atol=0.0)))


def _in_frame(points: PointSet) -> Estimate:
    if points.frame != "girder":
        fault = Fault(
            f"targets in frame {points.frame!r}", "the girder frame", "lay the survey onto the nominal targets"
        )
        raise Refused([fault])
    return points.estimate


def _known(axis: Axis, part: str) -> bool:
    name = f"{axis.magnet}.{part}"
    return name in axis.estimate.names and bool(np.isfinite(axis.estimate.value[axis.estimate.index(name)]))


def _common_axes(axes_a: Sequence[Axis] | None, axes_b: Sequence[Axis] | None) -> list[tuple[Axis, Axis]]:
    later = {axis.magnet: axis for axis in axes_b or () if axis.frame == "girder"}
    pairs = [(axis, later[axis.magnet]) for axis in axes_a or () if axis.frame == "girder" and axis.magnet in later]
    return [(one, other) for one, other in pairs if all(_known(axis, c) for axis in (one, other) for c in "xy")]


def _later(estimate: Estimate, one: Axis, other: Axis, same_stringing: bool) -> Estimate:
    """The later axis, its stringing named as on the earlier occasion when the wire was not strung anew."""
    if not same_stringing:
        return estimate
    old = [c for c in one.estimate.factors if kind_of(c) == "stringing"]
    new = [c for c in other.estimate.factors if kind_of(c) == "stringing"]
    names = dict(zip(new, old, strict=False))
    return replace(estimate, factors={names.get(c, c): f for c, f in estimate.factors.items()})


def _carried(axis: Axis, motion: Rigid) -> Array:
    """Where a rigid motion takes an axis: x, y, slope_x, slope_y at the same z."""
    value = {p: axis.estimate.value[axis.estimate.index(f"{axis.magnet}.{p}")] for p in AXIS_PARTS if _known(axis, p)}
    slope = np.array([value.get("slope_x", 0.0), value.get("slope_y", 0.0), 1.0])
    place = motion.apply(np.array([value["x"], value["y"], axis.z]))
    turned = motion.turn(slope)
    slope_now = turned[:2] / turned[2]
    return np.concatenate([place[:2] + slope_now * (axis.z - place[2]), slope_now])


def on(carriers: Sequence[str], carrier: str) -> Flags:
    """Which targets a carrier carries (n,)."""
    return np.array([c == carrier for c in carriers], np.bool_)
