"""Angles of the magnets' fields, rolls, and the turn of the sensor pair that the quadrupoles tell together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monochord.ground.trace import Line, Sum
from monochord.wire.field_law import as_real
from monochord.wire.turn import ROLL, field_angle
from monochord.wire.unfold_base import argument, given, places, times, unknown
from monochord.wire.unfold_centre import Centres, axis_name
from monochord.wire.unfold_sensors import Sensors


@dataclass(frozen=True, eq=False, slots=True)
class Rolls:
    """Rolls of all axes."""

    centres: Centres
    sensors: Sensors

    def roll(self, magnet: str) -> Sum:
        """The magnet's roll."""
        value, order = self.centres.axis(magnet).roll, self.centres.found(magnet).views[0].block.magnet.order
        if value is None:
            raise unknown(axis_name(magnet, "roll"))
        angle, _ = field_angle(self.centres.found(magnet))
        line = times(
            "angle of its field", -1.0 / order, angle, axis_name(magnet, "roll#angle of the field"), unit="rad"
        )
        return Sum(
            axis_name(magnet, "roll"),
            "rad",
            value,
            (line,),
            "a roll turns the field as many times over as it has pole pairs",
        )

    def u_roll(self, magnet: str) -> Sum:
        """Its standard uncertainty."""
        value, order = self.centres.axis(magnet).u_roll, self.centres.found(magnet).views[0].block.magnet.order
        if value is None:
            raise unknown(axis_name(magnet, "u_roll"))
        u_turn = self.centres.base.evidence.setup.wire.u_sensor_turn
        lines = (self.u_angle_line(magnet), given("turn of the sensor pair", u_turn, "wire.u_sensor_turn", "rad"))
        how = "noise and the turn of the sensor pair together, over the number of pole pairs"
        return Sum(axis_name(magnet, "u_roll"), "rad", value, lines, how, lambda a: math.hypot(a[0], a[1]) / order)

    def angle(self, magnet: str) -> Sum:
        """Angle of the leading coefficient against the plan, folded to a quarter turn."""
        view = self.centres.found(magnet).views[0]
        block, order = view.block, view.block.magnet.order
        source = max(block.readings.passes.scans, key=lambda s: abs(s.magnet_current))
        lines = [
            *self.centres.lead_lines(view, "the sharpest mode"),
            self.centres.weights.line("S", block.readings),
            given("planned field", block.magnet.derivative, f"girder.items.{magnet}.derivative", f"T/m^{order - 1}/A"),
            times("magnet current", 1.0, block.current, unit="A", places=places(source, [0])),
        ]

        def made(a: Sequence[float]) -> float:
            sign = math.copysign(1.0, a[2] * a[3] * a[4])
            ratio = complex(a[0], a[1]) * sign
            return float(np.angle(-ratio if ratio.real < 0.0 else ratio))

        how = "phase of the field found against the field planned; polarity left out"
        return Sum(
            axis_name(magnet, "roll#angle of the field"),
            "rad",
            field_angle(self.centres.found(magnet))[0],
            tuple(lines),
            how,
            made,
        )

    def u_angle_line(self, magnet: str) -> Line:
        """The line of the angle's standard uncertainty."""
        of = axis_name(magnet, "roll#uncertainty of the angle")
        return argument(f"uncertainty of the angle of {magnet}", field_angle(self.centres.found(magnet))[1], of, "rad")

    def u_angle(self, magnet: str) -> Sum:
        """Standard uncertainty of the angle of the field from noise."""
        block = self.centres.found(magnet).views[0].block
        law = block.law
        lead, row = law.about(law.zero, block.magnet.order - 1)
        real = as_real(row / lead)
        unit = float((real @ law.cov @ real.T)[1, 1]) / self.sensors.variance
        line = self.sensors.noise_line("variance of one reading", unit)
        how = "noise of the readings through the leading coefficient"
        name = axis_name(magnet, "roll#uncertainty of the angle")
        return Sum(name, "rad", field_angle(self.centres.found(magnet))[1], (line,), how, lambda a: math.sqrt(a[0]))

    def pair(self, what: str) -> Sum:
        """wire/sensor_turn or wire/u_sensor_turn."""
        turn, found = self.centres.base.evidence.turn, self.centres.base.evidence.found
        if turn is None:
            raise unknown(f"wire/{what}")
        chosen = [m for m, f in found.items() if f.views[0].block.magnet.order == 2] or list(found)
        orders = [found[m].views[0].block.magnet.order for m in chosen]
        told = [field_angle(found[m]) for m in chosen]
        weight = [1.0 / (u**2 + (n * ROLL) ** 2) for (_, u), n in zip(told, orders, strict=True)]
        if what == "sensor_turn":
            lines = tuple(
                times(
                    f"angle of the field of {m}",
                    w / sum(weight),
                    a,
                    axis_name(m, "roll#angle of the field"),
                    unit="rad",
                )
                for m, w, (a, _) in zip(chosen, weight, told, strict=True)
            )
            return Sum(
                "wire/sensor_turn",
                "rad",
                turn.angle,
                lines,
                "mean over the quadrupoles, whose mean roll is taken as zero",
            )
        rolls = given("roll of magnets set by a level", ROLL, "program.wire.turn.ROLL", "rad")
        us = tuple(self.u_angle_line(m) for m in chosen)

        def made(a: Sequence[float]) -> float:
            return 1.0 / math.sqrt(math.fsum(1.0 / (u**2 + (n * a[-1]) ** 2) for u, n in zip(a, orders, strict=False)))

        how = "noise and unknown rolls of the magnets, weighted mean"
        return Sum("wire/u_sensor_turn", "rad", turn.u, (*us, rolls), how, made)
