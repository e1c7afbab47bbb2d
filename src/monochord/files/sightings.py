"""Sightings of one occasion: circles turned into ours, rounds counted, names checked against the girder.

direction  counter-clockwise seen from above;  zenith  0 straight up; both in rad
"""

from __future__ import annotations

import fnmatch
import math
from collections import Counter
from collections.abc import Iterable

import numpy as np

from monochord.campaign.given.survey import Instrument, Sighting
from monochord.files.columns import Array, Rows
from monochord.files.document import Node
from monochord.files.lab import Lab
from monochord.files.names import alike, hint
from monochord.files.spreadsheet_names import looks_like_date
from monochord.files.words import listed, natural
from monochord.ground.faults import Fault, Gatherer, Refused

#: Distances a tracker reads [m].
NEAREST, FARTHEST = 0.05, 200.0


def instrument(node: Node) -> Instrument:
    """What the description says of the tracker; Refused when an uncertainty is none."""
    levelled = None if node.text("levelled") == "no" else node.amount("levelled", "angle")
    faults = [
        node.fault(key, node.text(key), "an uncertainty above 0", "state one standard deviation; nothing is exact")
        for key, dimension in (("angle", "angle"), ("range", "length"))
        if not node.amount(key, dimension) > 0.0
    ]
    faults += [
        node.fault(key, node.text(key), "an uncertainty of 0 or more", "state one standard deviation")
        for key, dimension in (("range_per_distance", "ratio"), ("mounting", "length"), ("range_scale", "ratio"))
        if not node.amount(key, dimension) >= 0.0
    ]
    if levelled is not None and not levelled > 0.0:
        remedy = 'state one standard deviation, or levelled = "no"'
        faults.append(node.fault("levelled", node.text("levelled"), "an uncertainty above 0", remedy))
    if faults:
        raise Refused(faults)
    return Instrument(
        node.text("name"),
        node.amount("angle", "angle"),
        node.amount("range", "length"),
        node.amount("range_per_distance", "ratio"),
        levelled,
        node.amount("mounting", "length"),
        node.amount("range_scale", "ratio"),
        node.text("range_sum"),
    )


def sightings(rows: Rows, lab: Lab, faults: Gatherer, notes: list[Fault]) -> list[Sighting]:
    """The sightings of one file; angles out of range and unlikely distances are faults."""
    angles = lab.root.node("angles")
    direction = rows.number["horizontal"]
    _in_range(rows, "horizontal", direction, (-2.0 * math.pi, 2.0 * math.pi), faults)
    if angles.text("horizontal") == "clockwise":
        direction = -direction
    # what is beyond a full circle was refused just now, and stays as written for those who look for the reason
    direction = np.where(np.abs(direction) > 2.0 * math.pi + 1e-9, direction, np.mod(direction, 2.0 * math.pi))
    vertical = rows.number["vertical"]
    if angles.text("vertical") == "elevation":
        _in_range(rows, "vertical", vertical, (-math.pi / 2, math.pi / 2), faults)
        vertical = math.pi / 2 - vertical
    else:
        direction, vertical = _first_face(rows, direction, vertical, notes)
        _in_range(rows, "vertical", vertical, (0.0, math.pi), faults)
    _in_range(rows, "distance", rows.number["distance"], (NEAREST, FARTHEST), faults)
    stations, targets = rows.text["station"], rows.text["target"]
    rounds = _rounds(rows, stations, targets)
    triples = zip(_known(direction), _known(vertical), rows.known_all("distance"), strict=True)
    found = []
    for (h, v, d), s, t, r, line in zip(triples, stations, targets, rounds, rows.lines, strict=True):
        if h is None and v is None and d is None:
            notes.append(Fault(f"{t} from {s} without any number", "a sighting", "left out", rows.file, line))
        else:
            found.append(Sighting(s, t, h, v, d, r, rows.file, line))
    return found


def _first_face(rows: Rows, direction: Array, zenith: Array, notes: list[Fault]) -> tuple[Array, Array]:
    """Readings in the instrument's second face, where zenith angles go on beyond half a circle, turned into the first.

    Elevations beyond a quarter of a circle are not taken for the second face: zenith angles look the same.
    """
    second = (zenith > math.pi + 1e-9) & (zenith <= 2.0 * math.pi)
    at = np.flatnonzero(second)
    if not at.size:
        return direction, zenith
    given = f"{at.size} readings in the second face of the instrument"
    remedy = "turned into the first: half a circle added to the horizontal angle, the zenith angle taken from the full circle"
    notes.append(Fault(given, "readings in the first face", remedy, rows.file, rows.lines[int(at[0])]))
    turned = np.where(second, np.mod(direction + math.pi, 2.0 * math.pi), direction)
    return turned, np.where(second, 2.0 * math.pi - zenith, zenith)


def _known(values: Array) -> list[float | None]:
    return [None if math.isnan(v) else v for v in values.tolist()]


def _rounds(rows: Rows, stations: list[str], targets: list[str]) -> list[int]:
    """The round of each sighting: as told, else how often this station has seen this target so far."""
    if "round" in rows.number:
        return [int(r) for r in rows.number["round"].tolist()]
    seen: Counter[tuple[str, str]] = Counter()
    rounds = []
    for pair in zip(stations, targets, strict=True):
        seen[pair] += 1
        rounds.append(seen[pair])
    return rounds


def _in_range(rows: Rows, key: str, values: Array, span: tuple[float, float], faults: Gatherer) -> None:
    low, high = span
    bad = np.flatnonzero((values < low - 1e-9) | (values > high + 1e-9))
    if not bad.size:
        return
    row, name = int(bad[0]), rows.names[key]
    if key == "distance":
        given = f"{values[row]:.6g} m and {bad.size - 1} more" if bad.size > 1 else f"{values[row]:.6g} m"
        expected, remedy = f"a distance from {low:g} m to {high:g} m", "look for a wrong unit (mm, m, inch)"
    else:
        many = f", and {bad.size - 1} more" if bad.size > 1 else ""
        given = f"{values[row]:.6g} rad{many}"
        expected = f"an angle from {low:.4g} to {high:.4g} rad"
        remedy = "look for a wrong unit (gon, deg), readings in the second face, or elevation instead of zenith angle"
    faults.add(given, expected, remedy, file=rows.file, line=rows.lines[row], column=name)


def check_names(
    found: list[Sighting], targets: Iterable[str], others: Iterable[str], faults: Gatherer, notes: list[Fault]
) -> None:
    """Targets that nobody told of, targets seen once, and targets not seen at all.

    A name that nobody told of is a fault when it looks like a slip: spelled almost like a target that was not
    seen, or seen from one station only. Otherwise it is a further point, and noted.

    others  names and patterns of points that are no targets of the girder: nests of the wire, wall points
    """
    names, others = set(targets), tuple(others)
    first: dict[str, Sighting] = {}
    count: Counter[str] = Counter()
    stations: dict[str, set[str]] = {}
    for s in found:
        first.setdefault(s.target, s)
        count[s.target] += 1
        stations.setdefault(s.target, set()).add(s.station)
    unseen = sorted(names - set(first), key=natural)
    for name, s in first.items():
        if name not in names and not any(fnmatch.fnmatchcase(name, p) for p in others):
            _untold(s, names, unseen, alone=len(stations[name]) < 2, into=(faults, notes))
        elif count[name] == 1:
            remedy = "nothing checks this sighting; see it from another station or twice"
            notes.append(Fault(f"target {name} seen once", "two sightings or more", remedy, s.file, s.line))
    if unseen and found:
        given = f"no sighting of {listed(unseen)}"
        notes.append(Fault(given, "every target seen", "its place stays unknown on this occasion", found[0].file))


def _untold(
    s: Sighting, names: set[str], unseen: list[str], *, alone: bool, into: tuple[Gatherer, list[Fault]]
) -> None:
    faults, notes = into
    slips = [n for n in unseen if alike(n, s.target)]
    said = hint(s.target, slips or sorted(names))
    dated = looks_like_date(s.target)
    if dated and not slips:
        said = "it looks like a date that a spreadsheet made from a name; "
    if slips or alone or dated:
        remedy = (
            f"{said}mend the name, add the target to the table of targets, say --set targets.{s.target}.carrier=wall, "
            "or list a pattern under other_points of the sightings"
        )
        faults.add(f"target {s.target!r}", "a target of the girder or a wall point", remedy, file=s.file, line=s.line)
    else:
        remedy = f"{said}taken as a further point that the girder does not carry"
        notes.append(Fault(f"target {s.target!r}", "a target of the girder or a wall point", remedy, s.file, s.line))
