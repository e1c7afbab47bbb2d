"""Probabilities over circles, lengths and girders: the same answers by other formulas, by nested sums and by counting draws."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import dblquad, quad
from scipy.special import chndtr, ndtr

from monochord.ground.estimate import Estimate
from monochord.verdict.joint import all_conform, all_within_circles, joint_factor, rms_conforms
from monochord.verdict.joint_normal import rectangle_probability
from monochord.verdict.line import line_projector
from monochord.verdict.propagation_coverage import rectangle_factor_bound
from monochord.verdict.risk import Limits
from monochord.verdict.risk_global import global_risks, probability_conforming_given, rule_for_specific_risk
from monochord.verdict.risk_priors import GammaPrior, NormalPrior, Prior
from monochord.verdict.risk_radial import within_circle
from monochord.verdict.risk_rms import length_within, rms_within

Array = NDArray[np.float64]
DRAWS = 200_000


def four_deviations(p: float) -> float:
    """Four standard deviations of a share counted over the draws, and one draw."""
    return 4.0 * math.sqrt(max(p * (1.0 - p), 0.0) / DRAWS) + 1.0 / DRAWS


def covariance(rng: np.random.Generator, n: int) -> Array:
    a = rng.normal(size=(n, n)) * 10.0 ** rng.uniform(-1.0, 0.3, size=(n, 1))
    return np.asarray(a @ a.T)


@pytest.mark.parametrize(
    ("distance", "u", "radius"), [(0.0, 1.0, 1.0), (3.0, 2.0, 4.0), (29.0, 2.0, 30.0), (50.0, 5.0, 30.0)]
)
def test_circle_with_equal_axes_is_a_noncentral_chi_square(distance: float, u: float, radius: float) -> None:
    p = within_circle([distance * 0.6, distance * 0.8], u**2 * np.eye(2), radius)
    # scipy's series is good to about 1e-12
    assert p == pytest.approx(chndtr((radius / u) ** 2, 2, (distance / u) ** 2), abs=1e-11)


@pytest.mark.parametrize("seed", range(6))
def test_circle_with_any_covariance_by_a_nested_sum(seed: int) -> None:
    rng = np.random.default_rng(seed)
    cov, value = covariance(rng, 2), rng.normal(size=2)
    inverse, norm = np.linalg.inv(cov), 2.0 * math.pi * math.sqrt(np.linalg.det(cov))

    def density(t: float, r: float) -> float:
        d = np.array([r * math.cos(t), r * math.sin(t)]) - value
        return r * math.exp(-0.5 * float(d @ inverse @ d)) / norm

    expected, _ = dblquad(density, 0.0, 1.5, 0.0, 2.0 * math.pi, epsabs=1e-9, epsrel=1e-9)
    assert within_circle(value, cov, 1.5) == pytest.approx(expected, abs=1e-8)


def test_circle_and_length_agree_over_all_sizes() -> None:
    """Two entirely different sums; covariances from round to a thousand times longer than wide, values near the edge."""
    rng = np.random.default_rng(12)
    for k in range(150):
        a = rng.normal(size=(2, 2)) * 10.0 ** rng.uniform(-3.0, 1.0, size=(2, 1))
        value = rng.normal(size=2) * 10.0 ** rng.uniform(-2.0, 1.0)
        if k % 2:
            value *= (1.0 + rng.normal() * math.sqrt(np.trace(a @ a.T))) / np.linalg.norm(value)
        assert length_within(value, a @ a.T, 1.0) == pytest.approx(within_circle(value, a @ a.T, 1.0), abs=1e-10)


def test_length_with_equal_axes_is_a_noncentral_chi_square() -> None:
    rng = np.random.default_rng(13)
    for _ in range(100):
        n, u = int(rng.integers(1, 30)), 10.0 ** rng.uniform(-1.5, 1.0)
        value = rng.normal(size=n) * 10.0 ** rng.uniform(-2.0, 0.3)
        expected = chndtr(1.0 / u**2, n, float(value @ value) / u**2)
        assert length_within(value, u**2 * np.eye(n), 1.0) == pytest.approx(expected, abs=1e-10)


@pytest.mark.parametrize("seed", range(6))
def test_length_with_any_covariance_by_drawing(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    n = int(rng.integers(3, 9))
    cov, value = covariance(rng, n), rng.normal(size=n)
    limit = float(np.linalg.norm(value)) * rng.uniform(0.7, 1.6)
    drawn = value + rng.standard_normal((DRAWS, n)) @ np.linalg.cholesky(cov).T
    p = length_within(value, cov, limit)
    assert (np.linalg.norm(drawn, axis=1) <= limit).mean() == pytest.approx(p, abs=four_deviations(p))
    w = rng.uniform(0.1, 2.0, n)
    q = rms_within(value, cov, limit, w)
    rms = np.sqrt((w * drawn**2).sum(axis=1) / w.sum())
    assert (rms <= limit).mean() == pytest.approx(q, abs=four_deviations(q))


def test_three_unlike_squares_by_a_nested_sum() -> None:
    """One component is summed over, the other two left to the circle: three dimensions out of two."""
    cov, value, limit = np.diag([4.0, 1.0, 0.25]), np.array([1.0, -0.5, 0.4]), 2.5

    def slice_of(z: float) -> float:
        inside = within_circle(value[:2], cov[:2, :2], math.sqrt(limit**2 - z * z))
        return inside * math.exp(-2.0 * (z - value[2]) ** 2) / math.sqrt(2.0 * math.pi * 0.25)

    expected, _ = quad(slice_of, -limit + 1e-12, limit - 1e-12, epsabs=1e-12, epsrel=1e-12)
    assert length_within(value, cov, limit) == pytest.approx(expected, abs=1e-10)


@pytest.mark.parametrize("n", [2, 3, 5, 10, 20])
def test_orthants_of_equal_correlation(n: int) -> None:
    """All of n numbers correlated by one half are positive with probability 1 / (n + 1): known exactly."""
    found = rectangle_probability(np.zeros(n), 0.5 * np.eye(n) + 0.5, np.zeros(n), np.full(n, math.inf))
    assert found.probability == pytest.approx(1.0 / (n + 1.0), abs=found.error)
    assert found.error <= 2e-4


@pytest.mark.parametrize("r", [-0.95, -0.3, 0.4, 0.999])
def test_orthant_of_two(r: float) -> None:
    """Sheppard's formula, exact."""
    found = rectangle_probability([0.0, 0.0], [[1.0, r], [r, 1.0]], [0.0, 0.0], [math.inf, math.inf])
    assert found.probability == pytest.approx(0.25 + math.asin(r) / (2.0 * math.pi), abs=found.error)


@pytest.mark.parametrize("seed", range(8))
def test_rectangles_of_one_common_factor_by_a_single_sum(seed: int) -> None:
    """v_i = m_i + a_i f + s_i e_i: given f the components are independent, so one sum over f gives the exact probability."""
    rng = np.random.default_rng(200 + seed)
    n = int(rng.integers(3, 9))
    m, a, s, limit = rng.normal(size=n), rng.normal(size=n), rng.uniform(0.2, 1.0, n), rng.uniform(1.5, 3.0)

    def given(f: float) -> float:
        c = m + a * f
        return float(np.prod(ndtr((limit - c) / s) - ndtr((-limit - c) / s)) * math.exp(-0.5 * f * f))

    expected = quad(given, -9.0, 9.0, epsabs=1e-12, limit=200)[0] / math.sqrt(2.0 * math.pi)
    found = rectangle_probability(m, np.outer(a, a) + np.diag(s**2), -limit * np.ones(n), limit * np.ones(n))
    assert found.probability == pytest.approx(expected, abs=found.error + 1e-10)


@pytest.mark.parametrize("seed", range(6))
def test_offsets_from_their_own_line_are_singular_and_counted_right(seed: int) -> None:
    rng = np.random.default_rng(300 + seed)
    n = int(rng.integers(4, 9))
    z = np.sort(rng.uniform(0.0, 3.0, n))
    about = np.eye(n) - np.stack([np.ones(n), z], axis=1) @ line_projector(z, np.ones(n))
    root = about @ np.diag(rng.uniform(1.0, 3.0, n))
    value = about @ rng.normal(size=n) * 2.0
    limit = float(rng.uniform(3.0, 7.0))
    names = [f"M{k}.x" for k in range(n)]
    offsets = Estimate.of(value, names, unit="m", frame="girder", causes={"noise": root @ root.T})
    together = all_conform(offsets, limit)
    drawn = value + rng.standard_normal((DRAWS, n)) @ root.T
    share = float((np.abs(drawn) <= limit).all(axis=1).mean())
    p = together.all_conform
    assert share == pytest.approx(p.probability, abs=p.error + four_deviations(share))
    assert together.at_least - p.error <= p.probability <= together.at_most + p.error
    rms = rms_conforms(offsets, limit / 2.0)
    share = float((np.sqrt((drawn**2).mean(axis=1)) <= limit / 2.0).mean())
    assert share == pytest.approx(rms, abs=four_deviations(rms))


def test_circles_along_a_girder_by_drawing() -> None:
    rng = np.random.default_rng(5)
    names = [f"M{k}.{p}" for k in range(5) for p in "xy"]
    noise, shared = np.diag(rng.uniform(1.0, 9.0, 10)), rng.normal(size=(10, 2)) * 2.0
    value = rng.normal(size=10) * 2.0
    girder = Estimate.of(value, names, unit="m", frame="girder", causes={"noise": noise}).adding(
        "sag", shared, np.eye(2)
    )
    pairs = [(f"M{k}.x", f"M{k}.y") for k in range(5)]
    together = all_within_circles(girder, pairs, 6.0)
    drawn = value + rng.standard_normal((DRAWS, 10)) @ np.linalg.cholesky(girder.cov).T
    inside = np.linalg.norm(drawn.reshape(-1, 5, 2), axis=2) <= 6.0
    share = float(inside.all(axis=1).mean())
    p = together.all_conform
    assert share == pytest.approx(p.probability, abs=p.error + four_deviations(share))
    for k in range(5):
        assert inside[:, k].mean() == pytest.approx(together.each[k], abs=four_deviations(float(together.each[k])))


def test_joint_factor_by_drawing() -> None:
    rng = np.random.default_rng(6)
    cov = covariance(rng, 6)
    e = Estimate.of(np.zeros(6), list("abcdef"), unit="m", frame="girder", causes={"noise": cov})
    k = joint_factor(e, 0.95)
    drawn = rng.standard_normal((DRAWS, 6)) @ np.linalg.cholesky(cov).T
    share = float((np.abs(drawn) <= k * e.u).all(axis=1).mean())
    assert share == pytest.approx(0.95, abs=four_deviations(0.95))
    assert 1.95996 < k < rectangle_factor_bound(0.95, 6)
    # without correlation the part of each is the sixth root
    free = Estimate.of(np.zeros(6), list("abcdef"), unit="m", frame="girder", causes={"noise": np.eye(6)})
    assert 2.0 * ndtr(joint_factor(free, 0.95)) - 1.0 == pytest.approx(0.95 ** (1.0 / 6.0), abs=1e-9)


PRIORS: list[Prior] = [NormalPrior(0.2, 0.7), GammaPrior(4.0, 0.25), GammaPrior(1.0, 0.5)]


@pytest.mark.parametrize("prior", PRIORS)
@pytest.mark.parametrize("u", [0.02, 0.3, 2.0])
def test_risks_of_a_fleet_by_adaptive_sums(prior: Prior, u: float) -> None:
    limits, accept = Limits(-0.3, 1.7), Limits(-0.1, 1.5)

    def f(y: float) -> float:
        return float(np.exp(prior.log_density(np.array([y])))[0])

    def taken(y: float) -> float:
        return float(ndtr((accept.upper - y) / u) - ndtr((accept.lower - y) / u))

    spots = [-0.3, -0.1, 0.0, 1.5, 1.7]

    def total(g: object, a: float, b: float) -> float:
        return float(quad(g, a, b, epsabs=1e-12, limit=400, points=[p for p in spots if a < p < b])[0])

    risks = global_risks(prior, u, limits, accept)
    outside = total(lambda y: f(y) * taken(y), -8.0, -0.3) + total(lambda y: f(y) * taken(y), 1.7, 12.0)
    assert risks.consumer == pytest.approx(outside, abs=1e-9)
    assert risks.producer == pytest.approx(total(lambda y: f(y) * (1.0 - taken(y)), -0.3, 1.7), abs=1e-9)
    assert risks.conforming == pytest.approx(total(f, -0.3, 1.7), abs=1e-9)
    for reading in (-1.0, 0.4, 1.6, 3.0):

        def after(y: float, reading: float = reading) -> float:
            return f(y) * math.exp(-0.5 * ((reading - y) / u) ** 2)

        whole = total(after, -8.0, -0.3) + total(after, -0.3, 1.7) + total(after, 1.7, 12.0)
        if whole > 1e-30:  # below, the adaptive sum finds nothing
            p = probability_conforming_given(reading, u, limits, prior)
            assert p == pytest.approx(total(after, -0.3, 1.7) / whole, abs=1e-7)


@pytest.mark.parametrize("prior", PRIORS)
def test_a_rule_for_one_item_meets_its_risk_at_its_edges(prior: Prior) -> None:
    limits, u = Limits(-0.3, 1.7), 0.3
    rule = rule_for_specific_risk(prior, u, limits, 0.02)
    assert rule.accept is not None
    for edge in rule.accept.finite:
        if abs(edge) < 1e6:  # a fleet that cannot lie below has no lower edge
            assert probability_conforming_given(edge, u, limits, prior) == pytest.approx(0.98, abs=1e-6)
    assert probability_conforming_given(rule.reject[1], u, limits, prior) == pytest.approx(0.02, abs=1e-6)
