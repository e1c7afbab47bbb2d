"""Uncertainties told by cause: u is the root of the sum of shares, a covariance the sum of shares.

A share is J S J' of one cause: what each pair of the cause's own variables brings. S is told by the room that
knows the cause, under ``cause/<id>/<i>/<j>``. Names behind a number: ``#u``, ``#kind sag``, ``#cause sag:2-aligned``,
and where a cause has many variables ``#cause ..., variable 3`` and ``..., from 0 to 11``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.ground.estimate import Estimate, kind_of
from monochord.ground.trace import Line, Sum, root_of_sum

#: So many lines are read at once; more are gathered in groups.
MOST = 36

#: Parts of the largest share that are but the rounding of a double.
NOTHING = 1e-18

_CAUSE = re.compile(r"cause (?P<id>.+?)(?:, variable (?P<a>\d+))?(?:, from (?P<lo>\d+) to (?P<hi>\d+))?")
#: How a variable of a cause goes with the number: its covariance with it by this cause alone.
_FOLLOWING = re.compile(r"cause (?P<id>.+), following (?P<a>\d+)")


@dataclass(frozen=True, eq=False, slots=True)
class Entry:
    """An entry of a covariance, and the number of the document that it makes.

    estimate, i, j   the entry;  base  name under which its shares are told;  name, value  of the number itself, the value
                     None when the document has none
    root             True when the number is the standard uncertainty of component i = j;  cause  the one that it is the part
                     of, "" for all
    """

    estimate: Estimate
    i: int
    j: int
    base: str
    name: str
    value: float | None = None
    root: bool = False
    cause: str = ""

    @property
    def label(self) -> str:
        """Name of the first component."""
        return self.estimate.labels[self.i].name

    @property
    def unit(self) -> str:
        """Unit of the covariance: m2, rad2, m rad and so on."""
        a, b = (self.estimate.labels[k].unit for k in (self.i, self.j))
        return f"{a}2" if a == b else f"{a} {b}"

    @property
    def words(self) -> str:
        """What the covariance is of."""
        other = self.estimate.labels[self.j].name
        return f"the variance of {self.label}" if self.i == self.j else f"the covariance of {self.label} and {other}"

    def share(self, cause: str) -> float:
        """What one cause brings."""
        factor = self.estimate.factors[cause]
        return float(factor.jacobian[self.i] @ factor.spread @ factor.jacobian[self.j])


#: Name of an entry of the spread of a cause, at the room that tells it.
Spreads = Callable[[str, int, int], str]


def told(entry: Entry, part: str, spreads: Spreads) -> Sum | None:
    """The number itself (part "" or "u") or what stands behind it; None for a part that is none of these."""
    if not part:
        return _one_cause(entry) if entry.cause else _by_cause(entry, "", entry.root)
    if part == "u":
        return _by_cause(entry, part, True)
    if part.startswith("kind "):
        return _of_kind(entry, part)
    if part.startswith("u of kind "):
        return _root_of_kind(entry, part)
    if (following := _FOLLOWING.fullmatch(part)) and following["id"] in entry.estimate.factors:
        return _following(entry, part, following, spreads)
    found = _CAUSE.fullmatch(part)
    return _share(entry, part, found, spreads) if found and found["id"] in entry.estimate.factors else None


def _brought(entry: Entry) -> list[tuple[str, float]]:
    shares = [(cause, entry.share(cause)) for cause in entry.estimate.factors]
    # what is left of exact zeros by rounding is no share
    floor = NOTHING * max((abs(amount) for _, amount in shares), default=0.0)
    return sorted([s for s in shares if abs(s[1]) > floor], key=lambda s: -abs(s[1]))


def _lines(entry: Entry, shares: Sequence[tuple[str, float]]) -> tuple[Line, ...]:
    return tuple(Line(cause, amount, f"{entry.base}#cause {cause}", unit=entry.unit) for cause, amount in shares)


def _by_cause(entry: Entry, part: str, root: bool) -> Sum:
    shares = _brought(entry)
    lines = _lines(entry, shares)
    if len(lines) > MOST:
        kinds: dict[str, list[float]] = {}
        for cause, amount in shares:
            kinds.setdefault(kind_of(cause), []).append(amount)
        lines = tuple(
            Line(
                f"{kind}, {len(a)} causes" if len(a) > 1 else kind,
                float(sum(a)),
                f"{entry.base}#kind {kind}",
                unit=entry.unit,
            )
            for kind, a in kinds.items()
        )
    total = [amount for _, amount in shares]
    name = entry.name + (f"#{part}" if part else "")
    if not root:
        made = sum(total) if entry.value is None else entry.value
        return Sum(name, entry.unit, made, lines, f"{entry.words}: the sum of what each cause brings to it")
    how = f"the standard uncertainty of {entry.label}: the root of the sum of what each cause brings to its variance"
    made = entry.value if entry.value is not None and not part else root_of_sum(total)
    return Sum(name, entry.estimate.labels[entry.i].unit, made, lines, how, root_of_sum)


def _of_kind(entry: Entry, part: str) -> Sum | None:
    kind = part.removeprefix("kind ")
    shares = [(cause, entry.share(cause)) for cause in entry.estimate.factors if kind_of(cause) == kind]
    shares = [s for s in shares if s[1] != 0.0]
    how = f"all causes of the kind {kind!r} in {entry.words}"
    name = f"{entry.base}#{part}"
    return Sum(name, entry.unit, sum(a for _, a in shares), _lines(entry, shares), how) if shares else None


def _root_of_kind(entry: Entry, part: str) -> Sum | None:
    whole = _of_kind(entry, part.removeprefix("u of "))
    if whole is None:
        return None
    line = Line(whole.how, whole.value, whole.name, unit=entry.unit)
    how = f"the part of that kind in the standard uncertainty of {entry.label}"
    unit = entry.estimate.labels[entry.i].unit
    return Sum(f"{entry.base}#{part}", unit, root_of_sum([whole.value]), (line,), how, root_of_sum)


def _one_cause(entry: Entry) -> Sum:
    amount = entry.share(entry.cause)
    lines = _lines(entry, [(entry.cause, amount)])
    how = (
        f"the part of {entry.cause} in the standard uncertainty of {entry.label}: the root of its part of the variance"
    )
    made = root_of_sum([amount]) if entry.value is None else entry.value
    return Sum(entry.name, entry.estimate.labels[entry.i].unit, made, lines, how, root_of_sum)


def _share(entry: Entry, part: str, found: re.Match[str], spreads: Spreads) -> Sum:
    """One cause: pairs of its variables, or where these are many one variable after the other with all."""
    cause, factor = found["id"], entry.estimate.factors[found["id"]]
    left, right, spread = factor.jacobian[entry.i], factor.jacobian[entry.j], factor.spread
    stem = f"{entry.base}#cause {cause}"

    def pair(a: int, b: int, follows: float) -> Line:
        given = float(spread[a, b])
        words = f"variable {a} of {cause}" if a == b else f"variables {a} and {b} of {cause}"
        return Line(words, follows * given, spreads(cause, a, b), follows, given, entry.unit)

    both = np.outer(left, right)
    both = np.triu(both) + np.tril(both, -1).T  # a pair of two different variables counts in both orders
    terms = np.argwhere(both * spread != 0.0)
    if found["a"] is None and len(terms) <= MOST:
        lines = tuple(pair(int(a), int(b), float(both[a, b])) for a, b in terms)
    elif found["a"] is None:
        amounts = left * (spread @ right)
        lines = _gathered(amounts, found, stem, lambda a: Line(
            f"variable {a} of {cause} with all of them", float(amounts[a]), f"{stem}, variable {a}", unit=entry.unit
        ))  # fmt: skip
    else:
        a = int(found["a"])
        amounts = left[a] * spread[a] * right
        lines = _gathered(amounts, found, f"{stem}, variable {a}", lambda b: pair(a, b, float(left[a] * right[b])))
    how = (
        f"{cause} in {entry.words}: for every pair of the cause's own variables, how far the number follows both "
        "(the product of two sensitivities is the factor) times their covariance"
    )
    return Sum(f"{entry.base}#{part}", entry.unit, sum(line.amount for line in lines), lines, how)


def _following(entry: Entry, part: str, found: re.Match[str], spreads: Spreads) -> Sum:
    """Covariance of one variable of a cause with the number: its covariances with all variables that the number follows."""
    cause, a, factor = found["id"], int(found["a"]), entry.estimate.factors[found["id"]]
    row, spread = factor.jacobian[entry.i], factor.spread
    lines = tuple(
        Line(f"variables {a} and {b} of {cause}", float(row[b] * spread[a, b]), spreads(cause, a, int(b)),
             float(row[b]), float(spread[a, b]))
        for b in np.flatnonzero(row * spread[a])
    )  # fmt: skip
    how = f"how variable {a} of {cause} goes with {entry.label}: its covariances with every variable that the number follows"
    return Sum(f"{entry.base}#{part}", "", float(spread[a] @ row), lines, how)


def _gathered(
    amounts: NDArray[np.float64], found: re.Match[str], stem: str, line: Callable[[int], Line]
) -> tuple[Line, ...]:
    """A line for each variable that brings something, or where these are many one for each stretch of variables."""
    rows = np.flatnonzero(amounts)
    if found["lo"] is not None:
        rows = rows[(rows >= int(found["lo"])) & (rows <= int(found["hi"]))]
    if len(rows) <= MOST:
        return tuple(line(int(r)) for r in rows)
    lines = []
    for few in np.array_split(rows, -(-len(rows) // 12)):
        low, high = int(few[0]), int(few[-1])
        lines.append(Line(f"variables {low} to {high}", float(sum(amounts[few])), f"{stem}, from {low} to {high}"))
    return tuple(lines)
