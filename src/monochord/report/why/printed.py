"""Which number the report prints how: the text beside every exact value of its tables."""

from __future__ import annotations

from monochord.campaign.found.result import Result
from monochord.report.sections import CHAPTERS


def printed_values(result: Result) -> dict[float, str]:
    """Exact value -> the text of the first cell of the report that carries it."""
    found: dict[float, str] = {}
    for build in CHAPTERS:
        for section in build(result).sections:
            for table in section.tables:
                for cell in (cell for row in table.rows for cell in row):
                    if cell.value is not None:
                        found.setdefault(cell.value, cell.text)
    return found
