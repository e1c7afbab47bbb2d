"""Why a reading has its standard deviation and its redundancy: settings, and how far it follows every other reading."""

from __future__ import annotations

import math
from collections.abc import Sequence

from monochord.campaign.found.points import Residual
from monochord.ground.trace import Line, Place, Sum
from monochord.survey.model import KINDS, STEEPEST, readings_from
from monochord.survey.network import Array
from monochord.survey.unfold_gain import ACROSS, ANGLES, LEVEL, RANGES, Counted, Laid, zeros
from monochord.survey.unfold_rows import Row, grouped, kept_rows, level_rows, of_rows, reading_rows, way_of

#: A reading as (row, kind), or a lean as (-1 - station, axis).
Reading = tuple[int, int]


def reading_name(what: str, reading: Reading) -> str:
    """Name of a reading's number.

    >>> reading_name("residual", (17, 2)), reading_name("sigma", (-1, 1))
    ('survey#residual 17 distance', 'survey#sigma level 0 z')
    """
    row, kind = reading
    return f"survey#{what} {row} {KINDS[kind]}" if row >= 0 else f"survey#{what} level {-1 - row} {ACROSS[kind]}"


def record_of(laid: Laid, reading: Reading) -> Residual | None:
    """The record of a reading or lean that counts, None of one that does not."""
    rows, levels = laid.readings
    row, kind = reading
    return rows.get(reading) if row >= 0 else levels.get((-1 - row, kind))


def reading_words(laid: Laid, reading: Reading) -> str:
    """The reading in words."""
    row, kind = reading
    return laid.words(row, kind) if row >= 0 else laid.level_words(-1 - row, kind)


def tell_weight(laid: Laid, what: str, reading: Reading, record: Residual, path: str) -> Sum | None:
    """``sigma``, ``redundancy`` or ``followed`` of a reading that counts; of the last also the rows behind a path."""
    if what == "followed":
        return _followed(laid, reading, path)
    if path:
        return None
    if what == "sigma":
        return _sigma(laid, reading, record)
    return _redundancy(laid, reading, record) if what == "redundancy" else None


def _sigma(laid: Laid, reading: Reading, record: Residual) -> Sum:
    row, kind = reading
    name, tracker = reading_name("sigma", reading), laid.instrument
    if row < 0:
        line = Line("how well a station is levelled", record.sigma, places=(LEVEL,))
        return Sum(name, "rad", record.sigma, (line,), "standard deviation of a lean as the instrument has it")
    zenith, distance = _weighed_at(laid, row)
    angle = Line("across the line of sight", tracker.u_angle, places=ANGLES)
    if kind == 0:
        words = "zenith angle as the adjustment began"
        lines: tuple[Line, ...] = (angle, Line(words, zenith, places=(laid.place(row, 1),)))
        how = "standard deviation across the line of sight, over the sine of the zenith angle"
        return Sum(name, "rad", record.sigma, lines, how, lambda v: v[0] / max(abs(math.sin(v[1])), STEEPEST))
    if kind == 1:
        return Sum(name, "rad", record.sigma, (angle,), "standard deviation across the line of sight")
    lines = (
        Line("constant part", tracker.u_range, places=RANGES[:1]),
        Line("part of the distance", tracker.u_range_ratio, places=RANGES[1:2]),
        Line("distance as the adjustment began", distance, places=(laid.place(row, 2),)),
    )
    plain = tracker.range_sum == "plain"
    how = f"constant and part of the distance, {'added' if plain else 'root of the sum of squares'} as the setting says"

    def made(v: Sequence[float]) -> float:
        return v[0] + v[1] * v[2] if plain else math.hypot(v[0], v[1] * v[2])

    return Sum(name, "m", record.sigma, lines, how, made)


def _weighed_at(laid: Laid, row: int) -> tuple[float, float]:
    """Zenith angle [rad] and distance [m] with which a sighting was weighed."""
    network = laid.cleaned.survey.network
    at, pair = laid.cleaned.solution.weights.at or laid.cleaned.solution.state, int(network.pair[row])
    s, t = int(network.pair_station[pair]), int(network.pair_target[pair])
    values, _, _ = readings_from(at.position[s][None], at.rotation[s][None], at.points[t][None])
    return float(values[0, 1]), float(values[0, 2])


def _followers(laid: Laid, reading: Reading) -> tuple[Array, Array]:
    """How the adjusted reading follows every reading (m, 3) and level (S, 2)."""
    stations, points = zeros(laid)
    network, solution, (row, kind) = laid.cleaned.survey.network, laid.cleaned.solution, reading
    if row < 0:
        stations[-1 - row, 3:] = solution.by_turn[-1 - row, kind]
        return laid.free_gains(stations, points)
    pair = int(network.pair[row])
    stations[network.pair_station[pair]] = solution.by_station[pair, kind]
    points[network.pair_target[pair]] = solution.by_point[pair, kind]
    return laid.free_gains(stations, points)


def followed(laid: Laid, reading: Reading) -> float:
    """How much of an error of a reading the adjusted reading follows: 1 minus its redundancy."""
    row, kind = reading
    gains = _followers(laid, reading)
    return float(gains[0][row, kind] if row >= 0 else gains[1][-1 - row, kind])


def _redundancy(laid: Laid, reading: Reading, record: Residual) -> Sum:
    part = followed(laid, reading)
    lines = (
        Line("the whole reading", 1.0, places=_place(laid, reading)),
        Line(
            "part of its error that the adjusted reading follows",
            -part,
            reading_name("followed", reading),
            -1.0,
            part,
            "1",
        ),
    )
    how = "the part of an error of this reading that stays in its residual, between 0 and 1"
    name = reading_name("redundancy", reading)
    return Sum(name, "1", record.redundancy, lines, how, lambda v: min(max(math.fsum(v), 0.0), 1.0))


def _place(laid: Laid, reading: Reading) -> tuple[Place, ...]:
    return (laid.place(*reading),) if reading[0] >= 0 else (LEVEL,)


def _follower_rows(laid: Laid, gains: tuple[Array, Array], weight: float) -> list[Row]:
    """What each reading brings to the variance of an adjusted one, over the variance of the reading itself."""
    weights = laid.cleaned.solution.weights

    def one(gain: float, own: float, other: Counted) -> Line:
        return Line(other.words, float(gain) ** 2 * weight / own, places=other.places)

    return [
        *reading_rows(laid, lambda r: one(gains[0][r.row, r.kind], float(weights.readings[r.row, r.kind]), r)),
        *level_rows(laid, lambda r: one(gains[1][r.row, r.kind], float(weights.levels[r.row]), r)),
    ]


def _followed(laid: Laid, reading: Reading, path: str) -> Sum | None:
    """Cofactor of the adjusted reading over the reading's own variance, from all readings: sum (g_i sigma_i)^2 / sigma^2."""
    row, kind = reading
    weights = laid.cleaned.solution.weights
    weight = float(weights.readings[row, kind]) if row >= 0 else float(weights.levels[-1 - row])
    gains, base = _followers(laid, reading), reading_name("followed", reading)
    rows = kept_rows(laid, base, lambda: _follower_rows(laid, gains, weight))
    how = (
        "variance of the adjusted reading over that of the reading itself: how far the adjusted reading follows each "
        "reading, squared, times the variance of that reading"
    )
    if path:
        way = way_of(path)
        return of_rows(base, "1", rows, way, how) if way else None
    own = gains[0][row, kind] if row >= 0 else gains[1][-1 - row, kind]
    return Sum(base, "1", float(own), grouped(base, rows), how)
