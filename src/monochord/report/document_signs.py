"""Check moves and what became of them, in the result document."""

from __future__ import annotations

from monochord.campaign.found.result import Result
from monochord.campaign.found.signs import SignCheck
from monochord.report.entries import Part, Value, entry
from monochord.report.facts import finite

NO_MOVES = "no check move is noted in this campaign"


def signs_part(result: Result) -> Part:
    """Every check move with its outcome; empty, with the reason, where none was noted."""
    return [_sign(check) for check in result.signs], {} if result.signs else {"signs": NO_MOVES}


def _sign(check: SignCheck) -> dict[str, object]:
    values: dict[str, Value] = {
        "move": check.move,
        "evidence": check.evidence,
        "outcome": check.outcome,
        "seen": finite(check.seen),
        "u": finite(check.u),
        "words": check.words,
        "keys": check.keys,
        "file": check.file,
        "line": check.line,
    }
    return entry(values, {"seen": check.words, "u": check.words})
