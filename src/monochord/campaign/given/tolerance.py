"""What is tolerated: limits, the form in which they are meant, and the rule by which a value is judged against them."""

from __future__ import annotations

import math
from dataclasses import dataclass

EACH_AXIS, RADIAL, RMS, ALL_TOGETHER = "each axis", "radial", "rms", "all together"
FORMS = (EACH_AXIS, RADIAL, RMS, ALL_TOGETHER)
BOTH, UPPER, LOWER = "both", "upper", "lower"
SIDES = (BOTH, UPPER, LOWER)
GUARD_BAND, SIMPLE_ACCEPTANCE = "guard band", "simple acceptance"
RULES = (GUARD_BAND, SIMPLE_ACCEPTANCE)
CONSUMERS, PRODUCERS = "consumer's", "producer's"
WHOSE = (CONSUMERS, PRODUCERS)
NONE, NORMAL, UNIFORM, FLEET, GAMMA = "none", "normal", "uniform", "fleet", "gamma"
LAWS = (NONE, NORMAL, UNIFORM, FLEET, GAMMA)


@dataclass(frozen=True, slots=True)
class PriorKnowledge:
    """What is known of a value before it is measured, SI, of each component by itself.

    law     "none"; "normal" with mean and sd; "uniform" from low to high; "fleet": the law of the values that other girders had;
            "gamma" with shape and scale, for what cannot be negative
    values, u   of the fleet and the standard uncertainty of each
    """

    law: str = NONE
    mean: float = 0.0
    sd: float = math.nan
    low: float = math.nan
    high: float = math.nan
    values: tuple[float, ...] = ()
    u: float = 0.0
    shape: float = math.nan
    scale: float = math.nan


@dataclass(frozen=True, slots=True)
class Tolerance:
    """A limit, and how it is to be kept.

    quantity  "offset" (of the axis from the common line), "own move" (since the reference occasion), "roll", "slope";
              "shift": what counts as moved between two occasions, judged nowhere else
    limit     SI, the upper limit; for sides "lower" the lower one; for "radial" and "rms" the largest value
    magnets   names, () for all
    form      "each axis": x and y each, so that the largest value of all keeps the limit when every verdict is "conforms";
              "radial": x and y together within a circle; "rms": the root mean square over all magnets meant, x and y;
              "all together": every magnet and plane within the limit at once, with the probability of all together
    sides     "both", "upper" or "lower";  lower  lower limit for both sides where it is not -limit
    rule      "guard band" or "simple acceptance";  risk  accepted, above 0 and below 0.5
    whose     "consumer's": nothing is accepted that is not proven within the limits at this risk (false acceptance);
              "producer's": nothing is rejected that is not proven beyond them (false rejection), all else is accepted
    prior     what is known beforehand; it tells risks and never changes a verdict
    """

    quantity: str
    limit: float
    magnets: tuple[str, ...] = ()
    form: str = EACH_AXIS
    sides: str = BOTH
    lower: float | None = None
    rule: str = GUARD_BAND
    risk: float = 0.05
    whose: str = CONSUMERS
    prior: PriorKnowledge = PriorKnowledge()

    @property
    def ends(self) -> tuple[float, float]:
        """Lower and upper limit of one component, SI; infinite on a side that has none.

        >>> Tolerance("offset", 30e-6).ends, Tolerance("offset", 30e-6, sides="upper").ends
        ((-3e-05, 3e-05), (-inf, 3e-05))
        """
        if self.sides == UPPER:
            return -math.inf, self.limit
        if self.sides == LOWER:
            return self.limit, math.inf
        return -self.limit if self.lower is None else self.lower, self.limit

    @property
    def even(self) -> bool:
        """Whether the limits lie evenly about zero."""
        low, high = self.ends
        return low == -high
