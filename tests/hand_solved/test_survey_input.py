"""Sightings as laboratories write them: spellings, second faces, numbers that are no readings, wrong units."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from monochord.campaign.given.girder import Target
from monochord.campaign.given.survey import Sighting
from monochord.ground.faults import Refused
from monochord.survey.moved import Parting, find_parting, part
from monochord.survey.names import other_spellings, parts
from monochord.survey.network import gather
from monochord.survey.nominal import UNIT_SLIPS
from monochord.survey.points import adjust_survey
from monochord.survey.start import agreeing
from tests.survey_world import FREE, LEVELLED, World, survey


def notes(world: World, sightings: list[Sighting]) -> str:
    found = adjust_survey("bench", sightings, world.instrument, world.targets)
    assert not found.rejected
    assert not found.undetermined
    return " ".join(gate.message for gate in found.gates if gate.name == "names and readings")


@pytest.mark.parametrize("other", ["q1-1", "Q1_1", "Q1.1", "Q 1 1", "Q01-01", "q1/1"])
def test_spellings_of_one_name(other: str) -> None:
    assert other_spellings({other: 1}, ["Q1-1", "Q11"]) == {other: "Q1-1"}


def test_digits_that_stand_together_are_another_name() -> None:
    assert parts("Q11") != parts("Q1-1")
    assert other_spellings({"Q11": 1}, ["Q1-1"]) == {}


def test_a_spelling_that_fits_two_listed_targets_fits_neither() -> None:
    assert other_spellings({"q1 1": 1}, ["Q1-1", "Q1.1"]) == {}


def test_one_station_that_spells_otherwise_is_read_with_a_note() -> None:
    world = survey(1)
    other = {"Q1-1": "q1_1", "M1": "m1"}
    written = [replace(s, target=other.get(s.target, s.target)) if s.station == "T2" else s for s in world.sightings]

    assert "'q1_1' was read as 'Q1-1'" in notes(world, written)
    assert "'m1' was read as 'M1'" in notes(world, written)


def test_two_places_seen_by_one_station_are_two_targets_however_they_are_spelt() -> None:
    sightings = [Sighting("T", name, h, 1.5, 3.0, 1, "", 0) for name, h in (("M1", 0.1), ("m-1", 0.2), ("M2", 0.3))]

    assert set(gather(sightings, [])[0].targets) == {"M1", "m-1", "M2"}


def test_a_target_listed_twice_counts_once_with_a_note() -> None:
    world = survey(1)
    doubled = World(world.sightings, world.instrument, (*world.targets, replace(world.targets[0])), world.truth)

    assert "'G1L' stands twice in the list" in notes(doubled, list(world.sightings))


def test_sightings_in_the_second_face_are_turned_into_the_first() -> None:
    world = survey(1)
    turned = [
        replace(s, direction=(s.direction or 0.0) + math.pi, zenith=2.0 * math.pi - (s.zenith or 0.0))
        if s.round == 2
        else s
        for s in world.sightings
    ]
    plain = adjust_survey("bench", world.sightings, world.instrument, world.targets)
    found = adjust_survey("bench", turned, world.instrument, world.targets)

    assert "114 sightings in the second face" in notes(world, turned)
    # Turning a face rounds angles to 1e-16 rad, which at metres is far below a nanometre.
    assert found.estimate.value == pytest.approx(plain.estimate.value, abs=1e-12)


def test_numbers_that_are_no_readings_are_named_and_not_used() -> None:
    world = survey(1)
    written = list(world.sightings)
    written[3] = replace(written[3], distance=0.0)
    written[4] = replace(written[4], zenith=math.nan)
    written[5] = replace(written[5], direction=None, zenith=None, distance=None)
    told = notes(world, written)

    assert f"distance 0.0 from T1 to {written[3].target} (obs.csv, line 5) is no reading" in told
    assert f"zenith angle nan from T1 to {written[4].target} (obs.csv, line 6) is no reading" in told


def in_unit(factor: float) -> Callable[[Sighting], Sighting]:
    return lambda s: replace(s, distance=(s.distance or 0.0) * factor)


@pytest.mark.parametrize("factor", [ratio for slip, _ in UNIT_SLIPS for ratio in (slip, 1.0 / slip)])
def test_distances_in_another_unit_are_refused(factor: float) -> None:
    world = survey(2)

    with pytest.raises(Refused, match=rf"a survey {factor:.4g} times the size of the nominal targets"):
        adjust_survey("bench", [in_unit(factor)(s) for s in world.sightings], world.instrument, world.targets)


@pytest.mark.parametrize("instrument", [LEVELLED, FREE])
def test_the_other_sense_of_directions_is_a_mirrored_frame(instrument: object) -> None:
    world = survey(2, instrument=LEVELLED if instrument is LEVELLED else FREE)
    turned_round = [replace(s, direction=-(s.direction or 0.0)) for s in world.sightings]

    with pytest.raises(Refused, match="mirrored frame"):
        adjust_survey("bench", turned_round, world.instrument, world.targets)


def test_one_station_of_the_other_sense_is_named_and_left_out() -> None:
    world = survey(2)
    mixed = [replace(s, direction=-(s.direction or 0.0)) if s.station == "T2" else s for s in world.sightings]
    found = adjust_survey("bench", mixed, world.instrument, world.targets)

    assert [s.name for s in found.stations] == ["T1", "T3"]
    assert [g.message.startswith("station T2 is left out: mirrored frame") for g in found.gates if not g.ok] == [True]


def test_angles_in_gon_taken_for_degrees_are_refused() -> None:
    world = survey(2)
    wrong = [replace(s, direction=(s.direction or 0.0) * 0.9, zenith=(s.zenith or 0.0) * 0.9) for s in world.sightings]

    with pytest.raises(Refused, match="units and the sense of the angles"):
        adjust_survey("bench", wrong, world.instrument, world.targets)


def test_elevations_taken_for_zenith_angles_are_refused() -> None:
    world = survey(2)
    wrong = [replace(s, zenith=math.pi / 2.0 - (s.zenith or 0.0)) for s in world.sightings]

    with pytest.raises(Refused, match="zero of the angles"):
        adjust_survey("bench", wrong, world.instrument, world.targets)


@pytest.mark.parametrize(
    ("sightings", "targets", "given"),
    [
        (0, None, "no sighting with a reading"),
        (1, None, "1 determined targets with nominal places"),
        (None, 0, "0 determined targets with nominal places"),
        (None, 2, "2 determined targets with nominal places"),
    ],
)
def test_too_little_is_refused_with_what_is_missing(sightings: int | None, targets: int | None, given: str) -> None:
    world = survey(2)

    with pytest.raises(Refused, match=given):
        adjust_survey("bench", world.sightings[:sightings], world.instrument, world.targets[:targets])


def test_targets_on_one_line_do_not_fix_a_frame() -> None:
    world = survey(2)
    line = [t for t in world.targets if t.name in ("G1L", "G2L", "G3L", "G4L")]

    with pytest.raises(Refused, match="not on one line"):
        adjust_survey("bench", world.sightings, world.instrument, line)


def test_distances_missing_everywhere_leave_nothing_to_join() -> None:
    world = survey(2)

    with pytest.raises(Refused, match="do not hang together"):
        adjust_survey("bench", [replace(s, distance=None) for s in world.sightings], world.instrument, world.targets)


def test_names_exchanged_in_the_whole_survey_show_against_the_list() -> None:
    world = survey(2)
    names = {"G1L": "G2L", "G2L": "G1L"}
    found = adjust_survey(
        "bench",
        [replace(s, target=names.get(s.target, s.target)) for s in world.sightings],
        world.instrument,
        world.targets,
    )

    assert [g.message for g in found.gates if not g.ok] == [
        "G1L and G2L lie at each other's nominal places: names exchanged?"
    ]


def test_a_wrong_line_in_the_list_does_not_turn_the_frame() -> None:
    world = survey(2)
    listed = [replace(t, nominal=(0.0, 0.0, 0.0)) if t.name == "G2L" else t for t in world.targets]
    good = adjust_survey("bench", world.sightings, world.instrument, world.targets)
    found = adjust_survey("bench", world.sightings, world.instrument, listed)

    assert [g.name for g in found.gates if not g.ok] == ["nominal places"]
    assert "G2L by 1320" in next(g.message for g in found.gates if not g.ok)
    # The frame now rests on 11 of 12 targets, each about 20 um from its nominal place.
    assert np.abs(found.estimate.value - good.estimate.value).max() < 2e-5


def test_distances_of_points_are_compared_without_axes() -> None:
    """A unit square and a fifth corner; the second cloud is turned, shifted, and its fifth corner moved by 0.1 m."""
    first = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0], [2, 0, 1]])
    second = first[:, [1, 2, 0]] + [5.0, 6.0, 7.0]
    second[4, 0] += 0.1

    assert agreeing(first, second, np.full((5, 5), 1e-3)).tolist() == [True, True, True, True, False]


def test_a_parting_is_found_where_it_is() -> None:
    """The misfit is the distance of the parting from sighting 17 of T2, so the search must end there."""
    sightings = [Sighting(s, f"P{k}", 0.0, 1.5, 2.0, 1, "", 0) for s in ("T1", "T2") for k in range(40)]

    def misfit(parted: object) -> float:
        assert isinstance(parted, list)
        moved = [s for s in parted if s.station.endswith("moved")]
        return abs(len(moved) - 23) + (100.0 if moved[0].station.startswith("T1") else 0.0)

    assert find_parting(sightings, misfit) == (Parting("T2", 17), 0.0)
    assert sum(s.station == "T2, moved" for s in part(sightings, Parting("T2", 17))) == 23


def test_a_target_without_nominal_place_is_carried_along() -> None:
    world = survey(2)
    listed = [replace(t, nominal=None) if t.name == "Q1-1" else t for t in world.targets]
    found = adjust_survey("bench", world.sightings, world.instrument, listed)

    assert found.carriers["Q1-1"] == "Q1"
    assert found.carriers["M1"] == "wall"
    assert found.names[: len(listed)] == tuple(t.name for t in listed)


def test_magnets_help_to_place_the_frame_when_the_girder_has_too_few_targets() -> None:
    world = survey(2)
    listed = [t for t in world.targets if t.carrier != "girder" or t.name == "G1L"]
    found = adjust_survey("bench", world.sightings, world.instrument, listed)

    assert found.carriers["G2L"] == "wall"
    assert (
        np.abs(found.estimate.value.reshape(-1, 3)[0] - np.array(Target("", "", listed[0].nominal).nominal)).max()
        < 2e-4
    )
