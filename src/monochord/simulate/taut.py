"""The driven string as it really answers: all magnets, all modes, coupled planes, at two sensors.

Sources: the damped string and its modal sum are standard mechanics, derived anew for this module; no formula
or function of a fit is shared with it. Conventions: B = B_y + i B_x, force per metre f_x = -I B_y, f_y = +I B_x,
exp(+i w t), peak amplitudes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.wire import Wire
from monochord.simulate.girder import VirtualMagnet

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: Modes that are summed. What lies above falls off as 1/n^2 and adds less than 1 % of one mode's far tail.
MODES = 48
#: Quadrature nodes along one magnet: spaced by less than its field edge for iron up to about 0.6 m.
NODES = 64
#: Field edges beyond the iron that are integrated; tanh has 1e-7 left there.
EDGES = 8.0


@dataclass(frozen=True, eq=False, slots=True)
class Readings:
    """What a bench is asked to read, one row a reading.

    stage      (n, 2) both ends [m];  powered  (n,) index of the magnet under current, -1 for none
    magnet_current  (n,) [A];  frequency  (n,) [Hz];  drive  (n,) peak [A];  time  (n,) [s]
    """

    stage: Array
    powered: NDArray[np.int64]
    magnet_current: Array
    frequency: Array
    drive: Array
    time: Array

    def __len__(self) -> int:
        return len(self.time)


@dataclass(frozen=True, eq=False, slots=True)
class Chord:
    """Where the wire hangs: (n,) complex x + i y of both ends, sag at mid-span [m], and the string's own departure.

    own  (k,) complex amplitudes of sin(pi s/L), sin(2 pi s/L), ... [m]
    """

    start: Complex
    end: Complex
    sag: Array
    own: Complex

    def at(self, t: Array) -> Complex:
        """Position (n, m) of the wire at the fractions t (m,) of its length."""
        # One matrix product: straight part, hanging part, and the string's own.
        weights = np.stack([1.0 - t, t, -4j * t * (1.0 - t), departure(self.own, t)])
        position: Complex = np.stack([self.start, self.end, self.sag, np.ones_like(self.sag)], axis=1) @ weights
        return position


def departure(own: Complex, t: Array) -> Complex:
    """Departure (m,) of a stringing from the straight line at fractions t (m,) of the length [m].

    >>> departure(np.array([1e-6 + 0j]), np.array([0.5])).real.tolist()
    [1e-06]
    """
    shapes = np.sin(np.pi * np.arange(1, len(own) + 1) * t[:, None])
    away: Complex = shapes @ own
    return away


@cache
def _gauss(nodes: int) -> tuple[Array, Array]:
    return np.polynomial.legendre.leggauss(nodes)


def profile_nodes(magnet: VirtualMagnet) -> tuple[Array, Array]:
    """Nodes z [m] and weights [m] (profile included) for an integral along one magnet.

    profile 0.5 (tanh((z-a)/e) - tanh((z-b)/e)), a and b the iron's ends; a box where e = 0
    """
    reach = 0.5 * magnet.length + EDGES * magnet.edge
    x, w = _gauss(NODES)
    z = magnet.centre[2] + reach * x
    if magnet.edge == 0.0:
        return z, reach * w
    a, b = magnet.centre[2] - 0.5 * magnet.length, magnet.centre[2] + 0.5 * magnet.length
    profile = 0.5 * (np.tanh((z - a) / magnet.edge) - np.tanh((z - b) / magnet.edge))
    return z, reach * w * profile


def _polynomial(coefficients: Complex, u: Complex) -> Complex:
    value = np.full_like(u, coefficients[-1])
    for c in coefficients[-2::-1]:
        value *= u
        value += c
    return value


def magnet_modes(magnets: Sequence[VirtualMagnet], wire: Wire, chord: Chord, readings: Readings) -> Complex:
    """Amplitudes (n, MODES) of B_y + i B_x in sin(k_n s) from all magnets, b_n = (2/L) int B sin(k_n s) ds [T].

    Every magnet gives its remanence to every reading, the powered one its driven field as well.
    """
    total = np.zeros((len(readings), MODES), complex)
    k = np.pi * np.arange(1, MODES + 1) / wire.length
    for j, magnet in enumerate(magnets):
        z, weight = profile_nodes(magnet)
        s = z - wire.z_start
        projection = (2.0 / wire.length) * weight[:, None] * np.sin(np.outer(s, k))
        middle, slope = complex(magnet.centre[0], magnet.centre[1]), complex(magnet.slope_x, magnet.slope_y)
        u = chord.at(s / wire.length) - (middle + slope * (z - magnet.centre[2]))
        rolled = np.exp(-1j * np.arange(1, len(magnet.driven) + 1) * magnet.roll)
        field = _polynomial(magnet.remanent * rolled[: len(magnet.remanent)], u)
        on = readings.powered == j
        field[on] += _polynomial(magnet.driven * rolled, u[on]) * readings.magnet_current[on, None]
        total += field @ projection
    return total


def room_modes(z: Array, field: Complex, wire: Wire) -> Complex:
    """Amplitudes (MODES,) of a field along the wire that does not depend on where the wire is, trapezoids over z."""
    s = z - wire.z_start
    k = np.pi * np.arange(1, MODES + 1) / wire.length
    step = np.gradient(s)
    step[[0, -1]] *= 0.5
    amplitudes: Complex = (2.0 / wire.length) * ((field * step) @ np.sin(np.outer(s, k)).astype(complex))
    return amplitudes


@dataclass(frozen=True, eq=False, slots=True)
class Springs:
    """How the string rings: both planes of its supports, and its losses.

    f1         (n,) mean fundamental at each reading [Hz];  split  (f_b - f_a) / f1;  principal  angle of plane a from x [rad]
    decay      alpha of mode 1 [1/s];  decay_growth  relative, per further mode
    stiffness  f_n = n f1 (1 + stiffness n^2)
    """

    f1: Array
    split: float
    principal: float
    decay: float
    decay_growth: float
    stiffness: float


def displacement(
    modes: Complex, springs: Springs, wire: Wire, readings: Readings, sensors: Array
) -> tuple[Complex, Complex]:
    """Complex displacement (n, k) in x and y at distances sensors (k,) from the upstream support [m].

    q_n = F_n / (mu (w_n^2 - w^2 + 2 i alpha w)) in each principal plane, u = sum_n q_n sin(k_n s)
    """
    n = np.arange(1, MODES + 1)
    w = 2.0 * np.pi * readings.frequency[:, None]
    mean = (2.0 * np.pi * springs.f1[:, None] * n * (1.0 + springs.stiffness * n**2)) ** 2
    rest = 2j * springs.decay * (1.0 + springs.decay_growth * (n - 1)) * w - w**2
    c, s = np.cos(springs.principal), np.sin(springs.principal)
    # f_x = -I B_y and f_y = +I B_x, turned into the planes a and b
    force_a = readings.drive[:, None] * (s * modes.imag - c * modes.real)
    force_b = readings.drive[:, None] * (c * modes.imag + s * modes.real)
    seen = (np.sin(np.outer(n, np.pi * sensors / wire.length)) / wire.mass_per_length).astype(complex)
    along_a = (force_a / (mean * (1.0 - 0.5 * springs.split) ** 2 + rest)) @ seen
    along_b = (force_b / (mean * (1.0 + 0.5 * springs.split) ** 2 + rest)) @ seen
    return c * along_a - s * along_b, s * along_a + c * along_b
