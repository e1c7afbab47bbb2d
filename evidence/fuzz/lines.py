"""An independent small reader: lines, records and numbers counted without any of the product's code.

Slow, plain, and without judgement: it says what stands where, or that it cannot say. What the product tells of a file
is held against it.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation, localcontext

#: Signs that end a line for some programs and not for others: texts that hold them are not judged.
_ODD_ENDS = "\x0b\x1e\x85\u2028\u2029\x1a"

_BLANKS = " \t\u00a0\u2009\u202f\u2007\u2008\u2002\u2003\x0c"
_MINUS = "\u2212\u2013\u2012\u2010\u2011\uff0d\ufe63"


@dataclass(frozen=True, slots=True)
class Record:
    """One record: 1-based line with which it begins, how many lines it has, its cells; None where quotes are wrong."""

    line: int
    span: int
    cells: list[str] | None

    @property
    def blank(self) -> bool:
        """Whether nothing stands in it; where it was not cut, an empty pair of quotes is nothing too."""
        return self.cells is not None and not any(c.replace('""', "").strip() for c in self.cells)


def text_of(data: bytes, encoding: str) -> str | None:
    """The text of bytes without marks, with newlines; None when it is not this encoding or cannot be judged."""
    try:
        text = data.decode(encoding)
    except UnicodeError:
        return None
    if any(sign in text for sign in _ODD_ENDS):
        return None
    # ends of lines first: a mark between a carriage return and a newline keeps the two apart
    text = re.sub("\r+\n|\r", "\n", text).removeprefix("\u00ef\u00bb\u00bf").replace("\ufeff", "")
    return re.sub("^\f+|\f+$", "", text, flags=re.MULTILINE)  # a page break at a line's edge is none of its signs


def lines_of(text: str) -> list[str]:
    """The lines of a text; what stands behind the last newline is a line when there is anything."""
    lines = text.split("\n")
    return lines if lines[-1] else lines[:-1]


def records_of(lines: list[str], mark: str, first: int, comment: str = "") -> list[Record]:
    """Records from the line ``first`` (1-based) on; ``mark`` "" where quotes do not matter, as in remarks they never do."""
    found, place = [], first - 1
    while place < len(lines):
        line = lines[place]
        if not mark or '"' not in line or (comment and line.startswith(comment)):
            found.append(Record(place + 1, 1, line.split(mark) if mark else [line]))
            place += 1
            continue
        record = _quoted(lines, mark, place)
        found.append(record)
        place += record.span
    return found


def _quoted(lines: list[str], mark: str, place: int) -> Record:
    """One record with quotes: a cell that begins with one ends with one, and those inside are doubled."""
    cells, cell, row, column = list[str](), "", place, 0
    inside = closed = False
    begins = True
    while True:
        line = lines[row]
        if column >= len(line):
            if not inside:
                cells.append(cell)
                return Record(place + 1, row - place + 1, cells)
            if row + 1 >= len(lines):
                return Record(place + 1, len(lines) - place, None)
            cell, row, column = cell + "\n", row + 1, 0
            continue
        sign = line[column]
        column += 1
        if inside:
            if sign != '"':
                cell += sign
            elif line[column : column + 1] == '"':
                cell, column = cell + '"', column + 1
            else:
                inside, closed = False, True
        elif sign == mark:
            cells.append(cell)
            cell, begins, closed = "", True, False
        elif closed:
            return Record(place + 1, 1, None)
        elif sign == '"' and begins:
            inside, begins = True, False
        else:
            cell, begins = cell + sign, False


def number_of(cell: str, decimal: str, grouping: str) -> float | None:
    """The number of a cell by its spelling, None when it is none that everybody would read."""
    text = "".join("-" if c in _MINUS else c for c in cell.strip().strip(_BLANKS))
    if grouping == " ":
        text = "".join(" " if c in _BLANKS else c for c in text)
    elif grouping == "'":
        text = text.translate(dict.fromkeys(map(ord, "\u2019\u02bc\u2032\uff07"), "'"))
    digits = "[0-9]"
    groups = rf"[1-9]{digits}{{0,2}}(?:{re.escape(grouping)}{digits}{{3}})+" if grouping else "(?!)"
    mantissa = rf"(?:{groups}|{digits}+)(?:{re.escape(decimal)}{digits}*)?|{re.escape(decimal)}{digits}+"
    found = re.fullmatch(rf"([+-]?)({mantissa})(?:[eEdDqQ]([+-]?{digits}+))?", text)
    power = ""
    if found is not None:
        sign, body, power = found[1], found[2], found[3] or ""
    elif lost := re.fullmatch(rf"([+-]?)(0?{re.escape(decimal)}{digits}+)([+-]{digits}{{3}})", text):
        sign, body, power = lost[1], lost[2], lost[3]
    else:
        return None
    plain = body.replace(grouping, "") if grouping else body
    return _double(sign + plain.replace(decimal, "."), power)


def _double(mantissa: str, power: str) -> float | None:
    """The double nearest to a decimal number; None when it is too large, or too small for anything but 0."""
    if len(power.lstrip("+-0")) > 6:
        return float(mantissa) if not Decimal(mantissa) else None
    with localcontext() as context:
        context.prec, context.Emax, context.Emin = 6000, 999_999_999, -999_999_999
        try:
            exact = Decimal(f"{mantissa}e{power or '0'}")
        except InvalidOperation:
            return None
        value = float(exact)
        return None if value in (float("inf"), float("-inf")) or (value == 0.0 and exact != 0) else value


def name_of(cell: str) -> str:
    """A name as it is compared: without outer blanks, in one Unicode form."""
    return unicodedata.normalize("NFC", cell.strip())
