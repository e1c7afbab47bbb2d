"""Pairing in time: to each observation the reading nearest in time, never one farther away than is allowed.

Before and after count alike. An observation without a reading near enough gets none, and is counted; how old the
partners were is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.clock import ClockTold
from monochord.campaign.given.occasion import TemperatureReading
from monochord.files.clock import spoken_moment, spoken_span
from monochord.files.words import listed
from monochord.ground.faults import Fault

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Nearest:
    """For each observation the place of its partner, -1 where none is near enough, and how far away in time it is [s].

    place  (n,);  age  (n,) [s], positive when the partner is older than the observation, NaN where there is none
    """

    place: NDArray[np.intp]
    age: Array


def nearest(observed: Array, partners: Array, tolerance: float) -> Nearest:
    """The partner nearest in time to each observation, at most ``tolerance`` [s] before or after.

    observed  (n,) [s];  partners  (m,) [s], in any order; NaN has no partner and is none

    >>> found = nearest(np.array([2400.0, 3480.0]), np.array([0.0, 3600.0]), 300.0)
    >>> found.place.tolist(), found.age.tolist()
    ([-1, 1], [nan, -120.0])
    """
    place, age = np.full(len(observed), -1, np.intp), np.full(len(observed), np.nan)
    order = np.argsort(partners, kind="stable")
    order = order[~np.isnan(partners[order])]
    asked = np.flatnonzero(~np.isnan(observed))
    if not order.size or not asked.size:
        return Nearest(place, age)
    rising = partners[order]
    after = np.clip(np.searchsorted(rising, observed[asked]), 1, max(1, rising.size - 1))
    left, right = np.clip(after - 1, 0, rising.size - 1), np.clip(after, 0, rising.size - 1)
    closer = np.where(np.abs(rising[left] - observed[asked]) <= np.abs(rising[right] - observed[asked]), left, right)
    found = observed[asked] - rising[closer]
    near = np.abs(found) <= tolerance
    place[asked[near]], age[asked[near]] = order[closer[near]], found[near]
    return Nearest(place, age)


@dataclass(slots=True)
class Timed:
    """Temperature readings of an occasion with their times, and the times of what they are given to [s]."""

    readings: list[TemperatureReading]
    times: list[float]
    observed: list[float]


def at_observations(timed: Timed, within: float, notes: list[Fault]) -> list[TemperatureReading]:
    """One reading a sensor: the mean of those that are nearest in time to the observations, each within the tolerance.

    Observations without a reading are counted in a note, with the oldest partner; a sensor without any is left out.
    """
    if not timed.readings:
        return []
    file, line = timed.readings[0].file, timed.readings[0].line
    if not timed.observed:
        remedy = "the mean of all readings of a sensor is taken; name the time column of sightings or scans"
        notes.append(
            Fault("temperatures with times and no observation with one", "observations with times", remedy, file)
        )
        return [_mean(own) for own in _by_sensor(timed).values()]
    observed = np.array(timed.observed)
    found, lone, oldest = [], np.ones(len(observed), bool), 0.0
    for places in _places(timed).values():
        near = nearest(observed, np.array([timed.times[p] for p in places]), within)
        there = near.place >= 0
        lone &= ~there
        if there.any():
            used = [timed.readings[places[i]] for i in near.place[there].tolist()]
            found.append(_mean(used))
            oldest = max(oldest, float(np.abs(near.age[there]).max()))
    without = observed[lone]
    given = f"{len(observed)} observations, {len(observed) - len(without)} of them with a temperature"
    remedy = f"the nearest reading before or after is taken; the farthest used is {spoken_span(oldest)} away"
    if without.size:
        moments = listed([spoken_moment(v) for v in np.unique(without).tolist()], 3)
        remedy += f"; {without.size} without any: {moments}"
    notes.append(Fault(given, f"a reading within {spoken_span(within)} of each", remedy, file, line))
    return found


def one_scale(temperatures: Sequence[ClockTold], others: Sequence[ClockTold]) -> list[Fault]:
    """A fault when only one side of a pairing in time tells its zone: then the clocks cannot be compared."""
    for c in temperatures:
        for other in others:
            if bool(c.zone) != bool(other.zone):
                told, untold = (c, other) if c.zone else (other, c)
                given = f"no zone for the times of {untold.file}, while those of {told.file} have {told.zone}"
                remedy = 'say zone = "..." for that time column in the lab description'
                return [Fault(given, "both zones, or none", remedy, untold.file, None, untold.column)]
    return []


def _places(timed: Timed) -> dict[str, list[int]]:
    places: dict[str, list[int]] = {}
    for place, reading in enumerate(timed.readings):
        places.setdefault(reading.sensor, []).append(place)
    return places


def _by_sensor(timed: Timed) -> dict[str, list[TemperatureReading]]:
    return {sensor: [timed.readings[p] for p in places] for sensor, places in _places(timed).items()}


def _mean(readings: Sequence[TemperatureReading]) -> TemperatureReading:
    return replace(readings[0], value=sum(r.value for r in readings) / len(readings))
