"""What decides with its uncertainties enlarged, when the campaign says that a fleet demands it; untouched when it does not.

Only what is held against a limit grows: offsets from the common line, now and planned, and own moves. Axes, targets, shapes
and the closure itself keep what their budget says, or the next closure could not judge that budget.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from monochord.campaign.found.axes import CommonLine
from monochord.campaign.found.comparison import Comparison, OwnMove
from monochord.campaign.found.plan import BoltPlan
from monochord.campaign.found.verdict import Verdict
from monochord.campaign.given.budget_scale import BudgetScale

#: Tolerances of these quantities are decided with enlarged uncertainties.
ENLARGED = ("offset", "own move")


def widened_line(line: CommonLine, scale: BudgetScale | None) -> CommonLine:
    """The line with the uncertainties of its offsets times the factor."""
    return line if scale is None else replace(line, offsets=line.offsets.widened(scale.factor))


def widened_moves(change: Comparison, scale: BudgetScale | None) -> Comparison:
    """A comparison with the uncertainties of its own moves times the factor; their words say so."""
    if scale is None:
        return change
    return replace(
        change,
        own_moves=_moves(change.own_moves, scale),
        own_moves_from_targets=_moves(change.own_moves_from_targets, scale),
    )


def _moves(moves: Iterable[OwnMove], scale: BudgetScale) -> tuple[OwnMove, ...]:
    """The words of a move tell what its finding rests on, with the budget's own uncertainty, and say so."""
    told = f"the number behind ± is the budget's own; against its limit {scale.words}"
    return tuple(
        replace(move, estimate=move.estimate.widened(scale.factor), laws=(), words=f"{move.words} ({told})")
        for move in moves
    )


def widened_plans(plans: Iterable[BoltPlan], scale: BudgetScale | None) -> tuple[BoltPlan, ...]:
    """Plans with the uncertainties of the offsets, now and expected, times the factor: they stand beside the same limits."""
    if scale is None:
        return tuple(plans)
    return tuple(
        replace(
            plan,
            offsets_before=plan.offsets_before.widened(scale.factor),
            offsets_after=plan.offsets_after.widened(scale.factor),
        )
        for plan in plans
    )


def said(verdicts: Iterable[Verdict], scale: BudgetScale | None) -> tuple[Verdict, ...]:
    """Verdicts whose rule says that their uncertainty was enlarged, and why."""
    if scale is None:
        return tuple(verdicts)
    return tuple(
        replace(v, rule=f"{v.rule}; {scale.words}") if any(v.limit_by.endswith(q) for q in ENLARGED) else v
        for v in verdicts
    )
