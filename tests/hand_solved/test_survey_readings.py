"""What a tracker reads, and the smallest surveys, solved by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from monochord.campaign.given.girder import Target
from monochord.campaign.given.survey import Instrument, Sighting
from monochord.ground.faults import Refused
from monochord.survey.ends import up_direction, wire_ends
from monochord.survey.model import UPRIGHT, readings_from, spreads, tilt, turned
from monochord.survey.points import adjust_survey
from monochord.survey.reliability import block_tests

TRACKER = Instrument("tracker", 2e-6, 4e-6, 0.0, None, 3e-6, 1e-6)
#: Horizontal sights of 2 m from the station's axes x (survey z), y (survey x); one 45 deg steep.
CORNERS = {"A": (2.0, 0.0, 0.0), "B": (0.0, 0.0, 2.0), "C": (0.0, 1.0, 1.0), "D": (1.0, 0.5, -1.0)}


def pointing(name: str, place: tuple[float, float, float], round_: int = 1) -> Sighting:
    x, y, z = place
    length = math.hypot(x, y, z)
    return Sighting("T", name, math.atan2(x, z), math.acos(y / length), length, round_, "obs.csv", round_)


def listed() -> list[Target]:
    return [Target(name, "girder", place, 5e-4) for name, place in CORNERS.items()]


def test_a_target_beside_above_and_ahead() -> None:
    """An upright station at the origin: survey z is its x, survey x its y, survey y up."""
    places = np.array([[0.0, 0.0, 3.0], [3.0, 0.0, 0.0], [1.0, math.sqrt(2.0), 1.0]])
    values, _, _ = readings_from(np.zeros((3, 3)), np.repeat(UPRIGHT[None], 3, 0), places)

    half = math.pi / 2.0
    assert values == pytest.approx(
        np.array([[0.0, half, 3.0], [half, half, 3.0], [half / 2, half / 2, 2.0]]), abs=1e-12
    )


def test_seen_from_above_the_direction_grows_counter_clockwise() -> None:
    """From above (y towards the eye) the way from z to x is counter-clockwise: z cross x is y."""
    assert np.cross([0.0, 0.0, 1.0], [1.0, 0.0, 0.0]).tolist() == [0.0, 1.0, 0.0]
    assert np.linalg.det(UPRIGHT) == pytest.approx(1.0)


def test_a_turn_of_the_station_shows_as_the_opposite_change_of_direction() -> None:
    stand = turned(UPRIGHT[None], np.array([[0.0, 0.25, 0.0]]))
    values, _, _ = readings_from(np.zeros((1, 3)), stand, np.array([[0.0, 0.0, 3.0]]))

    assert values[0] == pytest.approx([-0.25, math.pi / 2.0, 3.0], abs=1e-12)


def test_leans_about_the_level_axes() -> None:
    """A turn about x (y towards z) leans up towards z; a turn about z (x towards y) leans up away from x."""
    leaning = turned(np.repeat(UPRIGHT[None], 2, 0), np.array([[1e-5, 0.0, 0.0], [0.0, 0.0, 1e-5]]))

    assert tilt(leaning)[0] == pytest.approx(np.array([[0.0, 1e-5], [-1e-5, 0.0]]), abs=1e-14)


@pytest.mark.parametrize(("how", "expected"), [("plain", 9e-6), ("quadratic", math.hypot(5e-6, 4e-6))])
def test_the_two_ways_to_read_a_range_specification(how: str, expected: float) -> None:
    tracker = Instrument("t", 2e-6, 5e-6, 1e-6, None, 3e-6, 1e-6, how)

    assert spreads(tracker, np.array([math.pi / 2]), np.array([4.0]))[0, 2] == pytest.approx(expected)


def test_a_steep_sight_spoils_the_direction_only() -> None:
    """At 30 deg from straight up the direction is twice as uncertain as the zenith angle."""
    assert spreads(TRACKER, np.array([math.pi / 6]), np.array([2.0]))[0] == pytest.approx([4e-6, 2e-6, 4e-6])


def test_two_rounds_are_averaged_and_check_each_other_by_half() -> None:
    """Two equal readings of one quantity: the mean, redundancy 1/2 each, residuals of half their difference."""
    rounds = [pointing(n, p, k) for k in (1, 2) for n, p in CORNERS.items()]
    long = [replace(s, distance=(s.distance or 0.0) + 8e-6) if (s.target, s.round) == ("B", 2) else s for s in rounds]
    found = adjust_survey("bench", long, TRACKER, listed())

    of_b = {r.round: r for r in found.residuals if (r.target, r.kind) == ("B", "distance")}
    assert {round_: r.residual for round_, r in of_b.items()} == pytest.approx({1: -4e-6, 2: 4e-6}, abs=1e-12)
    assert [r.redundancy for r in found.residuals] == pytest.approx([0.5] * 24)
    # 4 um over 4 um sqrt(1/2)
    assert of_b[2].standardised == pytest.approx(math.sqrt(2.0))
    assert found.dof == 12.0
    assert found.variance_factor == pytest.approx(2.0 * (4.0 / 4.0) ** 2 / 12.0)


def test_the_distance_of_two_targets_on_one_sight_line_has_the_noise_of_both_ranges_and_both_seatings() -> None:
    """Distances between points need no datum: two ranges of 4 um over sqrt 2 rounds, two seatings of 3 um."""
    line = {"N": (0.0, 0.0, 2.0), "F": (0.0, 0.0, 5.0), "L": (1.0, 0.0, 3.0)}
    targets = [Target(name, "girder", place) for name, place in line.items()]
    found = adjust_survey("bench", [pointing(n, p, k) for k in (1, 2) for n, p in line.items()], TRACKER, targets)
    apart = found.estimate.through(np.array([[-1.0, 1.0]]) @ np.eye(9)[[2, 5]], [found.estimate.labels[0]])

    assert apart.value[0] == pytest.approx(3.0, abs=1e-9)
    assert apart.shares("N.x") == pytest.approx(
        {"mounting:bench": 2.0 * 9e-12, "reading:bench": 2.0 * 8e-12, "range scale:bench": (3.0 * 1e-6) ** 2}, rel=1e-6
    )


def test_one_station_alone_checks_nothing_and_says_so() -> None:
    found = adjust_survey("bench", [pointing(n, p) for n, p in CORNERS.items()], TRACKER, listed())
    gates = {gate.name: gate for gate in found.gates}

    assert found.estimate.value.reshape(-1, 3) == pytest.approx(np.array(list(CORNERS.values())), abs=1e-9)
    assert found.dof == 0.0
    assert math.isnan(found.variance_factor)
    assert not gates["variance factor"].ok
    assert not gates["checked targets"].ok
    assert "A, B, C, D" in gates["checked targets"].message
    assert all(r.standardised is None for r in found.residuals)


def test_a_block_of_two_readings_tested_by_hand() -> None:
    """e = (3, 0), E = [[1/2, 1/4], [1/4, 1/2]]: E^-1 = [[8/3, -4/3], [-4/3, 8/3]], T = 24, mistakes (8, -4)."""
    tests = block_tests(
        np.array([[3.0, 0.0]]), np.array([[[0.5, 0.25], [0.25, 0.5]]]), np.array([[True, True]]), weak=1e-3
    )

    assert tests.value[0] == pytest.approx(24.0)
    assert tests.error[0] == pytest.approx([8.0, -4.0])
    assert tests.checked[0] == pytest.approx(0.25)
    assert tests.freedom.tolist() == [2]


def test_a_missing_reading_takes_no_part_in_its_block() -> None:
    tests = block_tests(
        np.array([[3.0, 9.0]]), np.array([[[0.5, 0.0], [0.0, 1.0]]]), np.array([[True, False]]), weak=1e-3
    )

    assert tests.value[0] == pytest.approx(18.0)
    assert tests.freedom.tolist() == [1]
    assert tests.checked[0] == pytest.approx(0.5)


def test_ends_of_the_wire_keep_their_causes() -> None:
    found = adjust_survey("bench", [pointing(n, p, k) for k in (1, 2) for n, p in CORNERS.items()], TRACKER, listed())
    ends = wire_ends(found, ["D", "A"])

    assert ends.names == ("D.x", "D.y", "D.z", "A.x", "A.y", "A.z")
    assert ends.value == pytest.approx([*CORNERS["D"], *CORNERS["A"]], abs=1e-9)
    assert set(ends.factors) == {"reading:bench", "mounting:bench", "range scale:bench"}
    assert {label.frame for label in ends.labels} == {"girder"}
    with pytest.raises(Refused, match="nest 'W9': not sighted"):
        wire_ends(found, ["A", "W9"])


def test_up_is_the_plumb_line_only_when_stations_were_levelled() -> None:
    """The list is turned by 1 mrad about z (x towards y), so the girder leans by as much against the plumb line."""
    levelled = replace(TRACKER, u_level=3e-6)
    turn = np.array([[math.cos(1e-3), -math.sin(1e-3), 0.0], [math.sin(1e-3), math.cos(1e-3), 0.0], [0.0, 0.0, 1.0]])
    targets = [
        Target(name, "girder", (float(p[0]), float(p[1]), float(p[2])), 5e-4)
        for name, p in ((name, turn @ np.array(place)) for name, place in CORNERS.items())
    ]
    found = adjust_survey("bench", [pointing(n, p) for n, p in CORNERS.items()], levelled, targets)

    assert up_direction(found, levelled=True) == pytest.approx([-math.sin(1e-3), math.cos(1e-3), 0.0], abs=1e-9)
    assert up_direction(found, levelled=False).tolist() == [0.0, 1.0, 0.0]
