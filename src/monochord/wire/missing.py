"""What a background that nobody measured may have been: a bound, so that its lack shows in the uncertainty."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from monochord.wire.blocks import Block
from monochord.wire.field_law import as_real
from monochord.wire.model import mode_integrals
from monochord.wire.setup import Setup
from monochord.wire.weights import answer

Array = NDArray[np.float64]

#: Field of the earth and of halls [T], what remains of it when it is not uniform [T m], and remanence over working
#: field of magnets: common practice, no source.
ROOM, PATCH, REMANENCE = 50e-6, 5e-6, 5e-3


def unmeasured_background(block: Block, setup: Setup) -> tuple[Array, Array]:
    """Jacobian (2 N, 4) of a law's coefficients and spread (4, 4) of a room field and a remanent gradient.

    Variables: By, Bx of the field's integral under the mode [T m], then the two parts of the gradient's [T].
    """
    z = np.linspace(setup.wire.z_start, setup.wire.z_start + setup.wire.length, 401)
    scan = block.scans[0].tuned
    weight, _ = answer(z, block.mode, setup.wire, setup.transfer, w=scan.w, shift=block.shift)
    room = float(np.hypot(ROOM * np.trapezoid(weight, z), PATCH))
    strengths = [
        REMANENCE * m.derivative * block.current * mode_integrals(m, block.mode, setup.wire)[0]
        for m in setup.magnets.values()
        if m.order == 2
    ]
    gradient = float(np.sqrt(np.sum(np.square(strengths))))
    law = block.law
    shape = np.zeros((law.degree + 1, 2), complex)
    shape[0, 0], shape[0, 1] = 1.0, law.ref
    shape[1, 1] = law.scale
    return as_real(shape), np.diag([room**2, room**2, gradient**2, gradient**2])
