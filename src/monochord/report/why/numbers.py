"""How numbers of an unfolded sum are printed: one unit a sum, and so many digits that the printed lines add up.

The last line is the number to the digit that the report prints it with; the lines above carry at least two digits
more, and as many as it takes for their printed sum to round to that last line.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from monochord.ground.trace import Line, Sum, root_of_sum
from monochord.report.words import number, rounded

#: Unit in SI -> unit of the print and its factor.
PRINTED: dict[str, tuple[str, float]] = {
    "m": ("µm", 1e6), "rad": ("µrad", 1e6), "m2": ("µm²", 1e12), "rad2": ("µrad²", 1e12), "m rad": ("µm·µrad", 1e12),
    "rad m": ("µrad·µm", 1e12), "1": ("", 1.0), "": ("", 1.0), "degC": ("°C", 1.0), "1/m": ("1/m", 1.0), "12": ("", 1.0),
}  # fmt: skip
#: Lengths from here on are printed in mm [m].
LONG = 1e-2
#: Angles from here on are printed in rad [rad].
WIDE = 1e-1
#: In the unit of the print smaller numbers are printed with a power of ten.
SMALL = 1e-4
#: Significant digits where the report prints nothing, and of the arguments of a formula.
DIGITS = 6
#: Lines carry at least so many digits more than the number, and never more than MOST_DIGITS behind the point.
MORE, MOST_DIGITS = 2, 15


@dataclass(frozen=True, slots=True)
class Shown:
    """How one sum is printed: unit, its factor from SI, decimals of the lines, decimals of the number itself."""

    unit: str
    factor: float
    lines: int
    total: int

    def line(self, value: float) -> str:
        """A line's amount."""
        return number(value * self.factor, self.lines, sign=True)

    def value(self, value: float) -> str:
        """The number, as the report prints it."""
        return number(value * self.factor, self.total, sign=True)


def unit_of(unit: str, largest: float) -> tuple[str, float]:
    """Unit of the print and factor for numbers of a unit, the largest of them as given.

    >>> unit_of("m", 3e-5), unit_of("m", 1.62), unit_of("1", 2.5e-6)
    (('µm', 1000000.0), ('mm', 1000.0), ('·10^-6', 1000000.0))
    """
    if unit == "m" and largest >= LONG:
        return "mm", 1e3
    if (unit == "rad" and largest >= WIDE) or (unit in ("m2", "rad2") and largest >= LONG):
        return unit, 1.0
    name, factor = PRINTED.get(unit, (unit, 1.0))
    if not 0.0 < largest * factor < SMALL:
        return name, factor
    power = 3 * math.floor(math.log10(largest * factor) / 3)
    return f"·10^{power}{f' {name}' if name else ''}", factor * float(f"1e{-power}")


def shown(made: Sum, printed: str = "") -> Shown:
    """How a sum is printed.

    printed  the number as the report prints it, "" where it does not

    >>> kept = shown(Sum("n", "m", 3e-6, (Line("a", 1.234e-6), Line("b", 1.766e-6)), ""), "+3.0")
    >>> kept.lines, kept.total, kept.value(3e-6)
    (3, 1, '+3.0')
    """
    amounts = [line.amount for line in made.lines]
    largest = max((abs(a) for a in [*amounts, made.value] if math.isfinite(a)), default=0.0)
    unit, factor = unit_of(made.unit, abs(made.value) if made.formula else largest)
    total = _decimals_of(printed, made.value, factor)
    if total is None:
        total = decimals(made.value * factor)
    if made.formula is not None:
        return Shown(unit, factor, total, total)
    lines = total + MORE
    while lines < MOST_DIGITS and not _adds_up(amounts, made.value, factor, lines, total):
        lines += 1
    return Shown(unit, factor, lines, total)


def decimals(value: float, digits: int = DIGITS) -> int:
    """Decimals that show so many significant digits of a number.

    >>> decimals(41.09), decimals(0.00123), decimals(0.0)
    (4, 8, 0)
    """
    if value == 0.0 or not math.isfinite(value):
        return 0
    return min(max(digits - 1 - math.floor(math.log10(abs(value))), 0), MOST_DIGITS)


def _decimals_of(printed: str, value: float, factor: float) -> int | None:
    """Decimals of a number printed in the unit of the print, None when it is printed in another one."""
    text = printed.split("±", maxsplit=1)[0].strip().replace("\N{MINUS SIGN}", "-").split(" ")[0]
    places = len(text.partition(".")[2])
    try:
        fits = float(text) == float(rounded(value * factor, places))
    except ValueError:
        return None
    return places if fits else None


def printed_sum(amounts: Iterable[float], factor: float, places: int) -> Decimal:
    """Sum of the lines as they are printed, exactly.

    >>> printed_sum([1.26, 1.26], 1.0, 1)
    Decimal('2.6')
    """
    return sum((rounded(a * factor, places) for a in amounts), Decimal(0))


def _adds_up(amounts: Sequence[float], value: float, factor: float, lines: int, total: int) -> bool:
    whole = printed_sum(amounts, factor, lines).quantize(Decimal(1).scaleb(-total), ROUND_HALF_UP)
    return whole == rounded(value * factor, total)


def argument(line: Line) -> str:
    """A line of a formula with its own unit."""
    name, factor = unit_of(line.unit, abs(line.amount))
    value = line.amount * factor
    return f"{number(value, decimals(value), sign=True)}{f' {name}' if name else ''}"


def factored(line: Line) -> str:
    """``factor x given`` of a line that was made so, else ""."""
    if line.factor is None or line.given is None:
        return ""
    name, scale = unit_of(line.unit, abs(line.given))
    given = line.given * scale
    return f"{line.factor:.6g} × {number(given, decimals(given))}{f' {name}' if name else ''}".replace(
        "-", "\N{MINUS SIGN}"
    )


def _squared(made: Sum) -> str:
    return f"{made.unit}2" if made.unit not in ("", "1") else ""


def variances(made: Sum) -> list[str]:
    """The lines of a root, all with the decimals that its largest asks for."""
    name, factor = unit_of(_squared(made), max((abs(line.amount) for line in made.lines), default=0.0))
    values = [line.amount * factor for line in made.lines]
    places = decimals(max((abs(v) for v in values), default=0.0), DIGITS + MORE)
    return [f"{number(v, places, sign=True)}{f' {name}' if name else ''}" for v in values]


def rooted(line: Line, made: Sum) -> str:
    """The square root of a line of a root: ``(0.757 µm)²``; "" for any other line."""
    if made.formula is not root_of_sum or line.amount <= 0.0:
        return ""
    root = math.sqrt(line.amount)
    name, factor = unit_of(made.unit, root)
    return f"({number(root * factor, decimals(root * factor, 3))}{f' {name}' if name else ''})²"
