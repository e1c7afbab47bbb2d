"""Amounts: numbers with their unit as they stand in our own files, and back."""

from __future__ import annotations

import re
from functools import lru_cache

from monochord.ground import units
from monochord.ground.faults import Refused

_FRACTION = re.compile(r"\s*([+-]?\d+(?:\.\d+)?)\s*/\s*(\d+(?:\.\d+)?)\s+(\S.*)$")


@lru_cache(maxsize=4096)
def amount(text: str, dimension: str) -> float:
    """A number with its unit in SI; a fraction such as ``"1/120 turn"`` is allowed.

    >>> amount("1/8 turn", "turns"), amount("6.400 m", "length")
    (0.125, 6.4)
    """
    if parts := _FRACTION.match(text):
        if float(parts[2]) == 0.0:
            return units.quantity(text, dimension)
        return units.unit(parts[3], dimension=dimension).to_si(float(parts[1]) / float(parts[2]))
    return units.quantity(text, dimension)


def why_not(text: str, dimension: str) -> tuple[str, str] | None:
    """What was expected instead of the text and what to do, or None when it is an amount of this kind.

    >>> why_not("310 mm", "length") is None
    True
    """
    try:
        amount(text, dimension)
    except Refused as refusal:
        return refusal.faults[0].expected, refusal.faults[0].remedy
    return None


def spell(value: float, unit: str) -> str:
    """An SI value as a number with this unit, to twelve digits (a picometre in a metre).

    >>> spell(-1.3995, "mm"), spell(-0.0, "m")
    ('-1399.5 mm', '0 m')
    """
    return f"{units.unit(unit).from_si(value) + 0.0:.12g} {unit}"
