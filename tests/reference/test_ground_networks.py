"""Networks solved in two independent ways: by unknowns and by conditions, on one occasion and on two."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.ground.least_squares import Adjustment, adjust, inner_constraints
from monochord.ground.nonlinear import fit
from monochord.ground.reliability import quadratic_form
from monochord.ground.statistics import chi_square_quantile, f_quantile

Array = NDArray[np.float64]

# --- two occasions of a levelling net without fixed point ------------------------------------------------------------
# Own example, derived. Six lines among four marks, 0.05 mm each; mark 4 was raised by 0.27 mm.
PAIRS = [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)]
FIRST = np.array([10.02, 24.97, 5.05, 14.93, -4.97, -19.96])
SECOND = np.array([10.04, 24.99, 5.31, 15.02, -4.71, -19.68])


def lines() -> Array:
    design = np.zeros((6, 4))
    for row, (i, j) in enumerate(PAIRS):
        design[row, i], design[row, j] = -1.0, 1.0
    return design


def occasion(readings: Array) -> Adjustment:
    return adjust(lines(), readings, sigma=0.05, constraints=inner_constraints(lines()))


def common_heights(*, free: int | None = None) -> Adjustment:
    """Both occasions with the same heights, one mark excepted."""
    design = np.vstack([lines(), lines()])
    if free is not None:
        design = np.column_stack([design, np.concatenate([np.zeros(6), lines()[:, free]])])
    return adjust(design, np.concatenate([FIRST, SECOND]), sigma=0.05, constraints=inner_constraints(design))


def test_congruence_of_two_occasions_in_two_datums_and_as_a_joint_adjustment() -> None:
    one, two = occasion(FIRST), occasion(SECOND)
    moved = two.x - one.x
    np.testing.assert_allclose(moved, [-0.075, -0.0825, -0.0425, 0.200], atol=1e-9)  # mm, means of differences by hand
    omega, rank = quadratic_form(moved, one.cofactor + two.cofactor)
    assert rank == 3
    assert omega == pytest.approx(43.39, abs=1e-9)  # = 4 / (2 * 0.05^2) * sum of squares, by hand
    assert omega == pytest.approx(common_heights().omega - one.omega - two.omega, abs=1e-9)
    held = adjust(lines()[:, 1:], FIRST, sigma=0.05), adjust(lines()[:, 1:], SECOND, sigma=0.05)
    fixed, rank = quadratic_form(held[1].x - held[0].x, held[0].cofactor + held[1].cofactor)
    assert rank == 3
    assert fixed == pytest.approx(omega, abs=1e-9)
    assert omega > chi_square_quantile(0.95, 3)


def test_the_mark_that_moved_is_localised_with_its_size() -> None:
    one, two = occasion(FIRST), occasion(SECOND)
    left = [common_heights(free=mark).omega - one.omega - two.omega for mark in range(4)]
    assert int(np.argmin(left)) == 3
    assert left[3] == pytest.approx(0.723333333, abs=1e-8)
    assert left[3] < chi_square_quantile(0.95, 2)
    raised = common_heights(free=3)
    assert raised.x[4] == pytest.approx(0.2666666667, abs=1e-9)  # mm
    assert raised.u[4] == pytest.approx(0.05 * np.sqrt(2.0 / 3.0), abs=1e-9)


def test_congruence_with_the_noise_taken_from_both_occasions() -> None:
    one, two = occasion(FIRST), occasion(SECOND)
    pooled = (one.omega + two.omega) / (one.dof + two.dof)
    assert one.dof + two.dof == 6
    assert pooled == pytest.approx(0.2233333333, abs=1e-9)
    assert 43.39 / 3 / pooled == pytest.approx(64.76119403, rel=1e-9)
    assert 43.39 / 3 / pooled > f_quantile(0.95, 3, 6)


# --- triangle and traverse ------------------------------------------------------------------------------------------


def test_triangle_closes_by_equal_parts() -> None:
    """Angles 60 00 05, 59 59 58, 60 00 06 close to +9 seconds: -3 each, redundancy 1/3, u falls to sqrt(2/3)."""
    net = adjust([[1, 0], [0, 1], [-1, -1]], [5.0, -2.0, 6.0])
    np.testing.assert_allclose(-net.residuals, [-3.0, -3.0, -3.0], atol=1e-12)
    np.testing.assert_allclose(net.redundancy, 1.0 / 3.0, atol=1e-14)
    assert net.u[0] == pytest.approx(np.sqrt(2.0 / 3.0), abs=1e-14)


TRAVERSE = np.array([[0, 0], [0, 100], [120, 110], [115, -5.0]])
TRAVERSE_SIGMA = np.concatenate([np.full(4, 10e-6), np.full(4, 1e-3)])


def traverse(points: Array) -> Array:
    """Four interior angles [rad] and four sides [m] of a closed traverse walked clockwise."""
    legs = np.roll(points, -1, axis=0) - points
    azimuth = np.arctan2(legs[:, 0], legs[:, 1])
    angle = (np.roll(azimuth, 1) + np.pi - azimuth) % (2.0 * np.pi)
    return np.concatenate([np.minimum(angle, 2.0 * np.pi - angle), np.hypot(*legs.T)])


def unfold(u: Array) -> Array:
    """Points from the five unknowns: the first is fixed, the second lies north of it."""
    return np.array([[0.0, 0.0], [0.0, u[0]], [u[1], u[2]], [u[3], u[4]]])


def closure(readings: Array) -> Array:
    """Misclosures of angles and of the walk round, from readings alone."""
    azimuth, place = 0.0, np.zeros(2)
    for i in range(4):
        azimuth += np.pi - readings[i] if i else 0.0
        place = place + readings[4 + i] * np.array([np.sin(azimuth), np.cos(azimuth)])
    return np.array([readings[:4].sum() - 2.0 * np.pi, *place])


def test_traverse_by_unknowns_and_by_conditions() -> None:
    """Own example, derived; errors of +12, -7, +15, -4 urad and +1.1, -0.6, +0.4, -1.3 mm are added to exact readings."""
    errors = np.array([12e-6, -7e-6, 15e-6, -4e-6, 1.1e-3, -0.6e-3, 0.4e-3, -1.3e-3])
    readings = traverse(TRAVERSE) + errors
    found = fit(lambda u: traverse(unfold(u)), [100.0, 120.0, 110.0, 115.0, -5.0], readings, sigma=TRAVERSE_SIGMA)
    net = found.adjustment
    assert found.converged
    v = np.zeros(8)
    for _ in range(10):
        steps = 1e-6 * np.eye(8)
        b = np.array([(closure(readings + v + h) - closure(readings + v - h)) / 2e-6 for h in steps]).T
        qb = TRAVERSE_SIGMA**2 * b
        v = -qb.T @ np.linalg.solve(b @ qb.T, closure(readings + v) - b @ v)
    # Numerical derivatives on both sides agree to 1e-10 of a radian and 1e-7 of a millimetre.
    np.testing.assert_allclose(-net.residuals[:4], v[:4], atol=2e-10)
    np.testing.assert_allclose(-net.residuals[4:], v[4:], atol=2e-7)
    assert net.omega == pytest.approx(float((v**2 / TRAVERSE_SIGMA**2).sum()), abs=1e-6)
    assert net.omega == pytest.approx(0.8705625462, rel=1e-6)  # recomputed once elsewhere
    assert net.dof == 3
    assert (net.x[1] - 120.0) * 1e3 == pytest.approx(-0.7383313, abs=1e-4)  # mm, recomputed once elsewhere


# --- two levelled tracker stations and four targets --------------------------------------------------------------------
# Own example: 24 readings of azimuth, zenith and distance, 16 unknowns; the first station is held.
TARGETS = np.array([[2, 3, 0.5], [4, -2, -0.3], [5, 4, 1], [1, -3, 0.2]])
TRACKER_SIGMA = np.tile([3e-6, 3e-6, 8e-6], 8)


def sightings(u: Array) -> Array:
    """Azimuth less orientation, zenith angle and distance from both stations to the targets."""
    out = []
    for station, orientation in ((np.zeros(3), 0.0), (u[:3], u[3])):
        d = u[4:].reshape(4, 3) - station
        r = np.linalg.norm(d, axis=1)
        out.append(np.column_stack([np.arctan2(d[:, 1], d[:, 0]) - orientation, np.arccos(d[:, 2] / r), r]))
    return np.concatenate(out).ravel()


def tracker_net() -> Adjustment:
    truth = np.concatenate([[6.0, 1.0, 0.2, 0.3], TARGETS.ravel()])
    readings = sightings(truth) + 1.5 * TRACKER_SIGMA * np.sin(2.1 * np.arange(24) + 0.5)
    found = fit(sightings, truth + 1e-3, readings, sigma=TRACKER_SIGMA)
    assert found.converged
    return found.adjustment


def test_two_tracker_stations() -> None:
    """Digits recomputed once elsewhere by a plain Gauss-Newton iteration (no independent source)."""
    net = tracker_net()
    assert net.redundancy.sum() == pytest.approx(8.0, abs=1e-8)
    assert net.omega == pytest.approx(0.64303016, rel=1e-5)
    assert 1e6 * (net.x[0] - 6.0) == pytest.approx(-15.861535, abs=2e-4)  # um
    assert 1e6 * (net.x[3] - 0.3) == pytest.approx(-0.6116984, abs=1e-5)  # urad
    np.testing.assert_allclose(1e6 * net.u[:4], [7.2431213, 10.847342, 9.5009999, 2.4925801], rtol=1e-5)
    assert net.redundancy.min() == pytest.approx(0.13632043, rel=1e-5)
    assert net.redundancy.max() == pytest.approx(0.64616992, rel=1e-5)


def test_simulated_square_sums_follow_chi_square() -> None:
    """Derived: omega of normal noise has mean 8 and exceeds its 95 % quantile in 5 % of 50 000 cases (three standard errors)."""
    net = tracker_net()
    # Residuals of a small change of the readings: v = (I - A gain) dl, and A gain A = A lets the gain stand for the design.
    spread = np.eye(24) - np.linalg.pinv(net.gain * TRACKER_SIGMA) @ (net.gain * TRACKER_SIGMA)
    rng = np.random.default_rng(10)
    omega = ((rng.standard_normal((50_000, 24)) @ spread) ** 2).sum(axis=1)
    assert omega.mean() == pytest.approx(8.0, abs=3.0 * np.sqrt(16.0 / 50_000))
    rate = float((omega > chi_square_quantile(0.95, 8)).mean())
    assert rate == pytest.approx(0.05, abs=3.0 * np.sqrt(0.05 * 0.95 / 50_000))
