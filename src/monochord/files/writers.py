"""Results written for others: tables as CSV by RFC 4180, and everything as HDF5 with units.

Numbers keep all their digits with a decimal point, names stay text, text is UTF-8. What is not known is an empty
cell, or NaN with its reason beside it. Reading back gives the very numbers that were written.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, cast

import numpy as np

from monochord.files.writers_tables import Cell, ResultTable

if TYPE_CHECKING:
    import h5py

_UNIT = re.compile(r"\[([^\[\]]+)\]\.?\s*$")
_OUT = str.maketrans({"%": "%25", "/": "%2F", "\0": "%00"})

Schema = Mapping[str, object]
Part = Mapping[str, object]


def csv_text(table: ResultTable) -> str:
    r"""A table as CSV: commas, CRLF, quotes where a cell needs them, units in the heads.

    >>> csv_text(ResultTable("t", (("magnet", ""), ("x", "m")), (("Q,1", 1e-6), ("Q2", None))))
    'magnet,x [m]\r\n"Q,1",1e-06\r\nQ2,\r\n'
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(table.heads)
    writer.writerows([_spelled(cell) for cell in row] for row in table.rows)
    return stream.getvalue()


def _spelled(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return cell if isinstance(cell, str) else repr(cell)


def hdf5_bytes(document: Mapping[str, object], schema: Schema) -> bytes:
    """The whole result document as an HDF5 file: objects are groups, numbers and matrices datasets with their unit.

    document  the parsed result document
    schema    its JSON Schema, whose descriptions end in the unit in brackets; what stands without a bracket has none

    A list of objects with the same plain keys is a dataset of records with ``units``, any other list of objects a group
    with the attribute ``kind`` = "list". null is NaN with ``kind`` = "null" and, where the document gives it, the
    reason. Names that HDF5 cannot have are written with ``%2F`` for a slash and so on.

    >>> from monochord.files.writers_read import document_from_hdf5
    >>> document_from_hdf5(hdf5_bytes({"a/b": [1.0, None], "n": {"x": 2}}, {}))
    {'a/b': [1.0, None], 'n': {'x': 2}}
    """
    import h5py

    stream = io.BytesIO()
    with h5py.File(stream, "w", track_order=True, libver=("v110", "v110")) as file:
        _Writer(schema).table(file, document, schema)
    return stream.getvalue()


def stored_name(name: str) -> str:
    """A name as HDF5 can have it.

    >>> stored_name("a/b"), stored_name("."), stored_name("")
    ('a%2Fb', '%2E', '%')
    """
    safe = name.translate(_OUT)
    return "%2E" + safe[1:] if safe in (".", "..") else safe or "%"


class _Writer:
    """Goes through a document and its schema side by side."""

    def __init__(self, schema: Schema) -> None:
        self.root = schema

    def table(self, group: h5py.Group, part: Mapping[str, object], rule: Schema) -> None:
        reasons = part.get("reasons")
        why = reasons if isinstance(reasons, Mapping) else {}
        for name, value in part.items():
            self.value(group, name, value, self._below(rule, name), str(why.get(name, "")))

    def value(self, group: h5py.Group, name: str, value: object, rule: Schema, why: str = "") -> None:
        key = stored_name(name)
        if isinstance(value, Mapping):
            self.table(group.create_group(key, track_order=True), cast(Mapping[str, object], value), rule)
            return
        if isinstance(value, list):
            self._list(group, key, value, rule)
            return
        made = group.create_dataset(key, data=_scalar(value))
        if value is None:
            made.attrs["kind"] = "null"
            if why:
                made.attrs["reason"] = why
        self._unit(made, value, rule)

    def _list(self, group: h5py.Group, key: str, value: list[object], rule: Schema) -> None:
        numbers = _numbers(value)
        if numbers is not None:
            self._unit(group.create_dataset(key, data=numbers), 0.0, rule)
        elif value and all(isinstance(item, str) for item in value):
            import h5py

            group.create_dataset(key, data=np.array(value, object), dtype=h5py.string_dtype())
        elif (records := _records(value)) is not None:
            made = group.create_dataset(key, data=records)
            rules = self._resolved(cast(Schema, rule.get("items", {})))
            units = [_unit_of(self._below(rules, name)) for name in cast(Part, value[0])]
            if any(units):
                made.attrs["units"] = units
            made.attrs["names"] = list(cast(Part, value[0]))
        else:
            inside = group.create_group(key, track_order=True)
            inside.attrs["kind"] = "list"
            items = self._resolved(cast(Schema, rule.get("items", {})))
            for i, item in enumerate(value):
                self.value(inside, str(i), item, items)

    def _unit(self, made: h5py.Dataset, value: object, rule: Schema) -> None:
        unit = _unit_of(rule)
        if unit and isinstance(value, (int, float)) and not isinstance(value, bool):
            made.attrs["unit"] = unit

    def _below(self, rule: Schema, name: str) -> Schema:
        """The rule of a key: a property of that name, or what all other keys follow."""
        known = cast(Mapping[str, Schema], rule.get("properties", {}))
        other = rule.get("additionalProperties")
        return self._resolved(known.get(name, cast(Schema, other) if isinstance(other, Mapping) else {}))

    def _resolved(self, rule: Schema) -> Schema:
        """A rule with what it refers to; its own description goes before the one there. Of several, that of the object."""
        if isinstance(ref := rule.get("$ref"), str):
            there = cast(Mapping[str, Schema], self.root.get("$defs", {})).get(ref.rsplit("/", 1)[-1], {})
            return self._resolved({**there, **{k: v for k, v in rule.items() if k != "$ref"}})
        for several in ("oneOf", "anyOf"):
            for branch in cast(Sequence[Schema], rule.get(several, ())):
                found = self._resolved(branch)
                if found.get("type") != "null":
                    return {**found, **{k: v for k, v in rule.items() if k == "description"}}
        return rule


def _unit_of(rule: Schema) -> str:
    found = _UNIT.search(str(rule.get("description", "")))
    return found[1] if found else ""


def _records(value: list[object]) -> np.ndarray[tuple[int], np.dtype[np.void]] | None:
    """A list of objects that all hold the same keys with values of one type each, as records; None of anything else."""
    import h5py

    parts = [cast(Part, item) for item in value if isinstance(item, Mapping)]
    if not parts or len(parts) != len(value) or any(list(p) != list(parts[0]) for p in parts) or not parts[0]:
        return None
    fields: list[tuple[str, object]] = []
    for name in parts[0]:
        kinds = {type(part[name]) for part in parts}
        if kinds not in ({str}, {bool}, {int}, {float}, {float, type(None)}):
            return None
        kind = {str: h5py.string_dtype(), bool: np.bool_, int: np.int64}.get(min(kinds, key=str), np.float64)
        fields.append((stored_name(name), kind))
    made = np.zeros(len(parts), fields)
    for name, (key, _) in zip(parts[0], fields, strict=True):
        made[key] = [np.nan if part[name] is None else part[name] for part in parts]
    return made


def _scalar(value: object) -> object:
    if value is None:
        return np.float64(np.nan)
    if isinstance(value, bool):
        return np.bool_(value)
    if isinstance(value, int):
        return np.int64(value)
    return np.float64(value) if isinstance(value, float) else str(value)


def _numbers(value: object) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]] | None:
    """A list or a nest of lists of floating-point numbers as an array; None of anything else. What is null is NaN."""
    if not isinstance(value, list) or not value:
        return None
    if all(isinstance(item, float) or item is None for item in value) and any(item is not None for item in value):
        return np.array([np.nan if item is None else item for item in value], np.float64)
    parts = [_numbers(item) for item in value]
    if any(part is None for part in parts) or len({part.shape for part in parts if part is not None}) != 1:
        return None
    return np.array(parts, np.float64)
