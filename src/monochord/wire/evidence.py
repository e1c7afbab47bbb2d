"""What an evaluation of one occasion kept of its way, so that every number can be told down to its rows afterwards.

Only references to what was worked out anyway; nothing is computed before somebody asks.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.axes import Axis
from monochord.campaign.given.wire import Wire, WireScan
from monochord.ground.trace import Sum, Unfold
from monochord.wire.background import Background
from monochord.wire.blocks import Block
from monochord.wire.centre import Combined
from monochord.wire.readings import Readings
from monochord.wire.remanence import Remanence
from monochord.wire.resonance import SweepFit
from monochord.wire.sag import Sag
from monochord.wire.sensors import SensorFinding
from monochord.wire.setup import Setup
from monochord.wire.turn import Turn

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Round:
    """One round over all scans: its readings, the blocks, the backgrounds they share, and true over told noise."""

    readings: Sequence[Readings]
    blocks: Sequence[Block]
    backgrounds: Sequence[Background]
    noisier: float


@dataclass(frozen=True, eq=False, slots=True)
class Sound:
    """The rounds of an evaluation: as read, without far modes, corrected for the sensors; and what the sensors are."""

    rounds: tuple[Round, Round, Round]
    sensors: SensorFinding


@dataclass(frozen=True, eq=False, slots=True)
class Evidence:
    """Everything that stands behind a finding.

    scans  that could be used;  readings  of all of them, also of those that were refused later
    shift  mean shift of the fundamental [rad/s];  stringing  name of the stringing
    """

    setup: Setup
    scans: Sequence[WireScan]
    readings: Sequence[Readings]
    sound: Sound
    fit: SweepFit | None
    sag: Sag
    shift: float
    stringing: str
    found: Mapping[str, Combined]
    remanence: Mapping[str, Remanence]
    turn: Turn | None
    axes: Sequence[Axis]
    planes: tuple[float, float]


@dataclass(frozen=True, eq=False, slots=True)
class PlacedUnfold:
    """Tells the numbers of a finding whose axes stand in the girder frame.

    nests, ends  surveyed nests of both ends, and the chord of the supports there (6,) [m];  up  (3,) against gravity
    mid_sag      [m];  axes  as placed;  inner  tells the numbers of the wire's own frame
    """

    occasion: str
    wire: Wire
    nests: Array
    ends: Array
    up: Array
    mid_sag: float
    axes: Sequence[Axis]
    inner: Unfold | None

    def __call__(self, name: str) -> Sum:
        """The number of that name; raises Refused for a name that is not known."""
        from monochord.wire.unfold_place import tell

        return tell(self, name)


class WireUnfold:
    """Tells the numbers of a finding by name; the means to do so are made when first asked."""

    def __init__(self, evidence: Evidence) -> None:
        self._evidence = evidence
        self._tell: Unfold | None = None

    def __call__(self, name: str) -> Sum:
        """The number of that name; raises Refused for a name that is not known."""
        if self._tell is None:
            from monochord.wire.unfold import unfold_of

            self._tell = unfold_of(self._evidence)
        return self._tell(name)
