"""The comparison's fit agrees with other ways to the same numbers, and with an elastic model handed in for its own shapes."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.found.comparison import ShapeBasis
from monochord.girder.model import elastic, standing
from monochord.girder.shape import elastic_basis
from monochord.ground.estimate import Label
from monochord.survey.compare import CLAMP, compare
from monochord.survey.compare_data import gather_change
from monochord.survey.compare_fit import Fit, estimate, fit_model
from monochord.survey.compare_model import Block, body_columns, build_model, targets_only
from monochord.survey.compare_shape import default_basis
from monochord.survey.sizes import Stretch, bending_shapes
from tests.survey_compare_girder import NEUTRAL, SPAN, What, make_girder, parabola, straight, two_occasions

Array = NDArray[np.float64]
GIRDER = make_girder()


@pytest.fixture(scope="module")
def fit() -> Fit:
    rng = np.random.default_rng(20310505)
    two = two_occasions(GIRDER, What(vertical=parabola(-20e-6), twist=straight(40e-6)), rng)
    change = gather_change(two.a, two.b, two.axes_a, two.axes_b)
    basis = default_basis(GIRDER, (-SPAN, SPAN))
    return fit_model(build_model(change, GIRDER, basis, stretch=Stretch(1e-6, 0.5e-6), bow=0.0, clamp=CLAMP))


def whitened(fit: Fit) -> tuple[Array, Array]:
    """Rows of one ordinary least squares: the data in units of their noise, and one row for every prior."""
    model = fit.model
    inverse = np.linalg.inv(np.linalg.cholesky(model.noise))
    rows = np.vstack([inverse @ model.design, np.diag(1.0 / model.prior)])
    return rows, np.concatenate([inverse @ model.change.value, model.expected / model.prior])


def test_the_unknowns_are_those_of_ordinary_least_squares_with_a_row_for_every_prior(fit: Fit) -> None:
    rows, right = whitened(fit)
    unit = fit.model.prior  # so that the columns are of one size
    found = unit * np.linalg.lstsq(rows * unit, right, rcond=None)[0]

    assert np.allclose(fit.unknowns, found, atol=1e-6 * unit)
    assert fit.square_sum == pytest.approx(float(np.sum((rows @ found - right) ** 2)), rel=1e-6)


def test_the_causes_add_up_to_the_covariance_of_ordinary_least_squares(fit: Fit) -> None:
    rows, _ = whitened(fit)
    unit = fit.model.prior
    by_normals = np.linalg.inv((rows * unit).T @ (rows * unit))
    labels = [Label(str(k), "1", "girder") for k in range(len(unit))]
    by_causes = estimate(fit, np.diag(1.0 / unit), labels, "before-after").cov

    assert np.allclose(by_causes, by_normals, atol=1e-4 * np.sqrt(np.outer(np.diag(by_normals), np.diag(by_normals))))


def test_freeing_something_is_a_fit_with_its_columns_from_the_start(fit: Fit) -> None:
    block = Block(
        "M2", "moved", body_columns(fit.model.change, "M2", fit.model.bodies["M2"]), np.zeros(6), np.full(6, 1e-4)
    )
    updated = fit.freeing(block)
    full = updated.model.noise + (updated.model.design * updated.model.prior**2) @ updated.model.design.T

    assert np.allclose(updated.weight @ full, np.eye(len(full)), atol=1e-5)


def test_targets_only_is_the_joint_model_with_the_axes_cut_off(fit: Fit) -> None:
    two = two_occasions(GIRDER, What())
    change = gather_change(two.a, two.b, two.axes_a, two.axes_b)
    basis = default_basis(GIRDER, (-SPAN, SPAN))
    joint = build_model(change, GIRDER, basis, stretch=Stretch(0.0), bow=0.0, clamp=CLAMP)
    alone = build_model(change.only_targets(), GIRDER, basis, stretch=Stretch(0.0), bow=0.0, clamp=CLAMP)

    assert np.allclose(targets_only(joint).design, alone.design)
    assert np.allclose(targets_only(joint).noise, alone.noise)


def test_the_girders_own_targets_follow_the_same_polynomials_as_in_the_comparison_of_sizes() -> None:
    points = np.array([t.nominal for t in GIRDER.targets if t.carrier == "girder"], float)
    basis = default_basis(GIRDER, (-SPAN, SPAN))
    at = basis.at(points)
    names = [
        "vertical bend P2",
        "lateral bend P2",
        "vertical bend P3",
        "lateral bend P3",
        "vertical bend P4",
        "lateral bend P4",
    ]
    mine = np.stack([at[:, :, basis.names.index(n)] for n in [*names, "twist P1", "twist P2"]], axis=2)

    assert np.allclose(mine.reshape(-1, 8), bending_shapes(points, NEUTRAL), atol=1e-12)


def handed_in() -> ShapeBasis:
    shapes = elastic_basis(standing(GIRDER, elastic(GIRDER)))
    families = tuple(name.split(".")[0] for name in shapes.names)
    return ShapeBasis(shapes.names, shapes.units, np.full(len(families), 1e-3), shapes.at, shapes.turning, families)


@pytest.mark.parametrize("slipped", ["M1", "M3"])
def test_an_elastic_model_handed_in_finds_the_same_moves(slipped: str) -> None:
    rng = np.random.default_rng(7)
    six = np.array([30e-6, -20e-6, 0.0, 0.0, 0.0, 90e-6])
    two = two_occasions(GIRDER, What(vertical=parabola(-15e-6), bodies={slipped: six}), rng)
    own = compare("before", "after", two.a, two.b, two.axes_a, two.axes_b, GIRDER)
    other = compare("before", "after", two.a, two.b, two.axes_a, two.axes_b, GIRDER, basis=handed_in())

    for a, b in zip(own.own_moves, other.own_moves, strict=True):
        assert a.found == b.found == (a.magnet == slipped)
        # the two models share all data: they differ by much less than the uncertainty of either
        assert np.all(np.abs(a.estimate.value[:2] - b.estimate.value[:2]) < 0.7 * a.estimate.u[:2])
