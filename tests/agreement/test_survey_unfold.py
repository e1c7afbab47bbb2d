"""Every number of a survey told down to its readings: the sums are exact, and what they say of a reading is what happens."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from monochord.campaign.found.points import PointSet
from monochord.campaign.given.campaign import Campaign
from monochord.campaign.given.survey import Instrument, Sighting
from monochord.ground.faults import Refused
from monochord.ground.trace import Line, Sum, Unfold, pointer
from monochord.job.scales import with_scales
from monochord.report.document_survey import rejected_part, stations_part, survey_part
from monochord.simulate.campaign import simulate_campaign
from monochord.survey.points import adjust_survey
from monochord.survey.unfold import SurveyUnfold
from monochord.survey.unfold_gain import Laid
from monochord.survey.unfold_stations import heading, rotation_vector, upright
from tests.survey_world import FREE, LEVELLED, World, spoiled, survey
from tests.trace_walk import MOST, apart, walk

#: Sums are exact in exact numbers; what is left is rounding, in units of the largest line or of the number.
EXACT = 1e-9
#: Sensitivities of a network metres wide to errors of microradians: curvature is a part in 1e6 and residuals of
#: some 1e-5 over metres as much again.
CURVED = 1e-5


def _adjusted(name: str, world: World) -> PointSet:
    return adjust_survey(name, world.sightings, world.instrument, world.targets)


def _unfold(points: PointSet) -> Unfold:
    assert points.unfold is not None
    return points.unfold


def _laid(points: PointSet) -> Laid:
    assert isinstance(points.unfold, SurveyUnfold)
    return points.unfold.laid


@pytest.fixture(scope="module")
def campaign() -> Campaign:
    return simulate_campaign(1).campaign


@pytest.fixture(scope="module")
def surveys(campaign: Campaign) -> dict[str, PointSet]:
    assert campaign.instrument is not None
    alone = {
        o.name: adjust_survey(o.name, o.sightings, campaign.instrument, campaign.girder.targets)
        for o in campaign.occasions
        if o.sightings
    }
    return with_scales(campaign, alone)


@pytest.fixture(scope="module")
def worlds() -> dict[str, PointSet]:
    """Surveys of other kinds: free stations, scattering readings, a reading and a whole sighting that are wrong."""
    free, loud = survey(3, instrument=FREE), survey(4, noise=1.6, stations=4)
    wrong = survey(5, stations=4)
    sightings = spoiled(wrong.sightings, "T2", "G3L", (0.0, 0.0, 4e-4))
    sightings = spoiled(sightings, "T1", "Q2-1", (3e-4, 2e-4, 5e-4))
    return {
        "free": _adjusted("free", free),
        "loud": _adjusted("loud", loud),
        "wrong": _adjusted("wrong", replace(wrong, sightings=tuple(sightings))),
    }


def _numbers(document: object, way: tuple[str | int, ...] = ()) -> Iterator[tuple[str, float]]:
    if isinstance(document, dict):
        for key, value in document.items():
            yield from _numbers(value, (*way, str(key)))
    elif isinstance(document, list):
        for i, value in enumerate(document):
            yield from _numbers(value, (*way, i))
    elif isinstance(document, (int, float)) and not isinstance(document, bool):
        yield pointer(*way)[1:], float(document)


def _told(points: PointSet) -> dict[str, float]:
    """Every number of a survey as the result document has it, but for covariances, which causes tell."""
    places = points.estimate.value.reshape(-1, 3)
    order = [name.rpartition(".")[0] for name in points.estimate.names[::3]]
    targets = {name: {"xyz": xyz} for name, xyz in zip(order, places.tolist(), strict=True)}
    document = {"targets": targets, "stations": stations_part(points), "survey": survey_part(points)}
    return dict(_numbers({**document, "rejected": rejected_part(points)}))


def _check(points: PointSet) -> int:
    unfold = _unfold(points)
    told = _told(points)
    for name, value in told.items():
        found = unfold(name)
        assert found.name == name
        assert found.value == value
        assert apart(found) < EXACT, name
        assert 0 < len(found.lines) <= MOST
    return len(told)


def test_every_number_of_the_document_is_told_bit_for_bit(surveys: dict[str, PointSet]) -> None:
    assert all(_check(points) > 180 for points in surveys.values())


@pytest.mark.parametrize("kind", ["free", "loud", "wrong"])
def test_every_number_of_other_kinds_of_survey_is_told(worlds: dict[str, PointSet], kind: str) -> None:
    assert _check(worlds[kind]) > 150


def _causes(points: PointSet) -> Iterator[tuple[str, float]]:
    for cause, factor in points.estimate.factors.items():
        n = len(factor.spread)
        for i, j in {(0, 0), (0, n - 1), (n // 3, n // 2), (n - 1, n - 1)}:
            yield pointer("cause", cause, i, j)[1:], float(factor.spread[i, j])


def test_spreads_of_causes_are_told(surveys: dict[str, PointSet], worlds: dict[str, PointSet]) -> None:
    raised = 0
    for points in (*surveys.values(), *worlds.values()):
        for name, value in _causes(points):
            found = _unfold(points)(name)
            assert found.value == value
            # what is told is a covariance in m2; 1e-9 of a square micrometre is nothing
            assert abs(found.again() - value) <= EXACT * max(abs(value), 1e-12)
            raised += found.lines[0].of == "survey/variance_factor"
    assert raised  # the loud survey's readings scatter beyond chance


def _descend(unfold: Unfold, names: list[str], draw: random.Random, most: int = 3) -> dict[str, Sum]:
    """Sums below some names, of each a few lines asked further; no sum rests on itself."""
    done: dict[str, Sum] = {}

    def ask(name: str, way: tuple[str, ...]) -> None:
        assert name not in way, f"{name} rests on itself"
        if name in done:
            return
        done[name] = found = unfold(name)
        assert found.name == name
        further = [line.of for line in found.lines if line.of and not line.of.startswith("/")]
        for of in draw.sample(further, min(most, len(further))):
            ask(of, (*way, name))

    for name in names:
        ask(name, ())
    return done


@pytest.mark.parametrize("kind", ["free", "loud", "wrong"])
def test_what_lines_rest_on_is_told_down_to_rows_and_settings(worlds: dict[str, PointSet], kind: str) -> None:
    points = worlds[kind]
    names = [*list(_told(points))[::7], *(name for name, _ in _causes(points)), "survey/dof", "survey/variance_factor"]
    done = _descend(_unfold(points), names, random.Random(2))
    assert len(done) > 400
    for found in done.values():
        assert apart(found) < EXACT, found.name
        assert all(line.of or line.places for line in found.lines), found.name
        assert len(found.lines) <= MOST, found.name
        for line in found.lines:
            if line.factor is not None and line.given is not None:
                assert line.amount == pytest.approx(line.factor * line.given, rel=1e-12)


def test_what_a_line_brings_is_what_the_sum_behind_it_says(surveys: dict[str, PointSet]) -> None:
    unfold = _unfold(surveys["40-arrival"])
    names = ["targets/B1l/xyz/0", "survey/pose/rotation/0/1", "stations/walk-1/pose/shift/2", "survey/variance_factor"]
    for found in _descend(unfold, names, random.Random(3)).values():
        for line in [line for line in found.lines if line.of and not line.of.startswith("/")]:
            given = line.amount if line.given is None else line.given
            # a quantity may be told as a double and as a product of matrices: rounding of metres, no more
            assert unfold(line.of).value == pytest.approx(given, rel=1e-9, abs=1e-13)


def test_a_walk_down_from_a_coordinate_ends_at_rows_of_files(surveys: dict[str, PointSet]) -> None:
    points = surveys["40-arrival"]
    walked = walk(_unfold(points), ["targets/B1l/xyz/0", "survey/pose/rotation/0/1", "rejected/0/size"])
    assert not walked.untold
    rows = {place for found in walked.sums.values() for line in found.lines for place in line.places}
    assert len({(p.file, p.line) for p in rows if p.file}) > 240  # all sightings of the occasion
    assert {p.column for p in rows if p.file} == {"direction", "zenith", "distance"}
    assert {p.column for p in rows if not p.file} >= {"girder.targets.B1l.nominal", "instrument.u_level"}


def _leaves(unfold: Unfold, name: str) -> dict[tuple[int, str], Line]:
    """Lines of readings behind a number, by line of the file and column."""
    found: dict[tuple[int, str], Line] = {}
    waiting = list(unfold(name).lines)
    while waiting:
        line = waiting.pop()
        if "#rows/" in line.of:
            waiting.extend(unfold(line.of).lines)
        elif line.places and line.places[0].file:
            found[line.places[0].line, line.places[0].column] = line
    return found


def _changed(sightings: tuple[Sighting, ...], line: int, column: str, by: float) -> list[Sighting]:
    return [replace(s, **{column: getattr(s, column) + by}) if s.line == line else s for s in sightings]


@pytest.mark.parametrize("instrument", [LEVELLED, FREE], ids=["levelled", "free"])
@pytest.mark.parametrize("number", ["targets/G2R/xyz/0", "targets/M3/xyz/1", "stations/T1#girder shift 2", "turn"])
def test_a_reading_that_changes_changes_the_number_as_its_line_says(instrument: Instrument, number: str) -> None:
    world = survey(7, instrument=instrument)
    points = _adjusted("one", world)
    name = "stations/T2#girder turn 1" if number == "turn" else number
    lines = _leaves(_unfold(points), name)
    counted = sum(r.kind != "level" for r in points.residuals)
    assert len(lines) == counted
    held = upright(heading(_laid(points), 1)).T
    step, largest = 1e-6, max(abs(line.factor or 0.0) for line in lines.values())
    strong = sorted(lines, key=lambda key: -abs(lines[key].factor or 0.0))
    for line, column in (*strong[:2], *random.Random(1).sample(strong[2:], 2)):

        def after(by: float, line: int = line, column: str = column) -> float:
            moved = _adjusted("one", replace(world, sightings=tuple(_changed(world.sightings, line, column, by))))
            if number == "turn":
                return float(rotation_vector(_laid(moved).state.rotation[1] @ held)[1])
            return _unfold(moved)(name).value

        follows = (after(step) - after(-step)) / (2.0 * step)
        factor = lines[line, column].factor
        assert factor is not None
        assert abs(follows - factor) < CURVED * largest


def test_what_a_reading_says_is_its_residual_and_the_way_from_the_nominal_place(worlds: dict[str, PointSet]) -> None:
    points = worlds["free"]
    unfold, laid = _unfold(points), _laid(points)
    network = laid.cleaned.survey.network
    row = next(i for i, s in enumerate(network.sightings) if (s.station, s.target) == ("T1", "Q2-2"))
    sighting = network.sightings[row]
    line = _leaves(unfold, "targets/Q2-2/xyz/2")[sighting.line, "distance"]
    target, station = laid.target("Q2-2"), laid.station("T1")
    assert target is not None
    assert station is not None
    far = float(np.linalg.norm(laid.nominal[target] - laid.state.position[station]))
    assert sighting.distance is not None
    # read less what would be read at the nominal place, from where the station was found; curvature is 1e-10 m
    assert line.given == pytest.approx(sighting.distance - far, abs=1e-9)


def test_left_out_readings_do_not_count_and_are_told(worlds: dict[str, PointSet]) -> None:
    points = worlds["wrong"]
    unfold, laid = _unfold(points), _laid(points)
    assert {(r.station, r.target) for r in points.rejected} == {("T2", "G3L"), ("T1", "Q2-1")}
    out = [laid.cleaned.survey.network.sightings[i] for i in np.flatnonzero(laid.cleaned.survey.out.any(axis=1))]
    found = unfold("targets/G3L/xyz/0")
    assert "4 sightings left out" in found.how
    lines = _leaves(unfold, "targets/G3L/xyz/0")
    assert not {s.line for s in out} & {line for line, _ in lines}
    for i, record in enumerate(points.rejected):
        size = unfold(f"rejected/{i}/size")
        assert size.again() == pytest.approx(record.size, rel=1e-12)
        assert {s.line for s in out if s.station == record.station} == {
            place.line for s in _descend(unfold, [size.name], random.Random(1), 9).values() for x in s.lines
            for place in x.places if s.name.startswith("rejected")
        }  # fmt: skip


def test_range_scales_are_told_from_the_coordinates_of_all_occasions(surveys: dict[str, PointSet]) -> None:
    for name, points in surveys.items():
        unfold = _unfold(points)
        scale, u = unfold("survey/scale"), unfold("survey/u_scale")
        assert (scale.value, u.value) == (points.scale, points.u_scale)
        assert apart(scale) < EXACT
        assert apart(u) < EXACT
        # inverses of covariances are rounded at some 1e-8; were it more, the line would hide a mistake
        assert abs(u.lines[-1].amount) < 1e-7 * u.value**2
        walked = walk(unfold, ["survey/scale", "survey/u_scale"])
        assert pointer("occasions", name, "targets", "B1l", "xyz", 2) in walked.elsewhere
        assert all(apart(found) < EXACT for found in walked.sums.values())
        station = points.stations[0].name
        assert unfold(f"stations/{station}/factors/scale").value == points.scale


def test_a_scale_follows_a_coordinate_as_its_line_says(campaign: Campaign, surveys: dict[str, PointSet]) -> None:
    from monochord.job.scales import stretches_of
    from monochord.survey.scale import occasion_scales

    name, unfold = "50-settled", _unfold(surveys["50-settled"])
    part = "survey/scale#rows/50-settled/coordinate/girder/B6r"
    line = next(x for x in unfold(part).lines if x.of.endswith(" 2"))
    estimate, i = surveys[name].estimate, surveys[name].estimate.index("B6r.z")
    step = 1e-8
    moved = replace(estimate, value=estimate.value + step * (np.arange(len(estimate.value)) == i))
    stretches = stretches_of(campaign, list(surveys))
    neutral = campaign.girder.beam.neutral_line if campaign.girder.beam else None
    after = occasion_scales({**surveys, name: replace(surveys[name], estimate=moved)}, stretches, neutral_line=neutral)
    follows = (after.scale[name] - surveys[name].scale) / step
    assert line.factor is not None
    # the scale is linear in coordinates but for the lever arms, which follow places by 1e-8 of metres
    assert follows == pytest.approx(line.factor, rel=1e-3, abs=1e-6)


def test_a_name_that_nobody_knows_is_refused(worlds: dict[str, PointSet]) -> None:
    unfold = _unfold(worlds["free"])
    for name in ("targets/Nobody/xyz/0", "targets/G1L/xyz/3", "stations/T1/pose/shift/7", "survey#residual 99999 distance",
                 "survey/residuals/distance/mode", "rejected/7/size", "cause/reading:free/0/9999", "", "#", "survey/pose#up 5",
                 "targets/G1L/xyz/0#rows/T9/distance"):  # fmt: skip
        with pytest.raises(Refused):
            unfold(name)


def test_names_with_strange_signs_are_told() -> None:
    world = survey(9)
    odd = {"G1L": "G/1#L", "Q1-1": "Q~1#rows"}
    sightings = tuple(replace(s, target=odd.get(s.target, s.target)) for s in world.sightings)
    targets = tuple(replace(t, name=odd.get(t.name, t.name)) for t in world.targets)
    points = adjust_survey("one", sightings, world.instrument, targets)
    for name in odd.values():
        base = pointer("targets", name, "xyz", 1)[1:]
        found = _unfold(points)(base)
        assert found.value == points.estimate.value[points.estimate.index(f"{name}.y")]
        assert all(_unfold(points)(line.of).name == line.of for line in found.lines if line.of)


def test_nothing_is_computed_before_it_is_asked() -> None:
    laid = _laid(_adjusted("one", survey(2)))
    assert not {"state", "_normals", "_motions", "counted", "readings"} & set(vars(laid))
    assert not laid.kept


def test_gains_carry_the_datum_of_the_nominal_places() -> None:
    points = _adjusted("one", survey(6))
    laid = _laid(points)
    form, coordinates = np.zeros((3, 6)), np.zeros((len(laid.nominal), 3))
    coordinates[laid.used, 0] = 1.0 / laid.used.sum()
    gains, levels = laid.gains(form, coordinates)
    # the middle of the targets that decide is held at the middle of their nominal places, whatever is read
    assert max(float(np.abs(gains).max()), float(np.abs(levels).max())) < 1e-9
    assert math.isfinite(points.variance_factor)
