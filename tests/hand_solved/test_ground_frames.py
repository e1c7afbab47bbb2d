"""Frames by finger: left is x, up is y, the beam is z."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pytest

from monochord.ground.faults import FrameMismatch, Refused
from monochord.ground.frames import DIRECTIONS, Rigid, axis_map, cross_matrix, fit_rigid, rotation_from_vector


def test_left_is_up_cross_beam() -> None:
    left, up, beam = (np.array(DIRECTIONS[word]) for word in ("left", "up", "along beam"))
    np.testing.assert_array_equal(np.cross(up, beam), left)


def test_of_all_ways_to_name_three_axes_the_right_handed_half_is_taken() -> None:
    """Three different directions with either sign: 48 namings, 24 of them right-handed."""
    pairs = (("left", "right"), ("up", "down"), ("along beam", "against beam"))
    taken = 0
    for order in permutations(pairs):
        for words in product(*order):
            axes = dict(zip("xyz", words, strict=True))
            try:
                matrix = axis_map(axes)
            except Refused as refusal:
                assert "left-handed" in refusal.faults[0].given  # noqa: PT017 - which of the 48 are refused is the point
                continue
            taken += 1
            np.testing.assert_array_equal(matrix.T, [DIRECTIONS[word] for word in words])
    assert taken == 24


def test_axes_that_make_no_frame_are_refused() -> None:
    with pytest.raises(Refused, match="two axes run along one line"):
        axis_map({"x": "up", "y": "down", "z": "left"})
    with pytest.raises(Refused, match="each one of left, right, up"):
        axis_map({"x": "up", "y": "north", "z": "left"})
    with pytest.raises(Refused, match="x, y and z"):
        axis_map({"x": "up", "y": "left"})


def test_a_quarter_turn_about_the_beam_takes_left_to_up() -> None:
    """Roll is counted about z from x towards y."""
    turn = rotation_from_vector(np.array([0.0, 0.0, np.pi / 2]))
    np.testing.assert_allclose(turn @ DIRECTIONS["left"], DIRECTIONS["up"], atol=1e-15)


def test_the_smallest_turns_are_continuous() -> None:
    """Either side of the switch at 1e-12 rad the matrix is I + [v]x to rounding."""
    for size in (0.0, 0.99e-12, 1.01e-12, 1e-9):
        v = size * np.array([0.6, 0.0, 0.8])
        np.testing.assert_allclose(rotation_from_vector(v) - np.eye(3), cross_matrix(v), atol=1e-17 + size**2)


def test_a_rigid_motion_moves_points_and_turns_vectors() -> None:
    turn = rotation_from_vector(np.array([0.0, 0.0, np.pi / 2]))
    motion = Rigid("girder", "hall", turn, np.array([10.0, 0.0, 0.0]))
    np.testing.assert_allclose(motion.apply(np.array([[1.0, 0.0, 5.0]])), [[10.0, 1.0, 5.0]], atol=1e-15)
    np.testing.assert_allclose(motion.turn(np.array([1.0, 0.0, 5.0])), [0.0, 1.0, 5.0], atol=1e-15)
    back = motion.inverse()
    assert (back.source, back.target) == ("hall", "girder")


def test_motions_that_do_not_meet_are_refused() -> None:
    lift = Rigid("girder", "hall", np.eye(3), np.zeros(3))
    with pytest.raises(FrameMismatch, match="given frame 'hall'; expected frame 'girder'"):
        lift @ lift


def test_a_mirror_and_a_scale_are_no_rotations() -> None:
    for matrix in (np.diag([1.0, 1.0, -1.0]), 1.0001 * np.eye(3)):
        with pytest.raises(Refused, match="proper rotation"):
            Rigid("a", "b", matrix, np.zeros(3))


def test_a_weight_of_zero_takes_a_point_out() -> None:
    a = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1], [9, 9, 9.0]])
    b = a + np.array([1.0, 2.0, 3.0])
    b[4] += 5.0
    found = fit_rigid(a, b, frames=("a", "b"), weights=np.array([1.0, 1, 1, 1, 0]))
    np.testing.assert_allclose(found.shift, [1, 2, 3], atol=1e-14)
    np.testing.assert_allclose(found.rotation, np.eye(3), atol=1e-14)
