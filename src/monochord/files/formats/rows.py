"""Rows of cells, from whatever they were kept in, to a table: the same judgement for every format."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

from monochord.files.formats.asked import Asked
from monochord.files.table import Table
from monochord.ground.faults import Fault, Refused


def table_of_rows(
    file: str,
    header: Sequence[str],
    units: Sequence[str],
    rows: Sequence[tuple[int, Sequence[str]]],
    asked: Asked,
) -> Table:
    """A table from rows with their numbers; empty rows are passed over, and column names that come again are told.

    header  names of the columns;  units  beside them, or ()
    rows    (1-based number, cells); missing cells at the end are empty ones

    Raises Refused when a cell holds what is no text.

    >>> found = table_of_rows("t", ["a", "b"], (), [(2, ["1"]), (3, ["", ""]), (4, ["a", "b"])], Asked())
    >>> [list(c) for c in found.columns], list(found.lines), found.heads
    ([['1'], ['']], [2], 1)
    """
    names = tuple(clean(h) for h in header)
    table = Table(file, names, tuple(units), [], [], asked.dialect)
    kept: list[list[str]] = []
    numbers: list[int] = []
    for number, cells in rows:
        full = [*cells, *[""] * (len(names) - len(cells))]
        if not any(c.strip() for c in full):
            table.blank += 1
            continue
        if not sound("".join(full)):
            column = next(n for n, c in zip([*names, *[""] * len(full)], full, strict=False) if not sound(c))
            given = "a zero byte or half a character"
            raise Refused([Fault(given, "text", "the file is damaged; write it again", file, number, column)])
        if tuple(clean(c) for c in full[: len(names)]) == names:
            table.heads += 1
            table.notes.append(Fault("the column names again", "data", "passed over: files joined?", file, number))
            continue
        kept.append(full[: len(names)])
        numbers.append(number)
    table.columns = [list(c) for c in zip(*kept, strict=True)] if kept else [[] for _ in names]
    table.lines = numbers
    return table


def clean(cell: str) -> str:
    """A column's name without outer blanks, in one Unicode form.

    >>> clean("  x [mm] ")
    'x [mm]'
    """
    return unicodedata.normalize("NFC", cell.strip())


def sound(text: str) -> bool:
    r"""Whether a text can be written and printed: no zero byte, no half of a pair of code units.

    >>> sound("Länge"), sound("a\0"), sound("\ud800")
    (True, False, False)
    """
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return "\0" not in text
