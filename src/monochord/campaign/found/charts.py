"""What the record of a fleet answers: values in time order with their limits, margins, and what each girder waits for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Value:
    """One value of a chart with where it comes from.

    girder, occasion, magnet  about what, magnet "" for the girder as a whole
    since  the occasion from which a change counts, "" for what is no change
    at   UTC time of the occasion;  value, u  SI; u None where it is not known;  run  id of the run that told it
    """

    girder: str
    occasion: str
    magnet: str
    since: str
    at: str
    value: float
    u: float | None
    run: str


@dataclass(frozen=True, slots=True)
class Signal:
    """A value of a chart that chance alone seldom gives: its place among the values, and the rule that it breaks."""

    place: int
    rule: str


@dataclass(frozen=True, slots=True)
class Limits:
    """Centre and natural limits of a chart of single values, SI; ``moving_range`` is the mean of the moving ranges."""

    centre: float
    low: float
    high: float
    moving_range: float


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight line in time: slope and its standard uncertainty [SI unit per year], and that chance gives as much or more."""

    slope: float
    u: float
    dof: int
    probability: float


@dataclass(frozen=True, slots=True)
class Chart:
    """The values of one quantity at one magnet of one girder type, in time order.

    of      how many values the record has, of which ``values`` are the last
    limits  None below three values;  trend  None below four values or where all lie at one time
    """

    quantity: str
    type_name: str
    magnet: str
    unit: str
    values: tuple[Value, ...]
    of: int
    limits: Limits | None
    signals: tuple[Signal, ...]
    trend: Trend | None


@dataclass(frozen=True, slots=True)
class Margin:
    """How far a value lies inside its limit (negative: beyond), SI, and which share of the limit that is."""

    girder: str
    occasion: str
    magnet: str
    quantity: str
    value: float
    u: float | None
    limit: float | None
    margin: float
    share: float | None
    verdict: str
    run: str


@dataclass(frozen=True, slots=True)
class GirderState:
    """Where a girder stands in the job.

    last, place, at  its latest occasion;  judged  the occasion of its latest verdicts;  run  that told them
    counts   verdict -> how many on that occasion;  worst  the smallest margin there
    waits    what it waits for, the most urgent first; empty when it waits for nothing
    """

    girder: str
    type_name: str
    last: str
    place: str
    at: str
    judged: str
    run: str
    counts: Mapping[str, int]
    worst: Margin | None
    waits: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class InstrumentState:
    """An instrument and its latest calibration; ``expired`` on the day that was asked about, None when it has none."""

    name: str
    kind: str
    serial: str
    made_on: str
    valid_until: str
    certificate: str
    expired: bool | None


@dataclass(frozen=True, slots=True)
class Stay:
    """Where a magnet was, from when to when; ``until`` is "" when it is there still."""

    serial: str
    kind: str
    girder: str
    position: str
    since: str
    until: str
