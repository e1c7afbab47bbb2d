"""How far clamps crept this time: one size of shifts and one of turns for all bodies, told by the data once slips are free.

What may have moved is searched for with the widest creep that is common, so that little is called moved in vain. For
the numbers that is too wide where clamps held better: every own move would be told with more doubt than there is.
The size s has every value between the least and the widest with equal chance on a logarithmic scale; the data weigh
them by their likelihood, and the mean of s^2 is taken. Source: MacKay 1992 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from monochord.survey.compare_fit import Fit, fit_model
from monochord.survey.compare_model import Model
from monochord.survey.compare_search import Moved
from monochord.survey.network import Array

#: Least creep of a clamp over the widest that is common: 0.5 um where that is 3 um; an argument, no source.
LEAST = 1.0 / 6.0
#: Sizes that are tried between the two, of shifts and of turns.
SIZES = 6
#: Parts of the prior of a creep: of its shift and of its turn.
Parts = tuple[float, float]
AS_TOLD: Parts = (1.0, 1.0)


def crept(moved: Moved, parts: Parts) -> Moved:
    """What moved, with the prior of every clamp's creep multiplied by ``parts``; what was found to have moved stays so."""
    return moved if parts == AS_TOLD else replace(moved, fit=with_creep(moved.fit, parts))


def creep_parts(fit: Fit) -> Parts:
    """Root mean square of the creep that the data tell, as parts of the fit's own prior of it: shift and turn, LEAST to 1."""
    tried = np.geomspace(LEAST, 1.0, SIZES)
    pairs = [(shift, turn) for shift in tried for turn in tried]
    likelihood = _log_likelihoods(fit, [_six(pair) for pair in pairs])
    weight = np.exp(likelihood - likelihood.max())
    shift, turn = np.sqrt(weight @ np.array(pairs) ** 2 / weight.sum()).tolist()
    return shift, turn


def _six(parts: Parts) -> Array:
    return np.repeat(np.array(parts), 3)


def _log_likelihoods(fit: Fit, tried: Sequence[Array]) -> Array:
    """Logarithm of the likelihood of the change, but for a constant, with the clamps' prior multiplied by each (6,) tried.

    With T0 the covariance without any creep, C the columns of a creep of one prior and S = diag(tried):
    2 ln p = (S q)' (I + S M S)^-1 (S q) - ln det(I + S M S), M = C' T0^-1 C, q = C' T0^-1 r.
    """
    model = fit.model
    place = model.columns("clamp")
    design, prior = model.design, model.prior
    creep = design[:, place] * prior[place]
    held = np.ones(len(prior), bool)
    held[place] = False
    rest = design[:, held] * prior[held]
    both = np.linalg.solve(model.noise + rest @ rest.T, np.column_stack([creep, fit.residual]))
    precision, pull = creep.T @ both[:, :-1], creep.T @ both[:, -1]
    found = []
    for six in tried:
        size = np.tile(six, len(pull) // 6)
        inner = np.eye(len(size)) + precision * np.outer(size, size)
        wanted = size * pull
        found.append(0.5 * (wanted @ np.linalg.solve(inner, wanted) - np.linalg.slogdet(inner)[1]))
    return np.array(found)


def with_creep(fit: Fit, parts: Parts) -> Fit:
    """The fit with the prior of every clamp's creep multiplied by ``parts``."""
    return fit_model(creeping(fit.model, parts))


def creeping(model: Model, parts: Parts) -> Model:
    """The model with the prior of every clamp's creep multiplied by ``parts``."""
    blocks = tuple(replace(b, prior=_six(parts) * b.prior) if b.kind == "clamp" else b for b in model.blocks)
    return replace(model, blocks=blocks)
