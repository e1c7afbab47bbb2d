"""Cells of a workbook as text, by what the description says of their column; what was converted is told."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING

from monochord.files.formats.asked import NUMBERS, Asked
from monochord.files.formats.dates import written
from monochord.files.formats.xlsx_package import Found
from monochord.files.table import letter
from monochord.files.words import listed
from monochord.ground.faults import Fault, Gatherer

if TYPE_CHECKING:
    from openpyxl.cell.cell import Cell

_DIGITS_ONLY = re.compile(r"0+")


def shown(value: object) -> str:
    """A cell's value as text.

    >>> shown(7), shown(2.5), shown(None), shown(True)
    ('7', '2.5', '', 'TRUE')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, (int, float)):
        return repr(value)
    return str(value)


@dataclass(frozen=True, slots=True)
class _At:
    """Where a cell stands: its column's name, what the description makes of it, its row, and its own name."""

    header: str
    kind: str
    row: int
    name: str


class Told:
    """Turns cells into text and counts what was converted, with the first cell of each kind."""

    def __init__(self, found: Found, asked: Asked, faults: Gatherer) -> None:
        self.file, self.sheet, self.from_1904 = found.file, found.sheet.name, found.book.from_1904
        self.asked, self.faults, self.uncached = asked, faults, frozenset(found.marks.uncached)
        self.counts: dict[tuple[str, str], list[str]] = {}

    def cell(self, header: str, row: int, place: int, cell: Cell) -> str:
        """The text of one cell; a fault is told and the cell empty when it does not fit its column."""
        at = _At(header, self.asked.kinds.get(header, ""), row, f"{letter(place)}{row}")
        value = cell.value
        if at.name in self.uncached:
            if at.kind:
                remedy = "open the file in the program that made it, let it compute, save it"
                self._fault("a formula whose value was not saved", "a value", remedy, at)
            return ""
        if cell.data_type == "e":
            return self._error(str(value), at)
        if isinstance(value, (datetime, date, time, timedelta)):
            return self._date(value, at)
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            return self._number(value, str(cell.number_format or ""), at)
        if at.kind in NUMBERS and isinstance(value, str) and any(c.isdigit() for c in value):
            self._count("numbers stored as text", at)
        return shown(value)

    def _error(self, word: str, at: _At) -> str:
        if at.kind in ("text", "axis", "word", "time"):
            expected = f"a {'name' if at.kind == 'text' else at.kind}"
            self._fault(word, expected, "mend the formula or the cell", at)
            return ""
        if at.kind:
            self._count(f"{word} where a number should be, taken as no number", at)
        return "#N/A"

    def _date(self, value: date | time | timedelta, at: _At) -> str:
        if at.kind == "time":
            notation = self.asked.notations.get(at.header, "")
            cell = written(value, notation) if isinstance(value, datetime) else None
            if cell is None:
                expected = f"a date and time that fit the notation {notation!r}"
                self._fault(str(value), expected, "mend the notation in the lab description", at)
                return ""
            self._count(f"dates of the workbook, which counts days from {self._origin}", at)
            return cell
        if at.kind:
            what = "a name" if at.kind == "text" else "a number" if at.kind in NUMBERS else "a word"
            as_text = "the spreadsheet made a date of it; type it again in a cell formatted as text"
            remedy = as_text if at.kind == "text" else "format the cell as a number and type it again"
            self._fault(f"the date {value}", what, remedy, at)
            return ""
        return str(value)

    @property
    def _origin(self) -> str:
        return "1904" if self.from_1904 else "1900"

    def _number(self, value: float, shape: str, at: _At) -> str:
        if at.kind == "text":
            self._count("names that are numbers in the sheet, whose outer zeros may be lost", at)
            if isinstance(value, int) and value >= 0 and _DIGITS_ONLY.fullmatch(shape):
                return str(value).zfill(len(shape))
            return repr(value)
        if at.kind == "time":
            return self._day_number(value, at)
        if at.kind in NUMBERS and "%" in shape:
            self._count("numbers shown as percent, taken as they are kept (0.12 for 12 %)", at)
        return self.asked.spelled(repr(value), at.header)

    def _day_number(self, value: float, at: _At) -> str:
        """A bare number among times counts days, by the workbook's own origin."""
        from openpyxl.utils.datetime import CALENDAR_MAC_1904, CALENDAR_WINDOWS_1900, from_excel

        try:
            moment = from_excel(value, CALENDAR_MAC_1904 if self.from_1904 else CALENDAR_WINDOWS_1900)
        except (OverflowError, ValueError):
            return repr(value)
        cell = written(moment, self.asked.notations.get(at.header, "")) if isinstance(moment, datetime) else None
        if cell is None:
            return repr(value)
        self._count(f"bare numbers read as days counted from {self._origin}, as the workbook says", at)
        return cell

    def _count(self, what: str, at: _At) -> None:
        self.counts.setdefault((what, at.header), []).append(at.name)

    def _fault(self, given: str, expected: str, remedy: str, at: _At) -> None:
        column = f"{at.header} (sheet {self.sheet}, cell {at.name})"
        self.faults.add(given, expected, remedy, file=self.file, line=at.row, column=column)

    def notes(self) -> Iterator[Fault]:
        """What was converted, once for each kind and column."""
        for (what, header), names in self.counts.items():
            given = f"{len(names)} {what} ({listed(names, 5)})"
            column = f"{header} (sheet {self.sheet})"
            yield Fault(given, "cells that need no conversion", "see that this is meant", self.file, None, column)
