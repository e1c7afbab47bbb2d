"""The virtual survey: sightings follow from true places, and its hidden faults are as told."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from monochord.campaign.given.survey import Sighting
from monochord.simulate.girder import Spread, build_girder
from monochord.simulate.scenario import FULL_CURRENT, demo_scenario
from monochord.simulate.survey import Room, Setup, WrongSighting, set_up, sight

Array = NDArray[np.float64]

TOLD = demo_scenario()
ROOM = TOLD.rooms["bench"]
POINTS = {
    **build_girder(TOLD.girder, FULL_CURRENT, Spread(), np.random.default_rng(0)).targets,
    **{n: np.array(p) for n, p in ROOM.monuments.items()},
}
seeds = st.integers(0, 10_000)


def setup(seed: int, *, scale: float = 0.0, wrong: WrongSighting | None = None, hidden_part: float = 0.0) -> Setup:
    rng = np.random.default_rng(seed)
    return set_up(TOLD.instrument, ROOM, list(POINTS), rng, scale=scale, wrong=wrong, hidden_part=hidden_part)


def plain(made: Setup, seen: tuple[Sighting, ...], room: Room = ROOM) -> dict[str, dict[str, Array]]:
    """Station -> target -> (3,) in the station's own axes: direction from its x towards its y, z up; range zero taken off."""
    found: dict[str, dict[str, Array]] = {s: {} for s in room.stations}
    for s in seen:
        assert s.direction is not None
        assert s.zenith is not None
        assert s.distance is not None
        flat = np.sin(s.zenith)
        ray = np.array([flat * np.cos(s.direction), flat * np.sin(s.direction), np.cos(s.zenith)])
        found[s.station][s.target] = (s.distance - made.range_zeros[s.station]) * ray
    return found


@settings(max_examples=10, deadline=None)
@given(seeds)
def test_every_station_sees_the_true_distances_between_the_reflectors(seed: int) -> None:
    made = setup(seed)
    seen = plain(made, sight(TOLD.instrument, ROOM, made, POINTS, None, rounds=1))
    for polar in seen.values():
        for a, b in combinations(list(POINTS), 2):
            true = np.linalg.norm(POINTS[a] + made.mountings[a] - POINTS[b] - made.mountings[b])
            # circle off centre by 0.4 urad and air of 0.15 K/m (0.07 urad per metre) over up to 8 m: 6 um at the worst
            assert float(np.linalg.norm(polar[a] - polar[b])) == pytest.approx(float(true), abs=7e-6)


@settings(max_examples=10, deadline=None)
@given(seeds)
def test_stations_are_levelled_and_right_handed(seed: int) -> None:
    made = setup(seed)
    seen = plain(made, sight(TOLD.instrument, ROOM, made, POINTS, None, rounds=1))
    for name, polar in seen.items():
        here = np.array(ROOM.stations[name])
        true = np.array([POINTS[n] + made.mountings[n] - here for n in polar])
        shown = np.array(list(polar.values()))
        # hall z, x, y in this order are a right-handed set with y up: the station's x, y, z but for its heading
        turned = true[:, [2, 0, 1]]
        heading = made.headings[name]
        c, s = np.cos(heading), np.sin(heading)
        level = turned @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        # tilt of 3 urad (four times that at most here) over 7 m
        assert np.abs(shown - level).max() < 90e-6


def test_directions_grow_counter_clockwise_seen_from_above() -> None:
    # looking along the beam (hall z) from behind, left is hall x: turning from z to x is to the left, counter-clockwise
    room = Room("room", {"st": (0.0, 0.0, 0.0)}, {})
    points = {"a": np.array([0.0, 0.0, 3.0]), "l": np.array([3.0, 0.0, 0.0]), "u": np.array([0.0, 2.0, 2.0])}
    made = set_up(TOLD.instrument, room, list(points), np.random.default_rng(1))
    a, left, up = sight(TOLD.instrument, room, made, points, None, rounds=1)

    assert a.direction is not None
    assert left.direction is not None
    assert (left.direction - a.direction) % (2 * np.pi) == pytest.approx(np.pi / 2, abs=1e-5)
    assert up.zenith == pytest.approx(np.pi / 4, abs=1e-5)


def test_the_vertical_turns_with_the_earth() -> None:
    # 100 m apart, plumb lines differ by 100 / 6.371e6 rad = 15.7 urad: a level sight to a target at equal height
    # shows it 50 m / R lower in angle, seen from a station that leans outward
    room = Room("long", {"far": (0.0, 0.0, 50.0)}, {}, layering=0.0)
    points = {"p": np.array([0.0, 0.0, -50.0])}
    still = Setup(0.0, None, {"p": np.zeros(3)}, {"far": np.zeros(2)}, {"far": 0.0}, {"far": 0.0}, frozenset())
    (seen,) = sight(TOLD.instrument, room, still, points, None, rounds=1)

    assert seen.zenith is not None
    assert seen.zenith - np.pi / 2 == pytest.approx(50.0 / 6.371e6, rel=1e-3)


@settings(max_examples=10, deadline=None)
@given(seeds, st.floats(-2e-5, 2e-5))
def test_a_wrong_scale_stretches_every_distance_of_the_occasion(seed: int, scale: float) -> None:
    made = setup(seed)
    true = sight(TOLD.instrument, ROOM, made, POINTS, None, rounds=1)
    off = sight(TOLD.instrument, ROOM, replace(made, scale=scale), POINTS, None, rounds=1)
    for a, b in zip(true, off, strict=True):
        assert a.distance is not None
        assert b.distance is not None
        # the range zero is not stretched: 1.5 um of 2 m
        assert b.distance / a.distance - 1.0 == pytest.approx(scale, abs=1e-10)
        assert (a.direction, a.zenith) == (b.direction, b.zenith)


def test_the_wrong_sighting_is_wrong_in_both_rounds_and_from_one_station_only() -> None:
    wrong = WrongSighting("hall-2", "Sext1.3", (0.0, 0.2e-3, 0.0))
    made, spoiled = setup(3), setup(3, wrong=wrong)
    true = sight(TOLD.instrument, ROOM, made, POINTS, None)
    off = sight(TOLD.instrument, ROOM, spoiled, POINTS, None)
    differ = [(a.station, a.target, a.round) for a, b in zip(true, off, strict=True) if a.zenith != b.zenith]

    assert differ == [("hall-2", "Sext1.3", 1), ("hall-2", "Sext1.3", 2)]


@settings(max_examples=20, deadline=None)
@given(seeds)
def test_blocked_sights_leave_every_target_three_stations(seed: int) -> None:
    made = setup(seed, wrong=WrongSighting("hall-1", "B1l", (1e-4, 0.0, 0.0)), hidden_part=0.5)
    seen = sight(TOLD.instrument, ROOM, made, POINTS, None, rounds=1)
    stations = {t: {s.station for s in seen if s.target == t} for t in POINTS}

    assert min(len(s) for s in stations.values()) >= 3
    assert "hall-1" in stations["B1l"]
    assert len(seen) + len(made.hidden) == len(POINTS) * len(ROOM.stations)


def test_reading_noise_and_seating_are_as_told() -> None:
    made = setup(11)
    plainly = sight(TOLD.instrument, ROOM, made, POINTS, None, rounds=20)
    noisy = sight(TOLD.instrument, ROOM, made, POINTS, np.random.default_rng(2), rounds=20)
    seats = np.array(list(made.mountings.values()))
    angles, ranges = [], []
    for a, b in zip(plainly, noisy, strict=True):
        assert a.zenith is not None
        assert b.zenith is not None
        assert a.distance is not None
        assert b.distance is not None
        angles.append((b.zenith - a.zenith) / TOLD.instrument.u_angle)
        ranges.append((b.distance - a.distance) / (5e-6 + 0.9e-6 * a.distance))

    # 3360 readings: 1.2 %, three times; 126 seatings: 6 %, three times
    assert np.std(angles) == pytest.approx(1.0, abs=0.04)
    assert np.std(ranges) == pytest.approx(1.0, abs=0.04)
    assert np.std(seats) == pytest.approx(3e-6, rel=0.2)
