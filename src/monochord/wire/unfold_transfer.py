"""Frequencies, damping, turn of the planes and gains as the evaluation used them; fundamentals and sag of the document."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monochord.campaign.given.wire import WireScan
from monochord.ground.string import mid_sag
from monochord.ground.trace import Line, Sum, root_of_sum
from monochord.wire.axes import by_plane
from monochord.wire.resonance import COMMON, Transfer
from monochord.wire.sag import DENSITY, GRAVITY
from monochord.wire.unfold_base import Base, Keys, argument, given, inner, places, times, unknown
from monochord.wire.unfold_sweeps import Sweeps

_ASSUMED = "program.wire.resonance.assumed_transfer"


@dataclass(frozen=True, eq=False, slots=True)
class Transfers:
    """The transfer of one occasion; ``sweeps`` is None where nobody swept."""

    base: Base
    sweeps: Sweeps | None

    @property
    def now(self) -> Transfer:
        """The transfer that the evaluation used."""
        return self.base.evidence.setup.transfer

    def tell(self, keys: Keys) -> Sum:
        """A number of the transfer by its keys: "mode 2/f_a", "turn", "fundamental/a" and so on."""
        match list(keys):
            case ["turn" | "log gain" | "u log gain" | "f1" as what]:
                return {"turn": self._turn, "log gain": self._log_gain, "u log gain": self._u_log_gain, "f1": self._f1}[
                    what
                ]()
            case ["fundamental", ("a" | "b") as plane]:
                return self._fundamental(plane)
            case [mode, ("f_a" | "f_b") as what] if mode.startswith("mode ") and mode[5:].isdigit():
                return self._frequency(int(mode[5:]), what)
            case [mode, ("decay" | "u_f") as what] if mode.startswith("mode ") and mode[5:].isdigit():
                return self._decay(int(mode[5:])) if what == "decay" else self._u_f(int(mode[5:]))
        raise unknown(inner("transfer", *keys))

    # lines that many formulas share

    def of_mode(self, number: int) -> list[Line]:
        """Lines f_a, f_b, decay, turn of a mode."""
        a, b = self.now.frequencies(number)
        mode = f"mode {number}"
        return [
            argument(f"frequency of {mode} in plane a", a, inner("transfer", mode, "f_a"), "Hz"),
            argument(f"frequency of {mode} in plane b", b, inner("transfer", mode, "f_b"), "Hz"),
            argument(f"damping of {mode}", self.now.damping(number), inner("transfer", mode, "decay"), "1/s"),
            argument("turn of the planes", self.now.turn, inner("transfer", "turn"), "rad"),
        ]

    def log_gain(self) -> Line:
        """The line of the gains' ratio."""
        return argument("logarithm of x gain over y gain", self.now.log_gain, inner("transfer", "log gain"), "1")

    def fundamentals(self) -> list[Line]:
        """Lines of the fundamental in the two planes."""
        return [
            argument(f"fundamental in plane {plane}", value, inner("transfer", "fundamental", plane), "Hz")
            for plane, value in zip("ab", self.now.fundamental, strict=True)
        ]

    def _swept(self, number: int) -> int | None:
        at = np.flatnonzero(self.now.modes == number)
        return int(at[0]) if len(at) else None

    def _frequency(self, number: int, what: str) -> Sum:
        name = inner("transfer", f"mode {number}", what)
        value = self.now.frequencies(number)[what == "f_b"]
        at = self._swept(number)
        if at is None:
            plane = what[-1]
            base = self.now.fundamental[what == "f_b"]
            line = times(
                f"fundamental in plane {plane}", number, base, inner("transfer", "fundamental", plane), unit="Hz"
            )
            return Sum(name, "Hz", value, (line,), "nobody swept this mode: a multiple of the fundamental")
        if self.sweeps is None:
            return _from_drives(name, value, self.base.evidence.scans)
        solved = self.sweeps.fit.solved
        sweep, finite = self.sweeps.finite(at)
        j = finite[int(np.argmin(np.abs(solved.stack.w[at, : len(finite)] - solved.stack.w0[at])))]
        mean, half = (float(solved.unknowns[COMMON + 5 * at + i]) for i in (0, 1))
        unit = 1.0 / (2.0 * math.pi)
        side = (1.0 if what == "f_a" else -1.0) * (-1.0 if self._exchanged else 1.0)
        mode = f"mode {number}"
        lines = (
            times(
                "drive at the largest reading", 1.0, float(sweep.frequencies[j]), unit="Hz", places=places(sweep, [j])
            ),
            times("mean of the planes beside it", unit, mean, inner("sweeps", mode, "mean"), unit="rad/s"),
            times("half of what the planes differ by", side * unit, half, inner("sweeps", mode, "half"), unit="rad/s"),
        )
        return Sum(name, "Hz", value, lines, "from the sweep of this mode; plane a is the one of the higher frequency")

    @property
    def _exchanged(self) -> bool:
        """Whether the fit's planes are named the other way round."""
        return self.sweeps is not None and bool(self.sweeps.fit.solved.unknowns[COMMON + 1 :: 5].sum() < 0.0)

    def _turn(self) -> Sum:
        name = inner("transfer", "turn")
        if self.sweeps is None:
            return Sum(name, "rad", 0.0, (given("no turn is known", 0.0, _ASSUMED, "rad"),), "assumed: nobody swept")
        solved = self.sweeps.fit.solved
        lines = [argument("turn by the fit", float(solved.unknowns[0]), inner("sweeps", "turn"), "rad")]
        for i, (sweep, _) in enumerate(self.sweeps.fit.fitted):
            mode = f"mode {sweep.mode}"
            half = float(solved.unknowns[COMMON + 1 + 5 * i])
            lines.append(argument(f"half split of {mode}", half, inner("sweeps", mode, "half"), "rad/s"))

        def folded(a: Sequence[float]) -> float:
            turn = a[0] + (math.pi / 2.0 if sum(a[1:]) < 0.0 else 0.0)
            return float((turn + math.pi / 2.0) % math.pi - math.pi / 2.0)

        how = "the fit's turn, a quarter turn on where its planes are exchanged, folded to half a turn"
        return Sum(name, "rad", self.now.turn, tuple(lines), how, folded)

    def _log_gain(self) -> Sum:
        name = inner("transfer", "log gain")
        if self.sweeps is None:
            return Sum(name, "1", 0.0, (given("gains as told", 0.0, _ASSUMED, "1"),), "assumed: nobody swept")
        line = times("by the sweeps", 1.0, self.now.log_gain, inner("sweeps", "log gain"), unit="1")
        return Sum(name, "1", self.now.log_gain, (line,), "one ratio of gains for all sweeps")

    def _u_log_gain(self) -> Sum:
        name, value = inner("transfer", "u log gain"), self.now.u_log_gain
        if self.sweeps is None:
            return Sum(name, "1", value, (given("as told", value, _ASSUMED, "1"),), "assumed: nobody swept")
        _, unit = self.sweeps.spread(1)
        factor = self.sweeps.fit.solved.square / self.sweeps.fit.solved.dof
        line = times("variance factor of the sweeps", unit, factor, inner("sweeps", "variance factor"), unit="1")
        return Sum(name, "1", value, (line,), "standard uncertainty by the fit of the sweeps", root_of_sum)

    def _decay(self, number: int) -> Sum:
        name, value, at = inner("transfer", f"mode {number}", "decay"), self.now.damping(number), self._swept(number)
        if self.sweeps is None:
            return Sum(
                name, "1/s", value, (given("as benches have it", value, _ASSUMED, "1/s"),), "assumed: nobody swept"
            )
        if at is not None:
            found = float(self.sweeps.fit.solved.unknowns[COMMON + 5 * at + 2])
            sign = -1.0 if found < 0.0 else 1.0
            line = times("by the sweep", sign, found, inner("sweeps", f"mode {number}", "decay"), unit="1/s")
            return Sum(name, "1/s", value, (line,), "damping by the sweep of this mode")
        modes = self.now.modes
        lines = tuple(
            argument(f"damping of mode {n}", float(d), inner("transfer", f"mode {n}", "decay"), "1/s")
            for n, d in zip(modes.tolist(), self.now.decay, strict=True)
        )

        def line_at(a: Sequence[float]) -> float:
            if len(a) == 1:
                return float(a[0])
            slope, start = np.polyfit(modes, np.array(a), 1)
            return float(max(start + slope * number, 0.2 * min(a)))

        return Sum(name, "1/s", value, lines, "on the straight line through the swept modes", line_at)

    def _fundamental(self, plane: str) -> Sum:
        now = self.now
        weight = (now.modes / now.u_f) ** 2
        weight = weight / weight.sum()
        each = now.f_a if plane == "a" else now.f_b
        lines = tuple(
            times(f"mode {n}", w / n, f, inner("transfer", f"mode {n}", f"f_{plane}"), unit="Hz")
            for n, w, f in zip(now.modes.tolist(), weight, each, strict=True)
        )
        how = "mean over the swept modes, each by its number and weighted by its certainty"
        return Sum(inner("transfer", "fundamental", plane), "Hz", now.fundamental[plane == "b"], lines, how)

    def _u_f(self, number: int) -> Sum:
        name, at = inner("transfer", f"mode {number}", "u_f"), self._swept(number)
        if at is None:
            raise unknown(name)
        value = float(self.now.u_f[at])
        if self.sweeps is None:
            return Sum(name, "Hz", value, (given("half a linewidth", value, _ASSUMED, "Hz"),), "assumed: nobody swept")
        variance, unit = self.sweeps.spread(COMMON + 5 * at)
        scale = 1.0 / (2.0 * math.pi) ** 2
        of = inner("sweeps", "variance factor")
        line = times("variance factor of the sweeps", unit * scale, variance / unit if unit else 0.0, of, unit="1")
        least = (1e-9 / (2.0 * math.pi)) ** 2
        how = "standard uncertainty by the fit of the sweeps"
        return Sum(name, "Hz", value, (line,), how, lambda a: math.sqrt(max(a[0], least)))

    def _f1(self) -> Sum:
        unit = 1.0 / (2.0 * math.pi)
        a, b = self.now.fundamental
        lines = (
            times("fundamental in plane a", 0.5, a, inner("transfer", "fundamental", "a"), unit="Hz"),
            times("fundamental in plane b", 0.5, b, inner("transfer", "fundamental", "b"), unit="Hz"),
            times("shift since the sweeps", unit, self.base.evidence.shift, inner("shift"), unit="rad/s"),
        )
        how = "mean of the two planes, moved by the shift since the sweeps"
        return Sum(inner("transfer", "f1"), "Hz", self.base.evidence.sag.f1, lines, how)

    # numbers of the document

    def plane(self, which: str) -> Sum:
        """wire/f1_x or wire/f1_y."""
        at = int(which == "f1_y")
        shift = argument("shift since the sweeps", self.base.evidence.shift, inner("shift"), "rad/s")
        turn = argument("turn of the planes", self.now.turn, inner("transfer", "turn"), "rad")

        def seen(a: Sequence[float]) -> float:
            moved = a[2] / (2.0 * math.pi)
            return by_plane(a[0] + moved, a[1] + moved, a[3])[at]

        how = f"fundamental that {'xy'[at]} sees: stiffness of the two planes as the axis shares them"
        lines = (*self.fundamentals(), shift, turn)
        return Sum(f"wire/{which}", "Hz", self.base.evidence.planes[at], lines, how, seen)

    def sag(self) -> Sum:
        """wire/sag."""
        wire, sag = self.base.evidence.setup.wire, self.base.evidence.sag
        lines = (
            given("gravity", wire.gravity, "wire.gravity", "m/s2"),
            argument("fundamental", sag.f1, inner("transfer", "f1"), "Hz"),
        )
        how = "sag at mid-span: gravity over 32 times the square of the fundamental"
        return Sum("wire/sag", "m", sag.mid, lines, how, lambda a: mid_sag(a[1], a[0]))

    def u_sag(self) -> Sum:
        """wire/u_sag."""
        sag = self.base.evidence.sag
        lines = (
            argument("sag", sag.mid, "wire/sag", "m"),
            argument("its relative variance", sag.relative**2, inner("sag variance"), "1"),
        )
        how = "sag times its relative standard uncertainty"
        return Sum("wire/u_sag", "m", sag.mid * sag.relative, lines, how, lambda a: a[0] * math.sqrt(a[1]))

    def sag_variance(self, keys: Keys) -> Sum:
        """The relative variance of all sags, and its parts."""
        name, sag = inner("sag variance", *keys), self.base.evidence.sag
        parts = self._sag_parts()
        if not keys:
            lines = (
                Line("readings of the sweeps", parts[0], inner("sag variance", "sweeps")),
                Line("which of the two planes counts", parts[1], inner("sag variance", "planes")),
                Line("wire out of tune", parts[2], inner("sag variance", "tune")),
                given("gravity", GRAVITY**2, "program.wire.sag.GRAVITY", "1"),
                given("density along the wire", DENSITY**2, "program.wire.sag.DENSITY", "1"),
            )
            return Sum(name, "1", sag.relative**2, lines, "relative variances of the sag, summed")
        return self._sag_part(keys, name)

    def _sag_part(self, keys: Keys, name: str) -> Sum:
        sag, now, parts = self.base.evidence.sag, self.now, self._sag_parts()
        lines: tuple[Line, ...]
        f1 = argument("fundamental", sag.f1, inner("transfer", "f1"), "Hz")
        modes = now.modes.tolist()
        match list(keys):
            case ["sweeps"]:
                each = [
                    argument(f"uncertainty of mode {n}", float(u), inner("transfer", f"mode {n}", "u_f"), "Hz")
                    for n, u in zip(modes, now.u_f, strict=True)
                ]
                how = "twice the relative uncertainty of the fundamental by all modes, squared"
                lines = (f1, *each)

                def all_modes(a: Sequence[float]) -> float:
                    return 4.0 / a[0] ** 2 / math.fsum((n / u) ** 2 for n, u in zip(modes, a[1:], strict=True))

                return Sum(name, "1", parts[0], lines, how, all_modes)
            case ["planes"]:
                how = "half the split of the planes as the halfwidth of a rectangle: twice its relative value, squared"
                lines = (f1, *self.fundamentals())
                return Sum(name, "1", parts[1], lines, how, lambda a: 4.0 / 3.0 * ((a[1] - a[2]) / 2.0 / a[0]) ** 2)
            case ["tune"]:
                both = [
                    argument(f"mode {n} in plane {p}", float(f), inner("transfer", f"mode {n}", f"f_{p}"), "Hz")
                    for n, a, b in zip(modes, now.f_a, now.f_b, strict=True)
                    for p, f in (("a", a), ("b", b))
                ]
                how = "half the worst departure of a mode from its multiple of the fundamental, squared"
                lines = (*self.fundamentals(), *both)

                def worst(a: Sequence[float]) -> float:
                    f = (a[0] + a[1]) / 2.0
                    each = [(x + y) / 2.0 / n for n, x, y in zip(modes, a[2::2], a[3::2], strict=True)]
                    return float(0.25 * max(abs(e / f - 1.0) for e in each) ** 2)

                return Sum(name, "1", parts[2], lines, how, worst)
        raise unknown(name)

    def _sag_parts(self) -> tuple[float, float, float]:
        f1, now = self.base.evidence.sag.f1, self.now
        a, b = now.fundamental
        fit = 1.0 / float(np.sum((now.modes / now.u_f) ** 2))
        return 4.0 * fit / f1**2, 4.0 / 3.0 * ((a - b) / 2.0 / f1) ** 2, (0.5 * now.inharmonicity) ** 2

    def planes_spread(self, name: str) -> Sum:
        """Variance of the turn of the planes."""
        if self.sweeps is None:
            raise unknown(name)
        _, unit = self.sweeps.spread(0)
        factor = self.sweeps.fit.solved.square / self.sweeps.fit.solved.dof
        line = times("variance factor of the sweeps", unit, factor, inner("sweeps", "variance factor"), unit="1")
        return Sum(name, "rad2", self.now.u_turn**2, (line,), "variance of the turn of the planes by the sweeps")


def _from_drives(name: str, value: float, scans: Sequence[WireScan]) -> Sum:
    """The fundamental where nobody swept: the middle one of the drives by their modes."""
    ordered = sorted(scans, key=lambda s: s.drive_frequency / s.mode)
    if not ordered:
        raise unknown(name)
    middle = ordered[(len(ordered) - 1) // 2 : len(ordered) // 2 + 1]
    lines = tuple(
        times(
            f"drive of scan {s.name}", 1.0 / s.mode / len(middle), s.drive_frequency, unit="Hz", places=places(s, [0])
        )
        for s in middle
    )
    how = f"nobody swept: the middle of the drives of {len(ordered)} scans, each by its mode"
    return Sum(name, "Hz", value, lines, how)
