"""Conventions turned into ours: strengths, frames, circles, amplitudes, phases, drives. Each answer by hand."""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from monochord.campaign.given.campaign import Campaign
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign

LABS = Path(__file__).resolve().parents[1] / "labs"


Build = Callable[..., Campaign]


@pytest.fixture
def build(tmp_path: Path) -> Build:
    """A campaign from the excerpt with changes: (file, old, new) in its tables or its description."""

    def made(*changes: tuple[str, str, str], drop: tuple[str, ...] = ()) -> Campaign:
        data = tmp_path / "data"
        shutil.copytree(LABS / "a", data)
        shutil.copy(LABS / "a.toml", tmp_path / "lab.toml")
        for name in drop:
            (data / name).unlink()
        for name, old, new in changes:
            path = tmp_path / "lab.toml" if name == "lab.toml" else data / name
            text = path.read_bytes().decode()
            assert old in text
            path.write_bytes(text.replace(old, new).encode())
        begin(data, tmp_path / "lab.toml", tmp_path / "campaign", {"girder": "G7"}, "2026-03-12T08:00:00Z")
        return load_campaign(tmp_path / "campaign")

    return made


SURVEYS = ("2-aligned/tracker.csv", "4-back/tracker.csv")


def test_coefficients_become_derivatives(build: Build) -> None:
    """By = c x^(N-1): c, 2 c and 6 c are the derivatives of a quadrupole, a sextupole and an octupole."""
    campaign = build(
        ("lab.toml", 'means = "derivative"', 'means = "coefficient"'),
        ("girder/magnets.csv", "S2,sextupole,780.0,200.0,420.0,T/m^2", "S2,octupole,780.0,200.0,420.0,T/m^3"),
    )
    derivative = {m.name: m.derivative for m in campaign.girder.magnets}
    assert derivative == pytest.approx({"Q1": 0.112, "S1": 8.4, "Q2": 0.121, "S2": 25.2, "Q3": -0.112})


def test_strength_at_another_current(build: Build) -> None:
    campaign = build(("lab.toml", 'at_current = "100 A"', 'at_current = "80 A"'))
    assert campaign.girder.magnets[0].derivative == pytest.approx(11.2 / 80.0)


def test_axes_against_the_beam_turn_even_multipoles(build: Build) -> None:
    """x right, y up, z against the beam is right-handed: d/dx turns its sign, so quadrupoles do and sextupoles do not."""
    campaign = build(
        ("lab.toml", 'x = "left"', 'x = "right"'),
        ("lab.toml", 'z = "along beam"', 'z = "against beam"'),
        drop=("girder/wire_ends.csv", *SURVEYS),
    )
    derivative = {m.name: m.derivative for m in campaign.girder.magnets}
    assert derivative == pytest.approx({"Q3": 0.112, "S2": 4.2, "Q2": -0.121, "S1": 4.2, "Q1": -0.112})
    assert [m.name for m in campaign.girder.magnets] == ["Q3", "S2", "Q2", "S1", "Q1"]
    bolts = {b.name: b for b in campaign.girder.bolts}
    assert bolts["H1"].direction == (-1.0, 0.0, 0.0)
    assert bolts["H1"].point == pytest.approx((-0.3, -0.75, 1.9))
    assert bolts["A1"].direction == (0.0, 0.0, -1.0)


def test_axes_as_they_are(build: Build) -> None:
    scan = build().occasions[0].scans[0]
    assert scan.x[0] == pytest.approx((2.28633 - 23.85979j) * 1e-6)
    assert scan.y[0] == pytest.approx((1.84814 - 0.70669j) * 1e-6)
    assert (scan.stage_x[0], scan.stage_y[0]) == pytest.approx((-0.14e-3, 0.07e-3))


def test_turned_axes_of_the_wire(build: Build) -> None:
    campaign = build(
        ("lab.toml", 'x = "left"', 'x = "right"'),
        ("lab.toml", 'z = "along beam"', 'z = "against beam"'),
        drop=("girder/wire_ends.csv", *SURVEYS),
    )
    scan = campaign.occasions[0].scans[0]
    assert scan.x[0] == pytest.approx((-2.28633 + 23.85979j) * 1e-6)
    assert scan.y[0] == pytest.approx((1.84814 - 0.70669j) * 1e-6)
    assert (scan.stage_x[0], scan.stage_y[0]) == pytest.approx((0.14e-3, 0.07e-3))


def test_rms_becomes_peak_and_the_phase_turns(build: Build) -> None:
    campaign = build(
        ("lab.toml", 'displacements = "peak"', 'displacements = "rms"'),
        ("lab.toml", 'currents = "peak"', 'currents = "rms"'),
        ("lab.toml", '"exp(+iwt)"', '"exp(-iwt)"'),
    )
    scan = campaign.occasions[0].scans[0]
    root = math.sqrt(2.0)
    assert scan.x[0] == pytest.approx(root * (2.28633 + 23.85979j) * 1e-6)
    assert scan.drive_current == pytest.approx(root * 0.020)
    assert scan.magnet_current == 100.0  # direct current, neither peak nor rms
    sweep = campaign.occasions[0].sweeps[0]
    assert sweep.x[0] == pytest.approx(root * (-1.96950 - 0.63744j) * 1e-6)


def test_amplitude_and_phase(build: Build) -> None:
    """2 um at 90 degrees lead the drive by a quarter period: 2i um."""
    head = "scan,magnet,plane,magnet_current_A,mode,drive_Hz,drive_mA,stage_x_mm,stage_y_mm,"
    campaign = build(
        ("lab.toml", 'x_in = { column = "X_in_um", unit = "um" }', 'x_amplitude = { column = "X_um", unit = "um" }'),
        (
            "lab.toml",
            'x_quadrature = { column = "X_quad_um", unit = "um" }',
            'x_phase = { column = "X_deg", unit = "deg" }',
        ),
        ("2-aligned/wire_scans.csv", f"{head}X_in_um,X_quad_um", f"{head}X_um,X_deg"),
        ("2-aligned/wire_scans.csv", "2.28633,-23.85979,", "2.0,90.0,"),
        ("2-aligned/wire_resonance.csv", "X_in_um,X_quad_um", "X_um,X_deg"),
    )
    scan = campaign.occasions[0].scans[0]
    assert scan.x[0] == pytest.approx(2e-6j, abs=1e-18)


def test_clockwise_and_elevation_are_turned(build: Build, tmp_path: Path) -> None:
    """The same survey written in the other sense is the same survey."""
    plain = build().occasions[0].sightings
    shutil.rmtree(tmp_path / "data")
    shutil.rmtree(tmp_path / "campaign")

    def turned(name: str) -> list[tuple[str, str, str]]:
        changes = []
        for row in (LABS / "a" / name).read_text().splitlines()[1:]:
            station, point, h, v, d = row.split(",")
            new = f"{station},{point},{360.0 - float(h):.7f},{90.0 - float(v):.7f},{d}"
            changes.append((name, row, new))
        return changes

    other = build(
        ("lab.toml", '"counter-clockwise"', '"clockwise"'),
        ("lab.toml", '"zenith"', '"elevation"'),
        *(change for name in SURVEYS for change in turned(name)),
    )
    for a, b in zip(plain, other.occasions[0].sightings, strict=True):
        assert (a.direction, a.zenith, a.distance) == pytest.approx((b.direction, b.zenith, b.distance), abs=1e-9)


def test_turns_against_the_direction(build: Build) -> None:
    campaign = build(("lab.toml", '"along the direction"', '"against the direction"'))
    assert campaign.girder.bolts[0].direction == (0.0, -1.0, 0.0)


def test_rounds_count_how_often_a_station_has_seen_a_target(build: Build) -> None:
    row = (LABS / "a/2-aligned/tracker.csv").read_text().splitlines()[1]
    campaign = build(("2-aligned/tracker.csv", row, f"{row}\r\n{row}\r\n{row}"))
    rounds = [s.round for s in campaign.occasions[0].sightings]
    assert rounds[:4] == [1, 2, 3, 1]


def test_the_girder_file_goes_before_its_type(build: Build, tmp_path: Path) -> None:
    build()
    own = tmp_path / "campaign/girder.toml"
    own.write_text(
        own.read_text()
        + '\n[beam]\nmass_per_length = "400 kg/m"\n\n[[tolerances]]\nquantity = "roll"\nlimit = "0.2 mrad"\n'
    )
    campaign = load_campaign(tmp_path / "campaign")
    assert campaign.girder.beam is not None
    assert (campaign.girder.beam.mass_per_length, campaign.girder.beam.length) == (400.0, 4.6)
    assert [t.quantity for t in campaign.tolerances] == ["roll"]
    assert campaign.tolerances[0].limit == pytest.approx(2e-4)


def test_settings_reach_where_they_belong(tmp_path: Path) -> None:
    settings = {
        "girder": "G9",
        "reference": "4-back",
        "line": "bench",
        "tolerance.own-move": "20 um",
        "place.4-back": "storage hall",
        "wire.sensor_turn": "2 mrad",
        "bolts.V1L.stiffness": "5e8 N/m",
        "targets.pillar.carrier": "wall",
        "run.seed": "7",
    }
    begin(LABS / "a", LABS / "a.toml", tmp_path / "c", settings, "2026-03-12T08:00:00Z")
    campaign = load_campaign(tmp_path / "c")
    assert campaign.girder.name == "G9"
    assert campaign.reference == "4-back"
    assert (campaign.line_rule.line, campaign.line_rule.weights) == ("bench", "equal")
    assert [(t.quantity, round(t.limit * 1e6, 9)) for t in campaign.tolerances] == [
        ("offset", 30.0),
        ("own move", 20.0),
    ]
    assert campaign.occasions[1].place == "storage hall"
    assert campaign.wire is not None
    assert campaign.wire.u_sensor_turn == pytest.approx(0.002)
    assert campaign.wire.length == 6.4
    assert campaign.girder.bolts[0].stiffness == 5e8
    assert campaign.girder.targets[-1].carrier == "wall"
    assert campaign.girder.targets[-1].nominal is None
    assert campaign.settings == settings
