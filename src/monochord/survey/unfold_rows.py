"""Many rows behind one number, told by station and kind, then by carrier and target, then row by row."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from monochord.ground.trace import Line, Place, Sum, pointer
from monochord.survey.model import UNITS
from monochord.survey.network import Array
from monochord.survey.unfold_gain import Counted, Laid

#: More lines than this are told in groups.
MOST = 40
#: So many numbers have their rows kept.
KEPT = 32


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
    what = f"{len(rows)} readings" if not kind else kind if ":" in kind else f"{len(rows)} {kind}s"
    words = f"{station}: {what}"
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


def reading_rows(laid: Laid, tell: Callable[[Counted], Line]) -> list[Row]:
    """A row for each reading that counts, from what tells its line."""
    return [Row(reading.way, tell(reading)) for reading in laid.counted]


def level_rows(laid: Laid, tell: Callable[[Counted], Line]) -> list[Row]:
    """A row for each lean of a level that counts."""
    return [Row(lean.way, tell(lean)) for lean in laid.levelled]


def pulls(laid: Laid, gains: tuple[Array, Array], said: tuple[Array, Array]) -> list[Row]:
    """Each reading's pull on a number: how the number follows it (the gain) times what it says.

    gains, said   of readings (m, 3) and of levels (S, 2), as in :meth:`Laid.gains` and :meth:`Laid.said`
    """
    (reading_gains, level_gains), (reading_said, level_said) = gains, said

    def tell(one: Counted, factor: float, given: float, unit: str) -> Line:
        return Line(one.words, factor * given, "", factor, given, unit, one.places)

    return [
        *reading_rows(
            laid,
            lambda r: tell(r, float(reading_gains[r.row, r.kind]), float(reading_said[r.row, r.kind]), UNITS[r.kind]),
        ),
        *level_rows(
            laid, lambda r: tell(r, float(level_gains[r.row, r.kind]), float(level_said[r.row, r.kind]), "rad")
        ),
    ]


def ones(laid: Laid, kind: str) -> list[Row]:
    """One for each reading of a kind that counts, or for each lean when the kind is the level."""
    rows = [Row(r.way, Line(r.words, 1.0, places=r.places)) for r in (*laid.counted, *laid.levelled)]
    return [row for row in rows if row.way[1] == kind]


#: Tells a number by its keys and the part behind ``#``; None when it is of another family.
Teller = Callable[[Laid, tuple[str, ...], str], Sum | None]


def setting(key: str) -> tuple[Place, ...]:
    """A setting as a place.

    >>> setting("instrument.u_angle")
    (Place(file='', line=0, column='instrument.u_angle'),)
    """
    return (Place("", 0, key),)
