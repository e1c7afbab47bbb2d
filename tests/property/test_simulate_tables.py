"""The demo laboratory's tables say what the nouns say, to the last digit that they print."""

from __future__ import annotations

from math import factorial, sqrt

import numpy as np
import pytest

from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.occasion import FootFinding
from monochord.simulate import tables
from monochord.simulate.campaign import FIRST_ROW, simulate_campaign
from monochord.simulate.demo import DAYS, demo_campaign
from monochord.simulate.scenario import FULL_CURRENT

MADE = simulate_campaign(9)
TEXTS = demo_campaign(9).texts
OCCASIONS = {o.name: o for o in MADE.campaign.occasions}
GIRDER = MADE.campaign.girder


def cells(name: str) -> list[dict[str, str]]:
    """Rows of a table as heads -> cells, cut by hand."""
    lines = TEXTS[name].split("\n")
    assert lines[0] == tables.REMARK
    assert lines[-1] == ""
    heads = lines[1].split("\t")
    rows = [line.split("\t") for line in lines[2:-1]]
    assert {len(r) for r in rows} == {len(heads)}
    return [dict(zip(heads, r, strict=True)) for r in rows]


def test_every_file_says_that_its_data_are_invented() -> None:
    assert all("invented data" in text.lower().split("\n")[0] for text in TEXTS.values())


def test_the_frame_of_the_tables_is_right_forward_up() -> None:
    rows = {r["point"]: r for r in cells("given/points.tsv")}
    for target in GIRDER.targets:
        if target.nominal is not None:
            x, y, z = target.nominal
            row = rows[target.name]
            assert [float(row[k]) for k in ("x_mm", "y_mm", "z_mm")] == pytest.approx(
                [-1e3 * x, 1e3 * z, 1e3 * y], abs=0.005
            )
            assert row["sits_on"] == target.carrier
    # left of the beam is to the left: targets called l have negative x in a frame whose x points right
    assert all(float(r["x_mm"]) < 0.0 for n, r in rows.items() if n.endswith("l"))


def test_strengths_are_coefficients_at_full_current_along_the_table_s_own_x() -> None:
    # By(x) = c x^(N-1) becomes c (-1)^(N-1) x'^(N-1) for x' = -x
    rows = {r["element"]: r for r in cells("given/elements.tsv")}
    for magnet in GIRDER.magnets:
        n = magnet.order
        expected = (-1) ** (n - 1) * magnet.derivative * FULL_CURRENT / factorial(n - 1)
        assert float(rows[magnet.name]["coefficient"]) == pytest.approx(expected, rel=1e-5)
        assert rows[magnet.name]["per"] == ("T/m" if n == 2 else f"T/m{n - 1}")
    assert rows["Pump1"]["coefficient"] == ""
    assert not any(isinstance(i, Magnet) for i in GIRDER.items if i.name == "Pump1")


def test_bolts_name_the_way_they_push() -> None:
    rows = {r["bolt"]: r for r in cells("given/bolts.tsv")}
    ways = {"z": (0.0, 1.0, 0.0), "-x": (1.0, 0.0, 0.0), "y": (0.0, 0.0, 1.0)}

    assert {b.name: b.direction for b in GIRDER.bolts} == {n: ways[r["pushes"]] for n, r in rows.items()}


@pytest.mark.parametrize("name", ["10-placed", "20-lined", "50-settled"])
def test_scans_are_told_in_amplitude_and_phase(name: str) -> None:
    rows = cells(f"{name}/wire.tsv")
    scans = OCCASIONS[name].scans
    lab = {"x": "x", "y": "z"}
    assert len(rows) == sum(len(s.x) for s in scans)
    for scan in scans:
        for i, row in enumerate(scan.rows):
            r = rows[row - FIRST_ROW]
            assert (r["run"], r["element"], r["moved"], r["order"]) == (
                scan.name,
                scan.magnet,
                lab[scan.moved],
                str(scan.mode),
            )
            # half a last digit: 0.05 um of stage, 0.005 nm and 0.0005 degree of signal, 0.00005 mA of drive
            assert -float(r["stage_x_um"]) * 1e-6 == pytest.approx(scan.stage_x[i], abs=0.051e-6)
            assert float(r["stage_z_um"]) * 1e-6 == pytest.approx(scan.stage_y[i], abs=0.051e-6)
            x = -1e-6 * float(r["ax_um"]) * np.exp(1j * np.radians(float(r["px_deg"])))
            y = 1e-6 * float(r["az_um"]) * np.exp(1j * np.radians(float(r["pz_deg"])))
            assert abs(x - scan.x[i]) < 5.1e-12 + 9e-6 * abs(x)
            assert abs(y - scan.y[i]) < 5.1e-12 + 9e-6 * abs(y)
            assert float(r["drive_mA_eff"]) * sqrt(2.0) == pytest.approx(scan.drive_current * 1e3, abs=1e-4)


def test_sweeps_are_told_in_the_same_way() -> None:
    rows = iter(cells("20-lined/resonance.tsv"))
    for sweep in OCCASIONS["20-lined"].sweeps:
        for f, x in zip(sweep.frequencies, sweep.x, strict=True):
            r = next(rows)
            assert int(r["order"]) == sweep.mode
            assert float(r["f_Hz"]) == pytest.approx(f, abs=5e-5)
            told = -1e-6 * float(r["ax_um"]) * np.exp(1j * np.radians(float(r["px_deg"])))
            assert abs(told - x) < 5.1e-12 + 9e-6 * abs(x)
    assert next(rows, None) is None


@pytest.mark.parametrize("name", ["20-lined", "40-arrival", "50-settled"])
def test_circles_run_clockwise_and_elevations_upward(name: str) -> None:
    rows = cells(f"{name}/sightings.tsv")
    for s in OCCASIONS[name].sightings:
        r = rows[s.line - FIRST_ROW]
        assert (r["station"], r["point"], r["round"]) == (s.station, s.target, str(s.round))
        assert s.direction is not None
        assert s.zenith is not None
        assert s.distance is not None
        # half of 1e-7 degree is 0.9 nrad, half of 0.1 um is 0.05 um
        apart = (np.radians(-float(r["circle_deg"])) - s.direction + np.pi) % (2 * np.pi) - np.pi
        assert apart == pytest.approx(0.0, abs=1e-9)
        assert np.radians(90.0 - float(r["elevation_deg"])) == pytest.approx(s.zenith, abs=1e-9)
        assert float(r["distance_mm"]) * 1e-3 == pytest.approx(s.distance, abs=0.051e-6)
        assert 0.0 <= float(r["circle_deg"]) <= 360.0


def test_feet_turns_and_temperatures_are_told() -> None:
    for row, foot in zip(cells("40-arrival/feet.tsv"), OCCASIONS["40-arrival"].feet, strict=True):
        assert foot.state is not None
        assert (row["bolt"], row["felt"]) == (foot.bolt, tables.FELT[foot.state])
        assert (row["washer_kN"] == "") == (foot.load is None)
        assert foot.load is None or float(row["washer_kN"]) * 1e3 == pytest.approx(foot.load, abs=51.0)  # N
    for row, turn in zip(cells("50-settled/turns.tsv"), OCCASIONS["50-settled"].turns, strict=True):
        assert row["bolt"] == turn.bolt
        assert float(row["turned"]) == pytest.approx(turn.turns, abs=1e-9)
    for row, sensor in zip(cells("10-placed/temperatures.tsv"), OCCASIONS["10-placed"].temperatures, strict=True):
        assert row["sensor"] == sensor.sensor
        assert float(row["t_degC"]) == pytest.approx(sensor.value, abs=1e-9)


def test_what_was_not_found_is_an_empty_cell() -> None:
    assert tables.feet([FootFinding("V9", None)]).endswith("V9\t\t\n")


def test_the_logger_s_axes_are_those_of_the_tables() -> None:
    rows = cells("30-road/logger.tsv")
    ride = OCCASIONS["30-road"].ride
    assert len(rows) == len(ride)
    day, start = DAYS["30-road"]
    for row, sample in zip(rows, ride, strict=True):
        x, y, z = sample.acceleration
        # half of 0.001 g
        shown = [float(row[k]) * 9.80665 for k in ("right_g", "ahead_g", "up_g")]
        assert shown == pytest.approx([-x, z, y], abs=0.005)
        assert row["clock"] == tables.clock(day, start + sample.time)


def test_times_run_on() -> None:
    seconds = [
        sum(int(p) * f for p, f in zip(r["clock"].split(" ")[1].split(":"), (3600, 60, 1), strict=True))
        for r in cells("20-lined/wire.tsv")
    ]

    assert seconds[0] == DAYS["20-lined"][1]
    assert set(np.diff(seconds)) == {12}
    assert seconds[-1] < 86400
