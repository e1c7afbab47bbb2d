"""Invented layouts of every sort, each with what a person would read in it."""

from __future__ import annotations

import re

import pytest

from monochord.files.draft.kinds import Kind
from monochord.files.draft.lines import written
from monochord.files.draft.readback import read_back
from monochord.files.table import SUMMARIES
from monochord.ground.faults import Refused
from tests.draft_world import Habit, asked, drafted, nominal, settled, sightings


def only(files: dict[str, str | bytes], answers: dict[str, object] | None = None) -> Kind:
    _, _, looked = drafted(files, answers)
    [kind] = looked.kinds
    return kind


GERMAN = Habit(
    unit="gon", horizontal="clockwise", delimiter=";", decimal=",",
    heads=("Standpunkt", "Ziel", "Hz [gon]", "V [gon]", "Schrägstrecke [mm]"),
    target_heads=("Punkt", "Träger", "X [mm]", "Y [mm]", "Z [mm]"),
)  # fmt: skip
FRENCH = Habit(
    unit="gon", delimiter="\t", heads=("station", "cible", "angle horizontal (gon)", "zénith (gon)", "distance (mm)"),
    target_heads=("point", "porteur", "x (mm)", "y (mm)", "z (mm)"),
)  # fmt: skip
SPANISH = Habit(
    horizontal="clockwise", vertical="elevation", delimiter=";",
    heads=("estación", "punto", "horizontal_deg", "elevación_deg", "distancia_mm"),
    target_heads=("punto", "portador", "x_mm", "y_mm", "z_mm"),
)  # fmt: skip
ITALIAN = Habit(
    delimiter="|", heads=("stazione", "bersaglio", "orizzontale_deg", "zenitale_deg", "distanza_mm"),
    target_heads=("punto", "portatore", "x_mm", "y_mm", "z_mm"),
)  # fmt: skip


@pytest.mark.parametrize("habit", [GERMAN, FRENCH, SPANISH, ITALIAN], ids=["german", "french", "spanish", "italian"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
def test_four_languages_in_five_encodings(habit: Habit, encoding: str) -> None:
    files: dict[str, str | bytes] = {
        "a.txt": sightings(habit).encode(encoding),
        "b.txt": nominal(habit).encode(encoding),
    }
    draft, _, looked = drafted(files)

    assert {k.role for k in looked.kinds} == {"sightings", "targets"}
    assert settled(draft, "angles", "horizontal") == habit.horizontal
    assert settled(draft, "angles", "vertical") == habit.vertical
    assert {k.first.shape.delimiter for k in looked.kinds} == {"tab" if habit.delimiter == "\t" else habit.delimiter}
    assert {k.first.marks.decimal for k in looked.kinds} == {habit.decimal}
    assert [k for k in asked(draft) if k != "frame"] == []


def test_up_and_the_beam_are_found_and_only_the_beams_direction_is_asked() -> None:
    draft, _, _ = drafted({"obs.csv": sightings(Habit()), "targets.csv": nominal(Habit())})

    [frame] = [q for q in draft.questions if q.key == "frame"]
    assert [c.value for c in frame.choices] == ["x left, y up, z along beam", "x right, y up, z against beam"]


def test_a_lab_whose_x_runs_along_the_beam_is_asked_in_its_own_letters() -> None:
    habit = Habit(target_heads=("point", "on", "y_mm", "z_mm", "x_mm"))
    draft, _, _ = drafted({"obs.csv": sightings(habit), "targets.csv": nominal(habit)})

    [frame] = [q for q in draft.questions if q.key == "frame"]
    assert [c.value for c in frame.choices] == ["x along beam, y left, z up", "x against beam, y right, z up"]


def test_a_sense_that_the_pictures_refute_is_refused_with_the_misfits() -> None:
    files: dict[str, str | bytes] = {"obs.csv": sightings(Habit()), "targets.csv": nominal(Habit())}
    with pytest.raises(Refused, match=r"'clockwise', where .*clockwise \d+ mm") as refused:
        drafted(files, {"angles.horizontal": "clockwise"})
    assert refused.value.faults[0].file == "answer angles.horizontal"


def test_grouping_marks_and_decimal_commas() -> None:
    kind = only({"t.csv": "Punkt;Träger;X [mm];Y [mm];Z [mm]\nP01;girder;1.299,990;-0,512;12.000,004\n"})

    assert (kind.first.marks.decimal, kind.first.marks.grouping) == (",", ".")
    assert [c.values.tolist() for c in kind.columns[2:]] == [[1299.99], [-0.512], [12000.004]]


def test_numbers_that_read_in_two_ways_are_asked_for_and_the_answer_counts() -> None:
    text = "point;on;x_mm;y_mm;z_mm\nA;girder;1.234;2.345;3.456\nB;girder;4.321;5.432;6.543\n"
    draft, _, _ = drafted({"targets.csv": text})
    assert "dialect.decimal" in asked(draft)

    kind = only({"targets.csv": text}, {"dialect.decimal": ","})
    assert kind.columns[2].values.tolist() == [1234.0, 4321.0]


def test_another_file_of_the_laboratory_settles_its_marks() -> None:
    text = "point;on;x_mm;y_mm;z_mm\nA;girder;1.234;2.345;3.456\n"
    other = "sensor;temp_C\nt1;20,0061\n"
    draft, _, looked = drafted({"targets.csv": text, "1/temperature.csv": other})
    assert "dialect.decimal" in asked(draft), "a dot for groups is not what the other file shows"
    assert [k.first.marks.decimal for k in looked.kinds if k.role == "temperatures"] == [","]

    draft, _, _ = drafted({"targets.csv": text, "1/temperature.csv": other.replace(",", ".")})
    assert "dialect.decimal" not in asked(draft)


def test_lists_inside_cells_do_not_make_the_delimiter() -> None:
    kind = only({"n.csv": "id;note;dx\n1;['a', 'b'];0,12\n2;['c', 'd'];0,15\n"})

    assert kind.first.shape.delimiter == ";"
    assert kind.columns[2].values.tolist() == [0.12, 0.15]


def test_station_line_names_units_and_kinds_of_mean_above_the_data() -> None:
    text = '"ST","L7"\n"TIME","sensor","T1"\n"TS","RN","degF"\n"","","Avg"\n'
    text += '"2026-03-02 10:00:00",a,68.00\n"2026-03-02 10:01:00",b,68.05\n'
    shape = only({"log.csv": text}).first.shape

    assert (shape.header_line, shape.unit_line, shape.data_from) == (2, 3, 5)
    assert shape.units[2] == "degF"


def test_a_unit_line_gives_units_and_the_description_reads_by_it() -> None:
    text = "sensor x y z temp\n- mm mm mm degC\nt1 0.0 -390.0 -1800.0 20.006\nt2 0.0 -390.0 0.0 20.017\n"
    draft, _, looked = drafted({"temperatures.txt": text})
    [kind] = looked.kinds

    assert (kind.role, kind.first.shape.delimiter, kind.first.shape.unit_line) == ("temperatures", "spaces", 2)
    assert settled(draft, "tables.temperatures.columns", "x") == {"column": "x", "unit_line": True}


def test_fixed_widths_where_a_negative_fills_its_field() -> None:
    rows = [
        "P1      12.345-10234.567     1.200",
        "P2    1012.345     4.567   -81.200",
        "P13 -11012.345    14.567   -81.201",
    ]
    shape = only({"list.txt": "\n".join(rows) + "\n"}).first.shape

    assert shape.delimiter == "fixed"
    assert shape.widths == (3, 11, 10, 10)
    assert [c.strip() for c in shape.columns[2]] == ["-10234.567", "4.567", "14.567"]


def test_remarks_totals_and_comments_are_told_by_their_lines() -> None:
    text = "# measured by hand\npoint,on,x_mm,y_mm,z_mm\nA,girder,1.5,2.25,3.5\ntarget moved, repeat\n"
    text += "B,girder,2.5,3.25,4.5\nsomme,,4.0,5.5,8.0\n"
    kind = only({"t.csv": text})
    shape = kind.first.shape

    assert (shape.comment, shape.header_line, shape.lines) == ("#", 2, (3, 5))
    assert [line for line, _ in shape.apart] == [4, 6]
    assert {"somme"} <= SUMMARIES | set(shape.totals), "one of the reader's own words, or declared"
    assert kind.role == "targets"


def test_a_delimiter_at_the_end_of_each_line_shifts_nothing() -> None:
    kind = only({"t.csv": "point,on,x_mm,y_mm,z_mm\nA,girder,1.5,2.25,3.5,\nB,girder,3.5,4.25,5.5,\n"})

    assert kind.role == "targets"
    assert kind.columns[2].values.tolist() == [1.5, 3.5]


@pytest.mark.parametrize(
    ("text", "role"),
    [
        ("aimant;type;z_mm;longueur_mm;gradient;unité\n"
         "Q1;quadrupôle;-500,5;250,0;11,2;T/m\nS1;sextupôle;10,0;200,0;420,0;T/m2\n", "magnets"),
        ("perno\tdirezione\tx_mm\ty_mm\tz_mm\tpasso_mm\tunilaterale\n"
         "V1\ty\t-280.5\t-900.0\t-1900.0\t1.5\tsì\nV2\tx\t280.5\t-900.0\t1900.0\t1.5\tno\n", "bolts"),
        ("tornillo,vueltas\nV1,+0.0667\nV2,-0.0583\n", "turns"),
        ("Schraube;Zustand;Kraft [kN]\nV1;locker;\nV2;angezogen;16,7\n", "feet"),
        ("zeit;ax_g;ay_g;az_g\n01.03.2026 07:30:00;0,017;1,018;-0,010\n01.03.2026 07:30:04;0,001;1,009;-0,016\n", "ride"),
        ("extremo;dx_mm;dy_mm;dz_mm\nW1;41,2;-15,75;0,0\nW2;40,9;-16,25;0,0\n", "wire_ends"),
        ("modo;frecuencia_Hz;x_re_um;x_im_um;y_re_um;y_im_um\n"
         "1;25,71;-2,66;0,85;2,38;-0,78\n1;25,73;-2,77;0,93;2,47;-0,84\n", "wire_sweeps"),
    ],
)  # fmt: skip
def test_kinds_of_tables_by_words_of_several_languages(text: str, role: str) -> None:
    draft, _, looked = drafted({"data.txt": text})

    assert [k.role for k in looked.kinds] == [role]
    assert not [k for k in asked(draft) if k.startswith("role.")]


def test_a_word_for_a_foot_that_nobody_knows_is_asked_for() -> None:
    text = "bolt,felt\nV1,tight\nV2,loose\nV3,wobbly\n"
    draft, _, _ = drafted({"1/feet.csv": text})
    assert "tables.feet.columns.state.words.wobbly" in asked(draft)

    draft, _, _ = drafted({"1/feet.csv": text}, {"tables.feet.columns.state.words.wobbly": "loose"})
    column = settled(draft, "tables.feet.columns", "state")
    assert isinstance(column, dict)
    assert column["words"]["wobbly"] == "loose"


def test_day_and_month_that_cannot_be_told_apart_are_asked_for() -> None:
    text = "time,ax_g,ay_g,az_g\n03/02/2026 07:30:00,0.017,1.018,-0.010\n04/02/2026 07:30:00,0.001,1.009,-0.016\n"
    draft, _, _ = drafted({"1/ride.csv": text})
    assert "tables.ride.columns.time.notation" in asked(draft)

    draft, _, _ = drafted({"1/ride.csv": text.replace("04/02", "24/02")})
    assert "tables.ride.columns.time.notation" not in asked(draft)


def test_a_unit_that_nothing_tells_is_asked_for_with_what_each_would_mean() -> None:
    text = "point,on,x,y,z\nA,girder,1.5,2.25,3.5\nB,girder,2.5,3.25,4.5\n"
    draft, _, _ = drafted({"targets.csv": text})

    [question] = [q for q in draft.questions if q.key == "tables.targets.columns.x.unit"]
    assert {"mm", "m", "in"} <= {c.value for c in question.choices}


def test_an_answer_that_nothing_asked_for_is_refused() -> None:
    with pytest.raises(Refused, match="strenght"):
        drafted({"targets.csv": nominal(Habit())}, {"strenght.means": "derivative"})


def test_a_sign_for_a_column_that_is_not_there_is_refused() -> None:
    with pytest.raises(Refused, match="stage_q"):
        drafted({"targets.csv": nominal(Habit())}, {"signs": "stage_q"})


def test_an_unfinished_draft_is_not_loaded_and_names_its_keys() -> None:

    files: dict[str, str | bytes] = {"obs.csv": sightings(Habit()), "targets.csv": nominal(Habit())}
    draft, _, _ = drafted(files)
    proof = read_back(written(draft, "unfinished"), "lab.toml", {})

    assert proof.read == ()
    assert any("'x' in frame" in f.given for f in proof.open)
    assert any("good_to" in f.given for f in proof.open)


FACTS = {
    "tables.targets.good_to": "0.5 mm",
    "instrument.name": "tracker",
    "instrument.angle": "2.5 urad",
    "instrument.range": "6 um",
    "instrument.range_per_distance": "1 um/m",
    "instrument.range_sum": "plain",
    "instrument.levelled": "no",
    "instrument.mounting": "3 um",
    "instrument.range_scale": "1 um/m",
    "strength.means": "derivative",
    "strength.at_current": "100 A",
    "frame": "x left, y up, z along beam",
}


@pytest.mark.parametrize("habit", [GERMAN, FRENCH, SPANISH, ITALIAN], ids=["german", "french", "spanish", "italian"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_an_answered_draft_reads_every_file_back_onto_the_targets(habit: Habit, encoding: str) -> None:
    mark, point = habit.delimiter, habit.decimal
    magnets = [
        ("magnet", "kind", "z_mm", "length_mm", "gradient", "unit"),
        ("Q1", "quadrupole", "-1700.5", "250.0", "11.25", "T/m"),
        ("S1", "sextupole", "1300.5", "200.0", "420.0", "T/m2"),
    ]
    text = "".join(mark.join(c.replace(".", point) for c in row) + "\n" for row in magnets)
    files = {
        "given/magnets.txt": text.encode(encoding),
        "given/targets.txt": nominal(habit).encode(encoding),
        "1-bench/obs.txt": sightings(habit).encode(encoding),
    }
    draft, _, _ = drafted(dict(files), dict(FACTS))
    proof = read_back(written(draft, "answered"), "lab.toml", files)

    assert asked(draft) == ["layout.reference"]
    assert [str(f) for f in proof.open] == []
    assert {r.role: (r.rows, r.refused) for r in proof.read} == {
        "magnets": (2, 0),
        "targets": (10, 0),
        "sightings": (20, 0),
    }
    [line] = proof.geometry
    told = re.search(r"from each of 2 stations half of the targets lie within (\S+) mm", line)
    assert told
    assert float(told[1]) < 1e-3, "mm: the tables are spelled to a micrometre or finer"
