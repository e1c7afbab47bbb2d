"""Numbers of several components at once: formulas of their values and of their joint covariance."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from monochord.ground.estimate import Estimate
from monochord.ground.trace import Line, Sum
from monochord.job.why.components import pair_entry
from monochord.job.why.known import Known
from monochord.job.why.names import split
from monochord.job.why.shares import Entry

#: Makes a number from an estimate of the components and the further amounts.
Judge = Callable[[Estimate, Sequence[float]], float]


@dataclass(frozen=True, eq=False, slots=True)
class Joint:
    """Components by the names of their values in the document; ``judge`` makes the number from them and from ``more``."""

    known: Known
    components: tuple[str, ...]
    more: tuple[Line, ...]
    judge: Judge

    def told(self, name: str, unit: str, value: float, how: str) -> Sum | None:
        """The formula: values, the upper triangle of their covariance, and the further lines."""
        entries = [self._entry(i, j) for i, j in self._pairs()]
        if any(entry is None for entry in entries):
            return None
        found = [entry for entry in entries if entry is not None]
        own = [e for e, (i, j) in zip(found, self._pairs(), strict=True) if i == j]
        values = [
            Line(e.label, float(e.estimate.value[e.i]), c, unit=e.estimate.labels[e.i].unit)
            for e, c in zip(own, self.components, strict=True)
        ]
        spread = [Line(e.words, _covariance(e), e.name, unit=e.unit) for e in found]
        labels, dof, count = [e.estimate.labels[e.i] for e in own], min(e.estimate.dof for e in own), len(own)

        def again(amounts: Sequence[float]) -> float:
            cov = np.zeros((count, count))
            for (i, j), amount in zip(self._pairs(), amounts[count:], strict=False):
                cov[i, j] = cov[j, i] = amount
            unlike = Estimate.of(
                amounts[:count], [str(i) for i in range(count)], unit="", frame="", causes={"all": cov}
            )
            made = Estimate(unlike.value, tuple(labels), unlike.factors, dof)
            return self.judge(made, amounts[count + len(spread) :])

        return Sum(name, unit, value, (*values, *spread, *self.more), how, again)

    def _pairs(self) -> list[tuple[int, int]]:
        count = len(self.components)
        return [(i, j) for i in range(count) for j in range(i, count)]

    def _entry(self, i: int, j: int) -> Entry | None:
        return pair_entry(self.known, split(self.components[i])[0], self.components[j])


def _covariance(entry: Entry) -> float:
    return float(sum(entry.share(cause) for cause in entry.estimate.factors))
