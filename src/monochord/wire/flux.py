"""Moved wire and flux: the voltage of a wire that is moved across a magnet, integrated.

    dPhi = Re (B dzeta), integrated along z,  B = By + i Bx

Phi(d) is the integral of the voltage for a move of both ends by d along x from x0. Vertical moves alike, with y
and Bx. Turns multiply the signal. Sag lowers the wire at the magnet and is corrected as for a vibrating wire.

Source: induction law; standard forms, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class FluxFinding:
    """Place of the start against the centre, x0 - x_c [m], and integrated strength: G l [T] or S l [T/m]."""

    offset: float
    strength: float


def quadrupole_by_moves(forward: float, backward: float, step: float) -> FluxFinding:
    """From Phi(+D) and Phi(-D) [V s] of a quadrupole, D = step [m].

    x0 - x_c = (D/2) (Phi+ - Phi-) / (Phi+ + Phi-),  G l = (Phi+ + Phi-) / D^2

    A uniform background does not cancel here: move with the magnet on and off, and give the differences.

    >>> round(quadrupole_by_moves(1.4475e-5, 1.5525e-5, 2e-3).offset * 1e6, 6)
    -35.0
    """
    total = forward + backward
    return FluxFinding(step / 2.0 * (forward - backward) / total, total / step**2)


def sextupole_by_moves(forward: float, backward: float, step: float, strength: float | None = None) -> FluxFinding:
    """From Phi(+D) and Phi(-D) [V s] of a sextupole.

    x0 - x_c = (Phi+ + Phi-) / (S l D^2) with the strength S l [T/m] known; without it
    (D/3) (Phi+ + Phi-) / (Phi+ - Phi-), S l = 3 (Phi+ - Phi-) / D^3, good for offsets small against D

    >>> round(sextupole_by_moves(6.325333e-7, -4.405333e-7, 2e-3, 400.0).offset * 1e6, 3)
    120.0
    """
    if strength is not None:
        return FluxFinding((forward + backward) / (strength * step**2), strength)
    apart = forward - backward
    return FluxFinding(step / 3.0 * (forward + backward) / apart, 3.0 * apart / step**3)


def counter_moves(
    *, gradient: float, length: float, middle: float, wire_length: float, step: float, offset: float, slope: float
) -> float:
    """Phi+ - Phi- [V s] of a quadrupole when the ends move oppositely, +D at the first and -D at the second.

    2 G D [(x0 - x_c) p l - (2/L) slope l^3 / 12],  p = 1 - 2 z0 / L

    gradient  G [T/m];  length  l of the magnet, middle  z0 from the first end, wire_length  L [m]
    offset    x0 - x_c [m];  slope  of the wire against the axis [rad]
    """
    p = 1.0 - 2.0 * middle / wire_length
    return 2.0 * gradient * step * (offset * p * length - 2.0 / wire_length * slope * length**3 / 12.0)


def harmonics_by_circle(flux: Array, radius: float) -> ComplexArray:
    """Integrated field coefficients c_m l [T/m^m m], m = 0, 1, ..., from the flux at even angles of a full circle.

    Phi(th) - Phi(0) = Re sum_n C_n (e^(i n th) - 1),  c_(n-1) l = n C_n / a^n

    flux  (k,) [V s] at th = 2 pi j / k;  radius  a [m]. Harmonics above a quarter of the readings are not given.
    """
    count = len(flux)
    spectrum = 2.0 * np.fft.fft(flux) / count
    n = np.arange(1, max(count // 4, 1) + 1)
    return np.asarray(spectrum[n] * n / radius**n, complex)
