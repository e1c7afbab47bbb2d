"""Text tables with a delimiter: cut by :mod:`monochord.files.table`."""

from __future__ import annotations

from monochord.files.formats.asked import Asked, Format
from monochord.files.table import Table, cut
from monochord.ground.faults import Gatherer


def table(data: bytes, file: str, asked: Asked, faults: Gatherer) -> Table | None:
    r"""A text table as the dialect says.

    >>> found = table(b"a,b\n1,2\n", "t.csv", Asked(), Gatherer())
    >>> found.header if found else None
    ('a', 'b')
    """
    return cut(data, file, asked.dialect, faults)


FORMAT = Format("text", "text with a delimiter, or of fixed width by its dialect", table)
