"""Adjustments small enough to solve with a pencil; the fractions stand beside them."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.ground.estimate import Label
from monochord.ground.faults import Refused, Undetermined
from monochord.ground.least_squares import adjust, factorise, inner_constraints

Array = NDArray[np.float64]
EXACT = 1e-14  # rounding of a few operations on numbers near one


def test_weighted_mean() -> None:
    """Weights 1, 4, 1 of 1, 4, 10: mean 27/6, Q = 1/6, redundancy 1 - w/6, omega = 12.25 + 4 * 0.25 + 30.25."""
    mean = adjust([[1.0]] * 3, [1.0, 4.0, 10.0], sigma=[1.0, 0.5, 1.0], names=["height"])
    assert mean.x[0] == pytest.approx(4.5, abs=EXACT)
    assert mean.cofactor[0, 0] == pytest.approx(1.0 / 6.0, abs=EXACT)
    np.testing.assert_allclose(mean.residuals, [-3.5, -0.5, 5.5], atol=EXACT)
    np.testing.assert_allclose(mean.redundancy, [5 / 6, 2 / 6, 5 / 6], atol=EXACT)
    np.testing.assert_allclose(mean.gain, [[1 / 6, 4 / 6, 1 / 6]], atol=EXACT)
    np.testing.assert_allclose(mean.weight, [1.0, 4.0, 1.0], atol=EXACT)
    np.testing.assert_allclose(mean.weighted_residuals, [-3.5, -2.0, 5.5], atol=EXACT)
    np.testing.assert_allclose(mean.information, [5 / 6, 8 / 6, 5 / 6], atol=EXACT)
    assert mean.omega == pytest.approx(43.5, abs=1e-13)
    assert (mean.dof, mean.rank, mean.condition) == (2, 1, 1.0)
    assert mean.variance_factor == pytest.approx(21.75, abs=1e-13)
    assert mean.u[0] == pytest.approx(6.0**-0.5, abs=EXACT)
    assert mean.posterior_u[0] == pytest.approx((21.75 / 6.0) ** 0.5, abs=1e-13)


def test_mean_of_two_correlated_readings() -> None:
    """Covariance [[1, 1], [1, 4]]: P = [[4, -1], [-1, 1]] / 3, so the mean is the first reading and the second adds nothing.

    I - A gain = [[0, 0], [-1, 1]]; P Q_v P = [[1, -1], [-1, 1]] / 3; residual (0, 3) gives P v = (-1, 1), omega 3.
    """
    mean = adjust([[1.0], [1.0]], [5.0, 8.0], covariance=[[1.0, 1.0], [1.0, 4.0]])
    assert mean.x[0] == pytest.approx(5.0, abs=EXACT)
    assert mean.cofactor[0, 0] == pytest.approx(1.0, abs=EXACT)
    np.testing.assert_allclose(mean.gain, [[1.0, 0.0]], atol=EXACT)
    np.testing.assert_allclose(mean.redundancy, [0.0, 1.0], atol=EXACT)
    np.testing.assert_allclose(mean.information, [1 / 3, 1 / 3], atol=EXACT)
    np.testing.assert_allclose(mean.weight, [4 / 3, 1 / 3], atol=EXACT)
    np.testing.assert_allclose(mean.weighted_residuals, [-1.0, 1.0], atol=EXACT)
    assert mean.omega == pytest.approx(3.0, abs=1e-13)


def test_a_straight_line_through_three_points() -> None:
    """(0,0) (1,3) (2,0): level at 1; Q = [[5/6, -1/2], [-1/2, 1/2]]; hat numbers 5/6, 1/3, 5/6."""
    line = adjust([[1, 0], [1, 1], [1, 2]], [0.0, 3.0, 0.0], names=["start", "slope"])
    np.testing.assert_allclose(line.x, [1.0, 0.0], atol=EXACT)
    np.testing.assert_allclose(line.cofactor, [[5 / 6, -0.5], [-0.5, 0.5]], atol=EXACT)
    np.testing.assert_allclose(line.redundancy, [1 / 6, 2 / 3, 1 / 6], atol=EXACT)
    assert line.omega == pytest.approx(6.0, abs=1e-13)


def test_a_constraint_takes_part_of_the_freedom() -> None:
    """Readings 4 and 7 of two numbers whose sum is 10: each gives up 1/2; Q = [[1, -1], [-1, 1]] / 2."""
    pair = adjust(np.eye(2), [4.0, 7.0], constraints=[[1.0, 1.0]], constraint_values=[10.0])
    np.testing.assert_allclose(pair.x, [3.5, 6.5], atol=EXACT)
    np.testing.assert_allclose(pair.cofactor, [[0.5, -0.5], [-0.5, 0.5]], atol=EXACT)
    np.testing.assert_allclose(pair.redundancy, [0.5, 0.5], atol=EXACT)
    assert (pair.dof, pair.rank) == (1, 1)


def test_constraints_that_say_the_same_twice_count_once() -> None:
    once = adjust(np.eye(2), [4.0, 7.0], constraints=[[1.0, 1.0]], constraint_values=[10.0])
    twice = adjust(np.eye(2), [4.0, 7.0], constraints=[[1.0, 1.0], [200.0, 200.0]], constraint_values=[10.0, 2000.0])
    np.testing.assert_allclose(twice.x, once.x, atol=1e-13)
    assert twice.dof == once.dof


def test_constraints_that_leave_nothing_free() -> None:
    """The one unknown is held at 2, the reading 3 keeps all of its error."""
    held = adjust([[1.0]], [3.0], constraints=[[1.0]], constraint_values=[2.0])
    np.testing.assert_allclose(held.x, [2.0], atol=EXACT)
    np.testing.assert_allclose(held.cofactor, [[0.0]], atol=EXACT)
    np.testing.assert_allclose(held.residuals, [1.0], atol=EXACT)
    np.testing.assert_allclose(held.redundancy, [1.0], atol=EXACT)
    assert (held.dof, held.rank, held.condition) == (1, 0, 1.0)


def test_contradicting_constraints_are_refused() -> None:
    with pytest.raises(Refused, match="contradict"):
        adjust(np.eye(2), [4.0, 7.0], constraints=[[1.0, 1.0], [1.0, 1.0]], constraint_values=[10.0, 11.0])
    with pytest.raises(Refused, match="contradict"):
        adjust(np.eye(2), [4.0, 7.0], constraints=[[0.0, 0.0]], constraint_values=[1.0])


def test_without_redundancy_the_variance_factor_is_not_known() -> None:
    exact = adjust([[2.0]], [6.0])
    assert exact.x[0] == pytest.approx(3.0, abs=EXACT)
    assert exact.dof == 0
    assert np.isnan(exact.variance_factor)
    assert np.isnan(exact.posterior_u[0])


def test_a_rank_defect_names_the_unknowns_it_touches_and_no_others() -> None:
    """Only the difference of a and b is read, in different units; c is read alone."""
    with pytest.raises(Undetermined) as caught:
        adjust([[1e-6, -1.0, 0.0], [1e-6, -1.0, 0.0], [0.0, 0.0, 1.0]], [1.0, 1.1, 2.0], names=["a", "b", "c"])
    assert caught.value.unknowns == ("a", "b")
    assert "one combination" in caught.value.why


def test_an_unknown_that_nothing_touches_and_too_few_readings_are_named() -> None:
    with pytest.raises(Undetermined) as caught:
        adjust([[1.0, 0.0]], [1.0], names=["seen", "unseen"])
    assert caught.value.unknowns == ("unseen",)
    with pytest.raises(Undetermined) as caught:
        adjust([[1.0, 1.0, 0.0]], [1.0])
    assert caught.value.unknowns == ("x1", "x2", "x3")
    assert "2 combinations" in caught.value.why


def test_a_datum_cures_the_defect_and_leaves_its_sum_at_zero() -> None:
    """Differences 1 and 2 among three heights: 0, 1, 3 less their mean 4/3."""
    design = np.array([[-1.0, 1.0, 0.0], [0.0, -1.0, 1.0]])
    free = adjust(design, [1.0, 2.0], constraints=inner_constraints(design))
    np.testing.assert_allclose(free.x, [-4 / 3, -1 / 3, 5 / 3], atol=EXACT)
    assert free.dof == 0
    held = adjust(design, [1.0, 2.0], constraints=inner_constraints(design, over=[True, False, False]))
    np.testing.assert_allclose(held.x, [0.0, 1.0, 3.0], atol=EXACT)
    assert held.cofactor[0, 0] == pytest.approx(0.0, abs=EXACT)


def test_a_design_without_defect_needs_no_datum() -> None:
    none = inner_constraints(np.eye(2))
    assert none.shape == (0, 2)
    np.testing.assert_allclose(adjust(np.eye(2), [1.0, 2.0], constraints=none).x, [1.0, 2.0], atol=EXACT)


def test_a_datum_carried_by_the_wrong_unknowns_does_not_cure_the_defect() -> None:
    design = np.array([[-1.0, 1.0, 0.0, 0.0], [0.0, 0.0, -1.0, 1.0]])
    with pytest.raises(Undetermined) as caught:
        adjust(design, [1.0, 2.0], names="abcd", constraints=inner_constraints(design, over=[1, 1, 0, 0]))
    assert caught.value.unknowns == ("c", "d")


def test_the_estimate_carries_the_noise_as_a_cause_and_takes_further_ones() -> None:
    """Two readings of one length with noise 3 um each and a common scale cause of 1 um: u^2 = 4.5 + 1."""
    mean = adjust([[1.0], [1.0]], [2.0, 2.0], sigma=3e-6)
    length = mean.estimate([Label("L", "m", "girder")], "noise").adding(
        "scale", mean.gain @ np.ones((2, 1)), np.eye(1) * 1e-12
    )
    assert length.value[0] == pytest.approx(2.0, abs=EXACT)
    assert length.u[0] == pytest.approx(5.5**0.5 * 1e-6, rel=1e-12)
    assert length.dof == float("inf")
    guessed = adjust([[1.0], [1.0]], [1.0, 3.0]).estimate([Label("L", "m", "girder")], "noise", posterior=True)
    assert guessed.dof == 1.0
    assert guessed.u[0] == pytest.approx(1.0, abs=EXACT)  # s0^2 = 2, Q = 1/2


def test_what_cannot_be_adjusted_is_refused_with_a_place() -> None:
    with pytest.raises(Refused, match="readings with no finite number in row 2"):
        adjust([[1.0], [1.0]], [1.0, np.nan])
    with pytest.raises(Refused, match="design with no finite number in row 1"):
        adjust([[np.inf], [1.0]], [1.0, 1.0])
    with pytest.raises(Refused, match="one row for each reading"):
        adjust([[1.0], [1.0]], [1.0, 1.0, 1.0])
    with pytest.raises(Refused, match=r"uncertainty 0.0 of reading 2"):
        adjust([[1.0], [1.0]], [1.0, 1.0], sigma=[1.0, 0.0])
    with pytest.raises(Refused, match="uncertainty nan of reading 1"):
        adjust([[1.0]], [1.0], sigma=float("nan"))
    with pytest.raises(Refused, match="not positive definite"):
        adjust([[1.0], [1.0]], [1.0, 1.0], covariance=[[1.0, 2.0], [2.0, 1.0]])
    with pytest.raises(Refused, match="not positive definite"):
        adjust([[1.0], [1.0]], [1.0, 1.0], covariance=[[1.0]])


def test_a_step_along_directions_that_are_not_determined_is_none() -> None:
    """One reading of a + b: the shortest step shares the residual, and half the damping halves it."""
    factored = factorise(np.array([[1.0, 1.0]]))
    np.testing.assert_allclose(factored.step(np.array([2.0])), [1.0, 1.0], atol=EXACT)
    assert factored.determined().tolist() == [True, False]
    np.testing.assert_allclose(factored.step(np.array([2.0]), damping=2.0), [0.5, 0.5], atol=EXACT)
