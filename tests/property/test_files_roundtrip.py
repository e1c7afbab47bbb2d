"""What is written reads back, what is located is there, what is a number stays that number."""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monochord.files import numbers
from monochord.files.amounts import amount, spell
from monochord.files.bulk import bulk_columns
from monochord.files.places import Path, key_lines
from monochord.files.toml_writer import toml
from monochord.files.words import natural, near

KEYS = st.text(st.characters(codec="utf-8", exclude_characters="\r"), min_size=1, max_size=8)
TEXTS = st.text(st.characters(codec="utf-8", exclude_characters="\r"), max_size=12)
SCALARS = st.one_of(
    TEXTS, st.booleans(), st.integers(-(10**9), 10**9), st.floats(allow_nan=False, allow_infinity=False)
)
ROWS = st.dictionaries(KEYS, SCALARS, max_size=4)
TABLES = st.dictionaries(KEYS, st.one_of(SCALARS, ROWS, st.lists(ROWS, min_size=1, max_size=3)), max_size=4)
DOCUMENTS = st.dictionaries(KEYS, st.one_of(SCALARS, TABLES, st.lists(TABLES, min_size=1, max_size=3)), max_size=5)


@given(DOCUMENTS)
def test_what_is_written_reads_back(document: dict[str, object]) -> None:
    assert tomllib.loads(toml(document)) == document


@given(DOCUMENTS)
def test_every_key_is_found_in_its_line(document: dict[str, object]) -> None:
    text = toml(document, "a remark\nof two lines")
    lines = text.split("\n")
    located = key_lines(text)
    for path in keys_of(document):
        assert path in located, path
    for path, line in located.items():
        last = next(p for p in reversed(path) if isinstance(p, str))
        assert (
            last in lines[line - 1] or json.dumps(last, ensure_ascii=False)[1:-1] in lines[line - 1] or "\x7f" in last
        )


def keys_of(document: Mapping[str, object]) -> list[Path]:
    """Paths of the keys that stand on lines of their own."""
    found: list[Path] = []
    for key, value in document.items():
        found.append((key, 0) if isinstance(value, list) and value else (key,))
        if isinstance(value, dict):
            found += [(key, k) for k in value]
        elif isinstance(value, list):
            found += [(key, i, k) for i, entry in enumerate(value) for k in entry]
    return found


@given(st.floats(allow_nan=False, allow_infinity=False, width=64))
def test_every_number_python_writes_is_read_exactly(value: float) -> None:
    for text in (repr(value), f"{value:.17e}", f" {value!r} "):
        read, odd = numbers.column([text], numbers.Spelling())
        assert odd == []
        assert read.tolist() == [value]


@given(st.decimals(min_value=-(10**9), max_value=10**9, places=4), st.sampled_from([".", " ", "'"]))
def test_grouped_numbers_read_as_the_plain_ones(value: object, mark: str) -> None:
    plain = f"{value:.4f}"
    grouped = f"{value:,.4f}".replace(".", ";").replace(",", mark).replace(";", ",")
    read, odd = numbers.column([grouped], numbers.Spelling(",", mark))
    assert odd == []
    assert read.tolist() == [float(plain)]


@given(st.text(max_size=12))
def test_no_cell_ends_in_an_exception_or_an_infinite_number(cell: str) -> None:
    for spelling in (numbers.Spelling(), numbers.Spelling(",", "."), numbers.Spelling(",")):
        values, odd = numbers.column([cell, "1"], spelling)
        assert len(values) == 2
        assert math.isnan(values[0]) == (len(odd) == 1)
        assert not math.isinf(values[0])


@given(st.floats(-10.0, 10.0), st.sampled_from(["mm", "um", "m"]))
def test_a_spelled_amount_is_the_amount(value: float, unit: str) -> None:
    # twelve digits: a picometre in a metre
    assert amount(spell(value, unit), "length") == pytest.approx(value, rel=1e-11, abs=1e-18)


CELLS = st.one_of(
    st.floats(allow_nan=False, allow_infinity=False).map(repr),
    st.decimals(min_value=-(10**12), max_value=10**12, places=6).map(str),
    st.integers(-(10**18), 10**18).map(str),
    st.from_regex(r"[+-]?[0-9]{0,3}[.,]?[0-9]{0,3}", fullmatch=True),
    st.text("0123456789.,+-eE x", max_size=6),
)


@given(st.lists(CELLS, min_size=1, max_size=12), st.sampled_from([".", ","]))
def test_a_large_table_reads_as_a_small_one(cells: list[str], decimal: str) -> None:
    """Digits made to a whole number and divided give the very number that reading the text gives."""
    spelling = numbers.Spelling(decimal)
    block = "".join(f"n{i};{c}\n" for i, c in enumerate(cells)).encode()
    columns = bulk_columns(block, ";", 2)
    assert columns is not None
    assert list(columns[0]) == [f"n{i}" for i in range(len(cells))]
    assert list(columns[1]) == cells
    small, odd = numbers.column(cells, spelling)
    large, odd_too = numbers.column(columns[1], spelling)
    assert odd == odd_too
    # bit for bit, the sign of a zero included
    assert small.tobytes() == large.tobytes()


@given(st.lists(st.integers(1, 4), min_size=2, max_size=8))
def test_a_large_table_is_cut_in_bulk_only_when_all_its_rows_are_full(widths: list[int]) -> None:
    block = "".join(";".join("c" * w) + "\n" for w in widths).encode()
    assert (bulk_columns(block, ";", 2) is None) == (set(widths) != {2})


@given(st.lists(st.text(max_size=6), max_size=8))
def test_natural_order_is_an_order(names: list[str]) -> None:
    once = sorted(names, key=natural)
    assert sorted(once, key=natural) == once
    assert sorted(once) == sorted(names)


@given(st.text(max_size=6), st.lists(st.text(max_size=6), max_size=8))
def test_near_misses_are_known_names(name: str, known: list[str]) -> None:
    assert set(near(name, known)) <= set(known)
