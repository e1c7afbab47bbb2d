"""Readings told from their rows: as read, without what far modes leak, corrected for the sensors.

Int (By + i Bx) W dz = L mu / (2 I) (-Re (K u)_x + i Re (K u)_y),   u = raw reading / (gain sin(k s))
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monochord.ground.trace import Line, Sum
from monochord.wire.model import ComplexArray, stiffness
from monochord.wire.readings import BENCH, COLUMN
from monochord.wire.unfold_base import FIELD, Base, Keys, Row, argument, given, inner, part_of, row_of, times, unknown
from monochord.wire.unfold_drift import Drifts
from monochord.wire.unfold_transfer import Transfers
from monochord.wire.unfold_weights import Weights

#: Stages of a reading, in the order of the rounds; "plain" is what the quadratures alone would have read.
STAGES = ("as read", "without far modes", "corrected")
_SIGNALS = ("x sensor, in phase", "x sensor, in quadrature", "y sensor, in phase", "y sensor, in quadrature")


@dataclass(frozen=True, eq=False, slots=True)
class Rows:
    """Readings of all scans, reading by reading."""

    base: Base
    transfers: Transfers
    drifts: Drifts
    weights: Weights

    def stage(self, keys: Keys, stage: int) -> Sum:
        """Part "by" or "bx" of one reading in one round."""
        row, part = row_of(keys[:2]), keys[2] if len(keys) == 3 else ""
        if part not in FIELD:
            raise unknown(inner(STAGES[stage], *keys))
        if stage == 0:
            return self._read(row, part)
        return self._without(row, part) if stage == 1 else self._corrected(row, part)

    def value(self, row: Row, stage: int, column: str = "value") -> complex:
        """A reading [T m] in one round."""
        _, n = self.base.at(row)
        readings, _ = self.base.readings(row.scan, stage)
        return complex(readings.columns[n, COLUMN[column]])

    def name(self, row: Row, stage: int, part: str) -> str:
        """Name of a reading in one round."""
        return inner(STAGES[stage], row.scan, row.number + 1, part)

    def line(self, row: Row, stage: int, part: str, factor: float) -> Line:
        """A line that is a factor times a reading."""
        words = f"reading {row.number + 1} of scan {row.scan}, {'By' if part == 'by' else 'Bx'}, {STAGES[stage]}"
        value = part_of(self.value(row, stage), part)
        return times(words, factor, value, self.name(row, stage, part), unit="T m")

    def _signal(self, row: Row) -> list[Line]:
        """The four raw numbers of a row, and the state of the wire when it was read: 16 lines."""
        scan, place = self.base.scans[row.scan], self.base.place(row)
        raw = (scan.x[row.number].real, scan.x[row.number].imag, scan.y[row.number].real, scan.y[row.number].imag)
        lines = [times(words, 1.0, v, unit="m", places=place) for words, v in zip(_SIGNALS, raw, strict=True)]
        lines += [*self.transfers.of_mode(scan.mode), self.transfers.log_gain(), *self.weights.geometry()]
        lines.append(times("drive frequency", 1.0, scan.drive_frequency, unit="Hz", places=place))
        return lines

    def _force(self, row: Row) -> list[Line]:
        """Lines that turn a signal into a field: those of the signal, shift, drive current, density: 17 lines."""
        scan, wire = self.base.scans[row.scan], self.base.evidence.setup.wire
        shift, told = self.drifts.reading(row)
        return [
            *self._signal(row),
            argument("shift of the fundamental when it was read", shift, told.name, "rad/s"),
            times("drive current", 1.0, scan.drive_current, unit="A", places=self.base.place(row)),
            given("mass per length", wire.mass_per_length, "wire.mass_per_length", "kg/m"),
        ]

    def _read(self, row: Row, part: str) -> Sum:
        number = self.base.scans[row.scan].mode
        how = "the signal times the stiffness of the driven mode is the force; over the current it is the field"
        name, value = self.name(row, 0, part), part_of(self.value(row, 0), part)
        return Sum(name, "T m", value, tuple(self._force(row)), how, lambda a: part_of(_field(a, number), part))

    def plain(self, keys: Keys) -> Sum:
        """The same reading off the quadratures alone."""
        row, part = row_of(keys[:2]), keys[2] if len(keys) == 3 else ""
        name = inner("plain", *keys)
        if part not in FIELD:
            raise unknown(name)
        number = self.base.scans[row.scan].mode
        how = "field that the quadrature of each sensor alone would tell: no detuning, no coupling of the planes"
        value = part_of(self.value(row, 0, "plain"), part)
        return Sum(name, "T m", value, tuple(self._force(row)), how, lambda a: part_of(_plain(a, number), part))

    def lagging(self, keys: Keys) -> Sum:
        """Force out of phase at the x or the y sensor, per mass [m/s2], against the resonance of the sweeps."""
        row, plane = row_of(keys[:2]), keys[2] if len(keys) == 3 else ""
        name = inner("lagging", *keys)
        if plane not in ("x", "y"):
            raise unknown(name)
        readings, n = self.base.at(row)
        setup, passes = self.base.evidence.setup, readings.passes
        number = passes.mode
        lines = [*self._signal(row), self.weights.line("lag", readings)]
        force = setup.mode(number).kernel(passes.w[n], 0.0) @ readings.tuned.u[:, n]
        seen = force[int(plane == "y")]
        value = float(seen.imag - self.weights.value("lag", readings) * seen.real)

        def made(a: Sequence[float]) -> float:
            _, _, bent = _bent([*a[:14], 0.0], number)
            there = bent[int(plane == "y")]
            return float(there.imag - a[14] * there.real)

        how = "the signal times the stiffness as the sweeps told it: what of it is out of phase with the drive"
        return Sum(name, "m/s2", value, tuple(lines), how, made)

    def _without(self, row: Row, part: str) -> Sum:
        line = self.line(row, 0, part, 1.0)
        value = part_of(self.value(row, 1), part)
        lines = [line]
        if self.sharpest(row) is not None:
            leak = self.leak([row.scan, str(row.number + 1), part])
            lines.append(
                times("less what the other modes leak across the planes", 1.0, leak.value, leak.name, unit="T m")
            )
        how = "the reading without what the far modes leak through the split of the planes"
        return Sum(self.name(row, 1, part), "T m", value, tuple(lines), how)

    def sharpest(self, row: Row) -> tuple[str, str] | None:
        """Mode and magnet of the first round's block that tells what far modes leak into a reading; None when nothing."""
        readings, _ = self.base.at(row)
        if not readings.passes.on or self.base.groups[row.scan] not in self.base.rounds:
            return None
        own = [b for b in self.base.evidence.sound.rounds[0].blocks if b.magnet.name == readings.passes.magnet]
        if not own:
            return None
        best = min(own, key=lambda b: b.sharpness)
        return f"mode {best.mode}", best.magnet.name

    def leak(self, keys: Keys) -> Sum:
        """What is taken off a reading for the far modes."""
        row, part = row_of(keys[:2]), keys[2] if len(keys) == 3 else ""
        name, best = inner("leak", *keys), self.sharpest(row)
        if part not in FIELD or best is None:
            raise unknown(name)
        block = next(b for b in self.base.evidence.sound.rounds[0].blocks if (f"mode {b.mode}", b.magnet.name) == best)
        readings, _ = self.base.at(row)
        scan, place, zero, number = (
            self.base.scans[row.scan],
            self.base.place(row),
            block.law.zero,
            readings.passes.mode,
        )
        lines = [self.weights.line("far", readings)]
        for words, q, value in (("real", "re", block.lead.real), ("imaginary", "im", block.lead.imag)):
            of = inner("law", 1, *best, "strength", q)
            lines.append(argument(f"strength per metre and ampere, {words} part", value, of))
        for p, value in (("x", zero.real), ("y", zero.imag)):
            lines.append(argument(f"zero in {p}, first round", value, inner("law", 1, *best, "zero", p), "m"))
        lines += self.transfers.of_mode(number)
        stages = (scan.stage_x[row.number], scan.stage_y[row.number], scan.magnet_current)
        for words, value, unit in zip(("stages x", "stages y", "magnet current"), stages, ("m", "m", "A"), strict=True):
            lines.append(times(words, 1.0, value, unit=unit, places=place))
        power = block.magnet.order - 1

        def made(a: Sequence[float]) -> float:
            answer = a[0] * complex(a[1], a[2]) * a[11] * (complex(a[9], a[10]) - complex(a[3], a[4])) ** power
            split = 2.0 * np.pi**2 * (a[5] ** 2 - a[6] ** 2)
            return part_of(complex(-split * np.exp(-2j * a[8]) * answer.conjugate()), part)

        value = made([line.amount for line in lines])
        how = "the other modes do not know the split of this one, but are divided by its stiffness with it"
        return Sum(name, "T m", value, tuple(lines), how, made)

    def _corrected(self, row: Row, part: str) -> Sum:
        number, values = self.base.scans[row.scan].mode, self.base.evidence.sound.sensors.values
        lines = [self.line(row, 1, part, 1.0)]
        lines += [
            argument(_WORDS[q], v, inner("sensor", q), u) for (q, v), u in zip(values.items(), _UNITS, strict=True)
        ]
        lines += self._force(row)

        def made(a: Sequence[float]) -> float:
            return a[0] + part_of(_change(a[5:], a[1:5], number), part)

        how = "the reading as sensors of equal gain, square to each other and straight would have shown it"
        return Sum(self.name(row, 2, part), "T m", part_of(self.value(row, 2), part), tuple(lines), how, made)


_WORDS = dict(
    zip(
        BENCH,
        ("ratio of the sensors' gains", "sensors not square", "x sensor curved", "y sensor curved"),
        strict=True,
    )
)
_UNITS = ("1", "rad", "1/m2", "1/m2")


def _bent(a: Sequence[float], number: int) -> tuple[float, ComplexArray, ComplexArray]:
    """Drive [rad/s], modal displacement (2,) [m] and force per mass (2,) [m/s2] from the lines of a signal and the shift."""
    x, y = complex(a[0], a[1]), complex(a[2], a[3])
    log_gain, start, length, at_x, at_y, drive = a[8:14]
    w = 2.0 * np.pi * drive
    shape = np.sin(number * np.pi * (np.array([at_x, at_y]) - start) / length)
    u = np.exp(np.array([-0.5, 0.5]) * log_gain) / shape * np.array([x, y])
    return w, u, _kernel(a, number, w) @ u


def _kernel(a: Sequence[float], number: int, w: float) -> ComplexArray:
    """Stiffness (2, 2) [1/s2] when the reading was taken."""
    moved = 2.0 * w * number * a[14] * np.eye(2)
    return np.asarray(stiffness(2.0 * np.pi * a[4], 2.0 * np.pi * a[5], a[6], a[7], w) + moved, complex)


def _field(a: Sequence[float], number: int) -> complex:
    """The field integral [T m] from the 17 lines of a reading."""
    _, _, force = _bent(a, number)
    return _unit(a) * complex(-force[0].real, force[1].real)


def _change(a: Sequence[float], bench: Sequence[float], number: int) -> complex:
    """What the sensors' gain, squareness and curvatures change in a reading of 17 lines [T m]."""
    w, u, _ = _bent(a, number)
    gain, square, *curves = bench
    shape = u / np.array([complex(a[0], a[1]), complex(a[2], a[3])])
    bent = np.array(curves) * u * np.abs(u / shape) ** 2
    moved = gain * np.array([-0.5, 0.5]) * u - 0.5 * square * u[::-1] + bent
    force = _kernel(a, number, w) @ moved
    return _unit(a) * complex(-force[0].real, force[1].real)


def _plain(a: Sequence[float], number: int) -> complex:
    w, u, _ = _bent(a, number)
    plain = -2.0 * a[6] * w * u.imag
    return _unit(a) * complex(-plain[0], plain[1])


def _unit(a: Sequence[float]) -> float:
    return a[10] * a[16] / (2.0 * a[15])
