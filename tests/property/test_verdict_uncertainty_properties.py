"""Propagation, risks, joint probabilities and shifts: what holds whatever the numbers are."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from monochord.ground.estimate import Estimate, Factor, Label
from monochord.verdict.dof import effective_dof
from monochord.verdict.joint import all_conform, joint_factor
from monochord.verdict.joint_normal import rectangle_probability
from monochord.verdict.monte_carlo_intervals import numerical_tolerance, shortest_interval, symmetric_interval
from monochord.verdict.propagation import beyond_linear, propagate
from monochord.verdict.propagation_coverage import coverage_factor, ellipsoid_factor, rectangle_factor_bound
from monochord.verdict.risk import Limits, probability_conforming, specific_risk
from monochord.verdict.risk_global import global_risks, probability_conforming_given, rule_for_consumers_risk
from monochord.verdict.risk_guard import guarded, guarded_by_risk, simple_acceptance
from monochord.verdict.risk_priors import NormalPrior, fleet_prior
from monochord.verdict.risk_radial import judge_radial, within_circle
from monochord.verdict.risk_rms import chance_of_such_length, length_within
from monochord.verdict.shifts import judge_shift
from monochord.verdict.shifts_equivalence import moved_less_than, vector_moved_less_than

Array = NDArray[np.float64]
seeds = st.integers(0, 2**32 - 1)
values = st.floats(-50.0, 50.0)
spreads = st.floats(0.05, 20.0)
risks = st.floats(0.001, 0.4)


def covariance(rng: np.random.Generator, n: int, rank: int | None = None) -> Array:
    a = rng.normal(size=(n, rank or n))
    return np.asarray(a @ a.T)


def vector(rng: np.random.Generator, n: int, rank: int | None = None) -> Estimate:
    names = [f"M{k}.x" for k in range(n)]
    return Estimate.of(
        2.0 * rng.normal(size=n), names, unit="um", frame="girder", causes={"noise": covariance(rng, n, rank)}
    )


def turn(rng: np.random.Generator, n: int) -> Array:
    return np.asarray(np.linalg.qr(rng.normal(size=(n, n)))[0])


# -- propagation and degrees of freedom -----------------------------------------------------------


@given(seeds)
@settings(max_examples=30, deadline=None)
def test_a_straight_function_is_carried_like_its_matrix(seed: int) -> None:
    rng = np.random.default_rng(seed)
    j, e = rng.normal(size=(3, 4)), vector(rng, 4)
    labels = [Label(f"y{k}", "um", "girder") for k in range(3)]
    found, exact = propagate(lambda v: j @ v + 1.0, e, labels), e.through(j, labels)
    scale = float(np.abs(exact.cov).max())
    np.testing.assert_allclose(found.cov, exact.cov, atol=1e-8 * scale)  # slopes by differences: nine digits
    np.testing.assert_allclose(propagate(lambda v: j @ v, e, labels, jacobian=j).cov, exact.cov, atol=1e-13 * scale)


@given(seeds)
@settings(max_examples=30, deadline=None)
def test_a_chain_of_functions_is_the_function_of_the_chain(seed: int) -> None:
    rng = np.random.default_rng(seed)
    e = vector(rng, 3)
    labels = [Label("a", "1", "girder"), Label("b", "1", "girder")]

    def first(v: Array) -> Array:
        return np.array([np.sin(v[0] + 0.1 * v[1]), v[1] + 0.1 * v[2] ** 2])

    def second(v: Array) -> Array:
        return np.array([v[0] * v[1], v[0] - v[1]])

    chained = propagate(second, propagate(first, e, labels), labels)
    at_once = propagate(lambda v: second(first(v)), e, labels)
    np.testing.assert_allclose(chained.value, at_once.value, atol=1e-12)
    np.testing.assert_allclose(chained.cov, at_once.cov, atol=1e-6 * float(np.abs(at_once.cov).max()))


@given(seeds, st.integers(1, 4))
@settings(max_examples=30, deadline=None)
def test_moments_of_second_degree_are_those_of_the_draws_in_exact_form(seed: int, n: int) -> None:
    """Derived: for y = b'v + v'Cv / 2 with v normal about zero, mean = tr(CV)/2 and variance = b'Vb + tr(CVCV)/2."""
    rng = np.random.default_rng(seed)
    e = Estimate.of(np.zeros(n), list("abcd")[:n], unit="1", frame="bench", causes={"noise": covariance(rng, n)})
    b, c = rng.normal(size=n), rng.normal(size=(n, n))
    c = c + c.T
    more = beyond_linear(lambda v: b @ v + 0.5 * v @ c @ v, e)
    cv = c @ e.cov
    size = float(np.trace(cv @ cv)) + 1.0
    assert more.shift[0] == pytest.approx(0.5 * np.trace(cv), abs=1e-8 * size)
    assert more.cov[0, 0] == pytest.approx(0.5 * np.trace(cv @ cv), abs=1e-7 * size)


@given(st.lists(st.tuples(st.floats(0.01, 10.0), st.floats(1.0, 100.0)), min_size=1, max_size=6), st.floats(0.1, 10.0))
@settings(max_examples=80, deadline=None)
def test_effective_degrees_of_freedom_lie_between_the_smallest_and_the_sum(
    causes: list[tuple[float, float]], unit: float
) -> None:
    shares = {f"c{k}": np.array([[u * u]]) for k, (u, _) in enumerate(causes)}
    e = Estimate.of([0.0], ["a"], unit="m", frame="girder", causes=shares)
    scaled = e.through(np.array([[unit]]), e.labels)
    dof = {f"c{k}": nu for k, (_, nu) in enumerate(causes)}
    [nu] = effective_dof(e, dof)
    assert min(dof.values()) * (1.0 - 1e-9) <= nu <= sum(dof.values()) * (1.0 + 1e-9)
    assert effective_dof(scaled, dof)[0] == pytest.approx(nu, rel=1e-9)  # no unit of length in it
    assert effective_dof(e, {})[0] == math.inf
    [strict] = effective_dof(e, dof, together=[list(dof)])
    assert strict == pytest.approx(min(dof.values()), rel=1e-9)


@given(st.floats(0.5, 0.999), st.floats(1.0, 1e4), st.integers(1, 8))
@settings(max_examples=60, deadline=None)
def test_coverage_factors_fall_with_knowledge_and_rise_with_dimension(p: float, dof: float, m: int) -> None:
    assert coverage_factor(p, dof) >= coverage_factor(p) - 1e-9
    assert coverage_factor(p, 1e9) == pytest.approx(coverage_factor(p), rel=1e-6)
    assert ellipsoid_factor(p, m + 1) > ellipsoid_factor(p, m)
    assert rectangle_factor_bound(p, m + 1) > rectangle_factor_bound(p, m)
    # the ellipsoid's shadow on an axis is wider than the interval of the rectangle
    assert ellipsoid_factor(p, m) >= coverage_factor(p) - 1e-9


@given(st.floats(1e-12, 1e12), st.integers(1, 3))
@settings(max_examples=80, deadline=None)
def test_numerical_tolerance_is_half_a_unit_of_a_number_of_so_many_digits(u: float, digits: int) -> None:
    delta = numerical_tolerance(u, digits)
    whole = round(u / (2.0 * delta))
    assert 10 ** (digits - 1) <= whole <= 10**digits
    assert abs(u - whole * 2.0 * delta) <= delta * (1.0 + 1e-9)


@given(seeds, st.floats(0.5, 0.98))
@settings(max_examples=40, deadline=None)
def test_intervals_hold_their_share_and_the_shortest_is_the_shorter(seed: int, p: float) -> None:
    drawn = np.sort(np.random.default_rng(seed).gamma(2.0, size=2000))
    held = []
    for low, high in (symmetric_interval(drawn, p), shortest_interval(drawn, p)):
        assert ((drawn >= low) & (drawn <= high)).mean() == pytest.approx(p, abs=1.5 / 2000)
        held.append(float(high - low))
    assert held[1] <= held[0]


# -- one value against limits ---------------------------------------------------------------------


@given(values, spreads, st.floats(1.0, 60.0), st.floats(0.1, 10.0))
@settings(max_examples=80, deadline=None)
def test_probability_of_conformity_is_free_of_units_and_of_sides(
    value: float, u: float, limit: float, unit: float
) -> None:
    limits = Limits.about_zero(limit)
    p = probability_conforming(value, u, limits)
    assert 0.0 <= p <= 1.0
    assert probability_conforming(-value, u, limits) == pytest.approx(p, abs=1e-14)
    assert probability_conforming(value * unit, u * unit, Limits.about_zero(limit * unit)) == pytest.approx(p, abs=1e-9)
    assert probability_conforming(value + 7.0, u, Limits(7.0 - limit, 7.0 + limit)) == pytest.approx(p, abs=1e-9)
    assert p <= probability_conforming(value, u, Limits(upper=limit)) + 1e-15
    risk = specific_risk(value, u, limits)
    assert risk.accepting + risk.rejecting == pytest.approx(1.0, abs=1e-15)


@given(values, st.floats(1.0, 60.0))
@settings(max_examples=50, deadline=None)
def test_probability_becomes_certainty_as_the_uncertainty_goes(value: float, limit: float) -> None:
    assume(abs(abs(value) - limit) > 1e-3)
    certain = float(abs(value) <= limit)
    limits = Limits.about_zero(limit)
    assert probability_conforming(value, 0.0, limits) == certain
    assert probability_conforming(value, 1e-5, limits) == pytest.approx(certain, abs=1e-12)
    assert within_circle([value * 0.6, value * 0.8], 1e-10 * np.eye(2), limit) == pytest.approx(certain, abs=1e-9)
    assert length_within([value * 0.6, value * 0.8], 1e-10 * np.eye(2), limit) == pytest.approx(certain, abs=1e-9)


@given(st.floats(0.05, 40.0), st.floats(1.0, 60.0), risks)
@settings(max_examples=60, deadline=None)
def test_what_is_accepted_has_at_most_the_accepted_risk(u: float, limit: float, risk: float) -> None:
    limits = Limits.about_zero(limit)
    rule = guarded_by_risk(limits, u, risk)
    if rule.accept is None:
        assert probability_conforming(0.0, u, limits) <= 1.0 - risk
    else:
        assert probability_conforming(rule.accept.upper, u, limits) == pytest.approx(1.0 - risk, abs=1e-9)
        assert rule.accept.lower == pytest.approx(-rule.accept.upper, abs=1e-9 * limit)
        assert simple_acceptance(limits).judge(rule.accept.upper) == "conforms"
    # whoever is said not to conform lies beyond, with the risk at most
    beyond = rule.reject[1]
    assert probability_conforming(beyond, u, limits) <= risk + 1e-12
    assert rule.judge(beyond * 1.0001 + 1e-9) == "does not conform"


@given(spreads, st.floats(0.0, 3.0), st.floats(0.0, 3.0), values)
@settings(max_examples=60, deadline=None)
def test_a_wider_band_never_turns_a_verdict_round(u: float, narrow: float, more: float, value: float) -> None:
    limits = Limits.about_zero(30.0)
    before, after = (guarded(limits, u, g).judge(value) for g in (narrow, narrow + more))
    assert after in (before, "cannot be decided")


# -- fleets ---------------------------------------------------------------------------------------


@given(st.floats(-1.0, 1.0), st.floats(0.1, 2.0), st.floats(0.01, 2.0), st.floats(-0.3, 0.9))
@settings(max_examples=60, deadline=None)
def test_shares_of_a_fleet_add_up(mean: float, spread: float, u: float, guard: float) -> None:
    limits, accept = Limits.about_zero(1.0), Limits.about_zero(1.0 - guard)
    found = global_risks(NormalPrior(mean, spread), u, limits, accept)
    # accepted = conforming and accepted + not conforming and accepted
    assert found.accepted == pytest.approx(found.conforming - found.producer + found.consumer, abs=1e-12)
    # readings scatter by both: the share accepted is that of a normal law with the sum of the variances
    total = math.hypot(spread, u)
    assert found.accepted == pytest.approx(probability_conforming(mean, total, accept), abs=1e-10)
    assert found.conforming == pytest.approx(probability_conforming(mean, spread, limits), abs=1e-12)
    mirrored = global_risks(NormalPrior(-mean, spread), u, limits, accept)
    assert mirrored.consumer == pytest.approx(found.consumer, abs=1e-12)


@given(st.floats(-0.5, 0.5), st.floats(0.3, 2.0), st.floats(0.05, 1.0), st.floats(1e-4, 0.02))
@settings(max_examples=30, deadline=None)
def test_a_rule_for_a_risk_has_that_risk(mean: float, spread: float, u: float, risk: float) -> None:
    prior, limits = NormalPrior(mean, spread), Limits.about_zero(1.0)
    rule = rule_for_consumers_risk(prior, u, limits, risk)
    found = global_risks(prior, u, limits, rule.accept).consumer
    if rule.accept == limits:
        assert found <= risk
    else:
        assert found == pytest.approx(risk, rel=1e-6)


@given(values, spreads)
@settings(max_examples=40, deadline=None)
def test_a_fleet_of_which_nothing_is_known_changes_nothing(value: float, u: float) -> None:
    limits = Limits.about_zero(30.0)
    vague = probability_conforming_given(value, u, limits, NormalPrior(0.0, 1e7))
    assert vague == pytest.approx(probability_conforming(value, u, limits), abs=1e-9)


@given(seeds, st.floats(0.0, 0.5))
@settings(max_examples=30, deadline=None)
def test_a_fleets_spread_is_found_again(seed: int, u: float) -> None:
    rng = np.random.default_rng(seed)
    truth = rng.normal(3.0, 1.0, 400)
    prior = fleet_prior(truth + u * rng.normal(size=400), u)
    # five standard deviations of a mean and of a spread of 400
    total = math.hypot(1.0, u)
    assert prior.mean == pytest.approx(3.0, abs=5.0 * total / 20.0)
    assert prior.u == pytest.approx(1.0, abs=5.0 * total**2 / math.sqrt(800.0))


# -- circles, lengths, girders --------------------------------------------------------------------


@given(seeds, st.floats(0.2, 8.0))
@settings(max_examples=40, deadline=None)
def test_circles_and_lengths_do_not_know_directions_or_units(seed: int, limit: float) -> None:
    rng = np.random.default_rng(seed)
    for n, within in ((2, within_circle), (2, length_within), (5, length_within)):
        cov, value, q = covariance(rng, n), rng.normal(size=n), turn(rng, n)
        p = within(value, cov, limit)
        assert 0.0 <= p <= 1.0
        assert within(q @ value, q @ cov @ q.T, limit) == pytest.approx(p, abs=1e-9)
        assert within(1e-6 * value, 1e-12 * cov, 1e-6 * limit) == pytest.approx(p, abs=1e-9)
        assert within(-value, cov, limit) == pytest.approx(p, abs=1e-9)
        assert within(value, cov, 1.1 * limit) >= p - 1e-10


@given(seeds, st.floats(0.05, 0.4))
@settings(max_examples=25, deadline=None)
def test_a_proven_length_is_proven_and_verdicts_are_exclusive(seed: int, risk: float) -> None:
    rng = np.random.default_rng(seed)
    cov, value = covariance(rng, 2), 4.0 * rng.normal(size=2)
    chance = chance_of_such_length(value, cov, 2.0)
    assert 0.0 <= chance <= 1.0
    assert chance_of_such_length(1.3 * value, cov, 2.0) <= chance + 1e-9
    # no truth on the circle, wherever it lies, makes such a reading likelier
    length = float(np.linalg.norm(value))
    if length > 2.0:
        around = ([2.0 * math.cos(t), 2.0 * math.sin(t)] for t in np.linspace(0.0, math.pi, 12))
        assert max(1.0 - length_within(truth, cov, length) for truth in around) <= chance + 1e-9
    verdict = judge_radial(value, cov, 2.0, risk)
    if verdict == "does not conform":
        assert np.linalg.norm(value) > 2.0
        assert chance <= risk
    if verdict == "conforms":
        assert within_circle(value, cov, 2.0) >= 1.0 - risk


@given(seeds, st.integers(2, 6), st.floats(0.5, 6.0))
@settings(max_examples=25, deadline=None)
def test_joint_probability_keeps_its_bounds_and_symmetries(seed: int, n: int, limit: float) -> None:
    rng = np.random.default_rng(seed)
    e = vector(rng, n, int(rng.integers(1, n + 1)))
    together = all_conform(e, limit, tolerance=1e-3)
    # asked for to 1e-3; an error found much smaller than that may itself be found wrongly
    p, error = together.all_conform.probability, max(together.all_conform.error, 1e-3)
    assert together.at_least - error - 1e-9 <= p <= together.at_most + error + 1e-9
    assert all_conform(e, 1.2 * limit, tolerance=1e-3).all_conform.probability >= p - 2.0 * error - 1e-9
    order = rng.permutation(n)
    mixed = all_conform(e.pick([e.names[k] for k in order]), limit, tolerance=1e-3).all_conform
    assert mixed.probability == pytest.approx(p, abs=2.0 * error + mixed.error)
    # a mirrored girder: signs of single components change, their limits do not
    sign = rng.choice([-1.0, 1.0], n)
    other = all_conform(e.through(np.diag(sign), e.labels), limit, tolerance=1e-3).all_conform
    assert other.probability == pytest.approx(p, abs=2.0 * error + other.error)
    assert all_conform(e, limit, tolerance=1e-3).all_conform == together.all_conform  # the same data, the same digits


def test_a_rectangle_is_split_into_parts_that_add_up() -> None:
    """Sixty rectangles; the stated error is one of 99 in 100, so 5 beyond it have a chance below 1 in 2,000 (binomial)."""
    tolerance, beyond = 1e-3, 0
    for seed in range(60):
        n = 2 + seed % 4
        rng = np.random.default_rng(seed)
        cov, mean = covariance(rng, n), rng.normal(size=n)
        low, high = -2.0 * np.ones(n), 2.0 * np.ones(n)
        cut_high, cut_low = high.copy(), low.copy()
        cut_high[0] = cut_low[0] = float(rng.uniform(-2.0, 2.0))
        whole, left, right = (
            rectangle_probability(mean, cov, a, b, tolerance=tolerance)
            for a, b in ((low, high), (low, cut_high), (cut_low, high))
        )
        apart = abs(left.probability + right.probability - whole.probability)
        assert apart <= 3.0 * tolerance  # each of the three was asked for to this
        beyond += apart > whole.error + left.error + right.error + 1e-9
    assert beyond < 5


@given(seeds, st.integers(1, 5))
@settings(max_examples=15, deadline=None)
def test_joint_factor_lies_between_one_and_all(seed: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    e = vector(rng, n, int(rng.integers(1, n + 1)))
    k = joint_factor(e, 0.9)
    assert coverage_factor(0.9) - 1e-3 <= k <= rectangle_factor_bound(0.9, n) + 1e-3  # the lattice's own error


# -- shifts ---------------------------------------------------------------------------------------


@given(seeds, st.integers(1, 5))
@settings(max_examples=40, deadline=None)
def test_the_test_of_a_shift_does_not_depend_on_how_it_is_written(seed: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    d = vector(rng, n)
    assume(np.linalg.cond(d.cov) < 1e6)
    tested = judge_shift(d)
    mix = rng.normal(size=(n, n)) + 3.0 * np.eye(n)
    assume(np.linalg.cond(mix) < 1e3)
    other = judge_shift(d.through(mix, d.labels))
    assert other.square == pytest.approx(tested.square, rel=1e-5)
    assert other.probability == pytest.approx(tested.probability, rel=1e-4, abs=1e-12)
    assert tested.square == pytest.approx(float(d.value @ np.linalg.solve(d.cov, d.value)), rel=1e-6)
    # no single component can say more than all together
    assert max(c.ratio**2 for c in tested.components) <= tested.square * (1.0 + 1e-9)


@given(values, spreads, st.floats(0.1, 60.0), st.floats(0.01, 0.3))
@settings(max_examples=80, deadline=None)
def test_answers_exclude_each_other_and_grow_with_the_limit(value: float, u: float, limit: float, level: float) -> None:
    asked = moved_less_than(value, u, limit, level=level)
    assert asked.moved_more + asked.moved_less == pytest.approx(1.0, abs=1e-12)
    assert moved_less_than(-value, u, limit, level=level).answer == asked.answer
    rank = {"no": 0, "cannot be decided": 1, "yes": 2}
    assert rank[moved_less_than(value, u, 1.5 * limit, level=level).answer] >= rank[asked.answer]
    assert (asked.answer == "yes") == (limit >= asked.answerable) or limit == pytest.approx(asked.answerable, rel=1e-9)
    assert rank[moved_less_than(value, u, limit, level=level, dof=3.0).answer] in (rank[asked.answer], 1)


@given(seeds, st.integers(1, 4), st.floats(0.5, 30.0))
@settings(max_examples=25, deadline=None)
def test_answers_for_vectors_do_not_know_directions(seed: int, n: int, limit: float) -> None:
    rng = np.random.default_rng(seed)
    d = vector(rng, n)
    asked, turned = (vector_moved_less_than(e, limit) for e in (d, d.through(turn(rng, n), d.labels)))
    assert turned.moved_more == pytest.approx(asked.moved_more, abs=1e-8)
    assert turned.moved_less == pytest.approx(asked.moved_less, abs=1e-8)
    assert turned.answerable == pytest.approx(asked.answerable, rel=1e-6)
    if limit > asked.answerable * (1.0 + 1e-6):
        assert asked.answer == "yes"


@given(seeds)
@settings(max_examples=20, deadline=None)
def test_a_shared_cause_cancels_in_every_difference(seed: int) -> None:
    rng = np.random.default_rng(seed)
    along = rng.normal(size=(3, 1))
    labels = tuple(Label(f"M{k}.x", "um", "girder") for k in range(3))
    before, after = (
        Estimate(
            rng.normal(size=3), labels, {own: Factor(np.eye(3), np.eye(3)), "sag": Factor(along, np.array([[100.0]]))}
        )
        for own in ("bench", "tunnel")
    )
    np.testing.assert_allclose((after - before).cov, 2.0 * np.eye(3), atol=1e-12)
