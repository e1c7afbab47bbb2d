"""Arrays from containers as columns of a table: numbers bit for bit, texts as they stand, rows counted from 1."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import cast

import numpy as np
from numpy.typing import NDArray

from monochord.files.formats.asked import Asked
from monochord.files.formats.dates import written
from monochord.files.formats.rows import sound
from monochord.files.number_column import NumberColumn
from monochord.files.table import Table
from monochord.ground.faults import Fault, Gatherer

Any1D = NDArray[np.generic]
Structured = NDArray[np.void]


def named_columns(name: str, array: Any1D) -> Iterator[tuple[str, Any1D]]:
    """The columns of an array: fields by name, nested ones by dotted path, a second dimension by its number.

    array  (n,), (n, m) or structured (n,);  name  of a single column

    >>> a = np.zeros(2, [("p", "U3"), ("xyz", "f8", 2)])
    >>> [n for n, _ in named_columns("", a)]
    ['p', 'xyz.0', 'xyz.1']
    >>> [n for n, _ in named_columns("", np.zeros((2, 3)))]
    ['1', '2', '3']
    """
    if array.dtype.names is not None:
        records = cast(Structured, array)
        for field in array.dtype.names:
            yield from named_columns(f"{name}.{field}" if name else field, records[field])
    elif array.ndim > 1:
        flat = array.reshape(len(array), -1)
        for i in range(flat.shape[1]):
            yield f"{name}.{i}" if name else str(i + 1), flat[:, i]
    else:
        yield name or "1", array


def table_of_arrays(
    file: str, arrays: Sequence[tuple[str, Any1D]], units: Sequence[str], asked: Asked, faults: Gatherer
) -> Table | None:
    """A table of named columns, all as long as each other; None with faults when one holds no numbers or texts.

    file  as shown;  arrays  (name, (n,) array);  units  beside the names, or ()
    """
    lengths = {len(array) for _, array in arrays}
    if len(lengths) != 1:
        told = ", ".join(f"{name} has {len(array)}" for name, array in arrays) or "no column"
        faults.add(told, "columns of one length", "see the file", file=file)
        return None
    table = Table(file, tuple(name for name, _ in arrays), tuple(units), [], range(1, lengths.pop() + 1), asked.dialect)
    for name, array in arrays:
        cells = _cells(table, name, array, asked, faults)
        if cells is None:
            return None
        table.columns.append(cells)
    return table


def _cells(table: Table, name: str, array: Any1D, asked: Asked, faults: Gatherer) -> Sequence[str] | None:
    file = table.file
    kind, decimal = array.dtype.kind, asked.dialect.decimal
    if kind in "iuf":
        if array.dtype.itemsize > 8:
            told = f"column of {array.dtype.name}"
            table.notes.append(Fault(told, "double precision", "rounded to double precision", file, None, name))
            array = array.astype(np.float64)
        spelled = asked.kinds.get(name) in ("number", "whole")
        return NumberColumn(array, decimal if spelled else ".")
    if kind == "b":
        return ["true" if v else "false" for v in array.tolist()]
    if kind in "USO":
        return _texts(file, name, array, faults)
    if kind == "M":
        return _dates(file, name, array, asked, faults)
    faults.add(
        f"a column of type {array.dtype}",
        "numbers or texts",
        "pass the column over, or keep real numbers",
        file=file,
        column=name,
    )
    return None


def _texts(file: str, name: str, array: Any1D, faults: Gatherer) -> list[str]:
    """Texts as they stand; bytes must be UTF-8."""
    found = []
    broken = _no_characters(array)
    for row, wrong in enumerate(broken.tolist(), start=1):
        value = "\0" if wrong else array[row - 1]
        try:
            text = value.decode("utf-8") if isinstance(value, bytes) else str(value)
        except UnicodeDecodeError:
            text = "\0"
        if not sound(text):
            expected, remedy = "text in utf-8", "write the file in utf-8"
            faults.add("a zero byte or half a character", expected, remedy, file=file, line=row, column=name)
            text = ""
        found.append(text)
    return found


def _no_characters(array: Any1D) -> NDArray[np.bool_]:
    """Rows (n,) of a text array that hold code points above the last one, of which Python makes no text at all."""
    if array.dtype.kind != "U" or not array.dtype.itemsize:
        return np.zeros(len(array), np.bool_)
    native = np.ascontiguousarray(array.astype(array.dtype.newbyteorder("=")))
    codes = native.view(np.uint32).reshape(len(array), -1)
    return np.asarray((codes > sys.maxunicode).any(axis=1))


def _dates(file: str, name: str, array: Any1D, asked: Asked, faults: Gatherer) -> list[str]:
    """Dates as the column's notation writes them; anywhere else a date is a fault."""
    found = []
    for row, value in enumerate(array.astype("datetime64[us]").tolist(), start=1):
        cell = "" if value is None else None
        if isinstance(value, datetime):
            cell = written(value, asked.notations.get(name, ""))
        if cell is None:
            expected = f"a {asked.kinds.get(name, 'number or text')}, not a date"
            faults.add(f"{value}", expected, "mend the column", file=file, line=row, column=name)
        found.append(cell or "")
    return found
