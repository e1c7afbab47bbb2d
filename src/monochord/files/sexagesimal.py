"""Angles written as degrees, minutes and seconds: the sign stands before them and counts on a zero too."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal


def degrees_minutes_seconds(degrees: float, digits: int = 2) -> str:
    """An angle [deg] as degrees, minutes and seconds; seconds that round to 60 carry into the minutes.

    digits  behind the point of the seconds, halves rounded up in size

    >>> degrees_minutes_seconds(-0.208333333, 0), degrees_minutes_seconds(-0.010138889, 1)
    ('-0 12 30', '-0 00 36.5')
    >>> degrees_minutes_seconds(359.9999999, 0), degrees_minutes_seconds(12.5)
    ('360 00 00', '12 30 00.00')
    """
    smallest = Decimal(1).scaleb(-digits)
    seconds = (Decimal(repr(abs(degrees))) * 3600).quantize(smallest, ROUND_HALF_UP)
    whole, rest = divmod(seconds, 3600)
    minutes, left = divmod(rest, 60)
    sign = "-" if degrees < 0.0 and seconds else ""
    width = 3 + digits if digits else 2
    return f"{sign}{whole:.0f} {minutes:02.0f} {left:0{width}.{digits}f}"
