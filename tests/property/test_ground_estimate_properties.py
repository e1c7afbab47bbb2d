"""Estimates, frames and units: what holds for all of them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from monochord.ground.estimate import Estimate, Label, stack
from monochord.ground.faults import FrameMismatch
from monochord.ground.frames import Rigid, fit_rigid, rotation_from_vector
from monochord.ground.units import UNITS, quantity, unit

Array = NDArray[np.float64]
seeds = st.integers(0, 2**32 - 1)
ROUNDING = 1e-12


def labels(count: int, prefix: str = "p") -> list[Label]:
    return [Label(f"{prefix}{k}", "m", "girder") for k in range(count)]


def estimate(seed: int, *, own: str = "noise", n: int = 4) -> Estimate:
    """Four values with their own noise and two causes that every estimate of these tests shares."""
    rng = np.random.default_rng(seed)
    a = rng.normal(size=(n, n))
    e = Estimate.of(rng.normal(size=n), [f"p{k}" for k in range(n)], unit="m", frame="girder", causes={own: a @ a.T})
    e = e.adding("sag", rng.normal(size=(n, 1)), np.array([[0.25]]))
    return e.adding("scale", rng.normal(size=(n, 2)), np.array([[1.0, 0.3], [0.3, 2.0]]))


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_maps_act_on_values_and_covariance_and_chain(seed: int) -> None:
    rng = np.random.default_rng(seed + 1)
    e, j, k = estimate(seed), rng.normal(size=(3, 4)), rng.normal(size=(2, 3))
    once = e.through(j, labels(3))
    np.testing.assert_allclose(once.value, j @ e.value, atol=ROUNDING)
    np.testing.assert_allclose(once.cov, j @ e.cov @ j.T, atol=1e-10)
    twice, direct = once.through(k, labels(2)), e.through(k @ j, labels(2))
    np.testing.assert_allclose(twice.cov, direct.cov, atol=1e-9)
    np.testing.assert_allclose(twice.value, direct.value, atol=1e-10)


@given(seeds, st.permutations(range(4)))
@settings(max_examples=40, deadline=None)
def test_picking_is_a_map_too(seed: int, order: list[int]) -> None:
    e = estimate(seed)
    picked = e.pick([f"p{k}" for k in order])
    np.testing.assert_allclose(picked.cov, e.cov[np.ix_(order, order)], atol=ROUNDING)
    np.testing.assert_allclose(picked.value, e.value[order], atol=0.0)
    assert sum(picked.shares(picked.names[0]).values()) == pytest.approx(picked.cov[0, 0], rel=1e-12)


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_stacking_keeps_the_parts_and_ties_them_by_their_shared_causes(seed: int) -> None:
    one, two = estimate(seed, own="noise:1"), estimate(seed + 1, own="noise:2")
    both = stack([one, two])
    np.testing.assert_allclose(both.cov[:4, :4], one.cov, atol=ROUNDING)
    np.testing.assert_allclose(both.cov[4:, 4:], two.cov, atol=ROUNDING)
    shared = sum(one.factors[c].jacobian @ one.factors[c].spread @ two.factors[c].jacobian.T for c in ("sag", "scale"))
    np.testing.assert_allclose(both.cov[:4, 4:], shared, atol=ROUNDING)
    assert np.linalg.eigvalsh(both.cov).min() > -1e-10


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_a_difference_is_the_map_of_the_stack(seed: int) -> None:
    one, two = estimate(seed, own="noise:1"), estimate(seed + 1, own="noise:2")
    j = np.hstack([np.eye(4), -np.eye(4)])
    by_stack = stack([one, two]).through(j, labels(4))
    np.testing.assert_allclose((one - two).cov, by_stack.cov, atol=ROUNDING)
    np.testing.assert_allclose((one - two).value, one.value - two.value, atol=ROUNDING)
    np.testing.assert_allclose((one - one).cov, 0.0, atol=ROUNDING)


@given(seeds)
@settings(max_examples=20, deadline=None)
def test_simulated_causes_scatter_as_the_covariance_says(seed: int) -> None:
    """20 000 draws of the causes: variances within five standard errors, 5 sqrt(2/20000) = 5 %."""
    rng = np.random.default_rng(seed)
    e = estimate(seed)
    drawn = sum(
        rng.multivariate_normal(np.zeros(len(f.spread)), f.spread, 20_000, method="eigh") @ f.jacobian.T
        for f in e.factors.values()
    )
    np.testing.assert_allclose(np.var(drawn, axis=0), np.diag(e.cov), rtol=0.05)


def motion(seed: int, source: str, target: str) -> Rigid:
    rng = np.random.default_rng(seed)
    return Rigid(source, target, rotation_from_vector(rng.uniform(-3.0, 3.0, 3)), rng.uniform(-10.0, 10.0, 3))


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_motions_compose_and_go_back(seed: int) -> None:
    points = np.random.default_rng(seed).uniform(-5.0, 5.0, (6, 3))
    a, b, c = motion(seed, "wire", "girder"), motion(seed + 1, "girder", "survey"), motion(seed + 2, "survey", "hall")
    np.testing.assert_allclose((b @ a).apply(points), b.apply(a.apply(points)), atol=ROUNDING * 100)
    np.testing.assert_allclose(((c @ b) @ a).apply(points), (c @ (b @ a)).apply(points), atol=ROUNDING * 100)
    np.testing.assert_allclose(a.inverse().apply(a.apply(points)), points, atol=ROUNDING * 100)
    home = a.inverse() @ a
    assert (home.source, home.target) == ("wire", "wire")
    np.testing.assert_allclose(home.rotation, np.eye(3), atol=ROUNDING)
    np.testing.assert_allclose(home.shift, 0.0, atol=ROUNDING * 100)
    with pytest.raises(FrameMismatch):
        a @ b


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_motions_keep_lengths_and_handedness(seed: int) -> None:
    a = motion(seed, "wire", "girder")
    rng = np.random.default_rng(seed)
    p, q = rng.normal(size=(2, 3))
    assert np.linalg.norm(a.apply(p) - a.apply(q)) == pytest.approx(float(np.linalg.norm(p - q)), rel=1e-12)
    np.testing.assert_allclose(a.turn(np.cross(p, q)), np.cross(a.turn(p), a.turn(q)), atol=1e-12)


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_a_rigid_fit_finds_the_motion_back(seed: int) -> None:
    a = motion(seed, "survey", "girder")
    points = np.random.default_rng(seed).uniform(-5.0, 5.0, (6, 3))
    found = fit_rigid(points, a.apply(points), frames=("survey", "girder"))
    np.testing.assert_allclose(found.rotation, a.rotation, atol=1e-11)
    np.testing.assert_allclose(found.shift, a.shift, atol=1e-10)


@given(st.sampled_from(sorted(UNITS)), st.floats(-1e6, 1e6))
@settings(max_examples=200, deadline=None)
def test_units_go_there_and_back(name: str, number: float) -> None:
    u = unit(name)
    assert u.from_si(u.to_si(number)) == pytest.approx(number, rel=1e-12, abs=1e-9)
    assert u.to_si(u.from_si(number)) == pytest.approx(number, rel=1e-12, abs=1e-9)


@given(st.sampled_from(sorted(UNITS)), st.floats(-1e6, 1e6))
@settings(max_examples=200, deadline=None)
def test_a_quantity_is_its_number_in_its_unit(name: str, number: float) -> None:
    kind = UNITS[name][0]
    assert quantity(f"{number!r} {name}", kind) == unit(name).to_si(number)
    assert math.isfinite(quantity(f"{number!r}{name if name[0].isalpha() else ' ' + name}", kind))
