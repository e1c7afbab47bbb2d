"""Verdicts: a quantity against its limit by the declared rule."""

from __future__ import annotations

from dataclasses import dataclass

CONFORMS = "conforms"
DOES_NOT_CONFORM = "does not conform"
CANNOT_BE_DECIDED = "cannot be decided"


@dataclass(frozen=True, slots=True)
class Verdict:
    """One quantity of one magnet on one occasion against one limit.

    quantity     "x", "y" (offset from the common line), "own move x", "own move y", "roll", "slope_x", "slope_y"
    value, u     SI;  limit  largest absolute value, SI;  rule  in words
    probability  that the true value lies within the limit;  verdict  one of the three words
    limit_by     which tolerance the limit comes from;  evidence  what the value rests on
    guard        half width of the guard band about the limit, SI; NaN when the rule has none or it was not told
    """

    occasion: str
    magnet: str
    quantity: str
    value: float
    u: float
    limit: float
    rule: str
    probability: float
    verdict: str
    limit_by: str
    evidence: str
    guard: float = float("nan")
