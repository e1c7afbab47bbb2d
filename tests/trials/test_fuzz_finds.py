"""Inputs that fuzzing found, each as small as it could be made, and what is right for them."""

from __future__ import annotations

import io
import subprocess
import sys
import warnings
import zipfile
from pathlib import Path

import h5py
import numpy as np
import pytest

from monochord.files import cutting
from monochord.files.bulk import bulk_columns
from monochord.files.columns import Form
from monochord.files.formats.asked import Kept
from monochord.files.formats.numpy_arrays import header
from monochord.files.formats.wav import Wave, samples
from monochord.files.formats.zips import opened
from monochord.files.reading import read_rows
from monochord.files.table import Dialect
from monochord.ground.faults import Fault, Gatherer, Refused
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


def test_two_carriage_returns_before_a_newline_are_one_line_end_wherever_a_part_ends(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(cutting, "PART", 64)
    for blanks in range(80):
        data = b"p;x\r\r\n" + b"".join(b"P%d;%s1\r\r\n" % (i, b" " * (blanks + i)) for i in range(8))
        reading = read(data, text("p"), number("x"), dialect=SEMICOLON)
        assert reading.told.counts == "9 rows = 8 data + 1 head + 0 remarks + 0 refused"
        assert (reading.told.blank, len(reading.numbers("x"))) == (0, 8), blanks


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        (["P;1.25"] * 20 + ["Q;7.25"], "no end of the last line"),
        (["P;1.25"] * 20 + ["Q;7.2"], "the file seems cut off"),
        (["P;1.25"] * 20 + ["Q;"], "the file seems cut off"),
        (["P;"] * 2 + ["P;1.25"] * 20 + ["Q;"], "no end of the last line"),
    ],
)
def test_a_last_line_without_an_end_is_compared_with_rows_of_the_parts_before(
    rows: list[str], told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = "\n".join(["p;x", *rows]).encode()
    whole = read(data, text("p"), number("x", lacking="unknown"), dialect=SEMICOLON)
    monkeypatch.setattr(cutting, "PART", 64)
    parts = read(data, text("p"), number("x", lacking="unknown"), dialect=SEMICOLON)

    assert told in whole.printed
    assert (parts.faults, parts.told.counts) == (whole.faults, whole.told.counts)


def test_a_remark_with_a_quote_ends_where_its_line_ends() -> None:
    reading = read('p;x\n# "A;1\nB;2"\nC;3\n', text("p"), number("x"), dialect=Dialect(";", comment="#"))
    assert reading.told.counts == "4 rows = 1 data + 1 head + 1 remark + 1 refused"
    reading.refused(3, "x")


def test_a_mark_between_a_carriage_return_and_a_newline_keeps_two_line_ends_apart() -> None:
    reading = read(b"p;x\r\nA;1\r\xef\xbb\xbf\nB;2\r\n", text("p"), number("x"), dialect=SEMICOLON)
    assert (reading.mm("x"), reading.told.blank) == ([1.0, 2.0], 1)


def test_a_page_break_at_the_end_is_no_line_and_is_told() -> None:
    reading = read(b"p;x\nA;1\n\x0c", text("p"), number("x"), dialect=SEMICOLON)
    assert reading.told.counts == "2 rows = 1 data + 1 head + 0 remarks + 0 refused"
    assert reading.told.blank == 0
    assert "page break" in reading.printed


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\r\r\n"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_no_part_ends_inside_a_quoted_cell_whatever_quotes_stand_elsewhere(
    end: str, encoding: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    odd = ['# 5" above the floor', 'P;1;3" pipe']
    rows = [row for i in range(12) for row in (*odd, f'Q{i};2;"two\nlines; and a ""third"""')]
    lines = ['a "word', "p;x;note", *rows]
    data = "\n".join([*lines, ""]).replace("\n", end).encode(encoding)
    dialect = Dialect(";", comment="#", encoding=encoding, header_line=2)
    monkeypatch.setattr(cutting, "PART", 64)
    reading = read(data, text("p"), number("x"), dialect=dialect)

    assert reading.told.counts == "38 rows = 24 data + 2 heads + 12 remarks + 0 refused", reading.printed
    assert reading.mm("x") == [1.0, 2.0] * 12


@pytest.mark.parametrize("cell", ["1,234e5", "1,234D5", "1,234.0e+5", "+1,234d+05"])
def test_a_grouped_number_may_have_an_exponent(cell: str) -> None:
    reading = read(f"p;x\nA;{cell}\n", text("p"), number("x", spelled="m"), dialect=Dialect(";", grouping=","))
    assert reading.numbers("x") == [1.234e8]


def test_lines_of_objects_are_counted_with_remarks_and_blank_ones() -> None:
    faults, notes = Gatherer("a.jsonl"), list[Fault]()
    form = Form("points", Dialect(comment="#"), (text("p"), number("x")), kept=Kept("json lines"))
    data = b'{"p": "A", "x": 1}\n\n# by hand\n{}\n{"p": null}\n{"p": "B", "x": 2}\n\n'
    rows = read_rows(data, "a.jsonl", form, faults, notes)

    assert rows is not None
    assert rows.told is not None
    assert rows.told.counts == "3 rows = 2 data + 0 heads + 1 remark + 0 refused"
    assert rows.told.blank == 4


@pytest.mark.parametrize("name", ["numpy", "workbook"])
def test_an_archive_that_names_an_entry_twice_is_refused(name: str) -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library warns of what this test needs
        for _ in range(2):
            archive.writestr("xl/workbook.xml" if name == "workbook" else "a.npy", b"")
    with pytest.raises(Refused, match="two entries"):
        opened(stream.getvalue(), "a.npz", "an archive")


def test_a_head_of_an_old_writer_and_numbers_that_are_none_warn_nobody() -> None:
    # Warnings are errors in these tests; a program that prints one in its user's window says nothing useful.
    data = io.BytesIO()
    np.save(data, np.arange(6.0).reshape(3, 2))
    old = data.getvalue().replace(b"(3, 2), ", b"(3L, 2),")
    assert header(io.BytesIO(old), "a.npy")[0] == (3, 2)

    signalling = bytes.fromhex("0100a07f")
    assert np.isnan(samples(signalling, Wave(1000, 1, 3, 32, 0, 4))).all()


def test_a_child_below_a_limit_of_the_system_reads_all_the_same(tmp_path: Path) -> None:
    path = tmp_path / "a.h5"
    with h5py.File(path, "w") as file:
        file["x"] = np.arange(3.0)
    code = (
        "import resource, sys; resource.setrlimit(resource.RLIMIT_AS, (2 << 30, 2 << 30))\n"
        "from monochord.files.container_child import main; sys.exit(main(sys.argv[1:]))"
    )
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
