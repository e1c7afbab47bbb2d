"""Both laboratories' folders as they are, read through their descriptions: counts, frames, senses, scales."""

from __future__ import annotations

import csv
import hashlib
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from monochord.campaign.given.campaign import Campaign
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign
from monochord.ground.faults import Fault
from monochord.ground.frames import fit_rigid

HERE = Path(__file__).parent
NAME_NOTES = ("no name of the girder", "no sighting of")


@pytest.fixture(scope="module")
def made(labs: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Path, Campaign, list[Fault]]]:
    root = tmp_path_factory.mktemp("labs")
    found = {}
    for letter in "ab":
        into = root / letter
        notes = begin(labs / letter, HERE / f"{letter}.toml", into, {}, "2026-06-01T00:00:00Z")
        found[letter] = (into, load_campaign(into), notes)
    return found


Made = dict[str, tuple[Path, Campaign, list[Fault]]]


def test_lab_a_occasions(made: Made) -> None:
    campaign = made["a"][1]
    counts = {
        o.name: (o.place, len(o.sightings), len(o.scans), len(o.sweeps), len(o.feet), len(o.temperatures), len(o.ride))
        for o in campaign.occasions
    }
    assert counts == {
        "1-mounted": ("bench hall", 0, 40, 5, 0, 6, 0),
        "2-aligned": ("bench hall", 240, 80, 5, 8, 6, 0),
        "3-ride": ("on the road", 0, 0, 0, 0, 0, 1500),
        "4-back": ("tunnel", 222, 0, 0, 8, 6, 0),
        "5-restored": ("tunnel", 234, 80, 5, 8, 6, 0),
    }
    assert campaign.reference == "2-aligned"
    assert [len(o.turns) for o in campaign.occasions] == [0, 0, 0, 0, 12]


def test_lab_b_occasions(made: Made) -> None:
    campaign = made["b"][1]
    counts = {
        o.name: (o.place, len(o.sightings), len(o.raw_scans), len(o.raw_sweeps), len(o.feet), o.temperature)
        for o in campaign.occasions
    }
    assert counts == {
        "bench": ("bench hall", 174, 16, 3, 6, 21.0),
        "tunnel-0": ("tunnel", 156, 0, 0, 6, 21.0),
        "tunnel-1": ("tunnel", 168, 16, 3, 6, 21.0),
    }
    assert campaign.reference == "bench"
    assert [(t.quantity, round(t.limit * 1e6, 9)) for t in campaign.tolerances] == [
        ("offset", 25.0),
        ("own move", 20.0),
    ]


@pytest.mark.parametrize("letter", ["a", "b"])
def test_nothing_is_noted_but_what_is_so(made: Made, letter: str) -> None:
    assert [n.given for n in made[letter][2] if not n.given.startswith(NAME_NOTES)] == []


@pytest.mark.parametrize("letter", ["a", "b"])
def test_measured_files_are_untouched(made: Made, labs: Path, letter: str) -> None:
    into, campaign, _ = made[letter]
    sums = {s.path: s.sha256 for s in campaign.inputs}
    measured = [p for p in (into / "measured").rglob("*") if p.is_file()]
    assert measured
    for path in measured:
        original = labs / letter / path.relative_to(into / "measured")
        assert path.read_bytes() == original.read_bytes()
        assert sums[path.relative_to(into).as_posix()] == hashlib.sha256(original.read_bytes()).hexdigest()


def test_lab_a_numbers_arrive_in_si(made: Made, labs: Path) -> None:
    """Against the standard library's reader on the same rows."""
    campaign = made["a"][1]
    occasion = campaign.occasions[1]
    with (labs / "a/2-aligned/wire_scans.csv").open(newline="") as stream:
        rows = [r for r in csv.DictReader(stream) if r["scan"] == "23"]
    scan = next(s for s in occasion.scans if s.name == "23")
    assert scan.magnet == rows[0]["magnet"]
    assert scan.moved == rows[0]["plane"]
    assert scan.x == pytest.approx(
        [complex(float(r["X_in_um"]), float(r["X_quad_um"])) * 1e-6 for r in rows], rel=1e-12
    )
    assert scan.y == pytest.approx(
        [complex(float(r["Y_in_um"]), float(r["Y_quad_um"])) * 1e-6 for r in rows], rel=1e-12
    )
    assert scan.stage_y == pytest.approx([float(r["stage_y_mm"]) * 1e-3 for r in rows], rel=1e-12)
    assert scan.drive_current == pytest.approx(float(rows[0]["drive_mA"]) * 1e-3)
    assert np.diff(scan.times) == pytest.approx(12.0)
    assert occasion.scans[0].times[0] == 0.0
    with (labs / "a/2-aligned/tracker.csv").open(newline="") as stream:
        readings = list(csv.DictReader(stream))
    for sighting, row in zip(occasion.sightings, readings, strict=True):
        assert (sighting.station, sighting.target) == (row["station"], row["point"])
        assert sighting.direction == pytest.approx(math.radians(float(row["hz_deg"])), abs=1e-14)
        assert sighting.zenith == pytest.approx(math.radians(float(row["zenith_deg"])), abs=1e-14)
        assert sighting.distance == pytest.approx(float(row["distance_mm"]) * 1e-3, rel=1e-14)
    assert [s.line for s in occasion.sightings] == list(range(2, 242))
    assert {s.round for s in occasion.sightings} == {1, 2}


def test_lab_a_girder(made: Made) -> None:
    girder, wire = made["a"][1].girder, made["a"][1].wire
    assert [(m.name, m.order, round(m.derivative, 9)) for m in girder.magnets] == [
        ("Q1", 2, 0.112),
        ("S1", 3, 4.2),
        ("Q2", 2, 0.121),
        ("S2", 3, 4.2),
        ("Q3", 2, -0.112),
    ]
    assert girder.bolts[0].direction == (0.0, 1.0, 0.0)
    assert girder.bolts[0].point == pytest.approx((-0.28, -0.9, -1.9))
    assert girder.bolts[0].smallest_step == pytest.approx(1 / 120)
    assert [b.one_sided for b in girder.bolts] == [True] * 8 + [False] * 4
    assert wire is not None
    assert (wire.z_start, wire.sensor_x_z, wire.sensor_y_z) == pytest.approx((-3.2, -2.89, -2.87))
    assert wire.ends[0].to_wire == pytest.approx((0.0412, -0.0157, 0.0))
    assert math.isinf(wire.u_sensor_turn)


def test_lab_a_ride_and_feet(made: Made) -> None:
    ride = made["a"][1].occasions[2].ride
    assert (ride[0].time, ride[1].time, ride[-1].time) == (0.0, 4.0, 5996.0)
    assert ride[0].acceleration == pytest.approx((0.017 * 9.80665, 1.018 * 9.80665, -0.010 * 9.80665))
    feet = {f.bolt: f for f in made["a"][1].occasions[3].feet}
    assert (feet["V1L"].state, feet["V1L"].load, feet["V1L"].u_load) == ("loose", None, None)
    assert feet["V3R"].state == "touching"
    assert feet["V3R"].load == pytest.approx(100.0)
    assert feet["V3R"].u_load == pytest.approx(10.0)


def test_lab_b_axes_are_turned_into_the_girder_frame(made: Made) -> None:
    """Their X along the beam, Y left, Z up become z, x, y."""
    girder, wire = made["b"][1].girder, made["b"][1].wire
    assert {m.name: m.point for m in girder.magnets}["QF1"] == pytest.approx((0.0, 0.0, -1.15))
    assert girder.targets[0].nominal == pytest.approx((0.270, -0.3197, -1.4997))
    directions = {b.name: b.direction for b in girder.bolts}
    assert (directions["J1"], directions["K1"], directions["K3"]) == ((0, 1, 0), (1, 0, 0), (0, 0, 1))
    assert {m.name: round(m.derivative, 9) for m in girder.magnets} == {
        "QF1": 0.24,
        "OC": 320.0,
        "SD": 11.5,
        "QD2": -0.21,
    }
    assert wire is not None
    assert wire.ends[0].to_wire == pytest.approx((0.0305, -0.012, 0.0))
    assert [e.z for e in wire.ends] == pytest.approx([-2.3, 2.3])
    assert (wire.sensor_x_z, wire.sensor_y_z) == pytest.approx((-2.08, -2.06))


def test_lab_b_circle_is_turned_round(made: Made) -> None:
    first = made["b"][1].occasions[0].sightings[0]
    gon = math.pi / 200.0
    assert first.direction == pytest.approx(2 * math.pi - 112.302522 * gon)
    assert first.zenith == pytest.approx(123.660635 * gon)
    assert first.distance == pytest.approx(2.098362)


@pytest.mark.parametrize("letter", ["a", "b"])
def test_sightings_show_the_nominal_targets_unmirrored(made: Made, letter: str) -> None:
    """A rigid fit of one station's first round to the nominal places: they are good to 0.5 mm, blunders aside."""
    campaign = made[letter][1]
    nominal = {t.name: t.nominal for t in campaign.girder.targets}
    for occasion in campaign.occasions:
        for station in {s.station for s in occasion.sightings}:
            seen = [s for s in occasion.sightings if s.station == station and s.round == 1 and nominal.get(s.target)]
            h, v, d = np.array([(s.direction, s.zenith, s.distance) for s in seen], float).T
            points = np.stack([d * np.sin(v) * np.cos(h), d * np.sin(v) * np.sin(h), d * np.cos(v)], axis=1)
            places = np.array([nominal[s.target] for s in seen], float)
            residual = fit_rigid(points, places, frames=("station", "girder")).apply(points) - places
            assert np.median(np.linalg.norm(residual, axis=1)) < 1.5e-3


def test_lab_b_waveforms(made: Made) -> None:
    """Volts and scales give a drive of some ten mA and displacements of some ten um, as a singing wire has."""
    bench = made["b"][1].occasions[0]
    scan = bench.raw_scans[0]
    assert (scan.magnet, scan.moved, scan.magnet_current, scan.mode) == ("QF1", "x", 100.0, 2)
    assert scan.stage_x == pytest.approx(np.array([-0.10, -0.06, -0.02, 0.02, 0.06, 0.10, 0.14]) * 1e-3)
    assert scan.stage_y == pytest.approx(-0.11e-3)
    assert bench.raw_scans[2].moved == "y"
    assert np.diff(scan.times) == pytest.approx(9.0)
    wave = scan.waveforms[0]
    assert (wave.sample_rate, wave.frequency) == (4000.0, 76.812)
    assert (wave.reference_scale, wave.x_scale, wave.y_scale) == pytest.approx((10.0, 21e3, 19.5e3))
    signal = wave.read()
    assert signal.shape == (4000, 3)
    assert signal.dtype == np.float64
    current = np.ptp(signal[:, wave.reference]) / 2 / wave.reference_scale
    loudest = np.ptp(signal[:, wave.x]) / 2 / wave.x_scale
    assert 1e-3 < current < 0.2
    assert 1e-7 < loudest < 1e-3
    assert [s.mode for s in bench.raw_sweeps] == [1, 2, 3]
    assert len(bench.raw_sweeps[0].waveforms) == 21


def test_loading_lab_a_needs_no_heavy_library(made: Made) -> None:
    """Neither containers nor schema libraries are loaded for tables; tried in a fresh process."""

    code = (
        "import sys; from pathlib import Path; from monochord.files.campaign_file import load_campaign; "
        f"load_campaign(Path({str(made['a'][0])!r})); "
        "print([m for m in ('h5py', 'jsonschema', 'pydantic', 'pandas', 'scipy', 'difflib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
