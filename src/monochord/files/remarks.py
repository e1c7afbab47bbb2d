"""Rows that are no data: remarks that people wrote into a table, totals, names and units that come again.

A row is taken for a remark only when its first words are words: several of them, or behind a mark that begins
remarks. A single word beside a name (``A, OL``) is a reading that does not fit, and a fault.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from monochord.ground import units
from monochord.ground.faults import Refused

#: Names under which people add totals below a table.
SUMMARIES = frozenset(
    {"sum", "total", "mean", "average", "std", "rms", "min", "max", "summe", "mittel", "mittelwert"}
    | {"median", "maximum", "minimum", "standard deviation", "std dev", "std. dev", "stdev", "grand total"}
    | {"mean value", "gesamt", "gesamtsumme", "standardabweichung", "moyenne", "somme", "suma", "promedio"}
    | {"\u03c3", "\u2211", "subtotal", "zwischensumme"}
)

#: What a line begins with that people mean as a remark.
_MARKS = ("#", "!", "//", "--", "**", "==", "%", ";;", "rem ", "note:", "remark:")


def is_total(name: str, totals: Iterable[str]) -> bool:
    """Whether a name is that of a total, whatever stands behind it as punctuation.

    >>> is_total("Sum:", SUMMARIES), is_total("S1", SUMMARIES)
    (True, False)
    """
    return name.casefold().strip(" :.=") in totals


def is_remark(text: str) -> bool:
    """Whether a text reads as a remark: behind a mark, two words without digits, or three words and more.

    >>> [is_remark(t) for t in ("target moved", "warm again at 9:30", "# stopped", "P 12", "OL", "A")]
    [True, True, True, False, False, False]
    """
    text = text.strip()
    if text.casefold().startswith(_MARKS):
        return True
    words = [w for w in text.split() if any(map(str.isalpha, w))]
    return len(words) >= 3 or (len(words) >= 2 and not any(map(str.isdigit, text)))


def is_remark_row(cells: Sequence[str], width: int) -> bool:
    """Whether a row that has not the cells of the table is a remark: its first words are, or no digit is in it at all.

    >>> is_remark_row(["target moved", " repeat"], 4), is_remark_row(["C", "6"], 3), is_remark_row(["C"], 3)
    (True, False, False)
    """
    filled = [c.strip() for c in cells if c.strip()]
    if not filled or not is_remark(filled[0]):
        return False
    return len(filled) == 1 or not any(ch.isdigit() for c in filled[1:] for ch in c) or is_remark(",".join(filled))


def is_names_again(cells: Sequence[str], names: Sequence[str]) -> bool:
    """Whether a row is the column names once more."""
    return len(cells) == len(names) and [c.strip().strip('"').strip() for c in cells] == list(names)


def unit_in(text: str) -> units.Unit | None:
    """The unit that a cell consists of, in brackets or without; None when it is none.

    >>> [u.name if (u := unit_in(t)) else None for t in ("[mm]", "gon", "A1", "")]
    ['mm', 'gon', None, None]
    """
    bare = re.sub(r"^[\[(]\s*|\s*[\])]$", "", text.strip())
    if not bare or bare[0].isdigit():
        return None
    try:
        return units.unit(bare)
    except Refused:
        return None
