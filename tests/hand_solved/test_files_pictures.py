"""Mix-ups that fit formally: a station's picture of the targets tells them, and names what would explain it.

Nine targets stand on a girder of 4 m; a station beside it sees them without noise. Each case spoils the
sightings or the nominal places in one known way.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from monochord.campaign.given.girder import Target
from monochord.campaign.given.survey import Sighting
from monochord.files.checks_survey import Habits, check_survey, look_at_survey
from monochord.files.sightings import check_names
from monochord.ground.faults import Fault, Gatherer
from monochord.ground.frames import rotation_from_vector

PLACES = {
    "A": (0.3, -0.37, -2.0),
    "B": (-0.3, -0.36, -1.9),
    "C": (0.31, -0.37, -0.4),
    "D": (-0.3, -0.37, 0.2),
    "E": (0.3, -0.38, 1.2),
    "F": (-0.29, -0.37, 2.1),
    "G": (0.2, 0.31, -1.1),
    "H": (-0.2, 0.3, 0.9),
    "I": (0.15, 0.32, 1.7),
}
TARGETS = tuple(Target(n, "girder", p, 0.0005) for n, p in PLACES.items())


def seen(
    station: str = "S1",
    tilt: float = 0.02,
    *,
    stand: tuple[float, float, float] = (2.5, 0.8, 0.3),
    places: Mapping[str, tuple[float, float, float]] = PLACES,
) -> list[Sighting]:
    """What a station 2.5 m beside the girder and 0.8 m above it reads; its up is the girder's up but for a tilt."""
    up = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])  # girder z, x, y along the station's x, y, z
    turn = rotation_from_vector(np.array([tilt, -tilt, 0.7])) @ up
    found = []
    for line, (name, place) in enumerate(places.items(), start=2):
        x, y, z = turn @ (np.array(place) - stand)
        d = math.sqrt(x * x + y * y + z * z)
        found.append(Sighting(station, name, math.atan2(y, x) % (2 * math.pi), math.acos(z / d), d, 1, "obs.csv", line))
    return found


def spoiled(**changes: float) -> list[Sighting]:
    """Sightings with direction, zenith or distance multiplied."""
    return [
        replace(
            s,
            direction=(s.direction or 0.0) * changes.get("direction", 1.0),
            zenith=(s.zenith or 0.0) * changes.get("zenith", 1.0),
            distance=(s.distance or 0.0) * changes.get("distance", 1.0),
        )
        for s in seen()
    ]


def only(faults: list[Fault]) -> Fault:
    assert len(faults) == 1
    return faults[0]


def test_a_right_picture_passes() -> None:
    assert check_survey(seen(), TARGETS) == []


def test_two_blunders_do_not_spoil_a_picture() -> None:
    sightings = seen()
    sightings[1] = replace(sightings[1], distance=(sightings[1].distance or 0.0) + 0.3)
    sightings[4], sightings[5] = replace(sightings[4], target="F"), replace(sightings[5], target="E")
    assert check_survey(sightings, TARGETS) == []


@pytest.mark.parametrize(
    ("sightings", "reason"),
    [
        (spoiled(direction=-1.0), "the sense of the horizontal circle is the other one (angles.horizontal)"),
        (spoiled(direction=0.9, zenith=0.9), "angles in degrees read as gon"),
        (spoiled(direction=1 / 0.9, zenith=1 / 0.9), "angles in gon read as degrees"),
        (spoiled(distance=1e-3), "distances: 1000 times too small"),
        (spoiled(distance=1e3), "distances: 1000 times too large"),
        (spoiled(distance=25.4), "inches"),
        (spoiled(distance=1 / 25.4), "inches"),
        ([replace(s, zenith=math.pi / 2 - (s.zenith or 0.0)) for s in seen()], "elevation"),
        (spoiled(direction=np.pi / 180, zenith=np.pi / 180), "angles in rad read as degrees"),
        (spoiled(direction=0.9), "horizontal angles in degrees read as gon (tables.sightings.columns.horizontal.unit)"),
        (spoiled(zenith=1 / 0.9), "vertical angles in gon read as degrees (tables.sightings.columns.vertical.unit)"),
        ([replace(s, zenith=math.pi - (s.zenith or 0.0)) for s in seen()], "counts from the nadir (angles.vertical)"),
        ([replace(s, direction=s.zenith, zenith=s.direction) for s in seen()], "angles in two exchanged columns"),
        (
            spoiled(direction=-0.9, zenith=0.9),
            "horizontal circle is the other one (angles.horizontal) and angles in degrees",
        ),
    ],
)
def test_the_reason_is_named(sightings: list[Sighting], reason: str) -> None:
    fault = only(check_survey(sightings, TARGETS))
    assert reason in fault.remedy
    assert (fault.file, fault.line) == ("obs.csv", 2)
    assert "station S1" in fault.given


def moved(order: tuple[int, int, int] = (0, 1, 2), signs: tuple[int, int, int] = (1, 1, 1)) -> list[Target]:
    """Nominal places with their columns in another order, or with other signs."""
    a, b, c = order
    i, j, k = signs
    return [replace(t, nominal=(i * t.nominal[a], j * t.nominal[b], k * t.nominal[c])) for t in TARGETS if t.nominal]


@pytest.mark.parametrize(
    ("targets", "reason"),
    [
        (moved(order=(1, 0, 2)), "nominal x and y in two exchanged columns"),
        (moved(order=(2, 1, 0)), "nominal x and z in two exchanged columns"),
        (moved(order=(0, 2, 1)), "nominal y and z in two exchanged columns"),
        (moved(signs=(-1, 1, 1)), "nominal x counts the other way"),
        (moved(signs=(1, -1, 1)), "nominal y counts the other way"),
        (moved(signs=(1, 1, -1)), "nominal z counts the other way"),
    ],
)
def test_mirrored_nominal_places_are_named(targets: list[Target], reason: str) -> None:
    remedy = only(check_survey(seen(), targets)).remedy
    assert reason in remedy
    # an upright station tells up from down: what mirrors left and right is never mixed up with what mirrors up and down
    upside = ("nominal y counts", "from the nadir")
    assert any(w in remedy for w in upside) == any(w in reason for w in upside)


@pytest.mark.parametrize(("order", "which"), [((1, 2, 0), "too far left"), ((2, 0, 1), "too far right")])
def test_a_picture_lying_on_its_side_is_noted(order: tuple[int, int, int], which: str) -> None:
    """Columns in a round are a rotation: everything fits, but the stations do not stand upright."""
    faults, notes = look_at_survey(seen(), moved(order=order))
    assert faults == []
    assert "only lying on its side" in only(notes).given
    assert f"each one column {which}" in only(notes).remedy


def test_what_carries_the_targets_tells_between_two_mirrors() -> None:
    """A turned z and a turned circle look alike from the station; the magnets' places along the beam settle it."""
    carried = [replace(t, carrier="Q1" if t.name in "GHI" else "girder") for t in moved(signs=(1, 1, -1))]
    z = {"G": -1.1, "H": 0.9, "I": 1.7}
    alone = [replace(t, carrier=t.name) if t.name in z else t for t in carried]
    habits = Habits(items={name: (0.0, 0.0, at) for name, at in z.items()})
    remedy = only(check_survey(seen(), alone, habits)).remedy
    assert "nominal z counts the other way" in remedy
    assert "circle" not in remedy


def test_nominal_places_in_inches() -> None:
    targets = [
        replace(t, nominal=(t.nominal[0] / 25.4, t.nominal[1] / 25.4, t.nominal[2] / 25.4))
        for t in TARGETS
        if t.nominal
    ]
    assert "inches" in only(check_survey(seen(), targets)).remedy


def test_what_nothing_explains_is_said_so() -> None:
    rng = np.random.default_rng(3)
    sightings = [replace(s, direction=float(rng.uniform(0, 6)), zenith=float(rng.uniform(0, 3))) for s in seen()]
    assert "no usual mix-up explains it" in only(check_survey(sightings, TARGETS)).remedy


def test_only_the_station_that_is_wrong_is_named() -> None:
    other = [replace(s, station="S2", line=s.line + 9) for s in spoiled(direction=-1.0)]
    fault = only(check_survey([*seen(), *other], TARGETS))
    assert "station S2" in fault.given
    assert fault.line == 11


def test_a_flat_set_of_targets_turned_over_is_noted() -> None:
    """All in one plane: the mirrored picture fits by turning the plane over, which an upright station does not do."""
    flat = [replace(t, nominal=(t.nominal[0], -0.37, t.nominal[2])) for t in TARGETS if t.nominal]
    plane = [s for s in seen() if s.target in "ABCDEF"]
    mirrored = [replace(s, direction=-(s.direction or 0.0)) for s in plane]
    faults, notes = look_at_survey(mirrored, flat)
    assert faults == []
    assert "only upside down" in only(notes).given
    assert "one plane, which the fit turns over" in only(notes).remedy
    assert "the sense of the horizontal circle" in only(notes).remedy
    assert look_at_survey(plane, flat)[0] == []


def test_a_steep_plane_cannot_tell_a_mirror() -> None:
    """Targets in one upright plane look the same in a mirror, upright as well: it is said that nobody can tell."""
    upright = [replace(t, nominal=(0.3, t.nominal[1], t.nominal[2])) for t in TARGETS if t.nominal]
    faults, notes = look_at_survey(seen(places={t.name: t.nominal for t in upright if t.nominal}), upright)
    assert faults == []
    assert "it cannot be told whether the sense of the horizontal circle" in only(notes).remedy


def test_targets_on_one_line_check_nothing() -> None:
    line = {name: (0.3, -0.37, 0.5 * k) for k, name in enumerate(PLACES)}
    targets = [Target(n, "girder", p, 0.0005) for n, p in line.items()]
    faults, notes = look_at_survey(seen(places=line), targets)
    assert faults == []
    assert "9 targets from station S1 on one line" in only(notes).given


def test_stations_exchanged_in_one_round_are_named() -> None:
    first = [*seen("S1"), *seen("S2", stand=(-2.0, 0.9, 1.3))]
    names = {"S1": "S2", "S2": "S1"}
    swapped = [replace(s, station=names[s.station], round=2) for s in first]
    fault = only(look_at_survey([*first, *swapped], TARGETS)[0])
    assert "round 2 of stations S1 and S2" in fault.given
    assert "if S1 and S2 are exchanged in that round" in fault.remedy
    assert look_at_survey([*first, *(replace(s, round=2) for s in first)], TARGETS) == ([], [])


def test_a_round_from_another_place_is_noted() -> None:
    later = [replace(s, round=2) for s in seen("S1", stand=(2.6, 0.8, 0.3))]
    faults, notes = look_at_survey([*seen("S1"), *later], TARGETS)
    assert faults == []
    assert "did the station move" in only(notes).remedy


def test_too_few_targets_make_no_picture() -> None:
    assert check_survey(spoiled(direction=-1.0)[:4], TARGETS) == []


# -- names -------------------------------------------------------------------------------------------


def names(found: list[Sighting], targets: list[str], others: tuple[str, ...] = ()) -> tuple[list[Fault], list[Fault]]:
    faults, notes = Gatherer(), list[Fault]()
    check_names(found, targets, others, faults, notes)
    return faults.faults, notes


def sighting(target: str, station: str = "S1", line: int = 2) -> Sighting:
    return Sighting(station, target, 1.0, 1.0, 1.0, 1, "obs.csv", line)


def test_names_that_a_spreadsheet_made_dates_of() -> None:
    found = [sighting("2002-03-01"), sighting("2002-03-01", "S2", 3)]
    fault = only(names(found, ["3-1-2", "3-1-3"])[0])
    assert "it looks like a date that a spreadsheet made from '3-1-2'" in fault.remedy
    assert fault.line == 2


def test_a_name_nobody_told_of_from_one_station_is_a_slip() -> None:
    faults, _ = names([sighting("A1"), sighting("A1", line=3), sighting("A2"), sighting("A2", "S2")], ["A2"])
    assert "'A1'" in only(faults).given


def test_a_name_nobody_told_of_from_two_stations_is_a_further_point() -> None:
    faults, notes = names([sighting("bolt head"), sighting("bolt head", "S2")], ["A2"])
    assert faults == []
    assert any("further point" in n.remedy for n in notes)
    assert any("no sighting of A2" in n.given for n in notes)


def test_wall_points_by_pattern() -> None:
    assert names([sighting("M1"), sighting("M1", "S2")], [], ("M[0-9]*",)) == ([], [])
