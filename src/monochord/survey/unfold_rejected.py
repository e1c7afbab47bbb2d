"""Why a sighting that was left out is said to be wrong by so much: its readings less what all the others expect."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from monochord.ground.trace import Line, Sum, pointer
from monochord.survey.findings import left_out_pairs
from monochord.survey.model import KINDS, UNITS
from monochord.survey.network import Array, Ints
from monochord.survey.unfold_gain import Laid
from monochord.survey.unfold_weights import reading_name, reading_words


def _rows(laid: Laid, i: int) -> Ints | None:
    """Rows of the i-th left-out sighting, None when it is no sighting but a level."""
    pairs = left_out_pairs(laid.cleaned.survey.network, laid.cleaned.survey.out)
    return pairs[i][1] if i < len(pairs) else None


def _level(laid: Laid, i: int) -> int | None:
    """The station of the i-th thing left out, when that is a level."""
    pairs = left_out_pairs(laid.cleaned.survey.network, laid.cleaned.survey.out)
    levels = np.flatnonzero(laid.cleaned.survey.level_out).tolist()
    return levels[i - len(pairs)] if len(pairs) <= i < len(pairs) + len(levels) else None


def tell_rejected(laid: Laid, keys: tuple[str, ...], part: str) -> Sum | None:
    """``rejected/<i>/size`` [rad or m], and behind ``#`` the mean error of one kind of reading."""
    if len(keys) != 3 or keys[0] != "rejected" or keys[2] != "size" or not keys[1].isdecimal():
        return None
    i, base = int(keys[1]), pointer(*keys)[1:]
    station = _level(laid, i)
    if station is not None:
        return _leaning(laid, station, i, base) if not part else None
    rows = _rows(laid, i)
    if rows is None or i >= len(laid.points.rejected):
        return None
    if part:
        read = part in KINDS and bool(np.isfinite(laid.cleaned.survey.network.values[rows, KINDS.index(part)]).any())
        return _mean(laid, rows, KINDS.index(part), f"{base}#{part}", None) if read else None
    record = laid.points.rejected[i]
    if record.kind in KINDS:
        return _mean(laid, rows, KINDS.index(record.kind), base, record.size)
    return _whole(laid, rows, i, base)


def _errors(laid: Laid, rows: Ints, kind: int) -> list[tuple[int, float]]:
    network, residual = laid.cleaned.survey.network, laid.cleaned.solution.residual
    return [(row, float(residual[row, kind])) for row in rows.tolist() if math.isfinite(network.values[row, kind])]


def _mean(laid: Laid, rows: Ints, kind: int, name: str, size: float | None) -> Sum:
    found = _errors(laid, rows, kind)
    part = 1.0 / len(found)
    lines = tuple(
        Line(
            f"read less expected: {reading_words(laid, (row, kind))}",
            part * error,
            reading_name("residual", (row, kind)),
            part,
            error,
            UNITS[kind],
            (laid.place(row, kind),),
        )
        for row, error in found
    )
    value = math.fsum(error for _, error in found) / len(found) if size is None else size
    return Sum(name, UNITS[kind], value, lines, "mean of what was read less what all the other sightings expect")


def levers(laid: Laid, rows: Ints) -> Array:
    """How far (3,) a direction and a zenith angle [m/rad], and a distance, displace the target of a sighting."""
    sightings = [laid.cleaned.survey.network.sightings[row] for row in rows.tolist()]
    far = [s.distance for s in sightings if s.distance and math.isfinite(s.distance)]
    reach = math.fsum(far) / len(far) if far else 1.0
    return np.array([reach * abs(math.sin(sightings[0].zenith or math.pi / 2)), reach, 1.0])


def _whole(laid: Laid, rows: Ints, i: int, base: str) -> Sum:
    lines = []
    for kind, lever in enumerate(levers(laid, rows).tolist()):
        found = _errors(laid, rows, kind)
        if found:
            error = math.fsum(e for _, e in found) / len(found)
            words = f"{KINDS[kind]}, times how far that displaces the target"
            lines.append(Line(words, lever * error, f"{base}#{KINDS[kind]}", lever, error, UNITS[kind]))
    how = (
        "no single reading explains the error, so the whole sighting was left out with all three; its size is how far "
        "apart the target as sighted lies from where the others have it"
    )
    return Sum(base, "m", laid.points.rejected[i].size, tuple(lines), how, _length)


def _length(values: Sequence[float]) -> float:
    return math.sqrt(math.fsum(v * v for v in values))


def _leaning(laid: Laid, station: int, i: int, base: str) -> Sum:
    readings = [(-1 - station, axis) for axis in (0, 1)]
    lean = laid.cleaned.solution.lean[station]
    lines = tuple(
        Line(reading_words(laid, r), -float(lean[axis]), reading_name("residual", r)) for axis, r in enumerate(readings)
    )
    how = "lean of the station against what all other readings expect, both ways together"
    return Sum(base, "rad", laid.points.rejected[i].size, lines, how, _length)
