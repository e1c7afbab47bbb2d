"""Non-linear fits with answers known by hand, and the ways in which a fit must own up to failing."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.ground.faults import Refused, Undetermined
from monochord.ground.nonlinear import fit, numeric_jacobian

Array = NDArray[np.float64]


def square(p: Array) -> Array:
    return np.asarray(p**2)


def test_a_root() -> None:
    """x^2 = 4 from 1: x = 2, slope 4, so Q = 1/16."""
    found = fit(square, [1.0], [4.0], sigma=1.0, names=["x"])
    assert found.converged
    assert found.adjustment.x[0] == pytest.approx(2.0, abs=1e-10)
    assert found.adjustment.cofactor[0, 0] == pytest.approx(1.0 / 16.0, rel=1e-8)
    assert found.adjustment.names == ("x",)
    assert "converged in" in found.statement


def test_a_prior_counts_as_a_reading() -> None:
    """Reading 10 +- 1 and prior 8 +- 1 meet at 9, u = 1/sqrt(2), each with redundancy 1/2; the second unknown has no prior."""
    found = fit(
        lambda p: np.array([p[0], p[1]]),
        [0.0, 0.0],
        [10.0, 5.0],
        sigma=1.0,
        prior_mean=[8.0, 0.0],
        prior_sigma=[1.0, np.inf],
    )
    net = found.adjustment
    np.testing.assert_allclose(net.x, [9.0, 5.0], atol=1e-8)
    np.testing.assert_allclose(net.u, [0.5**0.5, 1.0], atol=1e-9)
    np.testing.assert_allclose(net.residuals, [1.0, 0.0, -1.0], atol=1e-8)
    np.testing.assert_allclose(net.redundancy, [0.5, 0.0, 0.5], atol=1e-9)
    assert net.dof == 1
    assert net.omega == pytest.approx(2.0, abs=1e-8)


def test_a_prior_without_mean_holds_the_start() -> None:
    """Only a sum of 3 is read; priors of equal width at the start (0, 1) share the rest: (1, 2)."""
    found = fit(lambda p: np.array([p[0] + p[1]]), [0.0, 1.0], [3.0], sigma=1e-6, prior_sigma=[1.0, 1.0])
    np.testing.assert_allclose(found.adjustment.x, [1.0, 2.0], atol=1e-8)


def test_priors_beside_correlated_readings() -> None:
    """Readings 4 and 6, covariance [[2, 1], [1, 2]]: mean 5, variance 3/2; prior 2, variance 3: 4, variance 1."""
    found = fit(
        lambda p: np.array([p[0], p[0]]),
        [0.0],
        [4.0, 6.0],
        covariance=[[2.0, 1.0], [1.0, 2.0]],
        prior_mean=[2.0],
        prior_sigma=[3.0**0.5],
    )
    assert found.adjustment.x[0] == pytest.approx(4.0, abs=1e-8)
    assert found.adjustment.cofactor[0, 0] == pytest.approx(1.0, abs=1e-8)


def test_a_constraint_holds_although_the_start_breaks_it() -> None:
    """Squares of a and b are read as 1 and 9 under a + b = 4, from (5, 5): the answer fulfils all, (1, 3)."""
    found = fit(square, [5.0, 5.0], [1.0, 9.0], constraints=[[1.0, 1.0]], constraint_values=[4.0])
    assert found.converged
    np.testing.assert_allclose(found.adjustment.x, [1.0, 3.0], atol=1e-8)
    assert found.adjustment.dof == 1
    zero = fit(square, [5.0, -4.0], [4.0, 4.0], constraints=[[1.0, 1.0]])
    np.testing.assert_allclose(zero.adjustment.x, [2.0, -2.0], atol=1e-8)


def test_exact_readings_of_zero_converge_within_rounding() -> None:
    found = fit(lambda p: np.array([p[0] ** 2 + p[1] ** 2 - 25.0, p[0] - 3.0]), [2.0, 5.0], [0.0, 0.0])
    assert found.converged
    np.testing.assert_allclose(found.adjustment.x, [3.0, 4.0], atol=1e-12)
    assert found.adjustment.dof == 0


def test_a_step_out_of_the_domain_is_taken_shorter() -> None:
    """log x = -2 from 5: a full step leads below zero."""
    found = fit(np.log, [5.0], [-2.0])
    assert found.converged
    assert found.adjustment.x[0] == pytest.approx(np.exp(-2.0), rel=1e-9)


def test_steps_that_are_not_enough_are_not_called_converged() -> None:
    found = fit(square, [100.0], [4.0], max_steps=2)
    assert not found.converged
    assert found.steps == 2
    assert found.last_step > 1e-6
    assert found.statement.startswith("not converged: 2 steps allowed")


def test_wrong_derivatives_end_in_a_statement_and_not_in_an_answer() -> None:
    """Derivatives of the wrong sign lead uphill: no step of any length lowers the square sum."""
    found = fit(square, [1.0], [4.0], jacobian=lambda p: np.diag(-2.0 * p))
    assert not found.converged
    assert found.steps == 0
    assert "until none lowered the square sum" in found.statement


def test_unknowns_that_stay_free_are_named() -> None:
    with pytest.raises(Undetermined) as caught:
        fit(
            lambda p: np.array([p[0] * p[1], p[0] * p[1], p[2]]),
            [1.0, 2.0, 0.0],
            [6.0, 6.1, 1.0],
            names=["a", "b", "c"],
        )
    assert caught.value.unknowns == ("a", "b")


def test_a_start_without_a_number_is_refused() -> None:
    with pytest.raises(Refused, match="no finite number at the start"):
        fit(np.log, [-1.0], [0.0])
    with pytest.raises(Refused, match="no finite number at the start"):
        fit(lambda p: p * 1e200, [1.0], [0.0])


def test_a_model_that_breaks_off_has_no_derivatives_there() -> None:
    """The square root at zero: finite itself, but not a step below."""
    with pytest.raises(Refused, match="without finite derivatives"):
        fit(np.sqrt, [0.0], [2.0])


@pytest.mark.parametrize("width", [0.0, -1.0, float("nan")])
def test_a_prior_without_a_width_above_zero_is_refused(width: float) -> None:
    with pytest.raises(Refused, match="priors of width"):
        fit(square, [1.0], [4.0], prior_sigma=[width])


def test_numeric_derivatives() -> None:
    """d(x^3, x y)/d(x, y) at (2, 0) = [[12, 0], [0, 2]]."""
    by = numeric_jacobian(lambda p: np.array([p[0] ** 3, p[0] * p[1]]))
    np.testing.assert_allclose(by(np.array([2.0, 0.0])), [[12.0, 0.0], [0.0, 2.0]], atol=1e-8)
