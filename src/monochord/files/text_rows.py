"""Rows of a text table cut into cells: at once where all are alike, else one by one, each judged by its line.

A row that does not fit is named, never bent to fit: cells beyond the header, cells that lack, numbers that run
together, a last line that was cut off.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from operator import methodcaller

from monochord.files.remarks import is_names_again, is_remark_row
from monochord.files.table import Table
from monochord.files.text_head import Head, pieces, unquoted
from monochord.ground.faults import Fault, Gatherer

#: Rows that are named one by one; behind them they are counted.
MOST_NAMED = 20

#: Rows above a last line without an end with which it is compared.
MOST_RECENT = 1000

_TOUCHING = re.compile(r"\d[-+]\d")
_DECIMALS = re.compile(r"[+-]?\d+[.,](\d+)")


@dataclass(slots=True)
class Misshapen:
    """Rows of one file that have not the cells of its header: the first are named, then they are counted."""

    named: int = 0
    first: Fault | None = None
    more: list[int] = field(default_factory=list)

    def add(self, fault: Fault, faults: Gatherer) -> None:
        """Name the row, or count it."""
        if self.named < MOST_NAMED:
            self.named += 1
            self.first = self.first or fault
            faults.faults.append(fault)
        else:
            self.more.append(fault.line or 0)

    def close(self, faults: Gatherer) -> None:
        """Tell how many more there are."""
        if self.more and self.first:
            given = f"{len(self.more)} more such rows"
            faults.add(given, self.first.expected, self.first.remedy, file=self.first.file, line=self.more[0])


@dataclass(slots=True)
class Body:
    """Rows of a piece of a file.

    lines  without those of the head;  line  1-based number of the first of them
    last   whether the file ends here;  unfinished  whether its last line lacks an end
    ends   line of a row -> line where it ends, of rows that run over several
    recent  last cells of rows in the pieces before
    """

    head: Head
    lines: list[str]
    line: int
    last: bool = True
    unfinished: bool = False
    ends: dict[int, int] = field(default_factory=dict)
    recent: Sequence[str] = ()

    @property
    def end(self) -> int:
        """Its last line; that of the head where there are no rows."""
        return self.line + len(self.lines) - 1


def table_of(body: Body, notes: list[Fault], faults: Gatherer, misshapen: Misshapen) -> Table:
    """The table of a body of rows, with its rows counted by what they are."""
    head = body.head
    table = Table(head.file, head.names, head.units, [], range(0), head.dialect, notes)
    if not _alike(table, body):
        _one_by_one(table, body, faults, misshapen)
    if body.unfinished and body.last:
        table.open_line = body.line + len(body.lines) - 1
        _whole(table, body, faults)
    return table


def _alike(table: Table, body: Body) -> bool:
    """Cut all rows at once, where every one has the same number of marks and nothing unusual is in them."""
    head, rows = body.head, body.lines
    mark, width = head.mark, head.width
    if not rows or len(mark) != 1:
        return False
    counts = set(map(methodcaller("count", mark), rows))
    if counts == {width} and all(row.endswith(mark) for row in rows):
        width += 1
    elif counts != {width - 1}:
        return False
    comment = head.dialect.comment
    if comment and any(row.startswith(comment) for row in rows):
        return False
    joined = mark.join(rows)
    if '"' in joined or head.line in rows or (head.raw and mark.join(head.raw) in joined) or not all(rows):
        return False
    cells = joined.split(mark)
    nameless = [i * width for i, c in enumerate(cells[::width]) if not c.strip()]
    if any(not "".join(cells[i : i + width]).strip() for i in nameless):
        return False
    table.columns = [cells[i::width] for i in range(head.width)]
    table.lines = range(body.line, body.line + len(rows))
    table.seen = len(rows)
    return True


def _one_by_one(table: Table, body: Body, faults: Gatherer, misshapen: Misshapen) -> None:
    head, width = body.head, body.head.width
    rows: list[Sequence[str]] = []
    numbers: list[int] = []
    for number, cells in _rows(body, table, faults):
        while len(cells) > width and not cells[-1].strip():
            cells.pop()
        if not any(c.strip() for c in cells):
            table.blank += 1
            continue
        table.seen += 1
        if head.raw and is_names_again(cells, head.raw):
            table.heads += 1
            _note(table, number, "the column names again", "passed over: files joined?")
        elif head.units and is_names_again(cells, head.units):
            table.heads += 1
            _note(table, number, "the units again", "passed over: files joined?")
        elif len(cells) == width:
            rows.append(cells)
            numbers.append(number)
        elif is_remark_row(cells, width):
            table.remarks += 1
            shown = head.mark.join(cells) if head.mark else " ".join(cells)
            _note(table, number, repr(shown[:80]), "passed over as a remark")
        else:
            cut_off = body.unfinished and body.last and number >= body.end
            remedy = "the file seems cut off; copy it again" if cut_off else _misfit(cells, head)
            given = f"{len(cells)} cell{'s' if len(cells) != 1 else ''}"
            expected = f"{width} cells as in the header"
            misshapen.add(Fault(given, expected, remedy, head.file, number), faults)
            table.refused += 1
    table.columns = [list(c) for c in zip(*rows, strict=True)] if rows else [[] for _ in head.names]
    table.lines = numbers


def _note(table: Table, line: int, given: str, remedy: str) -> None:
    table.notes.append(Fault(given, "data", remedy, table.file, line))


def _misfit(cells: Sequence[str], head: Head) -> str:
    """What is likely wrong with a row of another number of cells than the header has."""
    filled, delimiter = [c.strip() for c in cells], head.dialect.delimiter
    numeric = all(ch.isdecimal() or ch in "+-. " for ch in "".join(filled[1:]))
    digits = any(ch.isdigit() for c in filled for ch in c)
    more, fewer = len(cells) > head.width, len(cells) < head.width
    likely = {
        "does another table begin here? keep one table a file": len(filled) > 1 and not digits,
        "the row begins with a delimiter, which would shift its cells; take it out": more and not filled[0],
        "decimal commas in a table separated by commas? quote such cells, or take another delimiter": (
            more and numeric and delimiter == ","
        ),
        "numbers run together; declare the table as fixed with its widths": (
            fewer and any(map(_TOUCHING.search, filled))
        ),
        "text behind the last field; mend the widths in the lab description": delimiter == "fixed",
        "mend the row; if it is a remark, begin it with the mark that the description declares as comment": (
            not any(ch.isdigit() for c in filled[1:] for ch in c)
        ),
    }
    return next((words for words, fits in likely.items() if fits), "mend the row")


def _rows(body: Body, table: Table, faults: Gatherer) -> Iterator[tuple[int, list[str]]]:
    """Rows with their lines; a quoted cell may run over several lines and counts by its first."""
    dialect = body.head.dialect
    comment = dialect.comment
    if not body.head.mark or not any('"' in line for line in body.lines):
        for number, line in enumerate(body.lines, start=body.line):
            if not line.strip():
                table.blank += 1
            elif comment and line.startswith(comment):
                table.seen += 1
                table.remarks += 1
            elif dialect.delimiter == "fixed" and "\t" in line:
                remedy = "write blanks, or declare the delimiter tab: behind a tab the places of all fields shift"
                faults.add("a tab in a table of fixed widths", "blanks", remedy, file=table.file, line=number)
                table.seen += 1
                table.refused += 1
            else:
                yield number, pieces(line, dialect)
        return
    yield from _quoted_rows(body, table, faults)


def _quoted_rows(body: Body, table: Table, faults: Gatherer) -> Iterator[tuple[int, list[str]]]:
    comment, lines = body.head.dialect.comment, body.lines
    place = 0
    while place < len(lines):
        line = lines[place]
        if not line.strip():
            table.blank += 1
        elif comment and line.startswith(comment):
            table.seen += 1
            table.remarks += 1
        elif '"' not in line:
            yield body.line + place, line.split(body.head.mark)
        else:
            rest = (f"{lines[i]}\n" for i in range(place, len(lines)))
            reader = csv.reader(rest, delimiter=body.head.mark, strict=True)
            try:
                cells = next(reader, [])
            except csv.Error as error:
                given = "a quote that is never closed" if "end of data" in str(error) else f"a misplaced quote: {error}"
                remedy = "close the quotes, or double those inside a cell"
                faults.add(given, "cells in closed quotes", remedy, file=table.file, line=body.line + place)
                swallowed = lines[place:] if "end of data" in str(error) else [line]
                table.seen += sum(1 for one in swallowed if one.strip())
                table.refused += sum(1 for one in swallowed if one.strip())
                table.blank += sum(1 for one in swallowed if not one.strip())
                place += len(swallowed)
                continue
            body.ends[body.line + place] = body.line + place + reader.line_num - 1
            yield body.line + place, list(map(unquoted, cells))
            place += reader.line_num
            continue
        place += 1


def _whole(table: Table, body: Body, faults: Gatherer) -> None:
    """Tell whether the last line, which has no end, was cut off: its last cell is empty, or shorter than all others."""
    if any((f.file, f.line) == (table.file, body.end) for f in faults.faults):
        return
    if not len(table.lines) or body.ends.get(table.lines[-1], table.lines[-1]) != body.end:
        _not_ended(table, body.end)
        return
    cells = [c.strip() for c in (*body.recent, *table.columns[-1])][-MOST_RECENT - 1 :]
    last, others = cells[-1], cells[:-1]
    decimals = {len(m[1]) if (m := _DECIMALS.fullmatch(c)) else -1 for c in others}
    mine = _DECIMALS.fullmatch(last)
    shorter = len(decimals) == 1 and decimals != {-1} and len(others) > 1
    if others and ((not last and all(others)) or (shorter and (len(mine[1]) if mine else 0) < max(decimals))):
        remedy = "the file seems cut off; copy it again, or end the line where it is whole"
        given = f"a last line without an end, and {last!r}" if last else "a last line without an end or a last cell"
        column = table.header[-1]
        faults.add(given, "a cell like those above", remedy, file=table.file, line=table.lines[-1], column=column)
        return
    _not_ended(table, body.end)


def _not_ended(table: Table, line: int) -> None:
    given, remedy = "no end of the last line", "taken as whole; was the file written to its end?"
    table.notes.append(Fault(given, "a line end", remedy, table.file, line))
