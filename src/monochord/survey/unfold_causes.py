"""Why the causes of the points' uncertainty are as large as they are: settings, and the noise of every reading."""

from __future__ import annotations

import math
from collections.abc import Sequence

from monochord.ground.estimate import kind_of
from monochord.ground.trace import Line, Sum, pointer
from monochord.survey.model import UNITS
from monochord.survey.network import Array
from monochord.survey.unfold_gain import Counted, Laid, zeros
from monochord.survey.unfold_rows import Row, grouped, kept_rows, of_rows, reading_rows, setting, way_of
from monochord.survey.unfold_weights import reading_name

#: Causes that are one setting squared: kind -> key, unit of the spread, words.
SETTINGS = {
    "mounting": ("u_mounting", "m2", "seat of the reflector, per axis"),
    "level": ("u_level", "rad2", "level of a station, per axis"),
    "range scale": ("u_scale", "1", "range scale of the occasion"),
}


def tell_causes(laid: Laid, keys: tuple[str, ...], part: str) -> Sum | None:
    """``cause/<id>/<i>/<j>``: entry i, j of the spread of a cause, its variables in the order of the network."""
    if len(keys) != 4 or keys[0] != "cause" or keys[1] not in laid.points.estimate.factors:
        return None
    spread = laid.points.estimate.factors[keys[1]].spread
    if not (keys[2].isdecimal() and keys[3].isdecimal() and max(int(keys[2]), int(keys[3])) < len(spread)):
        return None
    i, j, base, kind = int(keys[2]), int(keys[3]), pointer(*keys)[1:], kind_of(keys[1])
    if kind == "reading":
        return _reading(laid, (i, j), base, part, float(spread[i, j]))
    return _settled(laid, kind, i == j, base, float(spread[i, j])) if kind in SETTINGS and not part else None


def _settled(laid: Laid, kind: str, same: bool, base: str, value: float) -> Sum:
    key, unit, words = SETTINGS[kind]
    given = float(getattr(laid.instrument, key))
    together = 1.0 if same else 0.0
    places = setting(f"instrument.{key}")
    line = Line(words, together * given**2, "", together * given, given, places=places)
    how = "the setting, squared" if same else "the cause's variables do not depend on one another"
    return Sum(base, unit, value, (line,), how)


def coordinate_gains(laid: Laid, number: int) -> Array:
    """How coordinate ``number`` of the points follows each reading (m, 3), in inner constraints over those that decide."""
    stations, points = zeros(laid)
    points[number // 3, number % 3] = 1.0
    return laid.gains(stations, points, inner=True)[0]


def noise_rows(laid: Laid, i: int, j: int) -> list[Row]:
    """Each reading's part of the covariance of coordinates i and j: both gains times the variance of the reading."""
    a = coordinate_gains(laid, i)
    both = a * (a if i == j else coordinate_gains(laid, j))
    weights = laid.cleaned.solution.weights.readings

    def tell(r: Counted) -> Line:
        sigma = float(weights[r.row, r.kind]) ** -0.5
        factor, words = float(both[r.row, r.kind]) * sigma, f"both gains times the variance: {r.words}"
        return Line(
            words, factor * sigma, reading_name("sigma", (r.row, r.kind)), factor, sigma, UNITS[r.kind], r.places
        )

    return reading_rows(laid, tell)


def _reading(laid: Laid, entry: tuple[int, int], base: str, part: str, value: float) -> Sum | None:
    rows = kept_rows(laid, base, lambda: noise_rows(laid, *entry))
    names = laid.cleaned.survey.network.targets
    a, b = (f"{names[k // 3]}.{'xyz'[k % 3]}" for k in entry)
    how = f"noise of all readings in {a} and {b}: what each brings to both, times its variance{laid.left_out}"
    if part:
        way = way_of(part)
        return of_rows(base, "m2", rows, way, how) if way else None
    lines = grouped(base, rows)
    if laid.raised == 1.0:
        return Sum(base, "m2", value, lines, f"{how}; readings scatter no more than specified, so nothing was raised")
    raised = Line("variance factor: readings scatter beyond chance", laid.raised, "survey/variance_factor")
    return Sum(base, "m2", value, (raised, *lines), f"{how}, raised by the variance factor", _raised)


def _raised(values: Sequence[float]) -> float:
    return values[0] * math.fsum(values[1:])
