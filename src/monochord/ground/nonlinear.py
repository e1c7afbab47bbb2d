"""Non-linear least squares: Gauss-Newton steps, damped after Levenberg and Marquardt where a full step leads too far.

How far a step may lead (its reach) is learned from how well the linear model foretold the drop of the square sum. Near
the solution the reach is no limit, and convergence is that of Gauss-Newton.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monochord.ground.faults import Fault, Refused
from monochord.ground.least_squares import Adjustment, Factored, Weighting, assemble, factorise, weigh

Array = NDArray[np.float64]
Model = Callable[[Array], Array]

# First reach of a step, as part of the start's own length and of the residuals' (both found by trial on the certified
# sets of tests/reference: from a reach of ten or hundred lengths one or two of their far starts are lost).
_FIRST_REACH, _LEAST_REACH = 1.0, 0.01
# Part of the square sum below which a drop cannot be told from rounding.
_UNSEEN = 1e-11
# Residuals whose squares would overflow count as no number.
_HUGE = 1e150


@dataclass(frozen=True, eq=False, slots=True)
class Fit:
    """Result of a non-linear fit.

    adjustment  at the solution; its arrays over readings hold the n readings first, then one entry for each prior
    converged   whether the last step was small enough
    steps       steps that were taken
    last_step   no unknown moved by more than this part of its standard uncertainty in the last step
    statement   the same in words
    """

    adjustment: Adjustment
    converged: bool
    steps: int
    last_step: float
    statement: str


@dataclass(frozen=True, eq=False, slots=True)
class _Problem:
    """Readings and priors as one set of whitened residuals with its design."""

    model: Model
    jacobian: Model
    observed: Array
    prior_mean: Array
    prior_sigma: Array
    weighting: Weighting
    constraints: ArrayLike | None
    noise_known: bool

    def residuals(self, x: Array) -> Array:
        """Observed minus computed, readings first, then priors."""
        with np.errstate(all="ignore"):  # a trial step may lead out of the model's domain; it is then refused as a step
            computed = np.asarray(self.model(x), float)
        return np.concatenate([self.observed - computed, (self.prior_mean - x)[np.isfinite(self.prior_sigma)]])

    def white(self, x: Array) -> Array:
        """The residuals in units of their uncertainty, independent of each other."""
        return self.weighting.white(self.residuals(x))

    def white_design(self, x: Array) -> Array:
        """Derivatives of readings and priors in units of their uncertainty; refused where the model has none."""
        held = np.eye(len(x))[np.isfinite(self.prior_sigma)]
        with np.errstate(all="ignore"):
            slopes = np.vstack([self.jacobian(x), held])
        if not np.isfinite(slopes).all():
            fault = Fault(f"a model without finite derivatives at {x.tolist()}", "a smooth model", "start elsewhere")
            raise Refused([fault])
        return self.weighting.white(slopes)

    def rounding(self, x: Array, length: Array) -> float:
        """Length of a white vector that is lost in the rounding of readings and unknowns."""
        readings = np.concatenate([self.observed, self.prior_mean[np.isfinite(self.prior_sigma)]])
        size = np.linalg.norm(self.weighting.white(readings)) + np.linalg.norm(length * x)
        return 10.0 * float(np.finfo(float).eps * size)


def fit(
    model: Model,
    start: ArrayLike,
    observed: ArrayLike,
    *,
    sigma: ArrayLike | None = None,
    covariance: ArrayLike | None = None,
    jacobian: Model | None = None,
    prior_mean: ArrayLike | None = None,
    prior_sigma: ArrayLike | None = None,
    names: Sequence[str] | None = None,
    constraints: ArrayLike | None = None,
    constraint_values: ArrayLike | None = None,
    max_steps: int = 200,
    tolerance: float = 1e-6,
) -> Fit:
    """Fit l = f(x) + v so that v' P v is smallest; priors count as readings of the unknowns themselves.

    model        f, (u,) -> (n,);  start  first guess (u,);  observed  l (n,)
    sigma, covariance   of the readings, as in :func:`monochord.ground.least_squares.adjust`
    jacobian     x -> df/dx (n, u); central differences when not given
    prior_mean, prior_sigma   (u,) of each unknown; sigma inf where there is no prior; the mean is the start when not given
    constraints, constraint_values   linear, C x = c, as in ``adjust``
    max_steps    bound of the number of steps
    tolerance    converged when the next step is below this part of the standard uncertainty of every unknown (a priori or from
                 the residuals, whichever is larger) or is lost in the rounding of the readings; that step is still taken

    A fit that did not converge comes back with ``converged`` False and says so; whoever uses it must look. Raises
    Undetermined when unknowns stay free at the solution, Refused when the model is not finite at the start, has no finite
    derivatives on the way, or the input does not fit.  Source: Marquardt 1963; reach and measure after More 1978; stopping
    after Bates and Watts 1981 (all from memory).

    >>> t = np.array([0.0, 1.0, 2.0, 3.0])
    >>> found = fit(lambda p: p[0] * np.exp(-p[1] * t), [1.0, 1.0], 2.0 * np.exp(-0.5 * t), names=["a", "rate"])
    >>> found.adjustment.x.round(9).tolist(), found.converged
    ([2.0, 0.5], True)
    """
    x, y = np.asarray(start, float), np.asarray(observed, float)
    known = tuple(names) if names is not None else tuple(f"x{j + 1}" for j in range(len(x)))
    derivative = jacobian if jacobian is not None else numeric_jacobian(model)
    mean = x if prior_mean is None else np.asarray(prior_mean, float)
    width = np.full(len(x), np.inf) if prior_sigma is None else np.asarray(prior_sigma, float)
    weighting = _with_priors(weigh(np.zeros((len(y), 0)), y, sigma, covariance), width)
    noise_known = sigma is not None or covariance is not None
    problem = _Problem(model, derivative, y, mean, width, weighting, constraints, noise_known)
    x = _onto_constraints(problem, x, constraint_values)
    x, steps, size = _iterate(problem, x, max_steps, tolerance)
    factored = factorise(problem.white_design(x), constraints)
    factored.refuse_defect(known)
    adjustment = assemble(known, factored, weighting, x, problem.residuals(x))
    return Fit(adjustment, size <= tolerance, steps, size, _statement(steps, size, tolerance, max_steps))


def _with_priors(readings: Weighting, prior_sigma: Array) -> Weighting:
    """Weighting of the readings and, below them, of the priors."""
    if not (prior_sigma > 0.0).all():
        raise Refused([Fault(f"priors of width {prior_sigma.tolist()}", "widths above 0, inf for none", "state them")])
    below = prior_sigma[np.isfinite(prior_sigma)]
    if readings.root.ndim == 1:
        return Weighting(np.concatenate([readings.root, below]))
    n = len(readings.root)
    root = np.diag(np.concatenate([np.ones(n), below]))
    root[:n, :n] = readings.root
    return Weighting(root)


def _onto_constraints(problem: _Problem, x: Array, values: ArrayLike | None) -> Array:
    """The start moved so that it fulfils the constraints; from there on steps only keep them."""
    if not (np.abs(problem.white(x)) < _HUGE).all():
        row = int(np.flatnonzero(~(np.abs(problem.white(x)) < _HUGE))[0]) + 1
        given = f"a model that gives no finite number at the start {x.tolist()}, for reading {row}"
        raise Refused([Fault(given, "a finite start", "the readings are numbers; start elsewhere")])
    if problem.constraints is None:
        return x
    c = np.atleast_2d(np.asarray(problem.constraints, float))
    target = np.zeros(len(c)) if values is None else np.asarray(values, float)
    return x + factorise(problem.white_design(x), c, target - c @ x).offset


def _iterate(problem: _Problem, x: Array, max_steps: int, tolerance: float) -> tuple[Array, int, float]:
    """Steps until one is small; gives the place, the number of steps and the size of the last one."""
    white = problem.white(x)
    size, reach, length = float("inf"), 0.0, np.zeros(len(x))
    for step in range(1, max_steps + 1):
        design = problem.white_design(x)
        # Steps are measured by the longest column met so far: a column that shrinks must not set its unknown free.
        length = np.maximum(length, np.linalg.norm(design, axis=0))
        factored = factorise(design, problem.constraints, length=length)
        size = _size(problem, factored, white, problem.rounding(x, length))
        if size <= tolerance:
            last = x + factored.step(white)
            return (last if np.isfinite(problem.white(last)).all() else x), step, size
        if step == 1:
            reach = max(_FIRST_REACH * _norm(length * x), _LEAST_REACH * _norm(white))
        taken = _within_reach(problem, factored, x, white, reach)
        if taken is None:
            return x, step - 1, size
        x, white, reach = taken
    return x, max_steps, size


def _norm(vector: Array) -> float:
    return float(np.linalg.norm(vector))


def _size(problem: _Problem, factored: Factored, white: Array, rounding: float) -> float:
    """Largest part of its standard uncertainty by which the full step would move an unknown; 0 within rounding."""
    held = factored.determined()
    length = _norm(factored.left[:, held].T @ white)
    if length <= rounding:
        return 0.0
    dof = len(white) - int(held.sum())
    spread = _norm(white) / np.sqrt(dof) if dof > 0 else 0.0
    unit = max(spread, 1.0 if problem.noise_known else 0.0)
    return length / unit if unit > 0.0 else float("inf")


def _within_reach(
    problem: _Problem, factored: Factored, x: Array, white: Array, reach: float
) -> tuple[Array, Array, float] | None:
    """The first step, no longer than the reach, that lowers the square sum: place, white residuals, next reach.

    None when steps have shrunk to the rounding of x and none does.
    """
    along = factored.left.T @ white * factored.determined()
    while True:
        damping = _damping(factored.singular, along, reach)
        place = x + factored.step(white, damping=damping)
        if np.array_equal(place, x):
            return None
        trial = problem.white(place)
        gain = _gain(white, trial, along, factored.singular, damping)
        taken = _step_length(factored.singular, along, damping)
        if gain < 0.25:
            reach = (0.5 if gain > 0.0 else 0.25) * min(reach, taken)
        elif damping == 0.0 or gain > 0.75:
            reach = 2.0 * taken
        if gain > 1e-4:
            return place, trial, reach


def _step_length(singular: Array, along: Array, damping: float) -> float:
    """Length of the damped step in the measure of the columns."""
    return _norm(np.divide(singular * along, singular**2 + damping, out=np.zeros_like(along), where=along != 0.0))


def _damping(singular: Array, along: Array, reach: float) -> float:
    """The damping that makes the step as long as the reach, to a tenth; none when the full step is short enough."""
    if _step_length(singular, along, 0.0) <= reach:
        return 0.0
    low, high = 0.0, _norm(singular * along) / reach
    damping = 1e-3 * high
    for _ in range(100):
        length = _step_length(singular, along, damping)
        if abs(length - reach) <= 0.1 * reach:
            break
        low, high = (damping, high) if length > reach else (low, damping)
        whole = singular**2 + damping
        slope = float(((singular * along / whole) ** 2 / whole).sum()) / length
        damping += (length / reach - 1.0) * length / slope  # Newton on 1 / length, which is nearly a straight line
        if not low < damping < high:
            damping = float(np.sqrt(max(low, 1e-3 * high) * high))
    return damping


def _gain(white: Array, trial: Array, along: Array, singular: Array, damping: float) -> float:
    """Drop of the square sum as part of the drop foretold; one where even the full step's is lost in rounding.

    -1 where the step leads to no number.
    """
    if not np.isfinite(trial).all() or float(np.abs(trial).max(initial=0.0)) > _HUGE:
        return -1.0
    now, then = float(white @ white), float(trial @ trial)
    if max(float(along @ along), abs(now - then)) < _UNSEEN * now:
        return 1.0
    kept = np.divide(damping, singular**2 + damping, out=np.zeros_like(along), where=along != 0.0)
    foretold = float((along**2 * (1.0 - kept**2)).sum())
    return (now - then) / foretold if foretold > 0.0 else -1.0


def _statement(steps: int, size: float, tolerance: float, max_steps: int) -> str:
    """What a person reads about the convergence."""
    if size <= tolerance:
        return f"converged in {steps} steps; the last moved no unknown by more than {size:.1e} of its uncertainty"
    why = "allowed" if steps >= max_steps else "until none lowered the square sum"
    more = f"the next would move an unknown by {size:.1e} of its uncertainty" if np.isfinite(size) else "no redundancy"
    return f"not converged: {steps} steps {why}, {more}"


def numeric_jacobian(model: Model) -> Model:
    """Derivatives of a model by central differences, x -> (n, u).

    The step is eps^(1/3) = 6e-6 of each unknown, or of one where the unknown is zero: good to about ten digits unless the model
    bends within a hundredth of the unknown, as a narrow resonance does in its frequency. Give such a model its derivatives.

    >>> numeric_jacobian(lambda p: p**2)(np.array([3.0])).round(6).tolist()
    [[6.0]]
    """

    def jacobian(x: Array) -> Array:
        width = np.finfo(float).eps ** (1.0 / 3.0) * np.where(x == 0.0, 1.0, np.abs(x))
        columns = []
        for j, h in enumerate(width):
            up, down = x.copy(), x.copy()
            up[j] += h
            down[j] -= h
            columns.append((np.asarray(model(up)) - np.asarray(model(down))) / (up[j] - down[j]))
        return np.array(columns, float).T.reshape(-1, len(x))

    return jacobian
