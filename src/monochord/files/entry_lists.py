"""Lists that people keep of magnets, places, instruments, calibrations, people and steps: a table as text, or TOML.

A table has the keys of its kind as heads, with a comma, semicolon or tab between cells; lines that begin with # are
remarks. A TOML file may hold several kinds, each row a table such as ``[[magnet]]``.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from monochord.files.document import parse
from monochord.files.places import line_of
from monochord.ground.faults import Fault, Gatherer, Refused

#: Signs that may stand between cells; the one that the head has most of is taken.
BETWEEN = (",", ";", "\t")


@dataclass(frozen=True, slots=True)
class Listed:
    """One row of a list: its kind, where it stands, and what its keys hold; cells of a text table are all text."""

    kind: str
    line: int
    cells: Mapping[str, object]


def read_list(path: Path, kind: str) -> list[Listed]:
    """The rows of a list; ``kind`` is needed for a table and not for TOML, whose rows name theirs."""
    text = _text(path)
    if path.suffix.lower() == ".toml":
        return list(_from_toml(text, str(path), kind))
    if not kind:
        remedy = "say so, such as --as magnet"
        raise Refused([Fault("a table whose rows name no kind", "the kind of its rows", remedy, str(path))])
    return _from_table(text, str(path), kind)


def _text(path: Path) -> str:
    raw = path.read_bytes()
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        given = f"byte {raw[error.start]:#04x}"
        raise Refused([Fault(given, "UTF-8 text", "save the file as UTF-8", str(path), line)]) from None


def _from_toml(text: str, name: str, kind: str) -> Iterator[Listed]:
    for found, rows in parse(text, name).data.items():
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            remedy = f"write each row below [[{found}]]"
            line = line_of(text, (found,))
            raise Refused([Fault(f"{found!r} with other than rows", "rows of one kind", remedy, name, line, found)])
        if kind and found != kind:
            line = line_of(text, (found,))
            raise Refused([Fault(f"rows of {found!r}", f"rows of {kind!r} only", "leave --as out", name, line, found)])
        for i, row in enumerate(rows):
            cells = {k: v.isoformat() if isinstance(v, date) else v for k, v in row.items()}
            yield Listed(found, line_of(text, (found, i)) or 1, cells)


def _from_table(text: str, name: str, kind: str) -> list[Listed]:
    faults = Gatherer(name)
    rows = list(_rows(text, faults))
    if not rows:
        faults.add("an empty file", "a head and rows", "check the file")
    faults.refuse_if_any()
    head_line, head = rows[0]
    heads = [cell.strip() for cell in head]
    for i, column in enumerate(heads):
        if not column or column in heads[:i]:
            given = f"the head {column!r} twice" if column else "a column without a head"
            faults.add(given, "a head of its own for every column", "mend the head", line=head_line, column=i + 1)
    faults.refuse_if_any()
    listed = []
    for line, cells in rows[1:]:
        if len(cells) > len(heads):
            given = f"{len(cells)} cells, the last {cells[-1]!r}"
            remedy = "put cells that hold the sign between cells into quotes"
            faults.add(given, f"{len(heads)} cells", remedy, line=line, column=len(heads) + 1)
            continue
        found = {h: c.strip() for h, c in zip(heads, cells, strict=False) if c.strip()}
        listed.append(Listed(kind, line, found))
    faults.refuse_if_any()
    return listed


def _rows(text: str, faults: Gatherer) -> Iterator[tuple[int, list[str]]]:
    """Rows that hold something, each with the line on which it begins."""
    lines = text.split("\n")
    head = next((ln for ln in lines if ln.strip() and not ln.startswith("#")), "")
    reader = csv.reader(iter([ln + "\n" for ln in lines]), delimiter=max(BETWEEN, key=head.count), strict=True)
    before = 0
    while True:
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            remedy = "close the quotes that the line opens"
            faults.add(str(error), "a row of cells", remedy, line=before + 1)
            return
        line, before = before + 1, reader.line_num
        if any(cell.strip() for cell in row) and not row[0].startswith("#"):
            yield line, row
