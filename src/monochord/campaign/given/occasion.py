"""Occasions: the moments of a girder's life with their measurements."""

from __future__ import annotations

from dataclasses import dataclass, field

from monochord.campaign.given.check_move import CheckMove
from monochord.campaign.given.clock import ClockTold
from monochord.campaign.given.ride import RideLogger
from monochord.campaign.given.survey import Sighting
from monochord.campaign.given.wire import RawScan, RawSweep, Sweep, WireScan

#: What a crew can find at a foot, in growing firmness.
CONTACTS = ("loose", "touching", "tight", "held")


@dataclass(frozen=True, slots=True)
class FootFinding:
    """What was found at one foot: contact state (one of CONTACTS, or None) and load [N] with its uncertainty.

    file, line  where it stands, "" and 0 when no file tells it; two equal findings may stand in different places
    """

    bolt: str
    state: str | None
    load: float | None = None
    u_load: float | None = None
    file: str = field(default="", compare=False)
    line: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True)
class TemperatureReading:
    """A contact sensor on the girder: where (x, y, z) [m] and what [degC], good to u [K]; file and line as of a foot."""

    sensor: str
    point: tuple[float, float, float]
    value: float
    u: float
    file: str = field(default="", compare=False)
    line: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True)
class Turn:
    """A turn that the crew made at a bolt [turn], positive pushes the girder along the bolt's direction."""

    bolt: str
    turns: float


@dataclass(frozen=True, slots=True)
class RideSample:
    """One row of the ride logger: seconds from its first, acceleration per axis [m/s2], temperature [degC], where it stands.

    What the acceleration is, a sample, a window's largest or effective value, tells the occasion's :class:`RideLogger`.
    """

    time: float
    acceleration: tuple[float, float, float]
    temperature: float | None
    file: str = field(default="", compare=False)
    line: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True)
class Occasion:
    """One occasion with everything that was measured; a kind that was not measured is empty.

    place        in words, such as "bench hall";  temperature  mean of the girder [degC] where it was
                 given as one number and not by sensors, else None
    levelled     whether the stations of this occasion are levelled
    lacks        words for what is missing and why it matters, told in the result
    logger       what the numbers of the ride are, None when there was no ride
    stringing    name of the wire's stringing: occasions that name the same one were scanned with one wire, not strung anew
                 between them; "" where the wire was strung anew
    check_moves  small known moves that were made to see that every sign of the description is right
    clocks       what the clocks of its files told
    """

    name: str
    place: str
    sightings: tuple[Sighting, ...] = ()
    scans: tuple[WireScan, ...] = ()
    sweeps: tuple[Sweep, ...] = ()
    raw_scans: tuple[RawScan, ...] = ()
    raw_sweeps: tuple[RawSweep, ...] = ()
    feet: tuple[FootFinding, ...] = ()
    temperatures: tuple[TemperatureReading, ...] = ()
    temperature: float | None = None
    turns: tuple[Turn, ...] = ()
    ride: tuple[RideSample, ...] = ()
    lacks: tuple[str, ...] = field(default=())
    stringing: str = ""
    clocks: tuple[ClockTold, ...] = ()
    logger: RideLogger | None = None
    check_moves: tuple[CheckMove, ...] = ()
