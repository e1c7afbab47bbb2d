"""What all scans of one occasion say about the two sensors: ratio of gains, squareness, curvature.

A source-free field leaves no freedom between the two planes: where the gains differ, the sensors are not
square to each other, or bend, the field law cannot follow. These four numbers are common to all scans, so
the residuals of all laws together give them by one small least squares. A common turn of the pair about
the wire is no such thing: the field law follows it exactly.

Source: derived; the sizes expected beforehand are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.wire.field_law import Law
from monochord.wire.readings import BENCH
from monochord.wire.setup import Setup

Array = NDArray[np.float64]

#: Missing squareness of a sensor pair that is one body [rad].
SQUARE = 2e-3
#: The same when no sweep told how the string's planes mix: a mix of the planes looks like it [rad].
MIXED = 5e-2
#: Curvature of a sensor: one percent at 20 um [1/m2].
CURVE = 0.01 / 20e-6**2
#: Curvature is used only when it is this many times its standard uncertainty.
SEEN = 4.0
#: A law whose mean square residual is so many times the median of all is no witness of the sensors.
_WILD = 30.0


@dataclass(frozen=True, eq=False, slots=True)
class SensorFinding:
    """Values of BENCH with their covariance (4, 4), noise of one reading [m], and its degrees of freedom."""

    values: dict[str, float]
    cov: Array
    noise: float
    dof: int


def judge_sensors(laws: Sequence[Law], setup: Setup) -> SensorFinding:
    """The four numbers from the residuals of all laws of an occasion.

    A change v of the bench adds ``free v`` to the residuals, so v = - (F'F + P)^-1 F' r with the prior P.
    """
    prior = expected(setup)
    laws = plausible(laws)
    normal, side = np.zeros((4, 4)), np.zeros(4)
    for law in laws:
        normal += law.free.T @ law.free
        side -= law.free.T @ law.residual
    square, dof = sum(law.square for law in laws), sum(law.dof for law in laws)
    keep = np.array([True, True, True, True])
    values, cov = solve_bench(normal, side, prior, keep)
    keep[2:] = np.abs(values[2:]) > SEEN * np.sqrt(np.diag(cov))[2:]
    values, cov = solve_bench(normal, side, prior, keep)
    left = square - 2.0 * float(side @ values) + float(values @ normal @ values)
    factor = left / dof if dof > 0 else 1.0
    cov = cov * max(factor, 1.0)
    return SensorFinding(
        dict(zip(BENCH, values.tolist(), strict=True)), cov, setup.noise * float(np.sqrt(max(factor, 0.0))), dof
    )


def plausible(laws: Sequence[Law]) -> list[Law]:
    """The laws without those whose scans contradict each other: they would pass for noise of all."""
    parts = [law.square / max(law.dof, 1) for law in laws]
    return [law for law, part in zip(laws, parts, strict=True) if part <= _WILD * float(np.median(parts))]


def expected(setup: Setup) -> Array:
    """Standard deviations expected beforehand (4,)."""
    gain = setup.transfer.u_log_gain if setup.transfer.measured else np.sqrt(2.0) * setup.wire.u_gain
    square = SQUARE if setup.transfer.measured else MIXED
    return np.array([max(gain, 1e-4), square, CURVE, CURVE])


def solve_bench(normal: Array, side: Array, prior: Array, keep: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Values (4,) and covariance (4, 4); what is not kept is held at zero."""
    scaled = normal * np.outer(prior, prior) + np.eye(4)
    values, cov = np.zeros(4), np.zeros((4, 4))
    inverse = np.linalg.inv(scaled[np.ix_(keep, keep)])
    values[keep] = prior[keep] * (inverse @ (side * prior)[keep])
    cov[np.ix_(keep, keep)] = inverse * np.outer(prior[keep], prior[keep])
    return values, cov
