"""Estimates with causes: what is shared cancels, what is not adds up."""

from __future__ import annotations

import numpy as np
import pytest

from monochord.ground.estimate import Estimate, Factor, Label, kind_of, stack
from monochord.ground.faults import FrameMismatch, Refused


def heights(frame: str = "girder", unit: str = "m", sag: float = 4.0, dof: float = float("inf")) -> Estimate:
    """Two heights 1 and 2 with noise variances 1 and 9 and a common sag of variance 4 that moves the second by half."""
    own = Estimate.of(
        [1.0, 2.0], ["a.y", "b.y"], unit=unit, frame=frame, causes={"noise": np.diag([1.0, 9.0])}, dof=dof
    )
    return own.adding("sag", np.array([[1.0], [0.5]]), np.array([[sag]]))


def test_covariance_is_the_sum_over_causes() -> None:
    """[[1, 0], [0, 9]] + 4 [[1, 1/2], [1/2, 1/4]] = [[5, 2], [2, 10]]."""
    e = heights()
    np.testing.assert_allclose(e.cov, [[5.0, 2.0], [2.0, 10.0]], atol=1e-15)
    np.testing.assert_allclose(e.u, [5.0**0.5, 10.0**0.5], atol=1e-15)
    assert e.shares("a.y") == {"sag": 4.0, "noise": 1.0}
    assert list(e.shares("a.y")) == ["sag", "noise"]  # the largest first
    assert list(e.shares("b.y")) == ["noise", "sag"]


def test_a_difference_cancels_shared_causes_and_adds_the_others() -> None:
    """Two occasions with their own noise and one sag: variances 1 + 1 and 9 + 9, nothing from the sag."""
    first = heights()
    own = Estimate.of([5.0, 5.0], ["a.y", "b.y"], unit="m", frame="girder", causes={"noise:2": np.diag([1.0, 9.0])})
    second = own.adding("sag", np.array([[1.0], [0.5]]), np.array([[4.0]]))
    moved = second - first
    np.testing.assert_allclose(moved.value, [4.0, 3.0], atol=1e-15)
    np.testing.assert_allclose(moved.cov, np.diag([2.0, 18.0]), atol=1e-15)
    assert moved.names == ("a.y", "b.y")
    np.testing.assert_allclose((first - first).cov, 0.0, atol=1e-15)


def test_stacked_estimates_are_correlated_through_a_shared_cause_only() -> None:
    other = Estimate.of([7.0], ["c.y"], unit="m", frame="girder", causes={"noise:2": np.array([[16.0]])}, dof=3.0)
    both = stack([heights(dof=8.0), other.adding("sag", np.array([[2.0]]), np.array([[4.0]]))])
    np.testing.assert_allclose(both.cov, [[5, 2, 8], [2, 10, 4], [8, 4, 32]], atol=1e-14)
    assert both.dof == 3.0
    assert both.names == ("a.y", "b.y", "c.y")


def test_one_cause_cannot_have_two_spreads() -> None:
    with pytest.raises(Refused, match="two different spreads"):
        stack([heights(), heights(sag=5.0)])
    wide = Estimate.of([1.0], ["c"], unit="m", frame="girder", causes={"sag": np.array([[4.0]])})
    wider = Estimate.of([1.0, 1.0], ["c", "d"], unit="m", frame="girder", causes={"sag": np.diag([4.0, 4.0])})
    with pytest.raises(Refused, match="two different spreads"):
        stack([wide, wider])


def test_a_cause_is_added_once() -> None:
    with pytest.raises(Refused, match="cause 'sag' twice"):
        heights().adding("sag", np.ones((2, 1)), np.eye(1))


def test_components_are_picked_by_name_in_the_order_asked_for() -> None:
    picked = heights().pick(["b.y", "a.y"])
    np.testing.assert_allclose(picked.value, [2.0, 1.0], atol=0.0)
    np.testing.assert_allclose(picked.cov, [[10.0, 2.0], [2.0, 5.0]], atol=1e-15)
    with pytest.raises(Refused, match=r"component 'c\.y'.*one of a\.y, b\.y"):
        heights().pick(["c.y"])


def test_a_map_that_is_not_linear_brings_its_own_value() -> None:
    e = heights().through(np.array([[2.0, 0.0]]), [Label("square", "m2", "girder")], value=np.array([1.0]))
    assert e.value.tolist() == [1.0]
    assert e.cov[0, 0] == pytest.approx(20.0, abs=1e-14)


def test_frames_and_units_do_not_mix() -> None:
    with pytest.raises(FrameMismatch):
        heights() - heights(frame="hall")
    with pytest.raises(FrameMismatch):
        heights() - heights(unit="mm")


def test_shapes_that_do_not_fit_are_refused() -> None:
    labels = (Label("a", "m", "girder"),)
    with pytest.raises(Refused, match="ill-shaped"):
        Estimate(np.zeros(2), labels, {})
    for jacobian, spread in (
        (np.zeros((2, 1)), np.eye(1)),
        (np.zeros((1, 1)), np.eye(2)),
        (np.zeros((1, 1)), np.ones(1)),
    ):
        with pytest.raises(Refused, match=r"ill-shaped causes \['noise'\]"):
            Estimate(np.zeros(1), labels, {"noise": Factor(jacobian, spread)})


def test_kinds_of_causes() -> None:
    assert kind_of("sag:2-aligned") == "sag"
    assert kind_of("noise") == "noise"
