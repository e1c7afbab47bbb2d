"""Times as laboratories write them, by a declared notation.

A notation is spelled with YYYY (or YY, of this century), MM (or MMM, a month's name), DD, hh, mm, ss, AM (before
or after noon) and zzz (an offset such as +01:00, or Z), for example ``DD.MM.YYYY hh:mm:ss``; a fraction may
follow the seconds. 24:00:00 is midnight at the end of its day. Several notations with " or " between them are
tried on all rows, and one is taken only when it is the only one that fits. Numbers of days that a spreadsheet
counts, and seconds since 1970, are declared by those words. What comes out are seconds on one scale: of the
file's own clock, or of UTC where the notation itself says so.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta

from monochord.ground.faults import Fault, Refused

DAY = 86400.0

_PIECES = {
    "YYYY": r"(?P<Y>\d{4})",
    "YY": r"(?P<y>\d{2})",
    "MMM": r"(?P<N>[^\W\d_]{3,12})\.?",
    "MM": r"(?P<M>\d{1,2})",
    "DD": r"(?P<D>\d{1,2})",
    "hh": r"(?P<h>\d{1,2})",
    "mm": r"(?P<m>\d{2})",
    "ss": r"(?P<s>\d{2}(?:[.,]\d+)?)",
    "AM": r"(?P<p>[AaPp]\.? ?[Mm]\.?)",
    "zzz": r"(?P<z>[Zz]|UTC|GMT|[+-]\d{2}(?::?\d{2})?)",
}
_TOKEN = re.compile("YYYY|YY|MMM|MM|DD|hh|mm|ss|AM|zzz")
_MONTHS = (
    "january januar jänner janvier enero gennaio januari janeiro января stycznia",
    "february februar février fevrier febrero febbraio februari fevereiro февраля lutego",
    "march märz mrz mars marzo maart mrt março марта marca",
    "april avril abril aprile апреля kwietnia",
    "may mai mayo maggio mei maio maj мая maja",
    "june juni juin junio giugno junho июня czerwca",
    "july juli juillet julio luglio julho июля lipca",
    "august août aout agosto augustus augusti августа sierpnia",
    "september septembre septiembre settembre setembro сентября września",
    "october oktober octobre octubre ottobre outubro октября października",
    "november novembre noviembre novembro ноября listopada",
    "december dezember décembre decembre diciembre dicembre dezembro декабря grudnia",
)


def _month_names() -> dict[str, int]:
    """Months by their names and by every beginning of three letters or more that no other month has."""
    told: dict[str, set[int]] = {}
    for number, words in enumerate(_MONTHS, start=1):
        for word in words.split():
            for end in range(3, len(word) + 1):
                told.setdefault(word[:end], set()).add(number)
    return {word: numbers.pop() for word, numbers in told.items() if len(numbers) == 1}


_MONTH = _month_names()
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?", re.ASCII)

#: Notations that are numbers: what they count from, as seconds on our scale, and the seconds of one.
COUNTED = {
    "spreadsheet days from 1900": (date(1899, 12, 30).toordinal() * DAY, DAY),
    "spreadsheet days from 1904": (date(1904, 1, 1).toordinal() * DAY, DAY),
    "seconds since 1970": (date(1970, 1, 1).toordinal() * DAY, 1.0),
    "milliseconds since 1970": (date(1970, 1, 1).toordinal() * DAY, 1e-3),
    "seconds since 1904": (date(1904, 1, 1).toordinal() * DAY, 1.0),
}


def pattern(notation: str) -> re.Pattern[str]:
    """The pattern of a notation; Refused unless it has a date and hours and minutes.

    >>> bool(pattern("YYYY-MM-DD hh:mm").fullmatch("2026-03-02 10:40"))
    True
    """
    tokens = _TOKEN.findall(notation)
    told = {{"YY": "YYYY", "MMM": "MM"}.get(t, t) for t in tokens}
    if not {"YYYY", "MM", "DD", "hh", "mm"} <= told or len(told) < len(tokens):
        counted = ", ".join(repr(c) for c in COUNTED)
        expected = "YYYY, MM, DD, hh, mm and perhaps ss, each once"
        remedy = f"write it like 'DD.MM.YYYY hh:mm:ss', or one of {counted}"
        raise Refused([Fault(f"time notation {notation!r}", expected, remedy)])
    literal = _TOKEN.split(notation)
    text = re.escape(literal[0])
    for token, rest in zip(tokens, literal[1:], strict=True):
        text += _PIECES[token] + re.escape(rest)
    return re.compile(text, re.ASCII if "MMM" not in tokens else 0)


def checked(notation: str) -> None:
    """Refused unless every notation of the text is one; several stand with " or " between them."""
    for one in notation.split(" or "):
        if one not in COUNTED:
            pattern(one)


def in_utc(notation: str) -> bool:
    """Whether a notation tells moments in UTC by itself.

    >>> in_utc("seconds since 1970"), in_utc("YYYY-MM-DDThh:mm:sszzz"), in_utc("DD.MM.YYYY hh:mm")
    (True, True, False)
    """
    return notation.endswith(("since 1970", "since 1904")) or "zzz" in notation


def only_fit(cells: Sequence[str], notation: str) -> tuple[str, str]:
    """The notation of the declared ones that reads all cells, and words that ask when several do.

    When none reads all cells the first one is given, so that the cells that do not fit are told.

    >>> only_fit(["08.03.2026 07:15", "19.09.2026 21:05"], "MM.DD.YYYY hh:mm or DD.MM.YYYY hh:mm")
    ('DD.MM.YYYY hh:mm', '')
    >>> only_fit(["08.03.2026 07:15"], "MM.DD.YYYY hh:mm or DD.MM.YYYY hh:mm")[1]
    "'08.03.2026 07:15' is 2026-08-03 07:15:00 by 'MM.DD.YYYY hh:mm' and 2026-03-08 07:15:00 by 'DD.MM.YYYY hh:mm'"
    """
    several = notation.split(" or ")
    if len(several) == 1:
        return notation, ""
    told = [c for c in cells if c.strip()]
    fits = {one: values for one in several if not (found := seconds(told, one))[1] and (values := found[0])}
    if len(fits) < 2 or len({tuple(v) for v in fits.values()}) == 1:
        return next(iter(fits), several[0]), ""
    places = [i for i in range(len(told)) if len({v[i] for v in fits.values()}) > 1]
    read = " and ".join(f"{spoken_moment(v[places[0]])} by {one!r}" for one, v in fits.items())
    return next(iter(fits)), f"{told[places[0]]!r} is {read}"


def other_order(cells: Sequence[str], notation: str) -> str:
    """The notation with day and month exchanged when it reads all cells, "" when it does not.

    >>> other_order(["03/19/2026 07:15"], "DD/MM/YYYY hh:mm")
    'MM/DD/YYYY hh:mm'
    """
    if notation in COUNTED or "MMM" in notation:
        return ""
    turned = re.sub("MM|DD", lambda m: "DD" if m[0] == "MM" else "MM", notation)
    told = [c for c in cells if c.strip()]
    return turned if told and not seconds(told, turned)[1] else ""


def seconds(cells: Sequence[str], notation: str) -> tuple[list[float], list[int]]:
    """Seconds of each cell on one scale, NaN where it does not fit, and the indices that do not.

    >>> s, odd = seconds(["01.03.2026 24:00:00", "02.03.2026 00:01:00", "?"], "DD.MM.YYYY hh:mm:ss")
    >>> s[1] - s[0], odd
    (60.0, [2])
    >>> [spoken_moment(seconds(["46083.5"], f"spreadsheet days from {o}")[0][0]) for o in (1900, 1904)]
    ['2026-03-02 12:00:00', '2030-03-03 12:00:00']
    """
    if notation in COUNTED:
        found = [counted(cell.strip(), notation) for cell in cells]
        return [float("nan") if c is None else c for c in found], [i for i, c in enumerate(found) if c is None]
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
        if cut and cell[-3:-2] == ":" and time % DAY >= 60.0:
            starts[cell[:cut]] = time - int(cell[-2:])
        values.append(time)
    return values, odd


def _one(cell: str, rule: re.Pattern[str]) -> float | None:
    found = rule.fullmatch(cell) or rule.fullmatch(" ".join(cell.split()))  # blanks of any kind are one blank
    if not found:
        return None
    parts = found.groupdict()
    hour, minute = _hour(int(parts["h"]), parts.get("p")), int(parts["m"])
    second = float((parts.get("s") or "0").replace(",", "."))
    if hour is None or minute > 59 or second >= 60.0 or hour > 24 or (hour == 24 and (minute or second)):
        return None
    year = int(parts["Y"]) if parts.get("Y") else 2000 + int(parts["y"])
    month = int(parts["M"]) if parts.get("M") else _MONTH.get(parts["N"].casefold(), 0)
    try:
        day = date(year, month, int(parts["D"])).toordinal()
    except ValueError:
        return None
    return day * DAY + hour * 3600.0 + minute * 60.0 + second - _offset(parts.get("z"))


def _hour(hour: int, half: str | None) -> int | None:
    if half is None:
        return hour
    if not 1 <= hour <= 12:
        return None
    return hour % 12 + (12 if half[0] in "Pp" else 0)


def _offset(told: str | None) -> float:
    if told is None or told[0] not in "+-":
        return 0.0
    size = int(told[1:3]) * 3600.0 + (int(told[-2:]) * 60.0 if len(told) > 3 else 0.0)
    return -size if told[0] == "-" else size


def counted(text: str, notation: str) -> float | None:
    """Seconds of a number that counts from an origin; None when it is none, as the day that 1900 did not have.

    >>> counted("1.5", "spreadsheet days from 1904") == counted("1463.5", "spreadsheet days from 1900")
    True
    """
    if not _NUMBER.fullmatch(text):
        return None
    origin, one = COUNTED[notation]
    number = float(text.replace(",", "."))
    if notation == "spreadsheet days from 1900" and number < 61.0:
        if number >= 60.0:
            return None
        origin += DAY
    found = origin + number * one
    return round(found, 3) if found < date.max.toordinal() * DAY else None


def spoken_moment(value: float) -> str:
    """A moment on our scale in words, to the second, or with its fraction when it has one.

    >>> spoken_moment(seconds(["02.03.2026 10:40"], "DD.MM.YYYY hh:mm")[0][0])
    '2026-03-02 10:40:00'
    """
    days, rest = divmod(value, DAY)
    return (datetime.fromordinal(int(days)) + timedelta(seconds=round(rest, 3))).isoformat(" ")


def spoken_span(value: float) -> str:
    """A length of time in words.

    >>> spoken_span(86340.0), spoken_span(90.0), spoken_span(0.25)
    ('23 h 59 min', '1 min 30 s', '0.25 s')
    """
    return " ".join(_spoken(abs(value))) or "0 s"


def _spoken(rest: float) -> Iterator[str]:
    for size, word in ((DAY, "d"), (3600.0, "h"), (60.0, "min")):
        count, rest = divmod(rest, size)
        if count:
            yield f"{count:g} {word}"
    if rest:
        yield f"{round(rest, 3):g} s"
