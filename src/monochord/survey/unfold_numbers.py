"""Why the adjustment says of itself what it says: variance factor, degrees of freedom, residuals by kind, counts."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from monochord.ground.trace import Line, Sum, pointer
from monochord.survey.model import KINDS, UNITS
from monochord.survey.unfold_gain import LEVEL, LEVELS, Counted, Laid
from monochord.survey.unfold_rows import (
    Row,
    grouped,
    kept_rows,
    level_rows,
    of_rows,
    ones,
    reading_rows,
    way_of,
)
from monochord.survey.unfold_weights import Reading, reading_name, record_of

#: Kinds with their units, the level among them.
UNIT = {**dict(zip(KINDS, UNITS, strict=True)), LEVELS: "rad"}


def tell_numbers(laid: Laid, keys: tuple[str, ...], part: str) -> Sum | None:
    """``survey/variance_factor``, ``survey/dof``, ``survey/residuals/<kind>/<what>``, ``stations/<name>/sightings``."""
    if keys == ("survey", "variance_factor"):
        return _variance_factor(laid, part)
    if keys == ("survey", "dof") and not part:
        return _dof(laid)
    if keys == ("survey",) and part.partition("#")[0] in ("stations", "targets"):
        return _unknowns(laid, *part.partition("#")[::2])
    if keys[:2] == ("survey", "residuals") and len(keys) == 4 and keys[2] in UNIT:
        return _of_kind(laid, keys[2], keys[3], part)
    if len(keys) == 3 and keys[0] == "stations" and keys[2] == "sightings":
        return _sightings(laid, keys[1], part)
    return None


def _each(laid: Laid, tell: Callable[[Counted, Reading], Line]) -> list[Row]:
    """A row for each reading and lean that counts."""
    return [
        *reading_rows(laid, lambda one: tell(one, (one.row, one.kind))),
        *level_rows(laid, lambda one: tell(one, (-1 - one.row, one.kind))),
    ]


def square_rows(laid: Laid) -> list[Row]:
    """Each reading's part of the weighted square sum."""
    weights = laid.cleaned.solution.weights

    def tell(one: Counted, reading: Reading) -> Line:
        record = record_of(laid, reading)
        residual = record.residual if record else 0.0
        weight = float(weights.readings[one.row, one.kind]) if reading[0] >= 0 else float(weights.levels[one.row])
        of, words = reading_name("residual", reading), f"residual squared over variance: {one.words}"
        return Line(words, weight * residual**2, of, weight * residual, residual, _unit(reading))

    return _each(laid, tell)


def _unit(reading: Reading) -> str:
    return UNITS[reading[1]] if reading[0] >= 0 else "rad"


def _variance_factor(laid: Laid, part: str) -> Sum | None:
    base = "survey/variance_factor"
    rows = kept_rows(laid, base, lambda: square_rows(laid))
    if part:
        way = way_of(part)
        return (
            of_rows(base, "1", rows, way, "residuals squared, each over the variance of its reading") if way else None
        )
    if laid.points.dof <= 0:
        return None
    lines = (*grouped(base, rows), Line("degrees of freedom", laid.points.dof, "survey/dof"))
    how = f"sum of the residuals squared, each over the variance of its reading, over the degrees of freedom{laid.left_out}"
    return Sum(base, "1", laid.points.variance_factor, lines, how, lambda v: math.fsum(v[:-1]) / v[-1])


def _kinds(laid: Laid) -> list[str]:
    return list(dict.fromkeys(record.kind for record in laid.points.residuals))


def _dof(laid: Laid) -> Sum:
    stations, targets, _ = laid.cleaned.survey.network.sizes
    counts = {kind: sum(r.kind == kind for r in laid.points.residuals) for kind in _kinds(laid)}
    free = laid.points.dof - sum(counts.values()) + 6 * stations + 3 * targets
    lines = (
        *(
            Line(f"readings: {kind}", float(n), pointer("survey", "residuals", kind, "count")[1:])
            for kind, n in counts.items()
        ),
        Line("six unknowns for each station", -6.0 * stations, "survey#stations", -6.0, float(stations), "1"),
        Line("three unknowns for each target", -3.0 * targets, "survey#targets", -3.0, float(targets), "1"),
        Line("motions of the whole that no reading notices", free, places=(LEVEL,)),
    )
    how = "readings less unknowns; the frame is no unknown: six motions of it for free stations, four for levelled ones"
    return Sum("survey/dof", "1", laid.points.dof, lines, how)


def _unknowns(laid: Laid, what: str, path: str) -> Sum | None:
    network = laid.cleaned.survey.network
    base, way = f"survey#{what}", way_of(path)
    rows = []
    names = network.stations if what == "stations" else network.targets
    number = (network.pair_station if what == "stations" else network.pair_target)[network.pair]
    for i, name in enumerate(names):
        first = int(np.flatnonzero(number == i)[0])
        kind = "" if what == "stations" else laid.carriers[i]
        line = Line(name, 1.0, places=(laid.place(first, 0),))
        rows.append(Row((what, "", kind, name), line))
    if path:
        return of_rows(base, "1", rows, way, f"{what} in the adjustment") if way else None
    return Sum(base, "1", float(len(names)), grouped(base, rows), f"{what} in the adjustment, each with its first row")


def _sightings(laid: Laid, name: str, part: str) -> Sum | None:
    station = laid.station(name)
    if station is None:
        return None
    network, counts = laid.cleaned.survey.network, (laid.cleaned.solution.weights.readings > 0.0).any(axis=1)
    rows = []
    for row in np.flatnonzero(counts & (network.pair_station[network.pair] == station)).tolist():
        sighting = network.sightings[row]
        carrier = laid.carriers[int(network.pair_target[network.pair[row]])]
        line = Line(f"{sighting.target}, round {sighting.round}", 1.0, places=(laid.place(row, 0),))
        rows.append(Row((name, "sighting", carrier, sighting.target), line))
    base, how = pointer("stations", name, "sightings")[1:], f"sightings that count{laid.left_out} of the whole survey"
    if part:
        way = way_of(part)
        return of_rows(base, "1", rows, way, how) if way else None
    return Sum(base, "1", float(laid.points.stations[station].sightings), grouped(base, rows), how)


def _mean_root(values: Sequence[float]) -> float:
    return math.sqrt(math.fsum(values[:-1]) / values[-1])


def _rows(laid: Laid, kind: str, what: str) -> list[Row]:
    """Rows of one kind: its counts, squares of its residuals, sigmas or standardised residuals, or redundancies."""
    if what == "count":
        return ones(laid, kind)
    rows = []
    for row in _each(laid, lambda one, reading: _told(laid, one, reading, what)):
        if row.way[1] == kind and math.isfinite(row.line.amount):
            rows.append(row)
    return rows


#: What a number of a kind is made of: the name of the reading's own number, and whether it is squared.
MADE_OF = {
    "rms": ("residual", True),
    "sigma": ("sigma", True),
    "redundancy": ("redundancy", False),
    "standardised_rms": ("standardised", True),
}


def _told(laid: Laid, one: Counted, reading: Reading, what: str) -> Line:
    own, squared = MADE_OF[what]
    record = record_of(laid, reading)
    found = getattr(record, own) if record else None
    value = math.nan if found is None else float(found)
    of = reading_name(own, reading)
    if squared:
        unit = "1" if own == "standardised" else _unit(reading)
        return Line(f"square of it: {one.words}", value * value, of, value, value, unit)
    return Line(one.words, value, of)


def _of_kind(laid: Laid, kind: str, what: str, part: str) -> Sum | None:
    base = pointer("survey", "residuals", kind, what)[1:]
    if what != "count" and what not in MADE_OF:
        return None
    counted = part.startswith("controlled") and what == "standardised_rms"
    rows = kept_rows(laid, base, lambda: _rows(laid, kind, what))
    if counted:
        rows = [Row(row.way, Line(row.line.words, 1.0, row.line.of)) for row in rows]
        base, part = f"{base}#controlled", part.partition("#")[2]
    squared = what in MADE_OF and MADE_OF[what][1] and not counted
    root_unit = "1" if what == "standardised_rms" else UNIT[kind]
    unit = ("1" if root_unit == "1" else f"{root_unit}2") if squared else "1"
    if part:
        way = way_of(part)
        return of_rows(base, unit, rows, way, f"{kind}: {what}, the rows of this group") if way else None
    if not rows:
        return None
    total = math.fsum(row.line.amount for row in rows)
    if not squared:
        how = (
            "readings that count"
            if what == "count"
            else "those that others control"
            if counted
            else "sum over readings"
        )
        return Sum(base, "1", total, grouped(base, rows), f"{how}{laid.left_out}")
    whole = f"{base}#controlled" if what == "standardised_rms" else pointer("survey", "residuals", kind, "count")[1:]
    count = Line("number of readings", float(len(rows)), whole)
    how = f"root of the mean square over the readings that count{laid.left_out}"
    return Sum(base, root_unit, math.sqrt(total / len(rows)), (*grouped(base, rows), count), how, _mean_root)
