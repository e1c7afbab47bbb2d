"""Readings that stand twice: a file left over from another day, one station's file under two names, one scan twice.

Two real readings differ in their last digits. Where many agree to the last of them, they are one reading that was kept
twice: it would count double, or show a day that was never measured.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence

import numpy as np

from monochord.campaign.given.occasion import Occasion
from monochord.campaign.given.survey import Sighting
from monochord.campaign.given.wire import Phasors
from monochord.ground.faults import Fault

#: Fewest readings that must agree, and as what part of the smaller lot, before they are called the same.
FEWEST, PART = 5, 0.5
#: Fewest sensors, or feet, whose readings are no chance when all of them agree.
FEWEST_SENSORS = 3

#: Occasion, file, station, round.
_Lot = tuple[str, str, str, int]


def repeated_readings(occasions: Sequence[Occasion]) -> tuple[list[Fault], list[Fault]]:
    """Faults for readings that stand twice, and notes where that could also be chance or custom.

    >>> repeated_readings([])
    ([], [])
    """
    faults, notes = _sightings(occasions)
    faults += _scans(occasions)
    notes += _small(occasions)
    return faults, notes


def _sightings(occasions: Sequence[Occasion]) -> tuple[list[Fault], list[Fault]]:
    lots: dict[_Lot, dict[tuple[object, ...], Sighting]] = defaultdict(dict)
    holders: dict[tuple[object, ...], list[_Lot]] = defaultdict(list)
    for o in occasions:
        for s in o.sightings:
            if None in (s.direction, s.zenith, s.distance):
                continue
            lot, reading = (o.name, s.file, s.station, s.round), (s.target, s.direction, s.zenith, s.distance)
            if reading not in lots[lot]:
                holders[reading].append(lot)
            lots[lot][reading] = s
    shared: Counter[tuple[_Lot, _Lot]] = Counter()
    for held in holders.values():
        shared.update((a, b) for i, a in enumerate(held) for b in held[i + 1 :])
    faults, notes = [], []
    for (a, b), count in shared.items():
        least = min(len(lots[a]), len(lots[b]))
        one_setup = a[:3] == b[:3]
        if count < FEWEST or count < (1.0 if one_setup else PART) * least:
            continue
        first = next(s for reading, s in lots[b].items() if reading in lots[a])
        given = f"{count} sightings of {_words(b)} that are those of {_words(a)} to the last digit"
        if one_setup:
            remedy = "counted twice as they are; a round that was copied should be taken out"
            notes.append(Fault(given, "readings of its own", remedy, first.file, first.line))
        else:
            faults.append(Fault(given, "readings of its own", _remedy(a, b), first.file, first.line))
    return _once_a_file(faults), notes


def _words(lot: _Lot) -> str:
    occasion, _, station, number = lot
    return f"station {station} on {occasion}, round {number},"


def _remedy(a: _Lot, b: _Lot) -> str:
    if a[0] != b[0]:
        return "a file left over from the other occasion? put the right one in its place, or take it out"
    if a[2] != b[2]:
        return "one station's file under two names? take one out, or put the right one in its place"
    return "one file twice? take one out"


def _once_a_file(faults: Iterable[Fault]) -> list[Fault]:
    """One fault for each pair of lots is much to read; the first of a file with the same remedy stands for the others."""
    first: dict[tuple[str, str], Fault] = {}
    more: Counter[tuple[str, str]] = Counter()
    for f in faults:
        first.setdefault((f.file, f.remedy), f)
        more[f.file, f.remedy] += 1
    return [
        f
        if more[key] == 1
        else Fault(f"{f.given}, and {more[key] - 1} more like it", f.expected, f.remedy, f.file, f.line)
        for key, f in first.items()
    ]


def _scans(occasions: Sequence[Occasion]) -> list[Fault]:
    """Scans and sweeps of phasors whose numbers are those of another one."""
    seen: dict[bytes, str] = {}
    faults = []
    for o in occasions:
        told = [(f"scan {s.name} of {s.magnet}", s.x, s.y, s.stage_x, s.file, s.rows) for s in o.scans]
        told += [(f"sweep {s.name}", s.x, s.y, s.frequencies, s.file, s.rows) for s in o.sweeps]
        for words, x, y, along, file, rows in told:
            if len(x) < FEWEST or _still(x, y):
                continue
            key = x.tobytes() + y.tobytes() + along.tobytes()
            here = f"{words} on {o.name}"
            if key in seen:
                given = f"{here} with the numbers of {seen[key]}, to the last digit"
                remedy = "a file left over from another occasion, or a scan kept twice? put the right one in its place"
                faults.append(Fault(given, "readings of its own", remedy, file, rows[0] if rows else None))
            else:
                seen[key] = here
    return _once_a_file(faults)


def _still(x: Phasors, y: Phasors) -> bool:
    """Whether nothing was recorded that could tell two scans apart."""
    return bool(np.ptp(np.abs(x)) == 0.0 and np.ptp(np.abs(y)) == 0.0)


def _small(occasions: Sequence[Occasion]) -> list[Fault]:
    """Temperatures, or loads at the feet, that are those of another occasion."""
    notes: list[Fault] = []
    temperatures = [({t.sensor: t.value for t in o.temperatures}, o) for o in occasions]
    loads = [({f.bolt: f.load for f in o.feet if f.load is not None}, o) for o in occasions]
    notes += _alike(temperatures, "temperatures", lambda o: (o.temperatures[0].file, o.temperatures[0].line))
    notes += _alike(loads, "loads at the feet", lambda o: (o.feet[0].file, o.feet[0].line))
    return notes


def _alike(
    told: Sequence[tuple[Mapping[str, float], Occasion]],
    what: str,
    place: Callable[[Occasion], tuple[str, int]],
) -> list[Fault]:
    notes = []
    for i, (values, o) in enumerate(told):
        if len(values) < FEWEST_SENSORS or len(set(values.values())) == 1:
            continue
        for earlier, other in told[:i]:
            if values == earlier:
                file, line = place(o)
                given = f"the {what} on {o.name} that are those on {other.name} to the last digit"
                remedy = "a file left over? used as they are; put the right one in its place"
                notes.append(Fault(given, "readings of its own", remedy, file, line or None))
                break
    return notes
