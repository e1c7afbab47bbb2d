"""The structure of a survey: which stations sighted which targets, before any number is solved for.

All rounds of one station to one target share their geometry; such a pair is the unit that the
adjustment works on, and the unit that is wrong when a reflector or a name was wrong.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.survey import Sighting
from monochord.ground.faults import Fault, Refused
from monochord.survey.model import KINDS, from_polar
from monochord.survey.names import other_spellings

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

#: Two spellings that one station sighted further apart than this are two targets [m].
APART = 5e-3


class Groups:
    """Sums over rows that belong together: ``sum(rows)[g]`` adds the rows of group g (no group is empty)."""

    def __init__(self, group: Ints) -> None:
        self.order: Ints = np.argsort(group, kind="stable")
        self.first: Ints = np.flatnonzero(np.r_[group.size > 0, np.diff(group[self.order]) > 0])

    def sum(self, rows: Array) -> Array:
        """Sums (groups, ...) of rows (n, ...)."""
        total: Array = np.add.reduceat(rows[self.order], self.first, axis=0)
        return total


@dataclass(frozen=True, eq=False, slots=True)
class Network:
    """Sightings as arrays.

    stations, targets   names;  pair_station, pair_target  (P,) which station sighted which target, each pair once
    values              (m, 3) direction, zenith angle [rad], distance [m]; NaN where not read
    pair                (m,) pair of each sighting, ascending;  sightings  the m sightings as given, in the same order
    """

    stations: tuple[str, ...]
    targets: tuple[str, ...]
    pair_station: Ints
    pair_target: Ints
    values: Array
    pair: Ints
    sightings: tuple[Sighting, ...]

    @property
    def sizes(self) -> tuple[int, int, int]:
        """How many stations, targets and pairs."""
        return len(self.stations), len(self.targets), len(self.pair_station)

    def keeping(self, pairs: Flags) -> Network:
        """The network of these pairs only; stations and targets that nothing ties to any more are dropped."""
        rows = pairs[self.pair]
        stations, station = np.unique(self.pair_station[pairs], return_inverse=True)
        targets, target = np.unique(self.pair_target[pairs], return_inverse=True)
        new_number = np.cumsum(pairs) - 1
        return Network(
            tuple(self.stations[i] for i in stations),
            tuple(self.targets[i] for i in targets),
            station,
            target,
            self.values[rows],
            new_number[self.pair[rows]],
            tuple(s for s, keep in zip(self.sightings, rows, strict=True) if keep),
        )


def _number(value: float | None) -> float:
    return math.nan if value is None or not math.isfinite(value) else float(value)


def _readings(sighting: Sighting) -> tuple[float, float, float]:
    """The three readings; a distance that is not positive is no reading, and a second face is folded to the first."""
    h, z, d = _number(sighting.direction), _number(sighting.zenith), _number(sighting.distance)
    if math.pi < z < 2.0 * math.pi:
        h, z = h + math.pi, 2.0 * math.pi - z
    return h, z if 0.0 <= z <= math.pi else math.nan, d if d > 0.0 else math.nan


def _lost(sighting: Sighting, read: tuple[float, float, float]) -> list[str]:
    given = (sighting.direction, sighting.zenith, sighting.distance)
    where = f" ({sighting.file}, line {sighting.line})" if sighting.file else ""
    return [
        f"{kind} {g!r} from {sighting.station} to {sighting.target}{where} is no reading and was not used"
        for kind, g, r in zip(KINDS, given, read, strict=True)
        if g is not None and math.isnan(r)
    ]


def _two_targets(sightings: Sequence[Sighting], values: Array, one: str, other: str) -> bool:
    """Whether some station saw the two names at two places, so that they cannot be one target."""
    seen: dict[str, dict[str, Array]] = {}
    places = from_polar(values)
    for sighting, place in zip(sightings, places, strict=True):
        if sighting.target in (one, other) and np.isfinite(place).all():
            seen.setdefault(sighting.station, {})[sighting.target] = place
    both = [names for names in seen.values() if len(names) == 2]
    return any(float(np.linalg.norm(names[one] - names[other])) > APART for names in both)


def _aliases(sightings: Sequence[Sighting], values: Array, listed: Sequence[str]) -> dict[str, str]:
    counts = Counter(sighting.target for sighting in sightings)
    found = other_spellings(counts, listed)
    return {spelling: name for spelling, name in found.items() if not _two_targets(sightings, values, spelling, name)}


def _sorted(sightings: Sequence[Sighting], values: Array) -> Network:
    stations = tuple(dict.fromkeys(s.station for s in sightings))
    targets = tuple(dict.fromkeys(s.target for s in sightings))
    station_of: Mapping[str, int] = {name: i for i, name in enumerate(stations)}
    target_of: Mapping[str, int] = {name: i for i, name in enumerate(targets)}
    code = np.array([station_of[s.station] * len(targets) + target_of[s.target] for s in sightings], np.int64)
    codes, pair = np.unique(code, return_inverse=True)
    order = np.argsort(pair, kind="stable")
    return Network(
        stations,
        targets,
        codes // len(targets),
        codes % len(targets),
        values[order],
        pair[order],
        tuple(sightings[i] for i in order),
    )


def gather(sightings: Sequence[Sighting], listed: Sequence[str]) -> tuple[Network, tuple[str, ...]]:
    """Sightings as a network, with notes in words about what was done to names and readings.

    listed  names of the girder's list of targets; other spellings of them are read as them

    Raises Refused when there is no sighting with a reading.

    >>> s = Sighting("T1", "q1_1", 0.1, 1.5, 2.0, 1, "obs.csv", 2)
    >>> gather([s], ["Q1-1"])[1]
    ("'q1_1' was read as 'Q1-1'",)
    """
    read = [_readings(s) for s in sightings]
    notes = [words for s, r in zip(sightings, read, strict=True) for words in _lost(s, r)]
    useful = [i for i, r in enumerate(read) if not all(math.isnan(number) for number in r)]
    if not useful:
        raise Refused([Fault("no sighting with a reading", "sightings of targets", "add the survey of this occasion")])
    used, values = [sightings[i] for i in useful], np.array([read[i] for i in useful])
    folded = sum(1 for s in used if s.zenith is not None and s.zenith > math.pi)
    if folded:
        notes.append(f"{folded} sightings in the second face were turned into the first")
    aliases = _aliases(used, values, listed)
    notes.extend(f"{spelling!r} was read as {name!r}" for spelling, name in sorted(aliases.items()))
    named = [replace(s, target=aliases[s.target]) if s.target in aliases else s for s in used]
    return _sorted(named, values), tuple(notes)
