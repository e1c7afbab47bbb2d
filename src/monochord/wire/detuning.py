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
class Followed:
    """How the shifts of k scans were found.

    own     (k, 2) shift that each scan told by itself, NaN when it was not heard, and its standard uncertainty [rad/s]
    far     (k,) whether a scan goes by its own shift, being too far off to be one with the others
    drift   of the string through the occasion;  first  place of the first scan among all scans there
    """

    own: Array
    far: NDArray[np.bool_]
    drift: Drift
    first: int


@dataclass(frozen=True, eq=False, slots=True)
class Tuned:
    """Passes with the state of the resonance while they were read.

    u       (2, n) modal displacement [m];  kernel  (n, 2, 2) stiffness at each reading [1/s2]
    shift   (k,) of the fundamental since the sweeps, for each scan [rad/s];  u_shift  (k,) its standard uncertainty
    phase   (k,) by how much the signal is turned from the quadrature [rad]
    followed  how the shifts were found
    """

    passes: Passes
    u: ComplexArray
    kernel: ComplexArray
    shift: Array
    u_shift: Array
    phase: Array
    followed: Followed | None = None


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
    ends = np.cumsum([len(p.scans) for p in groups])
    parts = [slice(end - len(p.scans), end) for p, end in zip(groups, ends.tolist(), strict=True)]
    return [
        _tuned(p, u, Followed(own_, far[at], drift, at.start), setup=setup)
        for p, u, own_, at in zip(groups, seen, told, parts, strict=True)
    ]


def _centre(shifts: Array) -> float:
    """Median of the shifts that are known."""
    known = shifts[np.isfinite(shifts)]
    return float(np.median(known)) if len(known) else 0.0


def lag_of(passes: Passes, setup: Setup) -> float:
    """How much the tails of the other modes turn the phase of a block [rad]."""
    return setup.weigh(passes.magnet, passes.mode, float(passes.w.mean()), 0.0).lag


@dataclass(frozen=True, eq=False, slots=True)
class Phase:
    """What tells a scan's phase: force out of phase (2, n) [m/s2], signal with the magnet's law (2, n) [m], its squares (k,)."""

    lagging: Array
    along: Array
    size: Array


def told_by_phase(passes: Passes, u: ComplexArray, setup: Setup) -> Phase:
    """The phase of a block's scans against the sweeps, u (2, n) modal displacement [m]."""
    lag = lag_of(passes, setup)
    force = np.einsum("nij,jn->in", setup.mode(passes.mode).kernel(passes.w, 0.0), u)
    along = passes.without_low(u.imag - lag * u.real, setup.magnets[passes.magnet].order - 2)
    return Phase(force.imag - lag * force.real, along, passes.per_scan((along**2).sum(axis=0)))


def _own_shifts(passes: Passes, u: ComplexArray, setup: Setup) -> Array:
    """Shift of the fundamental and its standard uncertainty for each scan (k, 2) [rad/s], NaN where it cannot tell."""
    out = np.full((len(passes.scans), 2), np.nan)
    mode, lag = setup.mode(passes.mode), lag_of(passes, setup)
    if not passes.on or abs(lag) > _CLEAR:
        return out
    told = told_by_phase(passes, u, setup)
    along, size = told.along, told.size
    lagging = passes.without_low(told.lagging, setup.magnets[passes.magnet].order - 2)
    across = passes.per_scan((lagging * along / (2.0 * passes.w * passes.mode)).sum(axis=0))
    # noise across the direction of u turns the phase by noise / |u|, and a phase of 1 is one half width
    noise = setup.noise * float(np.abs(mode.unsee).max())
    part = np.divide(noise, np.sqrt(size), out=np.full(len(size), np.inf), where=size > 0.0)
    sharp = part < _SHARP
    out[sharp, 0] = -across[sharp] / size[sharp]
    out[sharp, 1] = part[sharp] * mode.decay / passes.mode
    return out


def _tuned(passes: Passes, u: ComplexArray, by: Followed, *, setup: Setup) -> Tuned:
    """Passes at the shift of each scan (k,); within a scan it runs as the drift does."""
    mode, drift, here = setup.mode(passes.mode), by.drift, slice(by.first, by.first + len(passes.scans))
    shift, spread = np.where(by.far, by.own[:, 0], drift.shift[here]), drift.u[here]
    run, mean = _run(passes, drift)
    w = 2.0 * np.pi * np.array([s.drive_frequency for s in passes.scans])
    phase = np.arctan2(mode.detuned(w, shift), 2.0 * mode.decay * w)
    kernel = mode.kernel(passes.w, run + (shift - mean)[passes.scan])
    return Tuned(passes, u, kernel, shift, spread, phase, by)


def _run(passes: Passes, drift: Drift) -> tuple[Array, Array]:
    """The drift at every reading (n,), and its mean over each scan (k,) [rad/s]."""
    run = np.interp(passes.time, drift.times, drift.run)
    return run, passes.per_scan(run) / passes.per_scan(np.ones(len(run)))
