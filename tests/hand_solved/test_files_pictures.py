"""Mix-ups that fit formally: a station's picture of the targets tells them, and names what would explain it.

Nine targets stand on a girder of 4 m; a station beside it sees them without noise. Each case spoils the
sightings or the nominal places in one known way.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from monochord.campaign.given.girder import Target
from monochord.campaign.given.survey import Sighting
from monochord.files.checks_survey import check_survey
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


def seen(station: str = "S1", tilt: float = 0.02) -> list[Sighting]:
    """What a station 2.5 m beside the girder and 0.8 m above it reads; its up is the girder's up but for a tilt."""
    up = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])  # girder z, x, y along the station's x, y, z
    turn = rotation_from_vector(np.array([tilt, -tilt, 0.7])) @ up
    found = []
    for line, (name, place) in enumerate(PLACES.items(), start=2):
        x, y, z = turn @ (np.array(place) - [2.5, 0.8, 0.3])
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
        (spoiled(direction=-1.0), "mirror image"),
        (spoiled(direction=0.9, zenith=0.9), "angles in degrees read as gon"),
        (spoiled(direction=1 / 0.9, zenith=1 / 0.9), "angles in gon read as degrees"),
        (spoiled(distance=1e-3), "distances 1000 times too small"),
        (spoiled(distance=1e3), "distances 1000 times too large"),
        (spoiled(distance=25.4), "inches"),
        (spoiled(distance=1 / 25.4), "inches"),
        ([replace(s, zenith=math.pi / 2 - (s.zenith or 0.0)) for s in seen()], "elevation"),
        (spoiled(direction=-0.9, zenith=0.9), "angles in degrees read as gon and the picture is a mirror image"),
    ],
)
def test_the_reason_is_named(sightings: list[Sighting], reason: str) -> None:
    fault = only(check_survey(sightings, TARGETS))
    assert reason in fault.remedy
    assert (fault.file, fault.line) == ("obs.csv", 2)
    assert "station S1" in fault.given


@pytest.mark.parametrize("order", [(1, 0, 2), (2, 1, 0), (0, 2, 1)])
def test_exchanged_columns_of_nominal_places_are_a_mirror(order: tuple[int, int, int]) -> None:
    a, b, c = order
    targets = [replace(t, nominal=(t.nominal[a], t.nominal[b], t.nominal[c])) for t in TARGETS if t.nominal]
    assert "two exchanged columns" in only(check_survey(seen(), targets)).remedy


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


def test_a_flat_set_of_targets_cannot_tell_a_mirror() -> None:
    """All in one plane: the mirrored picture fits by turning the plane over, and no claim is made."""
    flat = [replace(t, nominal=(t.nominal[0], -0.37, t.nominal[2])) for t in TARGETS if t.nominal]
    plane = [s for s in seen() if s.target in "ABCDEF"]
    mirrored = [replace(s, direction=-(s.direction or 0.0)) for s in plane]
    assert check_survey(mirrored, flat) == []


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
