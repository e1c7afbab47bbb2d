"""Straight lines against printed answers and against optima that can be proved."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.ground.least_squares import adjust
from monochord.ground.lines import (
    fit_line,
    fit_line_in_both,
    fit_minimax_line,
    fit_orthogonal_line,
)
from monochord.ground.nonlinear import fit

Array = NDArray[np.float64]

# H. P. Williams, Model Building in Mathematical Programming, problem "curve fitting": 19 points.
# Data and the minimax line were read in public scripts that solve the problem.
X = np.array([0, 0.5, 1, 1.5, 1.9, 2.5, 3, 3.5, 4, 4.5, 5, 5.5, 6, 6.6, 7, 7.6, 8.5, 9, 10])
Y = np.array([1, 0.9, 0.7, 1.5, 2, 2.4, 3.2, 2, 2.7, 3.5, 1, 4, 3.6, 2.7, 5.7, 4.6, 6, 6.8, 7.3])

# Pearson 1901, Phil. Mag. 2, with the weights that York 1966 gave the same points. From memory; that the weighted set
# exists was read in the documentation of a statistics package.
PEARSON_X = np.array([0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
PEARSON_Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
YORK_X = np.array([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1.0])
YORK_Y = np.array([1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500.0])


def test_smallest_largest_deviation_of_nineteen_points() -> None:
    line = fit_minimax_line(X, Y)
    assert line.slope[0] == pytest.approx(0.625, abs=1e-9)
    assert line.start[0] == pytest.approx(-0.4, abs=1e-9)
    assert np.abs(line.offsets).max() == pytest.approx(1.725, abs=1e-9)


def test_least_squares_of_the_same_points_is_another_line() -> None:
    """Recomputed once elsewhere: slope 0.610771723, largest deviation 2.479984776."""
    line = fit_line(X, Y)
    assert line.slope[0] == pytest.approx(0.610771723, rel=1e-8)
    assert np.abs(line.offsets).max() == pytest.approx(2.479984776, rel=1e-8)


def test_orthogonal_line_of_pearson() -> None:
    line = fit_orthogonal_line(np.column_stack([PEARSON_X, PEARSON_Y]))
    slope = line.direction[1] / line.direction[0]
    assert slope == pytest.approx(-0.5456, abs=1e-4)  # printed, from memory
    assert line.centre[1] - slope * line.centre[0] == pytest.approx(5.784, abs=5e-4)  # printed, from memory
    # Closed form of the plane case, derived.
    c = np.cov(PEARSON_X, PEARSON_Y)
    half = c[1, 1] - c[0, 0]
    assert slope == pytest.approx((half + np.sqrt(half**2 + 4.0 * c[0, 1] ** 2)) / (2.0 * c[0, 1]), abs=1e-12)
    assert line.rms == pytest.approx(0.24871123, rel=1e-6)  # recomputed once elsewhere


def test_line_with_errors_in_both_of_york() -> None:
    both = fit_line_in_both(PEARSON_X, PEARSON_Y, YORK_X**-0.5, YORK_Y**-0.5)
    assert both.slope == pytest.approx(-0.480533407, abs=1e-9)  # printed, from memory
    assert both.start == pytest.approx(5.47991022, abs=5e-9)  # printed, from memory
    assert both.chi_square == pytest.approx(11.8663532, abs=1e-7)  # printed, from memory
    # York 2004, Am. J. Phys. 72: 0.0580 and 0.295, from memory; half of the last digit.
    assert both.u_slope == pytest.approx(0.0580, abs=5e-5)
    assert both.u_start == pytest.approx(0.295, abs=5e-4)


def test_line_with_errors_in_both_is_an_adjustment_of_twenty_readings() -> None:
    """Derived: start, slope and ten true places as unknowns, solved as one non-linear fit."""

    def readings(u: Array) -> Array:
        return np.concatenate([u[2:], u[0] + u[1] * u[2:]])

    sigma = np.concatenate([YORK_X**-0.5, YORK_Y**-0.5])
    start = np.concatenate([[5.8, -0.55], PEARSON_X])
    found = fit(readings, start, np.concatenate([PEARSON_X, PEARSON_Y]), sigma=sigma, tolerance=1e-9)
    both = fit_line_in_both(PEARSON_X, PEARSON_Y, YORK_X**-0.5, YORK_Y**-0.5)
    np.testing.assert_allclose(found.adjustment.x[:2], [both.start, both.slope], rtol=1e-8)
    np.testing.assert_allclose(found.adjustment.u[:2], [both.u_start, both.u_slope], rtol=1e-7)
    assert found.adjustment.omega == pytest.approx(both.chi_square, rel=1e-10)
    assert found.adjustment.dof == 8


def test_line_with_errors_in_both_turns_into_the_ordinary_ones_at_its_limits() -> None:
    """Derived: no error in x gives weighted least squares; equal errors in both give the orthogonal line."""
    ordinary = fit_line(PEARSON_X, PEARSON_Y, weights=YORK_Y)
    nearly = fit_line_in_both(PEARSON_X, PEARSON_Y, 1e-9, YORK_Y**-0.5)
    assert nearly.slope == pytest.approx(ordinary.slope[0], rel=1e-10)
    known = adjust(np.column_stack([np.ones(10), PEARSON_X]), PEARSON_Y, sigma=YORK_Y**-0.5)
    np.testing.assert_allclose([nearly.u_start, nearly.u_slope], known.u, rtol=1e-6)
    orthogonal = fit_orthogonal_line(np.column_stack([PEARSON_X, PEARSON_Y]))
    equal = fit_line_in_both(PEARSON_X, PEARSON_Y, 0.1, 0.1)
    assert equal.slope == pytest.approx(orthogonal.direction[1] / orthogonal.direction[0], rel=1e-10)


# --- optima that can be proved (constructed, derived) -----------------------------------------------------------------


def test_zig_zag() -> None:
    """Two rails at heights 0 and 0.010: the band between them is as narrow as any; least squares needs 0.012."""
    z, y = [0.0, 1.0, 2.0, 3.0], [0.0, 0.010, 0.0, 0.010]
    assert np.ptp(fit_minimax_line(z, y).offsets) == pytest.approx(0.010, abs=1e-11)
    assert np.ptp(fit_line(z, y).offsets) == pytest.approx(0.012, abs=1e-15)


def test_smallest_cylinder_around_two_triangles() -> None:
    """Triangles of radius 0.02 at both ends hold the axis; five points at 0.0195 between them pull least squares aside."""
    angle = np.radians([90, 210, 330])
    triangle = 0.02 * np.column_stack([np.cos(angle), np.sin(angle)])
    between = np.tile([0.0, 0.0195], (5, 1))
    y = np.vstack([triangle, triangle, between])
    z = np.concatenate([np.zeros(3), np.full(3, 1000.0), [300.0, 400.0, 500.0, 600.0, 700.0]])
    best = fit_minimax_line(z, y)
    assert 2.0 * np.linalg.norm(best.offsets, axis=1).max() == pytest.approx(0.040, abs=1e-10)
    np.testing.assert_allclose(best.at(500.0), 0.0, atol=1e-9)
    squares = fit_line(z, y)
    assert 2.0 * np.linalg.norm(squares.offsets, axis=1).max() > 0.0512


def test_chebyshev_line_of_a_parabola() -> None:
    """y = x^2 on [-1, 1]: the line y = 1/2 is 1/2 away, at both ends and in the middle."""
    x = np.linspace(-1.0, 1.0, 201)
    line = fit_minimax_line(x, x**2)
    assert line.start[0] == pytest.approx(0.5, abs=1e-9)
    assert line.slope[0] == pytest.approx(0.0, abs=1e-9)
    assert np.abs(line.offsets).max() == pytest.approx(0.5, abs=1e-9)


def test_straightness_of_a_bow_is_its_sag() -> None:
    """A bow of sag 0.05 over 3000: the narrowest band is as wide as the sag (slope terms of 1e-9 left out)."""
    x = np.linspace(-1.0, 1.0, 201)
    assert np.ptp(fit_minimax_line(1500.0 * x, 0.05 * x**2).offsets) == pytest.approx(0.05, abs=1e-10)
