"""Inputs that fuzzing found, each as small as it could be made, and what is right for them."""

from __future__ import annotations

import pytest

from monochord.files.bulk import bulk_columns
from monochord.files.table import Dialect
from tests.table_world import number, read, text

SEMICOLON = Dialect(";")


@pytest.mark.parametrize(
    "end", ["p;x;note", "p;x;note\nA;1;\n# warm agai", 'p;x;note\nA;1;"two\nlines"', "p;x;note\nA;1;\n;"]
)
def test_a_last_line_without_an_end_is_told_whatever_it_is(end: str) -> None:
    reading = read(end, text("p"), number("x"), dialect=Dialect(";", comment="#"))
    told = [fault.line for fault in [*reading.faults, *reading.notes] if "end of the last line" in fault.given]
    assert told == [end.count("\n") + 1], reading.printed


def test_a_table_without_rows_is_told() -> None:
    assert "no row of data" in read("p;x\n", text("p"), number("x"), dialect=SEMICOLON).printed


def test_rows_behind_a_quote_that_is_never_closed_are_counted() -> None:
    reading = read('p;x\n"A;1\nB;2\n\nC;3\n', text("p"), number("x"), dialect=SEMICOLON)
    assert reading.told.counts == "4 rows = 0 data + 1 head + 0 remarks + 3 refused"
    assert (reading.told.blank, reading.faults[0].line) == (1, 2)


@pytest.mark.parametrize(("data", "blank"), [("p;x\n", 0), ("p;x", 0), ("p;x\n\n", 1), ("p;x\nm;mm\n", 0)])
def test_a_table_shorter_than_its_head_has_no_further_blank_lines(data: str, blank: int) -> None:
    reading = read(data, text("p"), number("x"), dialect=Dialect(";", unit_line=2))
    assert reading.told.rows + blank == len(data.splitlines())
    assert reading.told.blank == blank


def test_names_in_a_line_that_is_not_there_are_a_fault() -> None:
    reading = read("p;x\n", text("p"), number("x"), dialect=Dialect(";", header_line=2))
    assert reading.rows is None
    assert "1 lines; expected column names in line 2" in reading.printed


@pytest.mark.parametrize("data", [b"\x00\x01", b"p;x\nA;1\x00\n"])
def test_text_declared_wide_without_a_mark_is_refused_by_its_line(data: bytes) -> None:
    reading = read(data, text("p"), number("x"), dialect=Dialect(";", encoding="utf-16"))
    assert reading.rows is None
    assert reading.faults[0].line == 1


@pytest.mark.parametrize("cell", [f"0.{'0' * 400}1", f"-.{'0' * 400}5", "4e-400"])
def test_a_number_too_small_for_floating_point_never_becomes_0(cell: str) -> None:
    reading = read(f"p;x\nA;{cell}\nB;0.000\n", text("p"), number("x", spelled="m"), dialect=SEMICOLON)
    reading.refused(2, "x", "floating point")
    assert read("p;x\nB;0.000\n", text("p"), number("x"), dialect=SEMICOLON).numbers("x") == [0.0]


@pytest.mark.parametrize("tail", ["x", "-", "e", " 1", "e5e", "*10"])
def test_a_cell_of_very_many_digits_is_refused_in_one_pass(tail: str) -> None:
    # 200 000 digits: a pass over them is milliseconds, a pass for every digit would be hours
    reading = read(f"p;x\nA;{'1' * 200_000}{tail}\n", text("p"), number("x"), dialect=SEMICOLON)
    reading.refused(2, "x")
    assert len(reading.printed) < 1000


def test_rows_below_a_head_without_names_are_left_to_the_careful_way() -> None:
    assert bulk_columns(b"1;2\n", ";", 0) is None
