"""Number spelling: what people and instruments write for a number is read by the declaration, or refused by its cell."""

from __future__ import annotations

import math

import pytest

from monochord.files.table import Dialect
from tests.table_world import Reading, number, read, text

COMMA = Dialect(";", ",")
GROUPED = Dialect(";", ",", ".")


def one(cell: str, dialect: Dialect, lacking: str = "refuse") -> Reading:
    """A table with one plain cell and the cell in question below it."""
    mark = dialect.decimal
    plain = f"1{mark}25"
    return read(f"p;x\nA;{plain}\nB;{cell}\n", text("p"), number("x", lacking=lacking), dialect=dialect)


def test_decimal_comma_with_grouping_dot_and_both_stand_in_the_report() -> None:
    data = "p;x;y;z\nP01;1.299,990;-0,512;12.000,004\n"
    found = read(data, text("p"), *map(number, "xyz"), dialect=GROUPED)
    assert [found.mm(k)[0] for k in "xyz"] == [1299.990, -0.512, 12000.004]
    assert (found.told.decimal, found.told.grouping) == (",", ".")
    assert "x: 1 grouping marks '.'" in found.printed
    assert "decimal ',', grouping '.'" in found.printed


def test_a_grouping_dot_in_one_row_is_refused_there_and_the_declaration_that_fits_is_named() -> None:
    data = "p;b\nA;2,45\nB;31,8\nC;3.207,15\n"
    found = read(data, text("p"), number("b"), dialect=COMMA)
    found.refused(4, "b", "'3.207,15'", "decimal ',' and grouping '.'", "no grouping mark is declared")
    assert len(found.faults) == 1
    assert read(data, text("p"), number("b"), dialect=GROUPED).mm("b") == [2.45, 31.8, 3207.15]


def test_a_whole_column_of_another_spelling_is_told_once_and_counted() -> None:
    rows = "".join(f"P{i};{i},5\n" for i in range(500))
    found = read(f"p;x\n{rows}", text("p"), number("x"), dialect=Dialect(";"))
    found.refused(2, "x", "'0,5'", "decimal ','")
    assert len(found.faults) == 4
    assert "496 more" in str(found.faults[-1])


def test_a_column_that_reads_in_two_ways_is_asked_for() -> None:
    # 1.234 with a declared comma: a thousand and more, or one and a bit
    found = read("p;x\nA;1.234\nB;5.678\n", text("p"), number("x"), dialect=COMMA)
    found.refused(2, "x", "decimal '.'", "grouping '.'", "only the laboratory knows which")


@pytest.mark.parametrize("minus", ["\u2212", "\u2013", "\u2012", "\u2010", "\u2011", "\uff0d", "\ufe63"])
def test_typographic_minus_signs_are_minus_signs_and_told(minus: str) -> None:
    found = read(f"dx;dy\n{minus}0,037;0,041\n", number("dx"), number("dy"), dialect=COMMA)
    assert (found.mm("dx"), found.mm("dy")) == ([-0.037], [0.041])
    assert "dx: 1 typographic minus signs" in found.printed


@pytest.mark.parametrize("plus", ["\uff0b", "\ufe62"])
def test_typographic_plus_signs_are_plus_signs_and_told(plus: str) -> None:
    found = one(f"{plus}0.067", Dialect(";"))
    assert found.mm("x")[1] == 0.067
    assert "x: 1 typographic plus signs" in found.printed


@pytest.mark.parametrize("word", ["-1.#IND", "1.#QNAN", "1.#QNAN0", "-1.#IND00"])
def test_what_programs_print_for_no_number_is_missing_never_one(word: str) -> None:
    found = one(word, Dialect(";"), "unknown")
    assert math.isnan(found.mm("x")[1])
    assert [n.line for n in found.notes] == [3]
    one(word, Dialect(";")).refused(3, "x", repr(word))
    one("1.#INF", Dialect(";"), "unknown").refused(3, "x", "'1.#INF'")


def test_exponents_of_old_programs() -> None:
    found = read(
        "a b c\n 0.123456D-01  -2.5D+00  0.1000000-003\n",
        *(number(k, spelled="m") for k in "abc"),
        dialect=Dialect("spaces"),
    )
    assert [found.numbers(k)[0] for k in "abc"] == [0.0123456, -2.5, 0.0001]
    assert "exponents spelled with D or without letter" in found.printed


def test_dots_and_dangling_exponents_are_missing_never_zero() -> None:
    data = "p,dx\nA,0.012\nB,.\nC,+.\nD,0e\nE,-0.018\n"
    found = read(data, text("p"), number("dx", lacking="unknown"))
    known = [v for v in found.mm("dx") if not math.isnan(v)]
    assert known == [0.012, -0.018]
    assert sum(known) / len(known) == pytest.approx(-0.003)
    assert [n.line for n in found.notes] == [3, 4, 5]
    asked = read(data, text("p"), number("dx"))
    assert [f.line for f in asked.faults] == [3, 4, 5]


# -- groups ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("mark", ["'", "\u2019", "\u02bc", "\u2018", "`", "\u00b4"])
def test_apostrophes_group_when_declared(mark: str) -> None:
    assert one(f"12{mark}345.5", Dialect(";", ".", "'")).mm("x")[1] == 12345.5


@pytest.mark.parametrize(
    "space", [" ", "\u00a0", "\u202f", "\u2009", "\u2007", "\u205f", "\u200a", "\u2004", "\u2005", "\u2006", "\u3000"]
)
def test_blanks_of_any_width_group_when_declared(space: str) -> None:
    assert one(f"12{space}345,5", Dialect(";", ",", " ")).mm("x")[1] == 12345.5
    one(f"12{space}345,5", COMMA).refused(3, "x", "345,5")


def test_a_group_behind_a_zero_is_a_decimal_point_in_the_wrong_file() -> None:
    """0.512 where the dot groups: read as 512 it would be wrong by a thousand."""
    one("0.512", GROUPED).refused(3, "x", "'0.512'", "decimal ','")


@pytest.mark.parametrize(
    "cell", ["1.29,990", "12.00.004", "1234.567,0", ".123,4", "1..234,5", "1.234.5", "1,234.567,8"]
)
def test_groups_that_are_not_of_three_are_refused(cell: str) -> None:
    one(cell, GROUPED).refused(3, "x", repr(cell))


def test_groups_in_the_thousands_of_thousands() -> None:
    assert one("-1.234.567,5", GROUPED).mm("x")[1] == -1234567.5


# -- what only looks like a number ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("12.5-", "sign in front"),
        ("12.5+", "sign in front"),
        ("(12.5)", "parentheses"),
        ("1.2 mm", "without its unit"),
        ("1.2mm", "without its unit"),
        ("1.2\u00b0", "without its unit"),
        ("5 %", "without its unit"),
        ("0x1F", "hexadecimal"),
        ("1.2 E-3", "without blanks"),
        ("1.2E -3", "without blanks"),
        ("1.2\u00d710^-3", "such as 1.2e-3"),
        ("1.2*10^3", "such as 1.2e-3"),
        ("- 5.0", "close to its number"),
        ("12 345", "without blanks"),
        ("1_000", "without blanks or marks"),
        ("\u0661\u0662.\u0663", "digits 0 to 9"),
        ("\uff11\uff12", "digits 0 to 9"),
        ("\u00bd", "digits 0 to 9"),
        ("1.2.3", "decimal '.'"),
        ("1,5", "decimal '.'"),
        ("--3", "decimal '.'"),
        ("1e999", "floating point holds"),
        ("1e-999", "floating point holds"),
        ("O.5", "decimal '.'"),
        ("l2.5", "decimal '.'"),
        ("1.5e", "dangling"),
        ("~1.5", "no other stroke"),
        (">200", "a limit is none"),
        ("<0.5", "a limit is none"),
        ("\u2264 0,5", "a limit is none"),
        ("3243.9751(5)", "its uncertainty"),
        ("3243.9\u00b10.1", "its uncertainty"),
        ("3243.9 +/- 0.1", "its uncertainty"),
        ("\u00b12.5", "not both"),
        ("\u2014390", "a minus sign"),
        ("\u207b390", "a minus sign"),
        ("'12.5", "by which spreadsheets keep text"),
        ('"=""12.5"""', "by which spreadsheets keep text"),
        ("1/15", "not a fraction"),
        ("1 1/8", "not a fraction"),
        ("1.23?", "status"),
        ("1.2*", "status"),
        ("4849.9893 # bumped", "without a remark"),
        ("3.04\u00d710\u00b3", "such as 1.2e-3"),
        ("3040\u00b71877", "a point or a comma"),
        ("0x1.c4p+11", "hexadecimal"),
        ("12,34,567.8", "decimal '.'"),
        ("3.04k", "without its unit"),
        ("TRUE", "a number"),
        ("*****", "a number"),
        ("1.5\u200b", "invisible"),
        ("\u221e", "number"),
        ("12:30", "decimal '.'"),
    ],
)
def test_what_is_no_number_is_refused_with_its_cell_and_what_would_be_one(cell: str, words: str) -> None:
    found = one(cell, Dialect(";"))
    shown = cell[1:-1].replace('""', '"') if cell.startswith('"') else cell
    found.refused(3, "x", repr(shown), words)
    assert len(found.faults) == 1


@pytest.mark.parametrize(
    "cell", ["+1.5", " 1.5", "1.5 ", "\t1.5", "\u00a01.5", "1.50", "01.5", "1.5e0", "15E-1", "+.15e+1"]
)
def test_plain_spellings_of_one_number(cell: str) -> None:
    assert one(cell, Dialect(";")).mm("x")[1] == 1.5


@pytest.mark.parametrize("word", ["OL", "ERR", "overflow", "inf", "-inf", "n.m."])
def test_a_word_beside_a_name_is_refused_and_never_drops_the_row(word: str) -> None:
    found = one(word, Dialect(";"))
    found.refused(3, "x", word, "declare the word as missing")
    declared = Dialect(";", missing=Dialect().missing | {word.casefold()})
    assert one(word, declared, "unknown").texts("p") == ["A", "B"]


@pytest.mark.parametrize("word", ["", "-", "\u2014", "nan", "NaN", "N/A", "#N/A", "null", "none"])
def test_words_for_no_number_are_missing_where_a_number_may_lack(word: str) -> None:
    found = one(word, Dialect(";"), "unknown")
    assert math.isnan(found.mm("x")[1])
    assert one(word, Dialect(";")).faults[0].line == 3


def test_a_number_too_small_for_the_machine_never_becomes_zero() -> None:
    found = read("x,y\n1e-400,2\n", number("x"), number("y"))
    found.refused(2, "x", "1e-400")
    assert read("x,y\n0e-400,0.000\n", number("x"), number("y")).mm("x") == [0.0]


def test_two_spellings_in_one_file_are_refused_where_the_second_begins() -> None:
    rows = "".join(f"P{i};{i},5\n" for i in range(5))
    found = read(f"p;x\n{rows}Q;7.5\n", text("p"), number("x"), dialect=COMMA)
    found.refused(7, "x", "'7.5'")
    assert len(found.faults) == 1


def test_twenty_cells_are_named_and_the_rest_counted() -> None:
    rows = "".join(f"P{i};{'?!' if i % 2 else ''}{i}\n" for i in range(100))
    found = read(f"p;x\n{rows}", text("p"), number("x"), dialect=Dialect(";"))
    assert len(found.faults) == 21
    assert "29 more like it" in str(found.faults[-1])
    assert [f.line for f in found.faults[:3]] == [3, 5, 7]


def test_all_digits_survive() -> None:
    """Seventeen digits tell every number of the machine; the same number comes back, bit for bit."""
    data = "x,y\n0.1234567890123456789,12345678.123456789\n"
    found = read(data, number("x", spelled="m"), number("y", spelled="m"))
    assert found.numbers("x") == [0.1234567890123456789]
    assert found.numbers("y") == [12345678.123456789]
