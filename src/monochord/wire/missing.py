"""What a background that nobody measured may have been: a bound, so that its lack shows in the uncertainty."""

from __future__ import annotations

from math import comb, factorial

import numpy as np
from numpy.typing import NDArray

from monochord.wire.blocks import Block
from monochord.wire.field_law import as_real
from monochord.wire.model import mode_integrals
from monochord.wire.setup import Setup

Array = NDArray[np.float64]

#: Field of the earth and of halls [T], what remains of it when it is not uniform [T m], and remanence over working
#: field of magnets: common practice, no source.
ROOM = 50e-6
PATCH = 5e-6
REMANENCE = 5e-3


def unmeasured_background(block: Block, setup: Setup) -> tuple[Array, Array]:
    """Jacobian (2 N, 2 (N - 1)) of a law's coefficients and spread of a room field and of the other magnets' remanence.

    Variables, two parts each: the room field's integral under the mode [T m], then what magnets of lower order leave:
    a gradient [T], a sextupole [T/m].
    """
    room = float(np.hypot(*room_field(block, setup)))
    plan, order = block.law.plan, block.magnet.order
    spread = [room] + [_left_by(k, block, setup) for k in range(1, order - 1)]
    # (zeta)^k about the law's own reference and scale
    shape = np.array(
        [
            [comb(k, i) * plan.ref ** (k - i) * plan.scale**i if i <= k else 0.0 for k in range(order - 1)]
            for i in range(order)
        ],
        complex,
    )
    if order == 2:  # a quadrupole feels the other quadrupoles' remanence as well, where it is not at its zero
        shape = np.column_stack([shape, [plan.ref, plan.scale]])
        spread.append(_left_by(1, block, setup))
    return as_real(shape), np.diag(np.repeat(np.square(spread), 2))


def room_field(block: Block, setup: Setup) -> tuple[float, float]:
    """What a uniform field of the room adds to a reading, and what a patch of field adds [T m]."""
    return ROOM * setup.weigh_room(block.mode, block.readings.w, block.readings.shift), PATCH


def left_by(power: int, block: Block, setup: Setup) -> dict[str, float]:
    """What the remanence of each magnet of order power + 1 may leave of (zeta)^power under the block's mode."""
    return {
        m.name: REMANENCE
        * m.derivative
        * block.current
        / factorial(power)
        * mode_integrals(m, block.mode, setup.wire)[0]
        for m in setup.magnets.values()
        if m.order == power + 1
    }


def _left_by(power: int, block: Block, setup: Setup) -> float:
    return float(np.sqrt(np.sum(np.square(list(left_by(power, block, setup).values())))))
