"""Published constants and derived examples: data snooping, two levelled trackers, covariances of polar readings and fits."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.given.survey import Sighting
from monochord.ground.frames import rotation_from_vector
from monochord.survey.adjust import Settings, Solution, State, Weights, solve
from monochord.survey.datum import rigid_motions, s_transform
from monochord.survey.model import UPRIGHT, from_polar, read, readings_from
from monochord.survey.network import Network, gather
from monochord.survey.reliability import detectable, judge

Array = NDArray[np.float64]


@pytest.mark.parametrize(
    ("level", "power", "delta"),
    [(0.001, 0.80, 4.1321), (0.01, 0.80, 3.4175), (0.05, 0.80, 2.8016), (0.001, 0.90, 4.5721), (0.05, 0.90, 3.2415)],
)
def test_constants_of_data_snooping(level: float, power: float, delta: float) -> None:
    """Baarda 1968, from memory; the sum of two normal quantiles was read with Teunissen 2024. Half a last digit."""
    assert detectable(1.0, 1.0, level=level, power=power) == pytest.approx(delta, abs=5e-5)


@pytest.mark.parametrize(("redundancy", "smallest_um"), [(0.5, 58.437), (0.1, 130.67)])
def test_smallest_detectable_error_of_a_reading_of_10_um(redundancy: float, smallest_um: float) -> None:
    """Derived from the constant above; half a last digit in micrometres."""
    assert detectable(10.0, redundancy) == pytest.approx(smallest_um, abs=5e-3)


# --- two levelled tracker stations, four targets ---------------------------------------------------------------------
# Own example, derived: 24 readings, 16 unknowns. Station 1 at the origin, station 2 at (6, 1, 0.2) m, z up, its circle
# turned by 0.3 rad. Errors of 1.5 sigma sin(2.1 k + 0.5) were put on the readings, k = 0..23 in the order of stations.
TARGETS = np.array([[2.0, 3.0, 0.5], [4.0, -2.0, -0.3], [5.0, 4.0, 1.0], [1.0, -3.0, 0.2]])
SECOND = np.array([6.0, 1.0, 0.2])
SIGMA = np.array([3e-6, 3e-6, 8e-6])
#: The example has no levels: stations stand upright, here to a nanoradian, on a flat earth.
UPRIGHT_TO = 1e-9
FLAT = Settings(earth_radius=np.inf)


def example() -> tuple[Network, State]:
    turned = np.stack([np.eye(3), rotation_from_vector(np.array([0.0, 0.0, 0.3]))])
    position = np.stack([np.zeros(3), SECOND])
    read_at: list[Array] = []
    for place, turn in zip(position, turned, strict=True):
        read_at.append(read((TARGETS - place) @ turn)[0])
    readings = np.concatenate(read_at) + (1.5 * np.tile(SIGMA, 8) * np.sin(2.1 * np.arange(24) + 0.5)).reshape(8, 3)
    sightings = [
        Sighting(f"T{s + 1}", f"P{k + 1}", h, z, d, 1, "", 0)
        for (s, k), (h, z, d) in zip([(s, k) for s in (0, 1) for k in range(4)], readings.tolist(), strict=True)
    ]
    network, _ = gather(sightings, [])
    state = State(position @ UPRIGHT.T, UPRIGHT @ turned, TARGETS @ UPRIGHT.T)
    return network, state


@pytest.fixture(scope="module")
def solved() -> tuple[Network, Solution]:
    network, state = example()
    weights = Weights(np.tile(1.0 / SIGMA**2, (8, 1)), np.full(2, 1.0 / UPRIGHT_TO**2))
    return network, solve(network, weights, state, FLAT)


def test_square_sum_and_redundancy_of_the_example(solved: tuple[Network, Solution]) -> None:
    """The levels add four readings and four tilts, and so nothing to the redundancy of 8."""
    network, solution = solved
    reliability = judge(network, solution, FLAT)

    # 1e-6: the levels are stiff but not infinitely so.
    assert solution.dof == 8
    assert solution.square_sum == pytest.approx(0.64303016, rel=1e-6)
    assert np.nansum(reliability.redundancy) == pytest.approx(8.0, abs=1e-5)
    assert np.nanmin(reliability.redundancy) == pytest.approx(0.13632043, rel=1e-5)
    assert np.nanmax(reliability.redundancy) == pytest.approx(0.64616992, rel=1e-5)


def test_second_station_against_the_first_in_the_example(solved: tuple[Network, Solution]) -> None:
    """Pose of station 2 in the axes of station 1 (x, y level, z up), free of the datum of the adjustment."""
    _, solution = solved
    first, second = solution.state.rotation
    away = solution.state.position[1] - solution.state.position[0]
    place = first.T @ away
    turn = UPRIGHT.T @ second @ first.T @ UPRIGHT
    heading = np.arctan2(turn[1, 0], turn[0, 0])

    # 1e-4 um and 1e-5 urad: half a last digit of the printed values.
    assert (place[0] - 6.0) * 1e6 == pytest.approx(-15.861535, abs=2e-4)
    assert (heading - 0.3) * 1e6 == pytest.approx(-0.6116984, abs=1e-5)


def test_uncertainty_of_the_second_station_in_the_example(solved: tuple[Network, Solution]) -> None:
    _, solution = solved
    first = solution.state.rotation[0]
    away = solution.state.position[1] - solution.state.position[0]
    # The place of station 2 as station 1 sees it: d(R1'(s2 - s1)) = R1' (ds2 - ds1 + [s2 - s1]x dw1).
    cross = np.array([[0.0, -away[2], away[1]], [away[2], 0.0, -away[0]], [-away[1], away[0], 0.0]])
    follow = np.zeros((4, 12))
    follow[:3, :3], follow[:3, 3:6], follow[:3, 6:9] = -first.T, first.T @ cross, first.T
    follow[3, 4], follow[3, 10] = -1.0, 1.0
    u = np.sqrt(np.diag(follow @ solution.stations @ follow.T)) * 1e6

    # Relative 1e-5: half a last digit of the printed values, in um and urad.
    assert u == pytest.approx([7.2431213, 10.847342, 9.5009999, 2.4925801], rel=1e-5)


# --- covariances in closed form --------------------------------------------------------------------------------------


def test_covariance_of_polar_readings() -> None:
    """Derived: r = 5 m, direction 30 deg, zenith angle 80 deg, 5 um and 3 urad; z up in the example."""
    readings = np.array([[np.radians(30.0), np.radians(80.0), 5.0]])
    _, slope = read(from_polar(readings))
    follow = np.linalg.inv(slope[0])
    covariance = follow @ np.diag([3e-6, 3e-6, 5e-6]) ** 2 @ follow.T
    u = np.sqrt(np.diag(covariance)) * 1e6

    assert u == pytest.approx([8.821956042, 13.09271742, 14.79761001], rel=1e-8)
    assert covariance[0, 1] / (u[0] * u[1]) * 1e12 == pytest.approx(-0.701740041, abs=1e-8)
    axes = np.sqrt(np.linalg.eigvalsh(covariance)) * 1e6
    assert axes == pytest.approx([5.0, 14.7721163, 15.0], abs=1e-6)


def test_a_station_turned_anywhere_keeps_the_principal_axes() -> None:
    """The same covariance in the survey frame, from a station that stands anywhere (property of the example above)."""
    turn = rotation_from_vector(np.array([0.3, -1.0, 0.4])) @ UPRIGHT
    place = turn @ from_polar(np.array([[np.radians(30.0), np.radians(80.0), 5.0]]))[0] + [1.0, 2.0, 3.0]
    _, by_point, _ = readings_from(np.array([[1.0, 2.0, 3.0]]), turn[None], place[None])
    follow = np.linalg.inv(by_point[0])
    axes = np.sqrt(np.linalg.eigvalsh(follow @ np.diag([3e-6, 3e-6, 5e-6]) ** 2 @ follow.T)) * 1e6

    assert axes == pytest.approx([5.0, 14.7721163, 15.0], abs=1e-6)


FOUR = np.array([[sx * 1.5, sy * 0.3, 0.0] for sx in (1.0, -1.0) for sy in (1.0, -1.0)])


def test_covariance_of_a_rigid_fit_to_four_targets() -> None:
    """Derived: 10 um a coordinate; turns about x, y, z and the shift of the middle."""
    motions = rigid_motions(FOUR, np.zeros(3))
    u = np.sqrt(np.diag(1e-10 * np.linalg.inv(motions.T @ motions)))

    assert u[3:] == pytest.approx([1.666666667e-5, 3.333333333e-6, 3.268602252e-6], rel=1e-9)
    assert u[:3] == pytest.approx(np.full(3, 5e-6), rel=1e-12)


def test_covariance_of_a_magnet_centre_in_the_frame_of_four_targets() -> None:
    """Derived: a centre at (1.2, 0, 0.1) m that is itself exact, seen in the frame of four noisy targets."""
    points = np.vstack([FOUR, [1.2, 0.0, 0.1]])
    transform = s_transform(points, np.array([True, True, True, True, False]))
    noise = np.diag([1e-10] * 12 + [0.0] * 3)
    u = np.sqrt(np.diag(transform @ noise @ transform.T))[12:]

    assert u[2] * 1e6 == pytest.approx(6.403124237, abs=1e-8)
    assert u[1] * 1e6 == pytest.approx(6.569809218, abs=1e-8)
