"""Budgets in the result document: occasion, magnet, quantity."""

from __future__ import annotations

from monochord.campaign.found.budget import Budget, Flip
from monochord.campaign.found.result import Result
from monochord.report.budgeting import SMALL, helpful, nearest_flip
from monochord.report.entries import Part, Value, entry
from monochord.report.facts import finite

#: Under this name the kinds are told together that bring little.
OTHERS = "all others"
NONE = "no number with an uncertainty was found"
NO_LIMIT = "no limit is declared for this quantity"
NO_ERROR = "no cause alone could bring the value to its limit"


def budgets_part(result: Result) -> Part:
    """Occasion -> magnet -> quantity -> budget."""
    parts: dict[str, dict[str, dict[str, object]]] = {}
    for made in result.budgets:
        parts.setdefault(made.occasion, {}).setdefault(made.magnet, {})[made.quantity] = budget_part(made)
    return parts, {} if parts else {"budgets": NONE}


def budget_part(made: Budget) -> dict[str, object]:
    """One budget: shares that sum to one, the strongest measures, and the smallest error that would turn the verdict."""
    big = [s for s in made.shares if s.part >= SMALL]
    shares: list[object] = [{"kind": s.kind, "u": s.u, "part": s.part} for s in big]
    rest = [s for s in made.shares if s.part < SMALL]
    if rest:
        u, part = sum(s.u**2 for s in rest) ** 0.5, sum(s.part for s in rest)
        shares.append({"kind": OTHERS, "u": u, "part": part})
    reliefs: list[object] = [
        {"measure": r.measure, "basis": r.basis, "u_after": r.u_after, "gain": r.gain} for r in helpful(made)
    ]
    flip = nearest_flip(made)
    values: dict[str, Value] = {
        "u": finite(made.u),
        "shares": shares,
        "reliefs": reliefs,
        "flip": None if flip is None else _flip(flip),
    }
    why = {
        "flip": NO_LIMIT if made.limit is None else NO_ERROR,
        "reliefs": "nothing done once more on this occasion would shrink it by a hundredth",
        "shares": "no cause brings any uncertainty",
    }
    return entry(values, why)


def _flip(flip: Flip) -> dict[str, object]:
    """The smallest error; where one variable brings it, which one and by how much it would have to be wrong."""
    told: dict[str, object] = {"cause": flip.cause, "times_u": flip.times_u}
    size = finite(flip.size)
    return told if size is None else told | {"variable": flip.variable, "wrong_by": abs(size), "unit": flip.unit}
