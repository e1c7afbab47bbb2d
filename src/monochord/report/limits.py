"""The chapter on what limits the numbers: sentence, bars, the worst few, and on the page every number."""

from __future__ import annotations

from monochord.campaign.found.budget import Budget
from monochord.campaign.found.result import Result
from monochord.report.budgeting import occasions_of, of_occasion, whole_sentence, worst_first
from monochord.report.chapter import Chapter, Section
from monochord.report.document_budget import NONE
from monochord.report.figures.budgets import budgets_picture
from monochord.report.svg import Picture
from monochord.report.tables.budgets import budgets_table

#: Quantities that share a picture, with its title.
GROUPS = (
    ("offsets from the common line", ("x", "y")),
    ("own moves", ("own_move_x", "own_move_y")),
    ("rolls", ("roll",)),
    ("slopes", ("slope_x", "slope_y")),
)
#: Rows of the table that the paper has too.
WORST = 6


def limits_chapter(result: Result) -> Chapter:
    """What limits the numbers, the latest occasion first; earlier ones on the page only."""
    occasions = occasions_of(result)
    sections = [_latest(result, occasions[0])] if occasions else []
    sections += [_earlier(result, name) for name in occasions[1:]]
    return Chapter(
        "limits",
        "What limits the numbers",
        "Which causes bring how much of each uncertainty, what would shrink it most, and what would have to be wrong to turn "
        "a verdict.",
        tuple(sections) or (Section("No budget", empty=f"{NONE[:1].upper()}{NONE[1:]}."),),
    )


def _latest(result: Result, occasion: str) -> Section:
    found = of_occasion(result, occasion)
    ranked = worst_first(found)
    return Section(
        f"What limits the numbers, {occasion}",
        words=(whole_sentence(result),),
        pictures=_pictures(occasion, found),
        tables=(budgets_table(occasion, ranked, worst=WORST), budgets_table(occasion, ranked)),
    )


def _earlier(result: Result, occasion: str) -> Section:
    found = of_occasion(result, occasion)
    return Section(
        f"What limited the numbers, {occasion}",
        pictures=_pictures(occasion, found),
        tables=(budgets_table(occasion, worst_first(found)),),
        page_only=True,
    )


def _pictures(occasion: str, found: list[Budget]) -> tuple[Picture, ...]:
    """A picture for each family of quantities that has an uncertainty."""
    grouped = [(title, [b for b in found if b.quantity in keys and b.u > 0.0]) for title, keys in GROUPS]
    return tuple(budgets_picture(occasion, title, group) for title, group in grouped if group)
