"""Shapes, feet and bodies of the virtual girder obey mechanics and geometry."""

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
from monochord.simulate.shape import SmoothShape, bowed, carried, through_feet, unmoved
from monochord.simulate.tunnel import after, feel, loads, stand, temperatures, turns_towards, vertical

Array = NDArray[np.float64]

TOLD = demo_scenario()
FEET = vertical(TOLD.girder)
POINTS = np.array([b.point for b in FEET])
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


def test_a_warm_girder_grows_and_a_warm_top_lifts_the_middle() -> None:
    girder = virtual(1)
    warm = place(girder, unmoved, {}, warmer=0.5, foot=-0.84)
    for a, b in zip(girder.magnets, warm.magnets, strict=True):
        assert b.centre - a.centre == pytest.approx(11.9e-6 * 0.5 * (a.centre - [0.0, -0.84, 0.0]), abs=1e-12)
    # free bow of a strip: sagitta = expansion dT L^2 / (8 depth) = 11.9e-6 * 0.2 * 16 / 3.6 = 10.6 um
    shape = bowed(0.2, expansion=11.9e-6, depth=0.45)
    heights = carried(np.array([[0.0, -0.575, -2.0], [0.0, -0.575, 0.0], [0.0, -0.575, 2.0]]), shape, -0.575)[:, 1]
    assert heights[1] - 0.5 * (heights[0] + heights[2]) == pytest.approx(10.58e-6, abs=0.01e-6)


@settings(max_examples=40, deadline=None)
@given(st.lists(small, min_size=8, max_size=8))
def test_the_shape_through_the_feet_meets_every_foot(heights: list[float]) -> None:
    shape = through_feet(POINTS, np.array(heights))
    met = carried(POINTS, shape, -0.575)[:, 1]

    # metres: rounding of a cubic through four pairs
    assert met == pytest.approx(np.array(heights), abs=1e-15)


def test_three_feet_need_no_twist() -> None:
    three = np.array([[0.3, -0.8, -1.0], [-0.3, -0.8, -1.0], [0.0, -0.8, 1.0]])
    shape = through_feet(three, np.array([1e-4, 0.0, 5e-5]))

    assert carried(three, shape, -0.5)[:, 1] == pytest.approx([1e-4, 0.0, 5e-5], abs=1e-15)


@settings(max_examples=40, deadline=None)
@given(seeds, st.sampled_from([(), ("V2l", "V2r"), ("V3l", "V3r"), ("V1l",)]))
def test_loads_carry_the_weight_and_never_pull(seed: int, hanging: tuple[str, ...]) -> None:
    carried_by = loads(TOLD.girder, hanging, np.random.default_rng(seed))
    n = np.array([carried_by[b.name] for b in FEET])
    masses = [375.0 * 4.1, *(i.mass for i in TOLD.girder.items)]
    moment = sum(i.mass * i.point[2] for i in TOLD.girder.items)

    assert n.sum() == pytest.approx(G * sum(masses), abs=1e-6)  # N
    assert n @ POINTS[:, 2] == pytest.approx(G * moment, abs=1e-6)  # N m
    assert n @ POINTS[:, 0] == pytest.approx(0.0, abs=1e-6)
    assert all((carried_by[b.name] == 0.0) == (b.name in hanging) for b in FEET)
    assert n.min() >= 0.0


def test_a_hanging_pair_is_below_the_girder_and_its_neighbours_are_not() -> None:
    rng = np.random.default_rng(7)
    heights = {b.name: float(90e-6 * rng.normal()) for b in TOLD.girder.bolts}
    on = stand(TOLD.girder, heights, rng, hanging=("V3l", "V3r"), sag=12e-6, gaps=(80e-6, 55e-6))
    free = stand(TOLD.girder, heights, rng, hanging=("V3l", "V3r"), sag=0.0, gaps=(0.0, 0.0))

    gaps = {b.name: on.girder[b.name] - on.bolts[b.name] for b in FEET}
    assert [gaps["V3l"], gaps["V3r"]] == pytest.approx([80e-6, 55e-6], abs=1e-15)
    assert all(gap == 0.0 for name, gap in gaps.items() if name not in ("V3l", "V3r"))
    assert free.girder["V3l"] - on.girder["V3l"] == pytest.approx(12e-6, abs=1e-15)
    assert {f.bolt for f in feel(on, rng) if f.state == "loose"} == {"V3l", "V3r"}
    assert all((f.load is None) == (f.state == "loose") for f in feel(on, rng))
    # the shape is that of the girder's underside
    met = carried(POINTS, on.shape, -0.575)[:, 1]
    assert met == pytest.approx([on.girder[b.name] for b in FEET], abs=1e-15)


@settings(max_examples=40, deadline=None)
@given(seeds)
def test_turns_bring_the_bolts_to_within_half_a_step(seed: int) -> None:
    rng = np.random.default_rng(seed)
    heights = {b.name: float(90e-6 * rng.normal()) for b in TOLD.girder.bolts}
    aim = {b.name: 0.0 for b in TOLD.girder.bolts}
    now = stand(TOLD.girder, heights, rng)
    turns = turns_towards(TOLD.girder, now, aim)

    # half of 1/100 turn of 1.25 mm
    assert max(abs(h) for h in after(TOLD.girder, now, turns).values()) <= 6.25e-6 + 1e-12
    assert all(round(t.turns * 100) == pytest.approx(t.turns * 100, abs=1e-9) for t in turns)


def test_lateral_bolts_push_along_their_own_direction() -> None:
    still = {b.name: 0.0 for b in TOLD.girder.bolts}
    pushed = stand(TOLD.girder, still | {"S1": 4e-5, "S2": 4e-5, "S3": 4e-5}, np.random.default_rng(0))

    moved = carried(np.array([[0.0, 0.0, 0.7]]), pushed.shape, -0.575)[0]
    assert moved == pytest.approx([4e-5, 0.0, 0.0], abs=1e-12)


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
