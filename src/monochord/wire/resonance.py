"""Resonance: frequency sweeps of several modes, both planes at once, to one transfer of the wire.

The supports hold the wire a little differently along two perpendicular directions, so each mode has two
close frequencies, and the directions are turned against x and y. A sweep in mode n is

    u(w) = g R(turn) diag(1 / D_a, 1 / D_b) (A_a, A_b) e^(i phase) + c0 + c1 (w - w_n),
    D = w_a^2 - w^2 + 2 i a w

with real A, and complex c0, c1 for each sensor (pick-up and the tails of the other modes). The turn of the
planes, the ratio g of the sensors' gains and the phase of the chain are common to all modes. c0 and c1
are projected out beforehand, which leaves 5 unknowns a mode.

Source: damped string, derived; that both planes have one transfer is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.wire import Sweep, Wire
from monochord.wire.model import ComplexArray, stiffness

Array = NDArray[np.float64]

#: Sweeps of fewer points do not hold the eleven real unknowns of one mode with room to spare.
FEWEST_POINTS = 8
#: Prior of the relative half split of the two planes, of their turn [rad] and of the chain's phase [rad].
#: They only keep a wire without a split from leaving its turn free.
SPLIT = 1e-3
_TURN = 1.0
_PHASE = 0.3
#: A first guess of the readings' noise, as part of the largest one; the residuals tell the true one.
NOISE = 2e-3
COMMON = 3
#: Residuals above this part of a sweep's peak, or a Q below this, mean that no resonance was fitted.
ROUGHEST, LOWEST_Q = 0.1, 10.0
_MOST_STEPS = 40
#: Mean square residual, in parts of NOISE, above which the descent may have ended in a wrong valley.
_DOUBTFUL = 9.0


@dataclass(frozen=True, eq=False, slots=True)
class Transfer:
    """How the wire and its sensors turn force into readings, as the sweeps found it.

    modes        (m,) that were swept, rising;  f_a, f_b  (m,) frequencies in the two planes [Hz];  decay  (m,) [1/s]
    turn         of plane a from x towards y, as the sensors see it [rad]
    log_gain     ln of the x sensor's gain over the y sensor's, beyond what is told
    u_f          (m,) of the mean of f_a and f_b [Hz];  u_turn, u_log_gain   standard uncertainties
    noise        of one reading, per component [m];  measured  False when no sweep was there and values are assumed
    """

    modes: NDArray[np.int64]
    f_a: Array
    f_b: Array
    decay: Array
    turn: float
    log_gain: float
    u_f: Array
    u_turn: float
    u_log_gain: float
    noise: float
    measured: bool

    @property
    def fundamental(self) -> tuple[float, float]:
        """Fundamental in plane a and plane b [Hz], from all modes, each f_n / n weighted by its own certainty."""
        weight = (self.modes / self.u_f) ** 2
        weight = weight / weight.sum()
        return float(weight @ (self.f_a / self.modes)), float(weight @ (self.f_b / self.modes))

    @property
    def inharmonicity(self) -> float:
        """Largest |f_n / (n f1) - 1| over the swept modes: zero for an ideal uniform string."""
        mean = (self.f_a + self.f_b) / 2.0 / self.modes
        return float(np.abs(mean / (sum(self.fundamental) / 2.0) - 1.0).max())

    def frequencies(self, mode: int) -> tuple[float, float]:
        """Frequencies of a mode in the two planes [Hz]; n times the fundamental where it was not swept."""
        at = np.flatnonzero(self.modes == mode)
        if len(at):
            return float(self.f_a[at[0]]), float(self.f_b[at[0]])
        a, b = self.fundamental
        return mode * a, mode * b

    def damping(self, mode: int) -> float:
        """Amplitude decay rate of a mode [1/s]; on the straight line through the swept modes where it was not."""
        at = np.flatnonzero(self.modes == mode)
        if len(at):
            return float(self.decay[at[0]])
        if len(self.modes) == 1:
            return float(self.decay[0])
        slope, start = np.polyfit(self.modes, self.decay, 1)
        return float(max(start + slope * mode, 0.2 * self.decay.min()))

    def quality(self, mode: int) -> float:
        """Q = w_n / (2 a)."""
        a, b = self.frequencies(mode)
        return float(np.pi * (a + b) / 2.0 / self.damping(mode))

    def stiffness(self, mode: int, w: float) -> ComplexArray:
        """(2, 2) complex [1/s2]: force per mass over modal displacement at drive w [rad/s]."""
        a, b = self.frequencies(mode)
        return stiffness(2 * np.pi * a, 2 * np.pi * b, self.damping(mode), self.turn, w)

    def unsee(self, mode: int, wire: Wire) -> Array:
        """(2,) factors from readings of the x and y sensor [m] to the modal displacement [m]."""
        gain = np.exp(np.array([-0.5, 0.5]) * self.log_gain)
        return gain / sensor_shape(mode, wire)


def sensor_shape(mode: int, wire: Wire) -> Array:
    """(2,) sin(k s) of a mode at the x and at the y sensor."""
    s = np.array([wire.sensor_x_z, wire.sensor_y_z]) - wire.z_start
    return np.asarray(np.sin(mode * np.pi * s / wire.length), float)


def assumed_transfer(f1: float) -> Transfer:
    """A transfer for a wire that nobody swept: planes alike, f1 from the drive, a decay of 1 /s as benches have it.

    Zeros of the field are found all the same, as they need neither gain nor damping.
    """
    one = np.array([1])
    f = np.array([f1])
    # half a linewidth of 1/s is all that the drive says about f1; a coupling of the planes stays unknown
    return Transfer(one, f, f, np.array([1.0]), 0.0, 0.0, np.array([0.3]), 1.0, 0.02, float("nan"), False)


def usable(sweep: Sweep, wire: Wire) -> bool:
    """Whether a sweep can be fitted: enough finite points, and a mode that both sensors see."""
    finite = _finite(sweep)
    if sweep.mode < 1 or len(np.unique(sweep.frequencies[finite])) < FEWEST_POINTS:
        return False
    blind = float(np.abs(sensor_shape(sweep.mode, wire)).min()) < 0.02
    return not blind and bool(np.abs(_raw(sweep)).max(axis=1).min() > 0.0)


@dataclass(frozen=True, eq=False, slots=True)
class _Stack:
    """All sweeps side by side, one row a mode, short ones filled up with points that do not count.

    w  (m, n) drive [rad/s];  w0  (m,) drive at the peak;  counts  (m, n);  keep  (m, n, 2) orthonormal 1 and w
    data  (m, 2, n) readings, 1 and w projected out, in parts of the mode's largest, scale (m,) [m]
    see   (m, 2) sensors' shape of the mode, in parts of the larger
    """

    w: Array
    w0: Array
    counts: NDArray[np.bool_]
    keep: Array
    data: ComplexArray
    see: Array
    scale: Array

    def project(self, curves: ComplexArray) -> ComplexArray:
        """Curves (m, k, 2, n) with their parts along 1 and w taken out."""
        m, k, _, n = curves.shape
        flat = curves.reshape(m, 2 * k, n) * self.counts[:, None]
        flat = flat - (flat @ self.keep) @ self.keep.transpose(0, 2, 1)
        return np.asarray(flat.reshape(m, k, 2, n), complex)


def _raw(sweep: Sweep) -> ComplexArray:
    """Readings (2, n) complex [m] at the finite points."""
    return np.stack([sweep.x, sweep.y])[:, _finite(sweep)]


def _finite(sweep: Sweep) -> NDArray[np.bool_]:
    return np.isfinite(sweep.x) & np.isfinite(sweep.y) & np.isfinite(sweep.frequencies)


def _side_by_side(sweeps: Sequence[Sweep], wire: Wire) -> _Stack:
    sizes = [int(_finite(s).sum()) for s in sweeps]
    m, n = len(sweeps), max(sizes)
    w, counts, keep = np.ones((m, n)), np.zeros((m, n), bool), np.zeros((m, n, 2))
    data, scale, w0 = np.zeros((m, 2, n), complex), np.zeros(m), np.zeros(m)
    see = np.array([sensor_shape(s.mode, wire) for s in sweeps])
    for i, (sweep, size) in enumerate(zip(sweeps, sizes, strict=True)):
        w[i, :size] = 2.0 * np.pi * sweep.frequencies[_finite(sweep)]
        w[i, size:] = w[i, 0]
        counts[i, :size] = True
        raw = _raw(sweep)
        scale[i] = np.abs(raw).max()
        w0[i] = w[i, np.argmax((np.abs(raw / see[i][:, None]) ** 2).sum(0))]
        base = np.stack([np.ones(size), (w[i, :size] - w0[i]) / np.ptp(w[i, :size])], axis=1)
        keep[i, :size] = np.linalg.qr(base)[0]
        data[i, :, :size] = raw / scale[i]
    stack = _Stack(w, w0, counts, keep, data, see / np.abs(see).max(axis=1, keepdims=True), scale)
    return _Stack(w, w0, counts, keep, stack.project(data[:, None])[:, 0], stack.see, scale)


def _responses(stack: _Stack, rows: Array) -> tuple[ComplexArray, ComplexArray]:
    """1/D of the two planes (m, 2, n) in units of 2 w0, and its derivatives by mean, half split, decay (m, 3, 2, n)."""
    mean, half, decay = (rows[:, i, None, None] for i in range(3))
    w, w0 = stack.w[:, None], stack.w0[:, None, None]
    sign = np.array([1.0, -1.0])[:, None]
    resonance = w0 + mean + half * sign
    one = (2.0 * w0) / (resonance**2 - w**2 + 2j * decay * w)
    by_w = -(one**2) * (resonance / w0)
    return one, np.stack([by_w, by_w * sign, -(one**2) * (1j * w / w0)], axis=1)


def _seen(stack: _Stack, common: Array, planes: ComplexArray) -> ComplexArray:
    """Motion in the two planes (m, k, 2, n) as the two sensors show it."""
    c, s = np.cos(common[0]), np.sin(common[0])
    gain = np.exp(np.array([0.5, -0.5]) * common[1]) * stack.see * np.exp(1j * common[2])
    turned = np.array([[c, -s], [s, c]]) @ planes
    return np.asarray(turned * gain[:, None, :, None], complex)


def _real(curves: ComplexArray) -> Array:
    """Real and imaginary parts side by side, (..., 2, n) to (..., 4 n)."""
    flat = curves.reshape(*curves.shape[:-2], -1)
    return np.concatenate([flat.real, flat.imag], axis=-1)


def _residual(stack: _Stack, common: Array, rows: Array) -> Array:
    """Readings minus model (m, 4 n)."""
    one, _ = _responses(stack, rows)
    model = stack.project(_seen(stack, common, (one * rows[:, 3:, None])[:, None]))[:, 0]
    return _real(stack.data - model)


def _derivatives(stack: _Stack, common: Array, rows: Array) -> Array:
    """Of the model by turn, log gain, phase, mean, half split, decay and the two amplitudes, (m, 8, 4 n)."""
    one, by = _responses(stack, rows)
    amplitude = rows[:, 3:, None]
    moved = one * amplitude
    curves = np.zeros((len(rows), 8, 2, one.shape[-1]), complex)
    curves[:, 0] = np.stack([-moved[:, 1], moved[:, 0]], axis=1)
    curves[:, 1], curves[:, 2] = moved, 1j * moved
    curves[:, 3:6] = by * amplitude[:, None]
    curves[:, 6, 0], curves[:, 7, 1] = one[:, 0], one[:, 1]
    seen = _seen(stack, common, curves)
    seen[:, 1] *= np.array([[0.5], [-0.5]])
    return _real(stack.project(np.asarray(seen, complex)))


def _normal(stack: _Stack, common: Array, rows: Array) -> tuple[Array, Array]:
    """Normal matrix (u, u) and right side (u,) of the readings, common unknowns first; readings' noise is NOISE."""
    j, r = _derivatives(stack, common, rows), _residual(stack, common, rows)
    each, right = j @ j.transpose(0, 2, 1) / NOISE**2, (j @ r[..., None])[..., 0] / NOISE**2
    m = len(rows)
    matrix, side = np.zeros((COMMON + 5 * m,) * 2), np.zeros(COMMON + 5 * m)
    matrix[:COMMON, :COMMON], side[:COMMON] = each[:, :COMMON, :COMMON].sum(0), right[:, :COMMON].sum(0)
    for i in range(m):
        own = slice(COMMON + 5 * i, COMMON + 5 * i + 5)
        matrix[own, own], side[own] = each[i, COMMON:, COMMON:], right[i, COMMON:]
        matrix[:COMMON, own] = each[i, :COMMON, COMMON:]
        matrix[own, :COMMON] = matrix[:COMMON, own].T
    return matrix, side


def _width(stack: _Stack) -> Array:
    """First guess of the decay (m,) [1/s] from the width of the power curve."""
    power = (np.abs(stack.data) ** 2).sum(1)
    peak = power.max(axis=1)
    step = np.ptp(stack.w, axis=1) / stack.counts.sum(axis=1)
    return np.asarray(np.maximum(power.sum(axis=1) * step / peak / np.pi, 0.1 * step), float)


def _start(stack: _Stack, turn: float) -> tuple[Array, Array]:
    """Common unknowns and rows with a small split at a guessed turn; amplitudes by linear least squares."""
    rows = np.zeros((len(stack.w), 5))
    rows[:, 1], rows[:, 2] = 2e-4 * stack.w0, _width(stack)
    common = np.array([turn, 0.0, 0.0])
    columns = _derivatives(stack, common, rows)[:, 6:]
    rows[:, 3:] = np.linalg.solve(columns @ columns.transpose(0, 2, 1), columns @ _real(stack.data)[..., None])[..., 0]
    return common, rows


def _descend(stack: _Stack, start: tuple[Array, Array], priors: Array) -> tuple[float, Array, Array]:
    """Damped Gauss-Newton steps: square sum, unknowns (u,), covariance (u, u) for readings of noise NOISE."""
    x = np.concatenate([start[0], start[1].ravel()])

    def split(v: Array) -> tuple[Array, Array]:
        return v[:COMMON], v[COMMON:].reshape(-1, 5)

    def cost(v: Array) -> float:
        with np.errstate(all="ignore"):  # a step may lead where the model is no number; it is then not taken
            return float(np.sum(_residual(stack, *split(v)) ** 2) / NOISE**2 + priors @ v**2)

    now, damping = cost(x), 1e-4
    for _ in range(_MOST_STEPS):
        matrix, side = _normal(stack, *split(x))
        matrix += np.diag(priors)
        side = side - priors * x
        size = np.diag(matrix)
        try:
            step = np.linalg.solve(matrix + damping * np.diag(size), side)
        except np.linalg.LinAlgError:  # the sweeps hold nothing that a resonance could be fitted to
            break
        then = cost(x + step)
        if not then <= now:  # also when it is no number
            damping *= 30.0
            continue
        x, gained, now, damping = x + step, now - then, then, damping / 10.0
        if gained <= 1e-8 * now:
            break
    return now, x, np.asarray(np.linalg.pinv(matrix, hermitian=True), float)


@dataclass(frozen=True, eq=False, slots=True)
class Solved:
    """The least squares of all sweeps: turn, log gain and phase, then mean, half split, decay, two amplitudes of each mode.

    unknowns  (u,), about the drive at each sweep's peak;  priors  (u,) one over their variances about zero
    cov       (u, u) for readings of noise NOISE;  square, dof  of the weighted residuals and of the priors
    """

    stack: _Stack
    unknowns: Array
    priors: Array
    cov: Array
    square: float
    dof: int

    @property
    def residual(self) -> Array:
        """Readings minus model (m, 4 n) in parts of each mode's largest: real x, y, then imaginary x, y."""
        return _residual(self.stack, *self._split())

    @property
    def jacobian(self) -> Array:
        """Of the model (m, 8, 4 n), by the common unknowns and by those of the sweep's own mode."""
        return _derivatives(self.stack, *self._split())

    @property
    def normal(self) -> Array:
        """Normal matrix with the priors (u, u)."""
        return _normal(self.stack, *self._split())[0] + np.diag(self.priors)

    def _split(self) -> tuple[Array, Array]:
        return self.unknowns[:COMMON], self.unknowns[COMMON:].reshape(-1, 5)


@dataclass(frozen=True, eq=False, slots=True)
class SweepFit:
    """The transfer, each sweep with its fitted curve (2, n) complex [m] at the finite points, and how well that fits.

    rough  rms of the residuals, in parts of the largest reading of a sweep;  solved  the least squares behind it
    """

    transfer: Transfer
    fitted: tuple[tuple[Sweep, ComplexArray], ...]
    rough: float
    solved: Solved

    @property
    def sound(self) -> bool:
        """Whether what was fitted is a resonance at all."""
        q = [self.transfer.quality(int(n)) for n in self.transfer.modes]
        return self.rough < ROUGHEST and min(q) > LOWEST_Q


def fit_sweeps(sweeps: Sequence[Sweep], wire: Wire) -> SweepFit | None:
    """The transfer of the wire from all usable sweeps, or None when none is usable.

    sweeps  in any order;  of two sweeps in one mode the later one counts
    """
    chosen = {s.mode: s for s in sweeps if usable(s, wire)}
    if not chosen:
        return None
    used = [chosen[m] for m in sorted(chosen)]
    stack = _side_by_side(used, wire)
    priors = np.zeros(COMMON + 5 * len(used))
    priors[:COMMON] = 1.0 / _TURN**2, 0.5 / max(wire.u_gain, 1e-4) ** 2, 1.0 / _PHASE**2
    priors[COMMON + 1 :: 5] = 1.0 / (SPLIT * stack.w0) ** 2
    starts = [_start(stack, turn) for turn in (-1.1, -0.4, 0.4, 1.1)]
    starts.sort(key=lambda s: float(np.sum(_residual(stack, *s) ** 2)))
    # two readings a sensor and point; two complex unknowns a sensor were projected out
    dof = max(4 * int(stack.counts.sum()) - 8 * len(used) - len(priors), 1)
    square, x, cov = _descend(stack, starts[0], priors)
    if square > _DOUBTFUL * dof:
        square, x, cov = min((_descend(stack, s, priors) for s in starts), key=lambda d: d[0])
    factor = square / dof
    fitted = tuple((s, _curve(s, stack, i, x)) for i, s in enumerate(used))
    rough = NOISE * float(np.sqrt(factor))
    solved = Solved(stack, x, priors, cov, square, dof)
    return SweepFit(_transfer(used, stack, x, cov * factor, rough), fitted, rough, solved)


def runs_backwards(fit: SweepFit, sweeps: Sequence[Sweep], wire: Wire) -> bool:
    """Whether the phases fit when they are counted the other way round: time factor exp(-i w t) instead of exp(+i w t)."""
    if fit.sound:
        return False
    other = fit_sweeps([replace(s, x=s.x.conj(), y=s.y.conj()) for s in sweeps], wire)
    return other is not None and other.sound


def _transfer(sweeps: Sequence[Sweep], stack: _Stack, x: Array, cov: Array, noise: float) -> Transfer:
    rows = x[COMMON:].reshape(-1, 5)
    mean, half, turn = (stack.w0 + rows[:, 0]) / (2 * np.pi), rows[:, 1] / (2 * np.pi), x[0]
    if half.sum() < 0.0:  # plane a is the one of the higher frequency
        half, turn = -half, turn + np.pi / 2.0
    u = np.sqrt(np.maximum(np.diag(cov), 0.0))
    return Transfer(
        np.array([s.mode for s in sweeps]),
        mean + half,
        mean - half,
        np.abs(rows[:, 2]),
        float((turn + np.pi / 2.0) % np.pi - np.pi / 2.0),
        float(x[1]),
        np.maximum(u[COMMON::5], 1e-9) / (2 * np.pi),
        float(u[0]),
        float(u[1]),
        noise * float(np.sqrt(np.mean(stack.scale**2))),
        True,
    )


def _curve(sweep: Sweep, stack: _Stack, i: int, x: Array) -> ComplexArray:
    """Fitted readings (2, n) of sweep i [m], with what was projected out of the readings put back."""
    rows = x[COMMON:].reshape(-1, 5)
    one, _ = _responses(stack, rows)
    resonant = _seen(stack, x[:COMMON], (one * rows[:, 3:, None])[:, None])[i, 0] * stack.scale[i]
    resonant = resonant[:, stack.counts[i]]
    keep = stack.keep[i][stack.counts[i]]
    return np.asarray(resonant + ((_raw(sweep) - resonant) @ keep) @ keep.T, complex)
