"""Detuning: the wire drifts, so the phase of each scan tells how far its resonance has moved since the sweeps.

A scan divided by the transfer of the sweeps would be real if nothing had moved. When the resonance moves by
``shift`` (of the fundamental, rad/s), the stiffness of mode n gains e = 2 n w shift in both planes, and

    Im(K u) + e Im(u) = lag Re(K u + e u)

gives e by linear least squares over the scan's readings. Scans without a magnet, or in a mode that is
nearly blind there, take the shift from their neighbours in time: it is one string.

Source: derived.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.wire import WireScan
from monochord.wire.model import ComplexArray
from monochord.wire.resonance import Transfer
from monochord.wire.setup import Setup

Array = NDArray[np.float64]

#: A scan follows the resonance by itself when the tails turn its phase by less than this [rad] ...
_CLEAR = 0.03
#: ... and its own shift is known to this part of the half linewidth.
_SHARP = 0.1


@dataclass(frozen=True, eq=False, slots=True)
class Tuned:
    """A scan with the state of the resonance while it was read.

    u       (2, n) modal displacement [m];  force  (2, n) complex force per mass [m/s2], real when well tuned
    shift   of the fundamental since the sweeps [rad/s], and u_shift;  own  True when the scan itself told it
    phase   by how much the signal is turned from the quadrature [rad]
    """

    scan: WireScan
    u: ComplexArray
    force: ComplexArray
    shift: float
    u_shift: float
    own: bool
    phase: float

    @property
    def w(self) -> float:
        """Drive [rad/s]."""
        return 2.0 * np.pi * self.scan.drive_frequency


def tune_scans(scans: Sequence[WireScan], powered: Sequence[bool], setup: Setup) -> list[Tuned]:
    """Every scan with its shift: from its own phase where that is clear, else from its neighbours in time.

    powered  which scans had their magnet on
    """
    raw = [_divide(scan, setup) for scan in scans]
    told = [_own_shift(scan, *pair, setup) if on else None for scan, pair, on in zip(scans, raw, powered, strict=True)]
    moments = _moments(scans)
    known = [i for i, t in enumerate(told) if t is not None]
    shifts = np.zeros(len(scans))
    spread = np.full(len(scans), np.inf)
    if known:
        order = sorted(known, key=lambda i: moments[i])
        values = np.array([told[i] for i in order])
        shifts = np.interp(moments, moments[order], values[:, 0])
        spread = np.interp(moments, moments[order], values[:, 1])
    out = []
    for i, (scan, (u, force)) in enumerate(zip(scans, raw, strict=True)):
        e = 2.0 * scan.mode * 2.0 * np.pi * scan.drive_frequency * shifts[i]
        phase = _phase(scan, setup.transfer, float(shifts[i]))
        out.append(Tuned(scan, u, force + e * u, float(shifts[i]), float(spread[i]), told[i] is not None, phase))
    return out


def _divide(scan: WireScan, setup: Setup) -> tuple[ComplexArray, ComplexArray]:
    """Modal displacement (2, n) and force per mass (2, n) before any shift."""
    seen: ComplexArray = np.stack([scan.x, scan.y])
    u = setup.transfer.unsee(scan.mode, setup.wire)[:, None] * seen
    return u, setup.transfer.stiffness(scan.mode, 2.0 * np.pi * scan.drive_frequency) @ u


def _own_shift(scan: WireScan, u: ComplexArray, force: ComplexArray, setup: Setup) -> tuple[float, float] | None:
    """Shift of the fundamental and its standard uncertainty [rad/s], or None where the scan cannot tell."""
    transfer, w = setup.transfer, 2.0 * np.pi * scan.drive_frequency
    lag = setup.weigh(scan.magnet, scan.mode, w, 0.0).lag_ratio
    along = u.imag - lag * u.real
    size = float(np.sum(along**2))
    if abs(lag) > _CLEAR or size == 0.0:
        return None
    shift = -float(np.sum((force.imag - lag * force.real) * along)) / size / (2.0 * w * scan.mode)
    half_width = transfer.damping(scan.mode)
    # noise across the direction of u turns the phase by noise / |u|, and a phase of 1 is one half width
    seen = setup.noise * float(np.abs(transfer.unsee(scan.mode, setup.wire)).max())
    u_shift = seen / np.sqrt(size) * half_width / scan.mode
    return (shift, u_shift) if u_shift * scan.mode < _SHARP * half_width else None


def _phase(scan: WireScan, transfer: Transfer, shift: float) -> float:
    """Angle by which the answer of the mode is turned from the quadrature [rad]."""
    w = 2.0 * np.pi * scan.drive_frequency
    a, b = transfer.frequencies(scan.mode)
    detuned = (np.pi * (a + b) + scan.mode * shift) ** 2 - w**2
    return float(np.arctan2(detuned, 2.0 * transfer.damping(scan.mode) * w))


def _moments(scans: Sequence[WireScan]) -> Array:
    """When each scan was read: its mean time where all have one, else its place in the row."""
    times = np.array([float(np.mean(s.times)) if len(s.times) else np.nan for s in scans])
    return times if bool(np.isfinite(times).all()) else np.arange(len(scans), dtype=float)
