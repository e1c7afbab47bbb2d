"""Why one reading's residual, or a lean, is what it is, plain and standardised.

Names, behind ``survey#``: what, then ``17 direction`` (row of the survey, kind) or ``level 0 x`` (station, axis).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from monochord.campaign.found.points import Residual
from monochord.ground.trace import Line, Sum, pointer
from monochord.survey.model import KINDS, UNITS, read
from monochord.survey.unfold_gain import ACROSS, Laid
from monochord.survey.unfold_poses import heading_of_frame
from monochord.survey.unfold_stations import XYZ, part_of_station
from monochord.survey.unfold_weights import Reading, reading_name, record_of, tell_weight


def _parsed(laid: Laid, part: str) -> tuple[str, Reading] | None:
    what, _, rest = part.partition(" ")
    first, _, last = rest.partition(" ")
    stations, rows = len(laid.cleaned.survey.network.stations), len(laid.cleaned.survey.network.sightings)
    if first == "level":
        number, _, axis = last.partition(" ")
        known = number.isdecimal() and int(number) < stations and axis in ACROSS
        return (what, (-1 - int(number), ACROSS.index(axis))) if known else None
    known = first.isdecimal() and int(first) < rows and last in KINDS
    return (what, (int(first), KINDS.index(last))) if known else None


def tell_readings(laid: Laid, keys: tuple[str, ...], part: str) -> Sum | None:
    """``survey#residual ...``, ``sigma``, ``redundancy``, ``standardised``, ``followed`` of one reading or lean."""
    part, _, path = part.partition("#")
    parsed = _parsed(laid, part) if keys == ("survey",) else None
    if parsed is None:
        return None
    what, reading = parsed
    if what == "residual" and not path:
        return _residual(laid, reading) if reading[0] >= 0 else _lean(laid, reading)
    record = record_of(laid, reading)
    if what == "standardised" and not path:
        return _standardised(reading, record) if record and record.standardised is not None else None
    return tell_weight(laid, what, reading, record, path) if record else None


def _residual(laid: Laid, reading: Reading) -> Sum | None:
    network, (row, kind) = laid.cleaned.survey.network, reading
    value = float(network.values[row, kind])
    if not math.isfinite(value):
        return None
    pair = int(network.pair[row])
    station, target = int(network.pair_station[pair]), int(network.pair_target[pair])
    here, to = network.stations[station], network.targets[target]
    axes, position, point = laid.state.rotation[station], laid.state.position[station], laid.state.points[target]
    lines = (
        Line(f"read: {laid.words(row, kind)}", value, places=(laid.place(row, kind),)),
        *(Line(f"{to}, {XYZ[k]}", float(point[k]), pointer("targets", to, "xyz", k)[1:]) for k in range(3)),
        *(Line(f"{here}, {XYZ[k]}", float(position[k]), part_of_station(here, f"shift {k}")) for k in range(3)),
        *(
            Line(f"axes of {here}, {i}, {j}", float(axes[i, j]), part_of_station(here, f"rotation {i} {j}"))
            for i in range(3)
            for j in range(3)
        ),
    )

    def made(v: Sequence[float]) -> float:
        there = np.array(v[7:]).reshape(3, 3).T @ (np.array(v[1:4]) - np.array(v[4:7]))
        apart = v[0] - float(read(there[None])[0][0, kind])
        return math.remainder(apart, 2.0 * math.pi) if kind == 0 else apart

    how = f"read, less what the station where it was found would read to the target where it was found{_folded(laid, row)}"
    residual = float(laid.cleaned.solution.residual[row, kind])
    return Sum(reading_name("residual", reading), UNITS[kind], residual, lines, how, made)


def _folded(laid: Laid, row: int) -> str:
    given = laid.cleaned.survey.network.sightings[row].zenith
    return "; read in the second face and turned into the first" if given is not None and given > math.pi else ""


def _lean(laid: Laid, reading: Reading) -> Sum:
    station, axis = -1 - reading[0], 2 * reading[1]
    here, radius = laid.cleaned.survey.network.stations[station], laid.settings.earth_radius
    up, position, origin = laid.state.rotation[station][:, 2], laid.state.position[station], laid.frame.shift
    frame = laid.points.pose.rotation
    lines = (
        Line("heading of the frame of the adjustment", heading_of_frame(laid), "survey/pose#heading"),
        *(
            Line(f"survey frame, entry {i}, {j}", float(frame[i, j]), pointer("survey", "pose", "rotation", i, j)[1:])
            for i in range(3)
            for j in range(3)
        ),
        *(
            Line(f"upright axis of {here}, {XYZ[k]}", float(up[k]), part_of_station(here, f"rotation {k} 2"))
            for k in range(3)
        ),
        *(Line(f"{here}, {XYZ[k]}", float(position[k]), part_of_station(here, f"shift {k}")) for k in range(3)),
        *(Line(f"origin of that frame, {XYZ[k]}", float(origin[k]), f"survey/pose#origin {k}") for k in range(3)),
    )

    def made(v: Sequence[float]) -> float:
        cosine, sine = math.cos(v[0]), math.sin(v[0])
        heading = np.array([[cosine, 0.0, sine], [0.0, 1.0, 0.0], [-sine, 0.0, cosine]])
        along = (np.array(v[1:10]).reshape(3, 3) @ heading)[:, axis]
        return float(along @ ((np.array(v[13:16]) - np.array(v[16:19])) / radius - np.array(v[10:13])))

    how = "the level says that the station stands along the plumb line of its place: no lean, less the lean that was found"
    value = -float(laid.cleaned.solution.lean[station, reading[1]])
    return Sum(reading_name("residual", reading), "rad", value, lines, how, made)


def _standardised(reading: Reading, record: Residual) -> Sum:
    lines = (
        Line("residual", record.residual, reading_name("residual", reading)),
        Line("standard deviation of the reading", record.sigma, reading_name("sigma", reading)),
        Line("redundancy", record.redundancy, reading_name("redundancy", reading)),
    )
    value = record.standardised if record.standardised is not None else math.nan
    how = "residual over its own standard deviation, which is that of the reading times the root of its redundancy"
    name = reading_name("standardised", reading)
    return Sum(name, "1", value, lines, how, lambda v: v[0] / (v[1] * math.sqrt(v[2])))
