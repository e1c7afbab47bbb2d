"""Turn of the sensor pair about the wire, and the rolls of the magnets.

The leading coefficient of a 2N-pole's law is turned by

    angle = sensor turn - N roll

so a turn of the pair imitates rolls exactly, the string's planes turning along. Only differences of N roll
between magnets are in the scans. The pair's turn is told here from the quadrupoles, taking their mean roll
as zero; a roll is given only when the pair's turn was checked by other means.

Source: derived; how far magnets are rolled is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from monochord.ground.estimate import Estimate, Factor, Label
from monochord.wire.centre import Combined
from monochord.wire.field_law import as_real
from monochord.wire.gates import strength_ratio

#: Roll of magnets set by a level, one standard deviation [rad].
ROLL = 2e-4


@dataclass(frozen=True, slots=True)
class Turn:
    """Turn of the sensor pair, x towards y, and its standard uncertainty [rad]."""

    angle: float
    u: float


def field_angle(found: Combined) -> tuple[float, float]:
    """Angle of the sharpest block's leading coefficient against the plan, folded into +-90 deg, and its u [rad]."""
    block = found.views[0].block
    ratio = strength_ratio(block)
    if ratio.real < 0.0:
        ratio = -ratio
    lead, row = block.law.about(block.law.zero, block.magnet.order - 1)
    cov = as_real(row / lead) @ block.law.cov @ as_real(row / lead).T
    return float(np.angle(ratio)), float(np.sqrt(cov[1, 1]))


def sensor_turn(found: Mapping[str, Combined]) -> Turn | None:
    """The pair's turn from the quadrupoles, or from all magnets when there is none; None without magnets."""
    chosen = [f for f in found.values() if f.views[0].block.magnet.order == 2] or list(found.values())
    if not chosen:
        return None
    told = [(*field_angle(f), f.views[0].block.magnet.order) for f in chosen]
    variance = np.array([u**2 + (order * ROLL) ** 2 for _, u, order in told])
    weight = 1.0 / variance
    angle = float(weight @ np.array([a for a, _, _ in told]) / weight.sum())
    return Turn(angle, float(1.0 / np.sqrt(weight.sum())))


def roll_of(found: Combined, u_turn: float, occasion: str) -> tuple[Estimate | None, str]:
    """Roll of one magnet, component "<magnet>.roll" [rad], and "" or why there is none.

    u_turn  how well the pair was checked [rad]; one pair serves all magnets and occasions, so its turn is one cause for all
    """
    order = found.views[0].block.magnet.order
    if not np.isfinite(u_turn):
        reason = (
            f"a turn of the sensor pair looks like a roll, {order} times over, and nobody checked the pair; level it"
        )
        return None, reason
    angle, u = field_angle(found)
    magnet = found.views[0].block.magnet.name
    share = np.array([[-1.0 / order]])
    causes = {
        f"field angle:{occasion}/{magnet}": Factor(share, np.array([[u**2]])),
        "sensor turn": Factor(-share, np.array([[u_turn**2]])),
    }
    return Estimate(np.array([-angle / order]), (Label(f"{magnet}.roll", "rad", "wire"),), causes), ""
