"""Units, angles and markers: every number with its unit and kind, held against what else is known; markers never averaged."""

from __future__ import annotations

import math
import shutil

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monochord.campaign.given.girder import Beam, Bolt, Girder, Item, Target
from monochord.campaign.given.occasion import FootFinding
from monochord.campaign.given.survey import Sighting
from monochord.files.campaign_file import load_campaign
from monochord.files.checks_loads import check_loads
from monochord.files.checks_survey import check_survey
from monochord.files.columns import Column, Form, Rows
from monochord.files.markers import suspicious
from monochord.files.numbers import Spelling, sexagesimal
from monochord.files.rates import check_rate, rate_in
from monochord.files.reading import read_rows
from monochord.files.roles import Meaning
from monochord.files.sexagesimal import degrees_minutes_seconds
from monochord.files.table import Dialect
from monochord.ground.faults import Fault, Gatherer, Refused
from monochord.ground.units import UNITS, period, quantity, unit
from monochord.survey.nominal import refuse_nonsense
from tests.table_world import number, read, text
from tests.trial_bench import Bench, notes_of

# -- one table of units, both ways -----------------------------------------------------------------------

#: Exact by definition of the international inch, pound, standard fall and degree Fahrenheit; source from memory (SI brochure).
DEFINED = [
    ("1 in", "length", 0.0254),
    ("1 mil", "length", 25.4e-6),
    ("1 ft", "length", 0.3048),
    ("1 cm", "length", 0.01),
    ("400 gon", "angle", 2 * math.pi),
    ("360 deg", "angle", 2 * math.pi),
    ("60 arcmin", "angle", math.pi / 180),
    ("3600 arcsec", "angle", math.pi / 180),
    ("10000 cc", "angle", math.pi / 200),
    ("1000 mgon", "angle", math.pi / 200),
    ("1000 mrad", "angle", 1.0),
    ("1 kgf", "force", 9.80665),
    ("1 lbf", "force", 4.4482216152605),
    ("1 lb", "mass", 0.45359237),
    ("1000 g", "mass", 1.0),
    ("1 g", "acceleration", 9.80665),
    ("1000 mg", "acceleration", 9.80665),
    ("1 kHz", "frequency", 1000.0),
    ("32 degF", "temperature", 0.0),
    ("212 degF", "temperature", 100.0),
    ("-40 degF", "temperature", -40.0),
    ("293.15 K absolute", "temperature", 20.0),
    ("9 degF difference", "temperature difference", 5.0),
    ("1 degC difference", "temperature difference", 1.0),
    ("1 %", "ratio", 0.01),
    ("1 ppm", "ratio", 1e-6),
    ("10 ppm/K", "expansion", 1e-5),
    ("1 in/turn", "thread pitch", 0.0254),
    ("90 deg", "turns", 0.25),
    ("10000 G", "field", 1.0),
    ("100 G/cm", "gradient", 1.0),
    ("1 mT/mm", "gradient", 1.0),
]


@pytest.mark.parametrize(("told", "dimension", "si"), DEFINED)
def test_units_into_si(told: str, dimension: str, si: float) -> None:
    assert quantity(told, dimension) == pytest.approx(si, rel=1e-14, abs=1e-12)


@pytest.mark.parametrize(("told", "dimension", "si"), DEFINED)
def test_units_out_of_si(told: str, dimension: str, si: float) -> None:
    value, name = told.split(" ", 1)
    assert unit(name, dimension=dimension).from_si(si) == pytest.approx(float(value), rel=1e-13, abs=1e-11)


@given(st.sampled_from(sorted(UNITS)), st.floats(-1e6, 1e6))
def test_every_unit_comes_back(name: str, value: float) -> None:
    known = unit(name)
    assert known.from_si(known.to_si(value)) == pytest.approx(value, rel=1e-12, abs=1e-9)


def test_a_difference_of_temperature_has_no_offset() -> None:
    kelvin = unit("degF difference")
    assert kelvin.from_si(7.5) == pytest.approx(13.5)
    assert kelvin.from_si(0.5) == pytest.approx(0.9)
    assert kelvin.to_si(13.5) == pytest.approx(7.5)


@pytest.mark.parametrize(
    ("told", "dimension"),
    [
        ("5 degF", "temperature difference"),
        ("5 K", "temperature"),
        ("5 degC", "temperature difference"),
        ("5 g", "length"),
    ],
)
def test_a_kind_is_never_taken_for_another(told: str, dimension: str) -> None:
    with pytest.raises(Refused):
        quantity(told, dimension)


def test_the_uncertainty_of_a_period_is_as_large_as_that_of_its_frequency() -> None:
    t, u = period(52.30, 0.02)
    assert t == pytest.approx(19.1205e-3, abs=0.5e-7)
    assert u == pytest.approx(7.31e-6, abs=0.005e-6)
    assert u / t == pytest.approx(3.82e-4, rel=2e-3)


def test_columns_in_celsius_and_fahrenheit_agree() -> None:
    found = read("TS,T1,T2\n1,20.00,68.00\n", number("T1", spelled="degC"), number("T2", spelled="degF"))
    assert found.numbers("T1")[0] - found.numbers("T2")[0] == pytest.approx(0.0, abs=1e-12)
    assert "degF to SI" in found.printed


def test_peak_to_peak_and_rms_are_the_same_sine(bench: Bench) -> None:
    bench.begun()
    as_told = load_campaign(bench.campaign).occasions[0].scans[0].x
    for word, factor in (("rms", math.sqrt(2.0)), ("peak to peak", 0.5)):
        other = Bench(bench.root / word.replace(" ", "-"))
        other.root.mkdir()
        bench.data.rename(other.data)
        text_of = bench.lab.read_text()
        other.lab.write_text(text_of.replace('displacements = "peak"', f'displacements = "{word}"'))
        other.begun()
        np.testing.assert_allclose(load_campaign(other.campaign).occasions[0].scans[0].x, factor * as_told, rtol=1e-15)
        other.data.rename(bench.data)


# -- units that contradict each other --------------------------------------------------------------------


def test_a_line_of_units_that_contradicts_the_description_is_refused_in_its_line() -> None:
    dialect = Dialect(unit_line=2)
    read("p,x\n,mm\nA,1\n", text("p"), number("x", spelled="um"), dialect=dialect).refused(2, "x", "'mm'", "'um'")
    assert read("p,x\n,[mm]\nA,1\n", text("p"), number("x"), dialect=dialect).mm("x") == [1.0]
    known = Column("x", Meaning("number", "length"), ("x",), unit("um"), despite_name=True)
    assert read("p,x\n,mm\nA,1\n", text("p"), known, dialect=dialect).numbers("x") == [1e-6]


def test_a_name_that_says_another_unit_needs_a_word_about_it(bench: Bench) -> None:
    bench.describe(
        "turns", 'turns = { column = "turns", unit = "turn" }', 'turns = { column = "turns [mm]", unit = "turn" }'
    )
    path = bench.data / "5-restored/bolts_turned.csv"
    path.write_text(path.read_text().replace("bolt,turns", "bolt,turns [mm]"))
    printed = bench.refused()
    assert "unit 'turn' for column 'turns [mm]'" in printed
    assert "despite_name = true" in printed
    bench.describe("turns", 'unit = "turn" }', 'unit = "turn", despite_name = true }')
    bench.begun()


@pytest.mark.parametrize(
    "head",
    [
        "distance/m",
        "distance in m",
        "distance_m",
        "distance m",
        "distance - m",
        "dist <m>",
        "dist {m}",
        "Distance (Meters)",
        *("distance [m]:", "d (\u03bcm, raw)", "d [inch]", "d in inches", "distance_um", "d | cm"),
    ],
)
def test_a_unit_in_a_head_is_held_against_the_description_however_it_is_written(bench: Bench, head: str) -> None:
    line = bench.change("lab.toml", 'column = "distance_mm"', f"column = '{head}'")
    for occasion in ("2-aligned", "4-back"):
        bench.change(f"{occasion}/tracker.csv", "distance_mm", f'"{head}"')
    printed = bench.refused()
    assert f"lab.toml, line {line}, column tables.sightings.columns.distance.unit: given unit 'mm'" in printed
    assert "the column's own name says another unit" in printed
    bench.describe("sightings", 'unit = "mm" }', 'unit = "mm", despite_name = true }')
    bench.begun()


@pytest.mark.parametrize(
    "head", ["distance in", "dist (raw)", "d/N", "distance (mm, raw)", "dist.mm", "D1", "distance/mm"]
)
def test_a_head_that_says_the_same_unit_or_none_is_no_contradiction(bench: Bench, head: str) -> None:
    bench.change("lab.toml", 'column = "distance_mm"', f"column = '{head}'")
    for occasion in ("2-aligned", "4-back"):
        bench.change(f"{occasion}/tracker.csv", "distance_mm", f'"{head}"')
    bench.begun()


def test_seconds_under_a_head_of_milliseconds_are_asked() -> None:
    head = b"# logger, rate 1000 Hz\n"
    rows = "".join(f"{i / 1000:.3f},0.1,0.1,0.1\n" for i in range(1000))
    data = head + b"t(ms),x,y,z\n" + rows.encode()

    def checked(spelled: str) -> list[Fault]:
        time = Column("time", Meaning("time"), ("t(ms)",), unit(spelled))
        form = Form("ride", Dialect(header_line=2), (time, *(number(k, spelled="g") for k in "xyz")))
        faults = Gatherer("wave.csv")
        read_back = read_rows(data, "wave.csv", form, faults, [])
        assert isinstance(read_back, Rows)
        assert faults.faults == []
        return check_rate(read_back, form, data)

    (fault,) = checked("ms")
    assert "1000 rows over 0.999 ms, which is 1 MHz" in fault.given
    assert "line 1 says 'rate 1000 Hz'" in fault.given
    assert "the numbers fit s" in fault.remedy
    assert (fault.line, fault.column) == (3, "t(ms)")
    assert checked("s") == []


@pytest.mark.parametrize(
    ("head", "rate"),
    [(b"Sampling rate: 20 kHz", 2e4), (b"fs = 51,2 kHz", 51200.0), (b"rate 1 MHz", 1e6), (b"sampled at 10 Hz", 10.0)],
)
def test_rates_in_heads(head: bytes, rate: float) -> None:
    told = rate_in(head + b"\nt,x\n0,1\n")
    assert told is not None
    assert told[0] == pytest.approx(rate)
    assert rate_in(b"t,x\n0,50\n") is None


def test_a_ride_with_elapsed_times_is_held_against_its_rate(bench: Bench) -> None:
    (bench.data / "3-ride").mkdir()
    rows = [f"{i / 10:.1f},0.1,0.1,0.1,20" for i in range(50)]
    text_of = "\n".join(["# rate 10 Hz", "t(ms),ax_g,ay_g,az_g,temp_C", *rows]) + "\n"
    (bench.data / "3-ride/logger.csv").write_text(text_of)
    bench.describe("ride", "[tables.ride.columns]", "dialect = { header_line = 2 }\n[tables.ride.columns]")
    bench.describe("ride", '{ column = "time", notation = "YYYY-MM-DD hh:mm:ss" }', '{ column = "t(ms)", unit = "ms" }')
    printed = bench.refused()
    assert "logger.csv, line 3, column t(ms)" in printed
    assert "10 kHz" in printed
    bench.describe("ride", 'unit = "ms" }', 'unit = "s", despite_name = true }')
    bench.begun()
    ride = next(o for o in load_campaign(bench.campaign).occasions if o.name == "3-ride").ride
    assert ride[-1].time == pytest.approx(4.9)


# -- agreement with geometry and weight ------------------------------------------------------------------

SPREAD = {
    "A": (0.0, 0.0, 0.0),
    "B": (0.0, 0.0, 3.0),
    "C": (0.8, 0.0, 3.0),
    "D": (0.8, 0.4, 0.0),
    "E": (0.1, 0.5, 1.2),
    "F": (0.7, -0.1, 1.9),
}


def pictured(scale: float = 1.0, turn: float = 1.0) -> list[Sighting]:
    """Six targets from a station beside them, with distances and angles multiplied."""
    found = []
    for line, (name, place) in enumerate(SPREAD.items(), start=2):
        x, y, z = place[2] - 1.0, place[0] + 2.0, place[1] - 0.7
        d = math.sqrt(x * x + y * y + z * z)
        h = math.atan2(y, x) % (2 * math.pi)
        found.append(Sighting("S", name, h * turn, math.acos(z / d) * turn, round(d * scale, 7), 1, "obs.csv", line))
    return found


@pytest.mark.parametrize(
    ("sightings", "words"),
    [
        (pictured(1 / 25.4), ("inch",)),
        (pictured(25.4), ("inch",)),
        (pictured(1e-3), ("1000",)),
        (pictured(1e3), ("1000",)),
        (pictured(turn=0.9), ("gon", "deg")),
        (pictured(turn=1 / 0.9), ("gon", "deg")),
        (pictured(turn=math.pi / 180.0), ("rad",)),
    ],
)
def test_units_that_spoil_a_picture_are_named(sightings: list[Sighting], words: tuple[str, ...]) -> None:
    targets = [Target(n, "girder", p, 0.0005) for n, p in SPREAD.items()]
    faults = check_survey(sightings, targets)
    assert len(faults) == 1
    for word in words:
        assert word in faults[0].remedy


def test_a_right_picture_passes() -> None:
    assert check_survey(pictured(), [Target(n, "girder", p, 0.0005) for n, p in SPREAD.items()]) == []


def test_distances_in_inches_are_refused_by_the_command(bench: Bench) -> None:
    bench.rows("4-back/tracker.csv", lambda c, _: [*c[:4], f"{float(c[4]) / 25.4:.4f}"])
    printed = bench.refused()
    assert "4-back/tracker.csv" in printed
    assert "inch" in printed


def test_four_points_in_inches_are_refused_with_their_size() -> None:
    nominal = np.array([[0.0, 0.0, 0.0], [3.0, 0.0, 0.0], [3.0, 0.8, 0.0], [0.0, 0.8, 0.4]])
    measured = np.round(nominal * 1e3 / 25.4, 4) * 1e-3  # as written in inches and read as millimetres
    with pytest.raises(Refused) as refusal:
        refuse_nonsense(measured, nominal)
    (fault,) = refusal.value.faults
    assert "a survey 0.03937 times the size of the nominal targets" in fault.given
    assert "inches" in fault.remedy
    refuse_nonsense(nominal, nominal)


GIRDER = Girder(
    "G",
    "t",
    Beam(400.0, 4.0, 1e8, 1e8, 1e8, 0.0, 0.5, 1.2e-5),
    (Item("M", "monitor", (0.0, 0.0, 0.0), 0.3, 400.0),),
    (),
    tuple(Bolt(f"V{i}", (0.0, 1.0, 0.0), (0.3 * i, -0.6, 0.0), 1e-3, None, 0.01, True, 1e8) for i in range(4)),
)


@pytest.mark.parametrize(
    ("each", "words"),
    [
        (4903.325, ""),
        (500.0, "kilograms of force told as newtons"),
        (4903325.0, "newtons told as kilonewtons"),
        (4.903325, "kilonewtons told as newtons"),
        (1102.3, "pounds of force told as newtons"),
    ],
)
def test_loads_that_do_not_carry_the_girder_name_the_unit(each: float, words: str) -> None:
    found = check_loads(GIRDER, [FootFinding(f"V{i}", "tight", each, None, "feet.csv", i + 2) for i in range(4)])
    assert [words in f.remedy for f in found] == ([True] if words else [])


# -- angles of degrees, minutes and seconds --------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "degrees"),
    [
        ("-0 12 30", -0.208333333),
        ("-0 00 36.5", -0.010138889),
        ("-0\u00b012'30\"", -0.208333333),
        ("\u22120 12 30", -0.208333333),
        ("0 12 30", 0.208333333),
        ("12 30", 12.5),
        ("-0d12m30s", -0.208333333),
        ("-0\u00ba12\u201930\u201d", -0.208333333),
        ("359 59 59.99", 359.999997222),
    ],
)
def test_the_sign_of_a_zero_counts(cell: str, degrees: float) -> None:
    value = sexagesimal(cell, Spelling())
    assert isinstance(value, float)
    assert value == pytest.approx(degrees, abs=5e-10)


@pytest.mark.parametrize(
    "cell", ["359 59 60", "12 60 00", "12 -30 00", "12.5 30 00", "12 30.5 10", "1 2 3 4", "12 3O 00"]
)
def test_what_is_no_angle_is_refused(cell: str) -> None:
    assert isinstance(sexagesimal(cell, Spelling()), tuple)


def test_an_angle_writes_back_with_its_sign() -> None:
    assert degrees_minutes_seconds(-0.208333333, 0) == "-0 12 30"
    assert degrees_minutes_seconds(-0.010138889, 1) == "-0 00 36.5"
    assert degrees_minutes_seconds(59.99999999, 2) == "60 00 00.00"
    assert degrees_minutes_seconds(-1e-9, 1) == "0 00 00.0"


@given(st.floats(-400.0, 400.0))
def test_angles_come_back_from_text(degrees: float) -> None:
    again = sexagesimal(degrees_minutes_seconds(degrees, 6), Spelling())
    assert isinstance(again, float)
    assert again == pytest.approx(degrees, abs=0.51e-6 / 3600)  # half of the last digit written
    assert math.copysign(1.0, again) == math.copysign(1.0, degrees) or abs(degrees) < 1e-9


def test_sixty_seconds_are_refused_in_their_line_by_the_command(bench: Bench) -> None:
    bench.rows(
        "4-back/tracker.csv",
        lambda c, _: [*c[:2], degrees_minutes_seconds(float(c[2]), 5), degrees_minutes_seconds(float(c[3]), 5), c[4]],
    )
    for occasion in ("2-aligned",):
        bench.rows(
            f"{occasion}/tracker.csv",
            lambda c, _: [
                *c[:2],
                degrees_minutes_seconds(float(c[2]), 5),
                degrees_minutes_seconds(float(c[3]), 5),
                c[4],
            ],
        )
    for column in ("hz_deg", "zenith_deg"):
        bench.change(
            "lab.toml",
            f'{{ column = "{column}", unit = "deg" }}',
            f'{{ column = "{column}", notation = "degrees minutes seconds" }}',
        )
    bench.begun()
    first = load_campaign(bench.campaign).occasions[1].sightings[0]
    assert first.direction == pytest.approx(math.radians(128.1489646), abs=1e-9)
    bench.campaign.rename(bench.root / "first")
    path = bench.data / "4-back/tracker.csv"
    lines = path.read_text().splitlines()
    cells = lines[4].split(",")
    lines[4] = ",".join([*cells[:2], "359 59 60", *cells[3:]])
    path.write_text("\n".join(lines) + "\n")
    printed = bench.refused()
    assert "tracker.csv, line 5, column hz_deg: given '359 59 60'; expected minutes and seconds below 60" in printed


# -- markers ---------------------------------------------------------------------------------------------


def marked(bench: Bench, *temperatures: str, status: str = "") -> None:
    """Temperature sensors in a row, some with a marker; a sensor's status beside it."""
    rows = [f"t{i},0,-390,{i},{t}" for i, t in enumerate(temperatures)]
    states = [s or "0" for s in status.split(",")] if status else []
    rows = [f"{r},{s}" for r, s in zip(rows, states, strict=True)] if states else rows
    head = "sensor,x_mm,y_mm,z_mm,temp_C" + (",st" if states else "")
    (bench.data / "4-back/girder_temperatures.csv").write_text("\n".join([head, *rows]) + "\n")
    for other in ("2-aligned", "5-restored"):
        (bench.data / other / "girder_temperatures.csv").unlink()


def test_declared_markers_and_a_bad_status_never_enter_a_mean(bench: Bench) -> None:
    marked(bench, "20.1", "-999", "20.3", "9.99999999e+37", "0.0", status="0,0,0,0,-1")
    bench.describe("temperatures", 'good_to = "0.01 K"', 'good_to = "0.01 K"\ngood_status = ["0"]')
    bench.describe(
        "temperatures",
        'temperature = { column = "temp_C", unit = "degC" }',
        'temperature = { column = "temp_C", unit = "degC", markers = [-999, 9.99999999e37] }\nstatus = "st"',
    )
    printed = bench.begun()
    document, shown = bench.ran()
    assert document["occasions"]["4-back"]["temperature"]["mean"] == pytest.approx(20.2, abs=1e-12)
    for line, word in ((3, "'-999'"), (5, "'9.99999999e+37'"), (6, "status '-1'")):
        note = next(n for n in printed.splitlines() if f"girder_temperatures.csv, line {line}" in n)
        assert word in note
        assert word in notes_of(document)
        assert word in shown


def packed(degrees: str) -> str:
    """An angle with minutes and seconds behind the point."""
    whole, minutes, seconds = degrees_minutes_seconds(float(degrees), 5).split()
    return f"{whole}.{minutes}{seconds.replace('.', '')}"


def test_minutes_and_seconds_behind_the_point_are_asked_and_read_when_declared(bench: Bench) -> None:
    bench.begun()
    before, _ = bench.ran()
    shutil.rmtree(bench.campaign)
    for occasion in ("2-aligned", "4-back"):
        bench.rows(f"{occasion}/tracker.csv", lambda c, _: [*c[:2], packed(c[2]), packed(c[3]), c[4]])
    printed = bench.refused()
    assert "tracker.csv, line 2, column hz_deg" in printed
    assert 'say notation = "ddd.mmss" for the column' in printed
    bench.change("lab.toml", '"hz_deg", unit = "deg"', '"hz_deg", notation = "ddd.mmss"')
    bench.change("lab.toml", '"zenith_deg", unit = "deg"', '"zenith_deg", notation = "ddd.mmss"')
    bench.begun()
    document, _ = bench.ran()
    for name, target in before["occasions"]["2-aligned"]["targets"].items():
        again = document["occasions"]["2-aligned"]["targets"][name]["xyz"]
        # 1e-5 arc seconds are 5e-11 rad: over 10 m less than a nanometre
        assert again == (None if target["xyz"] is None else pytest.approx(target["xyz"], abs=1e-9))


@pytest.mark.parametrize("cell", ["0", "0.000", "-1", "-0.0", "37.5", "4"])
def test_a_sensor_far_from_all_others_is_asked_by_line_and_may_be_genuine(bench: Bench, cell: str) -> None:
    """A sensor that lost its contact often says 0: in a mean it would move the girder's length by 40 um a metre."""
    line = bench.change("2-aligned/girder_temperatures.csv", "20.010", cell)
    printed = bench.refused()
    assert f"girder_temperatures.csv, line {line}, column temp_C: given '{cell}'" in printed
    assert f"markers = [{cell}]" in printed
    bench.describe("temperatures", 'unit = "degC" }', f'unit = "degC", markers = [{cell}] }}')
    bench.begun()
    document, shown = bench.ran()
    assert f"line {line}: given '{cell}' in column temp_C (a declared marker for no reading)" in notes_of(document)
    assert "a declared marker for no reading" in shown


def test_temperatures_that_look_like_differences_are_told(bench: Bench) -> None:
    bench.rows("2-aligned/girder_temperatures.csv", lambda c, _: [*c[:4], f"{float(c[4]) - 20.0:.3f}"])
    assert "if they are differences from a reference" in bench.begun()
    document, shown = bench.ran()
    assert "6 temperatures from" in notes_of(document)
    assert "if they are differences from a reference" in shown


def test_markers_of_many_nines_near_the_range_are_asked_too(bench: Bench) -> None:
    line = bench.change("2-aligned/tracker.csv", "3243.9751", "9999.9999")
    assert f"tracker.csv, line {line}, column distance_mm: given '9999.9999'" in bench.refused()


def test_empty_cells_are_counted_in_the_report_of_the_import(bench: Bench) -> None:
    bench.change("2-aligned/tracker.csv", "3243.9751", "")
    bench.begun()
    document, shown = bench.ran()
    told = next(i for i in document["imports"] if i["path"].endswith("2-aligned/tracker.csv"))
    assert "distance_mm: 1 empty cells, taken as not read" in told["conversions"]
    assert "distance_mm: 1 empty cells, taken as not read" in shown


def test_a_plain_zero_with_a_good_status_stays(bench: Bench) -> None:
    marked(bench, "0.2", "0.0", "0.1")
    bench.begun()
    assert [t.value for t in load_campaign(bench.campaign).occasions[1].temperatures] == [0.2, 0.0, 0.1]


def test_markers_of_a_whole_table(bench: Bench) -> None:
    marked(bench, "20.1", "-99.9", "20.3")
    bench.describe("temperatures", 'good_to = "0.01 K"', 'good_to = "0.01 K"\nmarkers = [-99.9]')
    bench.begun()
    assert [t.value for t in load_campaign(bench.campaign).occasions[1].temperatures] == pytest.approx([20.1, 20.3])


@pytest.mark.parametrize(
    "marker", ["-999", "9999", "-9999.0", "999.9", "-32768", "65535", "1e38", "9.9e37", "9.96921e+36"]
)
def test_markers_that_nobody_declared_are_asked_by_line_and_never_averaged(bench: Bench, marker: str) -> None:
    marked(bench, "20.1", marker, "20.3")
    printed = bench.refused()
    assert "girder_temperatures.csv, line 3, column temp_C" in printed
    assert "looks like a marker for no reading" in printed
    assert f"markers = [{marker}]" in printed


def test_a_reading_that_looks_like_a_marker_can_be_declared_genuine() -> None:
    column = Column("x", Meaning("number", "length"), ("x",), unit("mm"), genuine=(9999.0,))
    assert read("p,x\nA,1\nB,9999\nC,2\n", text("p"), column).mm("x") == [1.0, 9999.0, 2.0]
    read("p,x\nA,1\nB,9999\nC,2\n", text("p"), number("x")).refused(3, "x", "'9999'", "genuine = [9999]")


def test_coordinates_among_their_like_are_no_markers() -> None:
    assert suspicious(np.array([-2200.0, -999.0, 999.0, 2200.0]), []) == []
    assert suspicious(np.array([998.0, 999.0, 1000.0]), []) == []
    assert suspicious(np.array([999.0]), []) == []


def test_a_status_without_its_good_words_is_refused_in_the_description(bench: Bench) -> None:
    bench.describe("temperatures", 'sensor = "sensor"', 'sensor = "sensor"\nstatus = "st"')
    assert "a status without good_status" in bench.refused()
