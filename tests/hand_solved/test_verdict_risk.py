"""Rules, risks and joint verdicts on numbers that can be solved on paper, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ndtr

from monochord.ground.estimate import Estimate
from monochord.ground.faults import Refused, Undetermined
from monochord.verdict.conformity import judge, probability_within
from monochord.verdict.joint import all_conform, all_within_circles, judge_rms, largest_within, rms_conforms
from monochord.verdict.joint_normal import rectangle_probability
from monochord.verdict.risk import Limits, capability, probability_conforming, specific_risk
from monochord.verdict.risk_global import (
    global_risks,
    probability_conforming_given,
    rule_for_consumers_risk,
    rule_for_producers_risk,
    rule_for_specific_risk,
)
from monochord.verdict.risk_guard import guarded, guarded_by_risk, reading_that_proves, simple_acceptance
from monochord.verdict.risk_priors import GammaPrior, NormalPrior, fleet_prior
from monochord.verdict.risk_radial import judge_radial, within_circle
from monochord.verdict.risk_rms import chance_of_such_length, length_within, rms_within

INF = math.inf


def girder(values: list[float], cov: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> Estimate:
    names = [f"M{k}.x" for k in range(len(values))]
    return Estimate.of(values, names, unit="um", frame="girder", causes={"all": cov})


# -- one value ------------------------------------------------------------------------------------


def test_limits_on_one_side_and_off_centre() -> None:
    assert probability_conforming(1.0, 1.0, Limits(upper=1.0)) == pytest.approx(0.5, abs=1e-15)
    assert probability_conforming(0.0, 1.0, Limits(1.0, 2.0)) == pytest.approx(float(ndtr(2.0) - ndtr(1.0)), rel=1e-12)
    assert probability_conforming(9.0, 1.0, Limits(1.0, 2.0)) == pytest.approx(
        float(ndtr(-7.0) - ndtr(-8.0)), rel=1e-9, abs=0.0
    )
    assert probability_conforming(-9.0, 1.0, Limits(1.0, 2.0)) == pytest.approx(
        float(ndtr(-10.0) - ndtr(-11.0)), rel=1e-9, abs=0.0
    )
    assert probability_conforming(2.0, 0.0, Limits(1.0, 2.0)) == 1.0
    assert probability_conforming(2.1, 0.0, Limits(1.0, 2.0)) == 0.0
    assert math.isnan(probability_conforming(math.nan, 1.0, Limits(1.0, 2.0)))


def test_one_degree_of_freedom_is_the_law_of_cauchy() -> None:
    # half of it lies within one scale
    assert probability_conforming(0.0, 1.0, Limits.about_zero(1.0), dof=1.0) == pytest.approx(0.5, abs=1e-9)


def test_the_same_as_the_plain_question_about_zero() -> None:
    for value, u, limit in ((5.0, 2.0, 30.0), (29.0, 2.0, 30.0), (-31.0, 7.0, 30.0)):
        assert probability_conforming(value, u, Limits.about_zero(limit)) == pytest.approx(
            probability_within(value, u, limit), abs=1e-15
        )
        # far from the other limit both rules draw the same lines
        assert guarded_by_risk(Limits.about_zero(limit), u, 0.05).judge(value) == judge(value, u, limit)


def test_a_poor_measurement_decides_nothing() -> None:
    rule = guarded_by_risk(Limits.about_zero(30.0), 1000.0, 0.05)
    assert rule.accept is None
    assert "too large" in rule.words
    assert {rule.judge(v) for v in (0.0, 30.0, 1000.0, math.nan)} == {"cannot be decided"}
    assert rule.judge(1800.0) == "does not conform"
    assert all(math.isnan(g) for g in rule.guards)


def test_both_limits_count_for_accepting_and_the_nearer_one_for_rejecting() -> None:
    # u of a third of the limit: both tails of the reading's law lie outside, so the band inside is wider than 1.645 u
    rule = guarded_by_risk(Limits.about_zero(30.0), 15.0, 0.05)
    assert rule.accept is not None
    y = rule.accept.upper
    assert float(ndtr((30.0 - y) / 15.0) - ndtr((-30.0 - y) / 15.0)) == pytest.approx(0.95, abs=1e-12)
    assert rule.guards[1] > 1.7 * 15.0
    assert rule.reject == pytest.approx((-30.0 - 1.644854 * 15.0, 30.0 + 1.644854 * 15.0), abs=1e-4)


def test_bands_that_meet_accept_nothing() -> None:
    assert guarded(Limits.about_zero(2.0), 1.0, 2.5).accept is None
    assert guarded(Limits.about_zero(2.0), 1.0, 1.9).accept == Limits(-2.0 + 1.9, 2.0 - 1.9)
    just = guarded(Limits.about_zero(2.0), 1.0, 2.0)
    assert just.judge(0.0) == "conforms"
    assert just.judge(1e-6) == "cannot be decided"


def test_limits_on_one_side_guard_one_side() -> None:
    rule = guarded(Limits(upper=10.0), 1.0, 2.0)
    assert rule.guards == (0.0, 2.0)
    assert [rule.judge(v) for v in (-1e9, 8.0, 9.0, 12.5)] == [
        "conforms", "conforms", "cannot be decided", "does not conform",
    ]  # fmt: skip


def test_without_uncertainty_all_rules_are_the_limit() -> None:
    limits = Limits.about_zero(3.0)
    for rule in (simple_acceptance(limits), guarded(limits, 0.0, 2.0), guarded_by_risk(limits, 0.0, 0.05)):
        assert [rule.judge(v) for v in (-3.0, 3.0, 3.001)] == ["conforms", "conforms", "does not conform"]


def test_few_degrees_of_freedom_widen_the_band() -> None:
    wide, narrow = (guarded_by_risk(Limits(upper=10.0), 1.0, 0.05, dof=d).guards[1] for d in (4.0, INF))
    assert (wide, narrow) == pytest.approx((2.132, 1.645), abs=5e-4)  # Student's table


# -- fleets ---------------------------------------------------------------------------------------


def test_the_fleet_pulls_a_reading_half_way_when_both_are_equally_good() -> None:
    prior = NormalPrior(0.0, 2.0)
    assert prior.given(4.0, 2.0) == pytest.approx((2.0, math.sqrt(2.0)), rel=1e-12)
    assert prior.given(4.0, 0.0) == (4.0, 0.0)
    p = probability_conforming_given(4.0, 2.0, Limits(upper=2.0), prior)
    assert p == pytest.approx(0.5, abs=1e-12)


def test_an_exact_measurement_errs_never_and_a_blind_one_by_chance() -> None:
    prior, limits = NormalPrior(0.0, 1.0), Limits.about_zero(1.0)
    exact = global_risks(prior, 0.0, limits, limits)
    assert (exact.consumer, exact.producer) == (0.0, 0.0)
    assert exact.accepted == pytest.approx(0.682689, abs=1e-6)
    nothing = global_risks(prior, 0.5, limits, None)
    assert (nothing.consumer, nothing.accepted) == (0.0, 0.0)
    assert nothing.producer == pytest.approx(nothing.conforming, abs=1e-15)
    assert math.isnan(nothing.wrong_among_accepted)
    all_taken = global_risks(prior, 0.5, limits, Limits.about_zero(1e6))
    assert all_taken.consumer == pytest.approx(1.0 - 0.682689, abs=1e-6)
    assert all_taken.right_among_rejected == 0.0 or math.isnan(all_taken.right_among_rejected)


def test_no_band_where_none_is_needed() -> None:
    rule = rule_for_consumers_risk(NormalPrior(0.0, 1.0), 0.1, Limits.about_zero(5.0), 0.01)
    assert rule.accept == rule.limits
    assert "no guard band needed" in rule.words


def test_a_rule_for_the_maker_reaches_beyond_the_limits_and_says_so() -> None:
    prior, limits = NormalPrior(0.0, 1.0), Limits.about_zero(2.0)
    rule = rule_for_producers_risk(prior, 0.5, limits, 0.001)
    assert rule.accept is not None
    assert rule.accept.upper > 2.0
    assert "OUTSIDE" in rule.words
    assert global_risks(prior, 0.5, limits, rule.accept).producer == pytest.approx(0.001, rel=1e-6)
    with pytest.raises(Refused, match="share of the fleet"):
        rule_for_producers_risk(prior, 0.5, limits, 0.99)


def test_one_sided_limits_have_global_rules_too() -> None:
    prior, limits = NormalPrior(0.0, 1.0), Limits(upper=1.0)
    rule = rule_for_consumers_risk(prior, 0.5, limits, 1e-4)
    assert rule.accept is not None
    assert rule.accept.lower == -INF
    assert global_risks(prior, 0.5, limits, rule.accept).consumer == pytest.approx(1e-4, rel=1e-6)


def test_a_fleet_that_conforms_by_itself_accepts_every_reading() -> None:
    rule = rule_for_specific_risk(NormalPrior(0.0, 1.0), 1e-9 + 5.0, Limits.about_zero(1e6), 0.05)
    assert [rule.judge(v) for v in (-1e5, 0.0, 1e5)] == ["conforms"] * 3


def test_a_fleet_outside_the_limits_accepts_no_reading() -> None:
    rule = rule_for_specific_risk(NormalPrior(10.0, 0.1), 5.0, Limits.about_zero(1.0), 0.05)
    assert rule.accept is None
    assert [rule.judge(v) for v in (0.0, 10.0, math.nan)] == [
        "does not conform",
        "does not conform",
        "cannot be decided",
    ]


def test_a_fleets_own_spread() -> None:
    # equal uncertainties: total variance less that of the measurement; 8/3 - 1 = 5/3 with values -2, 0, 0, 2
    prior = fleet_prior([-2.0, 0.0, 0.0, 2.0], 1.0)
    assert (prior.mean, prior.u**2) == pytest.approx((0.0, 5.0 / 3.0), rel=1e-9)
    with pytest.raises(Refused, match="its uncertainties explain"):
        fleet_prior([-1.0, 0.0, 1.0], 2.0)
    with pytest.raises(Refused, match="three or more"):
        fleet_prior([1.0, 2.0], 0.1)
    with pytest.raises(Refused, match="unknown"):
        fleet_prior([1.0, 2.0, math.nan], 0.1)


def test_laws_that_cannot_be_are_refused() -> None:
    for make in (
        lambda: Limits(1.0, 1.0), Limits, lambda: Limits(2.0, 1.0), lambda: Limits(math.nan, 1.0),
        lambda: NormalPrior(0.0, 0.0), lambda: GammaPrior(0.5, 1.0),
        lambda: guarded_by_risk(Limits(upper=1.0), 1.0, 0.6), lambda: guarded(Limits(upper=1.0), -1.0, 2.0),
        lambda: capability(0.1, Limits(upper=1.0)), lambda: specific_risk(0.0, math.nan, Limits(upper=1.0)),
        lambda: reading_that_proves(100.0, lambda v: v, 0.001), lambda: within_circle([0.0, 0.0], np.eye(2), 0.0),
        lambda: length_within([0.0], -np.eye(1), 1.0), lambda: rms_within([1.0], np.eye(1), 1.0, [-1.0]),
        lambda: rectangle_probability([0.0], np.eye(1), [1.0], [0.0]),
        lambda: rectangle_probability([0.0, 0.0], [[1.0, 2.0], [2.0, 1.0]], [0.0, 0.0], [1.0, 1.0]),
    ):  # fmt: skip
        with pytest.raises(Refused):
            make()


# -- circles, lengths, girders --------------------------------------------------------------------


def test_circles_with_less_than_two_directions_of_doubt() -> None:
    assert within_circle([0.6, 0.8], np.zeros((2, 2)), 1.0 + 1e-9) == 1.0
    assert within_circle([0.6, 0.8], np.zeros((2, 2)), 0.9) == 0.0
    # y known to be 0.6, so x lies within +-0.8 with its own law
    assert within_circle([0.0, 0.6], np.diag([0.16, 0.0]), 1.0) == pytest.approx(
        float(ndtr(2.0) - ndtr(-2.0)), rel=1e-12
    )
    assert within_circle([0.0, 1.1], np.diag([0.16, 0.0]), 1.0) == 0.0
    assert math.isnan(within_circle([0.0, math.nan], np.eye(2), 1.0))


def test_radial_verdicts() -> None:
    poor = 1e6 * np.eye(2)
    assert judge_radial([0.0, 0.0], poor, 30.0) == "cannot be decided"
    assert judge_radial([40.0, 0.0], poor, 30.0) == "cannot be decided"
    assert judge_radial([math.nan, 0.0], np.eye(2), 30.0) == "cannot be decided"
    assert judge_radial([5000.0, 0.0], poor, 30.0) == "does not conform"


def test_lengths_with_parts_that_are_known() -> None:
    # 0.6 known, the other normal: |v| <= 1 when it lies within +-0.8
    assert length_within([0.0, 0.6], np.diag([0.16, 0.0]), 1.0) == pytest.approx(
        float(ndtr(2.0) - ndtr(-2.0)), abs=1e-10
    )
    assert length_within([0.0, 1.1], np.diag([0.16, 0.0]), 1.0) == 0.0
    assert length_within([0.6, 0.8], np.zeros((2, 2)), 0.99) == 0.0
    assert math.isnan(length_within([math.nan], np.eye(1), 1.0))
    # two degrees of freedom have a closed form, 1 - exp(-1/2)
    assert length_within([0.0, 0.0], np.eye(2), 1.0) == pytest.approx(1.0 - math.exp(-0.5), abs=1e-10)
    assert chance_of_such_length([0.5], np.eye(1), 1.0) == 1.0
    assert math.isnan(chance_of_such_length([math.nan], np.eye(1), 1.0))


def test_a_length_is_not_proven_while_any_truth_within_could_give_it() -> None:
    # measured well in y and poorly in x: a reading of (0, 5) against 3 could come from (3, 0), two of whose u_x make 5 out of 3
    cov = np.diag([4.0, 0.01])
    assert 1.0 - length_within([0.0, 3.0], cov, 5.0) < 0.05  # a truth in the reading's own direction would not do
    from_x = 1.0 - float(ndtr(1.0) - ndtr(-4.0))  # P(|3 + 2 z| >= 5)
    assert chance_of_such_length([0.0, 5.0], cov, 3.0) == pytest.approx(
        from_x, abs=1e-3
    )  # y adds 0.01 / (2 * 5) to a length


def test_magnets_that_do_not_know_of_each_other_multiply() -> None:
    together = all_conform(girder([0.0, 10.0, -20.0], np.diag([25.0, 25.0, 25.0])), 30.0)
    single = [probability_within(v, 5.0, 30.0) for v in (0.0, 10.0, 20.0)]
    assert together.all_conform.probability == pytest.approx(math.prod(single), rel=1e-12)
    assert together.all_conform.error == 0.0
    assert together.each == pytest.approx(single, rel=1e-9)
    assert together.weakest == "M2.x"
    assert together.judge() == "conforms"


def test_one_shared_cause_is_one_fate() -> None:
    together = all_conform(girder([0.0, 0.0, 10.0], 25.0 * np.ones((3, 3))), 30.0)
    assert together.all_conform.probability == pytest.approx(
        together.at_most, abs=1e-6
    )  # the third decides, nearly alone
    assert together.if_independent < together.at_most


def test_many_poorly_measured_magnets_are_not_condemned() -> None:
    poor = all_conform(girder([0.0] * 12, 900.0 * np.eye(12)), 30.0)
    assert poor.all_conform.probability < 0.05
    assert poor.judge() == "cannot be decided"
    out = all_conform(girder([0.0, 45.0], np.diag([1.0, 25.0])), 30.0)
    assert out.judge() == "does not conform"
    assert out.proven_out() == ("M1.x",)
    # 1.8 u beyond: proven for one magnet alone, not as the worst of two at half the risk each
    assert all_conform(girder([39.0], 25.0 * np.eye(1)), 30.0).judge() == "does not conform"
    assert all_conform(girder([0.0, 39.0], 25.0 * np.eye(2)), 30.0).judge() == "cannot be decided"


def test_values_without_uncertainty_are_in_or_out() -> None:
    known = all_conform(girder([10.0, 29.0], np.diag([0.0, 4.0])), 30.0)
    assert known.all_conform.probability == pytest.approx(probability_within(29.0, 2.0, 30.0), rel=1e-12)
    beyond = all_conform(girder([31.0, 0.0], np.diag([0.0, 4.0])), 30.0)
    assert beyond.all_conform.probability == 0.0
    assert beyond.judge() == "does not conform"


def test_an_unknown_magnet_leaves_the_girder_undetermined() -> None:
    unknown = girder([0.0, math.nan], np.eye(2))
    for ask in (
        lambda: all_conform(unknown, 30.0),
        lambda: rms_conforms(unknown, 30.0),
        lambda: largest_within(unknown, 1.0),
    ):
        with pytest.raises(Undetermined, match=r"M1\.x"):
            ask()


def test_circles_that_do_not_know_of_each_other_multiply() -> None:
    e = Estimate.of(
        [3.0, 4.0, 0.0, 20.0], ["A.x", "A.y", "B.x", "B.y"], unit="um", frame="girder", causes={"n": 4.0 * np.eye(4)}
    )
    together = all_within_circles(e, [("A.x", "A.y"), ("B.x", "B.y")], [9.0, 24.0])
    assert together.all_conform.probability == pytest.approx(
        within_circle([3.0, 4.0], 4.0 * np.eye(2), 9.0) * within_circle([0.0, 20.0], 4.0 * np.eye(2), 24.0), rel=1e-12
    )
    assert together.names == ("A.x", "B.x")
    assert all_within_circles(e, [("B.x", "B.y")], 10.0).judge() == "does not conform"


def test_rms_of_known_values() -> None:
    known = girder([3.0, -4.0], np.zeros((2, 2)))
    assert rms_conforms(known, math.sqrt(12.5) + 1e-9) == 1.0
    assert rms_conforms(known, math.sqrt(12.5) - 1e-6) == 0.0
    assert rms_within([3.0, 100.0], np.eye(2), 5.0, [1.0, 0.0]) == pytest.approx(
        probability_within(3.0, 1.0, 5.0), abs=1e-10
    )
    assert judge_rms(girder([0.0] * 6, 1e4 * np.eye(6)), 30.0) == "cannot be decided"
