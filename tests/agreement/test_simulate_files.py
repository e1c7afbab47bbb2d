"""The demo's files, read through the demo's description, are the very campaign that was simulated."""

from __future__ import annotations

from dataclasses import fields
from importlib import resources

import numpy as np
import pytest

from monochord.campaign.given.campaign import Campaign
from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.occasion import Occasion
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign
from monochord.simulate.campaign import simulate_campaign
from monochord.simulate.demo import demo_campaign

SEED = 4
MADE = simulate_campaign(SEED).campaign
NAMES = [o.name for o in MADE.occasions]


@pytest.fixture(scope="module")
def read(tmp_path_factory: pytest.TempPathFactory) -> Campaign:
    """The campaign as the files give it."""
    root = tmp_path_factory.mktemp("demo")
    for name, text in demo_campaign(SEED).texts.items():
        file = root / "handed-over" / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, "utf-8", newline="\n")
    description = resources.files("monochord.job").joinpath("demo", "lab.toml")
    with resources.as_file(description) as lab:
        notes = begin(root / "handed-over", lab, root / "campaign", {"girder": "demo-1"}, "2031-05-30T12:00:00+00:00")
    # one item is no magnet, and the reader says so
    assert [str(n) for n in notes if "Pump1" not in n.given] == []
    return load_campaign(root / "campaign")


def occasion(campaign: Campaign, name: str) -> Occasion:
    return next(o for o in campaign.occasions if o.name == name)


def test_the_description_tells_the_girder(read: Campaign) -> None:
    made, found = MADE.girder, read.girder

    assert (found.name, found.type_name) == (made.name, made.type_name)
    assert [m.name for m in found.magnets] == [m.name for m in made.magnets]
    for a, b in zip(made.items, found.items, strict=True):
        assert (a.name, a.kind, type(a)) == (b.name, b.kind, type(b))
        assert a.point == pytest.approx(b.point, abs=1e-12)
        assert (a.length, a.mass) == pytest.approx((b.length, b.mass))
        if isinstance(a, Magnet) and isinstance(b, Magnet):
            # tables print six digits
            assert a.derivative == pytest.approx(b.derivative, rel=1e-5)
            assert a.edge == pytest.approx(b.edge)
    listed = [t for t in made.targets if t.carrier != "wall"]
    assert [(t.name, t.carrier) for t in listed] == [(t.name, t.carrier) for t in found.targets if t.carrier != "wall"]
    for t, f in zip(listed, [t for t in found.targets if t.carrier != "wall"], strict=True):
        # nominal places are printed to 10 um
        assert t.nominal == pytest.approx(f.nominal, abs=5.1e-6)
        assert t.u_nominal == pytest.approx(f.u_nominal)


def test_the_description_tells_the_bolts_and_the_beam(read: Campaign) -> None:
    for a, b in zip(MADE.girder.bolts, read.girder.bolts, strict=True):
        assert (a.name, a.one_sided, a.right_handed) == (b.name, b.one_sided, b.right_handed)
        assert a.direction == b.direction
        assert (*a.point, a.thread_pitch, a.travel, a.smallest_step, a.stiffness) == pytest.approx(
            (*b.point, b.thread_pitch, b.travel, b.smallest_step, b.stiffness)
        )
    assert MADE.girder.beam is not None
    assert read.girder.beam is not None
    for field in fields(MADE.girder.beam):
        assert getattr(read.girder.beam, field.name) == pytest.approx(getattr(MADE.girder.beam, field.name)), field.name


def test_the_description_tells_wire_tracker_and_rules(read: Campaign) -> None:
    assert MADE.wire is not None
    assert read.wire is not None
    for field in fields(MADE.wire):
        if field.name != "ends":
            assert getattr(read.wire, field.name) == pytest.approx(getattr(MADE.wire, field.name)), field.name
    for a, b in zip(MADE.wire.ends, read.wire.ends, strict=True):
        assert a.nest == b.nest
        assert (*a.to_wire, a.u_to_wire, a.z) == pytest.approx((*b.to_wire, b.u_to_wire, b.z))
    assert MADE.instrument is not None
    assert read.instrument is not None
    for field in fields(MADE.instrument):
        told, found = getattr(MADE.instrument, field.name), getattr(read.instrument, field.name)
        assert found == told or found == pytest.approx(told), field.name
    assert (read.reference, read.line_rule) == (MADE.reference, MADE.line_rule)
    assert [(t.quantity, t.magnets) for t in read.tolerances] == [(t.quantity, t.magnets) for t in MADE.tolerances]
    assert [t.limit for t in read.tolerances] == pytest.approx([t.limit for t in MADE.tolerances])
    assert [(o.name, o.place) for o in read.occasions] == [(o.name, o.place) for o in MADE.occasions]


@pytest.mark.parametrize("name", NAMES)
def test_scans_and_sweeps_are_the_simulated_ones(read: Campaign, name: str) -> None:
    made, found = occasion(MADE, name), occasion(read, name)
    assert len(made.scans) == len(found.scans)
    for a, b in zip(made.scans, found.scans, strict=True):
        assert (a.name, a.magnet, a.moved, a.mode, a.rows) == (b.name, b.magnet, b.moved, b.mode, b.rows)
        assert a.file.endswith(b.file) or b.file.endswith(a.file)
        assert (a.magnet_current, a.drive_frequency) == pytest.approx((b.magnet_current, b.drive_frequency), abs=1e-9)
        # last digits of the tables: 0.1 nA of effective drive, 0.1 um of stage, 0.01 nm and 0.001 degree of signal
        assert a.drive_current == pytest.approx(b.drive_current, abs=1e-7)
        assert a.stage_x == pytest.approx(b.stage_x, abs=0.051e-6)
        assert a.stage_y == pytest.approx(b.stage_y, abs=0.051e-6)
        for u, v in ((a.x, b.x), (a.y, b.y)):
            assert np.all(np.abs(u - v) < 5.1e-12 + 9e-6 * np.abs(u))
        assert a.times == pytest.approx(b.times, abs=1e-6)
    assert len(made.sweeps) == len(found.sweeps)
    for p, q in zip(made.sweeps, found.sweeps, strict=True):
        assert (p.mode, p.rows) == (q.mode, q.rows)
        assert p.frequencies == pytest.approx(q.frequencies, abs=5.1e-5)
        assert p.drive_current == pytest.approx(q.drive_current, abs=1e-7)
        assert np.all(np.abs(p.x - q.x) < 5.1e-12 + 9e-6 * np.abs(p.x))
        assert np.all(np.abs(p.y - q.y) < 5.1e-12 + 9e-6 * np.abs(p.y))


@pytest.mark.parametrize("name", NAMES)
def test_sightings_are_the_simulated_ones(read: Campaign, name: str) -> None:
    made, found = occasion(MADE, name).sightings, occasion(read, name).sightings
    assert len(made) == len(found)
    for a, b in zip(made, found, strict=True):
        assert (a.station, a.target, a.round, a.line) == (b.station, b.target, b.round, b.line)
        assert a.direction is not None
        assert b.direction is not None
        # half of 1e-7 degree, half of 0.1 um
        assert (a.direction - b.direction + np.pi) % (2 * np.pi) - np.pi == pytest.approx(0.0, abs=1e-9)
        assert a.zenith == pytest.approx(b.zenith, abs=1e-9)
        assert a.distance == pytest.approx(b.distance, abs=0.051e-6)


@pytest.mark.parametrize("name", NAMES)
def test_feet_temperatures_turns_and_ride_are_the_simulated_ones(read: Campaign, name: str) -> None:
    made, found = occasion(MADE, name), occasion(read, name)
    assert [(f.bolt, f.state) for f in made.feet] == [(f.bolt, f.state) for f in found.feet]
    for f, g in zip(made.feet, found.feet, strict=True):
        assert (f.load is None) == (g.load is None)
        assert f.load is None or (f.load, f.u_load) == pytest.approx((g.load, g.u_load), abs=51.0)  # N: one digit of kN
    assert [t.sensor for t in made.temperatures] == [t.sensor for t in found.temperatures]
    for t, u in zip(made.temperatures, found.temperatures, strict=True):
        assert (*t.point, t.value, t.u) == pytest.approx((*u.point, u.value, u.u), abs=1e-9)
    assert [t.bolt for t in made.turns] == [t.bolt for t in found.turns]
    assert [t.turns for t in made.turns] == pytest.approx([t.turns for t in found.turns], abs=1e-12)
    assert len(made.ride) == len(found.ride)
    for r, s in zip(made.ride, found.ride, strict=True):
        assert r.time == pytest.approx(s.time, abs=1e-6)
        assert r.acceleration == pytest.approx(s.acceleration, abs=0.005)  # m/s2: half of 0.001 g
        assert r.temperature == pytest.approx(s.temperature, abs=0.0051)  # K: half of 0.01
