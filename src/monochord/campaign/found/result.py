"""The result of one run over a campaign."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.axes import Axis, CommonLine, Gate, Move
from monochord.campaign.found.budget import Budget
from monochord.campaign.found.comparison import Comparison
from monochord.campaign.found.excluded import Aside
from monochord.campaign.found.plan import BoltPlan
from monochord.campaign.found.points import PointSet
from monochord.campaign.found.ride import RideFinding
from monochord.campaign.found.signs import SignCheck
from monochord.campaign.found.verdict import Verdict
from monochord.campaign.given.campaign import Campaign
from monochord.campaign.origin import Origin
from monochord.ground.faults import Fault
from monochord.ground.trace import Unfold


@dataclass(frozen=True, eq=False, slots=True)
class Curve:
    """Readings with their fit, kept so that a page can show them.

    title, x_label, y_label (with units);  x (n,), y (n,) readings;  fit_x, fit_y  the fitted curve
    residual (n,)  readings minus fit, in the unit of y
    """

    title: str
    x_label: str
    y_label: str
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    fit_x: NDArray[np.float64]
    fit_y: NDArray[np.float64]
    residual: NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class WireFinding:
    """What the wire said on one occasion.

    axes        in the frame each names;  f1_x, f1_y  fundamental in the two planes [Hz];  sag  at mid-span [m] and its u_sag
    sensor_turn, u_sensor_turn   turn of the sensor pair about the wire [rad], or None
    curves      scans with fits and residuals, and resonance curves
    unfold      tells every number down to its rows, None when nobody can
    """

    axes: tuple[Axis, ...]
    f1_x: float
    f1_y: float
    sag: float
    u_sag: float
    sensor_turn: float | None
    u_sensor_turn: float | None
    scans: tuple[Curve, ...]
    resonances: tuple[Curve, ...]
    gates: tuple[Gate, ...]
    unfold: Unfold | None = None


@dataclass(frozen=True, slots=True)
class Temperature:
    """Mean of the girder [degC] and top minus bottom [K]; None when not known, with the reason."""

    mean: float | None
    top_minus_bottom: float | None
    reason: str = ""


@dataclass(frozen=True, eq=False, slots=True)
class OccasionFinding:
    """Everything found on one occasion; what is None has its reason in ``lacks``.

    line_evidence  what the offsets rest on: "wire", or the words for axes carried from another occasion by targets
    ride           what the ride logger tells, None when there was no ride
    """

    name: str
    wire: WireFinding | None
    line: CommonLine | None
    points: PointSet | None
    temperature: Temperature
    moves: tuple[Move, ...] = ()
    line_evidence: str = "wire"
    lacks: Mapping[str, str] = field(default_factory=dict)
    ride: RideFinding | None = None


@dataclass(frozen=True, eq=False, slots=True)
class Result:
    """Everything found in one run."""

    campaign: Campaign
    occasions: tuple[OccasionFinding, ...]
    sentence: str
    origin: Origin
    notes: tuple[Fault, ...] = ()
    comparisons: tuple[Comparison, ...] = ()
    plans: tuple[BoltPlan, ...] = ()
    verdicts: tuple[Verdict, ...] = ()
    budgets: tuple[Budget, ...] = ()
    signs: tuple[SignCheck, ...] = ()
    excluded: tuple[Aside, ...] = ()
