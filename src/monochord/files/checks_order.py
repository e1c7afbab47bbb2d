"""The order of the occasions as they are told against what clocks and points in the walls say of it.

Clocks tell when a file was measured, and points in the walls tell where: two files that were exchanged show in both, and
fall into place when they are put back.
"""

from __future__ import annotations

import fnmatch
from collections.abc import Mapping, Sequence
from itertools import combinations
from pathlib import PurePosixPath

from monochord.campaign.given.clock import ClockTold
from monochord.campaign.given.girder import Girder
from monochord.campaign.given.occasion import Occasion
from monochord.files.words import listed
from monochord.ground.faults import Fault

#: Points in the walls that two surveys must share before they are said to be of one place.
SHARED = 2


def check_order(girder: Girder, occasions: Sequence[Occasion], nests: Sequence[str]) -> tuple[list[Fault], list[Fault]]:
    """Faults where two files put back would set everything right, notes where order or place stay contradicted.

    nests  of the wire, and patterns of points that are no points in a wall

    >>> check_order(Girder("G", "t", None, (), (), ()), [], [])
    ([], [])
    """
    faults, notes = _clocks(occasions)
    more, noted = _places(girder, occasions, nests)
    return [*faults, *more], [*notes, *noted]


# -- clocks ----------------------------------------------------------------------------------------------

#: First and last moment of a file on an occasion, comparable as text.
_Span = tuple[str, str]


def _clocks(occasions: Sequence[Occasion]) -> tuple[list[Fault], list[Fault]]:
    """Files of one kind, the same name on several occasions, must follow each other as the occasions do."""
    kinds: dict[tuple[str, str, bool], list[tuple[Occasion, ClockTold]]] = {}
    for o in occasions:
        for c in o.clocks:
            kinds.setdefault((PurePosixPath(c.file).name, c.column, bool(c.first_utc)), []).append((o, c))
    faults, notes = [], []
    for told in kinds.values():
        spans = [_span(c) for _, c in told]
        if len(told) < 2 or _rising(spans):
            continue
        (o, c), (later, other) = next(
            (told[i], told[j]) for i, j in combinations(range(len(told)), 2) if spans[i][1] > spans[j][0]
        )
        given = f"{c.file} of {o.name} measured until {c.last}, {other.file} of {later.name} from {other.first}"
        expected = f"{o.name} before {later.name}, as the occasions are told"
        back = [(i, j) for i, j in combinations(range(len(told)), 2) if _rising(_exchanged(spans, i, j))]
        if len(back) == 1:
            one, two = (told[k][0].name for k in back[0])
            remedy = (
                f"they follow each other if the files of {one} and {two} are exchanged: put each into its own folder"
            )
            out = "; if a clock was wrong, leave the column of times out of the lab description"
            faults.append(Fault(given, expected, f"{remedy}, or mend the order of the occasions{out}", other.file))
        else:
            remedy = "look for a clock that was wrong, a file in the wrong folder, or a wrong order of the occasions"
            notes.append(Fault(given, expected, remedy, other.file))
    return faults, notes


def _span(clock: ClockTold) -> _Span:
    if clock.first_utc:
        return clock.first_utc, clock.last_utc
    return clock.first_local, clock.last_local


def _rising(spans: Sequence[_Span]) -> bool:
    return all(a[1] <= b[0] for a, b in combinations(spans, 2))


def _exchanged(spans: Sequence[_Span], i: int, j: int) -> list[_Span]:
    changed = list(spans)
    changed[i], changed[j] = spans[j], spans[i]
    return changed


# -- places ----------------------------------------------------------------------------------------------


def _places(girder: Girder, occasions: Sequence[Occasion], nests: Sequence[str]) -> tuple[list[Fault], list[Fault]]:
    """Surveys of one place share the points of its walls; those of two places do not."""
    surveyed = [o for o in occasions if o.sightings and o.place]
    carried = {t.name for t in girder.targets if t.carrier != "wall"}
    walls = {o.name: _walls(o, carried, nests) for o in surveyed}
    places = {o.name: o.place for o in surveyed}
    wrong = _contradictions(places, walls)
    if not wrong:
        return [], []
    a, b = wrong[0]
    first = next(o for o in surveyed if o.name == b).sightings[0]
    shared = sorted(walls[a] & walls[b])
    if places[a] == places[b]:
        given = f"surveys of {a} and {b} in one place ({places[a]}) without a common point in its walls"
    else:
        given = f"{listed(shared, 4)} seen on {a} ({places[a]}) and on {b} ({places[b]})"
    back = [
        pair
        for pair in combinations(walls, 2)
        if places[pair[0]] != places[pair[1]] and not _contradictions(places, _swapped(walls, *pair))
    ]
    expected = "points in the walls of one place only"
    if len(back) >= 1 and places[a] != places[b]:
        said = " or ".join(f"{one} and {two}" for one, two in back)
        remedy = f"each is in its place if the surveys of {said} are exchanged: put each into its own folder, or mend the places"
        return [Fault(given, expected, f"{remedy} under [[layout.occasions]]", first.file, first.line)], []
    if places[a] == places[b]:
        return [], []  # points may have been set anew; nothing contradicts the places
    remedy = "look for a file in the wrong folder, or a wrong place under [[layout.occasions]]"
    return [], [Fault(given, expected, remedy, first.file, first.line)]


def _walls(occasion: Occasion, carried: set[str], nests: Sequence[str]) -> set[str]:
    seen = {s.target for s in occasion.sightings} - carried
    return {name for name in seen if not any(fnmatch.fnmatchcase(name, n) for n in nests)}


def _swapped(walls: Mapping[str, set[str]], a: str, b: str) -> dict[str, set[str]]:
    return {**walls, a: walls[b], b: walls[a]}


def _contradictions(places: Mapping[str, str], walls: Mapping[str, set[str]]) -> list[tuple[str, str]]:
    """Pairs of surveys that share points in two places, first; then pairs of one place that share none."""
    known = [(a, b) for a, b in combinations(walls, 2) if len(walls[a]) >= SHARED and len(walls[b]) >= SHARED]
    apart = [(a, b) for a, b in known if places[a] != places[b] and len(walls[a] & walls[b]) >= SHARED]
    alone = [(a, b) for a, b in known if places[a] == places[b] and not walls[a] & walls[b]]
    return [*apart, *alone]
