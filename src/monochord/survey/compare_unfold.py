"""Why every number of a comparison is what it is, asked for by its name in the result; nothing is computed before that.

Names as in the result document below one comparison. Behind them stand, among others: ``rigid#change/<target>/<x>`` the
change of one coordinate after the girder's own motion was taken out, ``own_moves#slip/<body>/chance`` a slip left open,
``cause/<id>/<i>/<j>`` the spread of a cause made here, by all evidence, by targets alone, or for the closure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, partial

import numpy as np

from monochord.campaign.found.axes import Axis
from monochord.campaign.found.comparison import Comparison, OwnMove
from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import Temperature
from monochord.campaign.given.girder import Girder
from monochord.ground.estimate import Estimate, Label
from monochord.ground.frames import rotation_from_vector
from monochord.ground.trace import Line, Place, Sum, Unfold, pointer
from monochord.ground.trace_linear import Teller, part_of, relative, told_by, whole
from monochord.ground.trace_spread import Spread, shares_of
from monochord.survey.compare_data import Change
from monochord.survey.compare_fit import Fit, estimate
from monochord.survey.compare_model import MOVES
from monochord.survey.compare_moves import Outcome
from monochord.survey.compare_search import Moved
from monochord.survey.compare_unfold_closure import Closing, closure_tellers
from monochord.survey.compare_unfold_fit import Told, linear, slip_tellers, told_number
from monochord.survey.compare_unfold_rows import Pair, mean_name, motion_lines, pair_of, row_tellers, sources_of
from monochord.survey.compare_unfold_sizes import size_tellers
from monochord.survey.network import Array


@dataclass(frozen=True, eq=False, slots=True)
class Evidence:
    """One evaluation: scope of its causes, what was sought, what was found to have moved, and what is told of it."""

    scope: str
    sought: Moved
    moved: Moved
    told: Outcome


@dataclass(frozen=True, eq=False, slots=True)
class Ground:
    """Everything that a comparison was made of.

    points, axes  of the start and of the end;  warmth  temperatures of the start and the end, where they are known
    every, alone  all evidence, and targets alone (None where there is nothing else)
    closing       of the closure, None where there is none
    """

    points: tuple[PointSet, PointSet]
    axes: tuple[Sequence[Axis], Sequence[Axis]]
    change: Change
    girder: Girder
    every: Evidence
    alone: Evidence | None
    closing: Closing | None
    warmth: tuple[Temperature, Temperature] | None


def unfolding(found: Comparison, ground: Ground) -> Unfold:
    """Tells every number of a comparison by its name; the table of what can be asked is made when something first is."""

    @cache
    def table() -> Mapping[str, Teller]:
        return _Telling(found, ground).table()

    return lambda name: told_by(table(), name)


@dataclass(frozen=True, eq=False, slots=True)
class _Telling:
    found: Comparison
    ground: Ground
    pair: Pair = field(init=False)

    def __post_init__(self) -> None:
        ground = self.ground
        first, later = ({a.magnet: a for a in axes} for axes in ground.axes)
        both = {m: (first[m], later[m]) for m, _ in ground.change.axis_rows}
        pair = pair_of((self.found.start, self.found.end), ground.points, both, ground.change)
        object.__setattr__(self, "pair", pair)

    def by(self, evidence: Evidence, head: str) -> Told:
        """One evaluation with its rows."""
        sources = sources_of(self.pair)
        return Told(head, evidence.scope, evidence.moved.fit, evidence.sought.fit, evidence.told, sources)

    def table(self) -> dict[str, Teller]:
        """Everything that can be asked."""
        every = self.by(self.ground.every, "own_moves")
        alone = self.by(self.ground.alone or self.ground.every, "own_moves_from_targets")
        table = row_tellers(self.pair)
        table |= self._moves(every, self.found.own_moves) | self._moves(alone, self.found.own_moves_from_targets)
        for by in (every, alone):
            table |= slip_tellers(by) | size_tellers(by)
        table |= self._functions(every) | self._rigid(every) | self._targets(every) | self._expected(every.fit)
        if self.ground.closing is not None:
            table |= self._closure(self.ground.closing, every)
        return table

    def _moves(self, by: Told, moves: Sequence[OwnMove]) -> dict[str, Teller]:
        table: dict[str, Teller] = {}
        for move in moves:
            for part, value in zip(MOVES, move.estimate.value.tolist(), strict=True):
                if np.isfinite(value):
                    name = relative(by.head, move.magnet, part)
                    table[name] = partial(told_number, by, f"{move.magnet}.{part}", name)
        return table

    def _functions(self, by: Told) -> dict[str, Teller]:
        """Scale, shapes and changes of axes, each with its uncertainty where the result tells it by itself."""
        named = {"scale": "scale"} | {p.cause: relative("shape", p.cause, "size") for p in self.found.shape}
        table: dict[str, Teller] = {}
        for label, name in named.items():
            table[name] = partial(told_number, by, label, name)
            of_u = "u_scale" if label == "scale" else relative("shape", label, "u")
            u = by.told.numbers[label][1]
            table[of_u] = self._root(by, of_u, u, by.told.estimate, by.told.estimate.index(label))
        for label in self.found.axis_changes.names:
            name = relative("axis_changes", *label.rsplit(".", 1))
            table[name] = partial(told_number, by, label, name)
        return table

    def _root(self, by: Told, name: str, u: float, told: Estimate, i: int) -> Teller:
        def tell(part: str) -> Sum:
            entry = partial(self._entry, by)
            return Spread(name, told.labels[i].unit, u, shares_of(told, i, i), entry, root=True).tell(part)

        return tell

    def _entry(self, by: Told, cause: str, i: int, j: int) -> str:
        """Name of an entry of the spread of a cause: here, or on the occasion that brought it."""
        if cause.endswith(f":{by.scope}"):
            return relative("cause", cause, i, j)
        points, axes = self.ground.points[0], self.ground.axes[0]
        early = cause in points.estimate.factors or any(cause in axis.estimate.factors for axis in axes)
        return pointer("occasions", self.found.start if early else self.found.end, "cause", cause, i, j)

    def _rigid(self, by: Told) -> dict[str, Teller]:
        """The whole motion of the girder: what was taken out first, and what the fit found on top about its middle."""
        table: dict[str, Teller] = {}
        for part in MOVES:
            name = part_of("rigid", "then", part)
            table[name] = partial(told_number, by, f"rigid {part}", name)
        for i in range(3):
            table[relative("rigid", "shift", i)] = whole(partial(self._rigid_entry, by, i, None))
            for j in range(3):
                table[relative("rigid", "rotation", i, j)] = whole(partial(self._rigid_entry, by, i, j))
        return table

    def _rigid_entry(self, by: Told, i: int, j: int | None) -> Sum:
        then = [
            Line(
                f"found by the fit on top, {part}",
                by.told.numbers[f"rigid {part}"][0],
                of=part_of("rigid", "then", part),
            )
            for part in MOVES
        ]
        middle = [
            Line(f"middle of the targets, {'xyz'[k]}", float(v), of=mean_name(k, late=False))
            for k, v in enumerate(by.fit.model.middle)
        ]

        def again(amounts: Sequence[float]) -> float:
            turn, about = rotation_from_vector(np.array(amounts[3:6])), np.array(amounts[-3:])
            rotation, shift = np.array(amounts[6:15]).reshape(3, 3), np.array(amounts[15:18])
            if j is not None:
                return float((turn @ rotation)[i, j])
            return float((turn @ shift + np.array(amounts[:3]) + about - turn @ about)[i])

        lines = (*then, *motion_lines(self.pair), *middle)
        how = (
            "the motion that was taken out first, then that which the fit found on top, about the middle of the targets"
        )
        rigid = self.found.rigid
        if j is None:
            return Sum(relative("rigid", "shift", i), "m", float(rigid.shift[i]), lines, how, again)
        return Sum(relative("rigid", "rotation", i, j), "1", float(rigid.rotation[i, j]), lines, how, again)

    def _targets(self, by: Told) -> dict[str, Teller]:
        """Targets that moved by themselves, with their uncertainties."""
        model = by.fit.model
        blocks = {h.name: h.block.name for h in self.ground.every.moved.freed if h.kind == "target"}
        table: dict[str, Teller] = {}
        for move in self.found.targets_moved:
            rows = np.eye(len(model.prior))[model.columns("moved", blocks[move.target])]
            for k, axis in enumerate("xyz"):
                name = relative("targets_moved", move.target, axis)
                table[name] = self._own(by, name, move.move[k], rows[k])
                of_u = relative("targets_moved", move.target, f"u_{axis}")
                label = Label(f"{move.target}.{axis}", "m", "girder")
                told = estimate(by.fit, rows[k : k + 1], [label], by.scope)
                table[of_u] = self._root(by, of_u, move.u[k], told, 0)
        return table

    @staticmethod
    def _own(by: Told, name: str, value: float, row: Array) -> Teller:
        return lambda part: linear(name, "m", value, row, fit=by.fit, sources=by.sources).tell(part)

    def _expected(self, fit: Fit) -> dict[str, Teller]:
        """What temperature lets expect: growth of the girder, and change of top minus bottom."""
        model = fit.model
        table: dict[str, Teller] = {}
        growth = float(model.expected[model.columns("stretch")][0])
        name = part_of("shape/stretch/size", "expected")
        table[name] = whole(partial(self._growth, name, growth))
        if "thermal bow" in model.basis.names:
            at = model.columns("shape").start + model.basis.names.index("thermal bow")
            name = part_of("shape/thermal bow/size", "expected")
            table[name] = whole(partial(self._gradient, name, float(model.expected[at])))
        return table

    def _temperature(self, late: bool, key: str, value: float) -> Line:
        occasion = self.found.end if late else self.found.start
        sign, unit = (1.0 if late else -1.0), "degC" if key == "mean" else "K"
        of = pointer("occasions", occasion, "temperature", key)
        return Line(f"{key.replace('_', ' ')} on {occasion}", sign * value, of, sign, value, unit)

    def _growth(self, name: str, growth: float) -> Sum:
        beam, warmth = self.ground.girder.beam, self.ground.warmth
        places = (Place("", 0, "girder.beam.expansion"),)
        means = [w.mean for w in warmth or ()]
        if beam is None or len(means) < 2 or means[0] is None or means[1] is None:
            return Sum(
                name, "1", growth, (Line("growth as it was handed in", growth, places=places),), "not from sensors"
            )
        lines = (
            Line("expansion", beam.expansion, places=places),
            self._temperature(True, "mean", means[1]),
            self._temperature(False, "mean", means[0]),
        )
        return Sum(name, "1", growth, lines, "expansion times warming", lambda v: v[0] * (v[1] + v[2]))

    def _gradient(self, name: str, kelvin: float) -> Sum:
        above = [w.top_minus_bottom for w in self.ground.warmth or ()]
        if len(above) < 2 or above[0] is None or above[1] is None:
            line = Line(
                "change of top minus bottom as it was handed in", kelvin, places=(Place("", 0, "temperature.value"),)
            )
            return Sum(name, "K", kelvin, (line,), "handed in")
        lines = (
            self._temperature(True, "top_minus_bottom", above[1]),
            self._temperature(False, "top_minus_bottom", above[0]),
        )
        return Sum(name, "K", kelvin, lines, "top minus bottom of the end less that of the start")

    def _closure(self, closing: Closing, every: Told) -> dict[str, Teller]:
        """The closure, whose fit by targets alone has spreads of its own."""
        by = Told("closure", closing.scope, closing.fit, every.sought, replace(every.told, slips={}), every.sources)
        return closure_tellers(closing, every.sources, partial(self._entry, by)) | size_tellers(by)
