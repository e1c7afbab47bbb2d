"""What a table is: a caption, columns, and cells that carry the exact value beside the print."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from monochord.report.facts import Known
from monochord.report.words import (
    UNKNOWN,
    decimals_for,
    height_word,
    known,
    number,
    pretty,
    scaled,
    side_word,
    with_uncertainty,
)


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell.

    value  the exact SI number behind the print;  word  stands behind the number (a side, a unit)
    style  "number", "digest" or ""
    """

    text: str
    value: float | None = None
    word: str = ""
    style: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """One table; the first cell of a row heads it.

    ident  unique on its page;  note  printed below, about what is not known;  empty  said instead of no rows
    long   True when only the page shows it, not the paper
    """

    ident: str
    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""
    empty: str = ""
    long: bool = False


def words(text: str) -> Cell:
    """A cell of words."""
    return Cell(pretty(text))


def plain(value: float | None, decimals: int, factor: float = 1.0, *, sign: bool = False, word: str = "") -> Cell:
    """A number without an uncertainty, printed in SI times factor.

    >>> plain(-1.75, 1, 1e3).value, plain(None, 1).text
    (-1.75, 'not known')
    """
    if value is None or not known(value):
        return Cell(UNKNOWN, style="number")
    return Cell(number(value * factor, decimals, sign=sign), value, word, "number")


def column(
    values: Sequence[Known], factor: float, *, across: str = "", sign: bool = True, decimals: int | None = None
) -> list[Cell]:
    """Numbers with their uncertainty, all with the decimals that the smallest uncertainty asks for.

    across  "x" adds left or right, "y" adds up or down;  sign  whether a plus is printed;  decimals  instead of those

    >>> [c.text for c in column([Known(12.34e-6, 1.1e-6), Known(None, None)], 1e6)]
    ['+12.3 ± 1.1', 'not known']
    """
    places = decimals_for(scaled(v.u, factor) for v in values) if decimals is None else decimals
    return [_cell(v, factor, places, across=across, sign=sign) for v in values]


def _cell(value: Known, factor: float, decimals: int, *, across: str, sign: bool) -> Cell:
    if value.value is None:
        return Cell(UNKNOWN, style="number")
    printed = with_uncertainty(value.value * factor, scaled(value.u, factor), decimals=decimals, sign=sign)
    side = {"x": side_word, "y": height_word}.get(across)
    return Cell(printed, value.value, side(value.value, decimals) if side else "", "number")


def rows_of(*columns: Iterable[Cell]) -> tuple[tuple[Cell, ...], ...]:
    """Rows from columns of the same length."""
    return tuple(zip(*columns, strict=True))


def reasons_note(reasons: Iterable[tuple[str, str]]) -> str:
    """The reasons for what is not known, gathered: equal reasons are told once.

    >>> reasons_note([("Q1 roll", "one plane only"), ("Q2 roll", "one plane only"), ("S1 y", "no scan")])
    'Not known: Q1 roll, Q2 roll (one plane only); S1 y (no scan).'
    """
    gathered: dict[str, list[str]] = {}
    for what, why in reasons:
        gathered.setdefault(why, []).append(what)
    parts = [f"{', '.join(what)} ({why})" for why, what in gathered.items()]
    return f"Not known: {'; '.join(parts)}." if parts else ""
