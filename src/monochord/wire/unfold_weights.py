"""How a mode weighs a magnet, told from positions, lengths and frequencies; and the state of the wire at one reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.wire import Wire
from monochord.ground.trace import Line, Sum
from monochord.wire.readings import Readings
from monochord.wire.unfold_base import Base, Keys, argument, given, inner, places, times, unknown
from monochord.wire.unfold_drift import Drifts
from monochord.wire.unfold_transfer import Transfers
from monochord.wire.weights import DrivenMode, magnet_nodes, sensor_ratio, weigh

_UNITS = {"S": "m", "C": "m2", "far": "m s2", "lag": "rad", "sag": "m"}
_WORDS = {
    "S": "part of an offset in a reading: the magnet's length as the mode weighs it",
    "C": "part of a slope in a reading: first moment of the magnet as the mode weighs it",
    "far": "answer of all other modes to an offset, per stiffness of this one",
    "lag": "by how much the tails of the other modes turn the phase",
    "sag": "sag of the wire below its chord, as the mode weighs it along the magnet",
}


@dataclass(frozen=True, eq=False, slots=True)
class Weights:
    """Weights of magnets under modes."""

    base: Base
    transfers: Transfers
    drifts: Drifts

    def geometry(self) -> list[Line]:
        """Lines of the wire's start, length and sensors."""
        wire = self.base.evidence.setup.wire
        return [
            given("start of the wire", wire.z_start, "wire.z_start", "m"),
            given("length of the wire", wire.length, "wire.length", "m"),
            given("place of the x sensor", wire.sensor_x_z, "wire.sensor_x_z", "m"),
            given("place of the y sensor", wire.sensor_y_z, "wire.sensor_y_z", "m"),
        ]

    def lit(self, mode: str, magnet: str) -> Readings:
        """The readings of a magnet with its current on, in a mode."""
        for r in self.base.evidence.readings:
            if r.passes.on and r.passes.magnet == magnet and f"mode {r.passes.mode}" == mode:
                return r
        raise unknown(inner("weight", mode, magnet))

    def tell(self, keys: Keys) -> Sum:
        """A weight by its keys: mode, magnet, and one of S, C, far, lag, sag; or "drive" for the mean drive there."""
        if len(keys) != 3 or keys[2] not in (*_UNITS, "drive"):
            raise unknown(inner("weight", *keys))
        mode, magnet, what = keys
        readings = self.lit(mode, magnet)
        return self._drive(keys, readings) if what == "drive" else self._weight(magnet, what, readings)

    def value(self, what: str, readings: Readings) -> float:
        """The weight that the evaluation used."""
        setup, passes = self.base.evidence.setup, readings.passes
        shift = 0.0 if what == "lag" else readings.shift
        w = float(passes.w.mean())
        seen = setup.weigh(passes.magnet, passes.mode, w, shift)
        if what == "sag":
            return seen.sag(setup.wire, setup.f1(shift)) / seen.offset
        return {"S": seen.offset, "C": seen.slope, "far": seen.far, "lag": seen.lag}[what]

    def line(self, what: str, readings: Readings) -> Line:
        """The line of a weight in a formula."""
        mode, magnet = f"mode {readings.passes.mode}", readings.passes.magnet
        words = f"{_WORDS[what]} ({magnet}, {mode})"
        return argument(words, self.value(what, readings), inner("weight", mode, magnet, what), _UNITS[what])

    def _weight(self, name: str, what: str, readings: Readings) -> Sum:
        setup, passes = self.base.evidence.setup, readings.passes
        number, magnet = passes.mode, setup.magnets[name]
        shift, of = self.drifts.block(readings.tuned)
        moved = given("shift since the sweeps, left out", 0.0, "program.wire.detuning.lag_of", "rad/s")
        at = f"girder.items.{name}"
        lines = [
            given("middle of the magnet", magnet.point[2], f"{at}.point.2", "m"),
            given("length of the magnet", magnet.length, f"{at}.length", "m"),
            given("fall-off of its field", magnet.edge, f"{at}.edge", "m"),
            *self.geometry(),
            *self.transfers.of_mode(number),
            *self.transfers.fundamentals(),
            argument("mean drive", readings.w / (2.0 * np.pi), inner("weight", f"mode {number}", name, "drive"), "Hz"),
            moved if what == "lag" else argument("mean shift since the sweeps", shift, of, "rad/s"),
        ]
        if what == "sag":
            lines.append(given("gravity", setup.wire.gravity, "wire.gravity", "m/s2"))

        def made(a: Sequence[float]) -> float:
            there, wire, mode = _scene(a, magnet, setup.wire, number)
            seen = weigh(magnet_nodes(there, wire), mode, 2.0 * np.pi * a[13], a[14])
            if what == "sag":
                wire = replace(wire, gravity=a[15])
                return seen.sag(wire, (a[11] + a[12]) / 2.0 + a[14] / (2.0 * np.pi)) / seen.offset
            return {"S": seen.offset, "C": seen.slope, "far": seen.far, "lag": seen.lag}[what]

        how = _WORDS[what] + ("; integral of sag times weight over that of the weight" if what == "sag" else "")
        name_ = inner("weight", f"mode {number}", name, what)
        return Sum(name_, _UNITS[what], self.value(what, readings), tuple(lines), how, made)

    def _drive(self, keys: Keys, readings: Readings) -> Sum:
        passes = readings.passes
        n = len(passes.w)
        lines = tuple(
            times(f"scan {self.base.names[id(s)]}", len(s.x) / n, s.drive_frequency, unit="Hz", places=places(s, [0]))
            for s in passes.scans
        )
        value = float(passes.w.mean()) / (2.0 * np.pi)
        return Sum(inner("weight", *keys), "Hz", value, lines, "mean drive of the block's readings")


def _scene(a: Sequence[float], magnet: Magnet, wire: Wire, number: int) -> tuple[Magnet, Wire, DrivenMode]:
    """Magnet, wire and mode from the first 13 arguments of a weight."""
    x, y, _ = magnet.point
    there = replace(magnet, point=(x, y, a[0]), length=a[1], edge=a[2])
    wire = replace(wire, z_start=a[3], length=a[4], sensor_x_z=a[5], sensor_y_z=a[6])
    f_a, f_b, decay, turn = a[7:11]
    w_a, w_b, w1 = (2.0 * np.pi * f for f in (f_a, f_b, (a[11] + a[12]) / 2.0))
    return there, wire, DrivenMode(number, w_a, w_b, decay, turn, w1, np.ones(2), sensor_ratio(number, wire))
