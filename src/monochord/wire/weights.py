"""How a driven mode, with the tails of all others, weighs the field along one magnet.

The wire is driven near mode n, but every mode answers a little. Divided by the stiffness of mode n, a
reading is the integral of B(z) W(z) with

    W = sin(k_n s) + sum_m (g_m / g_n) D_n / (w_m^2 - w^2) sin(k_m s),    D_n = w_n^2 - w^2 + 2 i a w

and g_m = sin(k_m s_sensor). The real part of W is the weight, its imaginary part a lag that looks like a
detuning of the mode and is told apart here. The tails matter where mode n is nearly blind.

Source: modal sum of the damped string, derived.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.wire import Wire
from monochord.ground.string import sag_below_chord
from monochord.wire.model import TAIL_MODES, field_nodes
from monochord.wire.resonance import Transfer

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Weighing:
    """One magnet under one mode.

    z       (q,) nodes along the magnet [m];  weight  (q,) profile times real part of W times step [m]
    lag     the same with the imaginary part;  middle  z of the magnet's middle [m]
    """

    z: Array
    weight: Array
    lag: Array
    middle: float

    @property
    def offset(self) -> float:
        """S, the part of an offset in the reading [m]."""
        return float(self.weight.sum())

    @property
    def slope(self) -> float:
        """C, the part of a slope in the reading [m2]."""
        return float(self.weight @ (self.z - self.middle))

    @property
    def lag_ratio(self) -> float:
        """Imaginary over real part of the answer to an offset."""
        return float(self.lag.sum()) / self.offset

    def sag(self, wire: Wire, f1: float) -> float:
        """Integral of the sag below the chord under the weight [m2]."""
        return float(self.weight @ sag_below_chord(self.z - wire.z_start, wire.length, f1, wire.gravity))


def weigh_magnet(magnet: Magnet, mode: int, wire: Wire, transfer: Transfer, *, w: float, shift: float) -> Weighing:
    """The weights of one magnet under one mode driven at w [rad/s].

    shift  by how much the mode's frequency has moved since the sweeps [rad/s], counted for the fundamental
    """
    z, profile = field_nodes(magnet)
    real, imaginary = answer(z, mode, wire, transfer, w=w, shift=shift)
    return Weighing(z, profile * real, profile * imaginary, magnet.point[2])


def answer(z: Array, mode: int, wire: Wire, transfer: Transfer, *, w: float, shift: float) -> tuple[Array, Array]:
    """Real and imaginary part of W at z, (q,) each."""
    k, n = np.pi / wire.length, mode
    w1 = np.pi * sum(transfer.fundamental) + shift
    m = np.arange(1, TAIL_MODES + 1)
    m = m[m != n]
    sensors = np.array([wire.sensor_x_z, wire.sensor_y_z]) - wire.z_start
    # The two sensors stand close together: one mean ratio serves both, the tails being small.
    ratio = (np.sin(np.outer(m, k * sensors)) / np.sin(n * k * sensors)).mean(axis=1)
    tail = (ratio / ((m * w1) ** 2 - w**2)) @ np.sin(np.outer(m, k * (z - wire.z_start)))
    a, b = transfer.frequencies(n)
    detuned = (np.pi * (a + b) + n * shift) ** 2 - w**2
    own = np.sin(n * k * (z - wire.z_start))
    return own + detuned * tail, 2.0 * transfer.damping(n) * w * tail
