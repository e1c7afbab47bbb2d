"""Why a number is what it is: a sum (or a formula) of lines, each of which has a name to ask further or a place in a file.

Every number of a result document is named by its place there, as a JSON Pointer (RFC 6901, read):
``/occasions/2-aligned/axes/Q1/x``. What stands behind it and is not in the document carries a part after
``#``: ``/occasions/2-aligned/axes/Q1/x#mode 2``. Inside a room names are relative to what it hands over
(``axes/Q1/x``) and do not begin with a slash; :meth:`Sum.under` makes them whole.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Place:
    """Where a number was read: file inside the campaign, line (1-based; 0 when the file has none), and column or key."""

    file: str
    line: int = 0
    column: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a sum.

    words    what it is;  amount  what it brings, in the unit of the sum (of a formula: the argument's own value)
    of       name of the number that it rests on, "" when it rests on none
    factor, given, unit   amount = factor * given, with the unit of ``given``; None where it was not made that way
    places   rows of files, or keys of settings, that it was read from
    """

    words: str
    amount: float
    of: str = ""
    factor: float | None = None
    given: float | None = None
    unit: str = ""
    places: tuple[Place, ...] = ()


@dataclass(frozen=True, eq=False, slots=True)
class Sum:
    """A number with the lines that make it.

    name, unit, value   of the number, SI;  how  in words what was done
    formula  makes the value from the amounts, in their order; None for a plain sum

    >>> made = Sum("axes/Q1/x", "m", 3e-6, (Line("scan", 2e-6, of="axes/Q1/x#scan"), Line("sag", 1e-6)), "centre and sag")
    >>> made.again(), made.under("/occasions/bench").lines[0].of
    (3e-06, '/occasions/bench/axes/Q1/x#scan')
    """

    name: str
    unit: str
    value: float
    lines: tuple[Line, ...]
    how: str
    formula: Callable[[Sequence[float]], float] | None = None

    def again(self) -> float:
        """The value made again from the lines."""
        amounts = [line.amount for line in self.lines]
        return math.fsum(amounts) if self.formula is None else self.formula(amounts)

    def under(self, prefix: str) -> Sum:
        """The same with ``prefix`` before every relative name, such as ``/occasions/2-aligned``."""
        lines = tuple(replace(line, of=_under(prefix, line.of)) for line in self.lines)
        return replace(self, name=_under(prefix, self.name), lines=lines)


#: Tells a number by its relative name; raises Refused for a name that it does not know.
Unfold = Callable[[str], Sum]


def root_of_sum(amounts: Sequence[float]) -> float:
    """Square root of the sum: the formula of a standard uncertainty from its shares of variance.

    >>> root_of_sum([9.0, 16.0])
    5.0
    """
    return math.sqrt(max(math.fsum(amounts), 0.0))


def pointer(*keys: str | int) -> str:
    """A name from the keys on the way to it, "/" and "~" written as RFC 6901 wants.

    >>> pointer("occasions", "2-aligned", "axes", "Q1/a", "x")
    '/occasions/2-aligned/axes/Q1~1a/x'
    """
    return "".join("/" + str(key).replace("~", "~0").replace("/", "~1") for key in keys)


def _under(prefix: str, name: str) -> str:
    return f"{prefix}/{name}" if name and not name.startswith("/") else name
