"""JSON lines: one object a line, its nested keys by dotted path.

Numbers keep the digits that stand in the file, so that a name written as a number (1e5) stays that name and a value
is read by the one number reader. NaN and Infinity, which JSON does not have, and a key that stands twice in one
object are refused with their line.
"""

from __future__ import annotations

import json
from collections.abc import Iterator

from monochord.files.decode import decode
from monochord.files.formats.asked import Asked, Format
from monochord.files.formats.rows import clean, table_of_rows
from monochord.files.table import Table
from monochord.files.words import listed
from monochord.ground.faults import Fault, Gatherer


class _Number(str):
    """The digits of a number as they stand in the file."""

    __slots__ = ()


class _Odd(ValueError):
    """What JSON lets pass and a measured value must not."""

    def __init__(self, given: str, expected: str, column: str | None = None) -> None:
        self.given, self.expected, self.column = given, expected, column
        super().__init__(given)


class _Pairs(list[tuple[str, object]]):
    """One object as its pairs, before anybody merged keys that stand twice."""


def table(data: bytes, file: str, asked: Asked, faults: Gatherer) -> Table | None:
    r"""A table from JSON lines: the columns are all keys in the order in which they first come.

    Raises Refused when the bytes are no text.

    >>> found = table(b'{"p": "A", "at": {"x": 1.50}}\n{"p": "B"}\n', "t.jsonl", Asked(), Gatherer())
    >>> (found.header, [list(c) for c in found.columns]) if found else None
    (('p', 'at.x'), [['A', 'B'], ['1.50', '']])
    """
    text, notes = decode(data, file, asked.dialect.encoding)
    comment, unfinished = asked.dialect.comment, not text.endswith("\n")
    lines = text.split("\n")
    while lines and not lines[-1].strip():
        lines.pop()
    found: list[tuple[int, dict[str, str]]] = []
    before, remarks, blank = len(faults.faults), 0, text.count("\n") + unfinished - len(lines)
    for number, line in enumerate(lines, start=1):
        if not line.strip() or (comment and line.startswith(comment)):
            remarks += bool(line.strip())
            blank += not line.strip()
            continue
        try:
            found.append((number, dict(_cells(line))))
        except _Odd as odd:
            faults.add(odd.given, odd.expected, "mend the line", file=file, line=number, column=odd.column)
        except (ValueError, RecursionError) as error:
            cut_off = unfinished and number == len(lines)
            why = error.msg if isinstance(error, json.JSONDecodeError) else "nested too deeply"
            place = error.colno if isinstance(error, json.JSONDecodeError) else None
            remedy = "the file seems cut off; copy it again" if cut_off else "mend the line"
            faults.add(
                f"{line.strip()[:60]!r} ({why})", "one JSON object", remedy, file=file, line=number, column=place
            )
    header = list(dict.fromkeys(key for _, cells in found for key in cells))
    if not header:
        if len(faults.faults) == before:
            faults.add("no object", "one JSON object a line", "see the file", file=file)
        return None
    rows = [
        (number, [asked.spelled(c, k) if isinstance(c := cells.get(k, ""), _Number) else c for k in header])
        for number, cells in found
    ]
    made = table_of_rows(file, header, (), rows, asked)
    made.refused = len(faults.faults) - before
    made.remarks += remarks
    made.blank += blank
    made.notes[:0] = [*notes, *_lacking(file, header, found, asked)]
    return made


def _cells(line: str) -> Iterator[tuple[str, str]]:
    value = json.loads(
        line, object_pairs_hook=_Pairs, parse_float=_Number, parse_int=_Number, parse_constant=_no_constant
    )
    if not isinstance(value, _Pairs):
        raise _Odd(f"{line.strip()[:60]!r}", "one JSON object in braces")
    seen: set[str] = set()
    for key, cell in _flat("", value):
        name = clean(key)
        if name in seen:
            raise _Odd(f"key {name!r} twice", "each key once", name)
        seen.add(name)
        yield name, cell


def _no_constant(word: str) -> None:
    raise _Odd(word, "a number as JSON has it, or null where there is none")


def _flat(path: str, value: object) -> Iterator[tuple[str, str]]:
    if isinstance(value, _Pairs):
        for key, item in value:
            yield from _flat(f"{path}.{key}" if path else key, item)
    elif isinstance(value, list):
        for place, item in enumerate(value):
            yield from _flat(f"{path}.{place}", item)
    else:
        yield path, _cell(value)


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    assert isinstance(value, str)
    return value


def _lacking(file: str, header: list[str], found: list[tuple[int, dict[str, str]]], asked: Asked) -> Iterator[Fault]:
    """Described keys that some objects lack, told once a key."""
    for key in header:
        lines = [number for number, cells in found if key not in cells] if key in asked.kinds else []
        if lines:
            given = (
                f"no key {key!r} in {len(lines)} of {len(found)} objects (line {listed([str(n) for n in lines], 5)})"
            )
            yield Fault(given, "the key, or null", "taken as empty", file, lines[0], key)


FORMAT = Format("json lines", "JSON lines: one object a line", table)
