"""Why a station stands where it does, in the girder frame and in the survey frame.

In the girder frame a station's place is told from the origin. Its axes are told from an upright station with the
heading that one sighting gives, R = exp([w]x) R_0, and each w_k is a sum over readings: with the exact derivative
of the rotation vector, J^-1(w) G, whose sum is w itself because J(w) w = w.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from monochord.ground.frames import cross_matrix, rotation_from_vector
from monochord.ground.trace import Line, Sum, pointer
from monochord.survey.model import UPRIGHT, turned
from monochord.survey.network import Array
from monochord.survey.unfold_gain import Laid, zeros
from monochord.survey.unfold_rows import Row, grouped, kept_rows, of_rows, pulls, way_of

XYZ = "xyz"
#: How rows make a place or a turn of a station.
PULL = (
    "each reading brings its gain times what it says of the departure: its residual, and how much it would read less "
    "were the station moved back; the gain is how the number follows the reading in the adjustment of all stations, "
    "laid onto the nominal places of the girder's targets"
)


def upright(heading: float) -> Array:
    """Axes (3, 3) of an upright station whose direction 0 points so far from z towards x [rad].

    >>> upright(0.0).tolist() == UPRIGHT.tolist()
    True
    """
    axes: Array = turned(UPRIGHT[None], np.array([[0.0, heading, 0.0]]))[0]
    return axes


def rotation_vector(rotation: Array) -> Array:
    """The vector (3,) [rad] whose rotation is the given one (3, 3), angles below pi.

    >>> rotation_vector(rotation_from_vector(np.array([0.1, 0.0, -0.2]))).round(12).tolist()
    [0.1, 0.0, -0.2]
    """
    skew = np.array([rotation[2, 1] - rotation[1, 2], rotation[0, 2] - rotation[2, 0], rotation[1, 0] - rotation[0, 1]])
    sine, cosine = float(np.linalg.norm(skew)) / 2.0, float(np.trace(rotation) - 1.0) / 2.0
    vector: Array = skew / 2.0 * (math.atan2(sine, cosine) / sine if sine > 1e-12 else 1.0)
    return vector


def by_small_turn(vector: Array) -> Array:
    """How a rotation vector w (3,) follows a further small turn of the frame: J^-1(w) (3, 3).

    1 - [w]x / 2 + (1 - (a/2) cot(a/2)) [w]x^2 / a^2, a = |w|

    >>> by_small_turn(np.zeros(3)).tolist() == np.eye(3).tolist()
    True
    """
    angle, k = float(np.linalg.norm(vector)), cross_matrix(vector)
    second = 1.0 / 12.0 if angle < 1e-4 else (1.0 - angle / 2.0 / math.tan(angle / 2.0)) / angle**2
    inverse: Array = np.eye(3) - k / 2.0 + second * (k @ k)
    return inverse


def heading_row(laid: Laid, station: int) -> int:
    """The sighting of a station that gives its heading: the one that reaches farthest across."""
    network = laid.cleaned.survey.network
    across = laid.state.points[network.pair_target] - laid.state.position[network.pair_station]
    reach = np.hypot(across[:, 0], across[:, 2])[network.pair]
    own = network.pair_station[network.pair] == station
    counts = laid.cleaned.solution.weights.readings[:, 0] > 0.0
    if not (own & counts).any():
        counts = np.isfinite(network.values[:, 0])
    return int(np.argmax(np.where(own & counts, reach, -1.0)))


def heading_of(values: Sequence[float]) -> float:
    """Heading [rad] from target x, z and station x, z [m], and the direction read [rad].

    >>> heading_of([0.0, 2.0, 0.0, 0.0, 0.5])
    -0.5
    """
    return math.atan2(values[0] - values[2], values[1] - values[3]) - values[4]


def _heading_lines(laid: Laid, station: int) -> tuple[Line, ...]:
    network, row = laid.cleaned.survey.network, heading_row(laid, station)
    target = int(network.pair_target[network.pair[row]])
    point, position = laid.state.points[target], laid.state.position[station]
    to, here = network.targets[target], network.stations[station]
    read = float(network.values[row, 0])
    return (
        *(Line(f"{to}, {XYZ[k]}", float(point[k]), pointer("targets", to, "xyz", k)[1:]) for k in (0, 2)),
        *(Line(f"{here}, {XYZ[k]}", float(position[k]), part_of_station(here, f"shift {k}")) for k in (0, 2)),
        Line(laid.words(row, 0), read, places=(laid.place(row, 0),)),
    )


def part_of_station(name: str, part: str) -> str:
    """Name of a station's number in the girder frame.

    >>> part_of_station("S1", "shift 0")
    'stations/S1#girder shift 0'
    """
    return f"{pointer('stations', name)[1:]}#girder {part}"


def heading(laid: Laid, station: int) -> float:
    """Heading from which a station's axes are told [rad]."""
    return heading_of([line.amount for line in _heading_lines(laid, station)])


def station_turn(laid: Laid, station: int) -> Array:
    """Rotation vector (3,) of a station's axes from the upright ones of its heading [rad]."""
    return rotation_vector(laid.state.rotation[station] @ upright(heading(laid, station)).T)


def shift_rows(laid: Laid, station: int, axis: int) -> list[Row]:
    """Pulls of all readings on one coordinate of a station, from the origin of the girder frame."""
    form, points = zeros(laid)
    form[station, axis] = 1.0
    gains = laid.gains(form, points)
    departure, _ = zeros(laid)
    departure[station, :3] = laid.state.position[station]
    return pulls(laid, gains, laid.said(departure, points))


def turn_rows(laid: Laid, station: int, axis: int) -> list[Row]:
    """Pulls of all readings on one component of a station's turn."""
    vector = station_turn(laid, station)
    form, points = zeros(laid)
    form[station, 3:] = by_small_turn(vector)[axis]
    gains = laid.gains(form, points)
    departure, _ = zeros(laid)
    departure[station, 3:] = vector
    return pulls(laid, gains, laid.said(departure, points))


def _rotation(laid: Laid, station: int, i: int, j: int, name: str) -> Sum:
    here = laid.cleaned.survey.network.stations[station]
    turn = station_turn(laid, station)
    lines = (
        *(Line(f"turn about {XYZ[k]}", float(turn[k]), part_of_station(here, f"turn {k}")) for k in range(3)),
        Line("heading that one sighting gives", heading(laid, station), part_of_station(here, "heading")),
    )

    def made(values: Sequence[float]) -> float:
        return float((rotation_from_vector(np.array(values[:3])) @ upright(values[3]))[i, j])

    how = "axes of an upright station with the heading of one sighting, turned by what all readings and levels say"
    return Sum(name, "1", float(laid.state.rotation[station, i, j]), lines, how, made)


def tell_in_girder(laid: Laid, keys: tuple[str, ...], part: str) -> Sum | None:
    """``stations/<name>#girder shift k`` [m], ``turn k``, ``heading`` [rad], ``rotation i j``, and rows of the first two."""
    station = laid.station(keys[1]) if len(keys) == 2 and keys[0] == "stations" else None
    if station is None or not part.startswith("girder "):
        return None
    stem, _, path = part[len("girder ") :].partition("#")
    what, *numbers = stem.split(" ")
    axes = [int(k) for k in numbers if k in ("0", "1", "2")]
    name = part_of_station(keys[1], stem)
    if len(axes) != len(numbers) or len(axes) != {"shift": 1, "turn": 1, "heading": 0, "rotation": 2}.get(what, -1):
        return None
    if len(axes) == 1:
        return _by_rows(laid, station, what, axes[0], path)
    if path:
        return None
    return _rotation(laid, station, axes[0], axes[1], name) if axes else _heading(laid, station, name)


def _heading(laid: Laid, station: int, name: str) -> Sum:
    how = "heading of the station as one of its sightings gives it; any other would do, the turns follow"
    return Sum(name, "rad", heading(laid, station), _heading_lines(laid, station), how, heading_of)


def _by_rows(laid: Laid, station: int, what: str, axis: int, path: str) -> Sum | None:
    """A component of a station's place or turn, or a group of the rows behind it."""
    name = part_of_station(laid.cleaned.survey.network.stations[station], f"{what} {axis}")
    placed, way = what == "shift", way_of(path)
    make, unit = (shift_rows, "m") if placed else (turn_rows, "rad")
    rows = kept_rows(laid, name, lambda: make(laid, station, axis))
    if path:
        return of_rows(name, unit, rows, way, PULL + laid.left_out) if way else None
    value = laid.state.position[station, axis] if placed else station_turn(laid, station)[axis]
    begin = "from the origin of the girder frame" if placed else "from the upright axes of its heading"
    return Sum(name, unit, float(value), grouped(name, rows), f"{begin}; {PULL}{laid.left_out}")
