"""Drift of the wire's fundamental through an occasion, from the scans that tell it.

One string drifts smoothly, whatever is scanned. But each mode was swept at a moment of its own, and each
block of scans has its own small error of phase, so what a scan tells is

    told = drift(t) + offset of its mode + offset of its block

The drift's slope walks at random, which makes it a smooth curve; offsets are small beforehand. One least
squares gives all of them, also at scans that tell nothing: with the magnet off, or in a blind mode.

Source: smoothing by least squares with a random walk of the slope, standard; sizes are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Places = NDArray[np.int64]

#: The drift's slope changes by about this much [rad/s per s] in this time [s]: a millihertz in a quarter of an hour,
#: begun or ended within a quarter of an hour.
_SLOPE = 2.0 * np.pi * 1e-6
_SLOPE_TIME = 1000.0
#: Offsets of modes and of blocks [rad/s], and the least uncertainty of one scan's own shift [rad/s].
MODE = 2.0 * np.pi * 2e-3
BLOCK = 2.0 * np.pi * 1e-4
LEAST = 2.0 * np.pi * 1e-5


@dataclass(frozen=True, eq=False, slots=True)
class System:
    """The least squares of a drift: unknowns are the drift at m moments, then offsets of modes and of blocks, v in all.

    feels  (k, v) what each scan feels of them;  known  (k,) which scans tell something, each good to sigma (k,) [rad/s]
    cov    (v, v) of the unknowns;  prior  (v,) one over their variances beforehand;  smooth  (m - 2, m) bends of the drift
    """

    feels: Array
    known: NDArray[np.bool_]
    sigma: Array
    cov: Array
    prior: Array
    smooth: Array

    @property
    def gain(self) -> Array:
        """Change of the unknowns by what each scan tells (v, k), 0 where it tells nothing."""
        out = np.zeros(self.feels.T.shape)
        out[:, self.known] = self.cov @ (self.feels[self.known] / self.sigma[self.known, None] ** 2).T
        return out


@dataclass(frozen=True, eq=False, slots=True)
class Drift:
    """The fundamental's shift since the sweeps [rad/s].

    shift, u  (k,) at each scan as its mode feels it, and its standard uncertainty
    times     (m,) moments, rising [s];  run  (m,) of the drift there
    system    the least squares behind them
    """

    shift: Array
    u: Array
    times: Array
    run: Array
    system: System


def follow_drift(moments: Array, told: Array, mode: Places, block: Places) -> Drift:
    """The drift through k scans.

    moments  (k,) when each was read [s];  told  (k, 2) its own shift and standard uncertainty [rad/s], NaN where it has none
    mode, block  (k,) numbers of the mode and of the block of each scan

    >>> told = np.array([[0.1, 1e-4], [np.nan, np.nan], [0.3, 1e-4]])
    >>> none = np.zeros(3, int)
    >>> follow_drift(np.array([0.0, 100.0, 200.0]), told, none, none).shift.round(1).tolist()
    [0.1, 0.2, 0.3]
    """
    times, at = np.unique(moments, return_inverse=True)
    _, in_mode = np.unique(mode, return_inverse=True)
    _, in_block = np.unique(block, return_inverse=True)
    n, m, b = len(times), int(in_mode.max(initial=-1)) + 1, int(in_block.max(initial=-1)) + 1
    feels = np.zeros((len(moments), n + m + b))
    row = np.arange(len(moments))
    feels[row, at] = feels[row, n + in_mode] = feels[row, n + m + in_block] = 1.0
    known = np.isfinite(told[:, 0])
    white = feels[known] / np.hypot(told[known, 1:], LEAST)
    right = told[known, 0] / np.hypot(told[known, 1], LEAST)
    prior = np.concatenate([np.full(n, 1e-6 / MODE**2), np.full(m, MODE**-2.0), np.full(b, BLOCK**-2.0)])
    normal = white.T @ white + np.diag(prior)
    smooth = _bends(times)
    normal[:n, :n] += smooth.T @ smooth
    cov = np.linalg.inv(normal)
    x = cov @ (white.T @ right)
    variance = np.einsum("ij,jk,ik->i", feels, cov, feels)
    sigma = np.asarray(np.hypot(told[:, 1], LEAST), float)
    system = System(feels, known, sigma, np.asarray(cov, float), prior, smooth)
    return Drift(feels @ x, np.sqrt(np.maximum(variance, 0.0)), times, x[:n], system)


def _bends(times: Array) -> Array:
    """Changes of slope between successive times, in units of their standard deviation, (n - 2, n)."""
    n = len(times)
    if n < 3:
        return np.zeros((0, n))
    h = np.diff(times)
    sigma = _SLOPE * np.sqrt((h[1:] + h[:-1]) / 2.0 / _SLOPE_TIME)
    out = np.zeros((n - 2, n))
    i = np.arange(n - 2)
    out[i, i], out[i, i + 2] = 1.0 / h[:-1], 1.0 / h[1:]
    out[i, i + 1] = -out[i, i] - out[i, i + 2]
    return np.asarray(out / sigma[:, None], float)
