"""Verdicts of all occasions by all tolerances, with a second wire and without one."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.campaign.found.comparison import Comparison
from monochord.campaign.found.result import OccasionFinding
from monochord.campaign.found.verdict import Verdict
from monochord.campaign.given.campaign import Campaign, Tolerance
from monochord.verdict.decide import angle_verdicts, offset_verdicts, own_move_verdicts


def verdicts(
    campaign: Campaign, found: Sequence[OccasionFinding], changes: Sequence[Comparison]
) -> tuple[Verdict, ...]:
    """Every magnet against every tolerance on every occasion that can speak to it."""
    made: list[Verdict] = []
    for finding in found:
        for tolerance in (t for t in campaign.tolerances if t.quantity != "shift"):
            made += _of(campaign, finding, changes, tolerance)
    return tuple(made)


def _of(
    campaign: Campaign, finding: OccasionFinding, changes: Sequence[Comparison], tolerance: Tolerance
) -> list[Verdict]:
    names = [m.name for m in campaign.girder.magnets]
    if tolerance.quantity == "offset":
        if finding.line is None:
            return []
        return offset_verdicts(finding.name, finding.line, names, tolerance, finding.line_evidence)
    if tolerance.quantity == "own move":
        since = [c for c in changes if c.start == campaign.reference and c.end == finding.name]
        return [v for c in since for v in own_move_verdicts(finding.name, c.own_moves, names, tolerance)]
    if finding.wire is None:
        return []
    return angle_verdicts(finding.name, finding.wire.axes, tolerance)
