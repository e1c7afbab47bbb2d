"""Straight lines whose answers are plain to see."""

from __future__ import annotations

import numpy as np
import pytest

from monochord.ground import lines
from monochord.ground.faults import Refused, Undetermined
from monochord.ground.lines import (
    fit_line,
    fit_line_in_both,
    fit_minimax_line,
    fit_orthogonal_line,
    line_gain,
)


def test_a_line_through_three_points_in_two_columns() -> None:
    """x: 0, 3, 0 gives the level 1; y: 0, 1, 2 lies on the line. Leverage 5/6, 1/3, 5/6."""
    line = fit_line([0.0, 1.0, 2.0], np.array([[0.0, 0.0], [3.0, 1.0], [0.0, 2.0]]))
    np.testing.assert_allclose(line.start, [1.0, 0.0], atol=1e-15)
    np.testing.assert_allclose(line.slope, [0.0, 1.0], atol=1e-15)
    np.testing.assert_allclose(line.offsets, [[-1, 0], [2, 0], [-1, 0]], atol=1e-15)
    np.testing.assert_allclose(line.leverage, [5 / 6, 1 / 3, 5 / 6], atol=1e-15)
    np.testing.assert_allclose(line.at([4.0, 5.0]), [[1.0, 4.0], [1.0, 5.0]], atol=1e-14)
    np.testing.assert_allclose(line.at(4.0), [1.0, 4.0], atol=1e-14)


def test_a_reading_of_weight_zero_gets_an_offset_and_no_say() -> None:
    line = fit_line([0.0, 1.0, 2.0], [0.0, 9.0, 2.0], weights=[1.0, 0.0, 1.0])
    np.testing.assert_allclose(line.offsets[:, 0], [0.0, 8.0, 0.0], atol=1e-15)
    np.testing.assert_allclose(line.leverage, [1.0, 0.0, 1.0], atol=1e-15)


def test_lines_that_are_not_determined() -> None:
    for weights in ([1.0, 1.0, 0.0], [0.0, 0.0, 0.0]):
        with pytest.raises(Undetermined, match="fewer than two different places"):
            line_gain([1.0, 1.0, 2.0], weights)
    with pytest.raises(Undetermined, match="fewer than two different places"):
        line_gain([1.0])
    with pytest.raises(Undetermined, match="direction"):
        fit_orthogonal_line([[1.0, 1.0], [1.0, 1.0]])
    with pytest.raises(Undetermined, match="direction"):
        fit_orthogonal_line([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]])
    with pytest.raises(Undetermined, match="fewer than two different places"):
        fit_minimax_line([1.0, 1.0], [0.0, 1.0])


def test_bad_weights_are_refused() -> None:
    for bad in (-1.0, np.nan):
        with pytest.raises(Refused, match="weight"):
            line_gain([0.0, 1.0, 2.0], [1.0, bad, 1.0])
    with pytest.raises(Refused, match="uncertainty"):
        fit_line_in_both([0.0, 1.0], [0.0, 1.0], [0.1, 0.0], 0.1)


def test_an_orthogonal_line_in_space() -> None:
    """Points along z, two of them 1 aside to opposite sides: the line keeps z, distances 0, 1, 1, 0."""
    line = fit_orthogonal_line(np.array([[0, 0, -9], [1, 0, 0], [-1, 0, 0], [0, 0, 9.0]]))
    np.testing.assert_allclose(line.direction, [0, 0, 1], atol=1e-15)
    np.testing.assert_allclose(line.centre, 0.0, atol=1e-15)
    np.testing.assert_allclose(line.distance, [0, 1, 1, 0], atol=1e-15)
    assert line.rms == pytest.approx(0.5**0.5, abs=1e-15)


def test_two_points_make_an_orthogonal_line() -> None:
    line = fit_orthogonal_line([[0.0, 0.0], [-3.0, -4.0]])
    np.testing.assert_allclose(line.direction, [0.6, 0.8], atol=1e-15)


def test_readings_that_mark_no_line_in_both_co_ordinates() -> None:
    """Three readings whose errors are as large as their spread, found by trial, are refused.

    The corners of a square do better: the level line through their middle holds them in balance.
    """
    with pytest.raises(Undetermined) as caught:
        fit_line_in_both([-1.1, -1.4, 0.2], [-1.1, 1.2, 0.7], [0.8, 1.0, 2.4], [1.6, 1.6, 0.8])
    assert caught.value.unknowns == ("slope",)
    level = fit_line_in_both([0.0, 1.0, 0.0, 1.0], [0.0, 0.0, 1.0, 1.0], 0.1, 0.1)
    assert level.slope == 0.0
    assert level.start == pytest.approx(0.5, abs=1e-15)


def test_minimax_of_three_points_halves_the_height_of_the_triangle() -> None:
    """(0,0) (1,3) (2,0): level at 1.5, all three 1.5 away, the middle on the other side; leverage is not defined."""
    line = fit_minimax_line([0.0, 1.0, 2.0], [0.0, 3.0, 0.0])
    np.testing.assert_allclose(line.offsets[:, 0], [-1.5, 1.5, -1.5], atol=1e-10)
    assert np.isnan(line.leverage).all()


def test_minimax_with_weights() -> None:
    """The middle counts double (w = 4): twice its distance equals the ends' distance, so 3 = 2d + d: ends 2, middle 1."""
    line = fit_minimax_line([0.0, 1.0, 2.0], [0.0, 3.0, 0.0], weights=[1.0, 4.0, 1.0])
    np.testing.assert_allclose(line.offsets[:, 0], [-2.0, 1.0, -2.0], atol=1e-10)
    free = fit_minimax_line([0.0, 1.0, 2.0], [0.0, 3.0, 0.0], weights=[1.0, 0.0, 1.0])
    np.testing.assert_allclose(free.offsets[:, 0], [0.0, 3.0, 0.0], atol=1e-10)


def test_minimax_of_points_on_a_line_is_that_line() -> None:
    line = fit_minimax_line([1.0, 2.0, 4.0], np.array([[1.0, 5.0], [2.0, 5.0], [4.0, 5.0]]))
    np.testing.assert_allclose(line.offsets, 0.0, atol=1e-14)
    np.testing.assert_allclose(line.slope, [1.0, 0.0], atol=1e-14)


def test_minimax_radial_is_not_the_two_axes_one_by_one() -> None:
    """A long way round: radially the largest length counts, so it is smaller than from the two lines of the axes alone."""
    z = np.arange(4.0)
    y = np.array([[0.0, 0.0], [3.0, 0.0], [0.0, 4.0], [0.0, 0.0]])
    both = np.linalg.norm(fit_minimax_line(z, y).offsets, axis=1).max()
    each = np.hypot(fit_minimax_line(z, y[:, 0]).offsets[:, 0], fit_minimax_line(z, y[:, 1]).offsets[:, 0]).max()
    assert both < each - 1e-3


def test_a_minimax_line_without_proof_is_not_handed_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """A lower bound that falls short of the answer stands for a solver that stopped early."""
    monkeypatch.setattr(lines, "_lower_bound", lambda *_: 0.0)
    with pytest.raises(Undetermined, match="proved"):
        fit_minimax_line([0.0, 1.0, 2.0, 3.0], [0.0, 1.0, 0.0, 1.0])
