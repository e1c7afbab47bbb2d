"""The same answers by other people's code and by other formulas."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.linalg import null_space
from scipy.optimize import least_squares, linprog

from monochord.ground.least_squares import adjust, inner_constraints
from monochord.ground.lines import fit_line, fit_minimax_line
from monochord.ground.nonlinear import fit

Array = NDArray[np.float64]


@pytest.mark.parametrize("seed", range(5))
def test_linear_problems_agree_with_numpy(seed: int) -> None:
    """numpy's lstsq (LAPACK gelsd) on the whitened problem; both are good to rounding times a condition below 100."""
    rng = np.random.default_rng(seed)
    design, y, sigma = rng.normal(size=(30, 6)), rng.normal(size=30), rng.uniform(0.1, 3.0, 30)
    net = adjust(design, y, sigma=sigma)
    x, square, rank, _ = np.linalg.lstsq(design / sigma[:, None], y / sigma, rcond=None)
    np.testing.assert_allclose(net.x, x, atol=1e-12)
    assert net.omega == pytest.approx(square[0], rel=1e-12)
    assert net.rank == rank


@pytest.mark.parametrize("seed", range(5))
def test_cofactors_agree_with_the_normal_equations_where_these_are_harmless(seed: int) -> None:
    rng = np.random.default_rng(seed)
    design, y, mix = rng.normal(size=(20, 4)), rng.normal(size=20), rng.normal(size=(20, 20))
    covariance = np.eye(20) + 0.1 * mix @ mix.T
    net = adjust(design, y, covariance=covariance)
    p = np.linalg.inv(covariance)
    q = np.linalg.inv(design.T @ p @ design)
    np.testing.assert_allclose(net.cofactor, q, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(net.x, q @ design.T @ p @ y, atol=1e-11)
    np.testing.assert_allclose(net.redundancy, np.diag(np.eye(20) - design @ q @ design.T @ p), atol=1e-11)
    q_v = covariance - design @ q @ design.T
    np.testing.assert_allclose(net.information, np.diag(p @ q_v @ p), atol=1e-11)
    np.testing.assert_allclose(net.weight, np.diag(p), rtol=1e-10)


@pytest.mark.parametrize("seed", range(5))
def test_constraints_agree_with_the_bordered_normal_matrix(seed: int) -> None:
    """[N C'; C 0] solved at once, the way of the textbooks."""
    rng = np.random.default_rng(seed)
    design, y, c, d = rng.normal(size=(12, 5)), rng.normal(size=12), rng.normal(size=(2, 5)), rng.normal(size=2)
    net = adjust(design, y, constraints=c, constraint_values=d)
    border = np.block([[design.T @ design, c.T], [c, np.zeros((2, 2))]])
    inverse = np.linalg.inv(border)
    np.testing.assert_allclose(net.x, (inverse @ np.concatenate([design.T @ y, d]))[:5], atol=1e-11)
    np.testing.assert_allclose(net.cofactor, inverse[:5, :5], atol=1e-11)
    assert net.dof == 12 - 5 + 2


def test_inner_constraints_span_the_null_space_of_a_plane_distance_net() -> None:
    """Distances among five points of a plane leave two shifts and a turn."""
    rng = np.random.default_rng(4)
    points = rng.uniform(0.0, 10.0, (5, 2))
    rows = []
    for i in range(5):
        for j in range(i + 1, 5):
            unit = (points[i] - points[j]) / np.linalg.norm(points[i] - points[j])
            row = np.zeros((5, 2))
            row[i], row[j] = unit, -unit
            rows.append(row.ravel())
    design = np.array(rows)
    datum = inner_constraints(design)
    null = null_space(design)
    assert datum.shape == (3, 10)
    np.testing.assert_allclose(datum.T @ datum, null @ null.T, atol=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_non_linear_problems_agree_with_scipy(seed: int) -> None:
    """A damped oscillation of four unknowns in noise; scipy's least_squares with its own derivatives."""
    rng = np.random.default_rng(seed)
    t = np.linspace(0.0, 5.0, 60)

    def model(p: Array) -> Array:
        return np.asarray(p[0] * np.exp(-p[1] * t) * np.cos(p[2] * t + p[3]))

    sigma = rng.uniform(0.01, 0.05, 60)
    y = model(np.array([2.0, 0.4, 3.0, 0.5])) + sigma * rng.normal(size=60)
    start = [1.5, 0.3, 3.1, 0.3]
    found = fit(model, start, y, sigma=sigma)
    other = least_squares(lambda p: (model(p) - y) / sigma, start, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    net = found.adjustment
    assert found.converged
    assert (np.abs(net.x - other.x) < 1e-5 * net.u).all()
    assert net.omega == pytest.approx(2.0 * other.cost, rel=1e-10)
    np.testing.assert_allclose(net.cofactor, np.linalg.inv(other.jac.T @ other.jac), rtol=1e-4, atol=1e-10)


@pytest.mark.parametrize("seed", range(5))
def test_minimax_lines_agree_with_a_linear_programme(seed: int) -> None:
    """scipy's linprog in readings of order one; its own tolerance is 1e-7."""
    rng = np.random.default_rng(seed)
    n = 12
    z, y, w = np.sort(rng.uniform(0.0, 5.0, n)), rng.normal(size=n), rng.uniform(0.2, 4.0, n)
    ours = fit_minimax_line(z, y, weights=w)
    base, reach = np.column_stack([np.ones(n), z]), 1.0 / np.sqrt(w)
    theirs = linprog(
        [0.0, 0.0, 1.0],
        A_ub=np.vstack([np.column_stack([base, -reach]), np.column_stack([-base, -reach])]),
        b_ub=np.concatenate([y, -y]),
        bounds=[(None, None), (None, None), (0.0, None)],
    )
    assert float((np.sqrt(w) * np.abs(ours.offsets[:, 0])).max()) == pytest.approx(theirs.fun, rel=1e-7)
    np.testing.assert_allclose([ours.start[0], ours.slope[0]], theirs.x[:2], atol=1e-6)


def test_a_line_is_an_adjustment_of_two_unknowns() -> None:
    rng = np.random.default_rng(2)
    z, y, w = rng.uniform(0.0, 5.0, 9), rng.normal(size=9), rng.uniform(0.5, 2.0, 9)
    line, net = fit_line(z, y, weights=w), adjust(np.column_stack([np.ones(9), z]), y, sigma=w**-0.5)
    np.testing.assert_allclose([line.start[0], line.slope[0]], net.x, atol=1e-13)
    np.testing.assert_allclose(line.leverage, 1.0 - net.redundancy, atol=1e-13)
    np.testing.assert_allclose(line.offsets[:, 0], net.residuals, atol=1e-13)
