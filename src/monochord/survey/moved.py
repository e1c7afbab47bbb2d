"""A station that was knocked during its survey: found, and counted as two stations from there on.

When sightings scatter far beyond their specification, or more of them contradict each other than a
few mistakes explain, one station may have moved between two of its sightings. Every station is
parted at places along its sightings, in the order they were taken; the parting that brings the
survey together is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from monochord.campaign.given.survey import Sighting

#: A part of a station needs so many sightings to stand on its own.
FEWEST = 4
#: Partings tried along each station before the best is looked at closely.
COARSE = 8


@dataclass(frozen=True, slots=True)
class Parting:
    """A station that moved before its sighting number ``after`` (0-based, in the order given)."""

    station: str
    after: int


def part(sightings: Sequence[Sighting], parting: Parting) -> list[Sighting]:
    """The sightings with those after the parting as from a station of its own, "<station>, moved".

    >>> s = [Sighting("T1", t, 0.0, 1.5, 2.0, 1, "", 0) for t in "AB"]
    >>> [one.station for one in part(s, Parting("T1", 1))]
    ['T1', 'T1, moved']
    """
    parted, count = [], 0
    for sighting in sightings:
        if sighting.station == parting.station:
            moved = count >= parting.after
            parted.append(replace(sighting, station=f"{sighting.station}, moved") if moved else sighting)
            count += 1
        else:
            parted.append(sighting)
    return parted


def find_parting(
    sightings: Sequence[Sighting], misfit: Callable[[Sequence[Sighting]], float]
) -> tuple[Parting, float] | None:
    """The parting with the smallest misfit, and that misfit; None when no station has enough sightings.

    misfit  of a set of sightings, such as the variance factor of their adjustment; infinity when they do not adjust
    """
    counts: dict[str, int] = {}
    for sighting in sightings:
        counts[sighting.station] = counts.get(sighting.station, 0) + 1
    tried: dict[Parting, float] = {}

    def judge(station: str, after: int) -> None:
        parting = Parting(station, after)
        if parting not in tried and FEWEST <= after <= counts[station] - FEWEST:
            tried[parting] = misfit(part(sightings, parting))

    for station, count in counts.items():
        for k in range(1, COARSE):
            judge(station, round(k * count / COARSE))
    if not tried:
        return None
    step = -(-counts[min(tried, key=tried.__getitem__).station] // COARSE)
    while step >= 1:
        best = min(tried, key=tried.__getitem__)
        for after in (best.after - step, best.after + step):
            judge(best.station, after)
        if min(tried, key=tried.__getitem__) == best:
            step //= 2
    best = min(tried, key=tried.__getitem__)
    return best, tried[best]


def parting_words(sightings: Sequence[Sighting], parting: Parting) -> str:
    """What happened, for the person who reads it.

    >>> s = [Sighting("T1", t, 0.0, 1.5, 2.0, 1, "obs.csv", 2 + k) for k, t in enumerate("AB")]
    >>> parting_words(s, Parting("T1", 1)).split(";")[0]
    'station T1 moved before it sighted B in round 1 (obs.csv, line 3)'
    """
    own = [s for s in sightings if s.station == parting.station][parting.after]
    place = f" ({own.file}, line {own.line})" if own.file else ""
    head = f"station {own.station} moved before it sighted {own.target} in round {own.round}{place}"
    return f"{head}; from there on it counts as a station of its own, '{own.station}, moved'"
