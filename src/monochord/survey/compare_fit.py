"""The fit of a change: generalised least squares with priors, and estimates that keep their causes.

y = A b + e,  b ~ (b0, P),  e ~ (0, V);  T = V + A P A';  gain K = P A' T^-1;  b^ = b0 + K (y - A b0).
The error of b^ is K e + (K A - I)(b - b0), so each cause of e and each prior keeps its own part in the result.
Source: Aitken 1935 for the weights, Henderson 1975 for the prediction of what has a prior (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from monochord.campaign.found.comparison import ShapeBasis
from monochord.ground.estimate import Estimate, Factor, Label
from monochord.survey.compare_model import Block, Model
from monochord.survey.network import Array

#: Smallest size of a family of bends [m] and of twists [rad], what any girder does unnoticed; arguments, no source.
LEAST_BEND, LEAST_TWIST = 2e-6, 4e-6
#: Rounds in which the sizes of families settle, and the change that no longer counts, as a part of the size.
ROUNDS, SETTLED = 40, 0.03


@dataclass(frozen=True, eq=False, slots=True)
class Fit:
    """A model with its data weighed.

    stiff    T^-1 (N, N) as if the girder could not change its shape
    weight   T^-1 (N, N), every prior counted as noise;  pull (N,)  T^-1 (y - A b0)
    """

    model: Model
    stiff: Array
    weight: Array
    pull: Array

    @property
    def square_sum(self) -> float:
        """Square of the whole change in units of its own uncertainty; see :func:`left_over`."""
        return float(self.residual @ self.pull)

    @property
    def residual(self) -> Array:
        """Change less what was expected of it (N,)."""
        return self.model.change.value - self.model.design @ self.model.expected

    @property
    def gain(self) -> Array:
        """K (p, N)."""
        gain: Array = (self.model.prior**2)[:, None] * (self.model.design.T @ self.weight)
        return gain

    @property
    def unknowns(self) -> Array:
        """b^ (p,), through the gain, so that a number and the sum that tells it round alike."""
        found: Array = self.model.expected + self.gain @ self.residual
        return found

    def freeing(self, *blocks: Block) -> Fit:
        """The same with more blocks of unknowns, of which nothing but their priors is expected."""
        if not blocks:
            return self
        design = np.hstack([b.design for b in blocks])
        prior = np.concatenate([b.prior for b in blocks])
        model = replace(self.model, blocks=(*self.model.blocks, *blocks))
        return _shaped(model, _widened(self.stiff, design, prior))


def fit_model(model: Model) -> Fit:
    """Weigh the data of a model; shapes of one family get the size that the data tell."""
    rest = [b for b in model.blocks if b.kind != "shape"]
    spread = np.hstack([b.design * b.prior for b in rest])
    stiff = np.linalg.inv(model.noise + spread @ spread.T)
    return _shaped(model, 0.5 * (stiff + stiff.T))


def _widened(weight: Array, design: Array, prior: Array) -> Array:
    """T^-1 when columns with these priors join T: T^-1 - T^-1 C (C' T^-1 C + P^-1)^-1 C' T^-1."""
    scaled = design * prior
    weighted = weight @ scaled
    inner = np.eye(len(prior)) + scaled.T @ weighted
    step: Array = weight - weighted @ np.linalg.solve(inner, weighted.T)
    return 0.5 * (step + step.T)


def _shaped(model: Model, stiff: Array) -> Fit:
    """The fit when the girder may change its shape, each family by the size that the data tell."""
    at = next(i for i, b in enumerate(model.blocks) if b.kind == "shape")
    block = model.blocks[at]
    residual = model.change.value - model.design @ model.expected
    weighted = stiff @ block.design
    prior = family_sizes(model.basis, block.design.T @ weighted, weighted.T @ residual)
    blocks = (*model.blocks[:at], replace(block, prior=prior), *model.blocks[at + 1 :])
    weight = _widened(stiff, block.design, prior)
    return Fit(replace(model, blocks=blocks), stiff, weight, weight @ residual)


def family_sizes(basis: ShapeBasis, precision: Array, pull: Array) -> Array:
    """Standard deviation (k,) of every shape's coefficient: that of its family, by which the data are likeliest.

    precision (k, k), pull (k,)  normal equations of the coefficients without any prior

    s^2 <- sum b^2 / sum (1 - C_jj / s^2) over the family, C the covariance of b under the present sizes, held between what
    any girder does and the family's prior. Source: MacKay 1992 (from memory).
    """
    families = np.array(basis.families or [""] * len(basis.names))
    floor = np.where([u == "rad" for u in basis.units], LEAST_TWIST, LEAST_BEND)
    size = basis.prior.copy()
    members = [families == f for f in dict.fromkeys(families.tolist()) if f]
    for own in members:
        size[own] = np.sqrt(size[own] * floor[own])
    for _ in range(ROUNDS):
        before = size.copy()
        covariance = np.outer(size, size) * np.linalg.inv(np.eye(len(size)) + precision * np.outer(size, size))
        found = covariance @ pull
        for own in members:
            told = (1.0 - np.diag(covariance)[own] / size[own] ** 2).sum()
            new = float(np.sqrt((found[own] ** 2).sum() / max(told, 1e-9)))
            size[own] = np.clip(new, floor[own], basis.prior[own])
        if np.all(np.abs(size - before) <= SETTLED * before):
            break
    return size


def estimate(fit: Fit, functions: Array, labels: Sequence[Label], scope: str) -> Estimate:
    """Linear functions of the unknowns with their uncertainty by causes.

    functions  (q, p);  scope  part of the ids of causes that belong to this comparison alone, "clamp:<scope>" and so on
    """
    model, gain = fit.model, functions @ fit.gain
    missed = gain @ model.design - functions
    factors = {cause: Factor(gain @ f.jacobian, f.spread) for cause, f in model.change.causes.items()}
    for name, place, spread in priors_of(model, scope):
        factors[name] = Factor(missed[:, place], spread)
    return Estimate(functions @ fit.unknowns, tuple(labels), factors)


def priors_of(model: Model, scope: str) -> list[tuple[str, slice, Array]]:
    """Prior of each kind of unknown as a cause: id, place among the unknowns, spread."""
    found = []
    for cause, factor in model.change.ranges.items():
        found.append((cause, model.columns("range scale", cause), factor.spread))
    for kind in ("rigid", "stretch", "shape", "clamp", "riding", "moved"):
        place = model.columns(kind)
        if place.stop > place.start:
            found.append((f"{kind}:{scope}", place, np.diag(model.prior[place] ** 2)))
    return found
