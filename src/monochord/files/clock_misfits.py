"""What to say of a cell that is no time by its notation: what was wanted, and the declaration by which it would read."""

from __future__ import annotations

import re
from collections.abc import Sequence

from monochord.files.clock import COUNTED, counted, other_order, seconds, spoken_moment

#: Notations that are tried where the declared one does not fit.
_USUAL = tuple(
    f"{day}{between}{time}{end}"
    for day in (
        *(
            "YYYY-MM-DD",
            "DD.MM.YYYY",
            "DD/MM/YYYY",
            "MM/DD/YYYY",
            "YYYY/MM/DD",
            "YYYY.MM.DD",
            "DD-MM-YYYY",
            "MM-DD-YYYY",
        ),
        *("DD.MM.YY", "DD/MM/YY", "MM/DD/YY", "DD MMM YYYY", "DD-MMM-YYYY", "MMM DD, YYYY", "YYYYMMDD"),
    )
    for between in (" ", "T")
    for time in ("hh:mm:ss", "hh:mm")
    for end in ("", "zzz", " zzz", " AM")
)

#: Day numbers that are taken for a spreadsheet's: of the years 1982 to 2064.
_DAY_NUMBERS = (30000.0, 60000.0)

_NUMBER = re.compile(r"\d+(?:[.,]\d+)?", re.ASCII)
_BEHIND_MIDNIGHT = re.compile(r"(?<![:\d])24:(?!00)\d\d|(?<![:\d])24:00:(?!00)\d\d")
_LETTERS_OF_ZONE = re.compile(r"\d ?(?!UTC|GMT)[A-Z]{3,4}$")


def fitting(cells: Sequence[str]) -> list[str]:
    """Usual notations that read every cell.

    >>> fitting(["2026-03-02T10:40:00Z"]), fitting(["03/02/2026 7:15 PM"]), fitting(["?"])
    (['YYYY-MM-DDThh:mm:sszzz'], ['DD/MM/YYYY hh:mm AM', 'MM/DD/YYYY hh:mm AM'], [])
    """
    told = list(dict.fromkeys(c.strip() for c in cells if c.strip()))
    some = told[:3]
    return [n for n in _USUAL if some and not seconds(some, n)[1] and not seconds(told, n)[1]]


def column_remedy(cells: Sequence[str], notation: str) -> str:
    """What to do about a column of which cells do not fit its notation, looked up once for all of them.

    >>> column_remedy(["2026-03-02T10:40"], "YYYY-MM-DD hh:mm")
    "every row fits 'YYYY-MM-DDThh:mm'; declare it as the notation"
    """
    if turned := other_order(cells, notation):
        return f"every row fits {turned!r}; mend the notation if that is meant"
    if others := fitting(cells):
        which = "it" if len(others) == 1 else "the one that is meant"
        return f"every row fits {' and '.join(map(repr, others))}; declare {which} as the notation"
    return "mend the cell or the notation"


def why_not(cell: str, notation: str, remedy: str) -> tuple[str, str]:
    """What was expected in place of a cell that is no time, and what to do; ``remedy`` is that of the column.

    >>> why_not("2016-12-31 23:59:60", "YYYY-MM-DD hh:mm:ss", "mend the cell")[1]
    'seconds end at 59: a leap second, or a slip; write 59, or the next minute, as is meant'
    """
    text = cell.strip()
    expected = f"a time like {notation}"
    if _NUMBER.fullmatch(text) and notation not in COUNTED:
        days = float(text.replace(",", "."))
        if _DAY_NUMBERS[0] <= days <= _DAY_NUMBERS[1]:
            read = [f"{spoken_moment(counted(text, one) or 0.0)} by {one!r}" for one in list(COUNTED)[:2]]
            remedy = f"perhaps a spreadsheet's day number: {' or '.join(read)}; declare which as the notation"
    elif _BEHIND_MIDNIGHT.search(text):
        remedy = "no time lies behind 24:00; mend the cell"
    elif re.search(r":60\b(?!:)", text):
        remedy = "seconds end at 59: a leap second, or a slip; write 59, or the next minute, as is meant"
    elif "zzz" in notation and _LETTERS_OF_ZONE.search(text):
        remedy = "letters of a zone can mean several; take them out and say zone = ... for the column"
    return expected, remedy
