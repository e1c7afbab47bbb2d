"""Listings of fixed width: every column has its number of characters, so full fields may touch."""

from __future__ import annotations

from dataclasses import replace

from monochord.files.formats.asked import Asked, Format
from monochord.files.table import Table, cut
from monochord.ground.faults import Gatherer


def table(data: bytes, file: str, asked: Asked, faults: Gatherer) -> Table | None:
    r"""A listing cut at the widths of its dialect.

    >>> from monochord.files.table import Dialect
    >>> wide = Asked(Dialect(widths=(2, 5, 5)))
    >>> found = table(b"p x    y\nA -1.50-2.50\n", "t.txt", wide, Gatherer())
    >>> [list(c) for c in found.columns] if found else None
    [['A '], ['-1.50'], ['-2.50']]
    """
    return cut(data, file, replace(asked.dialect, delimiter="fixed"), faults)


FORMAT = Format("fixed width", "text whose columns have fixed widths", table)
