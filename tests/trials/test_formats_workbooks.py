"""Workbooks as people keep them: dates made of names, formulas nobody computed, hidden rows, two date origins."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable
from datetime import datetime

import openpyxl
import pytest
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from monochord.files.columns import Column, Form, Rows
from monochord.files.formats.asked import Kept
from monochord.files.reading import read_rows
from monochord.files.roles import Meaning
from monochord.files.table import Dialect
from monochord.ground.faults import Fault, Gatherer
from monochord.ground.units import unit

FILE = "points.xlsx"
NAME = Column("name", Meaning("text"), ("p",))
TIME = Column("time", Meaning("time"), ("t",), notation="DD.MM.YYYY hh:mm:ss")


def number(key: str, lacking: str = "refuse") -> Column:
    return Column(key, Meaning("number", "length", True, lacking), (key,), unit("mm"))


def book(
    *rows: list[object], change: Callable[[openpyxl.Workbook], None] | None = None, title: str = "Points"
) -> bytes:
    made = openpyxl.Workbook()
    made.active.title = title
    for row in rows:
        made.active.append(row)
    if change is not None:
        change(made)
    stream = io.BytesIO()
    made.save(stream)
    return stream.getvalue()


def read(
    data: bytes, *columns: Column, sheet: str = "", dialect: Dialect | None = None
) -> tuple[Rows | None, list[Fault], list[Fault]]:
    faults, notes = Gatherer(FILE), list[Fault]()
    form = Form("points", dialect or Dialect(), columns, kept=Kept("xlsx", sheet))
    return read_rows(data, FILE, form, faults, notes), faults.faults, notes


def edited(data: bytes, part: str, change: Callable[[str], str]) -> bytes:
    """The workbook with one of its parts changed."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            text = old.read(name)
            new.writestr(name, change(text.decode("utf-8")) if name == part else text)
    return stream.getvalue()


SHEET = "xl/worksheets/sheet1.xml"


# -- names ------------------------------------------------------------------------------------------


def test_names_that_a_spreadsheet_made_into_dates_are_refused_by_their_cell() -> None:
    _, faults, _ = read(book(["p", "x"], [datetime(2002, 3, 1), 1.0], [datetime(2003, 3, 1), 2.0]), NAME, number("x"))
    assert [(f.line, f.column) for f in faults] == [(2, "p (sheet Points, cell A2)"), (3, "p (sheet Points, cell A3)")]
    assert faults[0].given == "the date 2002-03-01 00:00:00"
    assert faults[0].expected == "a name"


def test_names_are_text_to_the_letter() -> None:
    spelled = ["007", "1E5", "NA", "3-1-2", "TRUE", "M#4", "None", "inf"]
    rows, faults, _ = read(book(["p", "x"], *([n, 1.0] for n in spelled)), NAME, number("x"))
    assert faults == []
    assert rows is not None
    assert rows.text["name"] == spelled


def test_a_name_kept_as_a_number_is_told_and_shown_as_the_sheet_shows_it() -> None:
    def zeros(made: openpyxl.Workbook) -> None:
        made.active["A2"].number_format = "000"

    rows, faults, notes = read(book(["p", "x"], [7, 1.0], [12, 2.0], change=zeros), NAME, number("x"))
    assert faults == []
    assert rows is not None
    assert rows.text["name"] == ["007", "12"]
    [note] = [n for n in notes if "names that are numbers" in n.given]
    assert "2 names" in note.given
    assert "(A2, A3)" in note.given


# -- numbers ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("word", ["#N/A", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!"])
def test_error_cells_are_no_number_and_say_where(word: str) -> None:
    def failed(made: openpyxl.Workbook) -> None:
        made.active["B3"] = word
        made.active["B3"].data_type = "e"

    data = book(["p", "x"], ["A", 1.0], ["B", 2.0], change=failed)
    rows, faults, notes = read(data, NAME, number("x", "unknown"))
    assert faults == []
    assert rows is not None
    assert rows.known_all("x") == [0.001, None]
    assert any(word in n.given and "B3" in n.given for n in notes)
    _, faults, _ = read(data, NAME, number("x"))
    assert [(f.line, f.column) for f in faults] == [(3, "x (sheet Points, cell B3)")]


def test_an_error_where_a_name_should_be_is_refused() -> None:
    def failed(made: openpyxl.Workbook) -> None:
        made.active["A2"] = "#N/A"
        made.active["A2"].data_type = "e"

    _, faults, _ = read(book(["p", "x"], ["A", 1.0], change=failed), NAME, number("x"))
    assert [(f.given, f.column) for f in faults] == [("#N/A", "p (sheet Points, cell A2)")]


def test_a_formula_without_a_saved_value_is_refused_by_its_cell() -> None:
    _, faults, _ = read(book(["p", "x"], ["A", "=1+1"]), NAME, number("x"))
    assert [(f.given, f.column) for f in faults] == [
        ("a formula whose value was not saved", "x (sheet Points, cell B2)")
    ]


def test_a_formula_with_its_saved_value_is_that_value_and_is_told() -> None:
    data = edited(book(["p", "x"], ["A", "=1+1"]), SHEET, lambda s: re.sub(r"<v\s*/>|<v></v>", "<v>2</v>", s))
    rows, faults, notes = read(data, NAME, number("x"))
    assert faults == []
    assert rows is not None
    assert rows.known_all("x") == [0.002]
    assert [n.given for n in notes if "formula" in n.given] == ["1 formulas in sheet 'Points'"]


def test_numbers_kept_as_text_are_read_by_the_declared_spelling_and_told() -> None:
    comma = Dialect(decimal=",")
    rows, faults, notes = read(book(["p", "x"], ["A", "1,5"], ["B", 2.5]), NAME, number("x"), dialect=comma)
    assert faults == []
    assert rows is not None
    assert rows.known_all("x") == [0.0015, 0.0025]
    assert any("numbers stored as text (B2)" in n.given for n in notes)
    _, faults, _ = read(book(["p", "x"], ["A", "1.5"]), NAME, number("x"), dialect=comma)
    assert [f.line for f in faults] == [2]


def test_a_date_where_a_number_should_be_is_refused() -> None:
    # 1.3 typed into a cell that takes it for a day of March
    _, faults, _ = read(book(["p", "x"], ["A", datetime(2026, 3, 1)]), NAME, number("x"))
    assert [(f.expected, f.line) for f in faults] == [("a number", 2)]


def test_percent_is_told() -> None:
    def percent(made: openpyxl.Workbook) -> None:
        made.active["B2"].number_format = "0.0%"

    _, _, notes = read(book(["p", "x"], ["A", 0.12], change=percent), NAME, number("x"))
    assert any("shown as percent" in n.given and "B2" in n.given for n in notes)


# -- dates ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("origin", "told", "expected"),
    [(None, "1900", "02.03.2026 12:00:00"), (CALENDAR_MAC_1904, "1904", "03.03.2030 12:00:00")],
)
@pytest.mark.parametrize("shape", ["General", "yyyy-mm-dd hh:mm"])
def test_day_numbers_count_from_the_origin_of_the_workbook(
    origin: datetime | None, told: str, expected: str, shape: str
) -> None:
    def counted(made: openpyxl.Workbook) -> None:
        if origin is not None:
            made.epoch = origin
        made.active["B2"].number_format = shape

    rows, faults, notes = read(book(["p", "t"], ["A", 46083.5], change=counted), NAME, TIME)
    text, _, _ = read(book(["p", "t"], ["A", expected]), NAME, TIME)
    assert faults == []
    assert rows is not None
    assert text is not None
    assert rows.number["time"].tolist() == text.number["time"].tolist()
    assert any(told in n.given and "B2" in n.given for n in notes)


def test_a_time_whose_seconds_the_notation_would_lose_is_refused() -> None:
    minutes = Column("time", Meaning("time"), ("t",), notation="DD.MM.YYYY hh:mm")
    _, faults, _ = read(book(["p", "t"], ["A", datetime(2026, 3, 2, 7, 15, 30)]), NAME, minutes)
    assert [f.line for f in faults] == [2]


# -- shape ------------------------------------------------------------------------------------------


def test_several_sheets_and_none_named_asks_with_the_names() -> None:
    data = book(["p", "x"], ["A", 1.0], change=lambda made: made.create_sheet("older"))
    rows, faults, _ = read(data, NAME, number("x"))
    assert rows is None
    assert [f.given for f in faults] == ["2 sheets (Points, older)"]
    assert "sheet =" in faults[0].remedy
    rows, faults, _ = read(data, NAME, number("x"), sheet="Points")
    assert faults == []
    assert rows is not None
    _, faults, _ = read(data, NAME, number("x"), sheet="Point")
    assert "did you mean" in faults[0].remedy


def test_hidden_and_merged_things_are_told() -> None:
    def hide(made: openpyxl.Workbook) -> None:
        made.active.row_dimensions[3].hidden = True
        made.active.column_dimensions["B"].hidden = True
        made.active.merge_cells("C2:C3")

    rows, faults, notes = read(book(["p", "x", "remark"], ["A", 1.0, "r"], ["B", 2.0], change=hide), NAME, number("x"))
    assert faults == []
    assert rows is not None
    assert rows.text["name"] == ["A", "B"]
    told = " ".join(n.given for n in notes)
    assert "1 hidden rows (3)" in told
    assert "hidden columns B (x)" in told
    assert "merged cells C2:C3" in told


def test_heads_units_and_rows_are_where_the_dialect_says() -> None:
    column = Column("x", Meaning("number", "length"), ("x",), unit_line=True)
    data = book(["invented"], [], ["p", "x"], ["", "mm"], ["A", 1.5], [], ["B", 2.5])
    rows, faults, _ = read(data, NAME, column, dialect=Dialect(header_line=3, unit_line=4))
    assert faults == []
    assert rows is not None
    assert (rows.known_all("x"), list(rows.lines)) == ([0.0015, 0.0025], [5, 7])


def test_a_value_beside_the_table_is_not_lost() -> None:
    _, faults, _ = read(book(["p", "x"], ["A", 1.0, "moved twice"]), NAME, number("x"))
    assert [(f.given, f.column) for f in faults] == [("'moved twice' beside the table", "C (sheet Points, cell C2)")]


def test_faults_of_a_bad_cell_name_sheet_and_cell() -> None:
    _, faults, _ = read(book(["p", "x"], ["A", 1.0], ["B", "12,x4"]), NAME, number("x"))
    assert str(faults[0]).startswith("points.xlsx, line 3, column x (sheet Points, cell B3): given '12,x4'")


# -- what a package may hide -------------------------------------------------------------------------


def test_macros_and_links_are_told_and_left_alone() -> None:
    stream = io.BytesIO(book(["p", "x"], ["A", 1.0]))
    with zipfile.ZipFile(stream, "a") as archive:
        archive.writestr("xl/vbaProject.bin", b"\0" * 10)
        archive.writestr("xl/externalLinks/externalLink1.xml", b"<externalLink/>")
    rows, faults, notes = read(stream.getvalue(), NAME, number("x"))
    assert faults == []
    assert rows is not None
    assert {n.given for n in notes} >= {"macros, which are not run", "links to other files, which are not followed"}


@pytest.mark.parametrize(
    ("data", "given"),
    [
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "an old spreadsheet, or one behind a password"),
        (b"p;x\nA;1\n", "a file that begins with"),
        (b"", "an empty file"),
        (book(["p", "x"], ["A", 1.0])[:2000], "an incomplete file of 2000 bytes"),
    ],
)
def test_what_is_no_workbook_is_refused_by_what_it_is(data: bytes, given: str) -> None:
    rows, faults, _ = read(data, NAME, number("x"))
    assert rows is None
    assert [f.file for f in faults] == [FILE]
    assert faults[0].given.startswith(given)


def bomb(entries: dict[str, bytes]) -> bytes:
    stream = io.BytesIO(book(["p", "x"], ["A", 1.0]))
    with zipfile.ZipFile(stream, "a", zipfile.ZIP_DEFLATED) as archive:
        for name, content in entries.items():
            archive.writestr(name, content)
    return stream.getvalue()


@pytest.mark.parametrize(
    ("data", "given"),
    [
        (bomb({"xl/media/a.bin": bytes(50_000_000)}), "entry 'xl/media/a.bin' unpacks to"),
        (bomb({f"xl/media/{i}": b"" for i in range(4100)}), "entries in the archive"),
    ],
)
def test_archives_that_swell_are_refused_before_anything_is_unpacked(data: bytes, given: str) -> None:
    rows, faults, _ = read(data, NAME, number("x"))
    assert rows is None
    assert len(faults) == 1
    assert given in faults[0].given


def test_entities_that_multiply_end_in_a_refusal() -> None:
    lol = "".join(f'<!ENTITY e{i} "{f"&e{i - 1};" * 10}">' for i in range(1, 12))
    data = edited(
        book(["p", "x"], ["A", 1.0]),
        SHEET,
        lambda s: re.sub(r"(<\?xml.*?\?>)?", r'\1<!DOCTYPE w [<!ENTITY e0 "ha">' + lol + "]>", s, count=1).replace(
            "<sheetData>", "<sheetData><row r='9'><c r='A9' t='str'><v>&e11;</v></c></row>", 1
        ),
    )
    rows, faults, _ = read(data, NAME, number("x"))
    assert rows is None
    assert [f.file for f in faults] == [FILE]
