"""From tuned scans to the field under the wire: each reading becomes an integral of B = By + i Bx over the mode [T m].

    force per mass (f_x, f_y) = (2 I / (L mu)) (-Int By W, +Int Bx W)

Beside each reading stands how it would change with what the bench does not know exactly: the sensors'
gains, their squareness, their curvature, the turn of the string's planes and the resonance's shift.

Source: Lorentz force on a current along +z; derived.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monochord.wire.detuning import Tuned
from monochord.wire.model import ComplexArray
from monochord.wire.passes import Passes
from monochord.wire.setup import Setup

Array = NDArray[np.float64]

#: What is estimated from all scans together: ln of x gain over y gain, missing squareness of the two sensors
#: [rad], and relative rise of a reading u by u^2 at the x and the y sensor [1/m2].
BENCH = ("gain", "square", "curve_x", "curve_y")
#: What only adds uncertainty: turn of the string's planes [rad], shift of the fundamental [rad/s].
STATE = ("planes", "shift")
#: Columns of readings and laws: the value, the same read off the quadratures alone, and changes per unit.
COLUMNS = ("value", "plain", *BENCH, *STATE)
COLUMN = {name: i for i, name in enumerate(COLUMNS)}


@dataclass(frozen=True, eq=False, slots=True)
class Readings:
    """Passes as field integrals.

    columns  (n, 8) complex, as COLUMNS names them: value is Int (By + i Bx) W dz [T m], the rest its changes per unit
    sigma    (n, 2) standard uncertainty of the By and the Bx part of a reading [T m]
    """

    tuned: Tuned
    columns: ComplexArray
    sigma: Array

    @property
    def passes(self) -> Passes:
        """The scans behind the readings."""
        return self.tuned.passes

    @property
    def value(self) -> ComplexArray:
        """(n,) Int (By + i Bx) W dz [T m]."""
        return self.columns[:, 0]

    @property
    def shift(self) -> float:
        """Mean shift of the fundamental [rad/s]."""
        return float(self.tuned.shift.mean())

    @property
    def w(self) -> float:
        """Mean drive [rad/s]."""
        return float(self.passes.w.mean())


def read_field(tuned: Tuned, setup: Setup) -> Readings:
    """The field integrals of tuned passes."""
    p, u, kernel = tuned.passes, tuned.u, tuned.kernel
    mode = setup.mode(p.mode)
    unit = setup.wire.length * setup.wire.mass_per_length / (2.0 * p.drive)
    see = mode.unsee[:, None]
    bent = see * p.raw * np.abs(p.raw) ** 2
    none = np.zeros_like(bent[0])
    moved = np.stack(
        [u, np.stack([-0.5 * u[0], 0.5 * u[1]]), -0.5 * u[::-1], np.stack([bent[0], none]), np.stack([none, bent[1]])]
    )
    force = np.einsum("nij,cjn->cin", kernel, moved)
    c2, s2 = np.cos(2.0 * mode.turn), np.sin(2.0 * mode.turn)
    turned = 2.0 * mode.split * (np.array([[-s2, c2], [c2, s2]]) @ u)
    shifted = 2.0 * p.w * p.mode * u
    # the quadratures alone: a force of i 2 a w u has the in-phase part -2 a w Im u
    plain = -2.0 * mode.decay * p.w * u.imag
    all_forces = np.concatenate([force[:1].real, plain[None], force[1:].real, turned[None].real, shifted[None].real])
    columns = (unit * (-all_forces[:, 0] + 1j * all_forces[:, 1])).T
    # white noise at the two sensors, through the kernel; the small correlation of its two parts is left out
    sigma = unit[:, None] * setup.noise * np.sqrt((np.abs(kernel * mode.unsee) ** 2).sum(axis=2))
    return Readings(tuned, columns, sigma)


def corrected(readings: Readings, bench: Mapping[str, float]) -> Readings:
    """The same readings for a bench whose gain, squareness and curvature are known."""
    columns = readings.columns.copy()
    columns[:, 0] += sum(columns[:, COLUMN[name]] * value for name, value in bench.items())
    return replace(readings, columns=columns)


def without_far_modes(readings: Readings, lead: complex, centre: complex, setup: Setup) -> Readings:
    """The readings without what the other modes leak across the planes.

    The other modes do not know the split of mode n, but dividing by its stiffness mixes their answer t:

        leaked = (w_a^2 - w_b^2) / 2 exp(-2 i turn) conj(t),    t = far lead (zeta - centre)^(N-1)

    lead    coefficient c_(N-1) per metre of magnet and per ampere [T/m^(N-1)/A];  centre  stages [m]
    """
    p = readings.passes
    mode = setup.mode(p.mode)
    far = setup.weigh(p.magnet, p.mode, readings.w, readings.shift).far
    answer = far * lead * p.current * (p.zeta - centre) ** (setup.magnets[p.magnet].order - 1)
    columns = readings.columns.copy()
    columns[:, 0] -= mode.split * np.exp(-2j * mode.turn) * answer.conj()
    return replace(readings, columns=columns)
