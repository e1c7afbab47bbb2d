"""The published rows of conformity, risks and E_n, met by what the product does: a declared tolerance, and the verdict on it.

Sources: JCGM 106:2012, table 1, Zener, speed, bearing and resistor examples (table, Zener, speed and resistor inputs from
memory and recomputed, bearing read); false-accept tables of a draft of NCSLI RP-19 and of Deaver 1994 (both read); scores
of a handbook of statistics for E_n (read); ISO 14253-1:2017, factor of the guard band (from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from monochord.campaign.found.axes import CommonLine
from monochord.campaign.found.verdict import Verdict
from monochord.campaign.given.tolerance import PriorKnowledge, Tolerance
from monochord.ground.estimate import Estimate
from monochord.ground.statistics import normal_probability, normal_quantile
from monochord.verdict.decide import offset_verdicts
from monochord.verdict.shifts_table import shifts

SIMPLE = "simple acceptance"


def verdict(value: float, u: float, tolerance: Tolerance) -> Verdict:
    """The product's verdict on one value; units are those of the example, the tolerance knows none."""
    offsets = Estimate.of([value, 0.0], ["A.x", "A.y"], unit="m", frame="girder", causes={"read": np.eye(2) * u**2})
    line = CommonLine("as read", offsets, (0.0, 0.0), (0.0, 0.0), {})
    return offset_verdicts("bench", line, ["A"], tolerance, "example")[0]


def risk_with_guard(width: float, u: float) -> float:
    """The risk whose guard band is so wide."""
    return 1.0 - normal_probability(width / u)


@pytest.mark.parametrize(("p", "z"), [(0.8, 0.84), (0.9, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_guard_of_one_sided_conformity(p: float, z: float) -> None:
    made = verdict(0.0, 1.0, Tolerance("offset", 10.0, sides="upper", risk=1.0 - p))
    # half a unit of the printed digit, and a little for prints that were cut instead of rounded
    assert made.guard == pytest.approx(z, abs=0.0051)
    edge = 10.0 - made.guard
    assert verdict(edge - 1e-6, 1.0, Tolerance("offset", 10.0, sides="upper", risk=1.0 - p)).verdict == "conforms"
    assert verdict(edge + 1e-6, 1.0, Tolerance("offset", 10.0, sides="upper", risk=1.0 - p)).verdict != "conforms"


def test_a_voltage_below_its_upper_limit() -> None:
    made = verdict(-5.47, 0.05, Tolerance("offset", -5.40, sides="upper"))
    assert made.probability == pytest.approx(0.92, abs=0.005)  # printed with two digits
    assert made.consumers_risk == pytest.approx(0.0807566592, abs=1e-9)  # 1 - Phi(1.4), derived
    assert made.ends == (-math.inf, -5.40)


def test_a_speed_that_proves_the_limit_exceeded() -> None:
    limit = Tolerance("offset", 100.0, sides="upper", risk=0.001)
    # km/h, u = 2 % of the reading; proven from 106.587 on, printed as 107
    assert verdict(106.586, 0.02 * 106.586, limit).verdict == "cannot be decided"
    assert verdict(106.588, 0.02 * 106.588, limit).verdict == "does not conform"


def test_bearing() -> None:
    prior = PriorKnowledge("gamma", shape=4.0, scale=0.25)
    simple = verdict(1.0, 0.25, Tolerance("offset", 2.0, sides="upper", rule=SIMPLE, prior=prior))
    assert simple.global_consumers_risk == pytest.approx(0.0080191, abs=2e-6)
    guarded = Tolerance("offset", 2.0, sides="upper", risk=risk_with_guard(2.0 - 1.671828772, 0.25), prior=prior)
    made = verdict(1.0, 0.25, guarded)
    assert made.global_consumers_risk == pytest.approx(0.001, abs=1e-7)  # the acceptance limit is printed to 1e-5 um
    assert made.global_producers_risk == pytest.approx(0.0754938761, abs=7.5e-8)


def test_resistor() -> None:
    prior = PriorKnowledge("normal", mean=1500.0, sd=0.12)
    simple = verdict(1500.0, 0.04, Tolerance("offset", 1500.2, rule=SIMPLE, lower=1499.8, prior=prior))
    assert simple.global_consumers_risk == pytest.approx(0.0189422067, abs=1.9e-8)
    assert simple.global_producers_risk == pytest.approx(0.0372078002, abs=3.7e-8)
    band = Tolerance("offset", 1500.2, lower=1499.8, risk=risk_with_guard(0.08, 0.04), prior=prior)
    made = verdict(1500.0, 0.04, band)
    assert made.global_consumers_risk == pytest.approx(0.000468633599, abs=4.7e-10)
    assert made.global_producers_risk == pytest.approx(0.2476696402, abs=2.5e-7)
    assert made.ends == (1499.8, 1500.2)


@pytest.mark.parametrize(
    ("inside", "false_accept", "among_accepted"),
    [
        (0.6, 4.83860326, 8.26008199),
        (0.7, 3.92234109, 5.72322042),
        (0.8, 2.85583037, 3.63227145),
        (0.9, 1.59995312, 1.7988043),
        (0.95, 0.87100925, 0.92389664),
        (0.99, 0.19991684, 0.20243866),
    ],
)
def test_false_acceptance_of_a_process(inside: float, false_accept: float, among_accepted: float) -> None:
    sd = 1.0 / normal_quantile(0.5 + inside / 2.0)
    tolerance = Tolerance("offset", 1.0, rule=SIMPLE, prior=PriorKnowledge("normal", mean=0.0, sd=sd))
    made = verdict(0.0, sd / 4.0, tolerance)
    assert made.global_consumers_risk is not None
    assert made.global_producers_risk is not None
    assert 100.0 * made.global_consumers_risk == pytest.approx(false_accept, abs=2e-6)  # per cent, as printed
    accepted = inside - made.global_producers_risk + made.global_consumers_risk
    assert 100.0 * made.global_consumers_risk / accepted == pytest.approx(among_accepted, abs=2e-6)


@pytest.mark.parametrize(
    ("limit", "ratio", "factor", "accept", "reject"),
    [
        (2.0, 4.0, 1.0, 0.008, 0.015),
        (2.5, 4.0, 1.0, 0.0025, None),
        (2.5, 1.0, 1.0, 0.005, None),
        (2.0, 2.0, 0.91, 0.008, 0.066),
    ],
)
def test_guard_factors_of_a_process(
    limit: float, ratio: float, factor: float, accept: float, reject: float | None
) -> None:
    prior = PriorKnowledge("normal", mean=0.0, sd=1.0)
    u = 1.0 / ratio
    risk = risk_with_guard(limit * (1.0 - factor), u)
    tolerance = Tolerance("offset", limit, prior=prior, risk=risk) if factor < 1.0 else None
    made = verdict(0.0, u, tolerance or Tolerance("offset", limit, rule=SIMPLE, prior=prior))
    assert made.global_consumers_risk == pytest.approx(accept, abs=5e-4)  # half a printed digit
    if reject is not None:
        assert made.global_producers_risk == pytest.approx(reject, abs=6e-4)


@pytest.mark.parametrize(
    ("difference", "expanded", "score"),
    [(-0.004, 0.006 / 0.393, -0.262), (-0.002, 0.006 / 0.393, -0.131), (0.015, math.hypot(0.020, 0.010), 0.67082)],
)
def test_e_n_of_a_shift(difference: float, expanded: float, score: float) -> None:
    u = expanded / 2.0  # E_n asks for k = 2
    pair = Estimate.of([difference, 0.0], ["A.dx", "A.dy"], unit="m", frame="girder", causes={"all": np.eye(2) * u**2})
    (found,) = shifts("own move", {"A": pair}, {"A": 1.0}, "declared").each
    assert found.e_n_x == pytest.approx(score, abs=5e-4 if abs(score) < 0.5 else 1e-5)  # digits as printed


def test_acceptance_zone_of_100_um() -> None:
    tolerance = Tolerance("offset", 100.0, risk=risk_with_guard(1.65 * 12.0, 12.0))
    made = verdict(80.2 - 1e-9, 12.0, tolerance)
    assert made.guard == pytest.approx(19.8, abs=1e-9)
    assert made.verdict == "conforms"
    assert verdict(80.2 + 1e-6, 12.0, tolerance).verdict == "cannot be decided"
    assert verdict(80.2, 12.0, tolerance).probability == pytest.approx(0.95053, abs=1e-5)
    assert verdict(0.0, 12.0, Tolerance("offset", 100.0)).guard == pytest.approx(1.65 * 12.0, abs=0.006 * 12.0)
