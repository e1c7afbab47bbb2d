"""Spellings, containers and shapes of text through the command: same numbers in the record, told on screen and page."""

from __future__ import annotations

import gzip
import re
import shutil
import unicodedata
from collections.abc import Callable
from typing import Any

import pytest

from tests.trial_bench import Bench, notes_of

TRACKER = "2-aligned/tracker.csv"
TEMPERATURES = "2-aligned/girder_temperatures.csv"
DIALECT = 'delimiter = ","\ndecimal = "."'
FOUND: list[object] = []
NUMBER = re.compile(r"([+-]?)(\d+)(?:\.(\d*))?")


def grouped(cell: str, mark: str, decimal: str) -> str:
    """A number with groups of three in front of its decimal mark."""
    found = NUMBER.fullmatch(cell)
    if found is None:
        return cell
    groups = f"{int(found[2]):,}".replace(",", mark)
    return found[1] + groups + (decimal + found[3] if found[3] is not None else "")


def spelled(bench: Bench, spell: Callable[[str], str], encoding: str = "utf-8") -> None:
    """Every cell of every table spelled otherwise, with semicolons between."""
    for path in bench.data.rglob("*.csv"):
        head, *rows = path.read_text().splitlines()
        lines = [head.replace(",", ";"), *(";".join(map(spell, row.split(","))) for row in rows)]
        path.write_bytes(("\n".join(lines) + "\n").encode(encoding))


def numbers_of(document: dict[str, Any]) -> object:
    """What was found of axes and targets."""
    return [{k: o[k] for k in ("axes", "targets")} for o in document["occasions"].values()]


@pytest.fixture
def usual(bench: Bench) -> object:
    """What comes of the excerpt as it is, found once: it is the same for every test."""
    if not FOUND:
        bench.begun()
        document, _ = bench.ran()
        shutil.rmtree(bench.campaign)
        FOUND.append(numbers_of(document))
    return FOUND[0]


# -- spelling of numbers ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mark", "decimal", "grouping"),
    [
        (".", ",", "."),
        ("\u00a0", ",", " "),
        ("\u202f", ",", " "),
        ("\u2009", ",", " "),
        ("\u205f", ",", " "),
        ("\u2019", ".", "'"),
        ("\u00b4", ".", "'"),
        (",", ".", ","),
    ],
)
def test_every_table_with_groups_gives_the_same_record(
    bench: Bench, usual: object, mark: str, decimal: str, grouping: str
) -> None:
    spelled(bench, lambda cell: grouped(cell, mark, decimal))
    bench.change("lab.toml", DIALECT, f'delimiter = ";"\ndecimal = "{decimal}"\ngrouping = "{grouping}"')
    assert f"decimal '{decimal}', grouping" in bench.begun()
    document, shown = bench.ran()
    assert numbers_of(document) == usual
    told = next(i for i in document["imports"] if i["path"].endswith(TRACKER))
    assert (told["decimal"], told["grouping"]) == (decimal, grouping)
    assert "distance_mm: 120 grouping marks" in "; ".join(told["conversions"])
    assert "120 grouping marks" in shown


@pytest.mark.parametrize("minus", ["\u2212", "\u2013", "\uff0d"])
def test_typographic_minus_signs_give_the_same_record(bench: Bench, usual: object, minus: str) -> None:
    spelled(bench, lambda cell: cell.replace("-", minus) if NUMBER.fullmatch(cell) else cell)
    bench.change("lab.toml", DIALECT, 'delimiter = ";"\ndecimal = "."')
    bench.begun()
    document, shown = bench.ran()
    assert numbers_of(document) == usual
    assert "typographic minus signs" in shown


@pytest.mark.parametrize("layout", ["{:.10E}", "{:.10e}"])
def test_exponents_of_old_programs_give_the_same_record(bench: Bench, usual: object, layout: str) -> None:
    bench.rows(TRACKER, lambda c, _: [*c[:4], layout.format(float(c[4])).replace("E", "D")])
    bench.begun()
    document, shown = bench.ran()
    assert numbers_of(document) == usual
    assert ("exponents spelled with D" in shown) == ("E" in layout)


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("3243.9751(5)", "its uncertainty in a column of its own"),
        ("3243.9751\u00b10.005", "its uncertainty in a column of its own"),
        ("<3243.9751", "a limit is none"),
        ("3243.9751?", "a status belongs into a column of its own"),
        ("3243.9751 # bumped", "without a remark behind it"),
        ("1/3", "not a fraction"),
        ("\uff13\uff12\uff14\uff13", "digits 0 to 9"),
        ("0x1.9p+11", "hexadecimal"),
        ("*********", "declare the word as missing"),
        ("OVERLOAD", "declare the word as missing"),
        ("1.#INF", "a number with decimal '.'"),
        ("3.243k", "without its unit"),
    ],
)
def test_a_cell_that_is_no_number_is_refused_by_line_and_column(bench: Bench, cell: str, words: str) -> None:
    line = bench.change(TRACKER, "3243.9751", cell)
    printed = bench.refused()
    assert f"tracker.csv, line {line}, column distance_mm: given '{cell}'" in printed
    assert words in printed
    assert "1 fault" in printed


# -- containers of text ----------------------------------------------------------------------------------


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32"])
def test_every_table_in_another_encoding_gives_the_same_record(bench: Bench, usual: object, encoding: str) -> None:
    spelled(bench, str, encoding)
    bench.change("lab.toml", DIALECT, 'delimiter = ";"\ndecimal = "."')
    bench.begun()
    document, shown = bench.ran()
    assert numbers_of(document) == usual
    wide = encoding != "utf-8-sig"
    assert ("text in utf-" in notes_of(document)) == wide
    assert ("read as what it is; declare it to silence this" in shown) == wide


@pytest.mark.parametrize(
    ("name", "encoding"),
    [("G\u00e4L", "cp1252"), ("G\u00e9\u20ac", "cp1252"), ("\u0416\u041b", "koi8_r"), ("\u6e2c", "shift_jis")],
)
def test_names_in_a_declared_code_page_reach_record_and_page(bench: Bench, name: str, encoding: str) -> None:
    for path in bench.data.rglob("*.csv"):
        path.write_bytes(path.read_text().replace("G1L", name).encode(encoding))
    printed = bench.refused()
    assert "text in utf-8" in printed
    assert "declare the encoding" in printed
    bench.change("lab.toml", 'encoding = "utf-8"', f'encoding = "{encoding}"')
    bench.begun()
    document, shown = bench.ran()
    assert document["occasions"]["2-aligned"]["targets"][name]["xyz"] is not None
    assert name in shown


def test_composed_and_decomposed_accents_are_one_name_in_tables_heads_and_description(bench: Bench) -> None:
    for path in bench.data.rglob("*.csv"):
        text = path.read_text().replace("G1L", "G\u00e4L").replace("distance_mm", "l\u00e4nge_mm")
        path.write_text(unicodedata.normalize("NFD", text) if path.name == "tracker.csv" else text)
    bench.change("lab.toml", '"distance_mm"', '"l\u00e4nge_mm"')
    bench.begun()
    document, _ = bench.ran()
    assert document["occasions"]["2-aligned"]["targets"]["G\u00e4L"]["xyz"] is not None
    shutil.rmtree(bench.campaign)
    apart = unicodedata.normalize("NFD", "l\u00e4nge_mm")
    bench.change("lab.toml", '"l\u00e4nge_mm"', f'"{apart}"')
    bench.begun()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (gzip.compress, "a compressed file (gzip)"),
        (lambda d: b"PK\x03\x04\x14\0\0\0" + d, "a workbook or a ZIP archive"),
        (lambda d: b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + d, "a workbook of the old kind"),
        (lambda d: b"<!DOCTYPE html>\n<html>" + d, "a web page (HTML)"),
        (lambda d: b"\n<HTML><body>" + d, "a web page (HTML)"),
        (lambda d: b"{\\rtf1\\ansi " + d, "a document of a word processor"),
        (lambda d: b"\x89HDF\r\n\x1a\n" + d, "an HDF5 container"),
        (lambda d: d.replace(b"G1R", b"G1\0R", 1), "a zero byte"),
        (lambda d: d.replace(b"G1R", b"G\x1b[1R", 1), "a control character U+001B"),
        (lambda d: d.replace(b"G1R", b"G1\xed\xa0\xbd", 1), "text in utf-8"),
    ],
)
def test_what_is_no_text_is_refused_for_what_it_is(bench: Bench, change: Callable[[bytes], bytes], words: str) -> None:
    path = bench.data / TRACKER
    path.write_bytes(change(path.read_bytes()))
    printed = bench.refused()
    assert words in printed
    assert "tracker.csv, line " in printed


@pytest.mark.parametrize("encoding", ["ansi", "punycode", "unicode_escape", "hex", "rot13"])
def test_an_encoding_that_is_none_of_tables_is_refused(bench: Bench, encoding: str) -> None:
    bench.change("lab.toml", 'encoding = "utf-8"', f'encoding = "{encoding}"')
    assert "a known encoding, such as utf-8, cp1252" in bench.refused()


@pytest.mark.parametrize("end", ["\r\n", "\r", "\n\r", "\r\r\n"])
@pytest.mark.parametrize("quote", ["{}", '"{}"', ' "{}"', " {} "])
def test_line_ends_blanks_and_quotes_give_the_same_record(bench: Bench, usual: object, end: str, quote: str) -> None:
    path = bench.data / TRACKER
    lines = [",".join(quote.format(c) for c in line.split(",")) for line in path.read_text().splitlines()]
    path.write_bytes((end.join(lines) + end).encode())
    bench.begun()
    document, _ = bench.ran()
    assert numbers_of(document) == usual


# -- shape ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda rows: [*rows[:30], rows[0], *rows[30:]], "the column names again"),
        (lambda rows: [rows[0], ",,[deg],[deg],[mm]", *rows[1:]], "a line of units"),
        (lambda rows: [rows[0], "=====", *rows[1:], "End of data"], "passed over as a remark"),
        (lambda rows: [*rows, "Mean,,100.0,100.0,3000.0"], "'Mean', a total"),
        (lambda rows: [f"{row},," for row in rows], ""),
        (lambda rows: [rows[0], *(f"{row}," for row in rows[1:])], ""),
        (lambda rows: [f"{i or ''},{row}" for i, row in enumerate(rows)], ""),
        (lambda rows: ["sep=,", *rows], ""),
        (lambda rows: [*rows[:9], "", ",,,,", *rows[9:]], ""),
    ],
)
def test_rows_that_are_no_data_are_counted_and_change_nothing(
    bench: Bench, usual: object, change: Callable[[list[str]], list[str]], told: str
) -> None:
    path = bench.data / TRACKER
    path.write_text("\n".join(change(path.read_text().splitlines())) + "\n")
    printed = bench.begun()
    document, shown = bench.ran()
    assert numbers_of(document) == usual
    report = next(i for i in document["imports"] if i["path"].endswith(TRACKER))
    assert report["rows"] == report["data"] + report["heads"] + report["remarks"] + report["refused"]
    assert report["data"] == 120
    assert told in notes_of(document)
    assert told in printed
    assert told in shown


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda rows: ["Measured in hall 3", "", *rows], "say header_line = 3 in the dialect of this table"),
        (lambda rows: ["Hall 3,by,two,of,us", *rows], "line 2 has it: say header_line = 2"),
        (lambda rows: [*rows[:9], f",{rows[9]}", *rows[10:]], "the row begins with a delimiter"),
        (lambda rows: [*rows[:9], rows[9].replace(".", ","), *rows[10:]], "line 10"),
        (lambda rows: [*rows[:9], rows[9].replace(",", "\uff0c", 1), *rows[10:]], "line 10"),
        (lambda rows: [f"{a},,{b}" for a, b in zip(rows[:61], [rows[0], *rows[61:]], strict=True)], "2 columns named"),
        (lambda rows: [*rows, "", "sensor,temp", "t1,20.1"], "does another table begin here"),
        (lambda rows: [*rows[:9], *(f'"",{row.split(",", 1)[1]}' for row in rows[9:12]), *rows[12:]], "an empty cell"),
        (lambda rows: [*rows[:9], f'"""",{rows[9].split(",", 1)[1]}', *rows[10:]], "a ditto mark"),
        (lambda rows: [*rows[:9], f"do.,{rows[9].split(',', 1)[1]}", *rows[10:]], "a ditto mark"),
    ],
)
def test_rows_that_do_not_fit_are_refused_by_line(
    bench: Bench, change: Callable[[list[str]], list[str]], words: str
) -> None:
    path = bench.data / TRACKER
    path.write_text("\n".join(change(path.read_text().splitlines())) + "\n")
    printed = bench.refused()
    assert "tracker.csv, line " in printed
    assert words in printed


def fixed(bench: Bench, head: Callable[[list[str]], str], row: str = "{:<4}{:<6}{:>12}{:>12}{:>10}") -> None:
    """Both tables of sightings in fields of fixed width."""
    for occasion in ("2-aligned", "4-back"):
        path = bench.data / occasion / "tracker.csv"
        names, *rows = (line.split(",") for line in path.read_text().splitlines())
        path.write_text("\n".join([head(names), *(row.format(*cells) for cells in rows)]) + "\n")
    bench.describe(
        "sightings",
        'file = "tracker*.csv"',
        'file = "tracker*.csv"\ndialect = { delimiter = "fixed", widths = [4, 6, 12, 12, 10] }',
    )


@pytest.mark.parametrize("between", [" ", "   ", "\t"])
def test_names_that_do_not_keep_to_fixed_widths_give_the_same_record(bench: Bench, usual: object, between: str) -> None:
    fixed(bench, between.join)
    bench.begun()
    document, _ = bench.ran()
    assert numbers_of(document) == usual


def test_a_tab_in_a_table_of_fixed_widths_is_refused_by_line(bench: Bench) -> None:
    fixed(bench, " ".join)
    line = bench.change("4-back/tracker.csv", "T1  G1R", "T1\tG1R")
    printed = bench.refused()
    assert f"tracker.csv, line {line}: given a tab in a table of fixed widths" in printed
