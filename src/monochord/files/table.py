"""Tables as columns of cells, with the line of every row.

Columns are addressed by name only. Rows are counted: data, heads, remarks and refused; a row that does
not fit is named by its line, never bent to fit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from monochord.files.numbers import MISSING, Spelling
from monochord.files.remarks import SUMMARIES
from monochord.ground.faults import Fault, Gatherer

__all__ = ["DELIMITERS", "SUMMARIES", "Dialect", "Table", "cut", "letter"]

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
    seen     rows that are not blank, 0 when nobody counted: then lines, heads, remarks and refused together
    heads    preamble, names, units and their repetitions;  refused  rows that have not the cells of the table
    blank    lines without anything;  encoding  of a text, or the name of the format
    open_line  the last line when it has no line end, else 0
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
    seen: int = 0
    heads: int = 0
    refused: int = 0
    blank: int = 0
    encoding: str = ""
    open_line: int = 0

    @property
    def rows(self) -> int:
        """Rows that are not blank."""
        return self.seen or len(self.lines) + self.heads + self.remarks + self.refused

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
    from monochord.files.cutting import whole  # which is made of tables

    return whole(data, file, dialect, faults)
