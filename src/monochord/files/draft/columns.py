"""One column of an unknown table: its name taken apart, what its cells look like, and its numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monochord.files.columns import Array
from monochord.files.draft import words
from monochord.files.draft.cells import kind
from monochord.files.draft.words import Name, apart
from monochord.files.numbers import Spelling, column, sexagesimal_column

LETTERS = "xyz"


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """A column as it stands in the files.

    header  as written;  name  taken apart, with the unit of a unit line where there is one
    unit_from  "name", "unit line" or ""
    look    "n" numbers, "t" times, "a" angles in parts, "w" words, "e" empty
    values  (n,), NaN where there is none
    """

    header: str
    name: Name
    unit_from: str
    look: str
    cells: tuple[str, ...]
    values: Array

    @property
    def distinct(self) -> list[str]:
        """Its different cells, without blanks around them and without empty ones, in their order."""
        return [c for c in dict.fromkeys(x.strip() for x in self.cells) if c]

    @property
    def whole(self) -> bool:
        """Whether all its numbers are whole."""
        known = self.values[np.isfinite(self.values)]
        return self.look == "n" and bool(known.size) and bool((known % 1.0 == 0.0).all())

    @property
    def span(self) -> tuple[float, float]:
        """Smallest and largest number; NaN when there is none."""
        known = self.values[np.isfinite(self.values)]
        return (float(known.min()), float(known.max())) if known.size else (float("nan"), float("nan"))

    @property
    def most(self) -> float:
        """Largest size of its numbers."""
        low, high = self.span
        return max(abs(low), abs(high))


def column_of(header: str, cells: Sequence[str], spelling: Spelling, unit_line: str = "") -> Column:
    """A column from its name and its cells.

    unit_line  what stands below its name in a line of units, "" for nothing

    >>> c = column_of("Hz [gon]", ["112,30", "399,5"], Spelling(","))
    >>> c.name.unit, c.look, c.span
    ('gon', 'n', (112.3, 399.5))
    """
    name, come = apart(header), "name"
    if not name.unit and words.dimension_of(unit_line):
        name, come = Name(name.words, words.unit_of(unit_line), name.amplitude), "unit line"
    looks = kind(cells)
    if looks == "n":
        values = column(cells, spelling)[0]
    elif looks == "a":
        values = sexagesimal_column(cells, spelling)[0]
    else:
        values = np.full(len(cells), np.nan)
    return Column(header, name, come if name.unit else "", looks, tuple(cells), values)


def is_axis(cell: str) -> bool:
    """Whether a cell is a letter of an axis or a direction in words.

    >>> is_axis("-Z"), is_axis("links"), is_axis("Q1")
    (True, True, False)
    """
    text = words.plain(cell.strip())
    return text.lstrip("+-") in tuple(LETTERS) or text in words.DIRECTIONS


def units_only(found: Column) -> bool:
    """Whether every cell of a column of words is a unit."""
    return found.look == "w" and bool(found.distinct) and all(words.dimension_of(c) for c in found.distinct)
