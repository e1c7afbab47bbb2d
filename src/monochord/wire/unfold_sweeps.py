"""The wire's transfer told from its sweeps: frequencies, damping, turn of the planes, ratio of gains.

The fit is not linear, yet where it ends every unknown is a sum over readings. With residuals v, Jacobian J, normal
matrix N with its priors, and G = N^-1 J' / sigma^2,

    x_k = sum_i G_ki (v_i + J_i x_S) - s_k,   s = N^-1 (J' v / sigma^2 - P x)

where x_S holds x_k and all unknowns that have a prior about zero, and s is the step that the descent left undone.
Source: normal equations, derived.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.wire import Sweep
from monochord.ground.trace import Line, Sum, root_of_sum
from monochord.wire.resonance import COMMON, NOISE, SweepFit
from monochord.wire.unfold_base import Keys, inner, places, setting, times, unknown

Array = NDArray[np.float64]

_SHARED = ("turn", "log gain", "phase")
_OWN = ("mean", "half", "decay")
_UNITS = {"turn": "rad", "log gain": "1", "phase": "rad", "mean": "rad/s", "half": "rad/s", "decay": "1/s"}
_PRIORS = {
    "turn": "program.wire.resonance._TURN",
    "log gain": "wire.u_gain",
    "phase": "program.wire.resonance._PHASE",
    "half": "program.wire.resonance.SPLIT",
}
_SIGNALS = ("x in phase", "y in phase", "x in quadrature", "y in quadrature")


@dataclass(frozen=True, eq=False)
class Sweeps:
    """The least squares of all sweeps, row by row."""

    fit: SweepFit
    _kept: dict[int, Array] = field(default_factory=dict)

    @cached_property
    def residual(self) -> Array:
        """(m, 4 n) in parts of each mode's largest reading."""
        return self.fit.solved.residual

    @cached_property
    def jacobian(self) -> Array:
        """(m, 8, 4 n)."""
        return self.fit.solved.jacobian

    @cached_property
    def inverse(self) -> Array:
        """Of the normal matrix with its priors, where the descent ended (u, u)."""
        normal = self.fit.solved.normal
        size = np.sqrt(np.diag(normal))
        scaled = np.linalg.pinv(normal / np.outer(size, size), rcond=1e-15, hermitian=True)
        return np.asarray(scaled / np.outer(size, size), float)

    def _columns(self, mode: int) -> NDArray[np.int64]:
        return np.array([0, 1, 2, *range(COMMON + 5 * mode, COMMON + 5 * mode + 5)])

    def gain(self, k: int) -> Array:
        """Change of unknown k by every reading (m, 4 n), in parts of each mode's largest."""
        if k not in self._kept:
            m = len(self.jacobian)
            parts = [self.inverse[k, self._columns(i)] @ self.jacobian[i] for i in range(m)]
            self._kept[k] = np.stack(parts) / NOISE**2
        return self._kept[k]

    def says(self, k: int) -> Array:
        """What every reading says of unknown k beside its reference, (m, 4 n) in parts of each mode's largest."""
        x, kept = self.fit.solved.unknowns, self.fit.solved.priors > 0.0
        away = np.where(kept, x, 0.0)
        away[k] = x[k]
        pulled = [away[self._columns(i)] @ self.jacobian[i] for i in range(len(self.jacobian))]
        return np.asarray(self.residual + np.stack(pulled), float)

    def undone(self, k: int) -> tuple[float, float]:
        """The step that the descent left undone: its part by the readings and by what was expected beforehand."""
        solved = self.fit.solved
        by_prior = -float(self.inverse[k] @ (solved.priors * solved.unknowns))
        return float((self.gain(k) * self.residual).sum()), by_prior

    def tell(self, keys: Keys) -> Sum:
        """A number of the fit: one unknown, the variance factor, or what stands behind them."""
        match list(keys):
            case ["variance factor", *rest]:
                return self._factor(rest)
            case [name, *rest] if name in _SHARED:
                return self._unknown((name,), _SHARED.index(name), rest)
            case [mode, name, *rest] if name in _OWN and mode in self._modes:
                k = COMMON + 5 * self._modes.index(mode) + _OWN.index(name)
                return self._unknown((mode, name), k, rest)
        raise unknown(inner("sweeps", *keys))

    @cached_property
    def _modes(self) -> list[str]:
        return [f"mode {s.mode}" for s, _ in self.fit.fitted]

    def finite(self, i: int) -> tuple[Sweep, list[int]]:
        """Sweep i and the numbers of its points that are whole."""
        sweep = self.fit.fitted[i][0]
        return sweep, np.flatnonzero(np.isfinite(sweep.x + sweep.y + sweep.frequencies)).tolist()

    def _unknown(self, head: tuple[str, ...], k: int, rest: Keys) -> Sum:
        solved, unit = self.fit.solved, _UNITS[head[-1]]
        if rest[:1] == ["undone"]:
            return self._undone(head, k, rest[1:], unit)
        pulls = self.gain(k) * self.says(k)
        if rest:
            return self._sweep(head, k, rest, self.says(k), unit)
        lines = [
            Line(f"readings of the sweep in {mode}", float(pulls[i].sum()), inner("sweeps", *head, mode))
            for i, mode in enumerate(self._modes)
        ]
        if head[-1] in _PRIORS:
            lines.append(Line("expected beforehand: none", 0.0, unit=unit, places=setting(_PRIORS[head[-1]])))
        of = inner("sweeps", *head, "undone")
        lines.append(times("the step that the fit left undone", -1.0, sum(self.undone(k)), of, unit=unit))
        how = "least squares of all sweeps: what each reading says of it, by its weight" + (
            "; counted from the drive at the sweep's largest reading" if head[-1] == "mean" else ""
        )
        return Sum(inner("sweeps", *head), unit, float(solved.unknowns[k]), tuple(lines), how)

    def _sweep(self, head: tuple[str, ...], k: int, rest: Keys, says: Array, unit: str) -> Sum:
        if rest[0] not in self._modes:
            raise unknown(inner("sweeps", *head, *rest))
        i = self._modes.index(rest[0])
        sweep, finite = self.finite(i)
        n, gain = says.shape[1] // 4, self.gain(k)[i]
        if len(rest) == 1:
            pulls = (gain * says[i]).reshape(4, n)
            lines = tuple(
                Line(
                    f"at {sweep.frequencies[j]:.4f} Hz",
                    float(pulls[:, at].sum()),
                    inner("sweeps", *head, *rest, at + 1),
                )
                for at, j in enumerate(finite)
            )
            how = "what each reading of the sweep says of it, by its weight"
            return Sum(inner("sweeps", *head, *rest), unit, float(pulls.sum()), lines, how)
        at = int(rest[1]) - 1 if rest[1].isdigit() else len(finite)
        if len(rest) != 2 or not 0 <= at < len(finite):
            raise unknown(inner("sweeps", *head, *rest))
        scale, where, j = float(self.fit.solved.stack.scale[i]), places(sweep, [finite[at]]), finite[at]
        read = (sweep.x[j].real, sweep.y[j].real, sweep.x[j].imag, sweep.y[j].imag)
        weight = [float(gain[p * n + at]) / scale for p in range(4)]
        # what stands beside the readings: the fitted sweep, with this number at its reference
        beside = [float(says[i, p * n + at]) * scale - raw for p, raw in enumerate(read)]
        rows = [
            times(words, g, raw, unit="m", places=where) for words, g, raw in zip(_SIGNALS, weight, read, strict=True)
        ]
        less = float(np.dot(weight, beside))
        whole = places(sweep, finite)
        rows.append(Line("less what is expected there with this number left out", less, unit=unit, places=whole))
        how = "the reading, by its weight, less the fitted sweep with this number at its reference"
        value = float((gain * says[i]).reshape(4, n)[:, at].sum())
        return Sum(inner("sweeps", *head, *rest), unit, value, tuple(rows), how)

    def _undone(self, head: tuple[str, ...], k: int, rest: Keys, unit: str) -> Sum:
        name = inner("sweeps", *head, "undone", *rest)
        pulls = self.gain(k) * self.residual
        if not rest:
            lines = [
                Line(f"residuals of the sweep in {mode}", float(pulls[i].sum()), inner("sweeps", *head, "undone", mode))
                for i, mode in enumerate(self._modes)
            ]
            keys = tuple(place for key in _PRIORS.values() for place in setting(key))
            lines.append(Line("pull towards what was expected beforehand", self.undone(k)[1], places=keys))
            return Sum(name, unit, sum(self.undone(k)), tuple(lines), "the step that the fit left undone when it ended")
        if len(rest) != 1 or rest[0] not in self._modes:
            raise unknown(name)
        i = self._modes.index(rest[0])
        sweep, finite = self.finite(i)
        each = pulls[i].reshape(4, -1)
        rows = tuple(
            Line(f"residual at {sweep.frequencies[j]:.4f} Hz", float(each[:, at].sum()), places=places(sweep, [j]))
            for at, j in enumerate(finite)
        )
        return Sum(name, unit, float(each.sum()), rows, "residuals of the sweep, by their weights")

    def _factor(self, rest: Keys) -> Sum:
        solved = self.fit.solved
        name = inner("sweeps", "variance factor", *rest)
        squares = self.residual**2 / NOISE**2
        if not rest:
            lines = [
                Line(f"squared residuals in {mode}", float(squares[i].sum()), inner("sweeps", "variance factor", mode))
                for i, mode in enumerate(self._modes)
            ]
            keys = tuple(place for key in _PRIORS.values() for place in setting(key))
            prior = float(solved.priors @ solved.unknowns**2)
            lines.append(Line("squares of the departures from what was expected", prior, places=keys))
            first = places(self.fit.fitted[0][0], [0])
            lines.append(Line("degrees of freedom", float(solved.dof), places=first))
            how = "squared residuals, in units of a first guess of the noise, over the degrees of freedom"
            return Sum(name, "1", solved.square / solved.dof, tuple(lines), how, lambda a: sum(a[:-1]) / a[-1])
        if len(rest) != 1 or rest[0] not in self._modes:
            raise unknown(name)
        i = self._modes.index(rest[0])
        sweep, finite = self.finite(i)
        each = squares[i].reshape(4, -1)
        rows = tuple(
            Line(f"squares at {sweep.frequencies[j]:.4f} Hz", float(each[:, at].sum()), places=places(sweep, [j]))
            for at, j in enumerate(finite)
        )
        return Sum(name, "1", float(each.sum()), rows, "squared residuals of the sweep, in units of a first guess")

    def spread(self, k: int) -> tuple[float, float]:
        """Variance of unknown k, and the part of it that is not the variance factor."""
        factor = self.fit.solved.square / self.fit.solved.dof
        unit = float(max(self.fit.solved.cov[k, k], 0.0))
        return unit * factor, unit


def uncertainty(name: str, unit: str, value: float, line: Line, how: str) -> Sum:
    """A standard uncertainty from one variance."""
    return Sum(name, unit, value, (line,), how, root_of_sum)
