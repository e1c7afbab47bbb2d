"""The comparison's fit held to the congruence test of two levellings of four marks, whose numbers follow by hand.

Source: derived; the identities (one value in every datum, joint minus separate adjustments, release of a mark) are those of
the congruence test as textbooks give it, the numbers a complete net of six lines, sigma 0.05 mm, adjusted twice.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.found.comparison import ShapeBasis
from monochord.ground.estimate import Factor
from monochord.ground.frames import Rigid
from monochord.ground.reliability import quadratic_form
from monochord.survey.compare_data import Change
from monochord.survey.compare_fit import Fit, fit_model
from monochord.survey.compare_model import Block, Model
from monochord.survey.compare_search import judged, left_over

Array = NDArray[np.float64]

LINES = [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)]
FIRST = np.array([10.02, 24.97, 5.05, 14.93, -4.97, -19.96])
SECOND = np.array([10.04, 24.99, 5.31, 15.02, -4.71, -19.68])
SIGMA = 0.05
DESIGN = np.array([[(m == j) - (m == i) for m in range(4)] for i, j in LINES], float)
#: Widths of what is free, in mm: 100 against a noise of 0.05 leaves 1e-7 of a number to the prior, and 1e-9 to rounding;
#: a rise of 0.27 is (0.27 / 100)^2 = 7e-6 in the square sum.
FREE = 100.0


def heights(readings: Array) -> tuple[Array, Array]:
    """Heights and cofactor of a free net, no mean shift."""
    normal = np.linalg.pinv(DESIGN.T @ DESIGN / SIGMA**2, hermitian=True)
    return normal @ DESIGN.T @ readings / SIGMA**2, normal


def fitted(difference: Array, covariance: Array) -> Fit:
    """The difference of heights with its datum as the only free motion."""
    none = np.zeros((4, 0))
    basis = ShapeBasis((), (), np.zeros(0), lambda p: np.zeros((len(p), 3, 0)), lambda p: np.zeros((len(p), 3, 0)))
    noise = {"levelling": Factor(np.eye(4), covariance)}
    same = Rigid("girder", "girder", np.eye(3), np.zeros(3))
    change = Change((), (), np.zeros((0, 3)), difference, noise, {}, (), same)
    blocks = (
        Block("datum", "rigid", np.ones((4, 1)), np.zeros(1), np.array([FREE])),
        Block("shape", "shape", none, np.zeros(0), np.zeros(0)),
    )
    return fit_model(Model(change, covariance, blocks, none, basis, np.zeros(3), {}))


@pytest.fixture(scope="module")
def free() -> Fit:
    (first, q_first), (second, q_second) = heights(FIRST), heights(SECOND)
    return fitted(second - first, q_first + q_second)


def test_the_square_sum_is_the_congruence_statistic(free: Fit) -> None:
    assert free.square_sum == pytest.approx(43.39, abs=1e-6)
    assert left_over(free)[0] == pytest.approx(3.0, abs=1e-6)  # four heights, one free datum
    difference = free.model.change.value
    assert difference == pytest.approx([-0.075, -0.0825, -0.0425, 0.2], abs=1e-12)
    assert free.square_sum == pytest.approx(4 / (2 * SIGMA**2) * float(difference @ difference), abs=1e-6)
    assert quadratic_form(difference, free.model.noise)[0] == pytest.approx(43.39, abs=1e-9)


def test_it_is_the_same_with_mark_one_held_fixed(free: Fit) -> None:
    held = np.eye(4) - np.outer(np.ones(4), [1.0, 0.0, 0.0, 0.0])
    fixed = fitted(held @ free.model.change.value, held @ free.model.noise @ held.T)

    assert fixed.square_sum == pytest.approx(43.39, abs=1e-5)


def test_it_is_joint_minus_separate_adjustments() -> None:
    def omega(design: Array, readings: Array) -> float:
        left = readings - design @ np.linalg.lstsq(design, readings, rcond=None)[0]
        return float(left @ left) / SIGMA**2

    both = np.concatenate([FIRST, SECOND])
    joint = omega(np.vstack([DESIGN, DESIGN]), both)
    assert joint - omega(DESIGN, FIRST) - omega(DESIGN, SECOND) == pytest.approx(43.39, abs=1e-9)


def test_the_mark_that_rose_is_the_one_whose_release_leaves_least(free: Fit) -> None:
    drops = []
    for mark in range(4):
        column = np.eye(4)[:, mark : mark + 1]
        drop, rank, _ = judged((column.T @ free.weight @ column)[None], (column.T @ free.pull)[None])
        assert int(rank[0]) == 1
        drops.append(float(drop[0]))

    assert int(np.argmax(drops)) == 3
    assert 43.39 - drops[3] == pytest.approx(0.7233333333, abs=1e-6)


def test_its_rise_and_uncertainty_are_those_on_the_congruent_marks(free: Fit) -> None:
    block = Block("mark 4", "moved", np.eye(4)[:, 3:], np.zeros(1), np.array([FREE]))
    released = free.freeing(block)
    rise = released.unknowns[released.model.columns("moved")]
    gain = released.gain[released.model.columns("moved")]

    assert released.square_sum == pytest.approx(0.7233333333, abs=1e-5)
    assert left_over(released)[0] == pytest.approx(2.0, abs=1e-6)
    assert rise == pytest.approx([0.2666666667], abs=1e-7)
    u = float(np.sqrt((gain @ released.model.noise @ gain.T)[0, 0]))
    assert u == pytest.approx(0.04082482905, abs=1e-7)
