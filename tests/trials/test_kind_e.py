"""Dates and clocks: one notation for all rows, zones and their changes, origins of day numbers, pairing in time."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from monochord.campaign.given.clock import ClockTold
from monochord.files import clock
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign
from monochord.files.columns import Column
from monochord.files.near_in_time import nearest
from monochord.files.roles import Meaning
from monochord.files.table import Dialect
from monochord.files.times import in_future
from monochord.files.zones import to_utc
from tests.table_world import Reading, number, read
from tests.trial_bench import EXCERPT, Bench, notes_of

MINUTES = "YYYY-MM-DD hh:mm"
BERLIN = "Europe/Berlin"


def times(cells: Sequence[str], notation: str = MINUTES, **told: str) -> Reading:
    """A table with one column of times, read as a file's."""
    column = Column("time", Meaning("time"), ("time",), notation=notation, **told)  # type: ignore[arg-type]
    rows = "".join(f"{i};{cell}\n" for i, cell in enumerate(cells))
    return read(f"n;time\n{rows}", number("n"), column, dialect=Dialect(";"))


def moments(found: Reading) -> list[str]:
    return [clock.spoken_moment(v)[:16] for v in found.numbers("time")]


# -- order of day and month ------------------------------------------------------------------------------


def test_dotted_dates_by_their_notation() -> None:
    found = times(["08.03.2026 07:15", "02.06.2026 13:40", "19.09.2026 21:05"], "DD.MM.YYYY hh:mm")
    assert moments(found) == ["2026-03-08 07:15", "2026-06-02 13:40", "2026-09-19 21:05"]


@pytest.mark.parametrize("mark", [".", "/", "-"])
def test_of_two_orders_the_one_that_reads_all_rows(mark: str) -> None:
    either = f"MM{mark}DD{mark}YYYY hh:mm or DD{mark}MM{mark}YYYY hh:mm"
    cells = [c.replace(".", mark) for c in ("08.03.2026 07:15", "02.06.2026 13:40", "19.09.2026 21:05")]
    assert moments(times(cells, either)) == ["2026-03-08 07:15", "2026-06-02 13:40", "2026-09-19 21:05"]


def test_two_orders_that_both_read_all_rows_are_asked_with_both_readings() -> None:
    found = times(["08.03.2026 07:15", "02.06.2026 13:40"], "MM.DD.YYYY hh:mm or DD.MM.YYYY hh:mm")
    found.refused(2, "time", "2026-08-03 07:15:00", "2026-03-08 07:15:00", "which one is meant")


def test_a_declared_order_is_never_bent_for_one_row() -> None:
    found = times(["03.08.2026 07:15", "19.09.2026 21:05", "09.19.2026 21:05"], "DD.MM.YYYY hh:mm")
    found.refused(4, "time", "'09.19.2026 21:05'", "DD.MM.YYYY hh:mm")
    assert len(found.faults) == 1


def test_a_wrong_order_for_all_rows_names_the_one_that_fits() -> None:
    found = times(["03/19/2026 07:15", "03/20/2026 21:05"], "DD/MM/YYYY hh:mm")
    found.refused(2, "time", "every row fits 'MM/DD/YYYY hh:mm'")


def test_dates_that_only_lie_together_with_day_and_month_exchanged_are_noted() -> None:
    found = times(["03/01/2026 07:15", "03/02/2026 08:00", "03/03/2026 09:00"], "DD/MM/YYYY hh:mm")
    assert moments(found)[1] == "2026-02-03 08:00"
    assert "day and month are exchanged" in found.printed


def test_months_in_words_halves_of_days_and_offsets() -> None:
    assert moments(times(["5-Mar-2026 12:05 AM", "5-Mar-2026 12:05 PM"], "DD-MMM-YYYY hh:mm AM")) == [
        "2026-03-05 00:05",
        "2026-03-05 12:05",
    ]
    assert moments(times(["2026-05-04T14:20+05:30", "2026-05-04T09:20Z"], "YYYY-MM-DDThh:mmzzz")) == [
        "2026-05-04 08:50",
        "2026-05-04 09:20",
    ]
    assert moments(times(["1. M\u00e4rz 26 10:00"], "DD. MMM YY hh:mm")) == ["2026-03-01 10:00"]
    times(["5-Mar-2026 13:05 PM"], "DD-MMM-YYYY hh:mm AM").refused(2, "time", "13:05 PM")


@pytest.mark.parametrize(
    "cell", ["2026-02-30 10:00", "2026-13-01 10:00", "2026-03-01 25:00", "2026-03-01 10:60", "soon"]
)
def test_days_and_hours_that_do_not_exist_are_refused(cell: str) -> None:
    times(["2026-03-01 10:00", cell]).refused(3, "time", repr(cell))


# -- zones -----------------------------------------------------------------------------------------------


def test_the_repeated_hour_is_told_apart_where_rows_rise() -> None:
    day = ["01:45", "02:00", "02:15", "02:30", "02:45", "02:00", "02:15", "02:30", "02:45", "03:00"]
    found = times([f"2026-10-25 {t}" for t in day], zone=BERLIN)
    assert moments(found) == [
        "2026-10-24 23:45",
        *[f"2026-10-25 0{h}:{m:02d}" for h in (0, 1) for m in (0, 15, 30, 45)],
        "2026-10-25 02:00",
    ]
    assert (np.diff(found.numbers("time")) == 900.0).all()


def test_the_repeated_hour_beside_a_gap_is_asked_with_both_readings() -> None:
    cells = [f"2026-10-25 {t}" for t in ("01:30", "02:00", "02:30", "09:00")]
    found = times(cells, zone=BERLIN)
    assert [f.line for f in found.faults] == [3, 4]
    found.refused(3, "time", "2026-10-25 00:00:00 UTC or 2026-10-25 01:00:00 UTC", "difference 1 h", "repeated_hour")
    assert moments(times(cells, zone=BERLIN, repeated_hour="second"))[1:3] == ["2026-10-25 01:00", "2026-10-25 01:30"]
    assert moments(times(cells, zone=BERLIN, repeated_hour="first"))[1:3] == ["2026-10-25 00:00", "2026-10-25 00:30"]


def test_readings_that_come_twice_a_minute_leave_a_single_repeated_minute_open() -> None:
    day = ["01:30", "01:30", "02:00", "02:00", "03:30"]
    found = times([f"2026-10-25 {t}" for t in day], zone=BERLIN)
    assert [f.line for f in found.faults] == [4, 5]


def test_an_hour_that_clocks_skipped_is_refused() -> None:
    found = times(["2026-03-29 01:59", "2026-03-29 02:30", "2026-03-29 03:00"], zone=BERLIN)
    found.refused(3, "time", "'2026-03-29 02:30'", "put forward")


@pytest.mark.parametrize(
    ("zone", "cell", "utc"),
    [
        ("Asia/Kolkata", "2026-05-04 14:20", "2026-05-04 08:50"),
        ("America/Los_Angeles", "2026-07-01 00:00", "2026-07-01 07:00"),
        ("Asia/Kathmandu", "2026-05-04 05:45", "2026-05-04 00:00"),
        ("Australia/Lord_Howe", "2026-12-24 11:00", "2026-12-24 00:00"),
        ("+01:00", "2026-07-01 00:30", "2026-06-30 23:30"),
        ("UTC-3:30", "2026-07-01 00:30", "2026-07-01 04:00"),
        ("UTC", "2026-07-01 00:30", "2026-07-01 00:30"),
    ],
)
def test_a_zone_means_its_standard_offsets_never_local_mean_time(zone: str, cell: str, utc: str) -> None:
    assert moments(times([cell], zone=zone)) == [utc]


def test_times_from_before_a_zone_had_a_standard_time_are_refused() -> None:
    times(["1850-05-04 14:20"], zone="Asia/Kolkata").refused(2, "time", "no standard time")


@pytest.mark.parametrize(
    ("zone", "step"),
    [(BERLIN, 30), ("America/New_York", 30), ("Australia/Sydney", 60), ("Australia/Lord_Howe", 20), ("UTC", 60)],
)
def test_a_year_comes_back_from_local_time(zone: str, step: int) -> None:
    # even steps through a year in UTC, written on the local clock and read back: an agreement with the zone's own rules
    start = datetime(2026, 1, 1, tzinfo=UTC)
    moments_utc = [start + timedelta(minutes=step * i) for i in range(24 * 365 * 60 // step)]
    local = [m.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M") for m in moments_utc]
    values, odd = clock.seconds(local, MINUTES)
    assert odd == []
    found, unclear = to_utc(values, zone)
    assert unclear == []
    assert [round(v) for v in found] == [m.toordinal() * 86400 + m.hour * 3600 + m.minute * 60 for m in moments_utc]


def test_an_unknown_zone_is_refused_in_the_description(bench: Bench) -> None:
    bench.change(
        "lab.toml", 'time = { column = "time", notation', 'time = { column = "time", zone = "Europe/Berln", notation'
    )
    printed = bench.refused()
    assert "time zone 'Europe/Berln'" in printed
    assert "did you mean 'Europe/Berlin'" in printed


def test_utc_zone_and_the_original_text_are_in_the_record_and_on_the_page(bench: Bench) -> None:
    bench.change(
        "lab.toml", 'time = { column = "time", notation', f'time = {{ column = "time", zone = "{BERLIN}", notation'
    )
    bench.begun()
    document, printed = bench.ran()
    told = next(c for c in document["clocks"] if c["occasion"] == "2-aligned")
    assert told["zone"] == BERLIN
    assert (told["first"], told["first_utc"]) == ("2026-03-03 10:00:00", "2026-03-03T09:00:00Z")
    assert told["first_local"] == "2026-03-03T10:00:00"
    assert "2026-03-03T09:00:00Z" in printed
    assert BERLIN in printed


def test_a_clock_without_a_zone_has_no_utc_and_says_why(bench: Bench) -> None:
    bench.begun()
    document, _ = bench.ran()
    told = next(c for c in document["clocks"] if c["occasion"] == "2-aligned")
    assert told["first_utc"] is None
    assert "no zone" in told["reasons"]["first_utc"]


# -- day numbers and origins -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("origin", "cell", "moment"),
    [
        ("1900", "46083.5", "2026-03-02 12:00"),
        ("1904", "46083.5", "2030-03-03 12:00"),
        ("1900", "59", "1900-02-28 00:00"),
        ("1900", "61", "1900-03-01 00:00"),
        ("1900", "1", "1900-01-01 00:00"),
        ("1904", "0", "1904-01-01 00:00"),
        ("1900", "46083,25", "2026-03-02 06:00"),
    ],
)
def test_day_numbers_of_both_origins(origin: str, cell: str, moment: str) -> None:
    assert moments(times([cell], f"spreadsheet days from {origin}")) == [moment]


def test_the_day_that_1900_did_not_have_is_refused() -> None:
    times(["60.5"], "spreadsheet days from 1900").refused(2, "time", "'60.5'")


def test_a_day_number_where_a_date_was_declared_is_asked_with_both_origins() -> None:
    found = times(["46083.5"])
    found.refused(2, "time", "2026-03-02 12:00:00", "2030-03-03 12:00:00", "spreadsheet days from 1904")


def test_seconds_since_1970() -> None:
    assert moments(times(["1772452800"], "seconds since 1970")) == ["2026-03-02 12:00"]
    assert moments(times(["1772452800000"], "milliseconds since 1970")) == ["2026-03-02 12:00"]


@pytest.mark.parametrize("cell", ["1970-01-01 00:00", "1900-01-01 00:10", "1904-01-01 08:00", "2000-01-01 00:00"])
def test_days_on_which_unset_clocks_begin_are_findings(cell: str) -> None:
    found = times([cell, "2026-03-02 12:00"])
    note = next(n for n in found.notes if "never set" in n.remedy)
    assert note.line == 2
    assert repr(cell) in note.given


def test_times_after_the_campaign_began_are_findings() -> None:
    told = ClockTold(
        "f.csv", "time", BERLIN, "a", "b", "2030-03-03T11:00:00Z", "2030-03-03T12:00:00Z", "", "2030-03-03T13:00:00"
    )
    (note,) = in_future([told], "2026-03-12T08:00:00+00:00")
    assert "'b', later than the campaign's beginning at 2026-03-12T08:00:00" in note.given
    assert "origin of days" in note.remedy
    assert in_future([told], "2030-03-03T12:00:01Z") == []


def test_a_future_date_is_told_when_a_campaign_begins(bench: Bench) -> None:
    bench.change("2-aligned/wire_scans.csv", "2026-03-03 10:", "2199-03-03 10:", count=10_000)
    assert "later than the campaign's beginning" in bench.begun()
    document, printed = bench.ran()
    assert "later than the campaign's beginning" in notes_of(document)
    assert "later than the campaign's beginning" in printed


# -- midnight, steps back, gaps --------------------------------------------------------------------------


def test_midnight_as_24_00() -> None:
    assert moments(times(["2026-03-01 23:59", "2026-03-01 24:00", "2026-03-02 00:01"])) == [
        "2026-03-01 23:59",
        "2026-03-02 00:00",
        "2026-03-02 00:01",
    ]
    times(["2026-03-01 24:30"]).refused(2, "time", "'2026-03-01 24:30'", "24:00")
    times(["2026-12-31 24:00"])
    assert moments(times(["2026-12-31 24:00"])) == ["2027-01-01 00:00"]


def test_midnight_with_the_old_date_is_a_step_back_until_it_is_declared() -> None:
    cells = ["2026-03-01 23:59", "2026-03-01 0:00", "2026-03-02 0:01"]
    found = times(cells)
    assert moments(found)[1] == "2026-03-01 00:00"
    note = next(n for n in found.notes if "steps back" in n.given)
    assert "23 h 59 min" in note.given
    assert note.line == 3
    mended = times(cells, midnight="old day")
    assert moments(mended) == ["2026-03-01 23:59", "2026-03-02 00:00", "2026-03-02 00:01"]
    assert "as the description declares" in mended.printed
    assert "steps back" not in mended.printed


def test_steps_back_and_gaps_of_a_ride_are_told_and_kept(bench: Bench) -> None:
    (bench.data / "3-ride").mkdir()
    rows = [f"2026-03-05 09:{m:02d}:00,0.1,0.1,0.1,20" for m in range(20)]
    rows[5] = "2026-03-05 08:05:00,0.1,0.1,0.1,20"
    rows += [f"2026-03-05 11:{m:02d}:00,0.1,0.1,0.1,20" for m in range(20)]
    (bench.data / "3-ride/logger.csv").write_text("\n".join(["time,ax_g,ay_g,az_g,temp_C", *rows]) + "\n")
    printed = bench.begun()
    assert "logger.csv, line 7, column time: given the clock steps back by 59 min" in printed
    assert "a gap of 1 h 41 min before '2026-03-05 11:00:00'" in printed
    ride = next(o for o in load_campaign(bench.campaign).occasions if o.name == "3-ride").ride
    assert len(ride) == 40


# -- pairing in time -------------------------------------------------------------------------------------


def test_the_nearest_reading_within_the_tolerance_on_either_side() -> None:
    minute = 60.0
    found = nearest(np.array([40.0, 58.0, 0.0, math.nan]) * minute, np.array([60.0, 0.0]) * minute, 5 * minute)
    assert found.place.tolist() == [-1, 0, 1, -1]
    assert found.age[1:3].tolist() == [-2 * minute, 0.0]
    assert np.isnan(found.age[[0, 3]]).all()


def test_nearest_agrees_with_looking_at_every_pair() -> None:
    rng = np.random.default_rng(5)
    for _ in range(50):
        observed, partners = rng.uniform(0, 100, 20), rng.uniform(0, 100, rng.integers(0, 12))
        found = nearest(observed, partners, 4.0)
        for i, when in enumerate(observed.tolist()):
            apart = np.abs(partners - when)
            if not apart.size or apart.min() > 4.0:
                assert found.place[i] == -1
            else:
                assert apart[found.place[i]] == apart.min()


def logged(bench: Bench, rows: Sequence[str], within: str = "5 min") -> None:
    """A temperature log on the aligned occasion, and the tolerance of its pairing."""
    path = bench.data / "2-aligned/girder_temperatures.csv"
    path.write_text("\n".join(["sensor,x_mm,y_mm,z_mm,temp_C,time", *rows]) + "\n")
    bench.describe("temperatures", 'good_to = "0.01 K"', f'good_to = "0.01 K"\nwithin = "{within}"')
    bench.describe(
        "temperatures",
        'temperature = { column = "temp_C", unit = "degC" }',
        'temperature = { column = "temp_C", unit = "degC" }\ntime = { column = "time", notation = "YYYY-MM-DD hh:mm" }',
    )
    for other in ("4-back", "5-restored"):
        (bench.data / other / "girder_temperatures.csv").unlink()


def test_scans_take_the_temperatures_nearest_in_time_and_the_others_are_counted(bench: Bench) -> None:
    logged(bench, ["t1,0,-390,0,20.0,2026-03-03 09:58", "t1,0,-390,0,30.0,2026-03-02 22:00"], "3 min")
    printed = bench.begun()
    assert "observations" in printed
    assert "a reading within 3 min of each" in printed
    assert "without any" in printed
    reading = load_campaign(bench.campaign).occasions[0].temperatures
    assert [r.value for r in reading] == pytest.approx([20.0])
    document, shown = bench.ran()
    assert document["occasions"]["2-aligned"]["temperature"]["mean"] == pytest.approx(20.0)
    assert "a reading within 3 min of each" in notes_of(document)
    assert "a reading within 3 min of each" in shown


def test_no_temperature_is_taken_from_far_away(bench: Bench) -> None:
    logged(bench, ["t1,0,-390,0,30.0,2026-03-02 22:00"])
    bench.begun()
    occasion = load_campaign(bench.campaign).occasions[0]
    assert occasion.temperatures == ()
    assert any("no temperature of the girder" in words for words in occasion.lacks)


def test_times_of_temperatures_need_a_tolerance(bench: Bench) -> None:
    logged(bench, ["t1,0,-390,0,20.0,2026-03-03 09:58"])
    bench.lab.write_text(bench.lab.read_text().replace('within = "5 min"\n', ""))
    assert "times of temperatures without within" in bench.refused()


def test_clocks_with_and_without_a_zone_are_not_compared(bench: Bench) -> None:
    logged(bench, ["t1,0,-390,0,20.0,2026-03-03 09:58"])
    bench.describe("wire_scans", 'time = { column = "time", ', 'time = { column = "time", zone = "UTC", ')
    printed = bench.refused()
    assert "no zone for the times of" in printed
    assert "girder_temperatures.csv" in printed


def test_the_clock_of_raw_signals_becomes_utc(labs: Path, tmp_path: Path) -> None:
    plain = '"time", on = "block", notation = "DD.MM.YYYY hh:mm:ss"'
    told = (EXCERPT / "b.toml").read_text()
    assert plain in told
    lab = tmp_path / "lab.toml"
    lab.write_text(told.replace(plain, f'{plain}, zone = "{BERLIN}"'))
    begin(labs / "b", lab, tmp_path / "campaign", {})
    occasion = load_campaign(tmp_path / "campaign").occasions[0]
    (kept,) = occasion.clocks
    assert (kept.zone, kept.file) == (BERLIN, "measured/bench/wire.h5")
    local = datetime.fromisoformat(kept.first_local).replace(tzinfo=ZoneInfo(BERLIN))
    assert datetime.fromisoformat(kept.first_utc) == local
    assert kept.first_utc < kept.last_utc


# -- spellings that instruments and systems use, through the command --------------------------------------

DECLARED = 'notation = "YYYY-MM-DD hh:mm:ss"'


def scans_at(bench: Bench, spell: Callable[[datetime, int], str], notation: str = "", zone: str = "") -> None:
    """The times of the wire scans spelled otherwise, and declared so."""
    bench.rows(
        "2-aligned/wire_scans.csv",
        lambda c, i: [*c[:-1], spell(datetime.strptime(c[-1], "%Y-%m-%d %H:%M:%S"), i)],
    )
    if notation:
        told = f'notation = "{notation}"' + (f', zone = "{zone}"' if zone else "")
        bench.describe("wire_scans", DECLARED, told)


@pytest.mark.parametrize(
    ("layout", "notation"),
    [
        ("%Y-%m-%dT%H:%M:%S+01", "YYYY-MM-DDThh:mm:sszzz"),
        ("%Y-%m-%d %H:%M:%S UTC", "YYYY-MM-DD hh:mm:ss zzz"),
        ("%m/%d/%Y %I:%M:%S\u202f%p", "MM/DD/YYYY hh:mm:ss AM"),
        ("%m/%d/%Y %I:%M:%S a.m.", "MM/DD/YYYY hh:mm:ss AM"),
        ("%Y-%m-%d  %H:%M:%S", "YYYY-MM-DD hh:mm:ss"),
        ("%Y-%m-%d\u00a0%H:%M:%S", "YYYY-MM-DD hh:mm:ss"),
        ("%d. M\u00e4rz %Y %H:%M:%S", "DD. MMM YYYY hh:mm:ss"),
        ("%d marzo %Y %H:%M:%S", "DD MMM YYYY hh:mm:ss"),
        ("%d \u043c\u0430\u0440\u0442\u0430 %Y %H:%M:%S", "DD MMM YYYY hh:mm:ss"),
        ("%d-MAR-%y %H:%M:%S", "DD-MMM-YY hh:mm:ss"),
        ("%Y%m%dT%H%M%S", "YYYYMMDDThhmmss"),
    ],
)
def test_one_moment_in_many_spellings(bench: Bench, layout: str, notation: str) -> None:
    """The first reading is of 10:00 on the third of March, by its own clock or one hour off it."""
    scans_at(bench, lambda t, _: t.strftime(layout.replace("a.m.", "a.m." if t.hour < 12 else "p.m.")), notation)
    bench.begun()
    document, _ = bench.ran()
    told = [clock for clock in document["clocks"] if "wire_scans" in clock["file"]]
    assert [clock["first_local"] for clock in told] == [
        "2026-03-03T09:00:00" if layout.endswith("+01") else "2026-03-03T10:00:00"
    ]


@pytest.mark.parametrize(
    ("layout", "proposed"),
    [
        ("%Y-%m-%dT%H:%M:%S", "YYYY-MM-DDThh:mm:ss"),
        ("%Y-%m-%d %H:%M:%SZ", "YYYY-MM-DD hh:mm:sszzz"),
        ("%Y-%m-%d %I:%M:%S %p", "YYYY-MM-DD hh:mm:ss AM"),
        ("%d.%m.%Y %H:%M", "DD.MM.YYYY hh:mm"),
        ('"%b %d, %Y %H:%M:%S"', "MMM DD, YYYY hh:mm:ss"),
    ],
)
def test_a_notation_that_reads_every_row_is_proposed(bench: Bench, layout: str, proposed: str) -> None:
    scans_at(bench, lambda t, _: t.strftime(layout))
    printed = bench.refused()
    assert "wire_scans.csv, line 2, column time" in printed
    assert f"every row fits '{proposed}'" in printed


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("2016-12-31 23:59:60", "a leap second"),
        ("2026-03-03 24:10:00", "no time lies behind 24:00"),
        ("2026-03-03 10:00:24:250", "mend the cell or the notation"),
        ("2026-02-29 10:00:00", "mend the cell or the notation"),
        ("2026/03/03 10:00:00", "mend the cell or the notation"),
    ],
)
def test_one_time_that_does_not_fit_is_refused_by_line_with_its_reason(bench: Bench, cell: str, words: str) -> None:
    scans_at(bench, lambda t, i: cell if i == 5 else str(t))
    printed = bench.refused()
    assert f"wire_scans.csv, line 7, column time: given '{cell}'" in printed
    assert words in printed


def test_letters_of_a_zone_are_never_guessed(bench: Bench) -> None:
    scans_at(bench, lambda t, _: f"{t} CET", "YYYY-MM-DD hh:mm:ss zzz")
    assert "letters of a zone can mean several" in bench.refused()


@pytest.mark.parametrize(
    ("spell", "notation"),
    [
        (lambda t, _: str(int((t - datetime(1970, 1, 1)).total_seconds())), "milliseconds since 1970"),
        (lambda t, _: t.strftime("0026-%m-%d %H:%M:%S"), "YYYY-MM-DD hh:mm:ss"),
        (lambda t, _: t.strftime("%d.%m.1926 %H:%M:%S"), "DD.MM.YYYY hh:mm:ss"),
    ],
)
def test_times_before_all_such_measuring_are_findings(
    bench: Bench, spell: Callable[[datetime, int], str], notation: str
) -> None:
    scans_at(bench, spell, notation)
    assert "expected a clock that was set" in bench.begun()
    document, shown = bench.ran()
    assert "more such times" in notes_of(document)
    assert "more such times" in shown


def test_seconds_that_loggers_count_from_1904(bench: Bench) -> None:
    scans_at(bench, lambda t, _: f"{(t - datetime(1904, 1, 1)).total_seconds():.1f}", "seconds since 1904")
    bench.begun()
    document, _ = bench.ran()
    told = next(clock for clock in document["clocks"] if "wire_scans" in clock["file"])
    assert (told["first_local"], told["zone"]) == ("2026-03-03T10:00:00", "UTC")


@pytest.mark.parametrize("word", ["NaT", "n/a", "-", "0000-00-00 00:00:00"])
def test_words_for_no_time_are_told_where_a_time_may_lack(bench: Bench, word: str) -> None:
    scans_at(bench, lambda t, i: word if i == 5 else str(t))
    assert f"wire_scans.csv, line 7, column time: given '{word}' (a word for missing)" in bench.begun()
    document, _ = bench.ran()
    assert f"'{word}' (a word for missing); expected a time; taken as not read" in notes_of(document)
