"""Scales, axes with ticks, error bars, ellipses and scale bars for the drawings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.report.svg import box, group, line, short, tag, text
from monochord.report.words import number

Array = NDArray[np.float64]

#: Semi-axes of the ellipse that holds 95 % of a plane normal distribution, in standard deviations:
#: sqrt(chi-square quantile, 2 degrees of freedom) = sqrt(-2 ln 0.05); derived.
ELLIPSE_95 = math.sqrt(-2.0 * math.log(0.05))


@dataclass(frozen=True, slots=True)
class Scale:
    """A straight map from data (low .. high) to drawing units (start .. end).

    >>> Scale(0.0, 2.0, 10.0, 110.0)(0.5)
    35.0
    """

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """Where a value stands in the drawing."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def many(self, values: Iterable[float]) -> list[float]:
        """Where several values stand."""
        return [self(float(v)) for v in values]

    def ticks(self, about: int = 5) -> list[float]:
        """Round values inside the scale, about so many."""
        return round_steps(min(self.low, self.high), max(self.low, self.high), about)


def round_step(span: float, about: int) -> float:
    """The step of 1, 2 or 5 times a power of ten that cuts a span into about so many parts.

    >>> round_step(64.0, 5), round_step(0.9, 4)
    (10.0, 0.2)
    """
    rough = span / max(about, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    return float(next(m for m in (1.0, 2.0, 5.0, 10.0) if m * power >= rough * 0.75)) * power


def round_steps(low: float, high: float, about: int) -> list[float]:
    """Round values from low to high.

    >>> round_steps(-32.0, 32.0, 5)
    [-30.0, -20.0, -10.0, 0.0, 10.0, 20.0, 30.0]
    """
    step = round_step(high - low, about)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [float(f"{i * step:.12g}") for i in range(first, last + 1)]


def span_of(values: Iterable[float], *, margin: float = 0.06) -> tuple[float, float]:
    """Lowest and highest known value with a margin; never of no width.

    >>> span_of([0.0, 10.0, float("nan")], margin=0.1)
    (-1.0, 11.0)
    >>> span_of([])
    (-1.0, 1.0)
    """
    known = [float(v) for v in values if math.isfinite(v)]
    if not known:
        return -1.0, 1.0
    low, high = min(known), max(known)
    room = margin * (high - low) if high > low else max(abs(high), 1.0) * 0.5
    return low - room, high + room


def tick_text(value: float, step: float) -> str:
    """A tick's number with the decimals that its step needs.

    >>> tick_text(0.4, 0.2), tick_text(20.0, 10.0)
    ('0.4', '20')
    """
    return number(value, max(0, -math.floor(math.log10(step) + 1e-9)))


def bottom_axis(scale: Scale, y: float, *, about: int = 6, class_: str = "tick") -> str:
    """Ticks and their numbers below a plot whose lower edge is at y."""
    ticks = scale.ticks(about)
    step = round_step(abs(scale.high - scale.low), about)
    marks = [line(scale(v), y, scale(v), y + 4, "axis") for v in ticks]
    return group(*marks, *(text(scale(v), y + 15, tick_text(v, step), class_, anchor="middle") for v in ticks))


def left_axis(scale: Scale, x: float, right: float, *, about: int = 5, class_: str = "tick") -> str:
    """Numbers left of a plot whose left edge is at x, and faint lines over to its right edge."""
    ticks = scale.ticks(about)
    step = round_step(abs(scale.high - scale.low), about)
    grid = [line(x, scale(v), right, scale(v), "grid") for v in ticks]
    return group(*grid, *(text(x - 6, scale(v) + 3.5, tick_text(v, step), class_, anchor="end") for v in ticks))


def error_bar(x: float, low: float, high: float, *, cap: float = 4.0) -> str:
    """An upright interval with caps, all in drawing units."""
    d = f"M{short(x)} {short(low)}V{short(high)}"
    caps = "".join(f"M{short(x - cap)} {short(y)}h{short(2 * cap)}" for y in (low, high))
    return tag("path", d=d + caps, class_="interval")


def span_bar(y: float, left: float, right: float, *, cap: float = 3.5) -> str:
    """A level interval with caps, all in drawing units."""
    d = f"M{short(left)} {short(y)}H{short(right)}"
    caps = "".join(f"M{short(x)} {short(y - cap)}v{short(2 * cap)}" for x in (left, right))
    return tag("path", d=d + caps, class_="interval")


def ellipse(x: float, y: float, cov: Array, size: float, class_: str) -> str:
    """The 95 % ellipse of a plane covariance (2, 2) at a place of the drawing.

    cov   of (rightwards, upwards) [m2];  size  drawing units per metre of the ellipse
    """
    variances, axes = np.linalg.eigh(cov)
    minor, major = ELLIPSE_95 * size * np.sqrt(np.maximum(variances, 0.0))
    turn = -math.degrees(math.atan2(axes[1, 1], axes[0, 1]))
    place = f"translate({short(x)} {short(y)}) rotate({short(turn)})"
    return tag("ellipse", rx=float(major), ry=float(minor), transform=place, class_=class_)


def scale_bar(x: float, y: float, length: float, words: str) -> str:
    """A bar of a length in drawing units with its meaning above it."""
    d = f"M{short(x)} {short(y - 3)}v6m0 -3h{short(length)}m0 -3v6"
    return group(tag("path", d=d, class_="bar"), text(x, y - 7, words, "note"))


@dataclass(frozen=True, slots=True)
class Spot:
    """A place that wants a label; ``clear`` is the room to keep around it."""

    x: float
    y: float
    words: str
    clear: float = 4.0


def labels(spots: Sequence[Spot], class_: str, *, letter: float = 4.6, height: float = 8.0) -> str:
    """Labels beside their spots, above, below, right or left, wherever nothing is yet.

    A label that finds no room is left out: the table beside the drawing holds every name.
    letter, height  size of a letter in drawing units
    """
    taken = [(s.x - s.clear, s.y - s.clear, s.x + s.clear, s.y + s.clear) for s in spots]
    drawn = []
    for i, spot in enumerate(spots):
        others = taken[:i] + taken[i + 1 :]
        half, gap = letter * len(spot.words) / 2, spot.clear + 1.5
        for dx, dy in ((0.0, -gap), (0.0, gap + height), (gap + half, height / 2), (-gap - half, height / 2)):
            area = (spot.x + dx - half, spot.y + dy - height, spot.x + dx + half, spot.y + dy)
            if not any(_meet(area, other) for other in others):
                taken.append(area)
                drawn.append(text(spot.x + dx, spot.y + dy - 1, spot.words, class_, anchor="middle"))
                break
    return group(*drawn)


def _meet(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def panel(left: float, top: float, right: float, bottom: float) -> str:
    """The paper of one plot."""
    return box(left, top, right - left, bottom - top, "panel")
