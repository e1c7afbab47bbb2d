"""Least squares, once: a linear adjustment with its covariance, its redundancy and a word on rank defects.

Readings are whitened (divided by their standard uncertainties, or by the Cholesky factor of their
covariance), columns are brought to length one, and the design is factored by QR and singular values.
Normal equations would square the condition number: badly scaled polynomials lose all digits that way.

Dense matrices throughout: for a girder's thousands of readings and hundreds of unknowns, not for a whole ring.
Residuals are counted observed minus adjusted everywhere in this program.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import solve_triangular

from monochord.ground.estimate import Estimate, Factor, Label
from monochord.ground.faults import Fault, Gatherer, Refused, Undetermined

Array = NDArray[np.float64]

#: A direction whose singular value is below this part of the largest one counts as not determined. Columns have length
#: one then, so units do not enter. Rounding leaves 1e-15 for a true defect; the hardest certified polynomial has 3e-10.
RANK_TOLERANCE = 1e-12


@dataclass(frozen=True, eq=False, slots=True)
class Adjustment:
    """Result of one least-squares adjustment of n readings for u unknowns.

    names        u names of the unknowns
    x            (u,) adjusted unknowns
    cofactor     (u, u) their covariance when the given uncertainties are right (a priori)
    gain         (u, n) change of the unknowns by a change of the readings, dx = gain @ dl
    residuals    (n,) v, observed minus adjusted
    redundancy   (n,) part of a reading's error that shows in its own residual, diagonal of I - A gain; sum = dof
    weighted_residuals   (n,) P v, with P the inverse covariance of the readings; v / sigma^2 when they are independent
    information  (n,) diagonal of P Q_v P: what the residuals tell about an error in one reading, 1 / variance
    weight       (n,) diagonal of P, 1 / sigma^2 when they are independent
    omega        weighted square sum v' P v
    dof          readings minus determined directions
    rank         number of determined directions (unknowns less constraints)
    condition    largest over smallest singular value of the whitened design with columns of length one
    """

    names: tuple[str, ...]
    x: Array
    cofactor: Array
    gain: Array
    residuals: Array
    redundancy: Array
    weighted_residuals: Array
    information: Array
    weight: Array
    omega: float
    dof: int
    rank: int
    condition: float

    @property
    def variance_factor(self) -> float:
        """Estimate s0^2 = omega / dof; NaN without redundancy, as nothing is known of it then."""
        return self.omega / self.dof if self.dof > 0 else float("nan")

    @property
    def u(self) -> Array:
        """Standard uncertainties (u,) a priori."""
        return np.sqrt(np.diag(self.cofactor))

    @property
    def posterior_covariance(self) -> Array:
        """Covariance (u, u) scaled by the variance factor: for readings of unknown but equal quality."""
        return self.variance_factor * self.cofactor

    @property
    def posterior_u(self) -> Array:
        """Standard uncertainties (u,) scaled by the variance factor."""
        return np.sqrt(np.diag(self.posterior_covariance))

    def estimate(self, labels: Sequence[Label], cause: str, *, posterior: bool = False) -> Estimate:
        """The unknowns as an Estimate with one cause, the noise of the readings.

        Further causes that act on the readings come in by ``.adding(cause, self.gain @ d_readings_d_cause, spread)``.
        """
        spread = self.posterior_covariance if posterior else self.cofactor
        dof = float(self.dof) if posterior else float("inf")
        return Estimate(self.x, tuple(labels), {cause: Factor(np.eye(len(self.x)), spread)}, dof)


@dataclass(frozen=True, eq=False, slots=True)
class Weighting:
    """How readings become independent with variance one: W with W' W = P.

    root  (n,) standard uncertainties, or the (n, n) lower Cholesky factor of the covariance
    """

    root: Array

    def white(self, readings: Array) -> Array:
        """W m, for m (n,) or (n, k)."""
        if self.root.ndim == 1:
            return (readings.T / self.root).T
        out: Array = solve_triangular(self.root, readings, lower=True)
        return out

    def white_transposed(self, readings: Array) -> Array:
        """W' m, for m (n,) or (n, k)."""
        if self.root.ndim == 1:
            return (readings.T / self.root).T
        out: Array = solve_triangular(self.root, readings, lower=True, trans="T")
        return out

    def coloured(self, white: Array) -> Array:
        """The way back, W^-1 m."""
        return (white.T * self.root).T if self.root.ndim == 1 else self.root @ white


@dataclass(frozen=True, eq=False, slots=True)
class Factored:
    """A whitened design split into directions: W A = left diag(singular) (directions in the unknowns).

    left      (n, k) orthonormal;  singular  (k,) falling;  right  (u, k): unit step along direction j changes x by right[:, j]
    involved  (u, k) part of each unknown in each direction, free of units
    offset    (u,) the point that fulfils the constraints from which the directions start
    """

    left: Array
    singular: Array
    right: Array
    involved: Array
    offset: Array

    def step(self, white_residuals: Array, *, damping: float = 0.0, tolerance: float = RANK_TOLERANCE) -> Array:
        """Change of the unknowns (u,) that removes the residuals; directions that are not determined stay put."""
        s = self.singular
        held = self.determined(tolerance)
        part = np.divide(s, s**2 + damping, out=np.zeros_like(s), where=held)
        change: Array = self.right @ (part * (self.left.T @ white_residuals))
        return change

    def determined(self, tolerance: float = RANK_TOLERANCE) -> NDArray[np.bool_]:
        """Which directions are determined (k,)."""
        top = self.singular[0] if len(self.singular) else 0.0
        return self.singular > max(tolerance * top, np.finfo(float).tiny)

    def refuse_defect(self, names: Sequence[str], tolerance: float = RANK_TOLERANCE) -> None:
        """Raise Undetermined with the unknowns that take part in a direction the readings leave free."""
        free = ~self.determined(tolerance)
        if not free.any():
            return
        # An unknown is determined exactly when it has no part in any free direction.
        part = np.linalg.norm(self.involved[:, free], axis=1)
        loose = [name for name, p in zip(names, part, strict=True) if p > np.sqrt(tolerance)]
        what = "one combination" if free.sum() == 1 else f"{free.sum()} combinations"
        raise Undetermined(loose, f"the readings leave {what} of them free; add readings, a prior or a constraint")


def adjust(
    design: ArrayLike,
    observed: ArrayLike,
    *,
    sigma: ArrayLike | None = None,
    covariance: ArrayLike | None = None,
    names: Sequence[str] | None = None,
    constraints: ArrayLike | None = None,
    constraint_values: ArrayLike | None = None,
    tolerance: float = RANK_TOLERANCE,
) -> Adjustment:
    """Adjust l = A x + v so that v' P v is smallest, under C x = c where constraints are given.

    x = (A' P A)^-1 A' P l,  Q = (A' P A)^-1,  R = I - A Q A' P   (computed by orthogonal factors, not by these formulas)

    design       A (n, u);  observed  l (n,)
    sigma        standard uncertainty of the readings, one number or (n,); 1 when neither it nor a covariance is given
    covariance   full covariance of the readings (n, n) instead of sigma, positive definite; P is its inverse
    names        of the unknowns, for messages; x1, x2, ... when not given
    constraints, constraint_values   C (c, u) and c (c,), zeros when not given. A datum is such a constraint: see
                 :func:`inner_constraints`
    tolerance    smallest singular value that still counts, as part of the largest

    Residuals are l - A x. Raises Undetermined with the unknowns that the readings leave free, Refused for numbers that are
    not finite, uncertainties that are not positive, shapes that do not fit, or constraints that contradict each other.
    Source: method of Golub, Numer. Math. 7 (1965); redundancy numbers after Baarda 1968 (both from memory).

    Three levelled height differences that close to 3 mm; one third goes to each:

    >>> heights = adjust([[1, 0], [-1, 1], [0, -1]], [1.000, 2.000, -2.997], names=["B", "C"])
    >>> heights.x.round(6).tolist(), heights.redundancy.round(6).tolist()
    ([0.999, 2.998], [0.333333, 0.333333, 0.333333])
    """
    a, y = np.atleast_2d(np.asarray(design, float)), np.asarray(observed, float)
    weighting = weigh(a, y, sigma, covariance)
    factored = factorise(weighting.white(a), constraints, constraint_values)
    known = tuple(names) if names is not None else tuple(f"x{j + 1}" for j in range(a.shape[1]))
    factored.refuse_defect(known, tolerance)
    x = factored.offset
    for _ in range(2):  # the second pass removes what rounding left of the first
        x = x + factored.step(weighting.white(y - a @ x), tolerance=tolerance)
    return assemble(known, factored, weighting, x, y - a @ x)


def weigh(design: Array, observed: Array, sigma: ArrayLike | None, covariance: ArrayLike | None) -> Weighting:
    """The weighting of n readings, after a look at whether everything fits and is finite.

    design (n, u);  observed (n,);  sigma and covariance as in :func:`adjust`

    >>> weigh(np.ones((2, 1)), np.zeros(2), 0.5, None).white(np.array([1.0, 2.0])).tolist()
    [2.0, 4.0]
    """
    n = len(observed)
    faults = Gatherer()
    if design.ndim != 2 or len(design) != n or observed.ndim != 1:
        faults.add(
            f"a design {design.shape} for readings {observed.shape}", "one row for each reading", "mend the call"
        )
    for what, array in (("readings", observed), ("design", design)):
        rows = np.flatnonzero(~np.isfinite(array).all(axis=tuple(range(1, array.ndim))))
        if len(rows):
            faults.add(
                f"{what} with no finite number in row {rows[0] + 1}", "finite numbers", "leave out what is not known"
            )
    faults.refuse_if_any()
    if covariance is not None:
        return Weighting(_cholesky(np.asarray(covariance, float), n))
    s = np.broadcast_to(np.asarray(1.0 if sigma is None else sigma, float), (n,))
    if not (np.isfinite(s) & (s > 0.0)).all():
        row = int(np.flatnonzero(~(np.isfinite(s) & (s > 0.0)))[0])
        raise Refused([Fault(f"uncertainty {s[row]} of reading {row + 1}", "a finite number above 0", "state it")])
    return Weighting(s)


def _cholesky(covariance: Array, n: int) -> Array:
    fault = Fault(
        f"a covariance {covariance.shape} of {n} readings that is not positive definite",
        f"a symmetric positive definite matrix ({n}, {n})",
        "look for a reading without noise of its own",
    )
    if covariance.shape != (n, n) or not np.isfinite(covariance).all():
        raise Refused([fault])
    refuse_asymmetry(covariance)
    try:
        return np.asarray(np.linalg.cholesky(covariance), float)
    except np.linalg.LinAlgError:
        raise Refused([fault]) from None


#: Difference of two mirrored entries of a covariance, over the root of their variances, that rounding may leave.
ASYMMETRY = 1e-9


def refuse_asymmetry(covariance: Array) -> None:
    """Raise Refused when a covariance (n, n) is not its own mirror image; a factorisation would read one half and be silent.

    >>> refuse_asymmetry(np.array([[4.0, 1.2], [1.3, 9.0]]))
    Traceback (most recent call last):
        ...
    monochord.ground.faults.Refused: given a covariance with 1.2 at (1, 2) and 1.3 at (2, 1), apart by 0.1; expected a \
symmetric matrix; find out which of the two is right
    """
    apart = np.abs(covariance - covariance.T)
    scale = np.sqrt(np.abs(np.diag(covariance)))
    beyond = apart > ASYMMETRY * np.outer(scale, scale)
    if not beyond.any():
        return
    row, column = np.unravel_index(int(np.argmax(np.where(beyond, apart, -1.0))), apart.shape)
    i, j = sorted((int(row), int(column)))
    given = f"a covariance with {covariance[i, j]:.9g} at ({i + 1}, {j + 1}) and {covariance[j, i]:.9g} at ({j + 1}, {i + 1})"
    size = f"{apart[i, j]:.3g}"
    raise Refused([Fault(f"{given}, apart by {size}", "a symmetric matrix", "find out which of the two is right")])


def factorise(
    white_design: Array,
    constraints: ArrayLike | None = None,
    constraint_values: ArrayLike | None = None,
    *,
    length: Array | None = None,
) -> Factored:
    """Split a whitened design (n, u) into directions, within C x = c when constraints are given.

    length  (u,) by which columns are divided before; their own length when not given

    >>> factorise(np.array([[3.0, 0.0], [0.0, 1e-6]])).singular.tolist()
    [1.0, 1.0]
    """
    if length is None:
        length = np.linalg.norm(white_design, axis=0)
    length = np.where(length > 0.0, length, 1.0)
    scaled = white_design / length
    offset, free = np.zeros(len(length)), None
    if constraints is not None:
        offset, free = _within(np.atleast_2d(np.asarray(constraints, float)) / length, constraint_values)
        scaled = scaled @ free
    q, r = np.linalg.qr(scaled)
    turn, singular, vt = np.linalg.svd(r, full_matrices=True)
    missing = len(vt) - len(singular)  # fewer readings than unknowns
    directions = vt.T if free is None else free @ vt.T
    left = np.hstack([q @ turn, np.zeros((len(q), missing))])
    singular = np.concatenate([singular, np.zeros(missing)])
    return Factored(left, singular, directions / length[:, None], directions, offset / length)


def _within(constraints: Array, values: ArrayLike | None) -> tuple[Array, Array]:
    """A point that fulfils C z = c, and an orthonormal basis of the directions that keep it fulfilled."""
    size = np.linalg.norm(constraints, axis=1)
    size = np.where(size > 0.0, size, 1.0)
    c = constraints / size[:, None]
    d = np.zeros(len(c)) if values is None else np.asarray(values, float) / size
    turn, s, vt = np.linalg.svd(c, full_matrices=True)
    rank = int((s > RANK_TOLERANCE * max(s.max(initial=0.0), 1e-300)).sum())
    point = vt[:rank].T @ ((turn.T @ d)[:rank] / s[:rank])
    if np.abs(c @ point - d).max(initial=0.0) > 1e-9 * np.abs(d).max(initial=0.0):
        raise Refused(
            [Fault("constraints that contradict each other", "constraints that can all hold", "leave one of them out")]
        )
    return point, vt[rank:].T


def assemble(
    names: tuple[str, ...], factored: Factored, weighting: Weighting, x: Array, residuals: Array
) -> Adjustment:
    """Everything that is said about an adjustment, from its factors and the residuals at the solution.

    names (u), x (u,), residuals (n,) observed minus adjusted, in their own units, not whitened

    >>> one = assemble(("h",), factorise(np.ones((2, 1))), Weighting(np.ones(2)), np.array([2.0]), np.array([-1.0, 1.0]))
    >>> one.omega, one.dof, one.redundancy.round(6).tolist()
    (2.0, 1, [0.5, 0.5])
    """
    root = factored.right / factored.singular
    back = weighting.white_transposed(factored.left)
    redundancy = 1.0 - (weighting.coloured(factored.left) * back).sum(axis=1)
    white = weighting.white(residuals)
    weight = _own_weight(weighting)
    s = factored.singular
    return Adjustment(
        names=names,
        x=x,
        cofactor=root @ root.T,
        gain=root @ back.T,
        residuals=residuals,
        redundancy=redundancy,
        weighted_residuals=weighting.white_transposed(white),
        information=weight - (back**2).sum(axis=1),
        weight=weight,
        omega=float(white @ white),
        dof=len(residuals) - len(s),
        rank=len(s),
        condition=float(s[0] / s[-1]) if len(s) else 1.0,
    )


def _own_weight(weighting: Weighting) -> Array:
    """Diagonal of P (n,)."""
    if weighting.root.ndim == 1:
        return weighting.root**-2.0
    white = weighting.white(np.eye(len(weighting.root)))
    diagonal: Array = (white**2).sum(axis=0)
    return diagonal


def inner_constraints(
    design: ArrayLike, *, over: ArrayLike | None = None, tolerance: float = RANK_TOLERANCE
) -> NDArray[np.float64]:
    """Constraints G (d, u) that cure a datum defect d and let the chosen unknowns move least, G x = 0.

    G = N' S: N spans the null space of the design, S selects. The trace of the cofactor of the selected unknowns is then the
    smallest of all datums, and residuals are those of any other minimal datum.

    design  A (n, u), whitened or not;  over  (u,) which unknowns carry the datum, all when not given

    >>> inner_constraints([[-1.0, 1.0, 0.0], [0.0, -1.0, 1.0]]).round(6).tolist()
    [[0.57735, 0.57735, 0.57735]]
    """
    factored = factorise(np.atleast_2d(np.asarray(design, float)))
    null = np.linalg.qr(factored.right[:, ~factored.determined(tolerance)])[0]
    null = null * np.sign(null.sum(axis=0) + 1e-9)
    chosen = np.ones(len(null), bool) if over is None else np.asarray(over, bool)
    datum: Array = (null * chosen[:, None]).T
    return datum
