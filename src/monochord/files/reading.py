"""From the bytes of a table to rows by meaning: names as text, words mapped, numbers in SI.

Rows that are no data (remarks, totals, marker values, a bad status) are left out with a note; everything
else that does not fit is a fault with line and column. Faults of one file come all at once.
"""

from __future__ import annotations

import io
import math
import unicodedata
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO

import numpy as np

from monochord.campaign.given.clock import ClockTold
from monochord.files import cutting, markers, numbers
from monochord.files.checksum import content, unreadable
from monochord.files.columns import Array, Column, Form, Rows
from monochord.files.formats.opening import open_table
from monochord.files.gathering import gathered
from monochord.files.imports import Told, of_column
from monochord.files.misfits import Misfit, Tellings
from monochord.files.packed_angles import PACKED, looks_packed, packed_column
from monochord.files.remarks import is_ditto, is_remark, is_total, unit_in, unlike
from monochord.files.table import Table
from monochord.files.times import joined_clocks, read_times
from monochord.files.words import did_you_mean, listed
from monochord.ground import units
from monochord.ground.faults import Fault, Gatherer, Refused


def read_rows(data: bytes | BinaryIO, file: str, form: Form, faults: Gatherer, notes: list[Fault]) -> Rows | None:
    """The rows of one file by meaning, None when it cannot be cut into columns; faults and notes gathered.

    data  all bytes, or a stream of them, of which a long text is read in parts
    """
    reading = _File(form, file, Tellings(faults, notes))
    try:
        for table in _tables(data, file, form, faults):
            notes.extend(table.notes)
            told, noted = len(faults.faults), len(notes)
            reading.take(table)
            if table.sheet:
                _placed(table, faults, notes, (told, noted))
        return reading.rows()
    except Refused as refusal:
        faults.faults.extend(refusal.faults)
        return None


def read_file(path: Path, name: str, form: Form, faults: Gatherer, notes: list[Fault]) -> Rows | None:
    """The rows of a file on disk as :func:`read_rows`; a long text never stands in memory whole."""
    try:
        if form.kept.format not in cutting.TEXTS or path.stat().st_size <= cutting.PART:
            return read_rows(content(path, name), name, form, faults, notes)
        with path.open("rb") as stream:
            return read_rows(stream, name, form, faults, notes)
    except OSError as error:
        raise unreadable(error, name) from None


def _placed(table: Table, faults: Gatherer, notes: list[Fault], before: tuple[int, int]) -> None:
    """Faults and notes of a sheet with the names of their cells; a cell that its format refused is not told twice."""
    told, noted = before
    file = table.file
    places = {(f.file, f.line, f.column) for f in faults.faults[:told] if f.file == file and f.column is not None}
    new = map(table.placed, faults.faults[told:])
    faults.faults[told:] = [f for f in new if (f.file, f.line, f.column) not in places]
    notes[noted:] = map(table.placed, notes[noted:])


def _tables(data: bytes | BinaryIO, file: str, form: Form, faults: Gatherer) -> Iterator[Table]:
    """The table of a file: whole, or part by part where it is a long text."""
    if form.kept.format in cutting.TEXTS and not (isinstance(data, bytes) and len(data) <= cutting.PART):
        dialect = form.dialect if form.kept.format == "text" else replace(form.dialect, delimiter="fixed")
        yield from cutting.parts(io.BytesIO(data) if isinstance(data, bytes) else data, file, dialect, faults)
        return
    table = open_table(data if isinstance(data, bytes) else data.read(), file, form, faults)
    if table is not None:
        yield table


class _File:
    """One file on its way to rows, part by part."""

    def __init__(self, form: Form, file: str, tellings: Tellings) -> None:
        self.form, self.file, self.tellings = form, file, tellings
        self.told = Told()
        self.gathered = gathered(form.role, file)
        self.found: list[tuple[Column, int]] | None = None
        self.names: dict[str, str] = {}
        self.clocks: dict[str, ClockTold] = {}

    def take(self, table: Table) -> None:
        """Read the rows of one part."""
        reading = _Reading(table, self)
        self.told.take(table)
        if self.found is None:
            self.found = reading.find_columns()
            self.names = reading.rows.names
        rows = reading.read(self.found)
        self.clocks = joined_clocks(self.clocks, rows.clocks)
        self.told.data += len(rows)
        self.gathered.add(rows)

    def rows(self) -> Rows | None:
        """All rows with the report of their import; None when there was no table."""
        if self.found is None:
            return None
        rows = self.gathered.rows()
        if not len(rows) and not any(f.file == self.file for f in self.tellings.faults.faults):
            remedy = "see whether the file was written and copied to its end"
            self.tellings.notes.append(Fault("no row of data", "rows below the names", remedy, self.file))
        self._perhaps_total(rows)
        self.tellings.notes += self.gathered.notes()
        self.tellings.close()
        rows.told = self.told.report(self.file, self.form)
        rows.clocks = self.clocks
        return rows

    def _perhaps_total(self, rows: Rows) -> None:
        """Note a last row whose name is unlike all others: it may be a total by a word that is not known here."""
        key = next((c.key for c in self.form.columns if c.meaning.kind == "text" and c.key in rows.text), None)
        if key is None or not unlike(rows.text[key]):
            return
        name, column = rows.text[key][-1], rows.names[key]
        remedy = f'used as data; if it is a total, add totals = ["{name}"] to the dialect of this table'
        given = f"{name!r} in the last row, unlike all names above"
        self.tellings.note(Fault(given, "a name with a number in it", remedy, self.file, rows.lines[-1], column))


class _Reading:
    """One part on its way to rows: what does not fit is kept by row until whole rows can be judged."""

    def __init__(self, table: Table, file: _File) -> None:
        self.table, self.form, self.file = table, file.form, file
        self.faults, self.notes = file.tellings.faults, file.tellings.notes
        self.rows = Rows(table.file, table.lines, names=dict(file.names))
        self.misfits: dict[int, dict[str, Misfit]] = {}
        self.out: dict[int, tuple[str, str]] = {}
        self.head = table.dialect.header_line or None

    def read(self, found: Sequence[tuple[Column, int]]) -> Rows:
        """The rows of this part that are data."""
        for column, place in found:
            cells, kind = self.table.columns[place], column.meaning.kind
            if kind == "text":
                names = _names(cells)
                self.rows.text[column.key] = [column.words.get(n, n) for n in names] if column.words else names
            elif kind in ("word", "axis"):
                self._words(column, cells)
            elif kind == "time":
                self._times(column, place, cells)
            else:
                self._numbers(column, place, cells)
        self._status()
        self._settle(found)
        return self._kept()

    # -- columns ---------------------------------------------------------------------------------

    def find_columns(self) -> list[tuple[Column, int]]:
        """The described columns that the table has, with their places; what is not there is told."""
        header = self.table.header
        found, taken = [], set(self.form.passed_over)
        for column in self.form.columns:
            name = next((n for n in column.names if n in header), None)
            taken.add(column.unit_column)
            if name is None:
                self._lack(column)
                continue
            if header.count(name) > 1:
                given = f"{header.count(name)} columns named {name!r}"
                self.faults.add(given, "one", "give them different names", file=self.table.file, line=self.head)
            self.rows.names[column.key] = name
            self.file.told.read.append(name)
            self.file.told.conversions += of_column(column, name)
            found.append((column, header.index(name)))
            taken.add(name)
        for name in header:
            if not name or name not in taken or name in self.form.passed_over:
                self.file.told.passed_over.append(name or "a column without a name")
            if name and name not in taken:
                remedy = "not read; list it under passed_over in the lab description to say so"
                self._note(f"column {name!r}", "a described column", remedy, self.head, name)
        return found

    def _lack(self, column: Column) -> None:
        there = [h for h in self.table.header if h]
        given = f"no column {column.names[0]!r}"
        expected = f"a column for {column.key!r}; the file has {listed(there, 30)}"
        hint = did_you_mean(column.names[0], there) or self._below(column)
        remedy = f"{hint}{self._headless()}mend the column's name in the file or in the lab description"
        if column.meaning.needed:
            self.faults.add(given, expected, remedy, file=self.table.file, line=self.head, column=column.names[0])
        else:
            self._note(given, expected, remedy, self.head, column.names[0])

    def _below(self, column: Column) -> str:
        """A hint where the name that lacks stands in a row further down."""
        for cells in self.table.columns:
            for row, cell in enumerate(cells[:50]):
                if cell.strip() in column.names:
                    line = self.table.lines[row]
                    return f"line {line} has it: say header_line = {line} in the dialect of this table, or "
        return ""

    def _headless(self) -> str:
        """A hint where the line of names looks like a row of data."""
        told = [h for h in self.table.header if h]
        values, _ = numbers.column(told, self.form.dialect.spelling)
        if self.head and len(told) > 1 and np.isfinite(values).sum() * 2 >= len(told):
            return f"line {self.head} looks like data: with header_line = 0 columns are called 1, 2, 3; "
        return ""

    def _words(self, column: Column, cells: Sequence[str]) -> None:
        allowed = column.meaning.words
        ours: dict[str, str] = {}
        for cell in {c.strip() for c in cells}:
            if cell in column.words or cell.casefold() in column.words:
                ours[cell] = column.words.get(cell, column.words.get(cell.casefold(), ""))
            elif cell in allowed or (not allowed and cell) or (not cell and column.meaning.lacking == "unknown"):
                ours[cell] = cell
        accepted = sorted({*column.words, *allowed}) or ["an axis letter such as x, y or z"]
        values = []
        for row, cell in enumerate(cells):
            word = cell.strip()
            if word not in ours:
                remedy = f"{did_you_mean(word, accepted)}mend the cell, or map the word in the lab description"
                self._misfit(row, column, Misfit(repr(cell), f"one of {listed(accepted)}", remedy))
            values.append(ours.get(word, ""))
        self.rows.text[column.key] = values

    def _times(self, column: Column, place: int, cells: Sequence[str]) -> None:
        if column.unit is not None:
            self._numbers(column, place, cells)
            return
        name = self.rows.names[column.key]
        read = read_times(cells, column, self.form.role, self.table.file, name)
        for row, (expected, remedy) in read.misfits.items():
            word = cells[row].strip()
            if column.meaning.lacking != "refuse" and word.casefold() in self._no_times:
                self._not_read(row, column, word, "a word for missing")
            else:
                self._misfit(row, column, Misfit(repr(cells[row]), expected, remedy))
        for note in read.placed(self.table.file, self.table.lines, name):
            self.file.tellings.note(note)
        self.rows.number[column.key] = read.values
        if read.told is not None:
            self.rows.clocks[column.key] = read.told

    def _numbers(self, column: Column, place: int, cells: Sequence[str]) -> None:
        spelling = self.form.dialect.spelling
        if column.notation == PACKED:
            array, odd = packed_column(cells, spelling)
        elif column.notation:
            array, odd = numbers.sexagesimal_column(cells, spelling)
        else:
            seen = self.file.told.seen.setdefault(self.rows.names[column.key], Counter())
            array, odd = numbers.column(cells, spelling, seen)
        if column.unit and column.unit.name == "deg" and not column.notation and not odd and looks_packed(array):
            self._packed(column)
        remedy = self._other_spelling(column, cells, odd)
        for cell in odd:
            self._odd_number(column, cells, cell, remedy)
        for row in markers.declared(array, column.markers).tolist():
            array[row] = np.nan
            self._odd_number(column, cells, numbers.Odd(row, "missing", "a declared marker for no reading"))
        for row in markers.suspicious(array, column.genuine):
            self._suspicious(row, column, cells[row].strip())
        if self.form.role == "temperatures" and column.key == "temperature" and not self.form.good_status:
            for row in markers.apart(array, column.genuine):
                self._suspicious(row, column, cells[row].strip())
        if column.meaning.kind == "whole":
            for row in np.flatnonzero(array % 1.0 > 0.0).tolist():
                self._misfit(row, column, Misfit(repr(cells[row]), "a whole number"))
        self.rows.number[column.key] = column.sign * self._in_si(column, place, array)

    def _packed(self, column: Column) -> None:
        """Angles that all have minutes and seconds below 60 behind their points are no degrees by chance."""
        name = self.rows.names[column.key]
        given = f"{len(self.table.lines)} angles, none with 60 or more in the two pairs of digits behind the point"
        remedy = f'say notation = "{PACKED}" for the column, in place of its unit: these are minutes and seconds'
        self.faults.add(given, "degrees", remedy, file=self.table.file, line=self.table.lines[0], column=name)

    def _suspicious(self, row: int, column: Column, cell: str) -> None:
        """A number that looks like a marker which nobody declared; it is used for nothing."""
        remedy = f"declare markers = [{cell}] for the column if it means no reading, or genuine = [{cell}] if it is a reading"
        given = f"{cell!r}, which looks like a marker for no reading"
        self._misfit(row, column, Misfit(given, "a number, or a declared marker", remedy))

    def _other_spelling(self, column: Column, cells: Sequence[str], odd: list[numbers.Odd]) -> str:
        """The remedy of cells that are no numbers: the declaration by which the whole column would read."""
        bad = [o.index for o in odd if o.kind == "bad"]
        if not bad or column.notation:
            return "mend the cell"
        spelling, name = self.form.dialect.spelling, self.rows.names[column.key]
        some = [cells[i] for i in dict.fromkeys([*range(min(len(cells), 1000)), *bad[:1000]])]
        others = numbers.fitting(some, spelling)
        if not others:
            return "mend the cell"
        if len(bad) * 2 > len(cells):
            self.file.tellings.most[name] = 3  # the first few say it all
        ways = " or ".join(f"with {other.words}" for other in others)
        which = "; only the laboratory knows which" if len(others) > 1 else ""
        return f"the column reads {ways}: declare it in the dialect of the table{which}, or mend the cell"

    def _odd_number(
        self, column: Column, cells: Sequence[str], cell: numbers.Odd, remedy: str = "mend the cell"
    ) -> None:
        given, lacking = repr(cells[cell.index]), column.meaning.lacking
        if cell.kind != "missing":
            self._misfit(cell.index, column, Misfit(given, cell.why, remedy, cell.kind == "words"))
        elif lacking == "refuse":
            self._misfit(cell.index, column, Misfit(f"{given} ({cell.why})", "a number"))
        elif lacking == "drop row":
            why = f"{given} in column {self.rows.names[column.key]} ({cell.why})"
            self.out.setdefault(cell.index, ("refused", why))
        else:
            self._not_read(cell.index, column, cells[cell.index].strip(), cell.why)

    @property
    def _no_times(self) -> frozenset[str]:
        """Words for no time."""
        return self.form.dialect.missing | {"nat", "0000-00-00", "0000-00-00 00:00:00"}

    def _not_read(self, row: int, column: Column, cell: str, why: str) -> None:
        """A cell that may lack: empty ones are counted in the report of the import, words are noted by line."""
        name = self.rows.names[column.key]
        if cell:
            wanted = "a time" if column.meaning.kind == "time" else "a number"
            self._note(f"{cell!r} ({why})", wanted, "taken as not read", self.table.lines[row], name)
        else:
            self.file.told.seen.setdefault(name, Counter())["empty cells, taken as not read"] += 1

    # -- units -----------------------------------------------------------------------------------

    def _in_si(self, column: Column, place: int, array: Array) -> Array:
        if column.unit_column:
            return self._by_unit_column(column, array)
        unit = column.unit
        if column.unit_line:
            spelled = self.table.units[place] if self.table.units else ""
            unit = self._unit(spelled, column, self.table.dialect.unit_line, self.rows.names[column.key])
        elif unit is not None and self.table.units and self.table.units[place] and not column.despite_name:
            self._unit_line_agrees(column, unit, self.table.units[place])
        if unit is None or (unit.factor, unit.offset) == (1.0, 0.0):
            return array
        return array * unit.factor + unit.offset

    def _unit_line_agrees(self, column: Column, unit: units.Unit, spelled: str) -> None:
        """A fault when the table's own line of units says another unit than the description."""
        try:
            said = units.unit(spelled.strip("[]() "), dimension=unit.dimension)
        except Refused:
            said = None
        if said is None or said.name != unit.name:
            line, name = self.table.dialect.unit_line, self.rows.names[column.key]
            remedy = "mend the unit in the description or in the file, or say despite_name = true for the column"
            given, expected = f"{spelled!r} in the line of units", f"{unit.name!r} as the description says"
            self.faults.add(given, expected, remedy, file=self.table.file, line=line, column=name)

    def _by_unit_column(self, column: Column, array: Array) -> Array:
        place = self.table.index(column.unit_column)
        if place is None:
            given = f"no column {column.unit_column!r}"
            remedy = f"{did_you_mean(column.unit_column, self.table.header)}mend the lab description or the file"
            expected = f"the units of {column.key!r}"
            self.faults.add(given, expected, remedy, file=self.table.file, line=self.head)
            return array
        spelled = _names(self.table.columns[place])
        self.rows.text[f"{column.key}.unit"] = spelled
        self.rows.names[f"{column.key}.unit"] = column.unit_column
        if not column.meaning.dimension:
            return array
        known = {
            s: self._unit(s, column, self.table.lines[spelled.index(s)], column.unit_column)
            for s in dict.fromkeys(spelled)
        }
        found = [known[s] for s in spelled]
        factors = np.array([u.factor if u else math.nan for u in found])
        in_si: Array = array * factors + np.array([u.offset if u else math.nan for u in found])
        return in_si

    def _unit(self, spelled: str, column: Column, line: int, name: str) -> units.Unit | None:
        try:
            return units.unit(spelled, dimension=column.meaning.dimension or None)
        except Refused as refusal:
            f = refusal.faults[0]
            self.faults.add(f.given, f.expected, f.remedy, file=self.table.file, line=line, column=name)
            return None

    # -- rows ------------------------------------------------------------------------------------

    def _misfit(self, row: int, column: Column, misfit: Misfit) -> None:
        self.misfits.setdefault(row, {})[column.key] = misfit

    def _status(self) -> None:
        if self.form.good_status and "status" in self.rows.text:
            for row, word in enumerate(self.rows.text["status"]):
                if word not in self.form.good_status:
                    self.out[row] = ("refused", f"status {word!r}")
                    self.misfits.pop(row, None)

    def _settle(self, found: Sequence[tuple[Column, int]]) -> None:
        """Tell remarks, totals and units from faults, row by row."""
        names = next((c for c, _ in found if c.meaning.kind == "text"), None)
        if names is not None:
            self._nameless(names)
        others = [(c, place) for c, place in found if c.meaning.kind != "text"]
        for row, misfits in sorted(self.misfits.items()):
            if row in self.out:
                continue
            cells = [column[row].strip() for column in self.table.columns]
            unread = all(c.key in misfits or not cells[place] for c, place in others)
            if unread and row < 3 and self._is_units(cells, others, self.table.lines[row]):
                self.out[row] = ("head", "a line of units")
            elif unread and is_remark(next(filter(None, cells), "")):
                self.out[row] = ("remark", f"a remark: {' '.join(cells).strip()[:80]}")
            else:
                self._refuse(row, misfits, cells)

    def _refuse(self, row: int, misfits: dict[str, Misfit], cells: Sequence[str]) -> None:
        self.out[row] = ("misfit", "")
        line = self.table.lines[row]
        wordy = sum(m.wordy for m in misfits.values())
        names_again = wordy > 1 and not any(map(str.isdigit, "".join(cells))) and all(cells)
        for key, m in misfits.items():
            remedy = m.remedy
            if m.wordy and names_again:
                remedy = "does another table begin here? keep one table a file; else mend the cell"
            elif m.wordy:
                remedy = "mend the cell, declare the word as missing, or begin remarks with the declared comment mark"
            if line == self.table.open_line:
                remedy = f"the file seems cut off, for its last line has no end: copy it again; else {remedy}"
            fault = Fault(m.given, m.expected, remedy, self.table.file, line, self.rows.names[key])
            self.file.tellings.fault(fault)

    def _is_units(self, cells: Sequence[str], others: Sequence[tuple[Column, int]], line: int) -> bool:
        """Whether a row is a line of units; one that contradicts the description is a fault."""
        told = [(c, place, unit_in(cells[place])) for c, place in others if cells[place]]
        if not told or not all(unit for _, _, unit in told):
            return False
        for column, place, unit in told:
            wanted = None if column.unit_column or column.unit_line else column.unit
            if (
                unit
                and wanted
                and (unit.dimension, unit.factor, unit.offset)
                != (
                    wanted.dimension,
                    wanted.factor,
                    wanted.offset,
                )
            ):
                given, name = f"unit {cells[place]!r} in a line of units", self.rows.names[column.key]
                remedy = "mend the unit in the lab description, or say unit_line"
                self.faults.add(given, f"{wanted.name!r}", remedy, file=self.table.file, line=line, column=name)
        return True

    def _nameless(self, column: Column) -> None:
        """Rows whose name is empty, a ditto mark or that of a total; a look at all at once spares most tables the loop."""
        names, totals = self.rows.text[column.key], self.form.dialect.summaries
        called = {name for name in set(names) if is_total(name, totals)}
        repeated = {name for name in set(names) if is_ditto(name)}
        if all(names) and not called and not repeated:
            return
        for row, name in enumerate(names):
            if not name:
                remedy = "write the name into the row" if any(names[:row]) else "mend the cell"
                self._misfit(row, column, Misfit("an empty cell", "a name", remedy))
            elif name in repeated:
                remedy = "write the name into the row: nothing is taken over from the row above"
                self._misfit(row, column, Misfit(f"{name!r}, a ditto mark", "a name", remedy))
            elif name in called:
                self.out[row] = ("remark", f"{name!r}, a total")

    def _kept(self) -> Rows:
        rows, lines = self.rows, self.table.lines
        for row, (kind, why) in sorted(self.out.items()):
            self.file.told.left_out("refused" if kind == "misfit" else kind)
            if kind != "misfit":
                self._note(why, "data", "this row is not used", lines[row])
        if not self.out:
            return rows
        return rows.only([i for i in range(len(lines)) if i not in self.out])

    def _note(self, given: str, expected: str, remedy: str, line: int | None = None, column: str | None = None) -> None:
        self.file.tellings.note(Fault(given, expected, remedy, self.table.file, line, column))


def _names(cells: Sequence[str]) -> list[str]:
    names = list(map(str.strip, cells))
    if "".join(names).isascii():
        return names
    return [unicodedata.normalize("NFC", n) for n in names]
