"""Risks, guard bands and scores against published examples; "read" (at second hand) or "memory" beside each.

JCGM 106:2012: examples of clause 8 from memory, the bearing of 9.5.4 read in a worked copy of it. Tables of false
acceptance: draft RP-19 and Deaver 1994, read. E_n: scores printed by a public manual of statistics of NIST, read.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from monochord.ground.estimate import Estimate
from monochord.verdict.risk import Limits, capability, probability_conforming, specific_risk
from monochord.verdict.risk_global import (
    global_risks,
    rule_for_consumers_risk,
    rule_for_producers_risk,
)
from monochord.verdict.risk_guard import guarded, guarded_by_risk, reading_that_proves, simple_acceptance
from monochord.verdict.risk_priors import GammaPrior, NormalPrior
from monochord.verdict.shifts import e_n, e_n_scores

UM = 1e-6


# JCGM 106:2012, table 1: memory; 0.51 of the last digit, as one entry is cut and not rounded.
@pytest.mark.parametrize(("p", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_one_sided_acceptance(p: float, z: float) -> None:
    rule = guarded_by_risk(Limits(upper=10.0), 1.0, 1.0 - p)
    assert rule.accept is not None
    assert 10.0 - rule.accept.upper == pytest.approx(z, abs=0.0051)
    assert probability_conforming(rule.accept.upper, 1.0, rule.limits) == pytest.approx(p, abs=1e-12)


def test_a_voltage_below_its_upper_limit() -> None:
    # Zener diode, clause 7.2.2, memory: -5.47 V, u = 0.05 V, limit -5.40 V, p = 0.92
    limits = Limits(upper=-5.40)
    assert probability_conforming(-5.47, 0.05, limits) == pytest.approx(0.92, abs=0.005)
    assert specific_risk(-5.47, 0.05, limits).accepting == pytest.approx(0.08, abs=0.005)


def test_a_speed_that_proves_the_limit_exceeded() -> None:
    # memory: limit 100 km/h, u = 2 % of the reading, p >= 0.999: printed 107 km/h, rounded up
    assert math.ceil(reading_that_proves(100.0, lambda v: 0.02 * v, 0.001)) == 107


def test_bearing() -> None:
    prior, limits = GammaPrior(4.0, 0.25), Limits(0.0, 2.0)  # um, all read
    simple = global_risks(prior, 0.25, limits, limits)
    assert 1.0 - simple.conforming == pytest.approx(0.0423801, abs=1e-7)
    assert simple.consumer == pytest.approx(0.0080191, abs=2e-6)
    rule = rule_for_consumers_risk(prior, 0.25, limits, 0.001, side="upper")
    assert rule.accept is not None
    assert (rule.accept.lower, rule.guards[0]) == (0.0, 0.0)
    assert rule.accept.upper == pytest.approx(1.67183, abs=1e-5)  # um
    # The producer's risk with all readings above 0 accepted was recomputed elsewhere from P(reading > limit); readings below
    # 0 are not accepted here, which adds P(reading < 0).
    below = global_risks(prior, 0.25, limits, Limits(-100.0, rule.accept.upper)).producer
    assert below == pytest.approx(0.0754938761, abs=1e-6)
    assert global_risks(prior, 0.25, limits, rule.accept).producer > below


def test_resistor() -> None:
    # inputs from memory, risks recomputed elsewhere by other sums and by counting 4e6 draws; 1500 ohm is taken out
    prior, limits = NormalPrior(0.0, 0.12), Limits.about_zero(0.2)  # ohm
    simple = global_risks(prior, 0.04, limits, simple_acceptance(limits).accept)
    assert simple.consumer == pytest.approx(0.0189422067, rel=1e-8)
    assert simple.producer == pytest.approx(0.0372078002, rel=1e-8)
    assert 1.0 - simple.conforming == pytest.approx(0.0956, abs=5e-5)
    expanded = guarded(limits, 0.04, 2.0)
    assert expanded.accept is not None
    assert expanded.accept.upper == pytest.approx(0.12, abs=1e-12)
    strict = global_risks(prior, 0.04, limits, expanded.accept)
    assert strict.consumer == pytest.approx(0.000468633599, rel=1e-8)
    assert strict.producer == pytest.approx(0.2476696402, rel=1e-8)
    assert capability(0.04, limits) == pytest.approx(2.5, abs=1e-12)
    # and the way back: a rule made for the risk that the rule above has is that rule
    back = rule_for_consumers_risk(prior, 0.04, limits, strict.consumer)
    assert back.guards == pytest.approx((0.08, 0.08), abs=1e-9)
    assert rule_for_producers_risk(prior, 0.04, limits, strict.producer).guards == pytest.approx((0.08, 0.08), abs=1e-9)


def test_resistor_by_drawing() -> None:
    rng = np.random.default_rng(7)
    truth = 0.12 * rng.standard_normal(400_000)
    reading = truth + 0.04 * rng.standard_normal(400_000)
    good, taken = np.abs(truth) <= 0.2, np.abs(reading) <= 0.2
    risks = global_risks(NormalPrior(0.0, 0.12), 0.04, Limits.about_zero(0.2), Limits.about_zero(0.2))
    for p, drawn in ((risks.consumer, ~good & taken), (risks.producer, good & ~taken), (risks.accepted, taken)):
        assert drawn.mean() == pytest.approx(
            p, abs=4.0 * math.sqrt(p * (1.0 - p) / 400_000)
        )  # four of its own deviations


# Draft RP-19: share in tolerance of the process, false acceptance and the same among accepted, in %; u = a quarter of the spread.
@pytest.mark.parametrize(
    ("inside", "false_accept", "among_accepted"),
    [(0.60, 4.83860326, 8.26008199), (0.70, 3.92234109, 5.72322042), (0.80, 2.85583037, 3.63227145),
     (0.90, 1.59995312, 1.79880430), (0.95, 0.87100925, 0.92389664), (0.99, 0.19991684, 0.20243866)],
)  # fmt: skip
def test_false_acceptance_of_a_process(inside: float, false_accept: float, among_accepted: float) -> None:
    from monochord.ground.statistics import normal_quantile

    spread = 1.0 / normal_quantile((1.0 + inside) / 2.0)
    limits = Limits.about_zero(1.0)
    risks = global_risks(NormalPrior(0.0, spread), spread / 4.0, limits, limits)
    assert risks.conforming == pytest.approx(inside, abs=1e-12)
    # The table stands by its own numerical sums to 1e-6 %: two independent recomputations agree with each other beyond that.
    assert 100.0 * risks.consumer == pytest.approx(false_accept, abs=2e-6)
    assert 100.0 * risks.wrong_among_accepted == pytest.approx(among_accepted, abs=2e-6)


# Deaver 1994: process of spread 1, limits +-SL, u = 1 / TUR, acceptance within a factor of the limits; one or two digits printed.
@pytest.mark.parametrize(
    ("limit", "ratio", "factor", "consumer", "producer"),
    [(2.0, 4.0, 1.0, 0.008, 0.015), (2.5, 4.0, 1.0, 0.0025, None), (2.5, 1.0, 1.0, 0.005, None), (2.0, 2.0, 0.91, 0.008, 0.066)],
)  # fmt: skip
def test_guard_factors_of_a_process(
    limit: float, ratio: float, factor: float, consumer: float, producer: float | None
) -> None:
    accept = Limits.about_zero(limit * factor)
    risks = global_risks(NormalPrior(0.0, 1.0), 1.0 / ratio, Limits.about_zero(limit), accept)
    assert risks.consumer == pytest.approx(consumer, abs=5e-4)
    if producer is not None:
        assert risks.producer == pytest.approx(producer, abs=6e-4)


def test_e_n() -> None:
    # 1.006 against 1 scores .393; with the same uncertainties .996 and .998 score -.262 and -.131: read
    expanded = 0.006 / 0.393
    assert e_n(1.006, expanded, 1.0, 0.0) == pytest.approx(0.393, abs=5e-4)
    assert e_n(0.996, expanded, 1.0, 0.0) == pytest.approx(-0.262, abs=5e-4)
    assert e_n(0.998, expanded, 1.0, 0.0) == pytest.approx(-0.131, abs=5e-4)
    assert e_n(10.025, 0.020, 10.010, 0.010) == pytest.approx(0.67082, abs=1e-5)  # derived


def test_shared_causes_raise_e_n() -> None:
    """Derived: with the common scale taken out, 3 um against 2 u = 2 sqrt(2) um of noise."""
    noise, scale = np.array([[1.0]]), np.array([[100.0]])
    a, b = (
        Estimate.of([v], ["A.x"], unit="m", frame="girder", causes={own: noise, "scale": scale})
        for v, own in ((3.0, "bench"), (0.0, "tunnel"))
    )
    assert e_n_scores(a, b)["A.x"] == pytest.approx(3.0 / (2.0 * math.sqrt(2.0)), rel=1e-9)
    # with correlation given instead: U = 2 sqrt(101), r = 100 / 101
    u = 2.0 * math.sqrt(101.0)
    assert e_n(3.0, u, 0.0, u, correlation=100.0 / 101.0) == pytest.approx(3.0 / (2.0 * math.sqrt(2.0)), rel=1e-9)


# ISO 14253-1:2017, one-sided 95 %: printed factor 1.65, memory; the zone of +-100 um with u = 12 um is derived from it.
def test_acceptance_zone_of_100_um() -> None:
    limits = Limits.about_zero(100.0 * UM)
    rule = guarded(limits, 12.0 * UM, 1.65)
    assert rule.accept is not None
    assert rule.accept.upper / UM == pytest.approx(80.2, abs=1e-9)
    assert probability_conforming(rule.accept.upper, 12.0 * UM, limits) == pytest.approx(0.95053, abs=1e-5)
    exact = guarded_by_risk(limits, 12.0 * UM, 0.05)
    assert exact.guards[1] / (12.0 * UM) == pytest.approx(1.65, abs=0.0052)


# Derived, the numbers of this trade: u = 8 um against 30 um leaves 17 um with a guard band, 30 um without.
def test_thirty_micrometres_with_an_uncertainty_of_eight() -> None:
    limits = Limits.about_zero(30.0 * UM)
    strict, simple = guarded_by_risk(limits, 8.0 * UM, 0.05), simple_acceptance(limits)
    assert strict.accept is not None
    assert strict.accept.upper / UM == pytest.approx(17.0, abs=0.5)
    assert simple.accept == limits
    assert [strict.judge(v * UM) for v in (16.0, 25.0, 43.0, 44.0)] == [
        "conforms", "cannot be decided", "cannot be decided", "does not conform",
    ]  # fmt: skip
    assert [simple.judge(v * UM) for v in (-30.0, 30.1)] == ["conforms", "does not conform"]
    assert "no guard band" in simple.words
    assert specific_risk(30.0 * UM, 8.0 * UM, limits).accepting == pytest.approx(0.5, abs=1e-9)
