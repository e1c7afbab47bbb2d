"""Why a coordinate changed by so much from one occasion to another: two places, and the motion that was taken out first.

y = b - (R a + t) of a target; of an axis the same at its own z, with its slope. R and t lay the targets of the start onto
those of the end with the least square sum: R comes from the sums of products of both about their means, t from the means.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from monochord.campaign.found.axes import Axis
from monochord.campaign.found.points import PointSet
from monochord.ground.trace import Line, Sum, pointer
from monochord.ground.trace_linear import Linear, Source, Teller, part_of, whole
from monochord.survey.compare_data import AXIS_PARTS, Change
from monochord.survey.network import Array

#: What each component is, in words.
ALONG = {"x": "to the left", "y": "up", "z": "along the beam", "slope_x": "slope to the left", "slope_y": "slope up"}


@dataclass(frozen=True, eq=False, slots=True)
class Pair:
    """Two occasions with what they have in common.

    before, after  common targets (n, 3) [m], girder frame of each;  axes  magnet -> its axis on both
    """

    start: str
    end: str
    before: Array
    after: Array
    axes: Mapping[str, tuple[Axis, Axis]]
    change: Change

    def target(self, occasion: str, name: str, axis: int) -> str:
        """Name of a target's coordinate in the result."""
        return pointer("occasions", occasion, "targets", name, "xyz", axis)

    def row(self, i: int) -> str:
        """Name of the change of row i."""
        n = self.change.target_rows
        if i < n:
            return part_of("rigid", "change", self.change.names[i // 3], "xyz"[i % 3])
        return part_of("rigid", "axis change", *self.change.axis_rows[i - n])


def pair_of(
    occasions: tuple[str, str],
    points: tuple[PointSet, PointSet],
    axes: Mapping[str, tuple[Axis, Axis]],
    change: Change,
) -> Pair:
    """Two occasions by name, with their targets and axes."""
    wanted = [f"{n}.{c}" for n in change.names for c in "xyz"]
    before, after = (p.estimate.pick(wanted).value.reshape(-1, 3) for p in points)
    return Pair(*occasions, before, after, axes, change)


def sources_of(pair: Pair) -> list[Source]:
    """All rows, targets first, as sources of sums, grouped by what carries them."""
    change = pair.change
    made = []
    for i in range(len(change.value)):
        if i < change.target_rows:
            name, c, carrier = change.names[i // 3], "xyz"[i % 3], change.carriers[i // 3]
            words, group, unit = f"{name} {c}, {ALONG[c]}", f"targets on {carrier}", "m"
        else:
            name, c = change.axis_rows[i - change.target_rows]
            words, group = f"axis of {name}, {c}, {ALONG[c]}", f"axis of {name}"
            unit = "m" if c in "xy" else "rad"
        made.append(Source(words, float(change.value[i]), pair.row(i), unit, group))
    return made


def row_tellers(pair: Pair) -> dict[str, Teller]:
    """Tellers of the change of every row, and of the motion that was taken out first."""
    table: dict[str, Teller] = {}
    for i in range(pair.change.target_rows):
        table[pair.row(i)] = whole(partial(_target_change, pair, i))
    for k in range(len(pair.change.axis_rows)):
        i = pair.change.target_rows + k
        table[pair.row(i)] = whole(partial(_axis_change, pair, i))
    for i in range(3):
        table[_shift(i)] = whole(partial(_first_shift, pair, i))
        for late in (False, True):
            table[mean_name(i, late=late)] = partial(_mean, pair, i, late)
        for j in range(3):
            table[_rotation(i, j)] = whole(partial(_first_rotation, pair, i, j))
            table[_products(i, j)] = partial(_sum_of_products, pair, i, j)
            for n, name in enumerate(pair.change.names):
                table[_product(name, i, j)] = whole(partial(_one_product, pair, n, i, j))
    return table


def motion_lines(pair: Pair) -> tuple[Line, ...]:
    """The motion that was taken out first: nine numbers of its rotation, row by row, then three of its shift [m]."""
    motion = pair.change.rigid
    turned = [
        Line(f"rotation taken out first, row {i + 1}, column {j + 1}", float(motion.rotation[i, j]), _rotation(i, j))
        for i in range(3)
        for j in range(3)
    ]
    shifted = [Line(f"shift taken out first, {'xyz'[i]}", float(motion.shift[i]), _shift(i)) for i in range(3)]
    return (*turned, *shifted)


def mean_name(i: int, *, late: bool) -> str:
    """Name of the mean of all common targets along one axis, of the start or of the end."""
    return part_of("rigid", "mean", "end" if late else "start", "xyz"[i])


def _rotation(i: int, j: int) -> str:
    return part_of("rigid", "first rotation", i, j)


def _shift(i: int) -> str:
    return part_of("rigid", "first shift", i)


def _products(i: int, j: int) -> str:
    return part_of("rigid", "products", i, j)


def _product(name: str, i: int, j: int) -> str:
    return part_of("rigid", "product", name, i, j)


def _target_change(pair: Pair, row: int) -> Sum:
    n, i = divmod(row, 3)
    name, motion = pair.change.names[n], pair.change.rigid
    lines = [_times(f"{name} {'xyz'[i]} on {pair.end}", 1.0, pair.after[n, i], pair.target(pair.end, name, i))]
    for j in range(3):
        words = f"{name} {'xyz'[j]} on {pair.start}, turned with the girder"
        lines.append(_times(words, -motion.rotation[i, j], pair.before[n, j], pair.target(pair.start, name, j)))
    lines.append(_times("shift of the whole girder", -1.0, motion.shift[i], _shift(i)))
    how = (
        f"where {name} was on {pair.end} less where the girder's own motion takes its place on {pair.start}; "
        f"the turn is that of {_rotation(i, 0)} and its neighbours"
    )
    return Sum(pair.row(row), "m", float(pair.change.value[row]), tuple(lines), how)


def _times(words: str, factor: float, given: float, of: str) -> Line:
    factor, given = float(factor), float(given)
    return Line(words, factor * given, of, factor, given, "m")


def _axis_change(pair: Pair, row: int) -> Sum:
    magnet, part = pair.change.axis_rows[row - pair.change.target_rows]
    one, other = pair.axes[magnet]
    ends = {p: _component(other, p) for p in AXIS_PARTS}
    starts = {p: _component(one, p) for p in AXIS_PARTS}
    known = [p for p in AXIS_PARTS if np.isfinite(starts[p])]
    lines = [Line(f"{part} on {pair.end}", ends[part], pointer("occasions", pair.end, "axes", magnet, part))]
    lines.append(
        Line(f"z of the axis on {pair.start}", float(one.z), pointer("occasions", pair.start, "axes", magnet, "z"))
    )
    lines += [
        Line(f"{p} on {pair.start}", starts[p], pointer("occasions", pair.start, "axes", magnet, p)) for p in known
    ]
    lines += motion_lines(pair)

    def again(amounts: Sequence[float]) -> float:
        value = dict(zip(known, amounts[2 : 2 + len(known)], strict=True))
        rotation, shift = np.array(amounts[2 + len(known) : -3]).reshape(3, 3), np.array(amounts[-3:])
        place = rotation @ [value["x"], value["y"], amounts[1]] + shift
        turned = rotation @ [value.get("slope_x", 0.0), value.get("slope_y", 0.0), 1.0]
        slope = turned[:2] / turned[2]
        carried = [*(place[:2] + slope * (amounts[1] - place[2])), *slope]
        return amounts[0] - float(carried[AXIS_PARTS.index(part)])

    how = (
        f"{part} of the axis on {pair.end} less where the girder's own motion takes that of {pair.start}, at the same z"
    )
    unit = "m" if part in "xy" else "rad"
    return Sum(pair.row(row), unit, float(pair.change.value[row]), tuple(lines), how, again)


def _component(axis: Axis, part: str) -> float:
    name = f"{axis.magnet}.{part}"
    return float(axis.estimate.value[axis.estimate.index(name)]) if name in axis.estimate.names else float("nan")


def _first_shift(pair: Pair, i: int) -> Sum:
    motion, mean = pair.change.rigid, pair.before.mean(axis=0)
    lines = [Line(f"mean of the targets on {pair.end}", float(pair.after.mean(axis=0)[i]), mean_name(i, late=True))]
    lines += [Line(f"turn, column {j + 1}", float(motion.rotation[i, j]), _rotation(i, j)) for j in range(3)]
    lines += [Line(f"mean {'xyz'[j]} on {pair.start}", float(mean[j]), mean_name(j, late=False)) for j in range(3)]

    def again(a: Sequence[float]) -> float:
        return a[0] - (a[1] * a[4] + a[2] * a[5] + a[3] * a[6])

    how = f"mean of the common targets on {pair.end} less their turned mean on {pair.start}"
    return Sum(_shift(i), "m", float(motion.shift[i]), tuple(lines), how, again)


def _first_rotation(pair: Pair, i: int, j: int) -> Sum:
    a, b = pair.before - pair.before.mean(axis=0), pair.after - pair.after.mean(axis=0)
    products = b.T @ a
    lines = [
        Line(
            f"products of {'xyz'[p]} on {pair.end} and {'xyz'[q]} on {pair.start}",
            float(products[p, q]),
            _products(p, q),
        )
        for p in range(3)
        for q in range(3)
    ]

    def again(amounts: Sequence[float]) -> float:
        u, _, vt = np.linalg.svd(np.array(amounts).reshape(3, 3))
        turn = u @ np.diag([1.0, 1.0, np.sign(np.linalg.det(u @ vt))]) @ vt
        return float(turn[i, j])

    how = "the rotation that lays the start's targets best onto the end's, from the sums of products about the means"
    return Sum(_rotation(i, j), "1", float(pair.change.rigid.rotation[i, j]), tuple(lines), how, again)


def _sum_of_products(pair: Pair, i: int, j: int, part: str) -> Sum:
    a, b = pair.before - pair.before.mean(axis=0), pair.after - pair.after.mean(axis=0)
    products = b[:, i] * a[:, j]
    sources = [
        Source(name, float(v), _product(name, i, j), "m2", f"targets on {carrier}")
        for name, carrier, v in zip(pair.change.names, pair.change.carriers, products, strict=True)
    ]
    how = f"{'xyz'[i]} on {pair.end} times {'xyz'[j]} on {pair.start}, each about its mean, summed over the common targets"
    value = float((b.T @ a)[i, j])
    return Linear(_products(i, j), "m2", value, [1.0] * len(sources), sources, how).tell(part)


def _one_product(pair: Pair, n: int, i: int, j: int) -> Sum:
    name, means = pair.change.names[n], (pair.after.mean(axis=0)[i], pair.before.mean(axis=0)[j])
    lines = (
        Line(f"{name} {'xyz'[i]} on {pair.end}", float(pair.after[n, i]), pair.target(pair.end, name, i)),
        Line("mean there", float(means[0]), mean_name(i, late=True)),
        Line(f"{name} {'xyz'[j]} on {pair.start}", float(pair.before[n, j]), pair.target(pair.start, name, j)),
        Line("mean there", float(means[1]), mean_name(j, late=False)),
    )
    value = (pair.after[n, i] - means[0]) * (pair.before[n, j] - means[1])
    how = "its coordinate on the end about the mean, times that on the start about the mean"
    return Sum(_product(name, i, j), "m2", float(value), lines, how, lambda v: (v[0] - v[1]) * (v[2] - v[3]))


def _mean(pair: Pair, i: int, late: bool, part: str) -> Sum:
    places, occasion = (pair.after, pair.end) if late else (pair.before, pair.start)
    count = len(places)
    sources = [
        Source(name, float(places[n, i]), pair.target(occasion, name, i), "m", f"targets on {pair.change.carriers[n]}")
        for n, name in enumerate(pair.change.names)
    ]
    how = f"mean {'xyz'[i]} of the {count} common targets on {occasion}"
    value = float(places.mean(axis=0)[i])
    return Linear(mean_name(i, late=late), "m", value, [1.0 / count] * count, sources, how).tell(part)
