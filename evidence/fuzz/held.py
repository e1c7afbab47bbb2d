"""Rows that the product gives of a file that is no text, held against what a plain reader finds in it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from evidence.fuzz import lines as plain
from evidence.fuzz import texts
from evidence.fuzz.tables import Came
from monochord.files.columns import Form
from monochord.files.formats.asked import Kept
from monochord.files.table import Dialect

#: Faults of one column and notes of one kind are named so often; behind them they are counted.
_NAMED = 20


@dataclass(frozen=True, slots=True)
class Row:
    """A row as a plain reader finds it: name, x and y as they stand; ``...`` where it cannot say."""

    name: str | None
    x: float | None
    y: float | None
    sure: bool = True


def form_of(format_name: str, inside: str = "", sheet: str = "", dialect: Dialect | None = None) -> Form:
    """Names, x [mm] that every row must have, and y [m] that may lack, kept in a file of this format."""
    form = texts.form_of(dialect or Dialect(), ("point", "x", "y"))
    return replace(form, kept=Kept(format_name, sheet, inside))


def against(came: Came, wanted: Mapping[int, Row] | None, *, sound: bool = False) -> str:  # noqa: PLR0911 - one question after the other
    """What is wrong with the rows that were given, "" when nothing is.

    wanted  number of a row -> what stands in it, rows without anything left out; None when a plain reader cannot read it
    sound   whether the file was never damaged
    """
    for fault in came.told:
        if not (fault.given and fault.expected and fault.remedy and fault.file):
            return f"unsaid: {fault!r}"
    rows = came.rows
    if sound and (rows is None or came.faults.faults or len(rows) != len(wanted or ())):
        return f"wrong: a sound file is refused: {came.told[:2]}"
    if rows is None:
        return "" if came.faults.faults else "partial: no rows and no fault"
    told = rows.told
    if told is None or not told.adds_up or told.data != len(rows):
        return f"partial: counts do not add up: {told}"
    if wanted is None:
        return f"wrong: {len(rows)} rows of a file that a plain reader refuses" if len(rows) else ""
    if "name" not in rows.text or "x" not in rows.number:
        return "" if came.faults.faults else "partial: a column lacks and no fault"
    return _lost(came, wanted) or _bent(came, wanted)


def _lost(came: Came, wanted: Mapping[int, Row]) -> str:
    assert came.rows is not None
    if len(came.told) > _NAMED or any("more like it" in fault.given for fault in came.told):
        return ""  # they are counted from there on
    used, said = set(came.rows.lines), {fault.line for fault in came.told}
    for line, row in wanted.items():
        if line not in used and line not in said and row.sure:
            return f"partial: row {line} {row} is lost in silence"
    return ""


def _bent(came: Came, wanted: Mapping[int, Row]) -> str:
    rows = came.rows
    assert rows is not None
    for line, name, x, y in zip(rows.lines, rows.text["name"], rows.known_all("x"), rows.known_all("y"), strict=True):
        row = wanted.get(line)
        if row is None:
            return f"wrong: row {line} is data ({name!r}, {x}, {y}) and is not in the file"
        if not row.sure:
            continue
        if row.name is not None and plain.name_of(name) != plain.name_of(row.name):
            return f"wrong: name {name!r} for {row.name!r} in row {line}"
        for given, stands, factor in ((x, row.x, 1e-3), (y, row.y, 1.0)):
            if "y" not in rows.number and factor == 1.0:
                continue
            number = stands if stands is not None and math.isfinite(stands) else None
            if (number is None) != (given is None):
                return f"wrong: {given} for {stands} in row {line}"
            if number is not None and given is not None and given != number * factor:
                return f"wrong: {given!r} for {number!r} in row {line}"
    return ""
