"""What the residuals of one survey say, kind by kind."""

from __future__ import annotations

import math
from dataclasses import dataclass

from monochord.campaign.found.points import PointSet, Residual

#: Kind of reading -> (unit of the print, factor from SI). Readings of any other kind are printed in SI.
PRINTED: dict[str, tuple[str, float]] = {
    "distance": ("µm", 1e6),
    "direction": ("µrad", 1e6),
    "zenith": ("µrad", 1e6),
    "zenith angle": ("µrad", 1e6),
    "level": ("µrad", 1e6),
}


@dataclass(frozen=True, slots=True)
class KindStatistics:
    """Residuals of one kind of reading.

    count              readings;  rms  root mean square of the residuals, SI;  sigma  rms of their standard deviations, SI
    redundancy         sum of redundancy numbers
    standardised_rms   of the readings that are controlled, about 1 when the specification holds; None when none is
    largest            the reading with the largest standardised residual, or None
    """

    kind: str
    count: int
    rms: float
    sigma: float
    redundancy: float
    standardised_rms: float | None
    largest: Residual | None


def statistics(points: PointSet) -> tuple[KindStatistics, ...]:
    """Statistics of every kind of reading in a survey, in the order in which the kinds first appear."""
    kinds = dict.fromkeys(r.kind for r in points.residuals)
    return tuple(_of_kind(kind, [r for r in points.residuals if r.kind == kind]) for kind in kinds)


def _of_kind(kind: str, readings: list[Residual]) -> KindStatistics:
    controlled = [(r.standardised, r) for r in readings if r.standardised is not None and math.isfinite(r.standardised)]
    return KindStatistics(
        kind,
        len(readings),
        root_mean_square([r.residual for r in readings]),
        root_mean_square([r.sigma for r in readings]),
        math.fsum(r.redundancy for r in readings),
        root_mean_square([w for w, _ in controlled]) if controlled else None,
        max(controlled, key=lambda pair: abs(pair[0]))[1] if controlled else None,
    )


def root_mean_square(values: list[float]) -> float:
    """Root mean square; 0 readings give NaN.

    >>> root_mean_square([3.0, -3.0])
    3.0
    """
    return math.sqrt(math.fsum(v * v for v in values) / len(values)) if values else math.nan
