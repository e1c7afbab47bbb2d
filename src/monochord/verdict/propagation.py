"""An Estimate carried through any function by the linear law, its causes kept apart; and what that law leaves out.

The linear law is exact for straight functions. Where a function bends within the uncertainty of what
goes in (a length from two small components, a product of two quantities near zero), ``beyond_linear``
says by how much, and a Monte Carlo run settles it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monochord.ground.estimate import Estimate, Factor, Label
from monochord.verdict.propagation_checks import known_wanted, wanted

Array = NDArray[np.float64]
Function = Callable[[Array], ArrayLike]

#: Halvings of the step when a slope is looked for: 2^-9 of the uncertainty at the last.
HALVINGS = 10
#: Steps are at least this part of the value itself, so that rounding leaves nine digits of a slope.
LEAST_STEP = 1e-7


def sensitivities(function: Function, at: ArrayLike, u: ArrayLike) -> Array:
    """Slopes dy/dx (m, n) of a function at a place, by central differences taken to the limit of small steps.

    d(h) = (f(x + h) - f(x - h)) / 2h for h = u, u/2, u/4 ...; d(h) = d + a h^2 + b h^4 ... is extrapolated, and of all
    combinations the one that changed least is taken, so that neither bends nor rounding spoil it.

    function  (n,) -> (m,);  at  (n,);  u  (n,) the width over which each input is uncertain, its own unit
    Refused when the function gives no number on both sides of the place.
    Source: Ridders 1982 (from memory); slopes by steps of u are JCGM 100:2008, 5.1.3, note 2 (from memory).

    >>> sensitivities(lambda x: [x[0] * x[1], np.exp(x[0])], [0.0, 3.0], [0.1, 0.1]).round(12).tolist()
    [[3.0, 0.0], [1.0, 0.0]]
    """
    x = np.asarray(at, float)
    widths = np.maximum(np.asarray(u, float), LEAST_STEP * np.abs(x))
    widths = np.where(widths > 0.0, widths, 1e-3)  # a value of 0 known exactly: any small step serves
    with np.errstate(all="ignore"):  # a step may leave the function's domain; that row is left out below
        columns = [_slope(function, x, j, width) for j, width in enumerate(widths)]
    slopes = np.array(columns, float).T.reshape(-1, len(x))
    for j in np.flatnonzero(~np.isfinite(slopes).all(axis=0)):
        wanted(
            False, f"no slope by input {j + 1} at {x[j]:g}", "a function with numbers about its place",
            "give the Jacobian, or move the place from the edge of the domain",
        )  # fmt: skip
    return slopes


def _slope(function: Function, x: Array, j: int, width: float) -> Array:
    """Slope (m,) by one input: Neville's scheme over halved steps, each output keeping its steadiest entry."""
    above: list[Array] = []
    best = worst = np.empty(0)
    for k in range(HALVINGS):
        up, down = x.copy(), x.copy()
        up[j] += width / 2.0**k
        down[j] -= width / 2.0**k
        row = [(_output(function, up) - _output(function, down)) / (up[j] - down[j])]
        if k == 0:
            best, worst = row[0], np.full(row[0].shape, np.inf)
        for i, upper in enumerate(above):
            row.append((4.0 ** (i + 1) * row[i] - upper) / (4.0 ** (i + 1) - 1.0))
            change = np.maximum(np.abs(row[-1] - row[-2]), np.abs(row[-1] - upper))
            better = np.where(np.isfinite(change), change, np.inf) < worst
            best, worst = np.where(better, row[-1], best), np.where(better, change, worst)
        above = row
    return best


def _output(function: Function, x: Array) -> Array:
    return np.atleast_1d(np.asarray(function(x), dtype=np.float64))


def propagate(
    function: Function, estimate: Estimate, labels: Sequence[Label], jacobian: ArrayLike | None = None
) -> Estimate:
    """A function of an estimate, by the linear law: y = f(x), U_y = J U_x J', cause by cause.

    function  (n,) -> (m,);  labels  m labels of the outcome;  jacobian  (m, n) dy/dx, else it is found by differences
    Causes keep their names, so that outcomes of several functions stay correlated as they are.
    Refused when shapes do not fit; Undetermined when an input is unknown.
    Source: JCGM 100:2008, 5.1 and 5.2; JCGM 102:2011, 6.2 (both from memory).

    >>> pair = Estimate.of([3.0, 4.0], ["x", "y"], unit="m", frame="girder", causes={"noise": 0.01 * np.eye(2)})
    >>> length = propagate(lambda v: np.hypot(v[0], v[1]), pair, [Label("length", "m", "girder")])
    >>> float(length.value[0]), round(float(length.u[0]), 12), list(length.factors)
    (5.0, 0.1, ['noise'])
    """
    known_wanted(estimate.value, estimate.names, "it is unknown, and so is every function of it")
    value = _output(function, estimate.value)
    slopes = sensitivities(function, estimate.value, estimate.u) if jacobian is None else np.asarray(jacobian, float)
    wanted(
        value.shape == (len(labels),) and slopes.shape == (len(labels), len(estimate.value)),
        f"{value.shape} outcomes, Jacobian {slopes.shape}",
        f"({len(labels)},) outcomes and ({len(labels)}, {len(estimate.value)}) slopes",
        "give one label for each outcome and one column for each input",
    )
    return estimate.through(slopes, labels, value=value)


def mean_of_readings(readings: ArrayLike, labels: Sequence[Label], cause: str) -> Estimate:
    """Means of n repeated, simultaneous readings of m quantities, with the covariance that the repeats show.

    x = mean, U = S / n with S = sum (r - x)(r - x)' / (n - 1); n - 1 degrees of freedom

    readings  (n, m), one row for each repeat, n >= 2;  cause  the name under which this scatter is kept
    Source: JCGM 100:2008, 4.2 and 5.2.3 (from memory).

    >>> mean = mean_of_readings([[1.0], [2.0], [3.0]], [Label("a", "m", "girder")], "repeat")
    >>> float(mean.value[0]), round(float(mean.u[0] ** 2), 9), mean.dof
    (2.0, 0.333333333, 2.0)
    """
    r = np.atleast_2d(np.asarray(readings, float))
    n = len(r)
    wanted(
        n >= 2 and r.shape[1] == len(labels), f"{r.shape} readings", f"two or more rows of {len(labels)}", "read again"
    )
    about = r - r.mean(axis=0)
    return Estimate(
        r.mean(axis=0),
        tuple(labels),
        {cause: Factor(np.eye(len(labels)), about.T @ about / (n - 1.0) / n)},
        float(n - 1),
    )


@dataclass(frozen=True, eq=False, slots=True)
class BeyondLinear:
    """What the linear law leaves out, to fourth order in the uncertainties, for inputs of a normal law.

    shift      (m,) mean of the outcome minus the function of the means
    cov        (m, m) to be added to the linear covariance; its diagonal may be negative
    curvature  (m, n, n) d2y/dxi dxj u_i u_j, in the unit of the outcome: how much each pair bends within its uncertainty
    """

    shift: Array
    cov: Array
    curvature: Array


def beyond_linear(function: Function, estimate: Estimate) -> BeyondLinear:
    """Bias and covariance that bending adds to the linear law.

    shift_a = 1/2 sum_ij H_a,ij V_ij
    cov_ab  = 1/2 tr(H_a V H_b V) + grad f_a' V grad g_b + grad f_b' V grad g_a,   g(x) = 1/2 sum_ij H_ij(x) V_ij

    The first part of cov comes from squares and products, the second from cubes. For independent inputs this is the next
    term of JCGM 100:2008, 5.1.2, note (from memory); exact for functions of second degree in normal inputs.

    >>> x = Estimate.of([0.0], ["x"], unit="m", frame="girder", causes={"noise": np.array([[0.01]])})
    >>> more = beyond_linear(lambda v: v[0] ** 2, x)
    >>> round(float(more.shift[0]), 9), round(float(more.cov[0, 0]), 9)
    (0.01, 0.0002)
    """
    known_wanted(estimate.value, estimate.names, "it is unknown, and so is every function of it")
    u, x, v = estimate.u, estimate.value, estimate.cov
    unit = np.where(u > 0.0, u, 1.0)
    correlation = v / np.outer(unit, unit)
    curvature = (4.0 * 4.0 * _curvature(function, x, u / 2.0) - _curvature(function, x, u)) / 3.0
    bent = curvature @ correlation
    slopes = sensitivities(function, x, u)
    cubes = np.array([_cubes(function, estimate, direction) for direction in slopes @ v])
    return BeyondLinear(
        0.5 * np.trace(bent, axis1=1, axis2=2),
        0.5 * np.einsum("aij,bji->ab", bent, bent) + cubes + cubes.T,
        curvature,
    )


def _curvature(function: Function, x: Array, h: Array) -> Array:
    """Second differences (m, n, n) over steps h; the unit is the outcome's."""
    n, middle = len(x), _output(function, x)
    found = np.zeros((len(middle), n, n))
    step = np.diag(h)
    for i in range(n):
        found[:, i, i] = _output(function, x + step[i]) - 2.0 * middle + _output(function, x - step[i])
        for j in range(i):
            plus = _output(function, x + step[i] + step[j]) + _output(function, x - step[i] - step[j])
            minus = _output(function, x + step[i] - step[j]) + _output(function, x - step[i] + step[j])
            found[:, i, j] = found[:, j, i] = (plus - minus) / 4.0
    return found


def _cubes(function: Function, estimate: Estimate, direction: Array) -> Array:
    """How g = 1/2 sum H V changes along a direction V grad f, (m,): differences over a step of one standard uncertainty."""
    values, vectors = np.linalg.eigh(estimate.cov)
    axes = (vectors * np.sqrt(np.maximum(values, 0.0))).T
    size = np.max(np.abs(direction) / np.where(estimate.u > 0.0, estimate.u, np.inf), initial=0.0)
    if size == 0.0:
        return np.zeros(len(_output(function, estimate.value)))
    step = direction / size

    def bias(x: Array) -> Array:
        middle = _output(function, x)
        bent: Array = np.sum([_output(function, x + a) - 2.0 * middle + _output(function, x - a) for a in axes], axis=0)
        return 0.5 * bent

    change: Array = size * (bias(estimate.value + step) - bias(estimate.value - step)) / 2.0
    return change
