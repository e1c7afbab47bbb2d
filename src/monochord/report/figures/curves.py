"""Readings with their fit and, below, what the fit leaves: one small drawing each."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.result import Curve
from monochord.report.plot import Scale, panel, span_of, tick_text
from monochord.report.svg import Picture, dots, group, ident, line, polyline, text
from monochord.report.words import counted, number

Array = NDArray[np.float64]

WIDTH, HEIGHT = 236.0, 178.0
LEFT, RIGHT = 44.0, 230.0
UPPER, LOWER = 20.0, 108.0
REST_UPPER, REST_LOWER = 116.0, 148.0

#: A fitted curve is drawn through at most so many points.
MOST_POINTS = 120


def curve_picture(curve: Curve, *path: str) -> Picture:
    """One curve; ``path`` are the words that make its id unique on the page."""
    across = Scale(*span_of([*curve.x, *curve.fit_x], margin=0.03), LEFT, RIGHT)
    up = Scale(*span_of([*curve.y, *curve.fit_y]), LOWER, UPPER)
    reach = _reach(curve.residual)
    rest = Scale(-reach, reach, REST_LOWER, REST_UPPER)
    keep = _thinned(len(curve.fit_x))
    body = [
        text(LEFT, 13, curve.title, "small-title"),
        panel(LEFT, UPPER, RIGHT, LOWER),
        _zero(up),
        polyline(across.many(curve.fit_x[keep]), up.many(curve.fit_y[keep]), "fit"),
        dots(across.many(curve.x), up.many(curve.y), "dot"),
        panel(LEFT, REST_UPPER, RIGHT, REST_LOWER),
        line(LEFT, rest(0.0), RIGHT, rest(0.0), "faint-zero"),
        dots(across.many(curve.x), rest.many(curve.residual), "dot rest"),
        _numbers(across, up, reach),
        text((LEFT + RIGHT) / 2, HEIGHT - 4, curve.x_label, "small", anchor="middle"),
        text(10, (UPPER + LOWER) / 2, curve.y_label, "small", anchor="middle", turn=-90),
    ]
    return Picture(
        ident("curve", *path),
        curve.title,
        f"{counted(len(curve.x), 'reading')} of {curve.y_label} against {curve.x_label} with the fit; the largest "
        f"residual is {_largest(curve.residual)}, in the same unit.",
        "",
        WIDTH,
        HEIGHT,
        body,
    )


def _zero(up: Scale) -> str:
    return line(LEFT, up(0.0), RIGHT, up(0.0), "faint-zero") if up.low < 0.0 < up.high else ""


def _numbers(across: Scale, up: Scale, reach: float) -> str:
    """The round values nearest to the ends of each axis; the residuals' strip shows its half width."""
    below, beside = across.ticks(3), up.ticks(3)
    steps = [abs(t[1] - t[0]) if len(t) > 1 else 1.0 for t in (below, beside)]
    return group(
        *(text(across(v), REST_LOWER + 12, tick_text(v, steps[0]), "small", anchor="middle") for v in below),
        *(line(across(v), REST_LOWER, across(v), REST_LOWER + 3, "axis") for v in below),
        *(text(LEFT - 4, up(v) + 3, tick_text(v, steps[1]), "small", anchor="end") for v in beside),
        text(LEFT - 4, (REST_UPPER + REST_LOWER) / 2 + 3, f"±{_round_up(reach)}", "small", anchor="end"),
    )


def _reach(residual: Array) -> float:
    """Half height of the residuals' strip: two significant digits, above the largest residual."""
    known = residual[np.isfinite(residual)]
    largest = float(np.abs(known).max()) if known.size else 0.0
    if largest == 0.0:
        return 1.0
    unit = 10.0 ** (math.floor(math.log10(largest)) - 1)
    return math.ceil(largest * 1.05 / unit) * unit


def _round_up(reach: float) -> str:
    return f"{reach:.2g}" if 1e-3 <= reach < 100.0 else f"{reach:.0f}" if reach >= 100.0 else f"{reach:.1e}"


def _largest(residual: Array) -> str:
    known = residual[np.isfinite(residual)]
    return number(float(np.abs(known).max()), 3) if known.size else "not known"


def _thinned(count: int) -> NDArray[np.intp]:
    """At most :data:`MOST_POINTS` evenly spread places, first and last kept."""
    return np.unique(np.linspace(0, max(count - 1, 0), min(count, MOST_POINTS)).round().astype(np.intp))
