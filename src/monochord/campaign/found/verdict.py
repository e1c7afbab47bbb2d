"""Verdicts: a quantity against its limit by the declared rule."""

from __future__ import annotations

import math
from dataclasses import dataclass

CONFORMS = "conforms"
DOES_NOT_CONFORM = "does not conform"
CANNOT_BE_DECIDED = "cannot be decided"


@dataclass(frozen=True, slots=True)
class Verdict:
    """One quantity of one magnet, or of the whole girder, on one occasion against one tolerance.

    magnet       its name; "" for a quantity of the whole girder, over ``magnets``
    quantity     "x", "y" (offset from the common line), "own_move_x", "own_move_y", "roll", "slope_x", "slope_y";
                 of x and y together "offset_radial", "own_move_radial", "slope_radial" (length of (x, y));
                 of the whole girder "offset_rms", "offset_all" and the same for own moves and slopes: the root mean square, or
                 the component that keeps its limits least surely
    value, u     SI;  limit  declared, SI: the largest value, or that of the side which has one;  rule  in words
    probability  that the true value lies within the limits (for "_all" every one of them), by this measurement alone
    verdict      one of the three words
    limit_by     which tolerance the limit comes from;  evidence  what the value rests on
    guard        half width of the guard band about the limit, SI; NaN when the rule has none or it was not told
    lower, upper limits, infinite on a side without; NaN: -limit, +limit
    form, rule_name, risk, whose, prior   as declared with the tolerance, the prior in words
    posterior    probability given the prior as well; None without one, or where it cannot be told, see ``why_no_prior``
    consumers_risk  that it does not conform, should it be accepted;  producers_risk  that it conforms, should it be rejected:
                 of this very one, given its reading and the prior if there is one
    global_consumers_risk  part of all there may be, by the prior, that is accepted and does not conform
    global_producers_risk  part that conforms and is not accepted; None with the reason in ``why_no_prior``
    dof          degrees of freedom behind u, infinite when it is known
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
    lower: float = float("nan")
    upper: float = float("nan")
    form: str = "each axis"
    rule_name: str = "guard band"
    risk: float = 0.05
    whose: str = "consumer's"
    prior: str = "none"
    posterior: float | None = None
    consumers_risk: float | None = None
    producers_risk: float | None = None
    global_consumers_risk: float | None = None
    global_producers_risk: float | None = None
    why_no_prior: str = "no prior is declared"
    dof: float = math.inf
    magnets: tuple[str, ...] = ()

    @property
    def ends(self) -> tuple[float, float]:
        """Lower and upper limit, SI, infinite on a side without one."""
        low = -self.limit if math.isnan(self.lower) else self.lower
        return low, self.limit if math.isnan(self.upper) else self.upper

    @property
    def even(self) -> bool:
        """Whether the limits lie evenly about zero."""
        low, high = self.ends
        return low == -high
