"""Text tables cut into columns of cells, with the line of every row.

Columns are addressed by name only. Rows are counted: data, header, remark and refused; a row that does
not fit is named by its line, never bent to fit. Ordinary files go through a fast path that cuts the
whole text at once; anything unusual (quotes, blank lines, remarks, ragged rows) through a careful one.
"""

from __future__ import annotations

import csv
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from operator import methodcaller

from monochord.files.bulk import LARGE, bulk_columns
from monochord.files.decode import decode, repaired
from monochord.files.numbers import MISSING, Spelling
from monochord.ground.faults import Fault, Gatherer

#: Names under which people add totals below a table.
SUMMARIES = frozenset({"sum", "total", "mean", "average", "std", "rms", "min", "max", "summe", "mittel", "mittelwert"})

DELIMITERS = {"tab": "\t", "spaces": " "}


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a laboratory writes its tables.

    delimiter    one character, "tab", "spaces" (runs of blanks) or "fixed" (then widths)
    comment      what a remark line begins with, "" for none
    header_line, unit_line, data_from   1-based lines; unit_line 0 for none; data_from 0: after these
    """

    delimiter: str = ","
    decimal: str = "."
    grouping: str = ""
    encoding: str = "utf-8"
    comment: str = ""
    header_line: int = 1
    unit_line: int = 0
    data_from: int = 0
    missing: frozenset[str] = MISSING
    summaries: frozenset[str] = SUMMARIES
    widths: tuple[int, ...] = ()

    @property
    def spelling(self) -> Spelling:
        """How its numbers are spelled."""
        return Spelling(self.decimal, self.grouping, self.missing)

    @property
    def first_data_line(self) -> int:
        """Line of the first row, 1-based."""
        return self.data_from or max(self.header_line, self.unit_line) + 1


@dataclass(slots=True)
class Table:
    """A table as cells: header names, cells by column, and the 1-based line of each row.

    remarks  lines that are no data and were passed over;  sheet  of a workbook, whose cells have names
    """

    file: str
    header: tuple[str, ...]
    units: tuple[str, ...]
    columns: list[Sequence[str]]
    lines: Sequence[int]
    dialect: Dialect
    notes: list[Fault] = field(default_factory=list)
    remarks: int = 0
    sheet: str = ""

    def index(self, name: str) -> int | None:
        """Place of a column by its name, None when there is none."""
        return self.header.index(name) if name in self.header else None

    def placed(self, fault: Fault) -> Fault:
        """The fault with the name of its cell, where the table stands on a sheet."""
        if not self.sheet or fault.line is None or fault.column not in self.header:
            return fault
        cell = f"{letter(self.header.index(str(fault.column)))}{fault.line}"
        return replace(fault, column=f"{fault.column} (sheet {self.sheet}, cell {cell})")


def letter(place: int) -> str:
    """The letters of a sheet's column, counted from 0.

    >>> letter(0), letter(25), letter(26), letter(702)
    ('A', 'Z', 'AA', 'AAA')
    """
    head, last = divmod(place, 26)
    return (letter(head - 1) if head else "") + chr(ord("A") + last)


def cut(data: bytes, file: str, dialect: Dialect, faults: Gatherer) -> Table | None:
    r"""A table from the bytes of a file; None when nothing can be read, with the faults gathered.

    >>> t = cut(b"id,x,y\nA,1,2,\nB,3,4,\n", "t.csv", Dialect(), Gatherer())
    >>> t.header, [list(c) for c in t.columns], list(t.lines)
    (('id', 'x', 'y'), [['A', 'B'], ['1', '3'], ['2', '4']], [2, 3])
    """
    text, notes = decode(data, file, dialect.encoding)
    if len(text) > LARGE and (large := _large(text, file, dialect, notes)):
        return large
    lines = text.split("\n")
    unfinished = bool(lines[-1].strip())
    while lines and not lines[-1].strip():
        lines.pop()
    if len(lines) < dialect.header_line:
        faults.add(f"{len(lines)} lines", f"column names in line {dialect.header_line}", "see the file", file=file)
        return None
    header = _header(lines, file, dialect, faults, notes)
    if header is None:
        return None
    units = _units(lines, header, dialect)
    table = Table(file, header, units, [], range(0), dialect, notes)
    start = dialect.first_data_line - 1
    if not _fast(table, lines, start):
        _careful(table, lines, start, unfinished, faults)
    return table


def _header(
    lines: list[str], file: str, dialect: Dialect, faults: Gatherer, notes: list[Fault]
) -> tuple[str, ...] | None:
    if not dialect.header_line:
        first = _pieces(lines[min(dialect.first_data_line, len(lines)) - 1], dialect)
        return tuple(str(i + 1) for i in range(len(first)))
    line = lines[dialect.header_line - 1]
    cells = [_clean(c) for c in _pieces(line, dialect)]
    mended = [repaired(c) for c in cells]
    for old, new in zip(cells, mended, strict=True):
        if old != new:
            notes.append(
                Fault(f"column name {old!r}", repr(new), "read as that: it was decoded wrongly once", file, 1, new)
            )
    while mended and not mended[-1]:
        mended.pop()
    if len(mended) < 2 and dialect.delimiter != "fixed":
        other = max(";,\t|", key=line.count)
        if line.count(other):
            remedy = f"the line looks separated by {other!r}; mend the delimiter in the lab description"
            given = f"one column {line.strip()[:60]!r}"
            faults.add(
                given, f"columns separated by {dialect.delimiter!r}", remedy, file=file, line=dialect.header_line
            )
            return None
    return tuple(mended)


def _units(lines: list[str], header: tuple[str, ...], dialect: Dialect) -> tuple[str, ...]:
    if not dialect.unit_line or len(lines) < dialect.unit_line:
        return ()
    cells = [repaired(_clean(c)) for c in _pieces(lines[dialect.unit_line - 1], dialect)]
    return tuple(cells[: len(header)] + [""] * (len(header) - len(cells)))


def _large(text: str, file: str, dialect: Dialect, notes: list[Fault]) -> Table | None:
    """A large ordinary table cut in bulk; None when anything about it is not ordinary."""
    mark = DELIMITERS.get(dialect.delimiter, dialect.delimiter)
    if len(mark) != 1 or dialect.delimiter == "spaces" or not text.isascii() or '"' in text:
        return None
    start = dialect.first_data_line - 1
    *lines, body = text.split("\n", start)
    faults, found = Gatherer(file), list[Fault]()
    header = _header(lines, file, dialect, faults, found) if len(lines) == start and dialect.header_line else None
    if header is None or faults.faults:
        return None
    if (dialect.comment and dialect.comment in body) or lines[dialect.header_line - 1] in body:
        return None
    columns = bulk_columns(body.rstrip("\n"), mark, len(header))
    if columns is None:
        return None
    numbers = range(start + 1, start + 1 + len(columns[0]))
    return Table(file, header, _units(lines, header, dialect), list(columns), numbers, dialect, [*notes, *found])


def _fast(table: Table, lines: list[str], start: int) -> bool:
    mark = DELIMITERS.get(table.dialect.delimiter, table.dialect.delimiter)
    body, width = lines[start:], len(table.header)
    if not body or len(mark) != 1 or table.dialect.delimiter == "spaces":
        return False
    counts = set(map(methodcaller("count", mark), body))
    if counts == {width} and all(line.endswith(mark) for line in body):
        width += 1
    elif counts != {width - 1}:
        return False
    comment = table.dialect.comment
    head = lines[table.dialect.header_line - 1] if table.dialect.header_line else None
    if head in body or (comment and any(r.startswith(comment) for r in body)):
        return False
    joined = mark.join(body)
    if '"' in joined or (width == 1 and not all(body)):
        return False
    cells = joined.split(mark)
    table.columns = [cells[i::width] for i in range(len(table.header))]
    table.lines = range(start + 1, start + 1 + len(body))
    return True


def _careful(table: Table, lines: list[str], start: int, unfinished: bool, faults: Gatherer) -> None:
    width, dialect = len(table.header), table.dialect
    rows: list[list[str]] = []
    numbers: list[int] = []
    head = [_clean(c) for c in _pieces(lines[dialect.header_line - 1], dialect)] if dialect.header_line else []
    for number, cells in _rows(lines, start, table, faults):
        while len(cells) > width and not cells[-1].strip():
            cells.pop()
        if not any(c.strip() for c in cells):
            continue
        if len(cells) == width and [_clean(c) for c in cells] == head[:width]:
            table.remarks += 1
            table.notes.append(
                Fault("the column names again", "data", "passed over: files joined?", table.file, number)
            )
        elif len(cells) == width:
            rows.append(cells)
            numbers.append(number)
        elif _wordy(cells, width):
            table.remarks += 1
            shown = dialect.delimiter.join(cells) if len(dialect.delimiter) == 1 else " ".join(cells)
            table.notes.append(Fault(repr(shown[:80]), "data", "passed over as a remark", table.file, number))
        else:
            cut_off = unfinished and number == len(lines)
            remedy = "the file seems cut off; copy it again" if cut_off else "mend the row"
            faults.add(f"{len(cells)} cells", f"{width} cells as in the header", remedy, file=table.file, line=number)
    table.columns = [list(c) for c in zip(*rows, strict=True)] if rows else [[] for _ in table.header]
    table.lines = numbers


def _rows(lines: list[str], start: int, table: Table, faults: Gatherer) -> list[tuple[int, list[str]]]:
    """Rows with their lines; a quoted cell may run over several lines and counts by its first."""
    dialect = table.dialect
    comment = dialect.comment
    quoted = any('"' in line for line in lines[start:]) and dialect.delimiter not in ("spaces", "fixed")
    if not quoted:
        return [
            (number, _pieces(line, dialect))
            for number, line in enumerate(lines[start:], start=start + 1)
            if line.strip() and not (comment and line.startswith(comment))
        ]
    mark = DELIMITERS.get(dialect.delimiter, dialect.delimiter)
    reader = csv.reader(lines[start:], delimiter=mark)
    rows, before = [], start
    try:
        for cells in reader:
            first, before = before + 1, start + reader.line_num
            if cells and not (comment and lines[first - 1].startswith(comment)):
                rows.append((first, cells))
    except csv.Error as error:
        faults.add(str(error), "cells in closed quotes", "close the quotes", file=table.file, line=before + 1)
    return rows


def _pieces(line: str, dialect: Dialect) -> list[str]:
    if dialect.delimiter == "spaces":
        return line.split()
    if dialect.delimiter == "fixed":
        ends = [sum(dialect.widths[: i + 1]) for i in range(len(dialect.widths))]
        return [line[a:b] for a, b in zip([0, *ends[:-1]], ends, strict=True)]
    mark = DELIMITERS.get(dialect.delimiter, dialect.delimiter)
    if '"' in line:
        return next(csv.reader([line], delimiter=mark), [])
    return line.split(mark)


def _clean(cell: str) -> str:
    text = cell.strip().strip('"').strip()
    return text if text.isascii() else unicodedata.normalize("NFC", text)


def _wordy(cells: list[str], width: int) -> bool:
    """Whether a row of the wrong length is a remark: one cell among many columns, or no digit after the first."""
    filled = [c for c in cells if c.strip()]
    return (len(filled) == 1 and width > 2) or not any(ch.isdigit() for c in cells[1:] for ch in c)
