"""Standardised residuals of a survey: one row of dots for every station and kind of reading."""

from __future__ import annotations

import math

from monochord.campaign.found.points import PointSet, Residual
from monochord.report.plot import Scale, bottom_axis
from monochord.report.svg import Picture, box, dots, group, ident, line, text
from monochord.report.words import counted

WIDTH, LEFT, RIGHT = 760.0, 150.0, 740.0
ROW, TOP = 20.0, 14.0


def residuals_picture(occasion: str, points: PointSet) -> Picture | None:
    """Dots at residual / (sigma sqrt(redundancy)); None when no reading is controlled by others."""
    rows: dict[tuple[str, str], list[float]] = {}
    for reading in points.residuals:
        if _controlled(reading):
            rows.setdefault((reading.station, reading.kind), []).append(float(reading.standardised or 0.0))
    if not rows:
        return None
    ordered = dict(sorted(rows.items()))
    reach = max(4.0, *(1.05 * abs(w) for values in rows.values() for w in values))
    across = Scale(-reach, reach, LEFT, RIGHT)
    bottom = TOP + ROW * len(rows)
    count = sum(len(values) for values in rows.values())
    return Picture(
        ident("residuals", occasion),
        f"Standardised residuals, {occasion}",
        f"{counted(count, 'reading')} in {counted(len(rows), 'row')} by station and kind; "
        f"the largest is {max(abs(w) for values in rows.values() for w in values):.1f} standard deviations.",
        f"{occasion}: residuals in units of their standard deviation, readings that were kept. When the instrument "
        "keeps its specification, 95 % of the dots lie in the shaded band (±1.96).",
        WIDTH,
        bottom + 40,
        [
            box(across(-1.96), TOP, across(1.96) - across(-1.96), bottom - TOP, "band"),
            *(_row(across, i, f"{s}, {kind}", values) for i, ((s, kind), values) in enumerate(ordered.items())),
            line(across(0.0), TOP, across(0.0), bottom, "zero"),
            line(LEFT, bottom, RIGHT, bottom, "axis"),
            bottom_axis(across, bottom, about=8),
            text(
                (LEFT + RIGHT) / 2, bottom + 33, "residual / its standard deviation [1]", "axis-title", anchor="middle"
            ),
        ],
    )


def _controlled(reading: Residual) -> bool:
    return reading.standardised is not None and math.isfinite(reading.standardised)


def _row(across: Scale, i: int, name: str, values: list[float]) -> str:
    y = TOP + ROW * (i + 0.5)
    return group(
        line(LEFT, y, RIGHT, y, "grid"),
        text(LEFT - 10, y + 4, name, "tick", anchor="end"),
        dots(across.many(values), [y] * len(values), "dot faint"),
    )
