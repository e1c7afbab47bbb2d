"""What an evaluation of scans stands on: the wire, its transfer, and the magnets it runs through."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.wire import Wire, WireScan
from monochord.wire.model import ComplexArray
from monochord.wire.resonance import Transfer
from monochord.wire.weights import DrivenMode, Nodes, Weighing, driven_mode, magnet_nodes, room_nodes, weigh

#: Fourth differences of white noise have 70 times its variance; a cubic law leaves nothing in them.
FOURTH = 70.0


@dataclass(frozen=True, eq=False, slots=True)
class Setup:
    """One occasion's bench; what was worked out once is kept.

    magnets  by name;  noise  of one reading, per component [m]
    """

    occasion: str
    wire: Wire
    transfer: Transfer
    magnets: Mapping[str, Magnet]
    noise: float
    _modes: dict[int, DrivenMode] = field(default_factory=dict)
    _nodes: dict[str, Nodes] = field(default_factory=dict)

    def mode(self, number: int) -> DrivenMode:
        """A mode as the sweeps found it."""
        if number not in self._modes:
            self._modes[number] = driven_mode(number, self.transfer, self.wire)
        return self._modes[number]

    def weigh(self, magnet: str, mode: int, w: float, shift: float) -> Weighing:
        """Weights of a magnet under a mode driven at w, the fundamental moved by shift [rad/s]."""
        if magnet not in self._nodes:
            self._nodes[magnet] = magnet_nodes(self.magnets[magnet], self.wire)
        return weigh(self._nodes[magnet], self.mode(mode), w, shift)

    def weigh_room(self, mode: int, w: float, shift: float) -> float:
        """Integral of the weight along the whole wire [m]: what a uniform field adds to a reading."""
        if "" not in self._nodes:
            self._nodes[""] = room_nodes(self.wire)
        return weigh(self._nodes[""], self.mode(mode), w, shift).offset

    def f1(self, shift: float) -> float:
        """Mean fundamental, moved by shift [rad/s], in Hz."""
        return sum(self.transfer.fundamental) / 2.0 + shift / (2.0 * np.pi)


def reading_noise(scans: Sequence[WireScan]) -> float:
    """Noise of one reading, per component [m], from the fourth differences of scans with even steps.

    Median over the scans, so that one bad scan does not count; 20 nm, a common lock-in, when no scan is long enough.
    """
    found = []
    for scan in scans:
        rough = fourth_differences(scan)
        if rough is not None:
            found.append(float(np.vdot(rough, rough).real) / rough.size / 2.0 / FOURTH)
    noise = float(np.sqrt(np.median(found))) if found else 0.0
    return noise if noise > 0.0 else 20e-9


def fourth_differences(scan: WireScan) -> ComplexArray | None:
    """Fourth differences of both sensors' readings (2, n - 4) [m]; None for a scan without even steps."""
    step = np.abs(np.diff(scan.stage_x + 1j * scan.stage_y))
    if len(step) < 5 or not np.ptp(step) < 0.02 * step.max():
        return None
    return np.asarray(np.diff(np.stack([scan.x, scan.y]), n=4, axis=1), complex)
