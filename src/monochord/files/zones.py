"""From a file's own clock to UTC by a declared zone, over the changes between summer and winter time.

The hour that comes twice in autumn is told apart where rows that rise leave one reading only; where they
leave both, it is asked, with both. An hour that the clock skipped in spring is refused. Times from before a zone
had a standard time (local mean time) are refused: nobody measured a girder then.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from functools import cache

from monochord.files.clock import DAY, spoken_moment, spoken_span
from monochord.files.words import did_you_mean
from monochord.ground.faults import Fault, Refused

_FIXED = re.compile(r"(?:UTC|GMT)?([+-])(\d{1,2})(?::?(\d{2}))?", re.ASCII)

#: Offsets change on full quarters of an hour, so each quarter is looked up once [s].
_QUARTER = 900.0


@dataclass(frozen=True, slots=True)
class Unclear:
    """A row whose moment is not decided: index, what it may be, and what to do."""

    index: int
    expected: str
    remedy: str


@cache
def zone(name: str) -> tzinfo:
    """A zone by its name, such as Europe/Berlin, or a fixed offset such as UTC, +01:00, UTC+1; Refused when unknown.

    >>> zone("UTC+5:30").utcoffset(None)
    datetime.timedelta(seconds=19800)
    """
    if name in ("UTC", "GMT", "Z"):
        return UTC
    if found := _FIXED.fullmatch(name):
        size = timedelta(hours=int(found[2]), minutes=int(found[3] or 0))
        if size <= timedelta(hours=14):
            return timezone(-size if found[1] == "-" else size)
    import zoneinfo

    try:
        return zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        hint = did_you_mean(name, zoneinfo.available_timezones())
        raise Refused(
            [Fault(f"time zone {name!r}", "a zone such as Europe/Berlin, UTC or +01:00", f"{hint}mend the zone")]
        ) from None


def to_utc(local: Sequence[float], name: str, rule: str = "") -> tuple[list[float], list[Unclear]]:
    """Moments in UTC of times on a file's clock (seconds on the scale of :mod:`monochord.files.clock`), rows in order.

    name  of the zone;  rule  "first" or "second": which pass of a repeated hour is meant where rows leave it open

    >>> from monochord.files.clock import seconds
    >>> rows, odd = seconds(["2026-05-04 14:20"], "YYYY-MM-DD hh:mm")
    >>> spoken_moment(to_utc(rows, "Asia/Kolkata")[0][0])
    '2026-05-04 08:50:00'
    """
    where = zone(name)
    known: dict[float, tuple[float, ...]] = {}
    ways: list[tuple[float, ...]] = []
    for value in local:
        if math.isnan(value):
            ways.append((value,))
            continue
        start = value - value % _QUARTER
        if start not in known:
            known[start] = _offsets(start, where)
        ways.append(tuple(value - offset for offset in known[start]))
    found = [way[0] if way else math.nan for way in ways]
    unclear = [_skipped(i, local[i], name) for i, way in enumerate(ways) if not way]
    open_rows = [i for i, way in enumerate(ways) if len(way) == 2]
    if open_rows:
        unclear += _decide(found, ways, local, open_rows, rule)
    return found, unclear


def _offsets(start: float, where: tzinfo) -> tuple[float, ...]:
    """Offsets from UTC [s] that a clock may have had then: one, two in a repeated hour, none in a skipped one."""
    moment = datetime.fromordinal(int(start // DAY)) + timedelta(seconds=start % DAY)
    told = [moment.replace(tzinfo=where, fold=fold).utcoffset() for fold in (0, 1)]
    first, second = (t.total_seconds() if t is not None else 0.0 for t in told)
    if first % 60.0 or second % 60.0 or moment.replace(tzinfo=where).tzname() == "LMT":
        return ()
    if first == second:
        return (first,)
    return (first, second) if first > second else ()


def _skipped(index: int, value: float, name: str) -> Unclear:
    expected = f"a time that clocks in {name} showed"
    remedy = "that hour was skipped when clocks were put forward, or the zone had no standard time yet; mend the zone"
    return Unclear(index, expected, f"{remedy} (read as {spoken_moment(value)})")


def _decide(
    found: list[float], ways: Sequence[tuple[float, ...]], local: Sequence[float], open_rows: list[int], rule: str
) -> list[Unclear]:
    """Put the decided moments of repeated hours into ``found``; the rows that stay open come back."""
    again = any(a == b and len(way) == 1 for a, b, way in zip(local, local[1:], ways, strict=False))
    early, late = _earliest(ways, local, again=again), _latest(ways, local, again=again)
    unclear = []
    for i in open_rows:
        if early[i] == late[i]:
            found[i] = early[i]
        elif rule:
            found[i] = ways[i][0 if rule == "first" else 1]
        else:
            found[i] = math.nan
            both = " or ".join(f"{spoken_moment(w)} UTC" for w in ways[i])
            remedy = (
                'that hour came twice and the other rows do not tell which is meant; say repeated_hour = "first" or '
                '"second" for the column, or let the logger run on UTC'
            )
            apart = spoken_span(ways[i][1] - ways[i][0])
            unclear.append(Unclear(i, f"one moment: {both} (difference {apart})", remedy))
    return unclear


def _earliest(ways: Sequence[tuple[float, ...]], local: Sequence[float], *, again: bool) -> list[float]:
    """The earliest moment of each row when rows rise; equal readings in a row may be one moment in files that have such."""
    chosen: list[float] = []
    before, was = -math.inf, math.nan
    for way, value in zip(ways, local, strict=True):
        fits = [w for w in way if w > before or (again and w == before and value == was)]
        pick = min(fits) if fits else (max(way) if way else math.nan)
        chosen.append(pick)
        if not math.isnan(pick):
            before, was = pick, value
    return chosen


def _latest(ways: Sequence[tuple[float, ...]], local: Sequence[float], *, again: bool) -> list[float]:
    turned = [tuple(-w for w in way) for way in reversed(ways)]
    return [-w for w in reversed(_earliest(turned, [-v for v in reversed(local)], again=again))]
