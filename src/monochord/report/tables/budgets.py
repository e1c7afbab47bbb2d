"""Tables of budgets: u, what brings most of it, what would help most, and what would turn the verdict."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.campaign.found.budget import Budget
from monochord.report.budgeting import flip_words, helpful, nearest_flip, own_flip, printed, quantity_of
from monochord.report.svg import ident
from monochord.report.tables.table import Cell, Table, words
from monochord.report.words import listed, number

#: Kinds of cause in a row.
KINDS = 3


def budgets_table(occasion: str, found: Sequence[Budget], *, worst: int = 0) -> Table:
    """What limits the numbers of an occasion, in the order given; with ``worst`` only so many, for the paper too."""
    shown = found[:worst] if worst else found
    what = f"the {len(shown)} worst against their limits" if worst else "every number"
    return Table(
        ident("table-budgets-worst" if worst else "table-budgets", occasion),
        f"What limits the numbers, {occasion}: {what}",
        ("magnet", "quantity", "u", "what brings it", "what would help most", "what alone would turn it"),
        tuple(_row(b) for b in shown),
        note="Predicted: from the weights and the number of readings of this run. Assumed: no reading tells it.",
        empty="No number with an uncertainty was found.",
        long=not worst,
    )


def _row(made: Budget) -> tuple[Cell, ...]:
    return (
        words(made.magnet),
        words(quantity_of(made)),
        Cell(printed(made.u, made), made.u, style="number"),
        words(listed(f"{s.kind} {number(100.0 * s.part, 0)} %" for s in made.shares[:KINDS])),
        words(_help(made)),
        words(_turn(made)),
    )


def _help(made: Budget) -> str:
    best = helpful(made, 1)
    if not best:
        return "nothing done once more"
    return f"{best[0].measure}: u {printed(best[0].u_after, made)} ({best[0].basis.partition(':')[0]})"


def _turn(made: Budget) -> str:
    """The smallest error, and the smallest that has a unit of its own if it is not absurd beside it."""
    nearest, own = nearest_flip(made), own_flip(made)
    if nearest is None:
        return "no limit is declared"
    told = [nearest] if own is None or own is nearest or own.times_u > 10.0 * nearest.times_u else [nearest, own]
    return "; or ".join(flip_words(f) for f in told)
