"""The sensors' gains, squareness and curvature told from residuals of all laws; and the noise of the readings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from monochord.ground.trace import Line, Place, Sum
from monochord.wire.law_nodes import LawNode
from monochord.wire.readings import BENCH
from monochord.wire.sensors import SEEN, expected, plausible, solve_bench
from monochord.wire.setup import FOURTH, fourth_differences
from monochord.wire.unfold_base import Keys, argument, by_scan, given, inner, places, setting, times, unknown
from monochord.wire.unfold_law import Laws
from monochord.wire.unfold_transfer import Transfers

Array = NDArray[np.float64]

_PRIORS = ("gain", "program.wire.sensors.SQUARE", "program.wire.sensors.CURVE", "program.wire.sensors.CURVE")
_ALL = np.ones(4, bool)


@dataclass(frozen=True, eq=False)
class Sensors:
    """The least squares of the sensors, over all laws of the second round that are no outliers."""

    laws: Laws
    transfers: Transfers

    @cached_property
    def witnesses(self) -> dict[str, LawNode]:
        """The laws whose residuals told the sensors, by a name of each."""
        one = self.laws.base.evidence.sound.rounds[1]
        kept = {id(law) for law in plausible([*(b.law for b in one.blocks), *(b.law for b in one.backgrounds)])}
        nodes = {id(n.law): n for n in self.laws.nodes.values() if n.stage == 1 and id(n.law) in kept}
        own = [n.mixed[0][1] if n.mixed else n for n in nodes.values()]
        return {", ".join(n.keys[1:]): n for n in own}

    @cached_property
    def normal(self) -> Array:
        """F'F (4, 4)."""
        each = [n.law.free.T @ n.law.free for n in self.witnesses.values()]
        return np.asarray(sum(each, np.zeros((4, 4))), float)

    @cached_property
    def side(self) -> Array:
        """-F'r (4,)."""
        each = [-(n.law.free.T @ n.law.residual) for n in self.witnesses.values()]
        return np.asarray(sum(each, np.zeros(4)), float)

    @cached_property
    def prior(self) -> Array:
        """Standard deviations expected beforehand (4,)."""
        return expected(self.laws.base.evidence.setup)

    @cached_property
    def keep(self) -> NDArray[np.bool_]:
        """Which of the four are used (4,)."""
        values, cov = solve_bench(self.normal, self.side, self.prior, _ALL)
        return np.array([True, True, *(np.abs(values[2:]) > SEEN * np.sqrt(np.diag(cov))[2:])])

    @property
    def dof(self) -> int:
        """Readings less unknowns of all laws that told."""
        return self.laws.base.evidence.sound.sensors.dof

    @property
    def variance(self) -> float:
        """Of one reading, per component, as the last round used it [m2]."""
        evidence = self.laws.base.evidence
        return (evidence.sound.rounds[2].noisier * evidence.setup.noise) ** 2

    def noise_line(self, words: str, factor: float) -> Line:
        """A line that is a factor times the variance of one reading."""
        return times(words, factor, self.variance, inner("noise", "variance"), unit="m2")

    # the sensors

    def tell(self, keys: Keys) -> Sum:
        """A number of the sensors by its keys."""
        match list(keys):
            case ["normal", i, j] if i in "0123" and j in "0123":
                return self._normal(int(i), int(j))
            case ["expected", bench] if bench in BENCH:
                return self._expected(BENCH.index(bench))
            case [bench] if bench in BENCH and not self.keep[BENCH.index(bench)]:
                return self._unused(BENCH.index(bench))
            case [bench, "tried", "variance"] if bench in BENCH:
                q = BENCH.index(bench)
                return self._spread(inner("sensor", *keys), q, q, _ALL, unit="1/m4")
            case [bench, "tried", *rest] if bench in BENCH:
                return self._value(BENCH.index(bench), ("tried",), rest, _ALL)
            case [bench, *rest] if bench in BENCH:
                return self._value(BENCH.index(bench), (), rest, self.keep)
        raise unknown(inner("sensor", *keys))

    def _value(self, q: int, head: tuple[str, ...], rest: Keys, keep: NDArray[np.bool_]) -> Sum:
        values, cov = solve_bench(self.normal, self.side, self.prior, keep)
        name, unit = inner("sensor", BENCH[q], *head, *rest), _unit(q)
        if not rest:
            lines = []
            for label, law in self.witnesses.items():
                share = -float(cov[q] @ (law.law.free.T @ law.law.residual))
                lines.append(Line(f"residuals of {label}", share, inner("sensor", BENCH[q], *head, label)))
            lines.append(Line("expected beforehand: none", 0.0, unit=unit, places=self._prior_places(q)))
            how = "least squares over the residuals of all field laws: what no field could do"
            return Sum(name, unit, float(values[q]), tuple(lines), how)
        if rest[0] not in self.witnesses or len(rest) > 2:
            raise unknown(name)
        node = self.witnesses[rest[0]]
        weight = -(node.law.free @ cov[q])
        amounts, n, scans = weight * node.law.residual, len(node.rows), by_scan(node.rows)
        if len(rest) == 1:
            heads = [
                Line(
                    f"scan {s}", math.fsum([*amounts[at], *amounts[n + at]]), inner("sensor", BENCH[q], *head, *rest, s)
                )
                for s, at in scans.items()
            ]
            return Sum(name, unit, math.fsum(amounts), tuple(heads), "residuals of the law, by their weights")
        if rest[1] not in scans:
            raise unknown(name)
        rows = []
        for i in scans[rest[1]].tolist():
            row = node.rows[i]
            for half, k in (("by", i), ("bx", n + i)):
                of = self.laws.name(node, "residual", row.scan, row.number + 1, half)
                words = f"residual of reading {row.number + 1}, {'By' if half == 'by' else 'Bx'}"
                rows.append(times(words, weight[k], node.law.residual[k], of, unit="1"))
        return Sum(
            name, unit, math.fsum(r.amount for r in rows), tuple(rows), "residuals of the scan, by their weights"
        )

    def _prior_places(self, q: int) -> tuple[Place, ...]:
        measured = self.laws.base.evidence.setup.transfer.measured
        if q == 0:
            return setting("wire.u_gain")
        return setting("program.wire.sensors.MIXED" if q == 1 and not measured else _PRIORS[q])

    def _expected(self, q: int) -> Sum:
        name, value = inner("sensor", "expected", BENCH[q]), float(self.prior[q])
        setup = self.laws.base.evidence.setup
        if q == 0 and setup.transfer.measured:
            least = given("least that is believed", 1e-4, "program.wire.sensors.expected", "1")
            of = inner("transfer", "u log gain")
            lines = (
                argument("uncertainty of the gains' ratio by the sweeps", setup.transfer.u_log_gain, of, "1"),
                least,
            )
            return Sum(name, "1", value, lines, "how well the sweeps told the ratio of gains", max)
        if q == 0:
            lines = (
                given("uncertainty of one gain", setup.wire.u_gain, "wire.u_gain", "1"),
                given("least that is believed", 1e-4, "program.wire.sensors.expected", "1"),
            )
            how = "two gains, each as well as it is told"
            return Sum(name, "1", value, lines, how, lambda a: max(math.sqrt(2.0) * a[0], a[1]))
        key = self._prior_places(q)[0].column
        return Sum(
            name, _unit(q), value, (given("as such sensors are", value, key, _unit(q)),), "common practice, no source"
        )

    def _unused(self, q: int) -> Sum:
        values, cov = solve_bench(self.normal, self.side, self.prior, _ALL)
        lines = (
            argument("found when all are used", float(values[q]), inner("sensor", BENCH[q], "tried"), _unit(q)),
            argument("its variance", float(cov[q, q]), inner("sensor", BENCH[q], "tried", "variance"), "1/m4"),
        )

        def decide(a: Sequence[float]) -> float:
            return a[0] if abs(a[0]) > SEEN * math.sqrt(a[1]) else 0.0

        how = f"used only when it is more than {SEEN:g} times its standard uncertainty, which it is not"
        return Sum(inner("sensor", BENCH[q]), _unit(q), 0.0, lines, how, decide)

    def _normal(self, i: int, j: int) -> Sum:
        lines = tuple(
            Line(label, float(n.law.free[:, i] @ n.law.free[:, j]), places=self._rows(n))
            for label, n in self.witnesses.items()
        )
        how = "what the readings of each law can tell of it: squares of what no field could do"
        value = float(self.normal[i, j])
        return Sum(inner("sensor", "normal", i, j), "1", value, lines, how)

    def _rows(self, node: LawNode) -> tuple[Place, ...]:
        base = self.laws.base
        return tuple(
            p for s, at in by_scan(node.rows).items() for p in places(base.scans[s], [node.rows[k].number for k in at])
        )

    def _spread(self, name: str, i: int, j: int, keep: NDArray[np.bool_], *, unit: str, factor: bool = False) -> Sum:
        _, cov = solve_bench(self.normal, self.side, self.prior, keep)
        pairs = [(a, b) for a in range(4) for b in range(a, 4)]
        lines = [
            argument(
                f"information on {BENCH[a]} and {BENCH[b]}", float(self.normal[a, b]), inner("sensor", "normal", a, b)
            )
            for a, b in pairs
        ]
        lines += [
            argument(f"expected size of {b}", float(self.prior[q]), inner("sensor", "expected", b), _unit(q))
            for q, b in enumerate(BENCH)
        ]
        more = max(self.factor, 1.0) if factor else 1.0
        if factor:
            lines.append(argument("true over first noise, squared", self.factor, inner("noise", "factor"), "1"))

        def made(a: Sequence[float]) -> float:
            normal = np.zeros((4, 4))
            for (r, c), value in zip(pairs, a, strict=False):
                normal[r, c] = normal[c, r] = value
            _, again = solve_bench(normal, self.side, np.array(a[10:14]), keep)
            return float(again[i, j]) * (max(a[14], 1.0) if factor else 1.0)

        how = "inverse of the information of all laws, with what was expected beforehand"
        return Sum(name, unit, float(cov[i, j]) * more, tuple(lines), how, made)

    def spread(self, name: str, i: int, j: int) -> Sum:
        """Entry of the covariance of the four numbers."""
        return self._spread(name, i, j, self.keep, unit="", factor=True)

    # noise

    @property
    def factor(self) -> float:
        """True over first noise, squared, as all laws together show it."""
        if self.dof <= 0:
            return 1.0
        values = np.array(list(self.laws.base.evidence.sound.sensors.values.values()))
        square = sum(n.law.square for n in self.witnesses.values())
        return float(square - 2.0 * float(self.side @ values) + float(values @ self.normal @ values)) / self.dof

    def noise(self, keys: Keys) -> Sum:
        """Noise of one reading: first told by each scan alone, then by all field laws."""
        setup = self.laws.base.evidence.setup
        match list(keys):
            case ["first"]:
                return self._first()
            case ["first", scan] if scan in self.laws.base.scans:
                return self._of_scan(scan)
            case ["factor"]:
                return self._factor()
            case ["variance"]:
                lines = (
                    argument("noise by each scan alone", setup.noise, inner("noise", "first"), "m"),
                    argument("true over first noise, squared", self.factor, inner("noise", "factor"), "1"),
                )
                how = "variance of one reading, as the residuals of all field laws show it"
                made = _scaled
                return Sum(inner("noise", "variance"), "m2", self.variance, lines, how, made)
            case ["final"]:
                line = self.noise_line("variance of one reading", 1.0)
                value = math.sqrt(self.variance)
                return Sum(
                    inner("noise", "final"), "m", value, (line,), "noise of one reading", lambda a: math.sqrt(a[0])
                )
        raise unknown(inner("noise", *keys))

    def _factor(self) -> Sum:
        name = inner("noise", "factor")
        if self.dof <= 0:
            line = given("no reading is left over", 1.0, "program.wire.sensors.judge_sensors", "1")
            return Sum(name, "1", 1.0, (line,), "taken as first told")
        lines = [
            Line(f"squares of {label}", n.law.square, self.laws.name(n, "squares"))
            for label, n in self.witnesses.items()
        ]
        values = self.laws.base.evidence.sound.sensors.values
        around = self.normal @ np.array(list(values.values()))
        for q, (bench, value) in enumerate(values.items()):
            words = f"taken off by the sensors' {bench}"
            lines.append(times(words, -2.0 * self.side[q] + around[q], value, inner("sensor", bench), unit=_unit(q)))
        rows = [p for n in self.witnesses.values() for p in self._rows(n)[:1]]
        lines.append(Line("degrees of freedom: readings less unknowns", float(self.dof), places=tuple(rows)))
        how = "squared residuals, in units of the first noise, over the degrees of freedom"
        return Sum(name, "1", self.factor, tuple(lines), how, lambda a: math.fsum(a[:-1]) / a[-1])

    def _first(self) -> Sum:
        base, value = self.laws.base, self.laws.base.evidence.setup.noise
        told = sorted((v, s) for s in base.scans if (v := self._scan_noise(s)) is not None)
        middle = told[(len(told) - 1) // 2 : len(told) // 2 + 1]
        name = inner("noise", "first")
        if not sum(v for v, _ in middle) > 0.0:
            line = given("a common lock-in", value, "program.wire.setup.reading_noise", "m")
            return Sum(name, "m", value, (line,), "no scan has even steps and noise to tell it")
        lines = tuple(argument(f"variance by scan {s}", v, inner("noise", "first", s), "m2") for v, s in middle)
        how = f"the middle one of what {len(told)} scans show by themselves"
        return Sum(name, "m", value, lines, how, lambda a: math.sqrt(sum(a) / len(a)))

    def _scan_noise(self, scan: str) -> float | None:
        rough = fourth_differences(self.laws.base.scans[scan])
        return None if rough is None else float(np.vdot(rough, rough).real) / rough.size / 2.0 / FOURTH

    def _of_scan(self, scan: str) -> Sum:
        source = self.laws.base.scans[scan]
        rough = fourth_differences(source)
        value = self._scan_noise(scan)
        if rough is None or value is None:
            raise unknown(inner("noise", "first", scan))
        each = (np.abs(rough) ** 2).sum(axis=0) / rough.size / 2.0 / FOURTH
        lines = tuple(
            Line(f"readings {k + 1} to {k + 5}", float(v), places=places(source, range(k, k + 5)))
            for k, v in enumerate(each)
        )
        how = "squared fourth differences of both sensors over what white noise makes of them; a cubic law leaves nothing there"
        return Sum(inner("noise", "first", scan), "m2", value, lines, how)


def _scaled(a: Sequence[float]) -> float:
    return float((max(math.sqrt(max(a[1], 0.0)), 1e-6) * a[0]) ** 2)


def _unit(q: int) -> str:
    return ("1", "rad", "1/m2", "1/m2")[q]
