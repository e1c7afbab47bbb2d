"""From the bytes of a table to rows by meaning: names as text, words mapped, numbers in SI.

Rows that are no data (remarks, totals, marker values, a bad status) are left out with a note; everything
else that does not fit is a fault with line and column. Faults of one file come all at once.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monochord.files import clock, numbers
from monochord.files.columns import Array, Column, Form, Rows
from monochord.files.formats.opening import open_table
from monochord.files.table import Table
from monochord.files.words import did_you_mean, listed
from monochord.ground import units
from monochord.ground.faults import Fault, Gatherer, Refused


def read_rows(data: bytes, file: str, form: Form, faults: Gatherer, notes: list[Fault]) -> Rows | None:
    """The rows of one file by meaning, None when it cannot be cut into columns; faults and notes gathered."""
    try:
        table = open_table(data, file, form, faults)
    except Refused as refusal:
        faults.faults.extend(refusal.faults)
        return None
    if table is None:
        return None
    notes.extend(table.notes)
    told, noted = len(faults.faults), len(notes)
    rows = _Reading(table, form, faults, notes).read()
    # a cell that its format refused is empty here, and is not told twice
    places = {(f.file, f.line, f.column) for f in faults.faults[:told] if f.file == file and f.column is not None}
    new = map(table.placed, faults.faults[told:])
    faults.faults[told:] = [f for f in new if (f.file, f.line, f.column) not in places]
    notes[noted:] = map(table.placed, notes[noted:])
    return rows


@dataclass(frozen=True, slots=True)
class _Misfit:
    """A cell that does not fit; wordy when it holds no digit, so that the row may be a remark."""

    given: str
    expected: str
    remedy: str = "mend the cell"
    wordy: bool = False


class _Reading:
    """One file on its way to rows: what does not fit is kept by row until whole rows can be judged."""

    def __init__(self, table: Table, form: Form, faults: Gatherer, notes: list[Fault]) -> None:
        self.table, self.form, self.faults, self.notes = table, form, faults, notes
        self.rows = Rows(table.file, table.lines)
        self.misfits: dict[int, dict[str, _Misfit]] = {}
        self.out: dict[int, str] = {}
        self.head = table.dialect.header_line or None

    def read(self) -> Rows:
        found = self._find_columns()
        for column, place in found:
            cells, kind = self.table.columns[place], column.meaning.kind
            if kind == "text":
                names = _names(cells)
                self.rows.text[column.key] = [column.words.get(n, n) for n in names] if column.words else names
            elif kind in ("word", "axis"):
                self._words(column, cells)
            elif kind == "time":
                self._times(column, cells)
            else:
                self._numbers(column, place, cells)
        self._status()
        self._settle(found)
        return self._kept()

    # -- columns ---------------------------------------------------------------------------------

    def _find_columns(self) -> list[tuple[Column, int]]:
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
            found.append((column, header.index(name)))
            taken.add(name)
        for name in header:
            if name and name not in taken:
                remedy = "not read; list it under passed_over in the lab description to say so"
                self._note(f"column {name!r}", "a described column", remedy, self.head, name)
        return found

    def _lack(self, column: Column) -> None:
        there = [h for h in self.table.header if h]
        given = f"no column {column.names[0]!r}"
        expected = f"a column for {column.key!r}; the file has {listed(there, 30)}"
        hint = did_you_mean(column.names[0], there)
        remedy = f"{hint}mend the column's name in the file or in the lab description"
        if column.meaning.needed:
            self.faults.add(given, expected, remedy, file=self.table.file, line=self.head, column=column.names[0])
        else:
            self._note(given, expected, remedy, self.head, column.names[0])

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
                self._misfit(row, column, _Misfit(repr(cell), f"one of {listed(accepted)}", remedy))
            values.append(ours.get(word, ""))
        self.rows.text[column.key] = values

    def _times(self, column: Column, cells: Sequence[str]) -> None:
        values, odd = clock.seconds(cells, column.notation)
        for row in odd:
            if cells[row].strip() or column.meaning.lacking == "refuse":
                expected = f"a time like {column.notation}"
                self._misfit(row, column, _Misfit(repr(cells[row]), expected, "mend the cell or the notation"))
        self.rows.number[column.key] = np.array(values, float)

    def _numbers(self, column: Column, place: int, cells: Sequence[str]) -> None:
        spelling = self.form.dialect.spelling
        if column.notation:
            array, odd = numbers.sexagesimal_column(cells, spelling)
        else:
            array, odd = numbers.column(cells, spelling)
        for cell in odd:
            self._odd_number(column, cells, cell)
        for marker in column.markers:
            for row in np.flatnonzero(np.isclose(array, marker, rtol=1e-9, atol=0.0)).tolist():
                array[row] = np.nan
                self._odd_number(column, cells, numbers.Odd(row, "missing", "a declared marker for no reading"))
        if column.meaning.kind == "whole":
            for row in np.flatnonzero(array % 1.0 > 0.0).tolist():
                self._misfit(row, column, _Misfit(repr(cells[row]), "a whole number"))
        self.rows.number[column.key] = column.sign * self._in_si(column, place, array)

    def _odd_number(self, column: Column, cells: Sequence[str], cell: numbers.Odd) -> None:
        given, lacking = repr(cells[cell.index]), column.meaning.lacking
        if cell.kind != "missing":
            self._misfit(cell.index, column, _Misfit(given, cell.why, wordy=cell.kind == "words"))
        elif lacking == "refuse":
            self._misfit(cell.index, column, _Misfit(f"{given} ({cell.why})", "a number"))
        elif lacking == "drop row":
            self.out[cell.index] = f"{given} in column {self.rows.names[column.key]} ({cell.why})"
        elif cells[cell.index].strip():
            line, name = self.table.lines[cell.index], self.rows.names[column.key]
            self._note(f"{given} ({cell.why})", "a number", "taken as not read", line, name)

    # -- units -----------------------------------------------------------------------------------

    def _in_si(self, column: Column, place: int, array: Array) -> Array:
        if column.unit_column:
            return self._by_unit_column(column, array)
        unit = column.unit
        if column.unit_line:
            spelled = self.table.units[place] if self.table.units else ""
            unit = self._unit(spelled, column, self.table.dialect.unit_line, self.rows.names[column.key])
        if unit is None or (unit.factor, unit.offset) == (1.0, 0.0):
            return array
        return array * unit.factor + unit.offset

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

    def _misfit(self, row: int, column: Column, misfit: _Misfit) -> None:
        self.misfits.setdefault(row, {})[column.key] = misfit

    def _status(self) -> None:
        if self.form.good_status and "status" in self.rows.text:
            for row, word in enumerate(self.rows.text["status"]):
                if word not in self.form.good_status:
                    self.out[row] = f"status {word!r}"
                    self.misfits.pop(row, None)

    def _settle(self, found: list[tuple[Column, int]]) -> None:
        """Tell remarks and totals from faults, row by row."""
        names = next((c for c, _ in found if c.meaning.kind == "text"), None)
        if names is not None:
            self._nameless(names)
        others = [(c.key, place) for c, place in found if c.meaning.kind != "text"]
        for row, misfits in sorted(self.misfits.items()):
            if row in self.out:
                continue
            cells = [column[row].strip() for column in self.table.columns]
            unread = all(key in misfits or not cells[place] for key, place in others)
            alone = len(cells) > 2 and sum(map(bool, cells)) == 1
            if unread and (alone or any(m.wordy for m in misfits.values())):
                self.out[row] = f"a remark: {' '.join(cells).strip()[:80]}"
                continue
            for key, m in misfits.items():
                line, name = self.table.lines[row], self.rows.names[key]
                self.faults.add(m.given, m.expected, m.remedy, file=self.table.file, line=line, column=name)

    def _nameless(self, column: Column) -> None:
        """Rows whose name is empty or that of a total; a look at all names at once spares most tables the loop."""
        names, totals = self.rows.text[column.key], self.form.dialect.summaries
        if all(names) and totals.isdisjoint(map(str.casefold, names)):
            return
        for row, name in enumerate(names):
            if not name:
                self._misfit(row, column, _Misfit("an empty cell", "a name"))
            elif name.casefold() in totals:
                self.out[row] = f"{name!r}, a total"

    def _kept(self) -> Rows:
        rows, lines = self.rows, self.table.lines
        for row, why in sorted(self.out.items()):
            self._note(why, "data", "this row is not used", lines[row])
        if not self.out:
            return rows
        keep = [i for i in range(len(lines)) if i not in self.out]
        text = {k: [v[i] for i in keep] for k, v in rows.text.items()}
        number = {k: v[keep] for k, v in rows.number.items()}
        return Rows(rows.file, [lines[i] for i in keep], text, number, rows.names)

    def _note(self, given: str, expected: str, remedy: str, line: int | None = None, column: str | None = None) -> None:
        self.notes.append(Fault(given, expected, remedy, self.table.file, line, column))


def _names(cells: Sequence[str]) -> list[str]:
    names = list(map(str.strip, cells))
    if "".join(names).isascii():
        return names
    return [unicodedata.normalize("NFC", n) for n in names]
