"""Workbooks (.xlsx), values only: what a person sees in the cells, with the cell's own name in every fault.

Formulas give the value that was saved with them; one without is refused. Numbers keep all their digits. Dates are
dates by the workbook's own origin and are read only where the description expects a time: a name or a number that a
spreadsheet made into a date is refused. Nothing is computed, no link followed, no macro run.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from monochord.files.formats import xlsx_cells, zips
from monochord.files.formats.asked import Asked, Format
from monochord.files.formats.rows import clean, table_of_rows
from monochord.files.formats.xlsx_package import Book, Found, Sheet, book_of, marks_of
from monochord.files.table import Table, letter
from monochord.files.words import did_you_mean, listed
from monochord.ground.faults import Fault, Gatherer, Refused

if TYPE_CHECKING:
    from openpyxl.cell.cell import Cell

_WANTED = "a workbook saved as .xlsx"
#: First bytes of spreadsheets of the time before packages, and of workbooks behind a password.
_OLD = b"\xd0\xcf\x11\xe0"


def table(data: bytes, file: str, asked: Asked, faults: Gatherer) -> Table | None:
    """The table on one sheet: names in the row ``header_line``, units in ``unit_line``, rows from ``data_from``.

    data  the whole file;  file  as shown

    Raises Refused when the bytes are no workbook, or the sheet is not told and there are several.
    """
    if data.startswith(_OLD):
        raise zips.refusal("an old spreadsheet, or one behind a password", _WANTED, file)
    archive = zips.opened(data, file, _WANTED)
    try:
        book = book_of(archive, file)
        sheet = _chosen(book, asked, file)
        marks = marks_of(archive, sheet.part)
    except (KeyError, zipfile.BadZipFile, SyntaxError, EOFError) as error:
        raise zips.refusal(f"a damaged workbook ({error})", _WANTED, file) from None
    rows = list(_rows(data, sheet.name))
    made = _Sheet(Found(file, sheet, book, marks), asked, faults).table(rows)
    if made is not None:
        made.sheet = sheet.name
    return made


def _chosen(book: Book, asked: Asked, file: str) -> Sheet:
    names = [s.name for s in book.sheets]
    wanted = asked.kept.sheet
    if wanted:
        found = [s for s in book.sheets if clean(s.name) == clean(wanted)]
        if not found:
            remedy = f"{did_you_mean(wanted, names)}mend sheet in the lab description"
            raise Refused([Fault(f"no sheet {wanted!r}", f"one of {listed(names)}", remedy, file)])
        return found[0]
    if len(book.sheets) != 1:
        remedy = 'add sheet = "..." to the table in the lab description'
        raise Refused([Fault(f"{len(names)} sheets ({listed(names)})", "the name of the one to read", remedy, file)])
    return book.sheets[0]


def _rows(data: bytes, sheet: str) -> Iterator[tuple[int, list[Cell]]]:
    """Rows with their numbers; what openpyxl guesses of the sheet's size is not trusted."""
    import openpyxl

    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
    page = book[sheet]
    page.reset_dimensions()
    for number, cells in enumerate(page.iter_rows(), start=1):
        if cells:
            yield number, list(cells)


class _Sheet:
    """One sheet on its way to a table."""

    def __init__(self, found: Found, asked: Asked, faults: Gatherer) -> None:
        self.file, self.sheet, self.book, self.marks = found.file, found.sheet, found.book, found.marks
        self.asked, self.faults = asked, faults
        self.told = xlsx_cells.Told(found, asked, faults)

    def table(self, rows: Sequence[tuple[int, list[Cell]]]) -> Table | None:
        dialect, by_number = self.asked.dialect, dict(rows)
        head = by_number.get(dialect.header_line) if dialect.header_line else None
        if dialect.header_line and (head is None or not any(c.value is not None for c in head)):
            given = f"nothing in row {dialect.header_line} of sheet {self.sheet.name!r}"
            remedy = "mend header_line in the lab description, or the sheet"
            self.faults.add(given, "names of columns", remedy, file=self.file, line=dialect.header_line)
            return None
        width = max((len(cells) for _, cells in rows), default=0)
        header = [xlsx_cells.shown(c.value) for c in head] if head is not None else [str(i + 1) for i in range(width)]
        header = [clean(h) for h in header]
        while header and not header[-1]:
            header.pop()
        units = [clean(xlsx_cells.shown(c.value)) for c in by_number.get(dialect.unit_line, [])]
        body = [
            (number, [self.told.cell(header[i], number, i, c) for i, c in enumerate(cells[: len(header)])])
            for number, cells in rows
            if number >= dialect.first_data_line
        ]
        self._beyond(rows, len(header))
        found = table_of_rows(self.file, header, [*units, *[""] * len(header)][: len(header)], body, self.asked)
        above = (cells for number, cells in rows if number < dialect.first_data_line)
        found.heads += sum(any(cell.value is not None for cell in cells) for cells in above)
        found.notes[:0] = [*self._marks(header), *self.told.notes()]
        return found

    def _beyond(self, rows: Sequence[tuple[int, list[Cell]]], width: int) -> None:
        """Cells with a value to the right of all names are no part of any row."""
        for number, cells in rows:
            for i, cell in enumerate(cells[width:], start=width):
                if number >= self.asked.dialect.first_data_line and cell.value is not None:
                    given = f"{xlsx_cells.shown(cell.value)!r} beside the table"
                    column = f"{letter(i)} (sheet {self.sheet.name}, cell {letter(i)}{number})"
                    remedy = "give the column a name, or move it away"
                    self.faults.add(given, "a column with a name", remedy, file=self.file, line=number, column=column)
                    return

    def _marks(self, header: Sequence[str]) -> Iterator[Fault]:
        first, name = self.asked.dialect.first_data_line, self.sheet.name
        if self.sheet.hidden:
            yield self._note(f"sheet {name!r} is hidden", "a sheet that people see", "read all the same")
        for what in self.book.unused:
            yield self._note(what, "values only", "values are those saved with the file")
        rows = [str(n) for n in self.marks.hidden_rows if n >= first]
        if rows:
            given = f"{len(rows)} hidden rows ({listed(rows, 10)}) in sheet {name!r}"
            yield self._note(given, "rows that people see", "read like the others; remove them if they do not count")
        columns = [i for low, high in self.marks.hidden_columns for i in range(low - 1, min(high, len(header)))]
        if columns:
            shown = [f"{letter(i)} ({header[i]})" for i in columns]
            given = f"hidden columns {listed(shown, 10)} in sheet {name!r}"
            yield self._note(given, "columns that people see", "read where they are described")
        if self.marks.merged:
            given = f"merged cells {listed(self.marks.merged, 10)} in sheet {name!r}"
            yield self._note(given, "one value a cell", "the value counts for the first cell; the others are empty")
        if self.marks.formulas:
            given = f"{self.marks.formulas} formulas in sheet {name!r}"
            yield self._note(given, "values", "taken as the program computed them that saved the file")

    def _note(self, given: str, expected: str, remedy: str) -> Fault:
        return Fault(given, expected, remedy, self.file)


FORMAT = Format("xlsx", "a workbook saved as .xlsx", table, guarded=True)
