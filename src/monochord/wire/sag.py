"""Sag: how far the wire hangs below its chord, from its fundamental, and how well that is known.

    s = g / (32 f1^2) at mid-span, whatever the tension, the density and the length (uniform wire)

Which fundamental? The supports split it into two; a split is no sign of sag, so the mean counts and half
the split is as far as the true one may lie from it. Source: static and dynamic taut string, derived.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monochord.campaign.given.wire import Wire
from monochord.ground.string import mid_sag
from monochord.wire.resonance import Transfer

#: Relative uncertainty of gravity where it was told for the place, and of a wire whose modes are in tune: the
#: density's even parts would show in f_n / (n f1), its odd parts do not. Common practice, no source.
GRAVITY = 1e-4
DENSITY = 5e-4


@dataclass(frozen=True, slots=True)
class Sag:
    """f1 [Hz], its standard uncertainty, sag at mid-span [m], and the relative standard uncertainty of all sags."""

    f1: float
    u_f1: float
    mid: float
    relative: float


def find_sag(transfer: Transfer, wire: Wire, shift: float) -> Sag:
    """Sag with the fundamental moved by ``shift`` [rad/s] since the sweeps.

    A wire out of tune (f_n no multiple of f1) is not uniform. For a density 1 + eps cos(2 pi s / L) the second mode is
    out of tune by eps/4 while the sag told by f1 is off by 0.095 eps, so half the worst mistuning is counted.
    """
    a, b = transfer.fundamental
    f1 = (a + b) / 2.0 + shift / (2.0 * np.pi)
    fit = 1.0 / np.sqrt(float(np.sum((transfer.modes / transfer.u_f) ** 2)))
    u_f1 = float(np.hypot(fit, (a - b) / 2.0 / np.sqrt(3.0)))
    tune = 0.5 * transfer.inharmonicity
    relative = float(np.sqrt((2.0 * u_f1 / f1) ** 2 + GRAVITY**2 + DENSITY**2 + tune**2))
    return Sag(f1, u_f1, mid_sag(f1, wire.gravity), relative)
