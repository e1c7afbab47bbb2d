"""The field law of a scan: one complex polynomial in zeta = x + i y for both sensors together.

    Int B W dz = sum_k c_k ((zeta - ref) / scale)^k,   k = 0 .. N-1 for a 2N-pole

A field without sources is an analytic function of zeta, so By and Bx share their coefficients. The zero of
the (N-2)-th derivative is the centre that this mode sees,

    zeta_c = ref - scale c_(N-2) / ((N-1) c_(N-1))

which neither a turn of the sensors nor a roll of the magnet moves: both only turn the phase of all c_k.

Source: multipole expansion, standard; derived.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import comb

import numpy as np
from numpy.typing import NDArray

from monochord.ground.faults import Undetermined
from monochord.wire.model import ComplexArray
from monochord.wire.readings import BENCH, COLUMN

Array = NDArray[np.float64]

_WORST_CONDITION = 1e12
_BENCH = slice(COLUMN[BENCH[0]], COLUMN[BENCH[-1]] + 1)


def stacked(value: ComplexArray) -> Array:
    """By parts above Bx parts, (n, ...) complex to (2 n, ...)."""
    return np.concatenate([value.real, value.imag])


def as_complex(c: Array) -> ComplexArray:
    """Real and imaginary parts in turn, (2 k, ...) to (k, ...) complex."""
    return np.asarray(c[0::2] + 1j * c[1::2], complex)


def as_rows(c: ComplexArray) -> Array:
    """Real and imaginary parts in turn, (k, ...) complex to (2 k, ...)."""
    out = np.empty((2 * c.shape[0], *c.shape[1:]))
    out[0::2], out[1::2] = c.real, c.imag
    return out


def as_real(g: ComplexArray) -> Array:
    """The real matrix (2 m, 2 k) that does what the complex matrix (m, k) does."""
    out = np.empty((2 * g.shape[0], 2 * g.shape[1]))
    out[0::2, 0::2], out[0::2, 1::2] = g.real, -g.imag
    out[1::2, 0::2], out[1::2, 1::2] = g.imag, g.real
    return out


def zero_of(c: ComplexArray, ref: complex, scale: float) -> complex:
    """Centre zeta_c of the polynomial with coefficients c (N,) [m].

    >>> zero_of(np.array([-1.0 + 0.5j, 2.0]), 0.0, 1e-3)
    (0.0005-0.00025j)
    """
    n = len(c)
    return complex(ref - scale * c[n - 2] / ((n - 1) * c[n - 1]))


def span_of(zeta: ComplexArray) -> tuple[complex, float]:
    """Middle and half range of positions (n,) [m]."""
    ref = complex((zeta.real.min() + zeta.real.max()) / 2.0, (zeta.imag.min() + zeta.imag.max()) / 2.0)
    return ref, float(np.abs(zeta - ref).max())


@dataclass(frozen=True, eq=False, slots=True)
class Plan:
    """The least squares of one law, made once for its positions and used for every set of readings there.

    ref, scale  [m];  power  (n, N) complex design;  sigma  (2 n,) [T m]
    white       (2 n, 2 N + 2 f) design in units of sigma;  gain  (2 N + 2 f, 2 n) change of the unknowns by the readings
                f scans have a constant of their own, and its unknowns stand behind those of the coefficients
    cov         (2 N, 2 N) of the coefficients' real and imaginary parts in turn [T^2 m^2]
    """

    ref: complex
    scale: float
    power: ComplexArray
    sigma: Array
    white: Array
    gain: Array
    cov: Array

    def powers(self, zeta: ComplexArray) -> ComplexArray:
        """Design (n, N) complex at other positions (n,)."""
        return ((zeta - self.ref) / self.scale)[:, None] ** np.arange(self.power.shape[1])


def plan_law(
    zeta: ComplexArray,
    sigma: Array,
    degree: int,
    *,
    frame: tuple[complex, float] | None = None,
    scan: NDArray[np.int64] | None = None,
) -> Plan:
    """The weighted least squares of a polynomial through readings at zeta (n,), By and Bx good to sigma (n, 2).

    frame  reference and scale; the positions' own middle and half range when not given
    scan   (n,) number of each reading's scan. From degree 2 on a centre does not rest on the constant, which pick-up
           and the room's field shift a little from scan to scan as the wire drifts: each scan then has its own

    Raises Undetermined when the positions cannot tell the coefficients apart.
    """
    ref, scale = span_of(zeta) if frame is None else frame
    if scale == 0.0:
        raise Undetermined(["centre"], "the wire was not moved in these scans")
    power = ((zeta - ref) / scale)[:, None] ** np.arange(degree + 1)
    n, flat = len(zeta), np.concatenate([sigma[:, 0], sigma[:, 1]])
    white = np.concatenate([_design(power), _own_constants(scan if degree > 1 else None, n)], axis=1) / flat[:, None]
    normal = white.T @ white
    size = np.sqrt(np.diag(normal))
    if 2 * n <= white.shape[1] or not np.linalg.cond(normal / np.outer(size, size)) < _WORST_CONDITION:
        raise Undetermined(["centre"], f"{n} readings do not determine a field law of degree {degree}")
    cov = np.asarray(np.linalg.inv(normal), float)
    kept = slice(0, 2 * degree + 2)
    return Plan(ref, scale, power, flat, white, cov @ white.T / flat, cov[kept, kept])


def _design(power: ComplexArray) -> Array:
    """Complex columns (n, k) as real ones (2 n, 2 k): By parts above Bx parts, unknowns' real and imaginary parts in turn."""
    n, k = power.shape
    out = np.empty((2 * n, 2 * k))
    out[:n, 0::2], out[:n, 1::2] = power.real, -power.imag
    out[n:, 0::2], out[n:, 1::2] = power.imag, power.real
    return out


def _own_constants(scan: NDArray[np.int64] | None, n: int) -> Array:
    """Columns (2 n, 2 f) for constants of the scans that sum to zero; none when scan is None or there is one scan."""
    if scan is None:
        return np.zeros((2 * n, 0))
    numbers = np.unique(scan)
    own = (scan[:, None] == numbers[1:]).astype(float) - (scan == numbers[0])[:, None]
    return _design(own.astype(complex))


@dataclass(frozen=True, eq=False, slots=True)
class Law:
    """A fitted polynomial.

    solved    (N, 8) complex, columns as COLUMNS: coefficients [T m], and how each column's own law runs
    free      (2 n, 4) part of each change of the bench that no coefficient can take up, in units of sigma
    residual  (2 n,) in units of sigma;  mirror  square sum and leading coefficient when Bx is taken with the
              other sign: a test for mixed-up planes
    cov       (2 N, 2 N) of the coefficients from noise
    """

    plan: Plan
    solved: ComplexArray
    free: Array
    residual: Array
    mirror: tuple[float, complex]
    cov: Array

    @property
    def coefficients(self) -> ComplexArray:
        """(N,) complex [T m]."""
        return self.solved[:, 0]

    @property
    def degree(self) -> int:
        """Highest power."""
        return len(self.solved) - 1

    @property
    def square(self) -> float:
        """Square sum of the residuals in units of sigma."""
        return float(self.residual @ self.residual)

    @property
    def dof(self) -> int:
        """Readings less unknowns, real numbers both."""
        return len(self.residual) - int(self.plan.white.shape[1])

    @property
    def zero(self) -> complex:
        """Zero of the last but one derivative, x + i y of the stages [m]."""
        return zero_of(self.coefficients, self.plan.ref, self.plan.scale)

    def by(self, name: str) -> Array:
        """Change of the coefficients per unit of one of BENCH and STATE, (2 N,) real and imaginary parts in turn."""
        return as_rows(self.solved[:, COLUMN[name]])

    def about(self, point: complex, power: int) -> tuple[complex, ComplexArray]:
        """Coefficient of (zeta - point)^power [T m / m^power], and its derivative by the coefficients (1, N)."""
        at = (point - self.plan.ref) / self.plan.scale
        k = range(len(self.solved))
        row = np.array([comb(i, power) * at ** (i - power) if i >= power else 0.0 for i in k], complex)
        row = np.asarray(row / self.plan.scale**power, complex)
        return complex(row @ self.coefficients), row[None]

    def at(self, zeta: ComplexArray) -> ComplexArray:
        """All columns of the law at positions (n,), (n, 8)."""
        return self.plan.powers(zeta) @ self.solved

    def free_part(self, change: ComplexArray) -> Array:
        """What no coefficient can take up of a change of all readings (n,) [T m], (2 n,) in units of sigma."""
        rows = stacked(change)
        return np.asarray(rows / self.plan.sigma - self.plan.white @ (self.plan.gain @ rows), float)


def solve_law(plan: Plan, columns: ComplexArray, noisier: float = 1.0) -> Law:
    """The law through readings, columns (n, 8) as COLUMNS; noisier  true noise over the one that the plan knows."""
    rows = stacked(np.concatenate([columns, columns[:, :1].conj()], axis=1))
    solved = plan.gain @ rows
    left = (rows / plan.sigma[:, None] - plan.white @ solved) / noisier
    width = 2 * plan.power.shape[1]
    mirror = float(left[:, -1] @ left[:, -1]), complex(*solved[width - 2 : width, -1])
    kept = as_complex(solved[:width, :-1])
    return Law(plan, kept, left[:, _BENCH], left[:, 0], mirror, noisier**2 * plan.cov)
