"""Times as laboratories write them, by a declared notation; local time stays local.

A notation is spelled with YYYY, MM, DD, hh, mm, ss, for example ``DD.MM.YYYY hh:mm:ss``; a fraction
may follow the seconds. 24:00:00 is midnight at the end of its day. What comes out are seconds on one
scale, good for differences inside one occasion.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from monochord.ground.faults import Fault, Refused

_PIECES = {
    "YYYY": r"(?P<Y>\d{4})",
    "MM": r"(?P<M>\d{1,2})",
    "DD": r"(?P<D>\d{1,2})",
    "hh": r"(?P<h>\d{1,2})",
    "mm": r"(?P<m>\d{2})",
    "ss": r"(?P<s>\d{2}(?:[.,]\d+)?)",
}
_TOKEN = re.compile("YYYY|MM|DD|hh|mm|ss")


def pattern(notation: str) -> re.Pattern[str]:
    """The pattern of a notation; Refused unless it has a date and hours and minutes.

    >>> bool(pattern("YYYY-MM-DD hh:mm").fullmatch("2026-03-02 10:40"))
    True
    """
    tokens = _TOKEN.findall(notation)
    if not {"YYYY", "MM", "DD", "hh", "mm"} <= set(tokens) or len(set(tokens)) < len(tokens):
        raise Refused(
            [
                Fault(
                    f"time notation {notation!r}",
                    "YYYY, MM, DD, hh, mm and perhaps ss, each once",
                    "write it like 'DD.MM.YYYY hh:mm:ss'",
                )
            ]
        )
    literal = _TOKEN.split(notation)
    text = re.escape(literal[0])
    for token, rest in zip(tokens, literal[1:], strict=True):
        text += _PIECES[token] + re.escape(rest)
    return re.compile(text, re.ASCII)


def seconds(cells: Sequence[str], notation: str) -> tuple[list[float], list[int]]:
    """Seconds of each cell on one scale, NaN where it does not fit, and the indices that do not.

    >>> s, odd = seconds(["01.03.2026 24:00:00", "02.03.2026 00:01:00", "?"], "DD.MM.YYYY hh:mm:ss")
    >>> s[1] - s[0], odd
    (60.0, [2])
    """
    rule = pattern(notation)
    # Readings come many to the minute: the part before the seconds is worked out once each; a day's
    # first minute is left out because 24:00 is right there and 24:00:01 is not.
    cut = -2 if notation.endswith(":ss") else None
    starts: dict[str, float] = {}
    values: list[float] = []
    odd: list[int] = []
    for index, raw in enumerate(cells):
        cell = raw.strip()
        start = starts.get(cell[:cut]) if cut else None
        if start is not None and cell[-2:].isdecimal() and cell.isascii() and int(cell[-2:]) < 60:
            values.append(start + int(cell[-2:]))
            continue
        time = _one(cell, rule)
        if time is None:
            odd.append(index)
            values.append(float("nan"))
            continue
        if cut and cell[-3:-2] == ":" and time % 86400.0 >= 60.0:
            starts[cell[:cut]] = time - int(cell[-2:])
        values.append(time)
    return values, odd


def _one(cell: str, rule: re.Pattern[str]) -> float | None:
    found = rule.fullmatch(cell)
    if not found:
        return None
    parts = found.groupdict()
    hour, minute = int(parts["h"]), int(parts["m"])
    second = float((parts.get("s") or "0").replace(",", "."))
    if minute > 59 or second >= 60.0 or hour > 24 or (hour == 24 and (minute or second)):
        return None
    try:
        day = date(int(parts["Y"]), int(parts["M"]), int(parts["D"])).toordinal()
    except ValueError:
        return None
    return day * 86400.0 + hour * 3600.0 + minute * 60.0 + second
