"""What a background that nobody measured may have been: a bound, so that its lack shows in the uncertainty."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from monochord.wire.blocks import Block
from monochord.wire.field_law import as_real
from monochord.wire.model import mode_integrals
from monochord.wire.setup import Setup

Array = NDArray[np.float64]

#: Field of the earth and of halls [T], what remains of it when it is not uniform [T m], and remanence over working
#: field of magnets: common practice, no source.
ROOM, PATCH, REMANENCE = 50e-6, 5e-6, 5e-3


def unmeasured_background(block: Block, setup: Setup) -> tuple[Array, Array]:
    """Jacobian (2 N, 4) of a law's coefficients and spread (4, 4) of a room field and a remanent gradient.

    Variables: By, Bx of the field's integral under the mode [T m], then the two parts of the gradient's [T].
    """
    weight = setup.weigh_room(block.mode, block.readings.w, block.readings.shift)
    room = float(np.hypot(ROOM * weight, PATCH))
    strengths = [
        REMANENCE * m.derivative * block.current * mode_integrals(m, block.mode, setup.wire)[0]
        for m in setup.magnets.values()
        if m.order == 2
    ]
    gradient = float(np.sqrt(np.sum(np.square(strengths))))
    plan = block.law.plan
    shape = np.zeros((block.magnet.order, 2), complex)
    shape[0, 0], shape[0, 1] = 1.0, plan.ref
    shape[1, 1] = plan.scale
    return as_real(shape), np.diag([room**2, room**2, gradient**2, gradient**2])
