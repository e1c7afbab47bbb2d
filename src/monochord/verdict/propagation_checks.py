"""What the uncertainty functions of this room ask of their arguments, told as faults and never as a traceback."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from monochord.ground.faults import Fault, Refused, Undetermined


def wanted(holds: bool, given: str, expected: str, remedy: str) -> None:
    """Refuse unless the condition holds.

    >>> wanted(1 > 2, "u = -1 m", "a standard uncertainty of 0 or more", "look at the covariance")
    Traceback (most recent call last):
        ...
    monochord.ground.faults.Refused: given u = -1 m; expected a standard uncertainty of 0 or more; look at the covariance
    """
    if not holds:
        raise Refused([Fault(given, expected, remedy)])


def share_wanted(name: str, value: float) -> float:
    """A probability, risk or level strictly between 0 and 1, handed back.

    >>> share_wanted("coverage", 0.95)
    0.95
    """
    wanted(0.0 < value < 1.0, f"{name} {value:g}", "a number between 0 and 1, such as 0.05", "give 5 % as 0.05")
    return value


def spread_wanted(u: float) -> float:
    """A standard uncertainty of zero or more, finite, handed back.

    >>> spread_wanted(3e-6)
    3e-06
    """
    good = math.isfinite(u) and u >= 0.0
    wanted(good, f"standard uncertainty {u:g}", "a finite number of 0 or more", "what is unknown cannot be judged")
    return u


def known_wanted(value: NDArray[np.float64], names: Sequence[str], why: str) -> None:
    """Undetermined, with the names, when one of the values is not known (NaN).

    >>> known_wanted(np.array([1.0, np.nan]), ["Q1.x", "S2.x"], "its centre was not found")
    Traceback (most recent call last):
        ...
    monochord.ground.faults.Undetermined: S2.x: its centre was not found
    """
    lacking = [name for name, number in zip(names, value, strict=True) if not math.isfinite(number)]
    if lacking:
        raise Undetermined(lacking, why)
