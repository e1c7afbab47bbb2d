"""What a second mode would give at a magnet that was scanned in one: forecast from the weights of the two modes.

One mode cannot tell a magnet's slope from its offset and its centre is off by slope C / S. A second mode, scanned as
well as the first, takes most of that away and adds readings. Its noise grows with frequency, and where the sensors see it less.

Source: derived, with the weights of :mod:`monochord.wire.slope`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.wire import Wire
from monochord.wire.resonance import assumed_transfer, sensor_shape
from monochord.wire.slope import SLOPE, mode_weights
from monochord.wire.weights import Weighing, driven_mode, magnet_nodes, weigh

#: Modes that a bench can be expected to drive; common practice, no source.
HIGHEST = 8
#: A mode whose shape at a sensor is below this is not seen well enough to be scanned.
_SEEN = 0.1


@dataclass(frozen=True, slots=True)
class Second:
    """The best second mode, and the parts that it leaves of the variances of fit and slope leakage."""

    mode: int
    fit: float
    leakage: float


def best_second_mode(magnet: Magnet, mode: int, wire: Wire, f1: float, u_fit: float) -> Second | None:
    """The second mode after which the centre is known best, or None when none makes it better.

    mode   in which the magnet was scanned;  f1  fundamental [Hz];  u_fit  standard uncertainty of its centre by noise [m]

    >>> bench = Wire(-2.0, 4.0, 1e-4, 9.80665, -1.9, -1.9, 0.0, 1e-6, 0.0, 0.0, 0.01)
    >>> second = best_second_mode(Magnet("Q", "quadrupole", (0.0, 0.0, 0.7), 0.3), 1, bench, 30.0, 1e-8)
    >>> second is not None and second.leakage < 0.01
    True
    """
    first = _weighing(magnet, mode, wire, f1)
    if first.offset == 0.0 or u_fit <= 0.0:
        return None
    noise = u_fit * abs(first.offset)  # of d = S (centre - point), m2
    leak = (first.slope / first.offset) ** 2
    found = []
    for other in range(1, HIGHEST + 1):
        seen = np.abs(sensor_shape(other, wire)).min() / np.abs(sensor_shape(mode, wire)).min()
        if other == mode or np.abs(sensor_shape(other, wire)).min() < _SEEN:
            continue
        second = _weighing(magnet, other, wire, f1)
        cov = np.diag([noise**2, (noise * other / mode / seen) ** 2])
        made = mode_weights(np.array([first.offset, second.offset]), np.array([first.slope, second.slope]), cov)
        fit = float(made.centre @ cov @ made.centre)
        found.append((fit + (made.leak * SLOPE) ** 2, Second(other, fit / u_fit**2, made.leak**2 / max(leak, 1e-300))))
    best = min(found, key=lambda item: item[0], default=None)
    return best[1] if best is not None and best[0] < u_fit**2 + leak * SLOPE**2 else None


def _weighing(magnet: Magnet, mode: int, wire: Wire, f1: float) -> Weighing:
    return weigh(
        magnet_nodes(magnet, wire), driven_mode(mode, assumed_transfer(f1), wire), 2.0 * np.pi * f1 * mode, 0.0
    )
