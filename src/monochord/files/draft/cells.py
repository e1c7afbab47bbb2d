"""What a cell looks like before anybody knows how numbers are spelled: a number, a time, words, or nothing."""

from __future__ import annotations

import re
from collections.abc import Sequence

from monochord.files import clock
from monochord.files.numbers import MISSING

_NUMBER = re.compile(r"[+\-\u2212\u2013]?(?:\d[\d.,'\u2019 \u00a0\u202f]*[\d.]|\d|[.,]\d+)(?:[eEdD][+-]?\d+)?")
_DATE = re.compile(
    r"(?:\d{4}([-./])\d{1,2}\1\d{1,2}|\d{1,2}([-./])\d{1,2}\2\d{4})(?:[ T]\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?)?Z?"
)
_PARTED = re.compile(r"[+\-\u2212\u2013]?\d{1,3}(?:[ °:]+)\d{1,2}(?:[ '\u2032:]+)\d{1,2}(?:[.,]\d+)?[\"\u2033]?")

#: Notations of times that are tried; with dots between, the day comes first everywhere (common practice, no source).
NOTATIONS = tuple(
    f"{date}{between}{time}"
    for date in ("YYYY-MM-DD", "DD.MM.YYYY", "DD/MM/YYYY", "MM/DD/YYYY", "YYYY/MM/DD", "YYYY.MM.DD")
    for between in (" ", "T")
    for time in ("hh:mm:ss", "hh:mm")
)


def look(cell: str) -> str:
    """One letter: "n" number, "t" time, "a" angle in three parts, "w" words, "e" nothing.

    >>> [look(c) for c in ("-1.299,990", "09.05.2031 08:30:00", "-0 12 30", "M#4", "--")]
    ['n', 't', 'a', 'w', 'e']
    """
    text = cell.strip()
    if text.casefold() in MISSING:
        return "e"
    if _DATE.fullmatch(text):
        return "t"
    if _PARTED.fullmatch(text):
        return "a"
    return "n" if _NUMBER.fullmatch(text) else "w"


def kind(cells: Sequence[str]) -> str:
    """What all cells of a column look like: one of the letters of :func:`look`, "w" when they differ.

    >>> kind(["1,5", "", "2"]), kind(["V1", "2"])
    ('n', 'w')
    """
    seen = {look(c) for c in cells} - {"e"}
    if seen == {"n", "a"}:
        return "w"
    return seen.pop() if len(seen) == 1 else ("w" if seen else "e")


def notations(cells: Sequence[str]) -> list[str]:
    """The notations of time that fit every cell; two of them when day and month cannot be told apart.

    >>> notations(["08/03/2026 07:15", "19/09/2026 21:05"]), notations(["03/02/2026 07:15"])
    (['DD/MM/YYYY hh:mm'], ['DD/MM/YYYY hh:mm', 'MM/DD/YYYY hh:mm'])
    """
    filled = [c for c in dict.fromkeys(x.strip() for x in cells) if look(c) != "e"]
    return [n for n in NOTATIONS if filled and not clock.seconds(filled, n)[1]]
