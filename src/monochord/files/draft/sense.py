"""The time factor of phasors from frequency sweeps: a resonance that loses energy turns one way only.

With exp(+iwt) the answer a/(w0^2 - w^2 + i g w) runs clockwise round its circle in the complex plane as the frequency
rises, whatever the sign of the force and whatever steady answer is added; with exp(-iwt) counter-clockwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: 4 pi area / circumference^2 from which a loop is round enough to have a sense; a full circle has 1.
ROUND = 0.15


@dataclass(frozen=True, slots=True)
class Turning:
    """How many sweeps turn clockwise and counter-clockwise with rising frequency, and the roundness of the roundest."""

    clockwise: int
    counter: int
    roundest: float

    @property
    def factor(self) -> str:
        """The time factor: "exp(+iwt)", "exp(-iwt)", or "" when the sweeps do not agree."""
        if bool(self.clockwise) == bool(self.counter):
            return ""
        return "exp(+iwt)" if self.clockwise else "exp(-iwt)"


def turning(sweeps: Sequence[tuple[NDArray[np.float64], NDArray[np.complex128]]]) -> Turning:
    """The sense in which sweeps, each (frequencies, phasors), run round.

    >>> f = np.linspace(25.0, 28.0, 60)
    >>> z = 1.0 / (26.5**2 - f**2 + 0.4j * f)
    >>> turning([(f, z), (f, -z)]).factor, turning([(f, z.conj())]).factor
    ('exp(+iwt)', 'exp(-iwt)')
    """
    signed = [_roundness(f, z) for f, z in sweeps if len(f) >= 5]
    good = [r for r in signed if abs(r) >= ROUND]
    best = max((abs(r) for r in signed), default=0.0)
    return Turning(sum(r < 0.0 for r in good), sum(r > 0.0 for r in good), best)


def _roundness(frequencies: NDArray[np.float64], phasors: NDArray[np.complex128]) -> float:
    """Area inside the path, closed by a chord, over that of a circle of the same length; positive counter-clockwise."""
    path = phasors[np.argsort(frequencies, kind="stable")]
    path = path[np.isfinite(path)]
    ahead = np.roll(path, -1)
    length = float(np.abs(ahead - path).sum())
    area = 0.5 * float((path.conj() * ahead).imag.sum())
    return 4.0 * np.pi * area / length**2 if length > 0.0 else 0.0
