"""How far the fundamental had moved when a scan was read: the string's drift, told from the phases of all scans."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from monochord.ground.trace import Line, Sum
from monochord.wire.detuning import Followed, Phase, Tuned, told_by_phase
from monochord.wire.drift import LEAST, Drift
from monochord.wire.passes import Passes
from monochord.wire.unfold_base import Base, Keys, Row, argument, given, inner, row_of, setting, times, unknown
from monochord.wire.unfold_transfer import Transfers

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Drifts:
    """Shifts of the fundamental [rad/s], scan by scan; what was worked out once for a scan or a block is kept."""

    base: Base
    transfers: Transfers
    _within: dict[str, tuple[Array, Array]] = field(default_factory=dict)
    _phases: dict[int, Phase] = field(default_factory=dict)
    _gain: list[Array] = field(default_factory=list)

    def _scans(self) -> list[str]:
        """All scans in the order of the drift."""
        return list(self.base.groups)

    @property
    def gain(self) -> Array:
        """Change of the drift's unknowns by what each scan tells (v, k)."""
        if not self._gain:
            self._gain.append(self.drift.system.gain)
        return self._gain[0]

    def _phase(self, tuned: Tuned) -> Phase:
        if id(tuned) not in self._phases:
            self._phases[id(tuned)] = told_by_phase(tuned.passes, tuned.u, self.base.evidence.setup)
        return self._phases[id(tuned)]

    @property
    def drift(self) -> Drift:
        """Of the string through the occasion."""
        return self._tuned(self._scans()[0])[1].drift

    def _tuned(self, scan: str) -> tuple[Tuned, Followed, int]:
        """The tuned passes of a scan, how they were tuned, and its place among their scans."""
        if scan not in self.base.groups:
            raise unknown(f"scan {scan}")
        tuned = self.base.evidence.readings[self.base.groups[scan]].tuned
        if tuned.followed is None:
            raise unknown(f"shift of scan {scan}")
        names = [self.base.names[id(s)] for s in tuned.passes.scans]
        return tuned, tuned.followed, names.index(scan)

    def mean(self, keys: Keys) -> Sum:
        """Mean shift of all scans, of one mode, of one block."""
        name, scans = inner("shift", *keys), self._scans()
        group = {s: self.base.evidence.readings[g].passes for s, g in self.base.groups.items()}
        chosen = [s for s in scans if [f"mode {group[s].mode}", _block(group[s])][: len(keys)] == list(keys)]
        if not scans and not keys:
            how = "no scan: no shift"
            return Sum(name, "rad/s", 0.0, (given("no scan", 0.0, "program.wire.axes.find_axes", "rad/s"),), how)
        if not chosen or len(keys) > 2:
            raise unknown(name)
        shifts = {s: self._shift(s) for s in chosen}
        if len(keys) == 2:
            lines = [
                times(f"scan {s}", 1.0 / len(chosen), v, inner("scan shift", s), unit="rad/s")
                for s, v in shifts.items()
            ]
        else:
            heads: dict[str, list[float]] = {}
            for s in chosen:
                heads.setdefault(_block(group[s]) if keys else f"mode {group[s].mode}", []).append(shifts[s])
            lines = [
                times(head, len(v) / len(chosen), float(np.mean(v)), inner("shift", *keys, head), unit="rad/s")
                for head, v in heads.items()
            ]
        value = self.base.evidence.shift if not keys else float(np.mean(list(shifts.values())))
        return Sum(name, "rad/s", value, tuple(lines), "mean shift of the fundamental since the sweeps")

    def block(self, passes_of: Tuned) -> tuple[float, str]:
        """Mean shift of one block's scans and its name."""
        keys = (f"mode {passes_of.passes.mode}", _block(passes_of.passes))
        return float(passes_of.shift.mean()), inner("shift", *keys)

    def _shift(self, scan: str) -> float:
        tuned, _, i = self._tuned(scan)
        return float(tuned.shift[i])

    def scan(self, keys: Keys) -> Sum:
        """Shift of one scan, or the part of it that the scans of one mode told."""
        tuned, by, i = self._tuned(keys[0])
        name = inner("scan shift", *keys)
        if by.far[i]:
            if len(keys) > 1:
                raise unknown(name)
            line = times("as its own phase tells", 1.0, by.own[i, 0], inner("own shift", keys[0]), unit="rad/s")
            how = "too far off to be one with the other scans"
            return Sum(name, "rad/s", float(tuned.shift[i]), (line,), how)
        gain = by.drift.system.feels[by.first + i] @ self.gain
        how = "one smooth drift of the string through all scans, with small offsets of modes and of blocks"
        return self._told(keys[1:], gain, float(tuned.shift[i]), how, head=("scan shift", keys[0]))

    def run(self, keys: Keys) -> Sum:
        """The drift at one moment."""
        drift = self.drift
        if not keys or not keys[0].isdigit() or not 1 <= int(keys[0]) <= len(drift.times):
            raise unknown(inner("drift", *keys))
        k = int(keys[0]) - 1
        how = f"the drift {drift.times[k]:.0f} s after the first reading, from all scans"
        return self._told(keys[1:], self.gain[k], float(drift.run[k]), how, head=("drift", keys[0]))

    def _told(self, keys: Keys, gain: Array, value: float, how: str, *, head: tuple[str, ...]) -> Sum:
        """A linear function of what the scans told by themselves, mode by mode."""
        name = inner(*head, *keys)
        lines: dict[str, list[Line]] = {}
        for scan, factor in zip(self._scans(), gain.tolist(), strict=True):
            tuned, by, i = self._tuned(scan)
            if factor != 0.0:
                line = times(f"scan {scan}", factor, by.own[i, 0], inner("own shift", scan), unit="rad/s")
                lines.setdefault(f"mode {tuned.passes.mode}", []).append(line)
        if not keys and not lines:
            line = given("expected beforehand", 0.0, "program.wire.drift.MODE", "rad/s")
            return Sum(name, "rad/s", value, (line,), "no scan tells its phase: no shift is known")
        if not keys:
            heads = tuple(
                Line(f"told in {mode}", math.fsum(li.amount for li in own), inner(*head, mode))
                for mode, own in lines.items()
            )
            return Sum(name, "rad/s", value, heads, how)
        if len(keys) > 1 or keys[0] not in lines:
            raise unknown(name)
        own = tuple(lines[keys[0]])
        return Sum(name, "rad/s", math.fsum(li.amount for li in own), own, f"{how}: the part of {keys[0]}")

    def reading(self, row: Row) -> tuple[float, Sum]:
        """Shift at one reading: of its scan, and how the drift ran within the scan."""
        tuned, by, i = self._tuned(row.scan)
        passes, drift = tuned.passes, by.drift
        if row.scan not in self._within:
            time = passes.time[passes.scan == i]
            at = np.stack([np.interp(time, drift.times, one) for one in np.eye(len(drift.times))], axis=1)
            run = np.interp(time, drift.times, drift.run)
            self._within[row.scan] = at - at.mean(axis=0), run - run.mean()
        factors, away = (each[row.number] for each in self._within[row.scan])
        lines = [times("its scan", 1.0, tuned.shift[i], inner("scan shift", row.scan), unit="rad/s")]
        lines += [
            times("drift within the scan", factors[k], drift.run[k], inner("drift", int(k) + 1), unit="rad/s")
            for k in np.flatnonzero(factors)
        ]
        value = float(away + tuned.shift[i])
        name = inner("shift at", row.scan, row.number + 1)
        return value, Sum(name, "rad/s", value, tuple(lines), "shift of the scan, running as the drift does within it")

    def at(self, keys: Keys) -> Sum:
        """The same by its keys."""
        row = row_of(keys)
        self.base.at(row)
        return self.reading(row)[1]

    def own(self, keys: Keys) -> Sum:
        """What one scan's own phase tells: all its readings, or one of them."""
        tuned, by, i = self._tuned(keys[0])
        name, value = inner("own shift", *keys), float(by.own[i, 0])
        if not np.isfinite(value):
            raise unknown(name)
        told = self._phase(tuned)
        here = np.flatnonzero(tuned.passes.scan == i)
        weight = -told.along[:, here] / (2.0 * tuned.passes.w[here] * tuned.passes.mode) / told.size[i]
        amounts = weight * told.lagging[:, here]
        if len(keys) == 1:
            lines = tuple(
                Line(f"reading {j + 1}", float(amounts[:, j].sum()), inner("own shift", keys[0], j + 1))
                for j in range(len(here))
            )
            how = (
                "least squares: the detuning that turns the part of the signal with the magnet's law into its own phase"
            )
            return Sum(name, "rad/s", value, lines, how)
        row = row_of(keys)
        if row.number >= len(here):
            raise unknown(name)
        j = row.number
        rows = tuple(
            times(
                f"force on {p} out of phase",
                weight[c, j],
                told.lagging[c, here[j]],
                inner("lagging", *keys, p),
                unit="m/s2",
            )
            for c, p in enumerate("xy")
        )
        return Sum(name, "rad/s", float(amounts[:, j].sum()), rows, "force out of phase, by its weight")

    # uncertainties

    def u_scan(self, keys: Keys) -> Sum:
        """Variance of one scan's shift by the drift."""
        tuned, by, i = self._tuned(keys[0])
        name, system = inner("shift variance", *keys), by.drift.system
        feels = system.feels[by.first + i]
        gain = feels @ self.gain
        told = {s: float(g) for s, g in zip(self._scans(), gain, strict=True) if g != 0.0}
        modes: dict[str, list[str]] = {}
        for s in told:
            modes.setdefault(f"mode {self._tuned(s)[0].passes.mode}", []).append(s)
        if len(keys) == 2 and keys[1] in modes:
            rows = tuple(self._one_told(s, told[s]) for s in modes[keys[1]])
            how = "squared factor of each scan times the variance of what it told"
            return Sum(name, "rad2/s2", math.fsum(r.amount for r in rows), rows, how)
        if len(keys) != 1:
            raise unknown(name)
        lines = []
        for m, own in modes.items():
            share = math.fsum(self._one_told(s, told[s]).amount for s in own)
            lines.append(Line(f"what the scans in {m} told", share, inner("shift variance", keys[0], m)))
        carried = feels @ system.cov
        n = system.smooth.shape[1]
        lines.append(
            Line(
                "offsets as expected beforehand",
                float(system.prior @ carried**2),
                places=setting("program.wire.drift.MODE"),
            )
        )
        bends = float(np.sum((system.smooth @ carried[:n]) ** 2))
        lines.append(Line("bends of the drift as expected", bends, places=setting("program.wire.drift._SLOPE")))
        how = "variance of the drift's fit at this scan: by what was told, and by what was expected beforehand"
        return Sum(name, "rad2/s2", float(tuned.u_shift[i] ** 2), tuple(lines), how)

    def _one_told(self, scan: str, factor: float) -> Line:
        _, by, i = self._tuned(scan)
        variance = float(by.drift.system.sigma[by.first + i] ** 2)
        return times(f"scan {scan}", factor**2, variance, inner("own variance", scan), unit="rad2/s2")

    def u_own(self, keys: Keys) -> Sum:
        """Variance of what one scan told: noise beside its signal, and a least one."""
        scan = keys[0]
        tuned, by, i = self._tuned(scan)
        name, setup = inner("own variance", *keys), self.base.evidence.setup
        if not np.isfinite(by.own[i, 1]):
            raise unknown(name)
        told = self._phase(tuned)
        number = tuned.passes.mode
        mode = setup.mode(number)
        if keys[1:] == ["signal"]:
            here = np.flatnonzero(tuned.passes.scan == i)
            each = (told.along[:, here] ** 2).sum(axis=0)
            rows = tuple(
                Line(f"reading {j + 1}", float(v), places=self.base.place(Row(scan, j))) for j, v in enumerate(each)
            )
            return Sum(name, "m2", float(told.size[i]), rows, "squares of the signal's part that has the magnet's law")
        if len(keys) > 1:
            raise unknown(name)
        largest = float(np.abs(mode.unsee).max())
        lines = (
            argument("noise of one reading", setup.noise, inner("noise", "first"), "m"),
            argument("squared signal", float(told.size[i]), inner("own variance", scan, "signal"), "m2"),
            argument(f"damping of mode {number}", mode.decay, inner("transfer", f"mode {number}", "decay"), "1/s"),
            given("least uncertainty of a scan's own shift", LEAST, "program.wire.drift.LEAST", "rad/s"),
        )

        def made(a: Sequence[float]) -> float:
            return float((a[0] * largest / math.sqrt(a[1]) * a[2] / number) ** 2 + a[3] ** 2)

        how = "noise over signal, in half linewidths, squared, and the square of the least one"
        return Sum(name, "rad2/s2", float(by.drift.system.sigma[by.first + i] ** 2), lines, how, made)

    def used_variance(self, tuned: Tuned) -> Line:
        """The line of the largest variance of the shift of a block's scans."""
        i = int(np.argmax(tuned.u_shift))
        scan = self.base.names[id(tuned.passes.scans[i])]
        variance = float(tuned.u_shift[i]) ** 2
        return argument(f"variance of the shift of scan {scan}", variance, inner("shift variance", scan), "rad2/s2")


def _block(passes: Passes) -> str:
    """Name of a block of scans."""
    return f"{passes.magnet}, {'on' if passes.on else 'off'}"
