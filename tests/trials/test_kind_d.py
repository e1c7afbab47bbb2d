"""Names: text from the file to the report, paired only when equal, and every name that is left over told."""

from __future__ import annotations

import json

import pytest

from monochord.files.campaign_file import load_campaign
from monochord.files.names import alike, near_misses
from monochord.files.pairing import none_matched, paired
from monochord.files.spreadsheet_names import looks_like_date, made_by_spreadsheet
from tests.table_world import number, read, text
from tests.trial_bench import Bench, notes_of

# -- names stay as they are ------------------------------------------------------------------------------


def test_names_that_spell_missing_words_are_names() -> None:
    found = read("p,x\nNA,1\nNB,2\nNone,3\ninf,4\nnan,5\nnull,6\nN/A,7\nTRUE,8\n", text("p"), number("x"))
    assert found.texts("p") == ["NA", "NB", "None", "inf", "nan", "null", "N/A", "TRUE"]
    assert found.told.data == 8


def test_names_that_read_as_numbers_stay_three_names() -> None:
    found = read("p,x\n1E5,1\n100000,2\n1e05,3\n007,4\n7,5\n7.0,6\n", text("p"), number("x"))
    assert found.texts("p") == ["1E5", "100000", "1e05", "007", "7", "7.0"]


@pytest.mark.parametrize("name", ["M#4", "a b", "Q 1", "X/2", "\u00dc1", "\u70b91", "3-1-2", "=A1", "-1", "+7", "1,5"])
def test_names_of_every_spelling_come_out_as_they_went_in(name: str) -> None:
    quoted = f'"{name}"' if "," in name else name
    assert read(f"p,x,y\n{quoted},1,2\nB,2,3\n", text("p"), number("x"), number("y")).texts("p") == [name, "B"]


def test_only_outer_blanks_and_the_unicode_form_are_evened_out() -> None:
    found = read("p,x\n  Q1\t,1\nQ1\u00a0,2\nA\u030a1,3\nq1,4\n", text("p"), number("x"))
    assert found.texts("p") == ["Q1", "Q1", "\u00c51", "q1"]


def test_columns_are_chosen_by_their_names_whatever_is_left_out() -> None:
    found = read("s,B1,B2,B3\n1,11,12,13\n", number("t", "s"), number("a", "B1"), number("b", "B3"))
    assert [found.mm(k) for k in "tab"] == [[1.0], [11.0], [13.0]]


def test_strange_names_of_targets_reach_record_and_page(bench: Bench) -> None:
    for plain, strange in (("G1L", "NA"), ("G1R", "1E5"), ("G2L", "007"), ("G2R", "M#4.5"), ("G3L", "inf")):
        bench.change("girder/fiducials.csv", f"{plain},", f"{strange},")
        for occasion in ("2-aligned", "4-back"):
            bench.change(f"{occasion}/tracker.csv", f",{plain},", f",{strange},", count=99)
    bench.begun()
    document, printed = bench.ran()
    targets = document["occasions"]["4-back"]["targets"]
    assert {"NA", "1E5", "007", "M#4.5", "inf"} <= set(targets)
    assert "M#4.5" in printed
    pairing = next(p for p in document["pairings"] if p["second"] == "sightings of 4-back")
    assert {"NA", "1E5", "007", "M#4.5", "inf"} <= set(pairing["matched"])
    assert pairing["only_first"] == pairing["only_second"] == []


# -- near misses -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ours", "theirs", "why"),
    [
        ("F07", "FO7", "look alike"),
        ("I1", "l1", "look alike"),
        ("T1", "TI", "look alike"),
        ("B8", "BB", "look alike"),
        ("T1-2", "T1_2", "separators"),
        ("T1-2", "T1 2", "separators"),
        ("Q1", "q1", "upper and lower case"),
        ("T01", "T1", "leading zeros"),
        ("Q12", "Q21", "exchanged"),
        ("T1", "\u03a41", "look alike"),  # a Greek letter
        ("A1", "\u04101", "look alike"),  # a Cyrillic letter
        ("T1", "T\u200b1", "unseen"),
        ("T1", "\uff341", "Unicode form"),
        ("a b", "a  b", "blanks"),
        ("G1L", "G1\u0139", "accents"),
        ("T1", '"T1"', "quotes"),
        ("T1", "\u201cT1\u201d", "quotes"),
        ("T1", "[T1]", "brackets"),
        ("T\u00fcr 1", "Tuer1", "umlauts"),
        ("1234567890123456", "1.23457E+15", "spreadsheet"),
    ],
)
def test_names_that_were_meant_to_be_equal_come_near_and_say_why(ours: str, theirs: str, why: str) -> None:
    assert why in alike(ours, theirs)
    assert paired("list", [ours], "sightings", [theirs]).matched == ()
    assert [(n.first, n.second) for n in near_misses([ours], [theirs])] == [(ours, theirs)]


@pytest.mark.parametrize(("one", "other"), [("Q1", "Q2"), ("T1", "T11"), ("V1L", "V1R"), ("S1", "Q1"), ("G12", "G34")])
def test_names_of_different_things_do_not_come_near(one: str, other: str) -> None:
    assert alike(one, other) == ""


def test_long_lists_find_their_near_misses_too() -> None:
    ours = [f"P{i:04d}" for i in range(1, 400)]
    found = near_misses(ours, [n.replace("0", "O") for n in ours])
    assert {(n.first, n.second) for n in found} >= {("P0101", "PO1O1")}


@pytest.mark.parametrize(
    ("plain", "spoiled", "why"),
    [("Q2-3", "Q2_3", "separators"), ("G3L", "g3L", "case"), ("S1-1", "Sl-1", "look alike")],
)
def test_a_target_spelled_otherwise_is_refused_by_line_with_the_reason(
    bench: Bench, plain: str, spoiled: str, why: str
) -> None:
    line = bench.change("4-back/tracker.csv", f",{plain},", f",{spoiled},", count=99)
    printed = bench.refused()
    assert f"tracker.csv, line {line}" in printed
    assert repr(spoiled) in printed
    assert f"did you mean {plain!r}" in printed
    assert why in printed


def test_bolts_and_magnets_spelled_otherwise_say_why(bench: Bench) -> None:
    foot = bench.change("4-back/feet.csv", "V1L,", "VIL,")
    scan = bench.change("2-aligned/wire_scans.csv", ",S1,", ",5I,") + 0
    printed = bench.refused()
    assert f"feet.csv, line {foot}, column bolt: given bolt 'VIL'" in printed
    assert "did you mean 'V1L'? letters and digits that look alike" in printed
    assert f"wire_scans.csv, line {scan}" in printed
    assert "did you mean 'S1'? letters and digits that look alike" in printed


# -- pairings are told -----------------------------------------------------------------------------------


def test_every_pairing_is_told_in_the_record_on_the_page_and_when_the_campaign_begins(bench: Bench) -> None:
    path = bench.data / "4-back/tracker.csv"
    lines = path.read_text().splitlines()
    path.write_text("\n".join(line for line in lines if ",G4R," not in line) + "\n")
    bench.change("4-back/tracker.csv", ",P5,", ",floor bolt,", count=99)
    printed = bench.begun()
    assert "names: list of targets with sightings of 4-back" in printed
    kept = json.loads((bench.campaign / "imports.json").read_text())["pairings"]
    document, shown = bench.ran()
    pairing = next(p for p in document["pairings"] if p["second"] == "sightings of 4-back")
    assert pairing["only_first"] == ["G4R"]
    assert pairing["only_second"] == ["floor bolt"]
    assert pairing["near"] == []
    assert [p["words"] for p in kept] == [p["words"] for p in document["pairings"]]
    seconds = {p["second"] for p in document["pairings"]}
    assert {"scans of 2-aligned", "findings at the feet of 4-back", "turns of 5-restored"} <= seconds
    between = next(p for p in document["pairings"] if p["first"] == "targets seen on 2-aligned")
    assert between["only_first"] == ["G4R"]
    assert "Names that were paired" in shown
    assert "floor bolt" in shown


def test_rounds_are_paired_with_each_other(bench: Bench) -> None:
    path = bench.data / "4-back/tracker.csv"
    head, *rest = path.read_text().splitlines()
    again = [line for line in rest if ",G4R," not in line]
    path.write_text("\n".join([head, *rest, *again]) + "\n")
    bench.begun()
    kept = json.loads((bench.campaign / "imports.json").read_text())["pairings"]
    rounds = next(p for p in kept if p["first"] == "round 1 of 4-back")
    assert rounds["only_first"]
    assert all(name.startswith("G4R from ") for name in rounds["only_first"])
    assert rounds["only_second"] == []


def test_lists_without_one_common_name_are_refused_as_a_whole(bench: Bench) -> None:
    bench.rows("4-back/tracker.csv", lambda c, _: [c[0], f"far {c[1]}" if c[1][0] in "GQS" else c[1], *c[2:]])
    printed = bench.refused()
    assert "0 names matched" in printed
    assert "nothing is paired by its order" in printed


def test_lists_that_match_in_order_only_are_not_paired() -> None:
    pairing = paired("list", ["A", "B", "C"], "sightings", ["1", "2", "3"])
    assert pairing.matched == ()
    fault = none_matched(pairing, "f.csv")[0]
    assert "0 names matched" in fault.given


# -- names that a spreadsheet changed --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "seen"),
    [
        ("3-1-2", "2002-03-01"),
        ("3-1-3", "2003-03-01"),
        ("3-1-2", "01.03.2002"),
        ("3-1-2", "03/01/2002 00:00:00"),
        ("1-2", "2-Jan"),
        ("1-2", "01. Feb"),
        ("1/2", "Jan 02"),
        ("MAR1", "1-Mar"),
        ("SEP2", "02-Sep"),
        ("1-2", "46054"),
        ("1E5", "1.00E+05"),
        ("1E5", "100000"),
        ("007", "7"),
        ("1.10", "1.1"),
    ],
)
def test_what_a_spreadsheet_makes_of_names_is_recognised(name: str, seen: str) -> None:
    assert "spreadsheet" in made_by_spreadsheet(seen, name)
    assert repr(name) in made_by_spreadsheet(seen, name)


@pytest.mark.parametrize(("name", "seen"), [("3-1-2", "3-1-3"), ("T1", "2002-03-01"), ("Q1", "Q2"), ("12", "13")])
def test_other_names_are_not_taken_for_a_spreadsheets(name: str, seen: str) -> None:
    assert made_by_spreadsheet(seen, name) == ""


def test_names_turned_into_dates_are_refused_and_never_paired_by_order(bench: Bench) -> None:
    for target, name in (("G1L", "3-1-2"), ("G1R", "3-1-3")):
        bench.change("girder/fiducials.csv", f"{target},", f"{name},")
        bench.change("2-aligned/tracker.csv", f",{target},", f",{name},", count=99)
        bench.change(
            "4-back/tracker.csv", f",{target},", f",{'2002-03-01' if name == '3-1-2' else '2003-03-01'},", count=99
        )
    printed = bench.refused()
    assert "target '2002-03-01'" in printed
    assert "looks like a date that a spreadsheet made from '3-1-2'" in printed
    assert "looks like a date that a spreadsheet made from '3-1-3'" in printed


def test_dates_in_the_list_itself_are_noted(bench: Bench) -> None:
    line = bench.change("girder/fiducials.csv", "G1L,", "2002-03-01,")
    for occasion in ("2-aligned", "4-back"):
        bench.change(f"{occasion}/tracker.csv", ",G1L,", ",2002-03-01,", count=99)
    printed = bench.begun()
    assert f"fiducials.csv, line {line}, column point: given '2002-03-01', which looks like a date" in printed
    assert looks_like_date("2002-03-01")


# -- repeated names --------------------------------------------------------------------------------------


def test_a_repeated_name_is_refused_with_both_lines(bench: Bench) -> None:
    line = bench.change("girder/fiducials.csv", "G1R,", "G1L ,")
    printed = bench.refused()
    assert f"fiducials.csv, line {line}, column point: given 'G1L' twice" in printed
    assert "the first stands in line 2" in printed


@pytest.mark.parametrize(("rule", "value"), [("first", 20.372), ("last", 21.5)])
def test_a_repeated_sensor_needs_a_rule(bench: Bench, rule: str, value: float) -> None:
    path = bench.data / "4-back/girder_temperatures.csv"
    lines = path.read_text().splitlines()
    path.write_text("\n".join([*lines, "t1,0,-390,-1800,21.5"]) + "\n")
    printed = bench.refused()
    assert f"'t1' in lines 2, {len(lines) + 1}" in printed
    assert "repeated" in printed
    bench.describe("temperatures", 'good_to = "0.01 K"', f'good_to = "0.01 K"\nrepeated = "{rule}"')
    assert "as the description declares" in bench.begun()
    readings = load_campaign(bench.campaign).occasions[1].temperatures
    assert [r.value for r in readings if r.sensor == "t1"] == pytest.approx([value])


def test_turns_at_one_bolt_are_added_when_that_is_declared(bench: Bench) -> None:
    path = bench.data / "5-restored/bolts_turned.csv"
    head, first, *rest = path.read_text().splitlines()
    name, turns = first.split(",")
    path.write_text("\n".join([head, first, *rest, f"{name},0.25"]) + "\n")
    assert f"bolt {name!r} twice" in bench.refused()
    bench.describe("turns", 'file = "bolts_turned.csv"', 'file = "bolts_turned.csv"\nrepeated = "sum"')
    bench.begun()
    made = {t.bolt: t.turns for o in load_campaign(bench.campaign).occasions for t in o.turns}
    assert made[name] == pytest.approx(float(turns) + 0.25)


# -- exchanged names -------------------------------------------------------------------------------------


def test_two_exchanged_targets_are_said_with_the_misfit_before_and_after(bench: Bench) -> None:
    swap = {"G1L": "Q2-3", "Q2-3": "G1L"}
    bench.rows("4-back/tracker.csv", lambda c, _: [c[0], swap.get(c[1], c[1]), *c[2:]])
    printed = bench.begun()
    assert "G1L and Q2-3 look exchanged" in printed or "Q2-3 and G1L look exchanged" in printed
    assert "the misfit to the nominal places falls from" in printed
    document, shown = bench.ran()
    assert "look exchanged" in notes_of(document)
    assert "look exchanged" in shown


def test_targets_in_their_places_are_not_said_to_be_exchanged(bench: Bench) -> None:
    assert "exchanged" not in bench.begun()
