"""Centres and slopes told mode by mode; strength and angle of each magnet; remanence; turn of the sensor pair.

A centre is a weighted mean of what its modes see, x = sum_n w_n S_n x_n, since the weights of an offset add up to one. A
mode beside the sharpest is read with the sharpest one's strength: with rho its own strength over that, it sees
rho z_n + (1 - rho) z_1 of its own zero z_n and the sharpest one's z_1 (x + i y).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monochord.campaign.found.axes import Axis
from monochord.ground.trace import Line, Sum, pointer
from monochord.wire.centre import Combined, View
from monochord.wire.law_nodes import LawNode
from monochord.wire.unfold_base import PARTS, PLANE, Base, Keys, argument, inner, part_of, times, unknown
from monochord.wire.unfold_law import Laws
from monochord.wire.unfold_weights import Weights


def axis_name(magnet: str, *keys: str | int) -> str:
    """Name of a number of an axis; the last key may carry a part behind #.

    >>> axis_name("Q1/a", "x#mode 2")
    'axes/Q1~1a/x#mode 2'
    """
    return pointer("axes", magnet, *keys)[1:]


@dataclass(frozen=True, eq=False)
class Centres:
    """Axes in the wire's frame."""

    base: Base
    laws: Laws
    weights: Weights

    def found(self, magnet: str) -> Combined:
        """What the blocks of a magnet say together."""
        if magnet not in self.base.evidence.found:
            raise unknown(axis_name(magnet))
        return self.base.evidence.found[magnet]

    def axis(self, magnet: str) -> Axis:
        """The axis as the room hands it over."""
        self.found(magnet)
        return next(a for a in self.base.evidence.axes if a.magnet == magnet)

    def node(self, view: View) -> LawNode:
        """The last round's law of a view."""
        return self.laws.nodes[("3", f"mode {view.block.mode}", view.block.magnet.name)]

    def wire(self, magnet: str, what: str, name: str) -> Sum:
        """x, y, slope_x or slope_y in the wire's frame, under the name asked for."""
        found, i = self.found(magnet), ("x", "y", "slope_x", "slope_y").index(what)
        value, plane, unit = float(found.estimate.value[i]), PLANE[i % 2], "m" if i < 2 else "rad"
        if not math.isfinite(value):
            raise unknown(name)
        lines = tuple(
            times(
                f"centre as mode {v.block.mode} sees it",
                float(found.t[i, 2 * k + i % 2]) * v.block.weighing.offset,
                part_of(self.seen(found, v), plane),
                axis_name(magnet, f"{plane}#mode {v.block.mode}"),
                unit="m",
            )
            for k, v in enumerate(found.views)
        )
        how = "centres as the modes see them, by the weights that leave the least of noise and slope"
        if i > 1:
            how = "modes that weigh the magnet unlike see its slope as different centres"
        return Sum(name, unit, value, lines, f"{how}; frame of the wire")

    def seen(self, found: Combined, view: View) -> complex:
        """Centre as one mode sees it, sag taken out [m]."""
        return found.point + view.d / view.block.weighing.offset

    def mode(self, magnet: str, plane: str, number: str) -> Sum:
        """The centre as one mode sees it."""
        found = self.found(magnet)
        view = self._view(found, number)
        name = axis_name(magnet, f"{plane}#mode {number}")
        value = part_of(self.seen(found, view), plane)
        zero = value + (view.sag / view.block.weighing.offset if plane == "y" else 0.0)
        lines = [
            times("zero of its field law", 1.0, zero, axis_name(magnet, f"{plane}#zero of mode {number}"), unit="m")
        ]
        if plane == "y":
            lines.append(self._sag(view, -1.0))
        how = "stages at the zero, less the sag of the wire there" if plane == "y" else "stages at the zero"
        return Sum(name, "m", value, tuple(lines), how)

    def _sag(self, view: View, factor: float) -> Line:
        sag = view.sag / view.block.weighing.offset
        return times(f"sag as mode {view.block.mode} weighs it", factor, sag, self.sag_of(view), unit="m")

    def sag_of(self, view: View) -> str:
        """Name of the sag as a mode weighs it."""
        return inner("weight", f"mode {view.block.mode}", view.block.magnet.name, "sag")

    def _view(self, found: Combined, number: str) -> View:
        for view in found.views:
            if str(view.block.mode) == number:
                return view
        raise unknown(f"mode {number}")

    def zero(self, magnet: str, plane: str, number: str) -> Sum:
        """The zero of one mode, read with the sharpest mode's strength."""
        found = self.found(magnet)
        view, first = self._view(found, number), found.views[0]
        name, node = axis_name(magnet, f"{plane}#zero of mode {number}"), self.node(view)
        if view is first:
            line = times(
                "zero of the field law",
                1.0,
                part_of(node.law.zero, plane),
                self.laws.name(node, "zero", plane),
                unit="m",
            )
            return Sum(name, "m", part_of(found.point, plane), (line,), "the sharpest mode: zero of its own field law")
        value = self.seen(found, view) + 1j * view.sag / view.block.weighing.offset
        ratio = self._ratio_value(found, view)
        keys = ("strength ratio", f"mode {number}", magnet)
        lines = [
            argument(f"strength beside the sharpest mode's, {w} part", part_of(ratio, p), inner(*keys, p), "1")
            for p, w in (("re", "real"), ("im", "imaginary"))
        ]
        for words, law in ((f"zero of mode {number}", node), ("zero of the sharpest mode", self.node(first))):
            lines += [
                argument(f"{words}, {p}", part_of(law.law.zero, p), self.laws.name(law, "zero", p), "m") for p in PLANE
            ]

        def made(a: Sequence[float]) -> float:
            rho = complex(a[0], a[1])
            return part_of(rho * complex(a[2], a[3]) + (1.0 - rho) * complex(a[4], a[5]), plane)

        how = "own zero and the sharpest mode's, by the strength that this mode shows beside it"
        return Sum(name, "m", part_of(value, plane), tuple(lines), how, made)

    def _ratio_value(self, found: Combined, view: View) -> complex:
        law, order = view.block.law, view.block.magnet.order
        lead, _ = law.about(law.zero, order - 1)
        return lead / (found.lead * view.block.weighing.offset)

    def lead_lines(self, view: View, words: str) -> list[Line]:
        """Lines of the leading coefficient of a view's law."""
        node = self.node(view)
        unit = 1.0 / node.plan.scale ** (node.order - 1)
        lead = unit * complex(node.solved[-1, 0])
        return [
            argument(f"leading coefficient of {words}, {w} part", part_of(lead, p), self.laws.name(node, "lead", p))
            for p, w in (("re", "real"), ("im", "imaginary"))
        ]

    def ratio(self, keys: Keys) -> Sum:
        """Strength of a mode beside the sharpest one's, both as the modes weigh the magnet."""
        name = inner("strength ratio", *keys)
        if len(keys) != 3 or keys[2] not in PARTS:
            raise unknown(name)
        found = self.found(keys[1])
        view, first = self._view(found, keys[0].removeprefix("mode ")), found.views[0]
        lines = [*self.lead_lines(view, keys[0]), *self.lead_lines(first, "the sharpest mode")]
        lines += [self.weights.line("S", v.block.readings) for v in (view, first)]

        def made(a: Sequence[float]) -> float:
            return part_of(complex(a[0], a[1]) / (complex(a[2], a[3]) / a[5] * a[4]), keys[2])

        how = "leading coefficient over the magnet's weighed length, over the same of the sharpest mode"
        return Sum(name, "1", part_of(self._ratio_value(found, view), keys[2]), tuple(lines), how, made)
