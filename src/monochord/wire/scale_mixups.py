"""A strength that is off by a telling factor: which word about the signals or the strengths is wrong.

The strength that the wire finds grows with the displacements, falls with the drive current, and is held against the
laboratory's table. A factor of the square root of two is a peak taken for an effective value or the other way round; a
factor of (N - 1)! is a derivative taken for a coefficient. Each names the key of the lab description that says it.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import permutations
from math import factorial, log, sqrt

#: How near to a telling factor a strength must be, as a natural logarithm: 4 %, as gains and linear densities go.
NEAR = 0.04

#: Peak value over the value that is written, by the word for what is written.
TO_PEAK = {"peak": 1.0, "rms": sqrt(2.0), "peak to peak": 0.5}


def scale_mixups(ratio: float, order: int) -> tuple[str, ...]:
    """Mix-ups that make the found strength so many times the planned one; those that cannot be told apart stand side by side.

    ratio  found over planned, its size;  order  N of the magnet

    >>> scale_mixups(6.02, 4)
    ('a coefficient described as a derivative (strength.means)',)
    >>> scale_mixups(1.41, 2)[0], scale_mixups(1.0, 3)
    ('drive currents described as peak that are rms (signals.currents)', ())
    """
    if not ratio > 0.0:
        return ()
    return tuple(words for factor, words in _factors(order) if abs(log(ratio / factor)) < NEAR)


def _factors(order: int) -> Iterator[tuple[float, str]]:
    """Every telling factor with what it tells."""
    for described, given in permutations(TO_PEAK, 2):
        factor = TO_PEAK[described] / TO_PEAK[given]
        yield factor, f"displacements described as {described} that are {given} (signals.displacements)"
        yield 1.0 / factor, f"drive currents described as {described} that are {given} (signals.currents)"
    step = float(factorial(order - 1))
    if step > 1.0:
        yield step, "a coefficient described as a derivative (strength.means)"
        yield 1.0 / step, "a derivative described as a coefficient (strength.means)"
