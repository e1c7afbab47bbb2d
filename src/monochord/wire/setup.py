"""What an evaluation of scans stands on: the wire, its transfer, and the magnets it runs through."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.wire import Wire, WireScan
from monochord.wire.resonance import Transfer
from monochord.wire.weights import Weighing, weigh_magnet

#: Fourth differences of white noise have 70 times its variance; a cubic law leaves nothing in them.
_FOURTH = 70.0


@dataclass(frozen=True, eq=False, slots=True)
class Setup:
    """One occasion's bench.

    magnets  by name;  noise  of one reading, per component [m]
    """

    occasion: str
    wire: Wire
    transfer: Transfer
    magnets: Mapping[str, Magnet]
    noise: float
    _seen: dict[tuple[str, int, float, float], Weighing] = field(default_factory=dict)

    def weigh(self, magnet: str, mode: int, w: float, shift: float) -> Weighing:
        """Weights of a magnet under a mode driven at w [rad/s], the fundamental moved by shift [rad/s]; kept for the next."""
        key = (magnet, mode, w, shift)
        if key not in self._seen:
            self._seen[key] = weigh_magnet(self.magnets[magnet], mode, self.wire, self.transfer, w=w, shift=shift)
        return self._seen[key]


def reading_noise(scans: Sequence[WireScan]) -> float:
    """Noise of one reading, per component [m], from the fourth differences of scans with even steps.

    Median over the scans, so that one bad scan does not count; 20 nm, a common lock-in, when no scan is long enough.
    """
    found = []
    for scan in scans:
        step = np.abs(np.diff(scan.stage_x + 1j * scan.stage_y))
        if len(step) >= 5 and np.ptp(step) < 0.02 * step.mean():
            rough = np.diff(np.stack([scan.x, scan.y]), n=4, axis=1)
            found.append(float(np.sqrt(np.mean(np.abs(rough) ** 2) / 2.0 / _FOURTH)))
    return float(np.median(found)) if found and np.median(found) > 0.0 else 20e-9
