"""Text containers: encodings, marks, line ends, delimiters and quotes, read for what they are or refused with the line."""

from __future__ import annotations

import pytest

from monochord.files.table import Dialect
from tests.table_world import number, read, text

SEMI = Dialect(";")
TEXT = "p;x\nTr\u00e4ger;1.5\nB;2\n"


# -- encodings -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("mark", [b"\xef\xbb\xbf", b""])
def test_a_byte_order_mark_is_no_part_of_the_first_name(mark: bytes) -> None:
    found = read(mark + b"point,x\nA,1\n", text("point"), number("x"))
    assert found.texts("point") == ["A"]
    assert found.told.read == ("point", "x")


def test_a_mark_in_the_middle_of_joined_files_is_taken_out_and_told() -> None:
    part = b"\xef\xbb\xbfpoint,x\r\nA,1\r\n"
    found = read(part + part.replace(b"A,1", b"B,2"), text("point"), number("x"))
    assert found.texts("point") == ["A", "B"]
    assert (found.told.heads, found.told.data) == (2, 2)
    assert {n.line for n in found.notes} == {3}
    inside = read(b"point,x\n\xef\xbb\xbfB,2\n", text("point"), number("x"))
    assert inside.texts("point") == ["B"]
    assert "byte-order mark" in inside.printed


@pytest.mark.parametrize(
    ("codec", "mark"),
    [
        ("utf-16-le", b"\xff\xfe"),
        ("utf-16-le", b""),
        ("utf-16-be", b"\xfe\xff"),
        ("utf-16-be", b""),
        ("utf-32-le", b"\xff\xfe\x00\x00"),
        ("utf-32-le", b""),
        ("utf-32-be", b"\x00\x00\xfe\xff"),
        ("utf-32-be", b""),
    ],
)
@pytest.mark.parametrize("streamed", [False, True])
def test_wide_encodings_with_and_without_their_mark(codec: str, mark: bytes, *, streamed: bool) -> None:
    found = read(mark + TEXT.encode(codec), text("p"), number("x"), dialect=SEMI, streamed=streamed)
    assert (found.texts("p"), found.mm("x")) == (["Tr\u00e4ger", "B"], [1.5, 2.0])
    assert found.told.encoding == codec
    assert codec in found.printed
    assert "\0" not in found.printed


def test_a_wide_encoding_that_was_declared_for_a_plain_file() -> None:
    found = read(b"p;x\nA;1\n", text("p"), number("x"), dialect=Dialect(";", encoding="utf-16"))
    assert found.texts("p") == ["A"]
    assert "utf-8" in found.printed


def test_a_wide_file_that_is_cut_inside_a_sign() -> None:
    found = read(b"\xff\xfe" + TEXT.encode("utf-16-le")[:-3], text("p"), number("x"), dialect=SEMI)
    assert "cut off" in found.printed
    assert found.rows is None


@pytest.mark.parametrize("page", ["cp1252", "cp1250", "latin-1", "cp437", "cp850", "mac_roman"])
def test_code_pages_when_declared(page: str) -> None:
    found = read(TEXT.encode(page), text("p"), number("x"), dialect=Dialect(";", encoding=page))
    assert found.texts("p") == ["Tr\u00e4ger", "B"]
    assert found.told.encoding.replace("-", "").replace("_", "") in (
        page.replace("-", "").replace("_", ""),
        "iso88591",
        "macroman",
    )


def test_a_code_page_that_nobody_declared_is_shown_as_it_would_read() -> None:
    found = read(TEXT.encode("cp1252"), text("p"), number("x"), dialect=SEMI)
    found.refused(2, "", "byte 0xe4", "utf-8", "'cp1252' reads 'Tr\u00e4ger'", "'cp437'")


def test_text_that_is_strictly_utf8_is_not_read_by_a_declared_code_page() -> None:
    found = read(TEXT.encode(), text("p"), number("x"), dialect=Dialect(";", encoding="cp1252"))
    assert found.texts("p") == ["Tr\u00e4ger", "B"]
    assert "text in utf-8" in found.printed


def test_an_encoding_that_does_not_exist() -> None:
    found = read(b"p;x\nA;1\n", text("p"), number("x"), dialect=Dialect(";", encoding="utf-9"))
    assert "'utf-9'" in found.printed
    assert read(b"p;x\n", text("p"), dialect=Dialect(";", encoding="hex")).rows is None


# -- text decoded wrongly once -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "broken", ["T [\u00c2\u00b0C]", "T [\u252c\u2591C]", "T [\u00ac\u221eC]", "T [\u00c3\u201a\u00c2\u00b0C]"]
)
def test_a_unit_in_the_head_is_repaired_with_a_note(broken: str) -> None:
    found = read(f"p;{broken}\nA;20.5\n", text("p"), number("t", "T [\u00b0C]", "degC"), dialect=SEMI)
    assert found.numbers("t") == [20.5]
    assert "decoded wrongly once" in found.printed
    assert any("\u00b0C" in c for c in found.told.conversions)


def test_names_and_minus_signs_decoded_wrongly_once() -> None:
    data = "p;x\nTr\u00c3\u00a4ger;\u00e2\u02c6\u20190.5\nB;1\n"
    found = read(data, text("p"), number("x"), dialect=SEMI)
    assert (found.texts("p"), found.mm("x")) == (["Tr\u00e4ger", "B"], [-0.5, 1.0])
    assert "'Tr\u00c3\u00a4ger'" in found.printed
    assert "line 2" in found.printed


def test_letters_that_only_look_broken_stay() -> None:
    names = ["S\u00c3O", "\u00c2GE", "\u00ceLE", "CAF\u00c9\u2013BAR", "Stra\u00dfe", "5 \u00c5"]
    found = read("p;x\n" + "".join(f"{n};1\n" for n in names), text("p"), number("x"), dialect=SEMI)
    assert found.texts("p") == names
    assert "decoded wrongly" not in found.printed


def test_a_replacement_sign_is_a_finding() -> None:
    found = read("p;x\nA;1\nTr\ufffdger;2\n", text("p"), number("x"), dialect=SEMI)
    assert "U+FFFD" in found.printed
    assert [n.line for n in found.notes] == [3]


# -- signs that are no text ---------------------------------------------------------------------------------


def test_zero_bytes_are_refused_with_their_line() -> None:
    read(b"p;x\nA;1\nB;2\0\0\nC;3\n", text("p"), number("x"), dialect=SEMI).refused(3, "", "zero byte")


def test_a_tail_of_zero_bytes_is_a_file_that_was_not_written_to_its_end() -> None:
    found = read(b"p;x\nA;1\nB;2\n" + b"\0" * 600, text("p"), number("x"), dialect=SEMI)
    found.refused(4, "", "zero bytes to the end", "never written to its end")
    assert "nothing but zero bytes" in read(b"\0" * 4096, text("p"), dialect=SEMI).printed


@pytest.mark.parametrize("tail", [b"\x1a", b"\x1a\x1a\x00\x00", b"\x1a\r\n"])
def test_an_end_of_file_mark_of_old_systems(tail: bytes) -> None:
    found = read(b"p;x\r\nA;1\r\n" + tail, text("p"), number("x"), dialect=SEMI)
    assert found.texts("p") == ["A"]
    assert "control-Z" in found.printed
    behind = read(b"p;x\nA;1\n\x1ap;x\nB;2\n", text("p"), number("x"), dialect=SEMI)
    behind.refused(3, "", "text after an end-of-file mark")


def test_a_page_break_at_the_begin_of_a_line() -> None:
    found = read("p;x\nA;1\n\fB;2\n", text("p"), number("x"), dialect=SEMI)
    assert found.texts("p") == ["A", "B"]
    assert "page break" in found.printed


@pytest.mark.parametrize("sign", ["\x07", "\x1b", "\x0b", "\x85", "\u2028", "\x7f"])
def test_a_control_character_inside_a_row_is_refused(sign: str) -> None:
    found = read(f"p;x\nA;1{sign}\nB;2\n", text("p"), number("x"), dialect=SEMI)
    found.refused(2, "", f"U+{ord(sign):04X}")


@pytest.mark.parametrize("end", ["\x0b", "\x1e", "\x85", "\u2028", "\u2029"])
def test_unusual_signs_that_end_every_line(end: str) -> None:
    found = read(end.join(["p;x", "A;1", "B;2", ""]), text("p"), number("x"), dialect=SEMI)
    assert found.texts("p") == ["A", "B"]
    assert "taken as line ends" in found.printed


# -- line ends ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\r\r\n"])
@pytest.mark.parametrize("streamed", [False, True])
def test_line_ends_keep_the_numbers_of_lines(end: str, *, streamed: bool) -> None:
    found = read(end.join(["p;x", "A;1", "B;?!", ""]), text("p"), number("x"), dialect=SEMI, streamed=streamed)
    found.refused(3, "x", "?!")


def test_mixed_line_ends_are_told() -> None:
    found = read("p;x\r\nA;1\rB;2\nC;3\r\n", text("p"), number("x"), dialect=SEMI)
    assert found.texts("p") == ["A", "B", "C"]
    assert found.rows is not None
    assert list(found.rows.lines) == [2, 3, 4]
    assert "lone carriage return" in found.printed


# -- delimiters and quotes --------------------------------------------------------------------------------


def test_commas_inside_cells_of_a_semicolon_file() -> None:
    data = "id;note;dx\n1;['a', 'b'];0,12\n2;['c', 'd'];0,15\n"
    found = read(data, text("id"), text("note"), number("dx"), dialect=Dialect(";", ","))
    assert found.mm("dx") == [0.12, 0.15]
    assert found.told.delimiter == ";"
    assert "delimiter ';'" in found.printed


@pytest.mark.parametrize(("declared", "used"), [(",", ";"), (";", ","), (",", "\t"), (";", "|")])
def test_another_delimiter_than_declared_is_named(declared: str, used: str) -> None:
    found = read(f"id{used}x\nA{used}1\n", text("id"), number("x"), dialect=Dialect(declared))
    found.refused(1, "", repr(used))


def test_decimal_commas_in_a_table_separated_by_commas() -> None:
    found = read("id,x,y\nA,1,5,2,5\n", text("id"), number("x"), number("y"))
    found.refused(2, "", "5 cells", "decimal commas")


def test_the_first_line_by_which_spreadsheets_tell_the_delimiter() -> None:
    found = read("sep=;\nid;x\nA;1\n", text("id"), number("x"), dialect=SEMI)
    assert (found.texts("id"), found.told.heads) == (["A"], 2)


def test_quotes_with_delimiters_line_ends_and_doubled_quotes() -> None:
    data = 'id,note,x\nA,"one, two",1\nB,"over\ntwo lines",2\nC,"6"" pipe",3\nD,5" nest,4\n'
    found = read(data, text("id"), text("note"), number("x"))
    assert found.mm("x") == [1.0, 2.0, 3.0, 4.0]
    assert found.texts("note") == ["one, two", "over\ntwo lines", '6" pipe', '5" nest']
    assert found.rows is not None
    assert list(found.rows.lines) == [2, 3, 5, 6]
    assert found.told.rows == 5


def test_a_quoted_column_name_over_two_lines() -> None:
    found = read('id,"x\n(mm)"\nA,1\n', text("id"), number("x", "x (mm)"))
    assert found.mm("x") == [1.0]


@pytest.mark.parametrize(
    ("data", "line", "words"),
    [
        ('id,x\nA,1\n"B,2\nC,3\n', 3, "never closed"),
        ('id,x\nA,1\n"B"x,2\nC,3\n', 3, "misplaced quote"),
    ],
)
def test_quotes_that_do_not_close(data: str, line: int, words: str) -> None:
    found = read(data, text("id"), number("x"))
    assert (found.faults[0].line, words in str(found.faults[0])) == (line, True), found.printed


@pytest.mark.parametrize("streamed", [False, True])
def test_a_quoted_cell_across_the_parts_of_a_long_file(monkeypatch: pytest.MonkeyPatch, *, streamed: bool) -> None:
    monkeypatch.setattr("monochord.files.cutting.PART", 16)
    data = 'id,note,x\nA,"one two three four\nfive six seven",1\nB,"p",2\n'
    found = read(data, text("id"), text("note"), number("x"), streamed=streamed)
    assert (found.mm("x"), found.texts("id")) == ([1.0, 2.0], ["A", "B"])
    assert found.rows is not None
    assert list(found.rows.lines) == [2, 4]


def test_quoted_names_with_blanks_between_blanks() -> None:
    found = read('p  x\n"wall 3"  1.5\nB\t2\n', text("p"), number("x"), dialect=Dialect("spaces"))
    assert (found.texts("p"), found.mm("x")) == (["wall 3", "B"], [1.5, 2.0])
