"""What must stay true of any survey: datums, orders, scales, mistakes that are found, targets that are not determined."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.found.points import PointSet
from monochord.campaign.given.survey import Instrument, Sighting
from monochord.ground.faults import Refused
from monochord.survey.datum import rigid_motions, s_transform
from monochord.survey.model import READ, from_polar, read, readings_from, turned
from monochord.survey.nominal import scale_against_nominal
from monochord.survey.points import adjust_survey
from monochord.survey.scale import Stretch, occasion_scales, scale_between
from monochord.survey.sizes import bending_shapes
from tests.survey_world import FREE, LEVELLED, World, hall, spoiled, survey

Array = NDArray[np.float64]


def found(world: World, sightings: list[Sighting] | None = None, occasion: str = "bench") -> PointSet:
    return adjust_survey(occasion, sightings or world.sightings, world.instrument, world.targets)


def wrong_gates(points: PointSet) -> dict[str, str]:
    return {gate.name: gate.message for gate in points.gates if not gate.ok}


# --- readings --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", range(3))
def test_gradients_of_readings_are_their_difference_quotients(kind: int) -> None:
    u = np.random.default_rng(1).normal(0.0, 3.0, (40, 3))
    _, gradient = READ[kind](u)
    for axis, unit in enumerate(np.eye(3)):
        ahead, back = READ[kind](u + 1e-6 * unit)[0], READ[kind](u - 1e-6 * unit)[0]
        turn = (ahead - back + np.pi) % (2.0 * np.pi) - np.pi
        # 1e-8 per metre: rounding of a difference over 2 um.
        assert gradient[:, axis] == pytest.approx(turn / 2e-6, abs=1e-8)


def test_what_readings_follow_when_the_station_moves() -> None:
    rng = np.random.default_rng(2)
    position, points = rng.normal(0.0, 2.0, (30, 3)), rng.normal([6.0, 0.0, 0.0], 2.0, (30, 3))
    stand = turned(np.repeat(np.eye(3)[None], 30, 0), rng.normal(0.0, 1.0, (30, 3)))
    _, by_point, by_station = readings_from(position, stand, points)
    for axis in range(3):
        step = np.zeros((30, 3))
        step[:, axis] = 1e-6
        for slope, ahead, back in (
            (
                by_point[:, :, axis],
                readings_from(position, stand, points + step),
                readings_from(position, stand, points - step),
            ),
            (
                by_station[:, :, axis],
                readings_from(position + step, stand, points),
                readings_from(position - step, stand, points),
            ),
            (
                by_station[:, :, 3 + axis],
                readings_from(position, turned(stand, step), points),
                readings_from(position, turned(stand, -step), points),
            ),
        ):
            turn = (ahead[0] - back[0] + np.pi) % (2.0 * np.pi) - np.pi
            assert slope == pytest.approx(turn / 2e-6, abs=1e-7)


def test_polar_readings_and_places_are_inverse() -> None:
    u = np.random.default_rng(3).normal(0.0, 3.0, (50, 3))

    assert from_polar(read(u)[0]) == pytest.approx(u, abs=1e-12)


# --- frames and datums -----------------------------------------------------------------------------------------------


def test_an_s_transform_is_a_projection_that_sees_no_rigid_motion() -> None:
    points = np.random.default_rng(4).normal(0.0, 2.0, (9, 3))
    first, second = (s_transform(points, np.arange(9) % 2 == k) for k in (0, 1))

    assert np.abs(first @ first - first).max() < 1e-12
    assert np.abs(first @ rigid_motions(points, np.ones(3))).max() < 1e-12
    # Whatever the datum before, the same datum after.
    assert np.abs(first @ second - first).max() < 1e-12


@pytest.mark.parametrize("instrument", [LEVELLED, FREE])
def test_the_circle_may_start_anywhere(instrument: Instrument) -> None:
    world = survey(5, instrument=instrument)
    turns = {"T1": 1.0, "T2": -2.5, "T3": 100.0}
    turned_circles = [replace(s, direction=(s.direction or 0.0) + turns[s.station]) for s in world.sightings]
    plain, other = found(world), found(world, turned_circles)

    # 1e-11 m: directions of 100 rad are rounded at 1e-14.
    assert other.estimate.value == pytest.approx(plain.estimate.value, abs=1e-11)
    assert other.estimate.cov == pytest.approx(plain.estimate.cov, abs=1e-8 * plain.estimate.cov.max())
    assert [r.residual for r in other.residuals if r.kind == "distance"] == pytest.approx(
        [r.residual for r in plain.residuals if r.kind == "distance"], abs=1e-11
    )


def test_the_order_of_sightings_does_not_matter() -> None:
    world = survey(5)
    order = np.random.default_rng(6).permutation(len(world.sightings))
    plain, other = found(world), found(world, [world.sightings[i] for i in order])

    assert other.names == plain.names
    # Weights follow the start, which rests on whichever station comes first: 20 um in 2 m, of an adjusted noise of 5 um.
    assert other.estimate.value == pytest.approx(plain.estimate.value, abs=1e-9)
    assert other.estimate.cov == pytest.approx(plain.estimate.cov, abs=1e-5 * plain.estimate.cov.max())


def test_a_list_that_lies_elsewhere_moves_the_points_and_not_their_shape() -> None:
    world = survey(5)
    shift = np.array([1.0, -0.5, 3.0])
    places = [t.nominal for t in world.targets]
    away = [
        replace(t, nominal=(p[0] + shift[0], p[1] + shift[1], p[2] + shift[2]))
        for t, p in zip(world.targets, places, strict=True)
        if p is not None
    ]
    plain = found(world)
    other = found(World(world.sightings, world.instrument, tuple(away), world.truth))

    assert other.estimate.value.reshape(-1, 3) - shift == pytest.approx(plain.estimate.value.reshape(-1, 3), abs=1e-11)
    assert other.estimate.cov == pytest.approx(plain.estimate.cov, abs=1e-7 * plain.estimate.cov.max())


def test_the_survey_frame_keeps_the_plumb_line_and_takes_heading_and_origin_from_the_girder() -> None:
    world = survey(5)
    pose = found(world).pose
    lean = [s.pose.rotation[:, 2] - [0.0, 1.0, 0.0] for s in found(world).stations]

    assert (pose.source, pose.target) == ("survey", "girder")
    assert np.abs(pose.shift).max() < 1e-12
    assert abs(pose.rotation[0, 2] - pose.rotation[2, 0]) < 1e-12
    # Leans of 3 urad; five of them is never reached in three stations.
    assert np.abs(np.array(lean)[:, [0, 2]]).max() < 15e-6


@pytest.mark.parametrize("instrument", [LEVELLED, FREE])
def test_redundancy_numbers_add_up_to_the_degrees_of_freedom(instrument: Instrument) -> None:
    world = survey(6, instrument=instrument, rounds=3)
    points = found(world)

    assert sum(r.redundancy for r in points.residuals) == pytest.approx(points.dof, abs=1e-6)
    standardised = np.array([r.standardised for r in points.residuals if r.standardised is not None])
    assert np.mean(standardised**2) == pytest.approx(1.0, abs=5.0 * np.sqrt(2.0 / points.dof))


def test_weights_of_all_readings_together_change_no_coordinate() -> None:
    world = survey(6, instrument=FREE)
    coarse = replace(
        FREE, u_angle=2.0 * FREE.u_angle, u_range=2.0 * FREE.u_range, u_range_ratio=2.0 * FREE.u_range_ratio
    )
    plain, other = found(world), found(World(world.sightings, coarse, world.targets, world.truth))
    parts = [p.estimate.factors["reading:bench"].cov for p in (plain, other)]

    assert other.estimate.value == pytest.approx(plain.estimate.value, abs=1e-11)
    assert other.variance_factor == pytest.approx(plain.variance_factor / 4.0, rel=1e-9)
    assert parts[1] == pytest.approx(4.0 * parts[0], abs=1e-8 * parts[0].max())


def test_seating_does_not_average_down_with_more_stations_and_rounds() -> None:
    """Reading noise falls with every sighting, the mounting stays: every reflector was set once."""
    few, many = (found(survey(7, stations=s, rounds=r)) for s, r in ((2, 1), (6, 4)))
    share = [
        [np.trace(p.estimate.factors[f"{cause}:bench"].cov) for p in (few, many)] for cause in ("mounting", "reading")
    ]

    assert share[0][1] == pytest.approx(share[0][0], rel=1e-3)
    assert share[1][1] < 0.15 * share[1][0]


# --- scale -----------------------------------------------------------------------------------------------------------


def test_longer_distances_swell_the_survey_as_the_factor_of_its_scale_says() -> None:
    world = survey(8)
    plain = found(world)
    longer = found(world, [replace(s, distance=(s.distance or 0.0) * (1.0 + 1e-5)) for s in world.sightings])
    change = plain.estimate.factors["range scale:bench"].jacobian[:, 0] * 1e-5

    # The level is the only thing that knows of no scale; it moves nothing by more than a nanometre.
    assert longer.estimate.value - plain.estimate.value == pytest.approx(change, abs=1e-9)
    assert longer.variance_factor == pytest.approx(plain.variance_factor, rel=1e-3)


def test_scale_against_the_list_is_found_to_the_quality_of_the_list() -> None:
    world = survey(8, scale=3e-4)
    points = found(world)
    scale, u = scale_against_nominal(points, world.targets)

    # The list departs from the truth by 20 um a coordinate over 18 m of root sum of squares: about 1.5 um/m.
    assert 1e-6 < u < 3e-6
    assert abs(scale - 3e-4) < 4.0 * u
    assert "larger than the nominal targets" in wrong_gates(points)["scale against nominal"]


def test_a_range_scale_between_two_occasions_is_found_with_its_sign_and_uncertainty() -> None:
    """Twelve pairs: distances 14 um/m long, girder and magnets 6 um/m grown, monuments not."""
    squares = []
    for seed in range(12):
        first, second = occasion_of(40 + seed, "a"), occasion_of(80 + seed, "b", scale=14e-6, grown=6e-6)
        change = scale_between(first, second, stretch=Stretch(6e-6), neutral_line=-0.6)
        squares.append(((change.scale - 14e-6) / change.u) ** 2)
        assert change.u < 2e-6

    # Chi-square of 12: 0.1 % limits 2.2 and 32.9.
    assert 2.2 < sum(squares) < 32.9


def occasion_of(
    seed: int,
    name: str,
    *,
    scale: float = 0.0,
    grown: float = 0.0,
    moved: dict[str, tuple[float, float, float]] | None = None,
) -> PointSet:
    """The same hall on another occasion: other stations, readings and seatings about the same places."""
    world = survey(77)
    places = {}
    for target, (carrier, _) in hall().items():
        x, y, z = (world.truth[target] * (1.0 if carrier == "wall" else 1.0 + grown)).tolist()
        places[target] = carrier, (x, y, z)
    sightings = survey(seed, places=places, jitter=0.0, scale=scale, displaced=moved).sightings
    return adjust_survey(name, sightings, world.instrument, world.targets)


def test_the_occasion_with_the_wrong_air_entry_is_named_with_its_size() -> None:
    surveys = {
        name: occasion_of(seed, name, scale=s) for seed, name, s in ((1, "a", 0.0), (2, "b", 8e-6), (3, "c", 0.0))
    }
    scales = occasion_scales(surveys, {name: Stretch(0.0) for name in surveys}, neutral_line=-0.6)

    assert scales.wrong == "b"
    assert abs(scales.scale["b"] - 8e-6) < 4.0 * scales.u["b"]
    assert "distances on b are off by +" in scales.sentence


def test_equal_range_scales_are_left_alone_and_two_cannot_be_told_apart() -> None:
    surveys = {name: occasion_of(seed, name) for seed, name in ((1, "a"), (2, "b"), (3, "c"))}
    still = {name: Stretch(0.0) for name in surveys}
    surveys_of_two = {"a": surveys["a"], "b": occasion_of(4, "b", scale=2e-5)}

    assert occasion_scales(surveys, still, neutral_line=-0.6).agree
    two = occasion_scales(surveys_of_two, still, neutral_line=-0.6)
    assert (two.wrong, two.agree) == (None, False)
    assert "two occasions alone do not tell" in two.sentence


def test_a_magnet_that_moved_does_not_pass_for_a_scale() -> None:
    """The outer magnet 60 um along the beam looks like 33 um/m over its 1.8 m; it is named instead."""
    moved = {"Q5": (0.0, 0.0, 6e-5)}
    change = scale_between(occasion_of(1, "a"), occasion_of(2, "b", moved=moved), neutral_line=-0.6)

    assert change.apart == ("Q5",)
    assert abs(change.scale) < 3.0 * change.u


def test_bending_does_not_pass_for_a_scale() -> None:
    """A sag of 300 um shortens the top and stretches the bottom: 100 um/m at the magnets, which is no scale."""
    points = occasion_of(1, "a")
    part = [i for i, name in enumerate(points.names) if points.carriers[name] != "wall"]
    places = points.estimate.value.reshape(-1, 3)
    shapes = bending_shapes(places[part], -0.6)
    bent = points.estimate.value.copy().reshape(-1, 3)
    bent[part] += (3e-4 * shapes[:, 0]).reshape(-1, 3)
    estimate = replace(points.estimate, value=bent.reshape(-1))
    change = scale_between(points, replace(points, estimate=estimate), neutral_line=-0.6)

    # Legendre polynomials of the same places: exact to rounding and the product of two small motions.
    assert abs(change.scale) < 1e-8


def test_scales_need_four_common_targets_on_the_girder() -> None:
    points = occasion_of(1, "a")
    few = adjust_survey(
        "b",
        [s for s in survey(77).sightings if s.target in ("G1L", "G2L", "G3R", "Q1-1", "M1")],
        LEVELLED,
        survey(77).targets,
    )

    with pytest.raises(Refused, match="3 of them on the girder"):
        scale_between(points, few)


# --- mistakes --------------------------------------------------------------------------------------------------------

ERRORS = {"direction": (1.0, 0.0, 0.0), "zenith angle": (0.0, 1.0, 0.0), "distance": (0.0, 0.0, 1.0)}


@pytest.mark.parametrize("instrument", [LEVELLED, FREE])
@pytest.mark.parametrize("kind", ERRORS)
@pytest.mark.parametrize("size", [30e-6, 1e-3, 0.3])
def test_one_wrong_sighting_is_named_with_its_kind_and_size(instrument: Instrument, kind: str, size: float) -> None:
    """From ten standard deviations (distances: 80 um) to a third of a metre or radian, in both rounds."""
    world = survey(11, instrument=instrument)
    error = np.array(ERRORS[kind]) * size * (8.0 / 3.0 if kind == "distance" else 1.0)
    points = found(world, spoiled(world.sightings, "T2", "Q3-2", error.tolist()))

    assert [(r.station, r.target, r.kind) for r in points.rejected] == [("T2", "Q3-2", kind)]
    # The expectation of the others is good to 10 um or 4 urad; five times that.
    assert abs(points.rejected[0].size - error.sum()) < (5e-5 if kind == "distance" else 2e-5)
    assert "obs.csv, lines" in points.rejected[0].reason
    assert not points.undetermined


def test_a_badly_seated_reflector_is_a_whole_sighting() -> None:
    world = survey(11)
    points = found(world, spoiled(world.sightings, "T1", "G4L", (5e-5, -5e-5, 2e-4)))

    assert [(r.station, r.target, r.kind, r.unit) for r in points.rejected] == [("T1", "G4L", "whole sighting", "m")]
    assert points.rejected[0].size > 2e-4


def test_a_mistake_in_one_round_costs_that_round_only() -> None:
    world = survey(11)
    points = found(world, spoiled(world.sightings, "T1", "G4L", (0.0, 2e-4, 0.0), round_=2))

    assert [(r.station, r.target, r.kind) for r in points.rejected] == [("T1", "G4L", "zenith angle")]
    assert "in round 2 only" in points.rejected[0].reason
    assert {r.round for r in points.residuals if (r.station, r.target) == ("T1", "G4L")} == {1}


def test_names_exchanged_at_one_station_are_two_wrong_sightings() -> None:
    world = survey(11)
    names = {"Q1-1": "Q4-3", "Q4-3": "Q1-1"}
    written = [replace(s, target=names.get(s.target, s.target)) if s.station == "T3" else s for s in world.sightings]

    assert {(r.station, r.target) for r in found(world, written).rejected} == {("T3", "Q1-1"), ("T3", "Q4-3")}


def test_several_mistakes_are_all_found() -> None:
    world = survey(11)
    written = list(world.sightings)
    for station, target, error in (
        ("T1", "G1L", (3e-4, 0.0, 0.0)),
        ("T2", "Q2-4", (0.0, 2e-4, 0.0)),
        ("T3", "Q2-1", (0.0, 0.0, 1e-3)),
        ("T2", "M1", (1.0, 0.0, 0.0)),
    ):
        written = spoiled(written, station, target, error)
    points = found(world, written)

    assert {(r.station, r.target, r.kind) for r in points.rejected} == {
        ("T1", "G1L", "direction"),
        ("T2", "Q2-4", "zenith angle"),
        ("T3", "Q2-1", "distance"),
        ("T2", "M1", "direction"),
    }


def test_the_rest_is_as_if_the_wrong_sighting_had_never_been() -> None:
    world = survey(11)
    written = spoiled(world.sightings, "T2", "Q3-2", (0.0, 8e-5, 0.0))
    without = [s for s in world.sightings if (s.station, s.target) != ("T2", "Q3-2")]

    assert found(world, written).estimate.value == pytest.approx(found(world, without).estimate.value, abs=1e-11)


def test_two_sightings_that_contradict_each_other_wholly_cost_the_target() -> None:
    """Two stations, an error of all three readings: nothing tells which is wrong, so the target is not determined."""
    world = survey(12, stations=2)
    points = found(world, spoiled(world.sightings, "T1", "G4L", (2e-4, -3e-4, 7e-4)))

    assert not points.rejected
    assert list(points.undetermined) == ["G4L"]
    assert "nothing tells which is wrong" in points.undetermined["G4L"]
    assert "G4L" not in points.names


def test_two_of_three_sightings_wrong_cost_the_target() -> None:
    world = survey(12)
    written = spoiled(spoiled(world.sightings, "T1", "G4L", (2e-3, 0.0, 1e-3)), "T2", "G4L", (0.0, -3e-3, 7e-4))
    points = found(world, written)

    assert list(points.undetermined) == ["G4L"]
    assert "contradict each other" in points.undetermined["G4L"]


def test_a_station_that_was_not_level_keeps_its_sightings_and_loses_its_level() -> None:
    world = survey(13)
    written = []
    lean = turned(np.eye(3)[None], np.array([[1e-3, 0.0, 0.0]]))[0]
    for s in world.sightings:
        if s.station == "T2":
            place = lean @ from_polar(np.array([[s.direction, s.zenith, s.distance]], float))[0]
            h, z, d = read(place[None])[0][0].tolist()
            written.append(replace(s, direction=h, zenith=z, distance=d))
        else:
            written.append(s)
    points = found(world, written)

    assert [(r.station, r.target, r.kind, r.unit) for r in points.rejected] == [("T2", "", "level", "rad")]
    assert points.rejected[0].size == pytest.approx(1e-3, abs=2e-5)
    assert points.pose.rotation[1, 1] > 1.0 - 1e-8


def test_a_station_that_was_knocked_between_two_rounds_counts_as_two() -> None:
    world = survey(13)
    written = [
        replace(s, direction=(s.direction or 0.0) + 1e-4) if (s.station, s.round) == ("T2", 2) else s
        for s in world.sightings
    ]
    points = found(world, written)

    assert {s.name for s in points.stations} == {"T1", "T2", "T2, moved", "T3"}
    assert not points.rejected
    assert "station T2 moved before it sighted G1L in round 2" in wrong_gates(points)["stations stood still"]


def test_a_specification_that_is_too_good_is_told_and_raises_the_uncertainty() -> None:
    world = survey(14, noise=3.0)
    points, plain = found(world), found(survey(14))
    parts = [np.trace(p.estimate.factors["reading:bench"].cov) for p in (points, plain)]

    assert not points.rejected
    assert parts[0] / parts[1] == pytest.approx(points.variance_factor, rel=1e-3)
    # 562 degrees of freedom: 9 to five times its 6 per cent.
    assert points.variance_factor == pytest.approx(9.0, abs=2.7)
    assert {"variance factor", "specification", "scatter of direction"} <= set(wrong_gates(points))
    assert points.estimate.dof == points.dof


def test_a_careful_specification_lowers_nothing() -> None:
    points, plain = found(survey(14, noise=0.3)), found(survey(14))

    assert not wrong_gates(points)
    assert points.estimate.cov == pytest.approx(plain.estimate.cov, rel=0.0, abs=1e-3 * plain.estimate.cov.max())
    assert points.estimate.dof == float("inf")


# --- what is not determined ------------------------------------------------------------------------------------------


def test_a_target_seen_by_one_station_is_determined_and_named_as_not_checked() -> None:
    world = survey(15, seen=lambda station, target: target != "G3R" or station == "T1")
    points = found(world)

    assert "G3R" in points.names
    assert "not checked by a second station: G3R;" in wrong_gates(points)["checked targets"]


def test_a_wrong_sighting_of_a_target_seen_once_cannot_be_found_and_is_not_claimed() -> None:
    world = survey(15, seen=lambda station, target: target != "G3R" or station == "T1")
    points = found(world, spoiled(world.sightings, "T1", "G3R", (1e-4, 0.0, 0.0)))

    assert not points.rejected
    assert "G3R" in wrong_gates(points)["checked targets"]


def test_a_target_seen_once_without_distance_is_left_out_with_its_reason() -> None:
    world = survey(15, seen=lambda station, target: target != "G3R" or station == "T1")
    points = found(world, [replace(s, distance=None) if s.target == "G3R" else s for s in world.sightings])

    assert "G3R" not in points.names
    assert points.undetermined == {
        "G3R": "no station read direction, zenith angle and distance to it, and no two sight lines cross"
    }


def test_a_target_without_any_distance_is_where_its_sight_lines_cross() -> None:
    world = survey(15)
    points = found(world, [replace(s, distance=None) if s.target in ("G3R", "M2") else s for s in world.sightings])
    plain = found(world)

    assert not points.undetermined
    apart = (
        points.estimate.pick(["G3R.x", "G3R.y", "G3R.z"]).value - plain.estimate.pick(["G3R.x", "G3R.y", "G3R.z"]).value
    )
    assert np.abs(apart).max() < 5.0 * points.estimate.pick(["G3R.x", "G3R.y", "G3R.z"]).u.max()


@pytest.mark.parametrize(("instrument", "needed"), [(LEVELLED, 2), (FREE, 3)])
def test_stations_that_share_too_few_targets_are_named_with_what_is_missing(
    instrument: Instrument, needed: int
) -> None:
    """T3 sees the magnets and some of the rest; the others see the girder and the monuments."""
    for shared in range(needed + 1):
        bridge = ("M1", "G2R", "M4")[:shared]

        def seen(station: str, target: str, bridge: tuple[str, ...] = bridge) -> bool:
            return (target[0] == "Q") == (station == "T3") or target in bridge

        world = survey(16, instrument=instrument, seen=seen)
        joined = {s.name for s in found(world).stations} == {"T1", "T2", "T3"}
        assert joined == (shared >= needed)
        if not joined:
            assert "share" in wrong_gates(found(world))["stations hang together"]


@pytest.mark.parametrize(
    ("stations", "rounds", "targets"), [(8, 4, (40, 20, 20)), (1, 4, (4, 0, 1)), (2, 1, (4, 0, 1))]
)
def test_surveys_of_every_size(stations: int, rounds: int, targets: tuple[int, int, int]) -> None:
    world = survey(17, stations=stations, rounds=rounds, places=hall(*targets), instrument=FREE)
    points = found(world)

    assert len(points.names) + len(points.undetermined) == len(world.truth)
    assert not points.undetermined
    assert np.abs(points.estimate.value.reshape(-1, 3)[0] - world.truth["G1L"]).max() < 2e-4
