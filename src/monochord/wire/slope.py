"""Centre and slope of one magnet from one or more modes.

A mode that weighs an offset by S_n and a slope by C_n sees, about a point near the centre,

    d_n = S_n (centre - point) + C_n slope.

One mode alone cannot tell the two apart: its centre is off by slope C_n / S_n. Two modes can. The weights
below give the centre with the smallest variance when slopes scatter by SLOPE from magnet to magnet, so
that a second mode never makes the centre worse; the slope is given only by the readings, without a prior.

Source: derived; generalised least squares with a prior on the slope.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Slope of a magnet's axis against the chord of the wire, one standard deviation [rad]. Magnets are mounted to some
#: 20 um over a quarter of a metre, and the chord is tilted by some 10 um over its length: common practice, no source.
SLOPE = 1e-4
#: A slope whose standard uncertainty exceeds this [rad] says less than the mounting does, and is not given.
_USELESS = 1e-4


@dataclass(frozen=True, eq=False, slots=True)
class Weights:
    """Linear estimators over the modes of one plane.

    centre  (k,) weights of d_n [1/m], centre - point = centre @ d;  leak  what is left of a slope in it [m]
    slope   (k,) weights of d_n [1/m2], or None when the modes do not tell the slope, with the reason
    """

    centre: Array
    leak: float
    slope: Array | None
    reason: str


def mode_weights(offset: Array, slope: Array, cov: Array) -> Weights:
    """Weights for modes with S (k,) [m], C (k,) [m2] and the covariance (k, k) of d [m2 squared].

    The centre's weights are Q S / (S' Q S), Q = (cov + SLOPE^2 C C')^-1.

    >>> w = mode_weights(np.array([0.2, 0.1]), np.array([1e-3, -5e-3]), 1e-18 * np.eye(2))
    >>> bool(abs(w.centre @ [0.2, 0.1] - 1) < 1e-12 and abs(w.leak) < 1e-6)
    True
    """
    unit = np.sqrt(np.trace(cov) / len(offset))
    scaled = cov / unit**2
    inverse = np.linalg.inv(scaled + (SLOPE / unit) ** 2 * np.outer(slope, slope))
    centre = inverse @ offset / (offset @ inverse @ offset)
    leak = float(centre @ slope)
    if len(offset) < 2:
        return Weights(centre, leak, None, "only one mode was scanned; a second one that weighs slope tells it")
    design = np.stack([offset, slope], axis=1)
    white = np.linalg.inv(scaled)
    normal = design.T @ white @ design
    if np.linalg.cond(normal / np.sqrt(np.outer(np.diag(normal), np.diag(normal)))) > 1e10:
        return Weights(
            centre, leak, None, "the scanned modes weigh offset and slope alike; scan a mode with its node there"
        )
    by_slope = (np.linalg.inv(normal) @ design.T @ white)[1]
    u = float(np.sqrt(by_slope @ cov @ by_slope))
    if u > _USELESS:
        return Weights(
            centre,
            leak,
            None,
            f"the scanned modes give it to {u * 1e6:.0f} urad only, which is no better than the mounting",
        )
    return Weights(centre, leak, by_slope, "")
