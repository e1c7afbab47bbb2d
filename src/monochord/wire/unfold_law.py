"""Field laws told from readings: coefficients, strengths, and the zero that is a magnet's centre for one mode.

A zero z of a law with leading coefficient L is, at the end of the fit and counted from the stages' zero,

    z = sum_r G_r (v_r + J_r z),   G = - (row of the (N-2)-th derivative at z) gain / ((N-1) L)

with v the residuals and J_r z the field that the reading would lack if the magnet stood at the stages' zero: G v = 0 and
G J = 1. G_r is how far one reading moves the zero. Source: normal equations, derived.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.ground.trace import Line, Sum
from monochord.wire.field_law import as_complex, as_real, as_rows, stacked, zero_of
from monochord.wire.law_nodes import LawNode
from monochord.wire.model import ComplexArray
from monochord.wire.readings import COLUMN
from monochord.wire.unfold_base import (
    FIELD,
    PARTS,
    PLANE,
    Base,
    Keys,
    Row,
    argument,
    by_scan,
    inner,
    part_of,
    places,
    row_of,
    times,
    unknown,
)
from monochord.wire.unfold_rows import STAGES, Rows
from monochord.wire.unfold_weights import Weights

Array = NDArray[np.float64]

#: Which column of the readings a coefficient is of.
_COLUMNS = {"c": "value", "plain c": "plain"}


@dataclass(frozen=True, eq=False, slots=True)
class _Whole:
    """A number that is a sum over readings: weight (2 n,) times given (2 n,), each of a name that ``target`` begins."""

    head: tuple[str | int, ...]
    weight: Array
    given: Array
    target: str
    unit: str
    how: str
    value: float


@dataclass(frozen=True, eq=False, slots=True)
class Laws:
    """All laws of an evaluation, told by name."""

    base: Base
    rows: Rows
    weights: Weights
    nodes: Mapping[tuple[str, ...], LawNode]

    def tell(self, keys: Keys) -> Sum:
        """A number of a law: its keys, what, and what of it."""
        for size in (3, 2):
            node = self.nodes.get(tuple(keys[:size]))
            if node is not None and len(keys) > size and keys[size] in self._known():
                return self._known()[keys[size]](node, keys[size + 1 :])
        raise unknown(inner("law", *keys))

    def _known(self) -> dict[str, Callable[[LawNode, Keys], Sum]]:
        return {
            "c": lambda node, rest: self._coefficient(node, "c", rest),
            "plain c": lambda node, rest: self._coefficient(node, "plain c", rest),
            "whole c": self._whole,
            "constant": self._constant,
            "reading": lambda node, rest: self._reading(node, "value", rest),
            "plain reading": lambda node, rest: self._reading(node, "plain", rest),
            "at": lambda node, rest: self._at(node, "c", rest),
            "plain at": lambda node, rest: self._at(node, "plain c", rest),
            "fit": self._fit,
            "expected": self._expected,
            "departure": self._departure,
            "residual": self._residual,
            "squares": self._squares,
            "zero": self._zero,
            "strength": self._strength,
            "lead": self._lead,
        }

    def name(self, node: LawNode, *keys: str | int) -> str:
        """Name of a number of a law."""
        return inner("law", *node.keys, *keys)

    def coefficient(self, node: LawNode, k: int, part: str, factor: float, kind: str = "c") -> Line:
        """A line that is a factor times a part of a coefficient."""
        value = part_of(complex(node.solved[k, COLUMN[_COLUMNS[kind]]]), part)
        words = f"coefficient {k} of the law, {'real' if part == 're' else 'imaginary'} part"
        return times(words, factor, value, self.name(node, kind, k, part), unit="T m")

    # sums over readings

    def _over_rows(self, node: LawNode, whole: _Whole, rest: Keys) -> Sum:
        """Sum over readings: scan by scan, then row by row."""
        head, weight, given, unit, how = whole.head, whole.weight, whole.given, whole.unit, whole.how
        name, n = self.name(node, *head, *rest), len(node.rows)
        scans = by_scan(node.rows)
        if not rest:
            lines = [
                Line(f"readings of scan {scan}", _both(weight * given, at, n), self.name(node, *head, scan))
                for scan, at in scans.items()
            ]
            return Sum(name, unit, whole.value, tuple(lines), how)
        if len(rest) != 1 or rest[0] not in scans:
            raise unknown(name)
        lines = []
        for i in scans[rest[0]].tolist():
            row = node.rows[i]
            for part, at in (("by", i), ("bx", n + i)):
                words = f"reading {row.number + 1}, {'By' if part == 'by' else 'Bx'}"
                of = self.name(node, whole.target, row.scan, row.number + 1, part)
                lines.append(times(words, weight[at], given[at], of, unit="T m"))
        total = math.fsum(line.amount for line in lines)
        return Sum(name, unit, total, tuple(lines), f"{how}: the part of scan {rest[0]}")

    def _coefficient(self, node: LawNode, kind: str, rest: Keys) -> Sum:
        k, part = _component(rest, node.order)
        value = part_of(complex(node.solved[k, COLUMN[_COLUMNS[kind]]]), part)
        if node.mixed:
            name = self.name(node, kind, k, part)
            lines = tuple(self.coefficient(of, k, part, share, kind) for share, of in node.mixed)
            return Sum(name, "T m", value, lines, "the field at current zero, from two currents")
        weight = node.plan.gain[2 * k + (part == "im")]
        target = "reading" if kind == "c" else "plain reading"
        given = stacked(node.columns[:, COLUMN[_COLUMNS[kind]]])
        how = f"coefficient {k} of the field law by least squares"
        whole = _Whole((kind, k, part), weight, given, target, "T m", how, value)
        return self._over_rows(node, whole, rest[2:])

    def _constant(self, node: LawNode, rest: Keys) -> Sum:
        values = node.constants()
        k, part = _component(rest, len(values))
        weight = node.plan.gain[2 * (node.order + k) + (part == "im")]
        given, how = stacked(node.columns[:, 0]), "a scan's own constant by least squares"
        value = part_of(complex(values[k]), part)
        whole = _Whole(("constant", k, part), weight, given, "reading", "T m", how, value)
        return self._over_rows(node, whole, rest[2:])

    def zero_gain(self, node: LawNode) -> tuple[Array, Array]:
        """Change of the zero by every reading (2, 2 n) [m / T m], and what every reading says (2, 2 n) [T m] of x and y."""
        n, c = node.order, node.solved[:, 0]
        lead, _ = node.law.about(node.law.zero, n - 1)
        _, row = node.law.about(node.law.zero, n - 2)
        gain = as_real(-row / ((n - 1) * lead)) @ node.plan.gain[: 2 * n]
        slope = node.plan.power[:, n - 2] * (-(n - 1) * c[n - 1] / node.plan.scale)
        residual = node.law.residual * node.plan.sigma * node.noisier
        says = residual + stacked(np.asarray(slope * node.law.zero, complex))
        return gain, says

    def _zero(self, node: LawNode, rest: Keys) -> Sum:
        if not rest or rest[0] not in (*PLANE, "whole", "plain") or node.mixed or node.block is None:
            raise unknown(self.name(node, "zero", *rest))
        if rest[0] in ("whole", "plain"):
            return self._other_zero(node, rest)
        gain, says = self.zero_gain(node)
        i = PLANE.index(rest[0])
        value = part_of(node.law.zero, rest[0])
        how = "the magnet's centre as this mode sees it, counted from the stages' zero: what each reading says of it"
        whole = _Whole(("zero", rest[0]), gain[i], says, "departure", "m", how, value)
        return self._over_rows(node, whole, rest[1:])

    def _other_zero(self, node: LawNode, rest: Keys) -> Sum:
        name, n = self.name(node, "zero", *rest), node.order
        if len(rest) != 2 or rest[1] not in PLANE:
            raise unknown(name)
        kind = f"{rest[0]} c"
        c = self._whole_c(node) if kind == "whole c" else node.solved[:, COLUMN["plain"]]
        lines = tuple(
            argument(f"coefficient {k}, {words} part", part_of(complex(c[k]), p), self.name(node, kind, k, p), "T m")
            for k in (n - 2, n - 1)
            for p, words in (("re", "real"), ("im", "imaginary"))
        )
        ref, scale = node.plan.ref, node.plan.scale

        def made(a: Sequence[float]) -> float:
            low, high = complex(a[0], a[1]), complex(a[2], a[3])
            return part_of(complex(ref - scale * low / ((n - 1) * high)), rest[1])

        what = "without the background subtracted" if rest[0] == "whole" else "by the quadratures of each sensor alone"
        return Sum(name, "m", part_of(zero_of(c, ref, scale), rest[1]), lines, f"zero of the field law {what}", made)

    def _whole_c(self, node: LawNode) -> ComplexArray:
        """Coefficients without the background subtracted."""
        if node.block is None or node.background is None:
            return np.asarray(node.solved[:, 0], complex)
        carried = node.block.carry @ as_rows(node.background.solved[:, 0])
        return np.asarray(node.solved[:, 0] - as_complex(carried), complex)

    def _whole(self, node: LawNode, rest: Keys) -> Sum:
        k, part = _component(rest, node.order)
        if len(rest) > 2 or node.block is None:
            raise unknown(self.name(node, "whole c", *rest))
        lines = [self.coefficient(node, k, part, 1.0)]
        if node.background is not None:
            row = -node.block.carry[2 * k + (part == "im")]
            lines += [
                self.coefficient(node.background, m, p, row[2 * m + j])
                for m in range(node.background.order)
                for j, p in enumerate(PARTS)
            ]
        value = part_of(complex(self._whole_c(node)[k]), part)
        how = "coefficient of the law with the background put back"
        return Sum(self.name(node, "whole c", k, part), "T m", value, tuple(lines), how)

    def _lead(self, node: LawNode, rest: Keys) -> Sum:
        """Leading coefficient [T m/m^(N-1)]."""
        if len(rest) != 1 or rest[0] not in PARTS:
            raise unknown(self.name(node, "lead", *rest))
        line = self.coefficient(node, node.order - 1, rest[0], 1.0 / node.plan.scale ** (node.order - 1))
        how = "leading coefficient of the law, without the scale of its positions"
        return Sum(self.name(node, "lead", *rest), f"T m/m^{node.order - 1}", line.amount, (line,), how)

    def _strength(self, node: LawNode, rest: Keys) -> Sum:
        """Leading coefficient per metre of magnet and per ampere."""
        if len(rest) != 1 or rest[0] not in PARTS or node.block is None:
            raise unknown(self.name(node, "strength", *rest))
        n, block = node.order, node.block
        scan = block.readings.passes.scans[
            int(np.argmax(np.abs([s.magnet_current for s in block.readings.passes.scans])))
        ]
        lines = (
            self.coefficient(node, n - 1, rest[0], 1.0 / node.plan.scale ** (n - 1)),
            self.weights.line("S", block.readings),
            times("magnet current", 1.0, block.current, unit="A", places=places(scan, [0])),
        )
        how = "leading coefficient of the law over the magnet's length as the mode weighs it and over its current"
        value = part_of(block.lead, rest[0])
        unit = f"T/m^{n - 1}/A"
        return Sum(self.name(node, "strength", rest[0]), unit, value, lines, how, lambda a: a[0] / a[1] / a[2])

    # numbers of one reading

    def _where(self, node: LawNode, what: str, rest: Keys) -> tuple[int, str]:
        """Place among the law's readings, and the part by or bx."""
        row = row_of(rest[:2])
        if len(rest) != 3 or rest[2] not in FIELD or row not in node.rows:
            raise unknown(self.name(node, what, *rest))
        return node.rows.index(row), rest[2]

    def _reading(self, node: LawNode, column: str, rest: Keys) -> Sum:
        plain = "plain " if column == "plain" else ""
        i, part = self._where(node, f"{plain}reading", rest)
        row, factor = node.rows[i], float(node.factor[i])
        if plain:
            value = part_of(self.rows.value(row, 0, "plain"), part)
            lines = [
                times(
                    "by the quadratures alone",
                    factor,
                    value,
                    inner("plain", row.scan, row.number + 1, part),
                    unit="T m",
                )
            ]
        else:
            lines = [self.rows.line(row, node.stage, part, factor)]
        if node.background is not None:
            kind = "plain c" if plain else "c"
            value = part_of(self._law_at(node.background, row, kind), part)
            of = self.name(node.background, f"{plain}at", row.scan, row.number + 1, part)
            lines.append(times("background there", -factor, value, of, unit="T m"))
        value = part_of(complex(node.columns[i, COLUMN[column]]), part)
        how = f"the reading ({STAGES[node.stage]}) at the block's largest current, background subtracted"
        return Sum(self.name(node, f"{plain}reading", *rest), "T m", value, tuple(lines), how)

    def _zeta(self, row: Row) -> complex:
        readings, n = self.base.at(row)
        return complex(readings.passes.zeta[n])

    def _powers(self, node: LawNode, row: Row) -> ComplexArray:
        return np.asarray(node.plan.powers(np.array([self._zeta(row)]))[0], complex)

    def _law_at(self, node: LawNode, row: Row, kind: str = "c") -> complex:
        return complex(self._powers(node, row) @ node.solved[:, COLUMN[_COLUMNS[kind]]])

    def _polynomial(self, node: LawNode, powers: ComplexArray, part: str, kind: str = "c") -> list[Line]:
        """Lines of a sum of complex factors times coefficients, its part by or bx."""
        lines = []
        for k, p in enumerate(powers.tolist()):
            if p != 0.0:
                re, im = (p.real, -p.imag) if part == "by" else (p.imag, p.real)
                lines += [self.coefficient(node, k, "re", re, kind), self.coefficient(node, k, "im", im, kind)]
        return lines

    def _at(self, node: LawNode, kind: str, rest: Keys) -> Sum:
        what = "at" if kind == "c" else "plain at"
        row = row_of(rest[:2])
        if len(rest) != 3 or rest[2] not in FIELD:
            raise unknown(self.name(node, what, *rest))
        lines = self._polynomial(node, self._powers(node, row), rest[2], kind)
        value = part_of(self._law_at(node, row, kind), rest[2])
        return Sum(
            self.name(node, what, *rest), "T m", value, tuple(lines), "the law where the stages stood for this reading"
        )

    def _constants(self, node: LawNode, i: int, part: str) -> list[Line]:
        """What the scan's own constant brings to reading i."""
        lines = []
        for k, (felt, value) in enumerate(zip(node.own()[i].real.tolist(), node.constants().tolist(), strict=True)):
            if felt != 0.0:
                p = "re" if part == "by" else "im"
                of = self.name(node, "constant", k, p)
                lines.append(times("constant of the scan", felt, part_of(value, p), of, unit="T m"))
        return lines

    def _fit(self, node: LawNode, rest: Keys) -> Sum:
        i, part = self._where(node, "fit", rest)
        lines = [*self._polynomial(node, node.plan.power[i], part), *self._constants(node, i, part)]
        value = math.fsum(line.amount for line in lines)
        return Sum(self.name(node, "fit", *rest), "T m", value, tuple(lines), "the fitted law at this reading")

    def _expected(self, node: LawNode, rest: Keys) -> Sum:
        """The fitted law, with its magnet moved to the stages' zero."""
        i, part = self._where(node, "expected", rest)
        n, plan = node.order, node.plan
        powers = np.array(plan.power[i], complex)
        powers[n - 1] += powers[n - 2] * (n - 1) * plan.ref / plan.scale
        powers[n - 2] = 0.0
        lines = [*self._polynomial(node, powers, part), *self._constants(node, i, part)]
        value = math.fsum(line.amount for line in lines)
        how = "what this reading would be if the magnet stood at the stages' zero: strength and lower parts as fitted"
        return Sum(self.name(node, "expected", *rest), "T m", value, tuple(lines), how)

    def _departure(self, node: LawNode, rest: Keys) -> Sum:
        i, part = self._where(node, "departure", rest)
        _, says = self.zero_gain(node)
        reading = part_of(complex(node.columns[i, 0]), part)
        expected = self._expected(node, rest).value
        lines = (
            times("the reading", 1.0, reading, self.name(node, "reading", *rest), unit="T m"),
            times(
                "reference: a magnet at the stages' zero",
                -1.0,
                expected,
                self.name(node, "expected", *rest),
                unit="T m",
            ),
        )
        value = float(says[i + (len(node.rows) if part == "bx" else 0)])
        how = "what the reading says beyond a magnet at the stages' zero; the reference moves with the strength, as the factor does"
        return Sum(self.name(node, "departure", *rest), "T m", value, lines, how)

    def _residual(self, node: LawNode, rest: Keys) -> Sum:
        i, part = self._where(node, "residual", rest)
        at = i + (len(node.rows) if part == "bx" else 0)
        unit = 1.0 / (float(node.plan.sigma[at]) * node.noisier)
        reading, fit = part_of(complex(node.columns[i, 0]), part), self._fit(node, rest).value
        lines = (
            times("the reading", unit, reading, self.name(node, "reading", *rest), unit="T m"),
            times("the fitted law", -unit, fit, self.name(node, "fit", *rest), unit="T m"),
        )
        how = "reading minus law, in units of the noise as first told"
        return Sum(self.name(node, "residual", *rest), "1", float(node.law.residual[at]), lines, how)

    def _squares(self, node: LawNode, rest: Keys) -> Sum:
        """Squared residuals of a law, scan by scan and row by row."""
        name, n, scans = self.name(node, "squares", *rest), len(node.rows), by_scan(node.rows)
        squares = node.law.residual**2
        if not rest:
            lines = [Line(f"scan {s}", _both(squares, at, n), self.name(node, "squares", s)) for s, at in scans.items()]
            return Sum(
                name, "1", node.law.square, tuple(lines), "squared residuals in units of the noise as first told"
            )
        if len(rest) != 1 or rest[0] not in scans:
            raise unknown(name)
        rows = []
        for i in scans[rest[0]].tolist():
            row = node.rows[i]
            for part, at in (("by", i), ("bx", n + i)):
                value, of = float(node.law.residual[at]), self.name(node, "residual", row.scan, row.number + 1, part)
                words = f"reading {row.number + 1}, {'By' if part == 'by' else 'Bx'}"
                rows.append(times(words, value, value, of, unit="1"))
        total = math.fsum(r.amount for r in rows)
        return Sum(name, "1", total, tuple(rows), "squared residuals of the scan: each times itself")


def _both(values: Array, at: NDArray[np.int64], n: int) -> float:
    """Sum over the By and the Bx parts of some readings."""
    return math.fsum([*values[at].tolist(), *values[n + at].tolist()])


def _component(rest: Keys, count: int) -> tuple[int, str]:
    """Number of a coefficient and its part, from two keys."""
    if len(rest) < 2 or not rest[0].isdigit() or int(rest[0]) >= count or rest[1] not in PARTS:
        raise unknown("/".join(rest))
    return int(rest[0]), rest[1]
