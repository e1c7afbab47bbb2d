"""Decimal and grouping marks from all numbers of a file: every spelling that explains all of them is kept."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monochord.files.draft.cells import look
from monochord.files.draft.findings import Choice
from monochord.files.numbers import Spelling, column

#: (decimal mark, grouping mark), the plainest first.
SPELLINGS = ((".", ""), (",", ""), (".", ","), (",", "."), (".", "'"), (",", "'"), (".", " "), (",", " "))

_LONG = re.compile(r"(?<!\d)\d{4,}")
_NOUGHT = re.compile(r"[+\-\u2212\u2013]?0")


@dataclass(frozen=True, slots=True)
class Marks:
    """The marks found, what settled them, and what else would fit; settled is False when no number has a mark."""

    decimal: str
    grouping: str
    why: str
    rivals: tuple[Choice, ...] = ()
    settled: bool = True


def marks(cells: Sequence[str], delimiter: str = "") -> Marks:
    """Decimal and grouping mark of all cells that look like numbers.

    cells      of all columns of numbers, of all rows
    delimiter  between cells; it is no mark inside one

    >>> marks(["1.299,990", "-0,512"]).decimal, marks(["1.299,990", "-0,512"]).grouping
    (',', '.')
    >>> [c.value for c in marks(["1.234", "12.345"]).rivals]
    ['.', ',']
    """
    distinct = list(dict.fromkeys(c.strip() for c in cells if look(c) == "n"))
    marked = [c for c in distinct if not c.lstrip("+-\u2212\u2013").isdigit()]
    if not marked:
        return Marks(".", "", "no number has a mark", settled=False)
    fitting: list[tuple[str, str, tuple[float, ...]]] = []
    for decimal, grouping in SPELLINGS:
        if (delimiter and delimiter in (decimal, grouping)) or (delimiter == "spaces" and grouping == " "):
            continue
        read, odd = column(distinct, Spelling(decimal, grouping))
        if not odd and not (grouping and _against_groups(distinct, decimal, grouping)):
            fitting.append((decimal, grouping, tuple(read.tolist())))
    if not fitting:
        return Marks(".", "", f"no one spelling explains every number, such as {_odd_one(distinct)!r}", settled=False)
    decimal, grouping, values = fitting[0]
    others = [f for f in fitting[1:] if not np.allclose(f[2], values, rtol=1e-12, atol=0.0)]
    shown = max(marked, key=len)
    if others:
        return Marks(decimal, grouping, f"{shown!r} reads in two ways", _choices([fitting[0], *others], distinct))
    why = f"all {len(distinct)} different numbers fit, such as {shown!r}"
    return Marks(decimal, grouping, why)


def _against_groups(distinct: Sequence[str], decimal: str, grouping: str) -> bool:
    """Whether groups are unlikely: a group after a nought, four digits in a row beside it, or no group at all."""
    wholes = [c.partition(decimal)[0] for c in distinct]
    grouped = [w for w in wholes if grouping in w]
    return not grouped or any(_NOUGHT.match(w) for w in grouped) or any(_LONG.search(w) for w in wholes)


def _choices(fitting: Sequence[tuple[str, str, tuple[float, ...]]], distinct: Sequence[str]) -> tuple[Choice, ...]:
    spread = np.ptp(np.array([f[2] for f in fitting]), axis=0)
    place = int(np.argmax(spread))
    return tuple(
        Choice(d, f"then {distinct[place]!r} is {v[place]:.12g}" + (f", with groups set apart by {g!r}" if g else ""))
        for d, g, v in fitting
    )


def _odd_one(distinct: Sequence[str]) -> str:
    return max(distinct, key=lambda c: sum(not ch.isdigit() for ch in c))
