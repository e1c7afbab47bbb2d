"""Rotating coil: harmonics about the coil's axis to centre and roll of the magnet.

    B = sum_n C_n (zeta / R)^(n-1),  B = By + i Bx,  C_n in T or T m at radius R, n = 1 the dipole

Origin is the coil's axis. A shift of the origin feeds every harmonic down into the lower ones; the centre of
a 2N-pole is where its own feed-down makes C_(N-1) vanish.

Source: multipole expansion, standard; checked on open run files of a magnetic measurement group (read).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import comb

import numpy as np
from numpy.typing import NDArray

from monochord.ground.faults import Undetermined

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_MOST_STEPS = 20


def from_pole_angles(size: Array, angle: Array) -> ComplexArray:
    """C_n (n,) from a table of |C_n| and the angle th_n of a south pole [rad], B_r = |C_n| cos n (th - th_n).

    C_n = i |C_n| exp(-i n th_n), rows n = 1, 2, ...

    >>> from_pole_angles(np.array([0.0, 1.0]), np.array([0.0, np.pi / 4])).round(12).tolist()
    [0j, (1+0j)]
    """
    n = np.arange(1, len(size) + 1)
    return np.asarray(1j * size * np.exp(-1j * n * angle), complex)


def moved_origin(harmonics: ComplexArray, to: complex, radius: float) -> ComplexArray:
    """Harmonics C_n (n,) as seen from the point ``to`` [m], C'_n = sum_k C_k binom(k-1, n-1) (to / R)^(k-n).

    >>> moved_origin(np.array([0.0, 1.0 + 0j]), 1e-3, 0.01).tolist()
    [(0.1+0j), (1+0j)]
    """
    t = to / radius
    count = len(harmonics)
    feed = np.array(
        [[comb(k, n) * t ** (k - n) if k >= n else 0.0 for k in range(count)] for n in range(count)], complex
    )
    return feed @ harmonics


@dataclass(frozen=True, slots=True)
class CoilFinding:
    """Centre x + i y [m], its first-order value, roll about z, x towards y [rad], and what is left of the dipole.

    dipole  C_1 seen from the centre [unit of the harmonics]: background plus the magnet's own dipole
    """

    centre: complex
    first_order: complex
    roll: float
    dipole: complex


def find_centre(harmonics: ComplexArray, order: int, radius: float) -> CoilFinding:
    """Centre and roll of a 2N-pole, N = order, from harmonics C_1, C_2, ... at radius R [m].

    First order: zeta_c = - R C_(N-1) / ((N-1) C_N); then Newton steps on C'_(N-1)(zeta) = 0, as higher harmonics feed
    down too. The roll is -arg(C'_N) / N, after the shift, folded to the smallest angle that one of the N poles allows.

    Raises Undetermined for a dipole, missing harmonics, or a leading harmonic of zero.

    >>> found = find_centre(np.array([-1e-3, 1.0 + 0j]), 2, 0.01)
    >>> round(found.centre.real * 1e6, 6)
    10.0
    """
    if order < 2 or len(harmonics) < order or harmonics[order - 1] == 0.0:
        raise Undetermined(
            ["centre"], f"a centre of order {order} needs the harmonics up to {order} and order 2 or more"
        )
    first = -radius * harmonics[order - 2] / ((order - 1) * harmonics[order - 1])
    centre = complex(first)
    for _ in range(_MOST_STEPS):
        seen = moved_origin(harmonics, centre, radius)
        step = -radius * seen[order - 2] / ((order - 1) * seen[order - 1])
        centre += complex(step)
        if abs(step) < 1e-12 * radius:
            break
    seen = moved_origin(harmonics, centre, radius)
    angle = -float(np.angle(seen[order - 1])) / order
    fold = 2.0 * np.pi / order
    return CoilFinding(centre, complex(first), (angle + fold / 2.0) % fold - fold / 2.0, complex(seen[0]))
