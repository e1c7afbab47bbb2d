"""Small look-ups in a result that the document, the page and the summary share."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.axes import Axis, CommonLine
from monochord.campaign.found.comparison import Comparison
from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import OccasionFinding, Result
from monochord.campaign.given.campaign import Tolerance
from monochord.campaign.given.occasion import Occasion
from monochord.campaign.given.tolerance import ALL_TOGETHER, EACH_AXIS, RADIAL, RMS
from monochord.ground.estimate import Estimate, Label
from monochord.ground.frames import Rigid
from monochord.report.words import limit_number

Array = NDArray[np.float64]

#: 95 % of a normal distribution lie within so many standard deviations (JCGM 100:2008, table G.1; from memory).
COVERAGE = 1.96


@dataclass(frozen=True, slots=True)
class Known:
    """One component: value and standard uncertainty, SI; None where it is not known."""

    value: float | None
    u: float | None


def finite(value: float | None) -> float | None:
    """The number as a plain float, or None when it is missing, NaN or infinite.

    >>> finite(np.float64(2.0)), finite(float("nan")), finite(None)
    (2.0, None, None)
    """
    return float(value) if value is not None and math.isfinite(value) else None


def component(estimate: Estimate, name: str) -> Known:
    """A named component of an estimate; unknown when there is none of that name or it is NaN.

    >>> e = Estimate.of([2e-6], ["Q1.x"], unit="m", frame="girder", causes={"noise": np.array([[1e-12]])})
    >>> component(e, "Q1.x"), component(e, "Q1.y")
    (Known(value=2e-06, u=1e-06), Known(value=None, u=None))
    """
    if name not in estimate.names:
        return Known(None, None)
    i = estimate.names.index(name)
    value = finite(float(estimate.value[i]))
    return Known(value, finite(math.sqrt(max(_variances(estimate)[i], 0.0))) if value is not None else None)


@lru_cache(maxsize=256)
def _variances(estimate: Estimate) -> list[float]:
    """Variances of all components; an estimate never changes, and a page asks for the same ones many times."""
    total = np.zeros(len(estimate.value))
    for factor in estimate.factors.values():
        total = total + np.einsum("ij,ij->i", factor.jacobian @ factor.spread, factor.jacobian)
    variances: list[float] = total.tolist()
    return variances


def offset_of(line: CommonLine, magnet: str) -> tuple[Known, Known]:
    """Offset of a magnet's centre from the common line, x and y [m]."""
    return component(line.offsets, f"{magnet}.x"), component(line.offsets, f"{magnet}.y")


def magnets_of(result: Result) -> tuple[str, ...]:
    """Names of the girder's magnets along the beam."""
    return tuple(magnet.name for magnet in result.campaign.girder.magnets)


def axes_of(found: OccasionFinding) -> dict[str, Axis]:
    """Magnet -> axis as found on the occasion; empty without a wire."""
    return {axis.magnet: axis for axis in found.wire.axes} if found.wire else {}


def given_of(result: Result, name: str) -> Occasion | None:
    """What was measured on the occasion of that name."""
    return next((o for o in result.campaign.occasions if o.name == name), None)


def limit_of(tolerances: Iterable[Tolerance], quantity: str, magnet: str) -> float | None:
    """The tightest limit that lies evenly about zero for each axis of a magnet, SI, or None when none such is declared.

    >>> limit_of([Tolerance("offset", 30e-6), Tolerance("offset", 20e-6, ("Q1",))], "offset", "Q1")
    2e-05
    >>> limit_of([Tolerance("offset", 30e-6, form="radial")], "offset", "Q1") is None
    True
    """
    limits = [t.limit for t in meant(tolerances, quantity, magnet) if t.even and t.form in {EACH_AXIS, ALL_TOGETHER}]
    return min(limits, default=None)


def meant(tolerances: Iterable[Tolerance], quantity: str, magnet: str) -> list[Tolerance]:
    """The tolerances that hold for a magnet and a quantity."""
    return [t for t in tolerances if t.quantity == quantity and (not t.magnets or magnet in t.magnets)]


def limits_said(tolerances: Iterable[Tolerance], quantity: str, magnet: str, factor: float = 1e6) -> str:
    """The limits that hold for a magnet by itself, in SI times factor, as they stand in a table; "" when none is declared.

    >>> limits_said([Tolerance("offset", 30e-6), Tolerance("offset", 40e-6, form="radial")], "offset", "Q1")
    '30; radial 40'
    >>> limits_said([Tolerance("offset", 30e-6, lower=-10e-6), Tolerance("offset", 9e-6, form="rms")], "offset", "Q1")
    '−10 to +30'
    """
    declared = list(tolerances)
    even = limit_of(declared, quantity, magnet)
    said = [] if even is None else [limit_number(even * factor, sign=False)]
    for t in meant(declared, quantity, magnet):
        low, high = (factor * end for end in t.ends)
        if t.form == RADIAL:
            said.append(f"radial {limit_number(high, sign=False)}")
        elif t.even or t.form == RMS:
            continue
        elif math.isinf(low):
            said.append(f"at most {limit_number(high)}")
        elif math.isinf(high):
            said.append(f"at least {limit_number(low)}")
        else:
            said.append(f"{limit_number(low)} to {limit_number(high)}")
    return "; ".join(dict.fromkeys(said))


def with_line(result: Result) -> Iterator[tuple[OccasionFinding, CommonLine]]:
    """Occasions on which a common line was found, in their order."""
    return ((o, o.line) for o in result.occasions if o.line is not None)


def with_points(result: Result) -> Iterator[tuple[OccasionFinding, PointSet]]:
    """Occasions with adjusted targets, in their order."""
    return ((o, o.points) for o in result.occasions if o.points is not None)


def by_weight(result: Result) -> list[Comparison]:
    """Comparisons with the reference before those of other pairs, each the latest first."""
    latest = list(reversed(result.comparisons))
    return sorted(latest, key=lambda found: found.start != result.campaign.reference)


def in_girder_frame(points: PointSet) -> Estimate:
    """The targets' coordinates in the girder frame, (3 n,) [m], with their causes carried along.

    Points kept in the survey's own frame are taken over by ``points.pose``, which is treated as a choice of
    frame without an uncertainty of its own.
    """
    if points.frame != points.pose.source or points.frame == points.pose.target:
        return points.estimate
    names = points.names
    picked = points.estimate.pick(f"{n}.{k}" for n in names for k in "xyz")
    jacobian: Array = np.kron(np.eye(len(names)), points.pose.rotation).astype(np.float64)
    labels = [Label(label.name, label.unit, points.pose.target) for label in picked.labels]
    value = points.pose.apply(picked.value.reshape(-1, 3)).reshape(-1)
    return picked.through(jacobian, labels, value=value)


def station_in_girder(points: PointSet, station_pose: Rigid) -> Array:
    """Where a station stands, (3,) [m], in the frame to which ``points.pose`` leads."""
    if station_pose.target == points.pose.source:
        return (points.pose @ station_pose).shift
    return station_pose.shift


def blocks(estimate: Estimate, names: Iterable[str]) -> dict[str, tuple[Array, Array]]:
    """Point -> (its coordinates (3,) [m], its covariance (3, 3) [m2])."""
    cov = estimate.cov
    places = {name: i for i, name in enumerate(estimate.names)}
    found = {}
    for name in names:
        rows = [places[f"{name}.{k}"] for k in "xyz"]
        found[name] = (estimate.value[rows], cov[np.ix_(rows, rows)])
    return found
