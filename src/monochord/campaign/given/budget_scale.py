"""A factor on the uncertainties that decide, when the closure of a fleet has shown that the budget is too small."""

from __future__ import annotations

from dataclasses import dataclass

#: So many girders must be in before a factor may be given: more than ten.
FEWEST_GIRDERS = 11


@dataclass(frozen=True, slots=True)
class BudgetScale:
    """How much larger the differences of a fleet are than its budget says; never below 1.

    factor  on every standard uncertainty of offsets and own moves;  girders  that were in
    source  what the factor was read from;  why  in words, behind "since"
    """

    factor: float
    girders: int
    source: str
    why: str

    @property
    def words(self) -> str:
        """The factor and its reason, said wherever it works.

        >>> BudgetScale(1.3, 14, "", "the closure of 14 girders failed").words
        'uncertainties enlarged by 1.3, since the closure of 14 girders failed'
        """
        return f"uncertainties enlarged by {self.factor:g}, since {self.why}"
