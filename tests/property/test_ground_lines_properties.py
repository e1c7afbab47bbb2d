"""What holds for every straight line."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from monochord.ground.lines import fit_line, fit_minimax_line, fit_orthogonal_line, line_gain

Array = NDArray[np.float64]
seeds = st.integers(0, 2**32 - 1)


def readings(seed: int, columns: int) -> tuple[Array, Array, Array]:
    """3 to 15 places over some metres, offsets of some tens of micrometres, weights."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(3, 16))
    z = np.cumsum(rng.uniform(0.1, 1.0, n))
    return z, 3e-5 * rng.normal(size=(n, columns)), rng.uniform(0.2, 5.0, n)


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_least_squares_is_a_linear_map_with_two_units_of_leverage(seed: int) -> None:
    z, y, w = readings(seed, 2)
    line, gain = fit_line(z, y, weights=w), line_gain(z, w)
    np.testing.assert_allclose(gain @ y, [line.start, line.slope], atol=1e-18)
    np.testing.assert_allclose(gain @ np.column_stack([np.ones(len(z)), z]), np.eye(2), atol=1e-11)
    assert line.leverage.sum() == pytest.approx(2.0, abs=1e-11)
    np.testing.assert_allclose(w @ line.offsets, 0.0, atol=1e-16)
    np.testing.assert_allclose((w * z) @ line.offsets, 0.0, atol=1e-16)
    np.testing.assert_allclose(line.at(z) + line.offsets, y, atol=1e-18)


@given(seeds, st.sampled_from([1, 2]))
@settings(max_examples=40, deadline=None)
def test_no_neighbour_of_the_minimax_line_is_better(seed: int, columns: int) -> None:
    """The largest distance is a convex function of the line: a minimum among near neighbours is one among all."""
    z, y, w = readings(seed, columns)
    best = fit_minimax_line(z, y, weights=w)

    def largest(start: Array, slope: Array) -> float:
        off = y - start - np.outer(z, slope)
        return float(np.sqrt(w * (off**2).sum(axis=1)).max())

    least = largest(best.start, best.slope)
    rng = np.random.default_rng(seed + 1)
    for size in (1e-5, 1e-6, 1e-7):
        for _ in range(10):
            tilt, lift = size * rng.normal(size=(2, columns))
            assert largest(best.start + lift - z.mean() * tilt, best.slope + tilt) > least * (1.0 - 1e-8)


@given(seeds, st.sampled_from([1, 2]))
@settings(max_examples=30, deadline=None)
def test_the_minimax_line_moves_with_the_readings(seed: int, columns: int) -> None:
    """Adding a straight line to all readings adds it to the answer; doubling them doubles it."""
    z, y, w = readings(seed, columns)
    best, moved = (
        fit_minimax_line(z, y, weights=w),
        fit_minimax_line(z, 2.0 * y + 1e-3 + np.outer(z, np.full(columns, 2e-4)), weights=w),
    )

    def largest(offsets: Array) -> float:
        return float(np.sqrt(w * (offsets**2).sum(axis=1)).max())

    assert largest(moved.offsets) == pytest.approx(2.0 * largest(best.offsets), rel=1e-6)


@given(seeds)
@settings(max_examples=30, deadline=None)
def test_an_orthogonal_line_turns_with_its_points(seed: int) -> None:
    rng = np.random.default_rng(seed)
    points = np.outer(rng.uniform(-2.0, 2.0, 8), [0.2, 0.3, 1.0]) + 0.01 * rng.normal(size=(8, 3))
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    line, turned = fit_orthogonal_line(points), fit_orthogonal_line(points @ turn.T)
    assert abs(turned.direction @ turn @ line.direction) == pytest.approx(1.0, abs=1e-12)
    np.testing.assert_allclose(turned.distance, line.distance, atol=1e-12)
