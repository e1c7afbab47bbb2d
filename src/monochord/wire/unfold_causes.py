"""Spreads of the causes that the wire room makes: where the covariance of each cause's own variables comes from."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.ground.estimate import Factor, kind_of
from monochord.ground.trace import Line, Sum, pointer
from monochord.wire.background import Background
from monochord.wire.centre import SHIFT_FLOOR, View
from monochord.wire.missing import left_by, room_field
from monochord.wire.slope import SLOPE
from monochord.wire.unfold_base import Base, argument, given, inner, nothing, setting, times, unknown
from monochord.wire.unfold_centre import Centres
from monochord.wire.unfold_drift import Drifts
from monochord.wire.unfold_roll import Rolls
from monochord.wire.unfold_sensors import Sensors
from monochord.wire.unfold_transfer import Transfers

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Causes:
    """Entry i, j of the spread of every cause of the axes of one occasion."""

    base: Base
    centres: Centres
    sensors: Sensors
    transfers: Transfers
    drifts: Drifts
    rolls: Rolls

    def tell(self, ident: str, i: int, j: int) -> Sum:
        """The entry, by the kind of its cause."""
        name = pointer("cause", ident, i, j)[1:]
        factor = self._factor(ident)
        if factor is None or not (0 <= i < len(factor.spread) and 0 <= j < len(factor.spread)):
            raise unknown(name)
        told = self._tellers().get(kind_of(ident))
        if told is None:
            raise unknown(name)
        return told(name, ident, i, j)

    def _factor(self, ident: str) -> Factor | None:
        for found in self.base.evidence.found.values():
            if ident in found.estimate.factors:
                return found.estimate.factors[ident]
        for axis in self.base.evidence.axes:
            if axis.roll_estimate is not None and ident in axis.roll_estimate.factors:
                return axis.roll_estimate.factors[ident]
        return None

    def _tellers(self) -> dict[str, Callable[[str, str, int, int], Sum]]:
        wire = self.base.evidence.setup.wire
        return {
            "fit": self._fit,
            "background": self._background,
            "gain": lambda name, _, i, j: self.sensors.spread(name, i, j),
            "detuning": self._detuning,
            "planes": lambda name, _, i, j: self.transfers.planes_spread(name),
            "sag": lambda name, _, i, j: self._sag(name),
            "slope leakage": lambda name, _, i, j: _squared(
                name, i, j, SLOPE, key="program.wire.slope.SLOPE", unit="rad"
            ),
            "stage scale": lambda name, _, i, j: _squared(
                name, i, j, wire.u_stage_scale, key="wire.u_stage_scale", unit="1"
            ),
            "stage turn": lambda name, _, i, j: _squared(
                name, i, j, wire.u_stage_turn, key="wire.u_stage_turn", unit="rad"
            ),
            "stringing": self._stringing,
            "sensor turn": lambda name, _, i, j: _squared(
                name, i, j, wire.u_sensor_turn, key="wire.u_sensor_turn", unit="rad"
            ),
            "field angle": self._angle,
        }

    def _magnet(self, ident: str) -> str:
        """The magnet whose axis alone a cause belongs to."""
        return next(m for m, f in self.base.evidence.found.items() if ident in f.estimate.factors)

    def _fit(self, name: str, ident: str, i: int, j: int) -> Sum:
        found = self.centres.found(self._magnet(ident))
        lines = []
        for k, view in enumerate(found.views):
            column = found.t[:, 2 * k : 2 * k + 2] @ view.g
            unit = float((column @ view.block.law.cov @ column.T)[i, j]) / self.sensors.variance
            lines.append(self.sensors.noise_line(f"variance of one reading, through mode {view.block.mode}", unit))
        value = float(found.estimate.factors[ident].spread[i, j])
        units = ("m", "m", "rad", "rad")
        unit_ = f"{units[i]}2" if units[i] == units[j] else f"{units[i]} {units[j]}"
        return Sum(name, unit_, value, tuple(lines), "noise of the readings through the field laws of all modes")

    def _background(self, name: str, ident: str, i: int, j: int) -> Sum:
        found = self.centres.found(self._magnet(ident))
        for view in found.views:
            background = view.block.background
            if background is not None and ident == f"background:{self.base.evidence.setup.occasion}/{background.scope}":
                return self._noise_of(background, name, i, j)
        view = next(v for v in found.views if f"/mode {v.block.mode}, " in ident and v.block.background is None)
        return self._unmeasured(view, name, i, j)

    def _noise_of(self, background: Background, name: str, i: int, j: int) -> Sum:
        value = float(background.law.cov[i, j])
        line = self.sensors.noise_line("variance of one reading", value / self.sensors.variance)
        how = "noise of the readings through the law of the background"
        return Sum(name, "T2 m2", value, (line,), how)

    def _unmeasured(self, view: View, name: str, i: int, j: int) -> Sum:
        if i != j:
            return nothing(
                name,
                "",
                "the parts of a background that nobody measured are taken as independent",
                "program.wire.missing.unmeasured_background",
            )
        block, setup = view.block, self.base.evidence.setup
        power = i // 2
        if power == 0:
            room, patch = room_field(block, setup)
            lines: tuple[Line, ...] = (
                given("field of the room, as the mode weighs it", room**2, "program.wire.missing.ROOM", "T2 m2"),
                given("what is not uniform in it", patch**2, "program.wire.missing.PATCH", "T2 m2"),
            )
            return Sum(name, "T2 m2", room**2 + patch**2, lines, "bound of a background that nobody measured")
        order = power if power < block.magnet.order - 1 else 1
        each = left_by(order, block, setup)
        share = setting("program.wire.missing.REMANENCE")
        lines = tuple(
            Line(f"remanence of {m}", v**2, places=(*setting(f"girder.items.{m}.derivative"), *share))
            for m, v in each.items()
        )
        if not lines:
            return nothing(name, "", "no magnet of this order", "girder.items")
        return Sum(name, "", math.fsum(li.amount for li in lines), lines, "bound of remanence that nobody measured")

    def _detuning(self, name: str, ident: str, i: int, j: int) -> Sum:
        if i != j:
            return nothing(
                name, "rad2/s2", "shifts of different modes are taken as independent", "program.wire.centre.SHIFT_FLOOR"
            )
        found = self.centres.found(self._magnet(ident))
        view = found.views[i]
        number, transfer = view.block.mode, self.base.evidence.setup.transfer
        told = self.drifts.used_variance(view.block.readings.tuned)
        lines = (
            told,
            argument(
                f"damping of mode {number}",
                transfer.damping(number),
                inner("transfer", f"mode {number}", "decay"),
                "1/s",
            ),
            given("best that is believed, in half linewidths", SHIFT_FLOOR, "program.wire.centre.SHIFT_FLOOR", "1"),
        )

        def made(a: Sequence[float]) -> float:
            half = a[1] / number
            return float(np.hypot(min(math.sqrt(a[0]), half), a[2] * half) ** 2)

        how = f"shift of mode {number} while it scanned, at most half a linewidth, and never better than a part of it"
        return Sum(name, "rad2/s2", float(found.estimate.factors[ident].spread[i, j]), lines, how, made)

    def _sag(self, name: str) -> Sum:
        relative = self.base.evidence.sag.relative
        line = times("relative variance of the sag", 1.0, relative**2, inner("sag variance"), unit="1")
        return Sum(name, "1", relative**2, (line,), "all sags of one stringing are off by the same part")

    def _stringing(self, name: str, ident: str, i: int, j: int) -> Sum:
        wire = self.base.evidence.setup.wire
        if i != j:
            return nothing(name, "m2", "half waves are taken as independent", "program.wire.stringing.HALF_WAVES")
        factor = self._factor(ident)
        value = float(factor.spread[i, i]) if factor is not None else 0.0
        u = wire.u_stringing
        share = value / u**2 if u else 0.0
        line = given("uncertainty of a fresh stringing", u, "wire.u_stringing", "m")
        how = "half waves of the wire's own course, falling as one over their number"
        return Sum(name, "m2", value, (line,), how, lambda a: share * a[0] ** 2)

    def _angle(self, name: str, ident: str, i: int, j: int) -> Sum:
        magnet = ident.split("/", 1)[1]
        line = self.rolls.u_angle_line(magnet)
        return Sum(name, "rad2", line.amount**2, (line,), "squared uncertainty of the angle", lambda a: a[0] ** 2)


def _squared(name: str, i: int, j: int, u: float, *, key: str, unit: str) -> Sum:
    """Variance of a variable that is told with its standard uncertainty; two of them are independent."""
    squared = f"{unit}2" if unit != "1" else "1"
    if i != j:
        return nothing(name, squared, "the two are taken as independent", key)
    line = Line("standard uncertainty", u, unit=unit, places=setting(key))
    return Sum(name, squared, u**2, (line,), "square of what is told", lambda a: a[0] ** 2)
