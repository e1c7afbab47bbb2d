"""What holds for every adjustment, whatever its numbers."""

from __future__ import annotations

from typing import TypedDict

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from monochord.ground.faults import Undetermined
from monochord.ground.least_squares import adjust, inner_constraints
from monochord.ground.nonlinear import fit
from monochord.ground.reliability import estimated_errors, group_factors, quadratic_form, standardised_residuals

Array = NDArray[np.float64]
seeds = st.integers(0, 2**32 - 1)
LOOSE = 1e-9  # rounding of well-conditioned problems of up to 12 readings, with room for an unlucky design


class Noise(TypedDict, total=False):
    sigma: Array
    covariance: Array


def problem(seed: int, *, correlated: bool = False) -> tuple[Array, Array, Noise]:
    """A random design of 5 to 12 readings for 1 to 4 unknowns, readings, and their uncertainty."""
    rng = np.random.default_rng(seed)
    n, u = int(rng.integers(5, 13)), int(rng.integers(1, 5))
    sigma = rng.uniform(0.5, 2.0, n)
    if not correlated:
        return rng.normal(size=(n, u)), rng.normal(size=n), {"sigma": sigma}
    mix = rng.normal(size=(n, n))
    return rng.normal(size=(n, u)), rng.normal(size=n), {"covariance": np.diag(sigma**2) + 0.1 * mix @ mix.T}


@given(seeds, st.booleans())
@settings(max_examples=60, deadline=None)
def test_redundancy_numbers_add_up_to_the_degrees_of_freedom(seed: int, correlated: bool) -> None:
    design, y, noise = problem(seed, correlated=correlated)
    net = adjust(design, y, **noise)
    assert net.redundancy.sum() == pytest.approx(net.dof, abs=LOOSE)
    if not correlated:
        assert (net.redundancy > -LOOSE).all()
        assert (net.redundancy < 1.0 + LOOSE).all()
        np.testing.assert_allclose(net.information, net.redundancy / noise["sigma"] ** 2, atol=LOOSE)


@given(seeds, st.booleans())
@settings(max_examples=60, deadline=None)
def test_residuals_stand_orthogonal_to_the_design_and_the_gain_gives_the_unknowns(seed: int, correlated: bool) -> None:
    design, y, noise = problem(seed, correlated=correlated)
    net = adjust(design, y, **noise)
    np.testing.assert_allclose(design.T @ net.weighted_residuals, 0.0, atol=LOOSE)
    np.testing.assert_allclose(net.gain @ y, net.x, atol=LOOSE * net.condition)
    np.testing.assert_allclose(net.gain @ design, np.eye(design.shape[1]), atol=LOOSE)
    covariance = noise.get("covariance", np.diag(noise.get("sigma", np.ones(len(y))) ** 2))
    np.testing.assert_allclose(net.gain @ covariance @ net.gain.T, net.cofactor, atol=LOOSE * net.condition)
    assert net.omega == pytest.approx(float(net.residuals @ net.weighted_residuals), rel=1e-9)


@given(seeds, st.floats(1e-6, 1e6))
@settings(max_examples=40, deadline=None)
def test_scaling_all_uncertainties_leaves_the_unknowns_and_their_posterior_uncertainty(
    seed: int, factor: float
) -> None:
    design, y, noise = problem(seed)
    net, scaled = adjust(design, y, **noise), adjust(design, y, sigma=factor * noise["sigma"])
    np.testing.assert_allclose(scaled.x, net.x, atol=LOOSE)
    np.testing.assert_allclose(scaled.posterior_u, net.posterior_u, rtol=1e-7)
    np.testing.assert_allclose(scaled.u, factor * net.u, rtol=1e-7)
    assert scaled.variance_factor * factor**2 == pytest.approx(net.variance_factor, rel=1e-9)


@given(seeds, st.lists(st.floats(1e-8, 1e8), min_size=4, max_size=4))
@settings(max_examples=40, deadline=None)
def test_units_of_the_unknowns_do_not_enter(seed: int, units: list[float]) -> None:
    """Metres beside radians: a column in another unit gives the same readings, residuals and condition."""
    design, y, noise = problem(seed)
    scale = np.array(units[: design.shape[1]])
    net, other = adjust(design, y, **noise), adjust(design * scale, y, **noise)
    np.testing.assert_allclose(other.x * scale, net.x, atol=LOOSE)
    np.testing.assert_allclose(other.residuals, net.residuals, atol=LOOSE)
    assert other.condition == pytest.approx(net.condition, rel=1e-6)


@given(seeds, st.booleans())
@settings(max_examples=40, deadline=None)
def test_leaving_a_reading_out_drops_omega_by_its_squared_test_number(seed: int, correlated: bool) -> None:
    """For correlated readings leaving one out means giving it a free error of its own."""
    design, y, noise = problem(seed, correlated=correlated)
    net = adjust(design, y, **noise)
    i = seed % len(y)
    own = np.zeros((len(y), 1))
    own[i] = 1.0
    freed = adjust(np.hstack([design, own]), y, **noise)
    assert net.omega - freed.omega == pytest.approx(standardised_residuals(net)[i] ** 2, rel=1e-6, abs=1e-8)
    assert freed.x[-1] == pytest.approx(estimated_errors(net)[i], rel=1e-6, abs=1e-8)


def levelling(seed: int) -> tuple[Array, Array]:
    """A random net of height differences among 4 to 7 marks, all tied together, and its readings."""
    rng = np.random.default_rng(seed)
    marks = int(rng.integers(4, 8))
    pairs = [(k, k + 1) for k in range(marks - 1)]
    pairs += [(i, j) for i in range(marks) for j in range(i + 2, marks) if rng.random() < 0.5]
    design = np.zeros((len(pairs), marks))
    for row, (i, j) in enumerate(pairs):
        design[row, i], design[row, j] = -1.0, 1.0
    return design, rng.normal(size=len(pairs))


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_residuals_and_tests_do_not_depend_on_the_datum_and_inner_constraints_have_the_smallest_trace(
    seed: int,
) -> None:
    design, y = levelling(seed)
    marks = design.shape[1]
    free = adjust(design, y, constraints=inner_constraints(design))
    assert free.dof == len(y) - marks + 1
    for mark in range(marks):
        held = adjust(design, y, constraints=np.eye(marks)[[mark]])
        np.testing.assert_allclose(held.residuals, free.residuals, atol=LOOSE)
        np.testing.assert_allclose(held.redundancy, free.redundancy, atol=LOOSE)
        np.testing.assert_allclose(np.diff(held.x), np.diff(free.x), atol=LOOSE)
        assert np.trace(free.cofactor) < np.trace(held.cofactor)
        a, b = quadratic_form(free.x, free.cofactor), quadratic_form(held.x, held.cofactor)
        assert a[1] == b[1] == marks - 1
        assert a[0] == pytest.approx(b[0], rel=1e-8, abs=1e-8)


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_without_a_datum_every_mark_is_named(seed: int) -> None:
    design, y = levelling(seed)
    names = [f"P{k}" for k in range(design.shape[1])]
    with pytest.raises(Undetermined) as caught:
        adjust(design, y, names=names)
    assert list(caught.value.unknowns) == names


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_a_very_sure_reading_acts_as_a_constraint(seed: int) -> None:
    design, y, noise = problem(seed)
    assume(design.shape[1] > 1)
    rng = np.random.default_rng(seed + 1)
    c = rng.normal(size=design.shape[1])
    bound = adjust(design, y, constraints=[c], constraint_values=[1.0], **noise)
    sure = adjust(np.vstack([c, design]), np.concatenate([[1.0], y]), sigma=np.concatenate([[1e-7], noise["sigma"]]))
    np.testing.assert_allclose(sure.x, bound.x, atol=1e-6 * (1.0 + np.abs(bound.x).max()))
    np.testing.assert_allclose(sure.cofactor, bound.cofactor, atol=1e-6 * (1.0 + np.abs(bound.cofactor).max()))
    assert sure.dof == bound.dof
    assert c @ bound.x == pytest.approx(1.0, abs=LOOSE)


@given(seeds, st.booleans())
@settings(max_examples=30, deadline=None)
def test_a_linear_model_needs_one_step_and_gives_the_linear_answer(seed: int, correlated: bool) -> None:
    design, y, noise = problem(seed, correlated=correlated)
    net = adjust(design, y, **noise)
    found = fit(lambda p: design @ p, np.zeros(design.shape[1]), y, jacobian=lambda p: design, **noise)
    assert found.converged
    np.testing.assert_allclose(found.adjustment.x, net.x, atol=1e-7)
    np.testing.assert_allclose(found.adjustment.cofactor, net.cofactor, atol=LOOSE * net.condition)
    np.testing.assert_allclose(found.adjustment.redundancy, net.redundancy, atol=LOOSE)


@given(seeds)
@settings(max_examples=30, deadline=None)
def test_group_factors_weighted_by_redundancy_give_omega(seed: int) -> None:
    design, y, noise = problem(seed)
    net = adjust(design, y, **noise)
    groups = ["even" if k % 2 else "odd" for k in range(len(y))]
    factors = group_factors(net, groups)
    assert sum(f.factor * f.redundancy for f in factors.values()) == pytest.approx(net.omega, rel=1e-9)
