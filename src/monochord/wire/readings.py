"""From tuned scans to the field under the wire: each reading becomes an integral of B = By + i Bx over the mode [T m].

    force per mass (f_x, f_y) = (2 I / (L mu)) (-Int By W, +Int Bx W)

Beside each reading stands how it would change with what the bench does not know exactly: the sensors'
gains, their squareness, their curvature, the turn of the string's planes and the resonance's shift.

Source: Lorentz force on a current along +z; derived.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.wire.detuning import Tuned
from monochord.wire.model import ComplexArray
from monochord.wire.setup import Setup

Array = NDArray[np.float64]

#: What is estimated from all scans together: ln of x gain over y gain, missing squareness of the two sensors
#: [rad], and relative rise of a reading u by u^2 at the x and the y sensor [1/m2].
BENCH = ("gain", "square", "curve_x", "curve_y")
#: What only adds uncertainty: turn of the string's planes [rad], shift of the fundamental [rad/s].
STATE = ("planes", "shift")


@dataclass(frozen=True, eq=False, slots=True)
class FieldScan:
    """One scan as field integrals.

    zeta   (n,) stages x + i y [m];  value  (n,) Int (By + i Bx) W dz [T m]
    sigma  (2,) standard uncertainty of the By and the Bx part of one reading [T m]
    by     name in BENCH and STATE -> (n,) change of value per unit
    plain  (n,) value read off the quadratures alone, each sensor for itself
    """

    tuned: Tuned
    zeta: ComplexArray
    value: ComplexArray
    sigma: Array
    by: Mapping[str, ComplexArray]
    plain: ComplexArray

    @property
    def magnet_current(self) -> float:
        """Current of the scanned magnet [A]."""
        return self.tuned.scan.magnet_current


def field_scan(tuned: Tuned, setup: Setup) -> FieldScan:
    """The field integrals of one tuned scan."""
    scan, transfer, u = tuned.scan, setup.transfer, tuned.u
    w, mode = tuned.w, scan.mode
    unit = setup.wire.length * setup.wire.mass_per_length / (2.0 * scan.drive_current)
    kernel = transfer.stiffness(mode, w) + 2.0 * w * mode * tuned.shift * np.eye(2)
    see = transfer.unsee(mode, setup.wire)[:, None]
    raw = np.stack([scan.x, scan.y])
    bent = see * raw * np.abs(raw) ** 2
    a, b = transfer.frequencies(mode)
    c2, s2 = np.cos(2.0 * transfer.turn), np.sin(2.0 * transfer.turn)
    turned = (2.0 * np.pi) ** 2 * (a**2 - b**2) * np.array([[-s2, c2], [c2, s2]])
    force = {
        "gain": kernel @ (u * np.array([[-0.5], [0.5]])),
        "square": kernel @ (-0.5 * u[::-1]),
        "curve_x": kernel @ (bent * np.array([[1.0], [0.0]])),
        "curve_y": kernel @ (bent * np.array([[0.0], [1.0]])),
        "planes": turned @ u,
        "shift": 2.0 * w * mode * u,
    }
    # white noise at the two sensors, through the kernel; the small correlation of its two parts is left out
    sigma = unit * setup.noise * np.sqrt((np.abs(kernel * see.T) ** 2).sum(axis=1))
    plain = 2.0 * transfer.damping(mode) * w * unit * (u[0].imag - 1j * u[1].imag)
    return FieldScan(
        tuned,
        scan.stage_x + 1j * scan.stage_y,
        _field(tuned.force, unit),
        sigma,
        {name: _field(f, unit) for name, f in force.items()},
        plain,
    )


def _field(force: ComplexArray, unit: float) -> ComplexArray:
    """By + i Bx from the part of the force that is in phase, (2, n) to (n,)."""
    return np.asarray(unit * (-force[0].real + 1j * force[1].real), complex)


def corrected(scan: FieldScan, bench: Mapping[str, float], noisier: float) -> FieldScan:
    """The same readings for a bench whose gain, squareness and curvature are known, and whose noise is ``noisier`` times."""
    change = sum((scan.by[name] * value for name, value in bench.items()), np.zeros_like(scan.value))
    return FieldScan(scan.tuned, scan.zeta, scan.value + change, noisier * scan.sigma, scan.by, scan.plain)
