"""The field law of a scan: one complex polynomial in zeta = x + i y for both sensors together.

    Int B W dz = sum_k c_k ((zeta - ref) / scale)^k,   k = 0 .. N-1 for a 2N-pole

A field without sources is an analytic function of zeta, so By and Bx share their coefficients. The zero of
the (N-2)-th derivative is the centre that this mode sees,

    zeta_c = ref - scale c_(N-2) / ((N-1) c_(N-1))

which neither a turn of the sensors nor a roll of the magnet moves: both only turn the phase of all c_k.

Source: multipole expansion, standard; derived.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import comb

import numpy as np
from numpy.typing import NDArray

from monochord.ground.faults import Undetermined
from monochord.wire.model import ComplexArray
from monochord.wire.readings import BENCH, STATE, FieldScan

Array = NDArray[np.float64]

_WORST_CONDITION = 1e12


def powers(zeta: ComplexArray, ref: complex, scale: float, degree: int) -> Array:
    """Design (2 n, 2 (degree + 1)): By parts above Bx parts, columns Re c_0, Im c_0, Re c_1, ..."""
    power = ((zeta - ref) / scale)[:, None] ** np.arange(degree + 1)
    design = np.empty((2 * len(zeta), 2 * degree + 2))
    n = len(zeta)
    design[:n, 0::2], design[:n, 1::2] = power.real, -power.imag
    design[n:, 0::2], design[n:, 1::2] = power.imag, power.real
    return design


def stacked(value: ComplexArray) -> Array:
    """By parts above Bx parts, (n,) complex to (2 n,)."""
    return np.concatenate([value.real, value.imag])


def as_complex(c: Array) -> ComplexArray:
    """(2 k,) real and imaginary parts in turn to (k,) complex."""
    return np.asarray(c[0::2] + 1j * c[1::2], complex)


def as_real(g: ComplexArray) -> Array:
    """The real matrix (2 m, 2 k) that does what the complex matrix (m, k) does."""
    out = np.empty((2 * g.shape[0], 2 * g.shape[1]))
    out[0::2, 0::2], out[0::2, 1::2] = g.real, -g.imag
    out[1::2, 0::2], out[1::2, 1::2] = g.imag, g.real
    return out


@dataclass(frozen=True, eq=False, slots=True)
class Law:
    """A fitted polynomial.

    coefficients  (N,) complex [T m];  cov  (2 N, 2 N) of their real and imaginary parts in turn, from noise alone
    by            name in BENCH and STATE -> (2 N,) change of the coefficients per unit
    plain         (N,) the same polynomial through the plain quadratures
    fitted        each scan with its fitted values (n,);  square, dof  of the residuals in units of their sigma
    free          name in BENCH -> part of that change that no coefficient can take up, (rows,) in units of sigma
    residual      (rows,) in units of sigma;  gain  (2 N, rows) change of the coefficients by the rows
    mirror        square sum and leading coefficient when Bx is taken with the other sign: a test for mixed-up planes
    """

    ref: complex
    scale: float
    coefficients: ComplexArray
    cov: Array
    by: Mapping[str, Array]
    plain: ComplexArray
    fitted: tuple[tuple[FieldScan, ComplexArray], ...]
    square: float
    dof: int
    free: Mapping[str, Array]
    residual: Array
    gain: Array
    mirror: tuple[float, complex]
    _white: Array
    _sigma: Array

    def free_part(self, value: ComplexArray) -> Array:
        """What no coefficient can take up of a change of all readings (n,) in their order [T m], in units of sigma.

        value  By + i Bx, scan after scan
        """
        rows = _rows(self._split(value), None)
        return np.asarray(rows / self._sigma - self._white @ (self.gain @ rows), float)

    def _split(self, value: ComplexArray) -> list[ComplexArray]:
        ends = np.cumsum([len(scan.zeta) for scan, _ in self.fitted])
        return np.split(value, ends[:-1])

    @property
    def degree(self) -> int:
        """Highest power."""
        return len(self.coefficients) - 1

    def about(self, point: complex, power: int) -> tuple[complex, ComplexArray]:
        """Coefficient of (zeta - point)^power [T m / m^power], and its derivative by the coefficients (1, N)."""
        at = (point - self.ref) / self.scale
        k = np.arange(len(self.coefficients))
        row = np.array([comb(i, power) * at ** (i - power) if i >= power else 0.0 for i in k], complex)
        row = np.asarray(row / self.scale**power, complex)
        return complex(row @ self.coefficients), row[None]

    @property
    def zero(self) -> complex:
        """Zero of the last but one derivative, x + i y of the stages [m]."""
        return zero_of(self.coefficients, self.ref, self.scale)


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


def fit_law(
    scans: Sequence[FieldScan],
    degree: int,
    *,
    frame: tuple[complex, float] | None = None,
    known: Sequence[ComplexArray] | None = None,
    known_by: Mapping[str, Sequence[ComplexArray]] | None = None,
    known_plain: Sequence[ComplexArray] | None = None,
) -> Law:
    """Weighted least squares of the polynomial through scans of one magnet state, in both planes.

    frame   reference and scale; from the scans' own range when not given
    known   for each scan (n,) [T m] what is subtracted first, such as a background; known_by its changes by
            BENCH and STATE, known_plain the same in plain quadratures

    Raises Undetermined when the positions cannot tell the coefficients apart.
    """
    zeta = np.concatenate([s.zeta for s in scans])
    ref, scale = span_of(zeta) if frame is None else frame
    if scale == 0.0:
        raise Undetermined(["centre"], "the wire was not moved in these scans")
    sigma = np.concatenate([np.repeat(s.sigma, len(s.zeta)) for s in scans])
    white = np.concatenate([powers(s.zeta, ref, scale, degree) for s in scans]) / sigma[:, None]
    normal = white.T @ white
    size = np.sqrt(np.diag(normal))
    if len(white) <= white.shape[1] or np.linalg.cond(normal / np.outer(size, size)) > _WORST_CONDITION:
        raise Undetermined(["centre"], f"{len(zeta)} readings do not determine a field law of degree {degree}")
    cov = np.asarray(np.linalg.inv(normal), float)
    gain = cov @ white.T / sigma
    lines = {name: [s.by[name] for s in scans] for name in (*BENCH, *STATE)}
    lines |= {"value": [s.value for s in scans], "plain": [s.plain for s in scans]}
    less = dict(known_by or {})
    less |= {"value": known, "plain": known_plain} if known is not None and known_plain is not None else {}
    lines["mirror"] = [v.conj() for v in lines["value"]]
    if known is not None:
        less["mirror"] = [v.conj() for v in known]
    rows = np.stack([_rows(v, less.get(name)) for name, v in lines.items()], axis=1)
    solved = gain @ rows
    column = {name: i for i, name in enumerate(lines)}
    left = rows / sigma[:, None] - white @ solved
    residual = left[:, column["value"]]
    c = solved[:, column["value"]]
    return Law(
        ref,
        scale,
        as_complex(c),
        cov,
        {name: solved[:, column[name]] for name in (*BENCH, *STATE)},
        as_complex(solved[:, column["plain"]]),
        _fitted(scans, c, (ref, scale, degree)),
        float(residual @ residual),
        len(residual) - len(c),
        {name: left[:, column[name]] for name in BENCH},
        residual,
        gain,
        (
            float(left[:, column["mirror"]] @ left[:, column["mirror"]]),
            complex(as_complex(solved[:, column["mirror"]])[-1]),
        ),
        white,
        sigma,
    )


def _rows(value: Sequence[ComplexArray], less: Sequence[ComplexArray] | None) -> Array:
    taken = value if less is None else [v - k for v, k in zip(value, less, strict=True)]
    return np.concatenate([stacked(v) for v in taken])


def _fitted(
    scans: Sequence[FieldScan], c: Array, law: tuple[complex, float, int]
) -> tuple[tuple[FieldScan, ComplexArray], ...]:
    out = []
    for scan in scans:
        flat = powers(scan.zeta, *law) @ c
        n = len(scan.zeta)
        out.append((scan, np.asarray(flat[:n] + 1j * flat[n:], complex)))
    return tuple(out)


def evaluate(coefficients: ComplexArray, law: Law, zeta: ComplexArray) -> ComplexArray:
    """Polynomial with a law's reference and scale, at zeta (n,) [T m]."""
    return np.asarray(((zeta - law.ref) / law.scale)[:, None] ** np.arange(len(coefficients)) @ coefficients, complex)
