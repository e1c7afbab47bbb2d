"""Names that a spreadsheet turned into dates or numbers when a list was opened and saved.

A spreadsheet takes ``3-1-2``, ``1-2``, ``MAR1`` or ``1/2`` for a date and ``1E5`` or ``007`` for a number, and
saves what it took them for. Which name it was cannot always be told, so nothing is put back: the reason is told.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date, timedelta

#: Names of the months and their short forms, as spreadsheets of several languages write them.
_MONTHS = (
    ("january", "januar", "jänner", "janvier", "enero", "gennaio"), ("february", "februar", "février", "febrero", "febbraio"),
    ("march", "märz", "mrz", "mars", "marzo"), ("april", "avril", "abril", "aprile"), ("may", "mai", "mayo", "maggio"),
    ("june", "juni", "juin", "junio", "giugno"), ("july", "juli", "juillet", "julio", "luglio"),
    ("august", "août", "agosto"), ("september", "sept", "septembre", "septiembre", "settembre"),
    ("october", "oktober", "octobre", "octubre", "ottobre"), ("november", "novembre", "noviembre"),
    ("december", "dezember", "décembre", "diciembre", "dicembre"),
)  # fmt: skip
_MONTH = {
    spelled: number for number, words in enumerate(_MONTHS, start=1) for word in words for spelled in (word, word[:3])
}
_PIECES = re.compile(r"\d+|[^\W\d_]+")
_SHAPE = re.compile(r"[\w\s./,\-]+")
_MIDNIGHT = re.compile(r"[ T]0?0:00(:00(\.0+)?)?(\s*AM)?$", re.ASCII)
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?", re.ASCII)

#: A day as far as it is known: year (None when not told), month, day (None when not told).
Day = tuple[int | None, int, int | None]

#: Day numbers that spreadsheets show for days between the years 1990 and 2040.
_DAY_NUMBERS = range(32874, 51137)


def made_by_spreadsheet(seen: str, name: str) -> str:
    """Why ``seen`` may be what a spreadsheet made of ``name``; "" when it cannot be.

    >>> made_by_spreadsheet("2002-03-01", "3-1-2")
    "it looks like a date that a spreadsheet made from '3-1-2'"
    >>> made_by_spreadsheet("1.00E+05", "1E5"), made_by_spreadsheet("Q2", "Q1")
    ("it looks like a number that a spreadsheet made from '1E5'", '')
    """
    if seen == name:
        return ""
    if _same_number(seen, name):
        return f"it looks like a number that a spreadsheet made from {name!r}"
    if not _date_like(seen):
        return ""
    days = list(_days(seen))
    if any(_same_day(a, b) for a in days for b in _days(name)):
        return f"it looks like a date that a spreadsheet made from {name!r}"
    return ""


def looks_like_date(name: str) -> bool:
    """Whether a name is spelled as a spreadsheet spells dates: with a whole year, or with a month's name.

    >>> looks_like_date("2002-03-01"), looks_like_date("3-1-2"), looks_like_date("01-Feb"), looks_like_date("MAR1")
    (True, False, True, False)
    >>> looks_like_date("Octu1.1"), looks_like_date("1-October")  # the first three letters alone are no month
    (False, True)
    """
    return _date_like(name) and not name.strip().isdecimal() and any(True for _ in _days(name))


def _date_like(text: str) -> bool:
    bare = _MIDNIGHT.sub("", text.strip())
    if bare.isdecimal():
        return int(bare) in _DAY_NUMBERS
    pieces = _PIECES.findall(bare)
    worded = any(p.casefold() in _MONTH for p in pieces if not p.isdecimal())
    year = any(p.isdecimal() and len(p) == 4 for p in pieces)
    return len(pieces) in (2, 3) and (year or (worded and re.search(r"\W", bare) is not None))


def _same_number(seen: str, name: str) -> bool:
    if not (_NUMBER.fullmatch(seen) and _NUMBER.fullmatch(name)):
        return False
    if re.fullmatch(r"\d{12,}", name) and (rounded := re.fullmatch(r"\d[.,]?(\d*)[eE]\+?\d+", seen)):
        return f"{float(seen.replace(',', '.')):.{len(rounded[1])}e}" == f"{float(name):.{len(rounded[1])}e}"
    if not (re.search("[eE]", name) or name.lstrip("+-").startswith("0") or re.search(r"[.,]\d*0$", name)):
        return False
    return float(seen.replace(",", ".")) == float(name.replace(",", "."))


def _days(text: str) -> Iterator[Day]:
    """Every day that a text may mean, in all orders that spreadsheets know."""
    bare = _MIDNIGHT.sub("", text.strip())
    if not _SHAPE.fullmatch(bare):
        return
    if bare.isdecimal() and int(bare) in _DAY_NUMBERS:
        found = date(1899, 12, 30) + timedelta(days=int(bare))
        yield found.year, found.month, found.day
        return
    pieces = _PIECES.findall(bare)
    worded = [i for i, p in enumerate(pieces) if not p.isdecimal()]
    if len(worded) == 1:
        yield from _worded(pieces, worded[0])
    elif not worded and len(pieces) in (2, 3):
        yield from _numbers([int(p) for p in pieces])


def _worded(pieces: list[str], place: int) -> Iterator[Day]:
    month = _MONTH.get(pieces[place].casefold())
    rest = [int(p) for i, p in enumerate(pieces) if i != place]
    if month is None:
        return
    if len(rest) == 1:
        yield from _valid(None, month, rest[0])
        yield rest[0], month, None
    elif len(rest) == 2:
        yield from _valid(rest[1], month, rest[0])
        yield from _valid(rest[0], month, rest[1])


def _numbers(numbers: list[int]) -> Iterator[Day]:
    if len(numbers) == 2:
        a, b = numbers
        yield from (*_valid(None, a, b), *_valid(None, b, a))
        if 1 <= a <= 12:
            yield b, a, None
        return
    a, b, c = numbers
    for year, month, day in ((a, b, c), (c, a, b), (c, b, a)):
        yield from _valid(year, month, day)


def _valid(year: int | None, month: int, day: int) -> Iterator[Day]:
    if 1 <= month <= 12 and 1 <= day <= 31:
        yield year, month, day


def _same_day(a: Day, b: Day) -> bool:
    years = None in (a[0], b[0]) or (a[0] or 0) % 100 == (b[0] or 0) % 100
    if a[1] != b[1] or not years:
        return False
    return a[2] == b[2] or (None in (a[2], b[2]) and 1 in (a[2], b[2]))
