"""The corrections that a centre carries, told like everything else; their uncertainties by cause."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monochord.ground.estimate import kind_of
from monochord.ground.trace import Line, Sum, pointer, root_of_sum
from monochord.wire.centre import Combined
from monochord.wire.corrections import KINDS
from monochord.wire.turn import field_angle
from monochord.wire.unfold_base import PLANE, Base, Row, argument, part_of, times, unknown
from monochord.wire.unfold_centre import Centres, axis_name


@dataclass(frozen=True, eq=False, slots=True)
class Corrections:
    """Corrections of all axes; the frame makes no difference to them."""

    base: Base
    centres: Centres

    def tell(self, magnet: str, index: str, what: str) -> Sum:
        """Correction number ``index`` of a magnet: x, y, u_x, u_y, or the part of one cause in the latter."""
        told = self.centres.axis(magnet).corrections
        quantity, _, part = what.partition("#")
        if not index.isdigit() or int(index) >= len(told) or quantity not in ("x", "y", "u_x", "u_y"):
            raise unknown(axis_name(magnet, "corrections", index, what))
        one, name = told[int(index)], axis_name(magnet, "corrections", index, what)
        if quantity in PLANE:
            return self._size(magnet, one.cause, quantity, name, getattr(one, quantity))
        kinds = KINDS[one.cause]
        return self._u(self.centres.found(magnet), kinds, name, getattr(one, quantity), part)

    def _size(self, magnet: str, cause: str, plane: str, name: str, value: float) -> Sum:
        found = self.centres.found(magnet)
        first, node = found.views[0], self.centres.node(found.views[0])
        zero = times(
            "zero of the field law",
            1.0,
            part_of(node.law.zero, plane),
            self.centres.laws.name(node, "zero", plane),
            unit="m",
        )
        if cause in ("background", "detuning"):
            kind = "whole" if cause == "background" else "plain"
            of = self.centres.laws.name(node, "zero", kind, plane)
            without = self.centres.laws.tell([*node.keys, "zero", kind, plane]).value
            words = (
                "zero without the background subtracted"
                if kind == "whole"
                else "zero by the quadratures of each sensor alone"
            )
            lines: tuple[Line, ...] = (zero, times(words, -1.0, without, of, unit="m"))
            return Sum(name, "m", value, lines, f"what the correction for {cause} moved the sharpest mode's zero by")
        if cause == "sensor turn":
            return self._turned(magnet, plane, name, value)
        if cause == "sag":
            lines = tuple(
                times(
                    f"sag as mode {v.block.mode} weighs it",
                    -float(found.t[1, 2 * k + 1]) * v.block.weighing.offset if plane == "y" else 0.0,
                    v.sag / v.block.weighing.offset,
                    self.centres.sag_of(v),
                    unit="m",
                )
                for k, v in enumerate(found.views)
            )
            return Sum(
                name, "m", value, lines, "sag of the wire as the modes weigh it; it hangs along y, nothing along x"
            )
        number = first.block.mode
        centre = float(found.estimate.value[PLANE.index(plane)])
        lines = (
            times("centre by all modes", 1.0, centre, axis_name(magnet, f"{plane}#frame of the wire"), unit="m"),
            times(
                "centre by the sharpest mode",
                -1.0,
                part_of(found.alone, plane),
                axis_name(magnet, f"{plane}#mode {number}"),
                unit="m",
            ),
        )
        return Sum(name, "m", value, lines, "what the other modes change")

    def _turned(self, magnet: str, plane: str, name: str, value: float) -> Sum:
        found = self.centres.found(magnet)
        node, passes = self.centres.node(found.views[0]), found.views[0].block.readings.passes
        moved = passes.along_x if plane == "x" else ~passes.along_x
        across = "y" if plane == "x" else "x"
        rows = self.base.rows(passes)
        places = tuple(p for row, here in zip(rows, moved.tolist(), strict=True) if here for p in self.base.place(row))
        stages = passes.zeta[moved].imag if plane == "x" else passes.zeta[moved].real
        if not len(stages):
            words = f"the wire was not moved along {plane}: nothing"
            line = Line(words, 0.0, unit="m", places=self.base.place(Row(rows[0].scan, 0)))
            return Sum(name, "m", value, (line,), "no scan along this axis")
        lines = (
            argument(
                "angle of the field as the sensors see it",
                field_angle(found)[0],
                axis_name(magnet, "roll#angle of the field"),
                "rad",
            ),
            Line(
                f"mean {across} of the stages in the scans along {plane}", float(stages.mean()), unit="m", places=places
            ),
            argument(
                f"zero in {across}", part_of(node.law.zero, across), self.centres.laws.name(node, "zero", across), "m"
            ),
        )
        sign = -1.0 if plane == "x" else 1.0

        def made(a: Sequence[float]) -> float:
            return sign * (a[1] - a[2]) * math.tan(a[0])

        how = "what the zero of each sensor's own scan would have been off by, scanned beside the other zero"
        return Sum(name, "m", value, lines, how, made)

    def _u(self, found: Combined, kinds: Sequence[str], name: str, value: float, part: str) -> Sum:
        row = 0 if "/u_x" in name else 1
        causes = {c: f for c, f in found.estimate.factors.items() if kind_of(c) in kinds}
        if not part:
            lines = tuple(
                Line(cause, float(f.cov[row, row]), of=f"{name}#{pointer(cause)[1:]}") for cause, f in causes.items()
            )
            return Sum(name, "m", value, lines, "root of the variances of its causes", root_of_sum)
        for cause, f in causes.items():
            if cause == part:
                j = f.jacobian[row]
                own = [
                    (a, b) for a, b in zip(*np.triu_indices(len(j)), strict=True) if j[a] and j[b] and f.spread[a, b]
                ]
                if not own:
                    first = pointer("cause", cause, 0, 0)[1:]
                    line = times("this correction does not follow the cause", 0.0, float(f.spread[0, 0]), first)
                    return Sum(name, "m2", 0.0, (line,), f"variance by {cause}")
                rows = tuple(
                    times(
                        f"variables {a + 1} and {b + 1}",
                        float(j[a] * j[b]) * (1.0 if a == b else 2.0),
                        float(f.spread[a, b]),
                        pointer("cause", cause, int(a), int(b))[1:],
                    )
                    for a, b in own
                )
                return Sum(name, "m2", float(f.cov[row, row]), rows, f"variance by {cause}")
        raise unknown(name)
