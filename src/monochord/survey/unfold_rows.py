"""Many rows behind one number, told by station and kind, then by carrier and target, then row by row."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from monochord.ground.trace import Line, Place, Sum, pointer
from monochord.survey.model import KINDS, UNITS
from monochord.survey.network import Array
from monochord.survey.unfold_gain import LEVEL, Laid

#: More lines than this are told in groups.
MOST = 40
#: So many numbers have their rows kept.
KEPT = 32
#: Kind of the rows that levels make, and the axes along which a station may lean.
LEVELS, ACROSS = "level", ("x", "z")


@dataclass(frozen=True, eq=False, slots=True)
class Row:
    """One reading behind a number: station, kind, carrier and target on the way to it, and its line."""

    way: tuple[str, str, str, str]
    line: Line


def part_of(way: Sequence[str]) -> str:
    """What stands behind ``#`` for rows that share the first keys.

    >>> part_of(("S1", "zenith angle"))
    'rows/S1/zenith angle'
    """
    return "rows" + pointer(*way)


def way_of(part: str) -> tuple[str, ...] | None:
    """The keys that rows share, None when the part names no rows.

    >>> way_of("rows/S1/zenith angle"), way_of("cause")
    (('S1', 'zenith angle'), None)
    """
    head, *keys = part.split("/")
    return tuple(k.replace("~1", "/").replace("~0", "~") for k in keys) if head == "rows" and keys else None


def grouped(base: str, rows: Sequence[Row], way: tuple[str, ...] = ()) -> tuple[Line, ...]:
    """Lines of the rows that share ``way``: themselves when they are few, else one line a group.

    >>> rows = [Row(("S1", "direction", "wall", f"M{k}"), Line("one", 1.0)) for k in range(50)]
    >>> [line.of for line in grouped("survey/dof", rows)], len(grouped("survey/dof", rows, ("S1", "direction", "wall")))
    (['survey/dof#rows/S1/direction'], 50)
    """
    chosen = [row for row in rows if row.way[: len(way)] == way]
    if len(chosen) <= MOST or len(way) == 4:
        return tuple(row.line for row in chosen)
    depth = _depth(chosen, len(way))
    groups: dict[tuple[str, ...], list[Row]] = {}
    for row in chosen:
        groups.setdefault(row.way[:depth], []).append(row)
    return tuple(_group(base, key, members) for key, members in groups.items())


def _depth(rows: Sequence[Row], done: int) -> int:
    """How many keys tell the groups apart."""
    if done in (0, 2) and len({row.way[: done + 2] for row in rows}) <= MOST:
        return done + 2
    return done + 1


def _group(base: str, way: tuple[str, ...], rows: Sequence[Row]) -> Line:
    station, kind, carrier, target = (*way, "", "", "")[:4]
    what = "readings" if not kind else f"{kind}s" if kind != "zenith angle" else "zenith angles"
    words = f"{station}: {len(rows)} {what}"
    if target or carrier:
        words += f" to {target}" if target else " to monuments" if carrier == "wall" else f" to targets on {carrier}"
    return Line(words, math.fsum(row.line.amount for row in rows), f"{base}#{part_of(way)}")


def of_rows(base: str, unit: str, rows: Sequence[Row], way: tuple[str, ...], how: str) -> Sum | None:
    """The sum of the rows that share ``way``, None when there are none."""
    lines = grouped(base, rows, way)
    total = math.fsum(row.line.amount for row in rows if row.way[: len(way)] == way)
    return Sum(f"{base}#{part_of(way)}", unit, total, lines, how) if lines else None


def kept_rows(laid: Laid, name: str, make: Callable[[], list[Row]]) -> list[Row]:
    """Rows behind a name, made once: whoever asks for a group asks for its neighbours next."""
    found = laid.kept.pop(name, None)
    rows: list[Row] = found if isinstance(found, list) else make()
    laid.kept[name] = rows
    while len(laid.kept) > KEPT:
        laid.kept.pop(next(iter(laid.kept)))
    return rows


def reading_rows(laid: Laid, tell: Callable[[int, int], Line]) -> list[Row]:
    """A row for each reading (row, kind) that counts, from what tells its line."""
    network, counts = laid.cleaned.survey.network, laid.cleaned.solution.weights.readings > 0.0
    found = []
    for row, kind in np.argwhere(counts).tolist():
        sighting = network.sightings[row]
        carrier = laid.carriers[int(network.pair_target[network.pair[row]])]
        found.append(Row((sighting.station, KINDS[kind], carrier, sighting.target), tell(row, kind)))
    return found


def level_rows(laid: Laid, tell: Callable[[int, int], Line]) -> list[Row]:
    """A row for each lean (station, axis) of a level that counts."""
    stations, weights = laid.cleaned.survey.network.stations, laid.cleaned.solution.weights.levels
    return [
        Row((name, LEVELS, "", ""), tell(s, axis))
        for s, name in enumerate(stations)
        for axis in (0, 1)
        if weights[s] > 0.0
    ]


def words_of(laid: Laid, row: int, kind: int) -> str:
    """A reading in words."""
    sighting = laid.cleaned.survey.network.sightings[row]
    return f"{KINDS[kind]} from {sighting.station} to {sighting.target}, round {sighting.round}"


def level_words(laid: Laid, station: int, axis: int) -> str:
    """A lean in words."""
    return f"level of {laid.cleaned.survey.network.stations[station]}, towards {ACROSS[axis]}"


def pulls(laid: Laid, gains: tuple[Array, Array], said: tuple[Array, Array]) -> list[Row]:
    """Each reading's pull on a number: how the number follows it (the gain) times what it says.

    gains, said   of readings (m, 3) and of levels (S, 2), as in :meth:`Laid.gains` and :meth:`Laid.said`
    """

    def reading(row: int, kind: int) -> Line:
        factor, given = float(gains[0][row, kind]), float(said[0][row, kind])
        places = (laid.place(row, kind),)
        return Line(words_of(laid, row, kind), factor * given, "", factor, given, UNITS[kind], places)

    def level(station: int, axis: int) -> Line:
        factor, given = float(gains[1][station, axis]), float(said[1][station, axis])
        return Line(level_words(laid, station, axis), factor * given, "", factor, given, "rad", (LEVEL,))

    return [*reading_rows(laid, reading), *level_rows(laid, level)]


def ones(laid: Laid, kind: str) -> list[Row]:
    """One for each reading of a kind that counts, or for each lean when the kind is the level."""
    if kind == LEVELS:
        return level_rows(laid, lambda s, a: Line(level_words(laid, s, a), 1.0, places=(LEVEL,)))
    rows = reading_rows(laid, lambda r, k: Line(words_of(laid, r, k), 1.0, places=(laid.place(r, k),)))
    return [row for row in rows if row.way[1] == kind]


#: Tells a number by its keys and the part behind ``#``; None when it is of another family.
Teller = Callable[[Laid, tuple[str, ...], str], Sum | None]


def setting(key: str) -> tuple[Place, ...]:
    """A setting as a place.

    >>> setting("instrument.u_angle")
    (Place(file='', line=0, column='instrument.u_angle'),)
    """
    return (Place("", 0, key),)
