"""Redundancy, hidden mistakes and variance factors of adjustments that a pencil can check."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.ground.faults import Refused
from monochord.ground.least_squares import Adjustment, adjust
from monochord.ground.reliability import (
    checked,
    detectable_errors,
    estimated_errors,
    global_test,
    group_factors,
    hidden_effects,
    quadratic_form,
    standardised_residuals,
    studentised_residuals,
    suspect,
    variance_components,
)
from monochord.ground.statistics import detectable_shift, family_wise, normal_quantile, tau_quantile

Array = NDArray[np.float64]


def half_checked() -> Adjustment:
    """Two readings of a (0 and 2, sigma 1), one of b: the last has no check."""
    return adjust([[1, 0], [1, 0], [0, 1]], [0.0, 2.0, 5.0], sigma=1.0, names="ab")


def test_what_no_other_reading_checks_is_nan_or_infinite_and_never_zero() -> None:
    """r = 1/2, 1/2, 0; w = -1 / sqrt(1/2); mistakes -2 and 2; detectable delta0 sqrt(2)."""
    net = half_checked()
    assert checked(net).tolist() == [True, True, False]
    np.testing.assert_allclose(standardised_residuals(net), [-(2.0**0.5), 2.0**0.5, np.nan], atol=1e-14)
    np.testing.assert_allclose(studentised_residuals(net), [-1.0, 1.0, np.nan], atol=1e-14)
    np.testing.assert_allclose(estimated_errors(net), [-2.0, 2.0, np.nan], atol=1e-14)
    big = detectable_shift(0.001, 0.80) * 2.0**0.5
    np.testing.assert_allclose(detectable_errors(net), [big, big, np.inf], rtol=1e-12)
    np.testing.assert_allclose(hidden_effects(net), [[big / 2, big / 2, 0.0], [0.0, 0.0, np.inf]], atol=1e-12)


def test_correlated_readings() -> None:
    """Covariance [[1, 1], [1, 4]], readings 5 and 8: P v = (-1, 1), information 1/3 each, so w = -+ sqrt(3), mistakes -+3.

    The two readings can only be compared with each other: the difference 3 has variance 1 + 4 - 2 = 3. The first has
    redundancy 0 (the mean follows it wholly) and is checked all the same.
    """
    net = adjust([[1.0], [1.0]], [5.0, 8.0], covariance=[[1.0, 1.0], [1.0, 4.0]])
    assert checked(net).all()
    np.testing.assert_allclose(standardised_residuals(net), [-(3.0**0.5), 3.0**0.5], atol=1e-13)
    np.testing.assert_allclose(estimated_errors(net), [-3.0, 3.0], atol=1e-13)


def test_the_worst_reading_is_suspected_only_beyond_the_level_of_the_family() -> None:
    """Ten readings of one number, the fourth off by d: w = d sqrt(9/10). Sidak at 5 % over ten needs 2.80."""
    critical = normal_quantile(1.0 - family_wise(0.05, 10) / 2.0)
    assert critical == pytest.approx(2.8, abs=0.01)
    for size, expected in ((0.99 * critical, None), (1.01 * critical, 3)):
        readings = np.zeros(10)
        readings[3] = size / 0.9**0.5
        found = suspect(adjust(np.ones((10, 1)), readings, sigma=1.0))
        assert (found.index if found else None) == expected
        if found:
            assert found.statistic == pytest.approx(size, rel=1e-12)
            assert found.critical == pytest.approx(critical, rel=1e-12)
            assert found.error == pytest.approx(readings[3], rel=1e-12)


def test_the_worst_reading_with_noise_taken_from_the_adjustment_itself() -> None:
    """All but one reading agree: its tau is the largest there can be, sqrt(dof) = 3."""
    readings = np.zeros(10)
    readings[6] = 1e-6
    found = suspect(adjust(np.ones((10, 1)), readings), noise_known=False)
    assert found is not None
    assert (found.index, found.critical) == (6, tau_quantile(family_wise(0.05, 10), 9))
    assert found.statistic == pytest.approx(3.0, rel=1e-12)


def test_nobody_is_suspected_where_nothing_can_be_tested() -> None:
    assert suspect(adjust([[1.0]], [3.0])) is None
    assert suspect(adjust([[1.0], [1.0]], [0.0, 9.0]), noise_known=False) is None


def test_a_global_test_needs_redundancy() -> None:
    with pytest.raises(Refused, match="redundancy"):
        global_test(0.0, 0)


@pytest.mark.parametrize(("omega", "ok"), [(3.0, False), (10.0, True), (21.0, False)])
def test_square_sums_are_too_small_or_too_large(omega: float, ok: bool) -> None:
    """Ten degrees of freedom: 3.247 to 20.483."""
    assert global_test(omega, 10).ok is ok


def test_quadratic_form_with_and_without_defect() -> None:
    """(3, 4) with variances 9 and 4: 1 + 4. A third component of variance 0 and difference 0 adds nothing."""
    for difference, variances in (([3.0, 4.0], [9.0, 4.0]), ([3.0, 4.0, 0.0], [9.0, 4.0, 0.0])):
        omega, rank = quadratic_form(np.array(difference), np.diag(variances))
        assert omega == pytest.approx(5.0, abs=1e-13)
        assert rank == 2


def test_quadratic_form_does_not_mind_units() -> None:
    """Metres beside radians: components of 1e-5 and 1e-9 count alike in units of their own uncertainty."""
    omega, rank = quadratic_form(np.array([2e-5, 3e-9]), np.diag([1e-10, 1e-18]))
    assert rank == 2
    assert omega == pytest.approx(13.0, rel=1e-12)


def test_variance_factors_of_groups() -> None:
    """Two readings of a differ by 2: v = -+1, r = 1, factor 2. Three of b at 0, 3, 6: v v = 18, r = 2, factor 9. c: unchecked."""
    design = np.zeros((6, 3))
    design[[0, 1], 0] = design[[2, 3, 4], 1] = design[5, 2] = 1.0
    net = adjust(design, [0.0, 2.0, 0.0, 3.0, 6.0, 1.0], sigma=1.0)
    factors = group_factors(net, ["a", "a", "b", "b", "b", "c"])
    assert list(factors) == ["a", "b", "c"]
    assert factors["a"].factor == pytest.approx(2.0, abs=1e-13)
    assert factors["a"].u == pytest.approx(2.0 * 2.0**0.5, abs=1e-12)
    assert factors["b"].factor == pytest.approx(9.0, abs=1e-12)
    assert factors["b"].redundancy == pytest.approx(2.0, abs=1e-13)
    assert np.isnan(factors["c"].factor)
    assert np.isnan(factors["c"].u)


def test_variance_components_make_every_factor_one() -> None:
    """Groups apart from each other need one round: sigmas become sqrt(2) and 3; the unchecked reading keeps its own."""
    design = np.zeros((6, 3))
    design[[0, 1], 0] = design[[2, 3, 4], 1] = design[5, 2] = 1.0
    readings = [0.0, 2.0, 0.0, 3.0, 6.0, 1.0]
    groups = ["a", "a", "b", "b", "b", "c"]
    sigma, net, settled = variance_components(lambda s: adjust(design, readings, sigma=s), np.ones(6), groups)
    assert settled
    np.testing.assert_allclose(sigma, [2.0**0.5] * 2 + [3.0] * 3 + [1.0], rtol=1e-12)
    assert net.omega == pytest.approx(3.0, rel=1e-12)
    _, _, settled = variance_components(lambda s: adjust(design, readings, sigma=s), np.ones(6), groups, rounds=1)
    assert not settled


def test_variance_components_without_redundancy_settle_nothing() -> None:
    sigma, _, settled = variance_components(lambda s: adjust([[1.0]], [1.0], sigma=s), np.ones(1), ["a"])
    assert not settled
    assert sigma.tolist() == [1.0]
