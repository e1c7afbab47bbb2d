"""A time column held against the rate that the same file's head tells: seconds taken for milliseconds show there."""

from __future__ import annotations

import re

import numpy as np

from monochord.files.columns import Form, Rows
from monochord.ground.faults import Fault

_RATE = re.compile(
    r"\b(?:rate|frequency|sampling|sampled|abtastrate|fs)\b[^\d\n]{0,24}?(\d+(?:[.,]\d+)?)\s*(k|M)?(Hz|S/s|Sa/s|SPS)\b",
    re.I,
)

#: Bytes at the beginning of a file that are looked at.
_HEAD = 4096

#: Ratio of the two rates that still passes: a clock that is off by so much is not a wrong unit.
_PASSES = 1.25


def rate_in(head: bytes) -> tuple[float, int, str] | None:
    r"""The sampling rate [Hz] that the head of a file tells, its line, and its words; None when it tells none.

    >>> rate_in(b"logger 7, rate 1000 Hz\nt(ms),v\n")
    (1000.0, 1, 'rate 1000 Hz')
    """
    text = head[:_HEAD].decode("latin-1")
    found = _RATE.search(text)
    if found is None:
        return None
    factor = {"k": 1e3, "K": 1e3, "M": 1e6, "m": 1e6}.get(found[2] or "", 1.0)
    return float(found[1].replace(",", ".")) * factor, text[: found.start()].count("\n") + 1, found[0]


def check_rate(rows: Rows, form: Form, head: bytes) -> list[Fault]:
    """A fault when the steps of a time column that has a unit contradict the rate in the head of its file."""
    column = next((c for c in form.columns if c.meaning.kind == "time" and c.unit is not None), None)
    told = rate_in(head)
    if column is None or told is None or column.unit is None or "time" not in rows.number or len(rows) < 2:
        return []
    steps = np.diff(rows.number["time"])
    step = float(np.median(steps))
    rate, line, words = told
    if not step > 0.0 or 1.0 / _PASSES <= step * rate <= _PASSES:
        return []
    span = float(np.nansum(steps))
    given = (
        f"{len(rows)} rows over {column.unit.from_si(span):.6g} {column.unit.name}, which is {_hertz(1.0 / step)}, "
        f"while line {line} says {words!r}"
    )
    ratio = 1.0 / (step * rate)
    fits = (
        f"; the numbers fit {_unit_that_fits(column.unit.factor * ratio)}"
        if _unit_that_fits(column.unit.factor * ratio)
        else ""
    )
    remedy = (
        f"find out which is right{fits}: declare the unit that the numbers have, with despite_name = true where the "
        "column's name says another, or mend the rate in the file"
    )
    return [Fault(given, "one rate", remedy, rows.file, rows.lines[0], rows.names["time"])]


def _unit_that_fits(factor: float) -> str:
    units = {1.0: "s", 1e-3: "ms", 1e-6: "us", 60.0: "min"}
    return next((name for size, name in units.items() if abs(factor / size - 1.0) < _PASSES - 1.0), "")


def _hertz(rate: float) -> str:
    """A rate in words.

    >>> _hertz(1e6), _hertz(0.2)
    ('1 MHz', '0.2 Hz')
    """
    for size, word in ((1e6, "MHz"), (1e3, "kHz")):
        if rate >= size * 0.999:
            return f"{rate / size:.4g} {word}"
    return f"{rate:.4g} Hz"
