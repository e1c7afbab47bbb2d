"""Bodies, growth, sensors and the ride of the virtual girder obey mechanics and geometry."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from monochord.simulate.girder import Placed, Spread, VirtualGirder, build_girder, place
from monochord.simulate.ride import G, ride
from monochord.simulate.scenario import FULL_CURRENT, demo_scenario
from monochord.simulate.shape import SmoothShape, unmoved
from monochord.simulate.tunnel import temperatures

Array = NDArray[np.float64]

TOLD = demo_scenario()
seeds = st.integers(0, 10_000)
small = st.floats(-3e-4, 3e-4)


def virtual(seed: int) -> VirtualGirder:
    return build_girder(TOLD.girder, FULL_CURRENT, Spread(), np.random.default_rng(seed))


def bodies(placed: Placed) -> dict[str, Array]:
    """Targets of each magnet (n, 3), its axis' middle first."""
    targets = TOLD.girder.targets
    return {
        m.name: np.array([m.centre, *(placed.targets[t.name] for t in targets if t.carrier == m.name)])
        for m in placed.magnets
    }


def distances(points: Array) -> Array:
    return np.array([np.linalg.norm(a - b) for a, b in combinations(points, 2)])


@settings(max_examples=30, deadline=None)
@given(seeds, small, small, small)
def test_a_rigid_shape_keeps_all_distances(seed: int, heave: float, pitch: float, roll: float) -> None:
    girder = virtual(seed)
    moved = place(girder, SmoothShape(along_y=np.array([heave, pitch]), twist=np.array([roll])), {})
    before, now = np.array(list(girder.targets.values())), np.array(list(moved.targets.values()))

    # second order of the rotations: (3e-4)^2 over 4 m, halved, twice
    assert distances(now) == pytest.approx(distances(before), abs=0.4e-6)


@settings(max_examples=30, deadline=None)
@given(seeds, st.lists(small, min_size=6, max_size=6), small)
def test_magnets_stay_rigid_whatever_the_girder_does(seed: int, own: list[float], bend: float) -> None:
    girder = virtual(seed)
    bent = SmoothShape(along_x=np.array([0.0, 0.0, bend]), twist=np.array([0.0, 0.0, bend]))
    moved = place(girder, bent, {"Sext2": np.array(own)})
    for name, body in bodies(moved).items():
        # magnets turn by true rotations: rounding only
        assert distances(body) == pytest.approx(distances(bodies(place(girder, unmoved, {}))[name]), abs=1e-12)


@settings(max_examples=30, deadline=None)
@given(seeds, st.lists(small, min_size=6, max_size=6))
def test_an_own_move_is_found_at_the_magnet_s_own_axis_and_nowhere_else(seed: int, own: list[float]) -> None:
    girder = virtual(seed)
    rest, moved = place(girder, unmoved, {}), place(girder, unmoved, {"Quad2": np.array(own)})
    for a, b in zip(rest.magnets, moved.magnets, strict=True):
        turn = (b.slope_y - a.slope_y, b.slope_x - a.slope_x, b.roll - a.roll)
        if a.name == "Quad2":
            assert b.centre - a.centre == pytest.approx(np.array(own[:3]), abs=1e-12)
            # rotation vector x turns the axis down (dy/dz falls), y turns it towards x
            assert turn == pytest.approx((-own[3], own[4], own[5]), abs=1e-12)
        else:
            assert np.array_equal(a.centre, b.centre)
            assert turn == (0.0, 0.0, 0.0)


def test_a_magnet_follows_the_girder_s_slope_and_twist() -> None:
    girder = virtual(1)
    bend, twist = 2e-5, 3e-5
    placed = place(girder, SmoothShape(along_y=np.array([0.0, 0.0, bend]), twist=np.array([0.0, twist])), {})
    for a, b in zip(girder.magnets, placed.magnets, strict=True):
        z = a.centre[2]
        assert b.slope_y - a.slope_y == pytest.approx(2.0 * bend * z, abs=1e-12)
        assert b.roll - a.roll == pytest.approx(twist * z, abs=1e-12)
        # the section turns about the neutral line, 0.575 m below the axis
        assert b.centre[0] - a.centre[0] == pytest.approx(-twist * z * (a.centre[1] + 0.575), abs=1e-12)
        assert b.centre[1] - a.centre[1] == pytest.approx(bend * z**2 + twist * z * a.centre[0], abs=1e-12)


def test_a_warm_girder_grows_about_its_feet() -> None:
    girder = virtual(1)
    warm = place(girder, unmoved, {}, warmer=0.5, foot=-0.84)
    for a, b in zip(girder.magnets, warm.magnets, strict=True):
        assert b.centre - a.centre == pytest.approx(11.9e-6 * 0.5 * (a.centre - [0.0, -0.84, 0.0]), abs=1e-12)


def test_temperatures_tell_mean_and_difference() -> None:
    many = [temperatures(TOLD.girder, 20.3, 0.2, np.random.default_rng(k)) for k in range(200)]
    top = np.mean([t.value for six in many for t in six if t.sensor.startswith("top")])
    low = np.mean([t.value for six in many for t in six if t.sensor.startswith("low")])

    # sensors sit 0.39 m apart in a depth of 0.45 m; 600 readings of 10 mK each: 0.4 mK, three times
    assert top - low == pytest.approx(0.2 * 0.39 / 0.45, abs=1.8e-3)
    assert 0.5 * (top + low) == pytest.approx(20.3, abs=1.3e-3)


@settings(max_examples=20, deadline=None)
@given(seeds)
def test_the_logger_shows_every_jolt_where_it_was(seed: int) -> None:
    journey = ride(np.random.default_rng(seed))
    samples = {s.time: s for s in journey.samples}
    for shock in journey.shocks:
        shown = samples[shock.time].acceleration
        assert shown == pytest.approx((shock.peak[0], shock.peak[1] + G, shock.peak[2]))
    rest = np.array([s.acceleration for s in journey.samples if s.time not in {k.time for k in journey.shocks}])
    # road noise of 0.025 g: five of its deviations in 1260 windows
    assert np.abs(rest - [0.0, G, 0.0]).max() < 0.025 * G * 5.0
    assert np.all(np.diff([s.time for s in journey.samples]) == 5.0)
