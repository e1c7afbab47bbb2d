"""Numbers of a ride: what a row, a few rows, or all rows of the logger make of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.ride import RideFinding
from monochord.campaign.given.occasion import RideSample
from monochord.campaign.given.ride import RideLogger
from monochord.girder.ride import beyond_weight, bounds_of, weight_in
from monochord.ground.trace import Line, Place, Sum, pointer
from monochord.job.why.known import Known
from monochord.report.facts import given_of

Array = NDArray[np.float64]
#: So many rows stand in one sum.
MOST = 40


@dataclass(frozen=True, eq=False, slots=True)
class Logged:
    """The rows of one ride, what was found in them, and the beginning of the names of its numbers."""

    samples: Sequence[RideSample]
    logger: RideLogger
    found: RideFinding
    base: str

    @property
    def values(self) -> Array:
        """Accelerations (n, 3) [m/s2]."""
        return np.array([s.acceleration for s in self.samples], float)

    @property
    def weight(self) -> Array:
        """The weight in the numbers (3,) [m/s2]."""
        return weight_in(self.values, self.logger)[0]

    def place(self, k: int, column: str) -> tuple[Place, ...]:
        """Where row k stands."""
        return (Place(self.samples[k].file, self.samples[k].line, column),)


def of_ride(known: Known, keys: Sequence[str], part: str) -> Sum | None:
    """A number of a ride; None for any other number."""
    if len(keys) < 4 or keys[0] != "occasions" or keys[2] != "ride":
        return None
    given, told = given_of(known.result, keys[1]), known.occasion(keys[1])
    if given is None or told is None or told.ride is None:
        return None
    logged = Logged(given.ride, given.logger or RideLogger(), told.ride, pointer(*keys[:3]))
    if part:
        return _part(logged, keys[3:], part)
    return _told(logged, keys[3:], pointer(*keys), known.number(*keys))


def _told(logged: Logged, keys: Sequence[str], name: str, value: float) -> Sum | None:
    kind = "counts" if keys[0] in ("samples", "clipped") or keys[-1] == "count" else keys[0]
    return TOLD[kind](logged, keys, name, value) if kind in TOLD else None


def _largest(logged: Logged, _: Sequence[str], name: str, value: float) -> Sum:
    return _of_row(logged, name, value, "length of the acceleration beyond the weight", _beyond_length(logged))


def _end(logged: Logged, keys: Sequence[str], name: str, value: float) -> Sum:
    end = ("low", "high").index(keys[0])

    def made(acceleration: Array, weight: Array) -> float:
        found = bounds_of(beyond_weight(acceleration[None], weight, logged.logger), weight, logged.logger)[end]
        return float("nan") if found is None else float(found)

    return _of_row(logged, name, value, logged.found.bound, made)


def _largest_at(logged: Logged, _: Sequence[str], name: str, value: float) -> Sum:
    size, weight = _beyond_length(logged), logged.weight
    k = int(np.argmax([size(a, weight) for a in logged.values]))
    line = Line("time of the row with the largest acceleration", value, unit="s", places=logged.place(k, "time"))
    return Sum(name, "s", value, (line,), "as it was logged, counted from the first row")


def _duration(logged: Logged, _: Sequence[str], name: str, value: float) -> Sum:
    times = [s.time for s in logged.samples]
    last, first = int(np.argmax(times)), int(np.argmin(times))
    lines = (
        Line("time of the last row", times[last], unit="s", places=logged.place(last, "time")),
        Line("time of the first row, taken away", -times[first], unit="s", places=logged.place(first, "time")),
    )
    return Sum(name, "s", value, lines, "from the first row to the last")


def _temperature(logged: Logged, keys: Sequence[str], name: str, value: float) -> Sum:
    if keys[1] == "mean":
        return _over_time(logged, keys, name, value)
    known = [(s.temperature, k) for k, s in enumerate(logged.samples) if s.temperature is not None]
    k = (min if keys[1] == "lowest" else max)(known)[1]
    places = logged.place(k, "temperature")
    line = Line(f"{keys[1]} temperature that was logged", value, unit="degC", places=places)
    return Sum(name, "degC", value, (line,), "as it was logged")


def _level(logged: Logged, _: Sequence[str], name: str, value: float) -> Sum:
    key = "lab.tables.ride.limit" if value == logged.logger.limit else "girder.ride.LEVELS"
    line = Line("level that is counted", value, unit="m/s2", places=(Place("", 0, key),))
    return Sum(name, "m/s2", value, (line,), "a constant of the program, or the declared limit")


def _gap(logged: Logged, keys: Sequence[str], name: str, value: float) -> Sum:
    start = logged.found.gaps[int(keys[1])].start
    row = next(i for i, s in enumerate(logged.samples) if s.time == start)
    places = (*logged.place(row, "time"), *logged.place(row + 1, "time"))
    return Sum(name, "s", value, (Line("between two rows", value, unit="s", places=places),), "a step in time too long")


def _missing(logged: Logged, _: Sequence[str], name: str, value: float) -> Sum:
    gaps = [Line(f"gap {k + 1}", g.length, f"{logged.base}/gaps/{k}/length") for k, g in enumerate(logged.found.gaps)]
    lines = tuple(gaps) or (_all(logged, "no step in time is too long", 0.0),)
    return Sum(name, "s", value, lines, "all gaps together")


def _count(logged: Logged, _: Sequence[str], name: str, value: float) -> Sum:
    return Sum(name, "1", value, (_all(logged, "counted over all rows", value),), "a count over the logger's rows")


def _all(logged: Logged, words: str, value: float) -> Line:
    places = (*logged.place(0, "time"), *logged.place(len(logged.samples) - 1, "time"))
    return Line(f"{words}, from the first to the last of {len(logged.samples)}", value, places=places)


def _of_row(logged: Logged, name: str, value: float, how: str, made: Callable[[Array, Array], float]) -> Sum:
    """A number that one row gives, the one where it is largest, with the weight taken into account."""
    weight, values = logged.weight, logged.values
    each = [made(a, weight) for a in values]
    k = int(np.argmax(each))
    row = [
        Line(f"acceleration along {p}", float(v), unit="m/s2", places=logged.place(k, p))
        for p, v in zip("xyz", values[k], strict=True)
    ]
    rest = [
        Line(f"weight along {p}", float(v), f"{logged.base}#weight {p}", unit="m/s2")
        for p, v in zip("xyz", weight, strict=True)
    ]
    return Sum(name, "m/s2", value, (*row, *rest), how, lambda a: made(np.array(a[:3]), np.array(a[3:])))


def _beyond_length(logged: Logged) -> Callable[[Array, Array], float]:
    def made(acceleration: Array, weight: Array) -> float:
        return float(np.linalg.norm(beyond_weight(acceleration[None], weight, logged.logger)[0]))

    return made


def _part(logged: Logged, keys: Sequence[str], part: str) -> Sum | None:
    """``#weight x`` of the ride; ``#rows a to b`` of its mean temperature and its exposure."""
    return None if not keys else _rows(logged, keys[0], part)


def of_weight(known: Known, keys: Sequence[str], part: str) -> Sum | None:
    """The weight along one axis, ``/occasions/<o>/ride#weight x``; None for any other number."""
    if len(keys) != 3 or keys[0] != "occasions" or keys[2] != "ride" or not part.startswith("weight "):
        return None
    given = given_of(known.result, keys[1])
    told = known.occasion(keys[1])
    if given is None or told is None or told.ride is None:
        return None
    logged = Logged(given.ride, given.logger or RideLogger(), told.ride, pointer(*keys))
    axis = "xyz".index(part[-1])
    value, column = float(logged.weight[axis]), logged.values[:, axis]
    name = f"{logged.base}#{part}"
    if value == 0.0:
        return Sum(name, "m/s2", value, (_all(logged, "the numbers hold no weight", 0.0),), "none is in the numbers")
    order = np.argsort(column, kind="stable")
    middle = sorted({int(order[(len(order) - 1) // 2]), int(order[len(order) // 2])})
    lines = tuple(
        Line("middle row in order of size", float(column[k]), unit="m/s2", places=logged.place(k, part[-1]))
        for k in middle
    )
    return Sum(name, "m/s2", value, lines, "the median of all rows", lambda a: float(np.mean(a)))


def _steps(logged: Logged, what: str) -> tuple[list[int], list[float]]:
    """Rows that begin a counted step, and what each brings: mean temperature [degC], or exposure [K h]."""
    known = [k for k, s in enumerate(logged.samples) if s.temperature is not None]
    at = np.array([logged.samples[k].time for k in known])
    warm = np.array([float(logged.samples[k].temperature or 0.0) for k in known])
    steps = np.diff(at)
    counted = (steps > 0.0) & ~np.isin(at[:-1], [g.start for g in logged.found.gaps])
    away = warm if what == "temperature" else np.abs(warm - warm[0])
    whole = float(steps[counted].sum()) if what == "temperature" else 3600.0
    brought = 0.5 * (away[1:] + away[:-1]) * steps / whole
    rows = np.flatnonzero(counted).tolist()
    return [known[k] for k in rows], [float(brought[k]) for k in rows]


def _over_time(logged: Logged, keys: Sequence[str], name: str, value: float) -> Sum:
    what = keys[0]
    rows, brought = _steps(logged, what)
    unit, how = ("degC", "mean over time") if what == "temperature" else ("K h", "distance from the first, over time")
    if len(rows) <= MOST:
        return Sum(name, unit, value, _step_lines(logged, rows, brought, unit), how)
    lines = tuple(
        Line(f"steps {a} to {b - 1}", float(np.sum(brought[a:b])), f"{name}#rows {a} to {b}", unit=unit)
        for a, b in _blocks(len(rows))
    )
    return Sum(name, unit, value, lines, how)


def _blocks(count: int) -> list[tuple[int, int]]:
    size = max(MOST, int(np.ceil(count / MOST)))
    return [(a, min(a + size, count)) for a in range(0, count, size)]


def _step_lines(logged: Logged, rows: Sequence[int], brought: Sequence[float], unit: str) -> tuple[Line, ...]:
    return tuple(
        Line("step from this row to the next", amount, unit=unit, places=logged.place(k, "temperature"))
        for k, amount in zip(rows, brought, strict=True)
    )


def _rows(logged: Logged, what: str, part: str) -> Sum | None:
    words = part.split()
    if len(words) != 4 or words[0] != "rows":
        return None
    a, b = int(words[1]), int(words[3])
    rows, brought = _steps(logged, what)
    unit = "degC" if what == "temperature" else "K h"
    name = f"{logged.base}/{'temperature/mean' if what == 'temperature' else what}#{part}"
    value = float(np.sum(brought[a:b]))
    return Sum(
        name, unit, value, _step_lines(logged, rows[a:b], brought[a:b], unit), "steps between rows of the logger"
    )


#: First key behind the ride -> who tells it.
TOLD: dict[str, Callable[[Logged, Sequence[str], str, float], Sum]] = {
    "largest": _largest,
    "low": _end,
    "high": _end,
    "largest_at": _largest_at,
    "duration": _duration,
    "temperature": _temperature,
    "exposure": _over_time,
    "shocks": _level,
    "gaps": _gap,
    "missing": _missing,
    "counts": _count,
}
