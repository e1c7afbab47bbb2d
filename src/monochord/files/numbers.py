"""One number reader for every table: spelling is declared, applied strictly, and never guessed per cell.

A column of ordinary numbers goes through a fast path; only when that fails is each cell looked at. A
cell ends as a number, as missing (lone dots, dangling exponents, missing words), as words (no digit
in it: perhaps the row is a remark), or as bad, which is a fault. Nothing becomes 0 or text in silence.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.files.bulk import BulkColumn
from monochord.files.number_column import NumberColumn

Array = NDArray[np.float64]

#: Cells that stand or fall together in the fast path.
_CHUNK = 1 << 14

_SIGNS = b"0123456789+-.eE; "

_MINUS = {ord(c): "-" for c in "\u2212\u2013\u2012\u2010\u2011\uff0d\ufe63"}
_MINUS |= {ord(c): "+" for c in "\uff0b\ufe62"}
_SPACES = "".join(chr(c) for c in (0xA0, *range(0x2000, 0x200B), 0x202F, 0x205F, 0x3000))
_APOSTROPHES = "\u2018\u2019\u02bc\u02b9\u2032\uff07`\u00b4"
# Runs of digits are taken whole (++): a long cell that is no number is then told in one pass over it.
_PLAIN = re.compile(r"[+-]?(?:\d++\.?\d*+|\.\d++)(?:[eE][+-]?\d++)?", re.ASCII)
_FORTRAN = re.compile(r"([+-]?(?:\d++\.?\d*+|\.\d++))[dDqQ]([+-]?\d++)", re.ASCII)
# An exponent of three digits has lost its letter; only after 0.ddd, so that joined cells never pass for one.
_LETTERLESS = re.compile(r"([+-]?0?\.\d+)([+-]\d{3})", re.ASCII)
_EMPTY = re.compile(r"[+-]?\.?|[+-]?\d*+\.?\d*+[eEdD][+-]?", re.ASCII)

#: What programs print in place of a number that is none.
_NOT_A_NUMBER = re.compile(r"[+-]?1\.#(?:ind|qnan|snan|nan)\d*", re.IGNORECASE)

_EXPONENT, _DIGIT = re.compile("[eEdDqQ]"), re.compile("[1-9]")

#: Signs of the longest cell that is looked at for what it was meant to be.
_LOOKED_AT = 80

#: Spellings that are never read, and what is wanted instead: the first that fits a cell tells why it is refused.
_WHY = (
    (re.compile(r".*\d\s*[*x\u00d7\u00b7]\s*10\D?.*"), "an exponent written as e, such as 1.2e-3"),
    (
        re.compile(r"[^\u00b1\u2213]*\d(?:\s*[\u00b1\u2213].*|\s*\+/?-\s*\d.*|\(\d+\).*)"),
        "one number; its uncertainty in a column of its own",
    ),
    (re.compile(r"[\u00b1\u2213].*"), "one sign in front of a number, not both"),
    (re.compile(r"[\u2014\u2015\u207b\u2796\u00ac~]\s*\d.*"), "a minus sign, if one is meant, and no other stroke"),
    (
        re.compile(r"[<>\u2264\u2265\u2248]\s*=?\s*[+-]?[\d.,].*"),
        "a reading; a limit is none, and may be declared as missing",
    ),
    (re.compile(r"=?[\"'\u201c\u201d].*"), "a number without quotes or the marks by which spreadsheets keep text"),
    (re.compile(r"[+-]?(?:\d+\s+)?\d+\s*[/\u2044]\s*\d+"), "a decimal number, not a fraction"),
    (
        re.compile(r".*\d\s*[?!*\u2020\u2021]+"),
        "a number without a mark behind it; a status belongs into a column of its own",
    ),
    (re.compile(r".*\d\s*(?:#|//|;|!).*"), "a number without a remark behind it"),
    (re.compile(r"[+-]?[\d'., ]*[\u00b7\u22c5\u066b\u2219]\d+"), "a point or a comma as decimal mark"),
    (re.compile(r"\(.*\d.*\)"), "a negative number with its minus sign in front, not in parentheses"),
    (re.compile(r"[^+-]*\d[.,]?[+-]"), "a number with its sign in front"),
    (re.compile(r"[+-]?0[xX][0-9a-fA-F.]+(?:[pP][+-]?\d+)?"), "a decimal number, not a hexadecimal one"),
    (re.compile(r"[+-]\s+\d.*"), "a sign close to its number"),
    (
        re.compile(r".*\d(\s+[eEdD]\s*[+-]?|[eEdD]\s+[+-]?|[eEdD][+-]\s+)\s*\d+"),
        "an exponent without blanks, such as 1.2e-3",
    ),
    (re.compile(r"[+-]?[\d.,]*\d\s*[^\W\d_%\u00b0].*|[+-]?[\d.,]*\d\s*[%\u00b0\u00b5].*"), "a number without its unit"),
    (re.compile(r".*\d[\s_]+\d.*"), "one number without blanks or marks inside"),
)

#: What spreadsheets write into a cell whose formula failed.
_FAILED = ("#n/a", "#div/0!", "#value!", "#ref!", "#name?", "#num!", "#null!", "#spill!", "#calc!")

#: Words that mean "no number here", in any case.
MISSING = frozenset({"", "-", "--", "---", "\u2014", "nan", "na", "n/a", "null", "none", "?", "*", *_FAILED})


@dataclass(frozen=True, slots=True)
class Spelling:
    """How numbers are spelled: decimal mark, grouping mark ("" for none), further missing words."""

    decimal: str = "."
    grouping: str = ""
    missing: frozenset[str] = MISSING

    @property
    def words(self) -> str:
        """Its marks in words."""
        return f"decimal {self.decimal!r}" + (f" and grouping {self.grouping!r}" if self.grouping else "")


@dataclass(frozen=True, slots=True)
class Odd:
    """A cell that is no number: index in the column, kind ("missing", "words", "bad"), and why."""

    index: int
    kind: str
    why: str


def column(cells: Sequence[str], spelling: Spelling, seen: Counter[str] | None = None) -> tuple[Array, list[Odd]]:
    """Numbers of a column (n,), NaN where a cell is odd, and the odd cells.

    seen  counts how often what is not plain was read: grouping, typographic minus signs, exponents with D

    >>> column(["-0,512", "."], Spelling(decimal=","))
    (array([-0.512,    nan]), [Odd(index=1, kind='missing', why='no digits')])
    """
    bulk = cells.numbers(spelling.decimal) if isinstance(cells, (BulkColumn, NumberColumn)) else None
    if bulk is not None:
        return bulk, []
    seen = Counter() if seen is None else seen
    values = np.empty(len(cells))
    odd: list[Odd] = []
    for start in range(0, len(cells), _CHUNK):
        chunk = list(cells[start : start + _CHUNK])
        fast = _fast(chunk, spelling)
        if fast is not None:
            values[start : start + _CHUNK] = fast
            continue
        for index, cell in enumerate(chunk, start=start):
            number = _one(cell, spelling, seen)
            values[index] = number if isinstance(number, float) else math.nan
            if not isinstance(number, float):
                odd.append(Odd(index, *number))
    return values, odd


def _fast(cells: Sequence[str], spelling: Spelling) -> Array | None:
    """The numbers when all cells are plain ones, else None.

    What is left after taking out every sign of a plain number must be nothing: so digits of other scripts,
    underscores, nan and inf, which float() takes and a table must not, never get to it.
    """
    joined = ";".join(cells)
    if not joined.isascii() or joined.count(";") != len(cells) - 1:
        return None
    signs = joined.encode()
    if spelling.decimal == ",":
        if b"." in signs:
            return None
        signs = signs.replace(b",", b".")
        cells = signs.decode("ascii").split(";")
    if signs.translate(None, _SIGNS):
        return None
    try:
        values = np.fromiter(map(float, cells), np.float64, len(cells))
    except ValueError:
        return None
    if not np.isfinite(values).all():
        return None
    # A number too small for floating point would become 0: then every cell is looked at.
    zeros = np.flatnonzero(values == 0.0).tolist()
    return None if any(_DIGIT.search(_EXPONENT.split(cells[i])[0]) for i in zeros) else values


def _one(cell: str, spelling: Spelling, seen: Counter[str]) -> float | tuple[str, str]:
    """A number, or (kind, why)."""
    bare = cell.strip().strip(_SPACES)
    text = bare.translate(_MINUS)
    if text.casefold() in spelling.missing or ("#" in text and _NOT_A_NUMBER.fullmatch(text)):
        return "missing", "empty" if not text else "a word for missing"
    if not any(c.isnumeric() for c in text):
        return ("missing", "no digits") if _EMPTY.fullmatch(text) else ("words", "a number")
    plain = ungrouped(text, spelling)
    if spelling.decimal != "." and "." in plain:
        return "bad", _why(text) or f"a number with decimal {spelling.decimal!r} and no point{_undeclared(spelling)}"
    point = plain.replace(spelling.decimal, ".", 1)
    value = _value(point)
    if value is None:
        if _EMPTY.fullmatch(plain):
            return "missing", "a dangling exponent"
        return "bad", "a number that floating point holds" if _PLAIN.fullmatch(point) else _why(text) or _wanted(
            spelling
        )
    if text != bare:
        seen[f"typographic {'minus' if '-' in text else 'plus'} signs"] += 1
    if plain != text:
        seen[f"grouping marks {spelling.grouping!r}"] += 1
    if not _PLAIN.fullmatch(point):
        seen["exponents spelled with D or without letter"] += 1
    return value


def _value(text: str) -> float | None:
    if _PLAIN.fullmatch(text):
        mantissa, value = _EXPONENT.split(text)[0], float(text)
    elif found := _FORTRAN.fullmatch(text) or _LETTERLESS.fullmatch(text):
        mantissa, value = found[1], float(f"{found[1]}e{found[2]}")
    else:
        return None
    if value == 0.0 and _DIGIT.search(mantissa):
        return None  # too small for floating point: it must not become 0
    return value if math.isfinite(value) else None


def _why(text: str) -> str:
    if len(text) > _LOOKED_AT:
        return ""
    if any(unicodedata.category(c) == "Cf" for c in text):
        return "a number without invisible signs in it"
    exponent, *others = _WHY
    if exponent[0].fullmatch(text):
        return exponent[1]
    if not all(c.isascii() for c in text if c.isnumeric()):
        return "digits 0 to 9"
    return next((why for pattern, why in others if pattern.fullmatch(text)), "")


def _undeclared(spelling: Spelling) -> str:
    return "" if spelling.grouping else " (no grouping mark is declared)"


def _wanted(spelling: Spelling) -> str:
    return f"a number with decimal {spelling.decimal!r}" + (
        f" and groups of three set apart by {spelling.grouping!r}" if spelling.grouping else ""
    )


def ungrouped(text: str, spelling: Spelling) -> str:
    """The number without its grouping marks; as it was when they stand in wrong places, so that it fails later.

    >>> ungrouped("12.345,6", Spelling(",", ".")), ungrouped("0.512", Spelling(",", "."))
    ('12345,6', '0.512')
    """
    mark = spelling.grouping
    if not mark:
        return text
    if mark == " ":
        for space in _SPACES:
            text = text.replace(space, " ")
    elif mark == "'":
        for sign in _APOSTROPHES:
            text = text.replace(sign, "'")
    if mark not in text:
        return text
    body = _EXPONENT.split(text, maxsplit=1)[0]
    head, dot, tail = body.partition(spelling.decimal)
    groups = head.lstrip("+-").split(mark)
    if mark in tail or not 1 <= len(groups[0]) <= 3 or any(len(g) != 3 for g in groups[1:]):
        return text
    if not all(g.isdecimal() for g in groups) or groups[0].startswith("0"):
        return text  # nobody groups behind a leading zero: 0.512 is a decimal point
    return head.replace(mark, "") + dot + tail + text[len(body) :]


def fitting(cells: Sequence[str], spelling: Spelling) -> list[Spelling]:
    """Other spellings by which all cells with digits would read; empty when there is none.

    >>> [s.words for s in fitting(["1.299,990", "-0,512"], Spelling())]
    ["decimal ',' and grouping '.'"]
    """
    told = [c for c in cells if any(map(str.isdigit, c))]
    found = []
    for decimal in ".,":
        for grouping in ("", ".", ",", " ", "'"):
            other = Spelling(decimal, grouping, spelling.missing)
            if grouping == decimal or (decimal, grouping) == (spelling.decimal, spelling.grouping):
                continue
            seen: Counter[str] = Counter()
            if told and all(isinstance(_one(c, other, seen), float) for c in told):
                used = any(key.startswith("grouping") for key in seen)
                if used or not grouping:
                    found.append(other)
    return found


def sexagesimal_column(cells: Sequence[str], spelling: Spelling) -> tuple[Array, list[Odd]]:
    """A column of degrees, minutes and seconds as degrees, NaN where a cell is odd, and the odd cells."""
    values, odd = np.full(len(cells), math.nan), []
    for index, cell in enumerate(cells):
        number = sexagesimal(cell, spelling)
        if isinstance(number, float):
            values[index] = number
        else:
            odd.append(Odd(index, *number))
    return values, odd


def sexagesimal(cell: str, spelling: Spelling) -> float | tuple[str, str]:
    """Degrees, minutes and seconds as degrees; the sign counts even on a zero.

    >>> round(sexagesimal("-0 12 30", Spelling()), 9)
    -0.208333333
    >>> sexagesimal("359 59 60", Spelling())
    ('bad', 'minutes and seconds below 60')
    """
    text = cell.strip().translate(_MINUS)
    parts = [p for p in re.split(r"[\s°\u00ba\u02da'\"\u2032\u2033\u2019\u201d\u00b4:dms]+", text) if p]
    if not parts:
        return "missing", "empty"
    numbers = [_one(p, spelling, Counter()) for p in parts]
    values = [n for n in numbers if isinstance(n, float)]
    if len(values) < len(parts) or len(parts) > 3 or any(v % 1.0 for v in values[:-1]):
        return "bad", "degrees, minutes and seconds, whole ones before the last"
    whole, minutes, seconds = [*values, 0.0, 0.0][:3]
    if not (0.0 <= minutes < 60.0 and 0.0 <= seconds < 60.0):
        return "bad", "minutes and seconds below 60"
    size = abs(whole) + minutes / 60.0 + seconds / 3600.0
    return -size if text.startswith("-") else size
