"""The taut string: formulas that more than one room needs.

Sag is counted positive downward, below the chord. Derived in the wire notes from the static and the
dynamic string; checked against the closed forms g/(32 f1^2) and the catenary in the tests.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def mid_sag(f1: float, gravity: float = 9.80665) -> float:
    """Sag at mid-span below the chord of the supports [m], s = g / (32 f1^2).

    f1  fundamental [Hz]; independent of tension, density and length while the density is uniform.

    >>> round(mid_sag(50.0) * 1e6, 2)
    122.58
    """
    return gravity / (32.0 * f1**2)


def sag_below_chord(s: Array, length: float, f1: float, gravity: float = 9.80665) -> Array:
    """Sag below the chord of the supports at distance s from the first [m], 4 s_mid (s/L)(1 - s/L).

    >>> float(sag_below_chord(np.array(1.0), 4.0, 39.261333).round(11))
    0.00014910832
    """
    ratio = s / length
    below: Array = 4.0 * mid_sag(f1, gravity) * ratio * (1.0 - ratio)
    return below


def mode_shape(s: Array, mode: int, length: float) -> Array:
    """sin(n pi s / L) at distance s from the first support.

    >>> float(mode_shape(np.array(1.0), 2, 4.0))
    1.0
    """
    shape: Array = np.sin(mode * np.pi * s / length)
    return shape
