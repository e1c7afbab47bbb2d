"""A column of times on its way to numbers: one notation for all rows, the zone, and what is odd about the clock.

Where the column's zone is told, the numbers are UTC; otherwise they are the file's own clock, good for
differences only. Steps back, gaps of a log, days on which clocks begin that nobody set, and dates that would rise
evenly if day and month were exchanged are told, never put right.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np

from monochord.campaign.given.clock import ClockTold
from monochord.files import clock, zones
from monochord.files.clock_misfits import column_remedy, why_not
from monochord.files.columns import Array, Column
from monochord.ground.faults import Fault

#: Days on which clocks begin that were never set, as years and days.
_ORIGINS = ("1899-12-3", "1900-01-0", "1904-01-0", "1970-01-01", "1980-01-0", "2000-01-01")

#: Times before this are those of a clock that was not set, or of another origin [s]: nobody measured girders so before 1990.
_FIRST = date(1990, 1, 1).toordinal() * clock.DAY

#: A log's step that is so many times its usual one is a gap.
GAP = 5.0

#: Roles whose tables are logs: rows at even steps.
_LOGS = ("ride", "temperatures")

#: Times of one file spread over more than this are looked at for exchanged days and months [s].
_LONG = 40.0 * clock.DAY

#: How many findings of one kind are told by line.
_TOLD = 3


@dataclass(slots=True)
class TimesRead:
    """Times of a column: seconds (n,), NaN where unclear; what does not fit by row; notes; and the clock told.

    misfits  row -> (expected, remedy)
    """

    values: Array
    misfits: dict[int, tuple[str, str]] = field(default_factory=dict)
    notes: list[tuple[str, str, str, int | None]] = field(default_factory=list)
    told: ClockTold | None = None

    def placed(self, file: str, lines: Sequence[int], column: str) -> Iterable[Fault]:
        """The notes with file, line and column."""
        for given, expected, remedy, row in self.notes:
            yield Fault(given, expected, remedy, file, None if row is None else lines[row], column)


def read_times(cells: Sequence[str], column: Column, role: str, file: str, name: str) -> TimesRead:
    """The times of one column as its description tells them."""
    notation, asked = clock.only_fit(cells, column.notation)
    values, odd = clock.seconds(cells, notation)
    read = TimesRead(np.array(values, float))
    remedy = column_remedy(cells, notation) if odd else ""
    for row in odd:
        read.misfits[row] = why_not(cells[row], notation, remedy)
    if asked:
        row = next(i for i, cell in enumerate(cells) if cell.strip())
        read.misfits[row] = (f"one reading of all rows: {asked}", "both fit every row; say which one is meant")
        return read
    if column.midnight == "old day":
        _move_midnight(read, cells)
    local = read.values.copy()
    by_itself = clock.in_utc(notation)
    if column.zone and not by_itself:
        moments, unclear = zones.to_utc(values_of(read), column.zone, column.repeated_hour)
        read.values = np.array(moments, float)
        read.misfits |= {u.index: (u.expected, u.remedy) for u in unclear}
    read.notes += [*_origins(local, cells), *_exchanged(cells, notation, local), *_steps(read.values, cells, role)]
    read.told = _told(read.values, local, cells, (file, name, "UTC" if by_itself else column.zone))
    return read


def values_of(read: TimesRead) -> list[float]:
    """The times as a plain list."""
    return [float(v) for v in read.values.tolist()]


def _move_midnight(read: TimesRead, cells: Sequence[str]) -> None:
    """0:00 with the date of the day that ends is moved to that day's end, as the description declares."""
    moved = [i for i in np.flatnonzero(read.values % clock.DAY == 0.0).tolist() if "24:" not in cells[i]]
    read.values[moved] += clock.DAY
    if moved:
        given = f"{len(moved)} times 0:00, first {cells[moved[0]]!r}"
        read.notes.append((given, "midnight", "read as the end of its day, as the description declares", moved[0]))


def _origins(values: Array, cells: Sequence[str]) -> Iterable[tuple[str, str, str, int | None]]:
    days = {d: clock.spoken_moment(d) for d in set((values[~np.isnan(values)] // clock.DAY * clock.DAY).tolist())}
    unset = {d for d, words in days.items() if words.startswith(_ORIGINS)}
    early = {d for d in days if d < _FIRST}
    rows = [
        i for i, v in enumerate(values.tolist()) if not math.isnan(v) and v // clock.DAY * clock.DAY in unset | early
    ]
    if rows:
        remedy = "clocks that were never set begin there; see when these readings were made"
        if days[float(values[rows[0]]) // clock.DAY * clock.DAY] and not unset:
            remedy = "a wrong notation, unit or origin of the numbers, or a clock that was never set; see which"
        given = (
            f"{cells[rows[0]]!r}, {clock.spoken_moment(float(values[rows[0]]))}, and {len(rows) - 1} more such times"
        )
        yield given, "a clock that was set", remedy, rows[0]


def _exchanged(cells: Sequence[str], notation: str, values: Array) -> Iterable[tuple[str, str, str, int | None]]:
    """Dates that spread over months as declared and over days with day and month exchanged."""
    there = values[~np.isnan(values)]
    if there.size < 2 or np.ptp(there) < _LONG or not (turned := clock.other_order(cells, notation)):
        return
    other = [v for v in clock.seconds(cells, turned)[0] if not math.isnan(v)]
    span = max(other) - min(other)
    if span < 0.1 * float(np.ptp(there)):
        given = f"times over {clock.spoken_span(float(np.ptp(there)))} by {notation!r}"
        remedy = f"by {turned!r} they spread over {clock.spoken_span(span)}; look whether day and month are exchanged"
        yield given, "one measurement", remedy, None


def _steps(values: Array, cells: Sequence[str], role: str) -> Iterable[tuple[str, str, str, int | None]]:
    known = np.flatnonzero(~np.isnan(values))
    if known.size < 2:
        return
    steps = np.diff(values[known])
    back = np.flatnonzero(steps < 0.0)
    for place in back[:_TOLD].tolist():
        row, size = int(known[place + 1]), clock.spoken_span(float(steps[place]))
        more = f" (one of {back.size} steps back)" if back.size > 1 else ""
        remedy = "rows stay in the order of the file; was the clock set, or 0:00 written with the date of the old day?"
        yield f"the clock steps back by {size} to {cells[row]!r}{more}", "rising times", remedy, row
    usual = float(np.median(steps[steps > 0.0])) if (steps > 0.0).any() else 0.0
    gaps = np.flatnonzero(steps > GAP * usual) if role in _LOGS and usual and steps.size >= 10 else np.array([], int)
    for place in gaps[:_TOLD].tolist():
        row, size = int(known[place + 1]), clock.spoken_span(float(steps[place]))
        more = f" (one of {gaps.size} gaps)" if gaps.size > 1 else ""
        expected = f"readings every {clock.spoken_span(usual)}"
        yield f"a gap of {size} before {cells[row]!r}{more}", expected, "nothing is filled in for it", row


def _told(values: Array, local: Array, cells: Sequence[str], where: tuple[str, str, str]) -> ClockTold | None:
    known = np.flatnonzero(~np.isnan(values))
    if not known.size:
        return None
    file, name, zone = where
    first, last = int(known[np.argmin(values[known])]), int(known[np.argmax(values[known])])

    def moment(scale: Array, row: int, mark: str) -> str:
        return clock.spoken_moment(float(scale[row])).replace(" ", "T") + mark

    utc = (moment(values, first, "Z"), moment(values, last, "Z")) if zone else ("", "")
    shown = (cells[first].strip(), cells[last].strip())
    return ClockTold(file, name, zone, *shown, *utc, moment(local, first, ""), moment(local, last, ""))


def joined_clocks(first: Mapping[str, ClockTold], second: Mapping[str, ClockTold]) -> dict[str, ClockTold]:
    """What the clocks of two parts of one file told, as one.

    >>> joined_clocks({}, {})
    {}
    """
    found = dict(first)
    for key, told in second.items():
        was = found.get(key, told)
        early = was if (was.first_utc or was.first_local) <= (told.first_utc or told.first_local) else told
        late = was if (was.last_utc or was.last_local) >= (told.last_utc or told.last_local) else told
        last = {"last": late.last, "last_utc": late.last_utc, "last_local": late.last_local}
        found[key] = replace(early, **last)
    return found


def in_future(told: Iterable[ClockTold], now: str) -> list[Fault]:
    """Notes about clocks that tell times after ``now`` (UTC, ISO 8601); without a zone only those more than a day after.

    >>> c = ClockTold("f", "t", "UTC", "a", "b", "2026-01-01T00:00:00Z", "2026-01-03T00:00:00Z", "", "2026-01-03T00:00:00")
    >>> [n.given for n in in_future([c], "2026-01-02T00:00:00+00:00")]
    ["'b', later than the campaign's beginning at 2026-01-02T00:00:00"]
    """
    moment = now.replace("Z", "")[:19]
    found = []
    for c in told:
        if c.last_utc[:19] > moment or (not c.zone and c.last_local[:10] > _day_after(moment)):
            given = f"{c.last!r}, later than the campaign's beginning at {moment}"
            remedy = (
                "a clock that is wrong, a wrong notation or zone, or a spreadsheet's other origin of days; see which"
            )
            found.append(Fault(given, "a time that has passed", remedy, c.file, None, c.column))
    return found


def _day_after(moment: str) -> str:
    from datetime import date, timedelta

    return (date.fromisoformat(moment[:10]) + timedelta(days=1)).isoformat()
