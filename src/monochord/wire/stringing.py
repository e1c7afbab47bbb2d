"""Stringing: a fresh wire does not run quite straight, and no evaluation of one stringing can know it.

A taut wire's own departure (residual curl, kinks, density) is a continuous curve that is zero at its
supports. With nothing else known it is drawn as half waves whose amplitudes fall as 1/n, the shape of a
curve of random slope held at both ends; their mean square along the wire is u_stringing^2, in x and in y.
Neighbouring magnets so share most of it, and a line refitted through them takes much of it away.

Source: derived; that a fresh stringing repeats to about one micrometre is the laboratory's experience.
"""

from __future__ import annotations

import numpy as np

from monochord.campaign.given.wire import Wire
from monochord.ground.estimate import Factor

#: Half waves that are counted; shorter ones are held straight by the tension and are below a sixth of the first.
HALF_WAVES = 6


def stringing_factor(z: float, wire: Wire) -> Factor:
    """The stringing as a cause of (x, y, slope_x, slope_y) at z [m]; its variables are half waves in x, then in y.

    The measured centre lies off by minus the wire's departure.
    """
    n = np.arange(1, HALF_WAVES + 1)
    phase = n * np.pi * (z - wire.z_start) / wire.length
    jacobian = np.zeros((4, 2 * HALF_WAVES))
    jacobian[0, :HALF_WAVES] = jacobian[1, HALF_WAVES:] = -np.sin(phase)
    jacobian[2, :HALF_WAVES] = jacobian[3, HALF_WAVES:] = -n * np.pi / wire.length * np.cos(phase)
    # the mean square of a half wave along the wire is half the square of its amplitude
    variance = 2.0 * wire.u_stringing**2 / n**2 / np.sum(1.0 / n**2)
    return Factor(jacobian, np.diag(np.tile(variance, 2)))
