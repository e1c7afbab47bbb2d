"""Dates that a file keeps as dates, written as the description's notation has them, so that one reader reads all."""

from __future__ import annotations

import re
from datetime import datetime

_TOKEN = re.compile("YYYY|MM|DD|hh|mm|ss")
_PARTS = {"YYYY": "%Y", "MM": "%m", "DD": "%d", "hh": "%H", "mm": "%M"}


def written(moment: datetime, notation: str) -> str | None:
    """A date and time by a notation; None without one, or when the notation would lose the seconds.

    >>> written(datetime(2026, 3, 2, 7, 15, 30), "DD.MM.YYYY hh:mm:ss")
    '02.03.2026 07:15:30'
    >>> written(datetime(2026, 3, 2, 7, 15, 30), "DD.MM.YYYY hh:mm") is None
    True
    """
    if not _TOKEN.search(notation):
        return None
    part = moment.microsecond
    if "ss" not in _TOKEN.findall(notation) and (moment.second or part):
        return None
    seconds = f"{moment.second:02d}" + (f".{part:06d}".rstrip("0") if part else "")

    def one(found: re.Match[str]) -> str:
        token = found[0]
        if token == "YYYY":
            return f"{moment.year:04d}"
        return seconds if token == "ss" else moment.strftime(_PARTS[token])

    return _TOKEN.sub(one, notation)
