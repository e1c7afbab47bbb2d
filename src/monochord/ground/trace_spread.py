"""Variances and covariances told by their causes, and each cause by its own variables.

cov_ij = sum over causes of J_i S J_j'; a line of a cause is what one of its variables brings, J_ik (S J_j')_k, with its own
variance and what it shares with the others; the entries of S are numbers of whoever made the cause.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.ground.estimate import Estimate, kind_of
from monochord.ground.trace import Line, Sum, root_of_sum
from monochord.ground.trace_linear import MOST, Linear, Source, part_of

Array = NDArray[np.float64]

#: Name of entry i, j of the spread of a cause.
EntryName = Callable[[str, int, int], str]


@dataclass(frozen=True, eq=False, slots=True)
class Share:
    """One cause's part in one variance or covariance: J_i (k,), S (k, k), J_j (k,)."""

    first: Array
    spread: Array
    second: Array

    @property
    def parts(self) -> Array:
        """What each variable brings (k,)."""
        return np.asarray(self.first * (self.spread @ self.second), float)

    @property
    def total(self) -> float:
        """The whole part."""
        return float(self.parts.sum())


def shares_of(estimate: Estimate, i: int, j: int) -> dict[str, Share]:
    """The parts of every cause in entry i, j of an estimate's covariance, those that are zero left out.

    >>> a = Estimate.of([1.0], ["a"], unit="m", frame="girder", causes={"noise": np.array([[4.0]])})
    >>> shares_of(a, 0, 0)["noise"].total
    4.0
    """
    found = {c: Share(f.jacobian[i], f.spread, f.jacobian[j]) for c, f in estimate.factors.items()}
    return {cause: share for cause, share in found.items() if share.first.any() and share.second.any()}


@dataclass(frozen=True, eq=False, slots=True)
class Spread:
    """A variance or covariance with its causes; ``root`` tells its square root, a standard uncertainty.

    name, unit, value  of the number;  entry  names the entries of a cause's spread

    >>> share = Share(np.array([1.0]), np.array([[4.0]]), np.array([1.0]))
    >>> told = Spread("u_x", "m", 2.0, {"noise": share}, lambda c, i, j: f"cause/{c}/{i}/{j}", root=True)
    >>> told.tell("").again(), told.tell("cause/noise").lines[0].of
    (2.0, 'cause/noise/0/0')
    """

    name: str
    unit: str
    value: float
    shares: Mapping[str, Share]
    entry: EntryName
    root: bool = False

    def tell(self, part: str) -> Sum:
        """The whole; ``kind/<kind>`` the causes of one kind; ``cause/<id>`` one cause, in groups where it has many variables."""
        kinds = dict.fromkeys(kind_of(cause) for cause in self.shares)
        for cause, share in self.shares.items():
            name = part_of(self.name, "cause", cause)
            if f"#{part}" == name[len(self.name) :]:
                return self._cause(cause, share).tell("")
            if f"#{part}".startswith(f"{name[len(self.name) :]}#"):
                return self._cause(cause, share).tell(part[len(name) - len(self.name) :])
        for kind in kinds:
            name = part_of(self.name, "kind", kind)
            if f"#{part}" == name[len(self.name) :]:
                lines = tuple(self._line(c) for c in self.shares if kind_of(c) == kind)
                total = float(sum(line.amount for line in lines))
                return Sum(name, f"{self.unit}2", total, lines, f"variance from all causes of the kind {kind}")
        if part:
            return Linear(self.name, self.unit, self.value, (), (), "").tell(part)
        lines = tuple(self._line(cause) for cause in self.shares)
        if len(lines) > MOST:
            lines = tuple(self._of_kind(kind) for kind in kinds)
        if self.root:
            return Sum(self.name, self.unit, self.value, lines, "square root of the variances by cause", root_of_sum)
        return Sum(self.name, f"{self.unit}2", self.value, lines, "covariances by cause, summed")

    def _line(self, cause: str) -> Line:
        return Line(cause, self.shares[cause].total, of=part_of(self.name, "cause", cause))

    def _of_kind(self, kind: str) -> Line:
        own = [cause for cause in self.shares if kind_of(cause) == kind]
        if len(own) == 1:
            return self._line(own[0])
        total = float(sum(self.shares[cause].total for cause in own))
        return Line(f"{kind}, {len(own)} causes", total, of=part_of(self.name, "kind", kind))

    def _cause(self, cause: str, share: Share) -> Linear:
        spread = np.diag(share.spread)
        parts = share.parts
        sources, factors = [], []
        for k, (part, own) in enumerate(zip(parts.tolist(), spread.tolist(), strict=True)):
            if part and own:
                start = k - k % MOST
                group = f"variables {start + 1} to {min(start + MOST, len(parts))}"
                words = f"variable {k + 1}, with what it shares with the others"
                sources.append(Source(words, own, self.entry(cause, k, k), f"{self.unit}2", group))
                factors.append(part / own)
        name = part_of(self.name, "cause", cause)
        how = "every variable's own variance and what it shares with the others, as the number follows them"
        return Linear(name, f"{self.unit}2", share.total, factors, sources, how)
