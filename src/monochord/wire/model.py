"""Forward model of the wire: a damped string in two planes, driven by the field of magnets.

Only what leads from a known girder to a displacement; nothing here is fitted. Complex numbers play two
parts that never mix: ``zeta = x + i y`` and ``B = By + i Bx`` live in the transverse plane, phasors live
in time, exp(+i w t) counted from the drive current.

    f_x = -I By, f_y = +I Bx        force per length on a current I along +z (Lorentz)
    B = c (zeta - zeta_c)^(N-1)     2N-pole;  c = derivative / (N-1)!

Source: damped driven string and Lorentz force, textbook physics, derived here; the field law is the
multipole expansion of a source-free transverse field.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import factorial

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.wire import Wire

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

#: How many modes the tails of a response are summed over; the rest is below 1e-6 of the whole.
TAIL_MODES = 60
#: Fall-off lengths beyond a magnet's ends after which tanh leaves less than 1e-7 of the field.
_REACH = 8.0


@dataclass(frozen=True, slots=True)
class Planes:
    """The string as an oscillator with two principal planes.

    f_a, f_b   fundamental in plane a and in plane b [Hz];  turn  of plane a from x towards y [rad]
    damping    amplitude decay rate of mode 1 [1/s];  damping_slope  its growth per mode [1/s]
    """

    f_a: float
    f_b: float
    turn: float = 0.0
    damping: float = 1.0
    damping_slope: float = 0.0

    def decay(self, mode: int) -> float:
        """Amplitude decay rate of a mode [1/s]."""
        return self.damping + self.damping_slope * (mode - 1)


def stiffness(w_a: float, w_b: float, damping: float, turn: float, w: float | Array) -> ComplexArray:
    """Force per mass over displacement of one mode at drive w, (..., 2, 2) complex [1/s2].

    K = R(turn) diag(w_a^2 - w^2 + 2 i a w, w_b^2 - w^2 + 2 i a w) R(-turn)

    w_a, w_b  [rad/s] of this mode in the two planes;  damping  a [1/s];  turn  [rad];  w  [rad/s]

    >>> k = stiffness(300.0, 300.0, 0.8, 0.3, 300.0)
    >>> bool(abs(k[0, 0] - 480j) < 1e-9 and abs(k[0, 1]) < 1e-9)
    True
    """
    d_a = w_a**2 - np.square(w) + 2j * damping * np.asarray(w)
    d_b = w_b**2 - np.square(w) + 2j * damping * np.asarray(w)
    c, s = np.cos(2.0 * turn), np.sin(2.0 * turn)
    mean, half = (d_a + d_b)[..., None, None] / 2.0, (d_a - d_b)[..., None, None] / 2.0
    return np.asarray(mean * np.eye(2) + half * np.array([[c, s], [s, -c]]), complex)


def field_nodes(magnet: Magnet) -> tuple[Array, Array]:
    """Where to sample a magnet's field along z, and the weight of each sample [m].

    Sum of weights * f(z) is the integral of p(z) f(z) dz with p = 0.5 (tanh((z-a)/e) - tanh((z-b)/e)),
    or p = 1 between the ends when the edge e is 0.

    >>> z, weight = field_nodes(Magnet("Q", "quadrupole", (0.0, 0.0, 1.0), 0.25, edge=0.03))
    >>> round(float(weight.sum()), 7)
    0.25
    """
    start, end = magnet.point[2] - magnet.length / 2.0, magnet.point[2] + magnet.length / 2.0
    if magnet.edge < 1e-3 * magnet.length:
        node, weight = np.polynomial.legendre.leggauss(32)
        return (start + end) / 2.0 + node * magnet.length / 2.0, weight * magnet.length / 2.0
    # The poles of tanh lie pi e / 2 off the real axis: steps of e / 2 leave an error of exp(-2 pi^2) = 3e-9.
    step = magnet.edge / 2.0
    z = np.arange(start - _REACH * magnet.edge, end + _REACH * magnet.edge, step)
    profile = 0.5 * (np.tanh((z - start) / magnet.edge) - np.tanh((z - end) / magnet.edge))
    return z, profile * step


def mode_integrals(magnet: Magnet, mode: int, wire: Wire) -> tuple[float, float]:
    """How a mode weighs a magnet's field: S = int p sin(k s) dz [m] and C = int p (z - z0) sin(k s) dz [m2].

    A mode sees the offset through S and the slope through C; k = n pi / L, s from the upstream support.

    >>> bench = Wire(0.0, 4.0, 1e-4, 9.80665, 0.08, 0.08, 0.0, 0.0, 0.0, 0.0, 0.0)
    >>> s, c = mode_integrals(Magnet("Q", "quadrupole", (0.0, 0.0, 1.3), 0.25), 1, bench)
    >>> round(s, 6), round(c / s * 1e3, 4)
    (0.212818, 2.5083)
    """
    z, weight = field_nodes(magnet)
    shape = weight * np.sin(mode * np.pi / wire.length * (z - wire.z_start))
    return float(shape.sum()), float(shape @ (z - magnet.point[2]))


def coefficient(magnet: Magnet, current: float, roll: float = 0.0) -> complex:
    """Field coefficient c of B = c (zeta - zeta_c)^(N-1) [T/m^(N-1)]; a roll turns it by exp(-i N roll).

    >>> coefficient(Magnet("S", "sextupole", (0.0, 0.0, 0.0), 0.2, derivative=20.0), 100.0)
    (1000+0j)
    """
    return complex(
        magnet.derivative * current / factorial(magnet.order - 1) * np.exp(complex(0.0, -magnet.order * roll))
    )


def field_on_modes(
    magnet: Magnet, c: complex, *, centre: complex, slope: complex, points: ComplexArray, below: Array, wire: Wire
) -> ComplexArray:
    """Integral of a magnet's B sin(k_m s) dz along a sagging wire, (n, TAIL_MODES) [T m], mode 1 first.

    c       coefficient [T/m^(N-1)];  centre, slope  of the axis at the magnet's middle, x + i y [m], [rad]
    points  (n,) chord position x + i y [m];  below  sag at the nodes of :func:`field_nodes` [m]
    """
    z, weight = field_nodes(magnet)
    away = points[:, None] - 1j * below - centre - slope * (z - magnet.point[2])
    mode = np.arange(1, TAIL_MODES + 1)
    shapes = np.sin(np.pi / wire.length * np.outer(z - wire.z_start, mode))
    return np.asarray((c * away ** (magnet.order - 1) * weight) @ shapes, complex)


def sensor_phasors(
    field: ComplexArray,
    planes: Planes,
    wire: Wire,
    *,
    mode: int,
    frequency: float,
    current: float,
    sensor_turn: float = 0.0,
) -> tuple[ComplexArray, ComplexArray]:
    """Displacement at the two sensors [m, peak], for fields (n, modes) as :func:`field_on_modes` gives them.

    u = R(-sensor_turn) sum_m sin(k_m s_p) K_m^-1 f_m,  f_m = (2 I / (L mu)) (-Re, Im) int B sin(k_m s) dz

    mode  the one that is driven: its planes are told apart; in the tails of the others they are not
    """
    w, k = 2.0 * np.pi * frequency, np.pi / wire.length
    force = 2.0 * current / (wire.length * wire.mass_per_length) * np.stack([-field.real, field.imag])
    mean = np.pi * (planes.f_a + planes.f_b)
    m = np.arange(1, field.shape[1] + 1)
    decay = planes.damping + planes.damping_slope * (m - 1)
    modal = force / ((m * mean) ** 2 - w**2 + 2j * decay * w)
    kernel = stiffness(mode * 2 * np.pi * planes.f_a, mode * 2 * np.pi * planes.f_b, planes.decay(mode), planes.turn, w)
    modal[:, :, mode - 1] = np.linalg.solve(kernel, force[:, :, mode - 1])
    c, s = np.cos(sensor_turn), np.sin(sensor_turn)
    seen_x, seen_y = c * modal[0] + s * modal[1], -s * modal[0] + c * modal[1]
    at_x = np.sin(m * k * (wire.sensor_x_z - wire.z_start))
    at_y = np.sin(m * k * (wire.sensor_y_z - wire.z_start))
    return seen_x @ at_x, seen_y @ at_y
