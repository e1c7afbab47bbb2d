"""Shifts in the result document: what has moved beyond chance, and by less than its margin."""

from __future__ import annotations

from collections.abc import Iterable

from monochord.campaign.found.shift import OWN_MOVE, Shift, Shifts
from monochord.report.entries import Value, entry
from monochord.report.facts import finite

NOT_TESTED = "not all shifts could be tested together"


def shifts_part(found: Iterable[Shifts]) -> dict[str, object]:
    """Kind -> its shifts: ``own_moves`` and ``axes``."""
    return {"own_moves" if s.of == OWN_MOVE else "axes": kind_part(s) for s in found}


def kind_part(found: Shifts) -> dict[str, object]:
    """All magnets' shifts of one kind."""
    together: dict[str, Value] = {
        "chi_square": finite(found.chi_square),
        "dof": found.dof,
        "probability": finite(found.probability),
        "found": found.found,
    }
    return {
        "level": found.level,
        "level_each": found.level_each,
        "margin_by": found.margin_by,
        "together": entry(together, dict.fromkeys(together, NOT_TESTED)),
        "magnets": {shift.magnet: shift_part(shift) for shift in found.each},
        "words": found.words,
    }


def shift_part(found: Shift) -> dict[str, object]:
    """One magnet's shift."""
    numbers: dict[str, Value] = {
        key: finite(getattr(found, key))
        for key in ("x", "y", "u_x", "u_y", "chi_square", "probability", "e_n_x", "e_n_y", "moved_more", "answerable")
    }
    values = {
        **numbers,
        "dof": found.dof,
        "found": found.found,
        "margin": found.margin,
        "less": found.less,
        "less_x": found.less_x,
        "less_y": found.less_y,
    }
    return entry(values, dict.fromkeys(values, found.reason or "it could not be told"))
