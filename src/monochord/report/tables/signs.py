"""Table of check moves: what was made, what the readings show, and which sign of the description that proves."""

from __future__ import annotations

from monochord.campaign.found.result import Result
from monochord.report.document_signs import NO_MOVES
from monochord.report.facts import Known, finite
from monochord.report.svg import ident
from monochord.report.tables.table import Table, column, rows_of, words


def signs_table(result: Result) -> Table:
    """Every check move, one line for each kind of readings that should show it."""
    signs = result.signs
    return Table(
        ident("table-signs"),
        "Check moves: are the signs of the description right",
        ("move", "read from", "outcome", "seen along it [µm]", "in words"),
        rows_of(
            [words(s.move) for s in signs],
            [words(s.evidence) for s in signs],
            [words(s.outcome) for s in signs],
            column([Known(finite(s.seen), finite(s.u)) for s in signs], 1e6),
            [words(s.words) for s in signs],
        ),
        empty=f"{NO_MOVES[0].upper()}{NO_MOVES[1:]}.",
    )
