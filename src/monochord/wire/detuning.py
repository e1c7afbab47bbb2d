"""Detuning: the wire drifts, so the phase of each scan tells how far its resonance has moved since the sweeps.

A scan divided by the transfer of the sweeps would be real if nothing had moved. When the resonance moves by
``shift`` (of the fundamental, rad/s), the stiffness of mode n gains e = 2 n w shift in both planes, and

    Im(K u) + e Im(u) = lag Re(K u + e u)

gives e by linear least squares over the part of a scan that only a 2N-pole makes. What runs with a lower power of
the position than N-1 (pick-up, the room's field, remanence of other magnets) has another phase and is left
out. Scans without a magnet, or in a mode that is
nearly blind there, take the shift from their neighbours in time: it is one string.

Source: derived.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.wire.drift import Drift, follow_drift
from monochord.wire.model import ComplexArray
from monochord.wire.passes import Passes
from monochord.wire.setup import Setup

Array = NDArray[np.float64]

#: A scan follows the resonance by itself when the tails turn its phase by less than this [rad] ...
_CLEAR = 0.03
#: ... and its own shift is known to this part of the half linewidth.
_SHARP = 0.1


@dataclass(frozen=True, eq=False, slots=True)
class Tuned:
    """Passes with the state of the resonance while they were read.

    u       (2, n) modal displacement [m];  kernel  (n, 2, 2) stiffness at each reading [1/s2]
    shift   (k,) of the fundamental since the sweeps, for each scan [rad/s];  u_shift  (k,) its standard uncertainty
    phase   (k,) by how much the signal is turned from the quadrature [rad]
    """

    passes: Passes
    u: ComplexArray
    kernel: ComplexArray
    shift: Array
    u_shift: Array
    phase: Array


def tune(groups: Sequence[Passes], setup: Setup) -> list[Tuned]:
    """Every scan's shift: what its own phase says, made one with what all others say about the string's drift."""
    if not groups:
        return []
    seen = [setup.mode(p.mode).unsee[:, None] * p.raw for p in groups]
    told = [_own_shifts(p, u, setup) for p, u in zip(groups, seen, strict=True)]
    half = np.concatenate([np.full(len(p.scans), setup.mode(p.mode).decay / p.mode) for p in groups])
    own = np.concatenate(told)
    # a scan that seems detuned by more than a half width is refused later, and says nothing about its neighbours
    far = np.abs(own[:, 0] - _centre(own[:, 0])) >= half
    own[far] = np.nan
    names = sorted({p.magnet for p in groups})
    mode = np.concatenate([np.full(len(p.scans), p.mode) for p in groups])
    block = np.concatenate([np.full(len(p.scans), p.mode * len(names) + names.index(p.magnet)) for p in groups])
    drift = follow_drift(np.concatenate([p.moments for p in groups]), own, mode, block)
    ends = np.cumsum([len(p.scans) for p in groups])[:-1]
    parts = zip(np.split(drift.shift, ends), np.split(drift.u, ends), np.split(far, ends), strict=True)
    return [
        _tuned(p, u, np.where(off, own_[:, 0], shift), spread, drift, setup=setup)
        for p, u, own_, (shift, spread, off) in zip(groups, seen, told, parts, strict=True)
    ]


def _centre(shifts: Array) -> float:
    """Median of the shifts that are known."""
    known = shifts[np.isfinite(shifts)]
    return float(np.median(known)) if len(known) else 0.0


def _own_shifts(passes: Passes, u: ComplexArray, setup: Setup) -> Array:
    """Shift of the fundamental and its standard uncertainty for each scan (k, 2) [rad/s], NaN where it cannot tell."""
    out = np.full((len(passes.scans), 2), np.nan)
    mode, w = setup.mode(passes.mode), float(passes.w.mean())
    lag = setup.weigh(passes.magnet, passes.mode, w, 0.0).lag
    if not passes.on or abs(lag) > _CLEAR:
        return out
    force = np.einsum("nij,jn->in", mode.kernel(passes.w, 0.0), u)
    low = setup.magnets[passes.magnet].order - 2
    along = passes.without_low(u.imag - lag * u.real, low)
    lagging = passes.without_low(force.imag - lag * force.real, low)
    size = passes.per_scan((along**2).sum(axis=0))
    across = passes.per_scan((lagging * along / (2.0 * passes.w * passes.mode)).sum(axis=0))
    # noise across the direction of u turns the phase by noise / |u|, and a phase of 1 is one half width
    noise = setup.noise * float(np.abs(mode.unsee).max())
    part = np.divide(noise, np.sqrt(size), out=np.full(len(size), np.inf), where=size > 0.0)
    sharp = part < _SHARP
    out[sharp, 0] = -across[sharp] / size[sharp]
    out[sharp, 1] = part[sharp] * mode.decay / passes.mode
    return out


def _tuned(passes: Passes, u: ComplexArray, shift: Array, spread: Array, drift: Drift, *, setup: Setup) -> Tuned:
    """Passes at the shift of each scan (k,); within a scan it runs as the drift does."""
    mode = setup.mode(passes.mode)
    run = np.interp(passes.time, drift.times, drift.run)
    mean = passes.per_scan(run) / passes.per_scan(np.ones(len(run)))
    w = 2.0 * np.pi * np.array([s.drive_frequency for s in passes.scans])
    phase = np.arctan2(mode.detuned(w, shift), 2.0 * mode.decay * w)
    return Tuned(passes, u, mode.kernel(passes.w, run + (shift - mean)[passes.scan]), shift, spread, phase)
