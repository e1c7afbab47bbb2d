"""Tables as people really write them: every spelling, container, shape and name has one right answer.

Each case is made by hand; the numbers are those that a person reads off the cells.
"""

from __future__ import annotations

import math

import pytest

from monochord.files.columns import Column, Form, Rows
from monochord.files.reading import read_rows
from monochord.files.roles import Meaning
from monochord.files.table import Dialect
from monochord.ground.faults import Fault, Gatherer
from monochord.ground.units import unit

FILE = "points.csv"


@pytest.fixture(autouse=True, params=["as small", "as large"])
def size(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every case is read twice: in the ordinary way, and as if it were a large table."""
    if request.param == "as large":
        monkeypatch.setattr("monochord.files.cutting.PART", 8)


def text(key: str, name: str = "") -> Column:
    return Column(key, Meaning("text"), (name or key,))


def number(key: str, name: str = "", spelled: str = "mm", **other: object) -> Column:
    lacking = str(other.pop("lacking", "refuse"))
    dimension = unit(spelled).dimension
    markers = other.pop("markers", ())
    assert isinstance(markers, tuple)
    assert not other
    return Column(key, Meaning("number", dimension, True, lacking), (name or key,), unit(spelled), markers=markers)


def read(data: bytes | str, *columns: Column, dialect: Dialect | None = None) -> tuple[Rows, list[Fault], list[Fault]]:
    """Rows, faults and notes."""
    faults, notes = Gatherer(FILE), list[Fault]()
    raw = data.encode() if isinstance(data, str) else data
    rows = read_rows(raw, FILE, Form("points", dialect or Dialect(), columns), faults, notes)
    return rows if rows is not None else Rows(FILE, []), faults.faults, notes


def mm(rows: Rows, key: str) -> list[float]:
    return [round(v * 1e3, 9) for v in rows.number[key].tolist()]


# -- number spelling ---------------------------------------------------------------------------------

COMMA = Dialect(delimiter=";", decimal=",")
GROUPED = Dialect(delimiter=";", decimal=",", grouping=".")


def test_decimal_comma_with_declared_grouping() -> None:
    rows, faults, _ = read(
        "p;x;y;z\nP01;1.299,990;-0,512;12.000,004\n", text("p"), *map(number, "xyz"), dialect=GROUPED
    )
    assert faults == []
    assert [mm(rows, k)[0] for k in "xyz"] == [1299.990, -0.512, 12000.004]


def test_grouping_that_is_not_declared_is_refused_in_its_own_row() -> None:
    data = "p;b\nA;2,45\nB;31,8\nC;3.207,15\n"
    _, faults, _ = read(data, text("p"), number("b"), dialect=COMMA)
    assert [(f.line, f.column, f.given) for f in faults] == [(4, "b", "'3.207,15'")]
    rows, faults, _ = read(data, text("p"), number("b"), dialect=GROUPED)
    assert faults == []
    assert mm(rows, "b") == [2.45, 31.8, 3207.15]


@pytest.mark.parametrize("cell", ["1.29,990", "12.00.004", "1234.567,0", ".123,4"])
def test_groups_that_are_not_of_three_are_refused(cell: str) -> None:
    _, faults, _ = read(f"p;x\nA;{cell}\n", text("p"), number("x"), dialect=GROUPED)
    assert [f.given for f in faults] == [repr(cell)]


@pytest.mark.parametrize("minus", ["\u2212", "\u2013", "\u2010", "\uff0d", "-"])
def test_typographic_minus(minus: str) -> None:
    rows, faults, _ = read(f"p;dx;dy\nA;{minus}0,037;0,041\n", text("p"), number("dx"), number("dy"), dialect=COMMA)
    assert faults == []
    assert (mm(rows, "dx"), mm(rows, "dy")) == ([-0.037], [0.041])


def test_fortran_exponents() -> None:
    data = "p a b c\nA 0.123456D-01 -2.5D+00 0.1000000-003\n"
    rows, faults, _ = read(data, text("p"), *(number(k, spelled="m") for k in "abc"), dialect=Dialect("spaces"))
    assert faults == []
    assert [rows.number[k][0] for k in "abc"] == [0.0123456, -2.5, 0.0001]


def test_cells_run_together_never_pass_for_an_exponent() -> None:
    _, faults, _ = read("p,a\nA,12.345-678\n", text("p"), number("a"))
    assert [f.given for f in faults] == ["'12.345-678'"]


def test_lone_dots_and_dangling_exponents_are_missing_and_listed() -> None:
    data = "p,dx\nA,0.012\nB,.\nC,+.\nD,0e\nE,-0.018\n"
    rows, faults, notes = read(data, text("p"), number("dx", lacking="unknown"))
    assert faults == []
    assert [n.line for n in notes] == [3, 4, 5]
    known = [v for v in mm(rows, "dx") if not math.isnan(v)]
    assert known == [0.012, -0.018]
    _, faults, _ = read(data, text("p"), number("dx"))
    assert [f.line for f in faults] == [3, 4, 5]


@pytest.mark.parametrize(
    "cell", ["1_000", "0x1F", "\u0661\u0662", "12,5", "1.2.3", "1e", "5 mm", "--3", "1e5e", "1e999"]
)
def test_what_only_looks_like_a_number_is_refused(cell: str) -> None:
    _, faults, _ = read(f"p;x;y\nA;1;2\nB;{cell};3\n", text("p"), number("x"), number("y"), dialect=Dialect(";"))
    assert (faults[0].line, faults[0].column) == (3, "x")
    assert cell in faults[0].given


@pytest.mark.parametrize("word", ["nan", "NaN", "inf", "-inf", "Infinity"])
def test_words_for_no_number_never_become_one(word: str) -> None:
    rows, faults, _ = read(f"p,x,y\nA,{word},2\n", text("p"), number("x", lacking="unknown"), number("y"))
    assert faults or math.isnan(rows.number["x"][0])


def test_whole_numbers_first_and_decimals_later() -> None:
    data = "p,x\n" + "".join(f"P{i},0\n" for i in range(120)) + "Q,2.1\nR,3\n"
    rows, faults, _ = read(data, text("p"), number("x"))
    assert faults == []
    assert len(rows) == 122
    assert sum(mm(rows, "x")) == pytest.approx(5.1)


# -- containers of text ------------------------------------------------------------------------------


def test_byte_order_mark_is_not_part_of_the_first_name() -> None:
    rows, faults, _ = read(b"\xef\xbb\xbfpoint,x\nA,1\n", text("point"), number("x"))
    assert faults == []
    assert rows.text["point"] == ["A"]


def test_two_files_joined() -> None:
    part = b"\xef\xbb\xbfpoint,x\r\nA,1\r\n"
    rows, faults, notes = read(part + part.replace(b"A,1", b"B,2"), text("point"), number("x"))
    assert faults == []
    assert rows.text["point"] == ["A", "B"]
    assert list(rows.lines) == [2, 4]
    found = {(n.line, n.given) for n in notes}
    assert found == {(3, "a byte-order mark inside the file"), (3, "the column names again")}


@pytest.mark.parametrize("mark", [b"\xff\xfe", b""])
def test_utf16_with_and_without_its_mark(mark: bytes) -> None:
    rows, faults, notes = read(mark + "p;x\nA;1\n".encode("utf-16-le"), text("p"), number("x"), dialect=Dialect(";"))
    assert faults == []
    assert (rows.text["p"], mm(rows, "x")) == (["A"], [1.0])
    assert ["utf-16" in n.given for n in notes] == [True]


def test_code_page_that_is_not_declared_is_refused_with_its_line() -> None:
    data = "p;x\nA;1\nTräger;2\n".encode("cp1252")
    _, faults, _ = read(data, text("p"), number("x"), dialect=Dialect(";"))
    assert [(f.line, f.given) for f in faults] == [(3, "byte 0xe4")]
    assert "encoding" in faults[0].remedy
    rows, faults, _ = read(data, text("p"), number("x"), dialect=Dialect(";", encoding="cp1252"))
    assert faults == []
    assert rows.text["p"] == ["A", "Träger"]


def test_unit_decoded_wrongly_once_is_repaired_with_a_note() -> None:
    rows, faults, notes = read(
        b"p;T [\xc3\x82\xc2\xb0C]\nA;20.5\n", text("p"), number("t", "T [°C]", "degC"), dialect=Dialect(";")
    )
    assert faults == []
    assert rows.number["t"][0] == 20.5
    assert ["°C" in n.expected for n in notes] == [True]


def test_zero_bytes_are_refused() -> None:
    _, faults, _ = read(b"p,x\nA,1\nB,2\0\0\nC,3\n" + b"D,4\n" * 200, text("p"), number("x"))
    assert [(f.line, f.given) for f in faults] == [(3, "a zero byte")]


def test_another_delimiter_is_named() -> None:
    _, faults, _ = read("id;x\nA;1\n", text("id"), number("x"))
    assert faults[0].line == 1
    assert "';'" in faults[0].remedy


def test_commas_inside_cells_of_a_semicolon_file() -> None:
    data = "id;note;dx\n1;['a', 'b'];0,12\n2;['c', 'd'];0,15\n"
    rows, faults, _ = read(data, text("id"), text("note"), number("dx"), dialect=COMMA)
    assert faults == []
    assert mm(rows, "dx") == [0.12, 0.15]


def test_quoted_cells_with_delimiters_and_line_ends() -> None:
    data = 'id,note,x\nA,"one, two",1\nB,"over\ntwo lines",2\nC,plain,3\n'
    rows, faults, _ = read(data, text("id"), text("note"), number("x"))
    assert faults == []
    assert mm(rows, "x") == [1.0, 2.0, 3.0]
    assert list(rows.lines) == [2, 3, 5]
    assert rows.text["note"][0] == "one, two"


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends(end: str) -> None:
    rows, faults, _ = read(end.join(["p,x", "A,1", "B,2", ""]), text("p"), number("x"))
    assert faults == []
    assert list(rows.lines) == [2, 3]


# -- shapes of tables --------------------------------------------------------------------------------


def test_columns_are_taken_by_name() -> None:
    rows, _, _ = read("id,z,x,y\nA,3,1,2\n", text("id"), *map(number, "xyz"))
    assert [mm(rows, k)[0] for k in "xyz"] == [1.0, 2.0, 3.0]


def test_renaming_a_part_of_the_columns() -> None:
    columns = (number("t", "s", "s"), number("a", "B1"), number("b", "B3"))
    rows, faults, notes = read("s,B1,B2,B3\n1,11,12,13\n", *columns)
    assert faults == []
    assert (rows.number["t"][0], mm(rows, "a")[0], mm(rows, "b")[0]) == (1.0, 11.0, 13.0)
    assert [n.column for n in notes] == ["B2"]


def test_several_header_lines_with_a_unit_line() -> None:
    data = '"ST","L7"\n"TIME","REC","T1","T2"\n"TS","RN","degC","degF"\n"","","Avg","Avg"\n"2026-03-02",1,20.00,68.00\n'
    meaning = Meaning("number", "temperature")
    columns = (text("time", "TIME"), *(Column(k, meaning, (k,), unit_line=True) for k in ("T1", "T2")))
    rows, faults, _ = read(data, *columns, dialect=Dialect(header_line=2, unit_line=3, data_from=5))
    assert faults == []
    assert len(rows) == 1
    assert rows.number["T1"][0] == 20.0
    assert rows.number["T2"][0] == pytest.approx(20.0, abs=1e-12)


def test_number_signs_in_names_are_no_remarks() -> None:
    rows, faults, _ = read("id;N;x\nM#4;10;1.25\nM5;11;1.30\n", text("id"), number("x"), dialect=Dialect(";"))
    assert faults == []
    assert rows.text["id"] == ["M#4", "M5"]


def test_declared_remark_lines() -> None:
    rows, faults, _ = read("id,x\n# warm-up\nA,1\n#B,2\nC,3\n", text("id"), number("x"), dialect=Dialect(comment="#"))
    assert faults == []
    assert rows.text["id"] == ["A", "C"]
    assert list(rows.lines) == [3, 5]


def test_fixed_widths_with_numbers_that_touch() -> None:
    head = "name         x         y         z"
    data = f"{head}\nP1      12.345-10234.567     1.200\n"
    form = Dialect("fixed", widths=(4, 10, 10, 10))
    rows, faults, _ = read(data, text("name"), *map(number, "xyz"), dialect=form)
    assert faults == []
    assert [mm(rows, k)[0] for k in "xyz"] == [12.345, -10234.567, 1.2]


@pytest.mark.parametrize("head", ["id,x,y", "id,x,y,"])
def test_trailing_delimiters_shift_nothing(head: str) -> None:
    rows, faults, _ = read(f"{head}\nA,1,2,\nB,3,4,\n", text("id"), number("x"), number("y"))
    assert faults == []
    assert rows.text["id"] == ["A", "B"]
    assert (mm(rows, "x"), mm(rows, "y")) == ([1.0, 3.0], [2.0, 4.0])


def test_remarks_and_totals_are_named_and_not_used() -> None:
    rows, faults, notes = read("id,x\nA,1\ntarget moved, repeat\nB,2\nsum,3\n", text("id"), number("x"))
    assert faults == []
    assert rows.text["id"] == ["A", "B"]
    assert sorted(n.line or 0 for n in notes) == [3, 5]


def test_remark_of_one_cell() -> None:
    rows, faults, notes = read("id,x,y\nA,1,2\nwarm again at 9:30\nB,2,3\n", text("id"), number("x"), number("y"))
    assert faults == []
    assert rows.text["id"] == ["A", "B"]
    assert [n.line for n in notes] == [3]


def test_rows_too_long_and_too_short() -> None:
    _, faults, _ = read("id,x,y\nA,1,2\nB,3,4,5\nC,6\n", text("id"), number("x"), number("y"))
    assert [(f.line, f.given) for f in faults] == [(3, "4 cells"), (4, "2 cells")]


def test_the_same_column_name_twice() -> None:
    _, faults, _ = read("id,x,x\nA,1,2\n", text("id"), number("x"))
    assert [(f.line, f.given) for f in faults] == [(1, "2 columns named 'x'")]


def test_table_without_header_line() -> None:
    form = Dialect(header_line=0)
    rows, faults, notes = read("A,1,2\nB,3,4\n", text("id", "1"), number("x", "3"), dialect=form)
    assert faults == []
    assert (rows.text["id"], mm(rows, "x"), list(rows.lines)) == (["A", "B"], [2.0, 4.0], [1, 2])
    assert [n.column for n in notes] == ["2"]


# -- names -------------------------------------------------------------------------------------------


def test_names_that_spell_missing_words_or_numbers_stay_names() -> None:
    names = ["NA", "NB", "None", "inf", "nan", "null", "1E5", "100000", "1e05", "007", "3-1-2", "TRUE"]
    data = "p,x\n" + "".join(f"{n},{i}\n" for i, n in enumerate(names))
    rows, faults, _ = read(data, text("p"), number("x"))
    assert faults == []
    assert rows.text["p"] == names


def test_names_are_compared_in_one_unicode_form() -> None:
    rows, _, _ = read("p,x\nA\u0308,1\n\u00c4,2\n", text("p"), number("x"))
    assert rows.text["p"] == ["\u00c4", "\u00c4"]


def test_a_row_without_a_name_is_refused() -> None:
    _, faults, _ = read("p,x\n,1\n", text("p"), number("x"))
    assert [(f.line, f.column, f.expected) for f in faults] == [(2, "p", "a name")]


# -- markers and status ------------------------------------------------------------------------------


def test_declared_markers_and_a_bad_status_never_enter() -> None:
    data = "s,T,st\na,20.1,0\nb,-999,0\nc,20.3,0\nd,9.99999999e+37,0\ne,0.0,-1\nf,0.0,0\n"
    columns = (
        text("s"),
        number("T", "T", "degC", lacking="drop row", markers=(-999.0, 9.99999999e37)),
        text("status", "st"),
    )
    faults, notes = Gatherer(FILE), list[Fault]()
    form = Form("points", Dialect(), columns, good_status=frozenset({"0"}))
    rows = read_rows(data.encode(), FILE, form, faults, notes)
    assert rows is not None
    assert faults.faults == []
    assert rows.text["s"] == ["a", "c", "f"]
    assert rows.number["T"].tolist() == [20.1, 20.3, 0.0]
    assert [n.line for n in notes] == [3, 5, 6]


def test_sign_of_a_column_that_counts_the_other_way() -> None:
    column = Column("x", Meaning("number", "length"), ("x",), unit("mm"), sign=-1.0)
    rows, _, _ = read("p,x\nA,2\n", text("p"), column)
    assert mm(rows, "x") == [-2.0]


def test_degrees_minutes_seconds_keep_the_sign_of_a_zero() -> None:
    column = Column("v", Meaning("number", "angle"), ("v",), unit("deg"), notation="degrees minutes seconds")
    rows, faults, _ = read("p,v\nA,-0 12 30\nB,-0 00 36.5\nC,12 30 00\n", text("p"), column)
    assert faults == []
    assert [round(math.degrees(v), 9) for v in rows.number["v"]] == [-0.208333333, -0.010138889, 12.5]
    _, faults, _ = read("p,v\nA,359 59 60\n", text("p"), column)
    assert [f.line for f in faults] == [2]


# -- times -------------------------------------------------------------------------------------------


def times(notation: str, *cells: str) -> tuple[list[float], list[Fault]]:
    column = Column("t", Meaning("time"), ("t",), notation=notation)
    rows, faults, _ = read("p;t\n" + "".join(f"A;{c}\n" for c in cells), text("p"), column, dialect=Dialect(";"))
    return (rows.number["t"] - rows.number["t"][0]).tolist() if not faults else [], faults


def test_dotted_dates_are_read_day_first_as_declared() -> None:
    since, faults = times("DD.MM.YYYY hh:mm", "08.03.2026 07:15", "02.06.2026 13:40", "19.09.2026 21:05")
    assert faults == []
    day = 86400.0
    # 8 March to 2 June are 86 days, to 19 September 195
    assert since == [0.0, 86 * day + 6 * 3600 + 25 * 60, 195 * day + 13 * 3600 + 50 * 60]


def test_midnight_at_the_end_of_a_day() -> None:
    since, faults = times("YYYY-MM-DD hh:mm", "2026-03-01 23:59", "2026-03-01 24:00", "2026-03-02 00:01")
    assert faults == []
    assert since == [0.0, 60.0, 120.0]
    for cell in ("2026-03-01 24:30", "2026-02-30 10:00", "2026-03-01 10:60"):
        assert [f.line for f in times("YYYY-MM-DD hh:mm", cell)[1]] == [2]
    assert [f.line for f in times("YYYY-MM-DD hh:mm:ss", "2026-03-01 24:00:00", "2026-03-01 24:00:30")[1]] == [3]


def test_fractions_of_seconds() -> None:
    since, faults = times(
        "YYYY-MM-DD hh:mm:ss", "2026-03-01 10:00:00", "2026-03-01 10:00:00.5234", "2026-03-01 10:00:09,25"
    )
    assert faults == []
    # the scale counts from long ago: a microsecond is what its floating point holds
    assert since == pytest.approx([0.0, 0.5234, 9.25], abs=1e-5)
