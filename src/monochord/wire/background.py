"""Background: what the wire feels while the scanned magnet is off, fitted once a mode and subtracted.

With all magnets off the wire feels the room's field and every magnet's remanence, whichever magnet the crew
calls the scanned one. So the background scans of one mode are readings of one and the same field, and are
fitted together unless they contradict each other; then each magnet keeps its own.

Source: derived.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Magnet
from monochord.ground.faults import Undetermined
from monochord.ground.statistics import f_quantile
from monochord.wire.field_law import Law, as_complex, evaluate, fit_law, powers, span_of
from monochord.wire.model import ComplexArray
from monochord.wire.readings import BENCH, STATE, FieldScan

Array = NDArray[np.float64]

#: Level at which scans of one background count as contradicting each other.
_LEVEL = 1e-4


@dataclass(frozen=True, eq=False, slots=True)
class Background:
    """The background of one mode: its law, the magnets it serves and a name for the cause it is."""

    law: Law
    scope: str
    shared: bool

    def at(self, scan: FieldScan) -> ComplexArray:
        """Value at a scan's positions (n,) [T m]."""
        return evaluate(self.law.coefficients, self.law, scan.zeta)

    def plain_at(self, scan: FieldScan) -> ComplexArray:
        """The same in plain quadratures."""
        return evaluate(self.law.plain, self.law, scan.zeta)

    def by_at(self, scan: FieldScan) -> dict[str, ComplexArray]:
        """Changes of the value by BENCH and STATE."""
        return {name: evaluate(as_complex(self.law.by[name]), self.law, scan.zeta) for name in (*BENCH, *STATE)}

    def design_at(self, scan: FieldScan) -> Array:
        """Derivative of the value by the coefficients (2 n, 2 k)."""
        return powers(scan.zeta, self.law.ref, self.law.scale, self.law.degree)


def find_backgrounds(
    mode: int, off: Mapping[str, Sequence[FieldScan]], magnets: Mapping[str, Magnet]
) -> dict[str, Background]:
    """Magnet -> its background in one mode, for the magnets that can have one.

    off  magnet -> its scans without current
    """
    if not off:
        return {}
    together = [scan for scans in off.values() for scan in scans]
    degree = max(magnets[name].order for name in off) - 1
    try:
        shared = fit_law(together, degree)
    except Undetermined:
        shared = None
    single = {name: law for name, scans in off.items() if (law := _alone(scans, magnets[name].order - 1)) is not None}
    if shared is not None and (len(single) < 2 or not _contradict(shared, list(single.values()))):
        one = Background(shared, f"mode {mode}", True)
        return dict.fromkeys(magnets, one)
    return {name: Background(law, f"mode {mode}, {name}", False) for name, law in single.items()}


def _alone(scans: Sequence[FieldScan], degree: int) -> Law | None:
    try:
        return fit_law(scans, degree)
    except Undetermined:
        return None


def _contradict(shared: Law, single: Sequence[Law]) -> bool:
    """Whether the common law fits the scans worse than their own ones, beyond chance at _LEVEL.

    The separate fits tell the noise.
    """
    square, dof = sum(law.square for law in single), sum(law.dof for law in single)
    more = shared.dof - dof
    if more <= 0 or dof < 10:
        return False
    ratio = (shared.square - square) / more / (square / dof)
    return ratio > f_quantile(1.0 - _LEVEL, more, dof)


def from_currents(scans: Sequence[FieldScan], magnet: Magnet, mode: int) -> Background | None:
    """Background of a magnet that was never off, from two of its currents: the polynomial at current zero.

    b = (I_2 a_1 - I_1 a_2) / (I_2 - I_1)

    The two currents that lie furthest apart are used; None when there is only one, or they cannot be fitted.
    """
    currents = sorted({s.magnet_current for s in scans})
    first, second = currents[0], currents[-1]
    if second - first < 0.02 * max(abs(first), abs(second)):
        return None
    frame = span_of(np.concatenate([s.zeta for s in scans]))
    laws = []
    for current in (first, second):
        try:
            laws.append(fit_law([s for s in scans if s.magnet_current == current], magnet.order - 1, frame=frame))
        except Undetermined:
            return None
    one, two = second / (second - first), -first / (second - first)
    law = replace(
        laws[0],
        coefficients=one * laws[0].coefficients + two * laws[1].coefficients,
        cov=one**2 * laws[0].cov + two**2 * laws[1].cov,
        by={name: one * laws[0].by[name] + two * laws[1].by[name] for name in (*BENCH, *STATE)},
        plain=one * laws[0].plain + two * laws[1].plain,
    )
    return Background(law, f"mode {mode}, {magnet.name} at two currents", False)
