"""The head of a text table: preamble, column names, units, and where the rows begin."""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import accumulate

from monochord.files.characters import repaired_name
from monochord.files.table import DELIMITERS, Dialect
from monochord.ground.faults import Fault, Gatherer

#: Lines below a title among which the line of names is looked for.
_LOOKED_BELOW = 40

_SEP = re.compile(r'"?sep=(.)"?;?', re.IGNORECASE)
_BLANKS = re.compile(r'"((?:[^"]|"")*)"(?=[ \t]|$)|([^ \t]+)')


@dataclass(frozen=True, slots=True)
class Head:
    """What stands above the rows of a text table.

    names, units  of the columns;  raw, line  cells and line of the names, as they come again where files were joined
    first  lines before the first row of data;  rows  of them, those that are not blank
    """

    file: str
    dialect: Dialect
    names: tuple[str, ...]
    units: tuple[str, ...]
    raw: tuple[str, ...]
    first: int
    rows: int
    line: str = ""

    @property
    def width(self) -> int:
        """Number of columns."""
        return len(self.names)

    @property
    def mark(self) -> str:
        """The delimiter as a sign, "" where rows are not cut at one."""
        return mark_of(self.dialect)


def mark_of(dialect: Dialect) -> str:
    """The one sign at which rows are cut, "" for runs of blanks and fixed widths."""
    if dialect.delimiter in ("spaces", "fixed"):
        return ""
    return DELIMITERS.get(dialect.delimiter, dialect.delimiter)


def lines_needed(dialect: Dialect) -> int:
    """Lines from which the head can be read."""
    return max(dialect.header_line, dialect.unit_line, dialect.first_data_line) + 2


def head_of(lines: Sequence[str], file: str, dialect: Dialect, faults: Gatherer, notes: list[Fault]) -> Head | None:
    """The head of a table from its first lines; None when there are no names, with the faults gathered.

    >>> found = head_of(["id,x", "A,1"], "t.csv", Dialect(), Gatherer(), [])
    >>> (found.names, found.first) if found else None
    (('id', 'x'), 1)
    """
    dialect = _behind_sep(lines, dialect)
    there = len(lines) - (not lines[-1])
    if there < dialect.header_line or not any(line.strip() for line in lines):
        given, expected = f"{there} lines", f"column names in line {dialect.header_line}"
        faults.add(given, expected, "see the file, or header_line in the lab description", file=file)
        return None
    start = dialect.first_data_line - 1
    if not dialect.header_line:
        first = pieces(lines[min(start, len(lines) - 1)], dialect)
        count = len(dialect.widths) if dialect.delimiter == "fixed" else len(first)
        names = tuple(str(i + 1) for i in range(count))
        return Head(file, dialect, names, (), (), start, _filled(lines[:start]))
    line, extra = _joined(lines, dialect)
    if extra and not dialect.data_from:
        start += extra
    raw = [_clean(c) for c in (pieces(line, dialect) if dialect.delimiter != "fixed" else _over_fields(line, dialect))]
    names = _mended(raw, file, dialect.header_line, notes)
    if len(names) < 2 and dialect.delimiter != "fixed" and _elsewhere(lines, file, dialect, faults):
        return None
    units = _units(lines, names, dialect)
    return Head(file, dialect, names, units, tuple(raw[: len(names)]), start, _filled(lines[:start]), line)


def pieces(line: str, dialect: Dialect) -> list[str]:
    """The cells of one line.

    >>> pieces('A  "wall 3"  1.5', Dialect("spaces")), pieces("A  -1.5-2.5", Dialect("fixed", widths=(3, 4, 4)))
    (['A', 'wall 3', '1.5'], ['A  ', '-1.5', '-2.5'])
    """
    if dialect.delimiter == "spaces":
        if '"' in line:
            return [quoted or plain for quoted, plain in _BLANKS.findall(line)]
        return line.replace("\t", " ").split(" ") if "  " not in line and line[:1] != " " else _split(line)
    if dialect.delimiter == "fixed":
        ends = [sum(dialect.widths[: i + 1]) for i in range(len(dialect.widths))]
        cells = [line[a:b] for a, b in zip([0, *ends[:-1]], ends, strict=True)]
        return [*cells, line[ends[-1] :]] if line[ends[-1] :].strip() else cells
    mark = mark_of(dialect)
    if '"' in line:
        return list(map(unquoted, next(csv.reader([line], delimiter=mark), [])))
    return line.split(mark)


def unquoted(cell: str) -> str:
    """A cell whose quotes stand behind a blank, so that the rules of quoting did not see them, without its quotes.

    >>> unquoted(' "T 1"'), unquoted('"T1"'), unquoted(' 6" tube')
    ('T 1', '"T1"', ' 6" tube')
    """
    bare = cell.strip()
    if cell[:1] in (" ", "\t") and len(bare) > 1 and bare[0] == bare[-1] == '"' and '"' not in bare[1:-1]:
        return bare[1:-1]
    return cell


def _split(line: str) -> list[str]:
    """Cells between runs of blanks and tabs; other blanks may stand inside a number as grouping marks."""
    return [c for c in re.split(r"[ \t]+", line) if c]


def _behind_sep(lines: Sequence[str], dialect: Dialect) -> Dialect:
    """Spreadsheets read a first line ``sep=;``: where it says what is declared, the table begins below it."""
    found = _SEP.fullmatch(lines[0].strip()) if lines else None
    if found is None or dialect.header_line != 1 or found[1] != mark_of(dialect):
        return dialect
    unit_line = dialect.unit_line + 1 if dialect.unit_line else 0
    data_from = dialect.data_from + 1 if dialect.data_from else 0
    return replace(dialect, header_line=2, unit_line=unit_line, data_from=data_from)


def _joined(lines: Sequence[str], dialect: Dialect) -> tuple[str, int]:
    """The line of names, with the lines that belong to it because a quoted name runs over them."""
    place, extra = dialect.header_line - 1, 0
    line = lines[place]
    while mark_of(dialect) and line.count('"') % 2 and place + extra + 1 < len(lines) and extra < 20:
        extra += 1
        line += " " + lines[place + extra]
    return line, extra


def _mended(raw: list[str], file: str, line: int, notes: list[Fault]) -> tuple[str, ...]:
    names = [repaired_name(c) for c in raw]
    for old, new in zip(raw, names, strict=True):
        if old != new:
            remedy = "read as that: it was decoded wrongly once"
            notes.append(Fault(f"column name {old!r}", repr(new), remedy, file, line, new))
    while names and not names[-1]:
        names.pop()
    return tuple(names)


def _another_delimiter(line: str, file: str, dialect: Dialect, faults: Gatherer) -> bool:
    other = max(";,\t|", key=line.count)
    if not line.count(other):
        return False
    remedy = f"the line looks separated by {other!r}; mend the delimiter in the lab description"
    given, expected = f"one column {line.strip()[:60]!r}", f"columns separated by {dialect.delimiter!r}"
    faults.add(given, expected, remedy, file=file, line=dialect.header_line)
    return True


def _elsewhere(lines: Sequence[str], file: str, dialect: Dialect, faults: Gatherer) -> bool:
    """A fault when names that are one cell are cut otherwise, or stand further down."""
    line, _ = _joined(lines, dialect)
    return _another_delimiter(line, file, dialect, faults) or _names_below(lines, file, dialect, faults)


def _names_below(lines: Sequence[str], file: str, dialect: Dialect, faults: Gatherer) -> bool:
    """A fault when the line of names is a title and the names stand further down."""
    start = dialect.header_line
    for number, line in enumerate(lines[start : start + _LOOKED_BELOW], start=start + 1):
        cells = [c.strip() for c in pieces(line, dialect)]
        if len(cells) > 1 and sum(map(bool, cells)) > 1 and any(c[:1].isalpha() for c in cells if c):
            given, expected = f"one column {lines[start - 1].strip()[:60]!r}", f"column names in line {start}"
            remedy = f"they seem to stand in line {number}: say header_line = {number} in the dialect of this table"
            faults.add(given, expected, remedy, file=file, line=start)
            return True
    return False


def _over_fields(line: str, dialect: Dialect) -> list[str]:
    """The names above fields of fixed width; they need not keep to the widths when they are as many as the fields."""
    ends = list(accumulate(dialect.widths))
    torn = any(line[e - 1 : e].strip() and line[e : e + 1].strip() for e in ends)
    for names in (re.split(r"[ \t]{2,}", line.strip()), line.split()) if torn else ():
        if len(names) == len(ends):
            return names
    cells = pieces(line, dialect)
    if len(cells) > len(ends):
        cells[-2:] = [cells[-2] + cells[-1]]
    return cells


def _units(lines: Sequence[str], names: Sequence[str], dialect: Dialect) -> tuple[str, ...]:
    if not dialect.unit_line or len(lines) < dialect.unit_line:
        return ()
    cells = [repaired_name(_clean(c)) for c in pieces(lines[dialect.unit_line - 1], dialect)]
    return tuple(cells[: len(names)] + [""] * (len(names) - len(cells)))


def _clean(cell: str) -> str:
    text = " ".join(cell.strip().strip('"').split())
    return text if text.isascii() else unicodedata.normalize("NFC", text)


def _filled(lines: Sequence[str]) -> int:
    return sum(1 for line in lines if line.strip())
