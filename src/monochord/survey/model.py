"""What a tracker reads: each reading is one function of where the target lies, with its gradient.

A station's own axes are x and y level, z up; the direction is counted from its x towards its y,
counter-clockwise seen from above. The survey frame has the axes of the girder frame, y up, so that
an upright station with heading 0 has its x along the survey's z and its y along the survey's x.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.survey import Instrument

Array = NDArray[np.float64]

#: Rotation from the axes of an upright station with heading 0 (z up) to those of the survey frame (y up).
UPRIGHT: Array = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]])

#: Kinds of reading in the order of every (..., 3) array of readings, and the SI unit of each.
KINDS: tuple[str, str, str] = ("direction", "zenith angle", "distance")
UNITS: tuple[str, str, str] = ("rad", "rad", "m")

#: Steeper sights than this sine of the zenith angle say next to nothing about the direction.
STEEPEST = 1e-3


def direction(u: Array) -> tuple[Array, Array]:
    """Direction to a target at u (n, 3) in the station's axes [m]: atan2(u_y, u_x) [rad], and d/du (n, 3).

    >>> float(direction(np.array([[0.0, 2.0, 1.0]]))[0][0].round(6))
    1.570796
    """
    flat = np.maximum(u[:, 0] ** 2 + u[:, 1] ** 2, 1e-24)
    gradient = np.stack([-u[:, 1] / flat, u[:, 0] / flat, np.zeros(len(u))], axis=1)
    return np.arctan2(u[:, 1], u[:, 0]), gradient


def zenith(u: Array) -> tuple[Array, Array]:
    """Zenith angle of a target at u (n, 3) [m]: atan2(|u_xy|, u_z), 0 straight up [rad], and d/du (n, 3).

    >>> float(zenith(np.array([[3.0, 4.0, 5.0]]))[0][0].round(6))
    0.785398
    """
    flat = np.maximum(np.hypot(u[:, 0], u[:, 1]), 1e-12)
    square = flat**2 + u[:, 2] ** 2
    steep = u[:, 2] / (flat * square)
    gradient = np.stack([u[:, 0] * steep, u[:, 1] * steep, -flat / square], axis=1)
    return np.arctan2(flat, u[:, 2]), gradient


def distance(u: Array) -> tuple[Array, Array]:
    """Slope distance of a target at u (n, 3) [m]: |u| [m], and d/du (n, 3).

    >>> float(distance(np.array([[2.0, 3.0, 6.0]]))[0][0])
    7.0
    """
    length = np.maximum(np.sqrt((u**2).sum(axis=1)), 1e-12)
    return length, u / length[:, None]


#: One function per kind of reading; a further kind of reading is a further function.
READ: tuple[Callable[[Array], tuple[Array, Array]], ...] = (direction, zenith, distance)


def read(u: Array) -> tuple[Array, Array]:
    """All three readings of targets at u (n, 3) in the station's axes: values (n, 3) and d value/d u (n, 3, 3)."""
    answers = [function(u) for function in READ]
    return np.stack([value for value, _ in answers], axis=1), np.stack([slope for _, slope in answers], axis=1)


def from_polar(readings: Array) -> Array:
    """Where a target lies in the station's axes, (n, 3) [m], from direction, zenith angle and distance (n, 3).

    x = D sin Z cos H, y = D sin Z sin H, z = D cos Z

    >>> from_polar(np.array([[0.0, np.pi / 2, 2.0]])).round(12).tolist()
    [[2.0, 0.0, 0.0]]
    """
    flat = np.sin(readings[:, 1]) * readings[:, 2]
    height = np.cos(readings[:, 1]) * readings[:, 2]
    return np.stack([flat * np.cos(readings[:, 0]), flat * np.sin(readings[:, 0]), height], axis=1)


def readings_from(position: Array, rotation: Array, points: Array) -> tuple[Array, Array, Array]:
    """Readings from stations to points, with what they change by when either moves.

    u = R' (p - s);  s becomes s + ds, R becomes exp([w]x) R, w in survey axes

    position  s (n, 3) [m];  rotation  R (n, 3, 3), station -> survey;  points  p (n, 3) [m]
    Returns values (n, 3), d/dp (n, 3, 3), and d/d(s, w) (n, 3, 6).

    >>> readings_from(np.zeros((1, 3)), UPRIGHT[None], np.array([[0.0, 0.0, 2.0]]))[0].round(6).tolist()
    [[0.0, 1.570796, 2.0]]
    """
    away = points - position
    values, slope = read((rotation.transpose(0, 2, 1) @ away[:, :, None])[:, :, 0])
    by_point = slope @ rotation.transpose(0, 2, 1)
    # d(R' a)/dw = R' [a]x, and row r of by_point times [a]x is r cross a.
    by_turn = np.cross(by_point, away[:, None, :])
    return values, by_point, np.concatenate([-by_point, by_turn], axis=2)


def tilt(rotation: Array) -> tuple[Array, Array]:
    """How far a station's upright axis leans from survey up, towards survey x and z (n, 2) [rad], and d/dw (n, 2, 3).

    The gradient is that of an upright station: leans are microradians, and with it a turn of the whole
    survey about up leaves every lean as it is.

    rotation  (n, 3, 3), station -> survey

    >>> tilt(UPRIGHT[None])[0].tolist()
    [[0.0, 0.0]]
    """
    up = rotation[:, :, 2]
    # d(up)/dw = w cross up with up = (0, 1, 0); only its x and z parts are the lean.
    by_turn = np.zeros((len(up), 2, 3))
    by_turn[:, 0, 2], by_turn[:, 1, 0] = -1.0, 1.0
    return up[:, [0, 2]], by_turn


def spreads(instrument: Instrument, zenith_angle: Array, slope_distance: Array) -> Array:
    """Standard deviations (n, 3) of direction [rad], zenith angle [rad] and distance [m].

    s_H = u_angle / sin Z;  s_Z = u_angle;  s_D = u_range + u_range_ratio D, or their root of squares

    zenith_angle  Z (n,) [rad];  slope_distance  D (n,) [m]

    >>> tracker = Instrument("t", 2e-6, 5e-6, 1e-6, None, 3e-6, 1e-6)
    >>> (spreads(tracker, np.array([np.pi / 2]), np.array([4.0])) * 1e6).round(6).tolist()
    [[2.0, 2.0, 9.0]]
    """
    part = instrument.u_range_ratio * slope_distance
    plain = instrument.u_range + part if instrument.range_sum == "plain" else np.hypot(instrument.u_range, part)
    across = instrument.u_angle / np.maximum(np.abs(np.sin(zenith_angle)), STEEPEST)
    return np.stack([across, np.full_like(across, instrument.u_angle), plain], axis=1)


def wrap(angle: Array) -> Array:
    """The same angles between -pi and pi [rad].

    >>> wrap(np.array([6.5])).round(6).tolist()
    [0.216815]
    """
    turned: Array = (angle + np.pi) % (2.0 * np.pi) - np.pi
    return turned


def turned(rotation: Array, turns: Array) -> Array:
    """Rotations (n, 3, 3) turned by w (n, 3) [rad] in survey axes: exp([w]x) R, Rodrigues' formula."""
    angle = np.sqrt((turns**2).sum(axis=1))[:, None, None]
    k = np.zeros((len(turns), 3, 3))
    k[:, 2, 1], k[:, 0, 2], k[:, 1, 0] = turns.T
    k -= k.transpose(0, 2, 1)
    first = np.sinc(angle / np.pi)
    second = 0.5 * np.sinc(angle / (2.0 * np.pi)) ** 2
    new: Array = (np.eye(3) + first * k + second * (k @ k)) @ rotation
    return new
