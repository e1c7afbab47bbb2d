"""Shifts of every compared pair of occasions: own moves and changes of the axes, against chance and against a margin."""

from __future__ import annotations

from dataclasses import replace

from monochord.campaign.found.comparison import Comparison
from monochord.campaign.found.shift import AXIS, OWN_MOVE
from monochord.campaign.given.campaign import Campaign
from monochord.report.facts import limit_of
from monochord.verdict.shifts_table import shifts

#: Below this a magnet counts as not moved where no tolerance of the shift is declared [m]; common practice, no source.
MARGIN = 10e-6


def with_shifts(campaign: Campaign, change: Comparison) -> Comparison:
    """The comparison with the table of what has shifted, of each kind that it tells."""
    names = [m.name for m in campaign.girder.magnets]
    declared = {m: limit_of(campaign.tolerances, "shift", m) for m in names}
    margins = {m: MARGIN if limit is None else limit for m, limit in declared.items()}
    by = "declared" if any(declared.values()) else "not declared: 10 um, common practice, no source"
    if any(declared.values()) and not all(declared.values()):
        by = "declared, else 10 um, common practice, no source"
    moves = {
        move.magnet: move.estimate.pick([f"{move.magnet}.d{p}" for p in "xy"])
        for move in change.own_moves
        if move.magnet in margins
    }
    told = set(change.axis_changes.names)
    axes = {m: change.axis_changes.pick([f"{m}.{p}" for p in "xy"]) for m in names if {f"{m}.x", f"{m}.y"} <= told}
    kinds = [(OWN_MOVE, moves), (AXIS, axes)]
    scale = campaign.budget_scale
    enlarged = {OWN_MOVE: f"; {scale.words}" if scale else ""}
    tables = (shifts(of, pairs, margins, by + enlarged.get(of, "")) for of, pairs in kinds if pairs)
    return replace(change, shifts=tuple(tables))
