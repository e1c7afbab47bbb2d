"""Why the survey frame lies as it does in the girder frame, and the stations' poses in it.

The survey frame has up along the plumb line where stations are levelled: up is where the weighted leans of the
stations' axes vanish, each against the plumb line of its own place. Of all frames with that up it is the one
that is nearest the girder's, so its rotation is made of two numbers, and its origin is the girder's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from monochord.ground.trace import Line, Sum, pointer
from monochord.survey.network import Array
from monochord.survey.unfold_gain import Laid
from monochord.survey.unfold_stations import XYZ, part_of_station

POSE = ("survey", "pose")


def _pose(*keys: str | int) -> str:
    return pointer(*POSE, *keys)[1:]


def _up(k: int) -> str:
    return f"{_pose()}#up {k}"


def tilted(up_x: float, up_z: float) -> Array:
    """The rotation (3, 3) about a level axis that takes (0, 1, 0) to (up_x, ., up_z), by less than a right angle.

    >>> bool(np.allclose(tilted(0.6, 0.0), [[0.8, 0.6, 0.0], [-0.6, 0.8, 0.0], [0.0, 0.0, 1.0]]))
    True
    """
    up_y = math.sqrt(max(1.0 - up_x**2 - up_z**2, 0.0))
    x, z, mixed = up_x**2 / (1.0 + up_y), up_z**2 / (1.0 + up_y), -up_x * up_z / (1.0 + up_y)
    return np.array([[1.0 - x, up_x, mixed], [-up_x, up_y, -up_z], [mixed, up_z, 1.0 - z]])


def tell_poses(laid: Laid, keys: tuple[str, ...], part: str) -> Sum | None:
    """``survey/pose/...`` and ``stations/<name>/pose/...``: entries of rotations, and shifts [m]."""
    if keys[:2] == POSE:
        return _survey_pose(laid, keys[2:], part)
    station = laid.station(keys[1]) if len(keys) > 3 and keys[0] == "stations" and keys[2] == "pose" else None
    axes = [int(k) for k in keys[4:] if k in ("0", "1", "2")]
    if (
        station is None
        or part
        or len(axes) != {"rotation": 2, "shift": 1}.get(keys[3], -1)
        or len(keys) - 4 != len(axes)
    ):
        return None
    name = pointer(*keys)[1:]
    return (
        _station_rotation(laid, station, axes, name) if len(axes) == 2 else _station_shift(laid, station, axes[0], name)
    )


def _turned_back(laid: Laid, axis: int) -> list[Line]:
    column = laid.points.pose.rotation[:, axis]
    return [Line(f"survey frame, entry {k}, {axis}", float(column[k]), _pose("rotation", k, axis)) for k in range(3)]


def _station_rotation(laid: Laid, station: int, axes: list[int], name: str) -> Sum:
    i, j = axes
    here = laid.points.stations[station]
    entries = laid.state.rotation[station][:, j]
    lines = [
        *_turned_back(laid, i),
        *(
            Line(
                f"axes in the girder frame, entry {k}, {j}",
                float(entries[k]),
                part_of_station(here.name, f"rotation {k} {j}"),
            )
            for k in range(3)
        ),
    ]
    how = "the station's axes in the girder frame, seen in the survey frame: three products"
    return Sum(name, "1", float(here.pose.rotation[i, j]), tuple(lines), how, _products)


def _products(values: Sequence[float]) -> float:
    return math.fsum(values[k] * values[3 + k] for k in range(3))


def _station_shift(laid: Laid, station: int, axis: int, name: str) -> Sum:
    here, position, origin = laid.points.stations[station], laid.state.position[station], laid.points.pose.shift
    lines = [
        *_turned_back(laid, axis),
        *(
            Line(f"place in the girder frame, {XYZ[k]}", float(position[k]), part_of_station(here.name, f"shift {k}"))
            for k in range(3)
        ),
        *(Line(f"origin of the survey frame, {XYZ[k]}", float(origin[k]), _pose("shift", k)) for k in range(3)),
    ]

    def made(values: Sequence[float]) -> float:
        return math.fsum(values[k] * (values[3 + k] - values[6 + k]) for k in range(3))

    how = "the station's place in the girder frame, less the origin, seen in the survey frame: three products"
    return Sum(name, "m", float(here.pose.shift[axis]), tuple(lines), how, made)


def _survey_pose(laid: Laid, keys: tuple[str, ...], part: str) -> Sum | None:
    axes = [int(k) for k in keys[1:] if k in ("0", "1", "2")]
    if not part and len(keys) == 3 and keys[0] == "rotation" and len(axes) == 2:
        return _rotation(laid, axes[0], axes[1])
    if not part and len(keys) == 2 and keys[0] == "shift" and len(axes) == 1:
        return _shift(laid, axes[0])
    what, _, axis = part.rpartition(" ")
    if keys or axis not in ("0", "1", "2"):
        return _heading(laid) if part == "heading" and not keys else None
    known = {"up": up_sum, "mean up": _mean_up, "origin": _origin}
    return known[what](laid, int(axis)) if what in known else None


def _rotation(laid: Laid, i: int, j: int) -> Sum:
    up = laid.points.pose.rotation[:, 1]
    lines = tuple(Line(f"up in the girder frame, {XYZ[k]}", float(up[k]), _up(k)) for k in (0, 2))
    how = "the rotation about a level axis that takes the girder's y to up: no heading of its own"
    value = float(laid.points.pose.rotation[i, j])
    return Sum(_pose("rotation", i, j), "1", value, lines, how, lambda up_xz: float(tilted(up_xz[0], up_xz[1])[i, j]))


def _shift(laid: Laid, axis: int) -> Sum:
    origin, value = float(laid.frame.shift[axis]), float(laid.points.pose.shift[axis])
    of = f"{_pose()}#origin {axis}"
    lines = (
        Line("origin of the frame in which all was adjusted", origin, of),
        Line(
            "taken back, so that the survey frame begins at the girder's origin", value - origin, of, -1.0, origin, "m"
        ),
    )
    return Sum(
        _pose("shift", axis), "m", value, lines, "nothing but rounding: the two frames have one origin by choice"
    )


def up_sum(laid: Laid, axis: int) -> Sum:
    """Up of the survey frame in the girder frame, one component."""
    value = float(laid.points.pose.rotation[axis, 1])
    if not (laid.cleaned.solution.weights.levels > 0.0).any():
        return _chosen_up(laid, axis, value)
    mean = mean_up(laid)
    lines = tuple(Line(f"mean upright axis, {XYZ[k]}", float(mean[k]), f"{_pose()}#mean up {k}") for k in range(3))
    how = "direction of the stations' mean upright axis, each less the lean of the plumb line at its place"
    return Sum(_up(axis), "1", value, lines, how, lambda v: v[axis] / math.hypot(*v))


def _parts(laid: Laid) -> Array:
    weights = laid.cleaned.solution.weights.levels
    shares: Array = weights / weights.sum()
    return shares


def mean_up(laid: Laid) -> Array:
    """Weighted mean (3,) of the stations' upright axes, each less the lean of the plumb line where it stands."""
    away = (laid.state.position - laid.frame.shift) / laid.settings.earth_radius
    mean: Array = _parts(laid) @ (laid.state.rotation[:, :, 2] - away)
    return mean


def _mean_up(laid: Laid, axis: int) -> Sum | None:
    if not (laid.cleaned.solution.weights.levels > 0.0).any():
        return None
    radius, lines = laid.settings.earth_radius, []
    for station, part in enumerate(_parts(laid).tolist()):
        if part > 0.0:
            name = laid.cleaned.survey.network.stations[station]
            upright, place = float(laid.state.rotation[station, axis, 2]), float(laid.state.position[station, axis])
            of = part_of_station(name, f"rotation {axis} 2")
            lines.append(Line(f"upright axis of {name}, {XYZ[axis]}", part * upright, of, part, upright, "1"))
            words, of = f"plumb line at {name}, {XYZ[axis]}", part_of_station(name, f"shift {axis}")
            lines.append(Line(words, -part / radius * place, of, -part / radius, place, "m"))
    origin = float(laid.frame.shift[axis])
    of = f"{_pose()}#origin {axis}"
    lines.append(Line("plumb line at the origin", origin / radius, of, 1.0 / radius, origin, "m"))
    how = "levels say that the stations' upright axes lean nowhere on the mean; plumb lines lean apart by place over earth radius"
    return Sum(f"{_pose()}#mean up {axis}", "1", float(mean_up(laid)[axis]), tuple(lines), how)


def _first(laid: Laid) -> int:
    """The station with most sightings."""
    return int(np.argmax([station.sightings for station in laid.points.stations]))


def _chosen_up(laid: Laid, axis: int, value: float) -> Sum:
    station = _first(laid)
    name, axes = laid.cleaned.survey.network.stations[station], laid.state.rotation[station]
    chosen = axes.T @ laid.points.pose.rotation[:, 1]
    lines = [
        *(
            Line(f"axes of {name}", float(axes[axis, k]), part_of_station(name, f"rotation {axis} {k}"))
            for k in range(3)
        ),
        *(
            Line(f"up in the axes of {name}, {XYZ[k]}", float(chosen[k]), places=(laid.first_place(station),))
            for k in range(3)
        ),
    ]
    how = "no station is levelled: up is chosen as its first stations stood when the adjustment began, and nothing else rests on it"
    return Sum(_up(axis), "1", value, tuple(lines), how, _products)


def _origin(laid: Laid, axis: int) -> Sum:
    names, place = laid.cleaned.survey.network.stations, laid.state.position[:, axis]
    count = len(names)
    lines = [
        Line(f"{n}, {XYZ[axis]}", float(p) / count, part_of_station(n, f"shift {axis}"), 1.0 / count, float(p), "m")
        for n, p in zip(names, place, strict=True)
    ]
    begun = -float((laid.frame.rotation @ laid.cleaned.solution.state.position.mean(axis=0))[axis])
    words = "middle of the stations, from the first of them, as its sightings gave it when the adjustment began"
    lines.append(Line(words, begun, places=(laid.first_place(_first(laid)),)))
    how = "where the frame of the adjustment begins: a choice; it decides only from where plumb lines are told"
    return Sum(f"{_pose()}#origin {axis}", "m", float(laid.frame.shift[axis]), tuple(lines), how)


def heading_of_frame(laid: Laid) -> float:
    """How the frame of the adjustment is turned about up against the survey frame [rad]."""
    turn = laid.move.rotation
    return math.atan2(turn[0, 2], turn[2, 2])


def _heading(laid: Laid) -> Sum:
    place = laid.first_place(_first(laid))
    words = "heading at which the adjustment began: that of its first station"
    line = Line(words, heading_of_frame(laid), places=(place,))
    how = "a choice that is taken back at the end; leans of stations are written along these axes"
    return Sum(f"{_pose()}#heading", "rad", heading_of_frame(laid), (line,), how)
