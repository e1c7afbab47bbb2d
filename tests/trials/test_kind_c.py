"""Table shape: every row is data, head, remark or refused, the counts add up, and no row is bent to fit."""

from __future__ import annotations

import shutil

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monochord.files.columns import Column
from monochord.files.roles import Meaning
from monochord.files.table import Dialect
from tests.table_world import number, read, text
from tests.trial_bench import Bench, notes_of

ID_X = (text("id"), number("x"))
ID_X_Y = (text("id"), number("x"), number("y"))


# -- columns ---------------------------------------------------------------------------------------------


def test_columns_are_taken_by_name_in_any_order() -> None:
    found = read("id,z,x,y\nA,3,1,2\n", text("id"), *map(number, "xyz"))
    assert [found.mm(k)[0] for k in "xyz"] == [1.0, 2.0, 3.0]


def test_a_column_name_that_comes_twice_is_refused_where_it_is_read_only() -> None:
    read("id,x,x\nA,1,2\n", *ID_X).refused(1, "", "2 columns named 'x'")
    assert read("id,x,note,note\nA,1,a,b\n", *ID_X).mm("x") == [1.0]


def test_a_column_without_a_name_shifts_nothing_and_is_told() -> None:
    found = read("id,,x\nA,7,1\n", *ID_X)
    assert found.mm("x") == [1.0]
    assert "a column without a name" in found.told.passed_over


def test_a_file_without_names_is_told_apart() -> None:
    found = read("A,1.5,2.5\nB,3,4\n", *ID_X)
    assert any("header_line = 0" in str(f) for f in found.faults)
    plain = read("A,1.5,2.5\nB,3,4\n", text("id", "1"), number("x", "3"), dialect=Dialect(header_line=0))
    assert plain.mm("x") == [2.5, 4.0]
    assert plain.told.heads == 0


def test_several_head_lines_with_units_in_one_of_them() -> None:
    data = (
        '"ST","L7"\n"TIME","REC","T1","T2"\n"TS","RN","degC","degF"\n"","","Avg","Avg"\n'
        '"2026-03-02 10:00:00",1,20.00,68.00\n'
    )
    meaning = Meaning("number", "temperature")
    columns = (text("time", "TIME"), *(Column(k, meaning, (k,), unit_line=True) for k in ("T1", "T2")))
    found = read(data, *columns, dialect=Dialect(header_line=2, unit_line=3, data_from=5))
    assert found.numbers("T1") == [20.0]
    assert found.numbers("T2")[0] - found.numbers("T1")[0] == pytest.approx(0.0, abs=1e-12)
    assert (found.told.data, found.told.heads, found.told.rows) == (1, 4, 5)


def test_a_line_of_units_that_nobody_declared_is_a_head_and_must_agree() -> None:
    found = read("id,x,y\n-,mm,[mm]\nA,1,2\n", *ID_X_Y)
    assert (found.mm("x"), found.told.heads) == ([1.0], 2)
    wrong = read("id,x,y\n,um,mm\nA,1,2\n", *ID_X_Y)
    wrong.refused(2, "x", "'um'", "'mm'")


def test_two_lines_of_names() -> None:
    found = read("point,position,position\nid,x,y\nA,1,2\n", *ID_X_Y, dialect=Dialect(header_line=2))
    assert (found.mm("y"), found.told.heads) == ([2.0], 2)


def test_whole_numbers_first_and_decimals_later() -> None:
    found = read("p,x\n" + "".join(f"P{i},0\n" for i in range(120)) + "Q,2.1\nR,3\n", text("p"), number("x"))
    assert len(found.mm("x")) == 122
    assert sum(found.mm("x")) == pytest.approx(5.1)
    assert found.told.data == 122


# -- rows that do not fit -----------------------------------------------------------------------------------


@pytest.mark.parametrize("head", ["id,x,y", "id,x,y,"])
def test_trailing_delimiters_shift_nothing(head: str) -> None:
    found = read(f"{head}\nA,1,2,\nB,3,4,\n", *ID_X_Y)
    assert (found.texts("id"), found.mm("x"), found.mm("y")) == (["A", "B"], [1.0, 3.0], [2.0, 4.0])
    mixed = read(f"{head}\nA,1,2,\nB,3,4\n", *ID_X_Y)
    assert mixed.mm("y") == [2.0, 4.0]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (",A,1,2", ("4 cells", "begins with a delimiter")),
        ("A,1,2,9", ("4 cells",)),
        ("A,1", ("2 cells", "3 cells as in the header")),
        ("A", ("1 cell", "remark")),
        ("wall 3", ("1 cell", "remark")),
        ("x,y", ("2 cells", "another table")),
        ("A,1,5,2,5", ("5 cells", "decimal commas")),
    ],
)
def test_rows_of_another_number_of_cells_are_refused_by_line(row: str, words: tuple[str, ...]) -> None:
    found = read(f"id,x,y\nA,1,2\n{row}\nB,3,4\n", *ID_X_Y)
    found.refused(3, "", *words)
    assert len(found.faults) == 1


def test_a_shifted_row_of_the_right_number_of_cells() -> None:
    found = read("id,x,y\nA,1,2\n,B,3\n", *ID_X_Y)
    assert {(f.line, f.column) for f in found.faults} == {(3, "id"), (3, "x")}


def test_many_rows_of_another_number_of_cells_are_counted() -> None:
    found = read("id,x,y\n" + "A,1\n" * 100, *ID_X_Y)
    assert len(found.faults) == 21
    assert "80 more such rows" in str(found.faults[-1])


def test_number_signs_in_names_are_no_remarks() -> None:
    found = read("id;N;x\nM#4;10;1.25\nM5;11;1.30\n", *ID_X, dialect=Dialect(";"))
    assert found.texts("id") == ["M#4", "M5"]
    marked = read("id;x\n# warm-up\nM#4;1\n#5;2\n", *ID_X, dialect=Dialect(";", comment="#"))
    assert (marked.texts("id"), marked.told.remarks) == (["M#4"], 2)


def test_fixed_widths_with_numbers_that_touch() -> None:
    data = "P1      12.345-10234.567     1.200\n"
    form = Dialect("fixed", header_line=0, widths=(4, 10, 10, 10))
    columns = (text("name", "1"), number("x", "2"), number("y", "3"), number("z", "4"))
    found = read(data, *columns, dialect=form)
    assert [found.mm(k)[0] for k in "xyz"] == [12.345, -10234.567, 1.2]
    longer = read(data.replace("\n", "  7\n"), *columns, dialect=form)
    longer.refused(1, "", "5 cells", "4 cells", "behind the last field")
    below = read(data + "P2       1.000     2.000     3.000 x9\n", *columns, dialect=form)
    below.refused(2, "", "behind the last field")
    apart = read(
        "name x y z\nP1 12.345-10234.567 1.200\n", text("name"), *map(number, "xyz"), dialect=Dialect("spaces")
    )
    apart.refused(2, "", "3 cells", "run together")


# -- rows that are no data -----------------------------------------------------------------------------------


def test_remarks_and_totals_are_no_points_and_told_by_line() -> None:
    found = read("id,x\nA,1\ntarget moved, repeat\nB,2\nsum,3\n", *ID_X)
    assert found.texts("id") == ["A", "B"]
    assert sorted(n.line or 0 for n in found.notes) == [3, 5]
    assert found.told.counts == "5 rows = 2 data + 1 head + 2 remarks + 0 refused"


@pytest.mark.parametrize("total", ["Sum", "SUM:", "Total", "Mean", "Mittelwert", "\u03a3", "Std Dev", "min", "Median"])
def test_totals_below_a_table(total: str) -> None:
    found = read(f"id,x\nA,1\nB,2\n{total},3\n", *ID_X)
    assert (found.texts("id"), found.told.remarks) == (["A", "B"], 1)
    assert "a total" in found.printed


@pytest.mark.parametrize(
    "word", ["Média", "STABW", "Écart-type", "Range", "Durchschnitt:", "Среднее", "平均", "gemiddelde", "avg."]
)
def test_totals_in_the_languages_of_spreadsheets_are_no_sensors(bench: Bench, word: str) -> None:
    """With the cells of coordinates filled, such a row reads as a sensor: a hundredth of a degree in the girder's middle."""
    bench.begun()
    before, _ = bench.ran()
    shutil.rmtree(bench.campaign)
    path = bench.data / "2-aligned/girder_temperatures.csv"
    line = path.read_text().count("\n") + 1
    path.write_text(f"{path.read_text()}{word},0,0,0,0.012\n")
    printed = bench.begun()
    document, shown = bench.ran()
    assert document["occasions"]["2-aligned"]["axes"] == before["occasions"]["2-aligned"]["axes"]
    assert f"girder_temperatures.csv, line {line}: given {word!r}, a total" in notes_of(document)
    assert f"girder_temperatures.csv, line {line} {word!r}, a total" in shown
    assert f"{word!r}, a total" in printed


def test_a_last_row_named_unlike_all_others_is_told_and_may_be_declared(bench: Bench) -> None:
    path = bench.data / "2-aligned/girder_temperatures.csv"
    path.write_text(f"{path.read_text()}Ensemble,0,0,0,20.02\n")
    assert "'Ensemble' in the last row, unlike all names above" in bench.begun()
    document, shown = bench.ran()
    assert 'add totals = ["Ensemble"] to the dialect of this table' in notes_of(document)
    assert "'Ensemble' in the last row" in shown
    shutil.rmtree(bench.campaign)
    bench.describe(
        "temperatures",
        "[tables.temperatures.columns]",
        'dialect = { totals = ["Ensemble"] }\n[tables.temperatures.columns]',
    )
    bench.begun()
    assert "'Ensemble', a total" in notes_of(bench.ran()[0])


def test_a_name_that_only_begins_like_a_total_stays() -> None:
    found = read("id,x\nSum1,1\nTotalstation,2\nmeander,3\nmin2,4\n", *ID_X)
    assert found.told.data == 4


@pytest.mark.parametrize(
    "remark",
    [
        "warm again at 9:30",
        "target moved",
        "# lunch",
        "*** end of listing ***",
        "-- 2 rows --",
        "! stopped by hand,,",
        "lamp was changed here,,",
        '"moved, then, repeated all of it"',
    ],
)
def test_remarks_in_their_own_line(remark: str) -> None:
    found = read(f"id,x,y\nA,1,2\n{remark}\nB,3,4\n", *ID_X_Y)
    assert (found.texts("id"), found.told.remarks) == (["A", "B"], 1)
    assert 3 in {n.line for n in found.notes}


def test_a_remark_behind_a_name_is_no_reason_to_drop_the_point() -> None:
    read("id,x,y\nA,1,2\nB,not measured,not measured\n", *ID_X_Y).refused(3, "x", "'not measured'")


def test_the_names_again_where_files_were_joined() -> None:
    found = read("id, x\nA,1\nid, x\nB,2\n", text("id"), number("x"))
    assert (found.texts("id"), found.told.heads) == (["A", "B"], 2)


def test_another_table_in_the_same_file_is_refused_where_it_begins() -> None:
    read("id,x,y\nA,1,2\n\nname,u,v\nB,3,4\n", *ID_X_Y).refused(4, "x", "'u'", "another table")
    read("id,x,y\nA,1,2\n\nname,u\nB,3\n", *ID_X_Y).refused(4, "", "2 cells", "another table")


def test_blank_lines_and_rows_of_delimiters_only() -> None:
    found = read("id,x,y\n\nA,1,2\n,,\n   \nB,3,4\n\n\n", *ID_X_Y)
    assert found.texts("id") == ["A", "B"]
    assert found.rows is not None
    assert list(found.rows.lines) == [3, 6]
    assert (found.told.rows, found.told.blank) == (3, 5)


def test_a_wide_table() -> None:
    names = [f"c{i}" for i in range(3000)]
    data = ",".join(names) + "\n" + ",".join(map(str, range(3000))) + "\n"
    found = read(data, number("a", "c7"), number("b", "c2999"))
    assert (found.mm("a"), found.mm("b")) == ([7.0], [2999.0])


def test_a_table_with_names_and_no_row() -> None:
    found = read("id,x\n", *ID_X)
    assert (found.told.rows, found.told.data, found.told.heads) == (1, 0, 1)


# -- counts ----------------------------------------------------------------------------------------------------

ROWS = st.sampled_from(
    [
        "A,1,2",
        "B,3,4,",
        '"C",5,6',
        '"D, d",7,8',
        "id,x,y",
        "target moved here",
        "# remark",
        "sum,1,2",
        "",
        ",,",
        "E,1",
        "F,?!,2",
        "G,1,2,3",
        "  ",
        '"H\nh",1,2',
    ]
)


@given(st.lists(ROWS, max_size=30), st.integers(8, 60), st.booleans())
def test_every_row_is_one_of_four_kinds_and_none_is_lost(rows: list[str], part: int, ends: bool) -> None:
    """The rows counted from the file by hand are the rows of the report, however the file is cut into parts."""
    from monochord.files import cutting

    data = "\n".join(["id,x,y", *rows]) + ("\n" if ends else "")
    filled = 1 + sum(1 for r in rows if r.strip(" ,"))
    data_rows = sum(1 for r in rows if r in ("A,1,2", "B,3,4,", '"C",5,6', '"D, d",7,8', '"H\nh",1,2'))
    whole = read(data, *ID_X_Y)
    before = cutting.PART
    cutting.PART = part
    try:
        parts = read(data, *ID_X_Y, streamed=True)
    finally:
        cutting.PART = before
    for found in (whole, parts):
        assert found.told.rows == filled
        assert found.told.data == data_rows
        assert found.told.heads == 1 + rows.count("id,x,y")
        assert found.told.remarks == sum(rows.count(r) for r in ("target moved here", "# remark", "sum,1,2"))
        assert found.told.refused == sum(rows.count(r) for r in ("E,1", "F,?!,2", "G,1,2,3"))
    assert whole.rows is not None
    assert parts.rows is not None
    assert list(whole.rows.lines) == list(parts.rows.lines)
    assert whole.rows.number["x"].tolist() == parts.rows.number["x"].tolist()
    assert sorted(f.line or 0 for f in whole.faults) == sorted(f.line or 0 for f in parts.faults)
