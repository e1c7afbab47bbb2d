"""Rows of a linear system with named causes of error, and their generalised least squares.

The room's own small fit: a few hundred rows, errors correlated over whole surveys, and groups of rows
that are tested for not belonging.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from monochord.ground.estimate import Factor
from monochord.ground.faults import Undetermined

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Rows:
    """Rows of a linear system, with the causes of their errors.

    design  (q, p);  value  (q,);  kinds  q words: "target", "washer", "contact", "temperature", "expected"
    subject q names: target or bolt;  causes  name -> Factor over the q rows
    """

    design: Array
    value: Array
    kinds: tuple[str, ...]
    subject: tuple[str, ...]
    causes: Mapping[str, Factor]

    def only(self, keep: NDArray[np.bool_]) -> Rows:
        """The rows that are kept."""
        chosen = np.flatnonzero(keep)
        causes = {name: Factor(f.jacobian[chosen], f.spread) for name, f in self.causes.items()}
        kinds, subject = tuple(self.kinds[i] for i in chosen), tuple(self.subject[i] for i in chosen)
        return Rows(self.design[chosen], self.value[chosen], kinds, subject, causes)

    @property
    def cov(self) -> Array:
        """Covariance (q, q) of all errors."""
        total = np.zeros((len(self.value), len(self.value)))
        for factor in self.causes.values():
            total = total + factor.cov
        return total

    def of(self, *kinds: str) -> NDArray[np.bool_]:
        """Which rows are of these kinds, (q,)."""
        return np.array([kind in kinds for kind in self.kinds], dtype=bool)


def together(parts: Sequence[Rows]) -> Rows:
    """Several sets of rows as one; their causes are kept apart unless they have one name."""
    counts = [len(p.value) for p in parts]
    starts = np.concatenate([[0], np.cumsum(counts)])
    causes: dict[str, Factor] = {}
    for start, part in zip(starts, parts, strict=False):
        for name, factor in part.causes.items():
            jacobian = causes[name].jacobian if name in causes else np.zeros((int(starts[-1]), len(factor.spread)))
            jacobian[start : start + len(part.value)] = factor.jacobian
            causes[name] = Factor(jacobian, factor.spread)
    return Rows(
        np.vstack([p.design for p in parts]),
        np.concatenate([p.value for p in parts]),
        tuple(k for p in parts for k in p.kinds),
        tuple(s for p in parts for s in p.subject),
        causes,
    )


def independent(design: Array, value: Array, sigma: Array, *, kind: str, subject: Sequence[str], cause: str) -> Rows:
    """Rows with independent errors: design (q, p), value (q,), sigma (q,)."""
    return Rows(
        design, value, (kind,) * len(value), tuple(subject), {cause: Factor(np.diag(sigma), np.eye(len(sigma)))}
    )


@dataclass(frozen=True, eq=False, slots=True)
class Solution:
    """The solution: value (p,), cov (p, p), gain (p, q), and P = W - W X cov X' W."""

    rows: Rows
    value: Array
    cov: Array
    gain: Array
    projector: Array


def solve(rows: Rows) -> Solution:
    """Generalised least squares with W the inverse of the rows' whole covariance.

    Raises Undetermined when the rows do not determine every unknown.

    >>> rows = independent(np.ones((2, 1)), np.array([1.0, 3.0]), np.ones(2), kind="read", subject="ab", cause="noise")
    >>> found = solve(rows)
    >>> float(found.value[0].round(9)), float(found.cov[0, 0].round(9))
    (2.0, 0.5)
    """
    weight = np.linalg.inv(rows.cov)
    weighted = rows.design.T @ weight
    normal = weighted @ rows.design
    scale = 1.0 / np.sqrt(np.maximum(np.diag(normal), 1e-300))
    values, vectors = np.linalg.eigh(normal * np.outer(scale, scale))
    if values[0] < 1e-13 * values[-1]:
        raise Undetermined(["shape now"], "the targets do not determine the girder's rigid motion and shape")
    cov = (vectors / values) @ vectors.T * np.outer(scale, scale)
    gain = cov @ weighted
    return Solution(rows, gain @ rows.value, cov, gain, weight - weighted.T @ gain)


def risk(solution: Solution, columns: Array) -> float:
    """Chance that a group as far off as this one is only noise."""
    pull = columns.T @ (solution.projector @ solution.rows.value)
    information = columns.T @ solution.projector @ columns
    values, vectors = np.linalg.eigh(information)
    seen = values > 1e-9 * max(float(values[-1]), 1e-300)
    if not seen.any():
        return 1.0
    size = float((((vectors[:, seen].T @ pull) ** 2) / values[seen]).sum())
    return float(chdtrc(int(seen.sum()), size))
