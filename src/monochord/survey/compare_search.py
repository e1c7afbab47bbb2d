"""What really moved by itself: each body, each target and the range scale, tested as one family, and pairs where need be.

One hypothesis adds columns C to the model. With u = C' T^-1 r and S = C' T^-1 C its likelihood ratio is u' S^+ u,
chi-square with the rank of S when nothing moved. Which of several sufficient explanations is the best is read from
their evidence, 2 ln p(y | moved) / p(y | not) = u' (S + W^-1)^-1 u - ln det(I + W S), W how far a thing goes once it goes.
Sources: Neyman and Pearson 1933, Sidak 1967 for the family, Kass and Raftery 1995 for evidence (all from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import chdtrc, chdtri

from monochord.ground.statistics import family_wise
from monochord.survey.compare_fit import Fit
from monochord.survey.compare_model import Block, target_columns
from monochord.survey.network import Array, Ints

#: How far a thing goes once it goes, one standard deviation: a body [m, rad], a target [m], a range scale; arguments, no source.
GONE_SHIFT = 20e-6
GONE_TURN = 60e-6
GONE_TARGET = 50e-6
GONE_SCALE = 10e-6
#: What is said to have moved is free to have gone this many times as far.
FREEDOM = 10.0
#: The parts of an own move in which a magnet slips on its supports: across the beam, and roll.
SLIP = (0, 1, 5)
#: Explanations whose evidence differs by less than this (odds of 20 to 1) are not told apart.
TOLD_APART = 2.0 * float(np.log(20.0))
#: Two explanations speak of the same data when one takes away more than this part of what the other explains.
SAME_DATA = 0.5
#: A rest that chance gives less often than this calls for pairs of hypotheses.
UNEXPLAINED = 0.01
#: Weakest direction of a hypothesis that counts, in units of how far the thing goes.
_WEAKEST = 1e-3


@dataclass(frozen=True, eq=False, slots=True)
class Hypothesis:
    """Something that may have moved.

    kind  "slip" (a body across the beam, and its roll), "body" (in all six), "target" or "range scale";  name  of the thing
    block  its unknowns;  parts  which of the six (or three) of the thing they are
    """

    kind: str
    name: str
    block: Block
    parts: tuple[int, ...]

    @property
    def freed(self) -> Block:
        """The block when it is said to have moved."""
        return replace(self.block, prior=FREEDOM * self.block.prior)


@dataclass(frozen=True, eq=False, slots=True)
class Family:
    """All hypotheses, their columns side by side, and critical values by rank at the level of the whole family.

    columns  (N, q), each in units of how far its thing goes;  starts  where each hypothesis begins among them
    """

    members: tuple[Hypothesis, ...]
    columns: Array
    starts: Ints
    limits: Array

    def of(self, k: int) -> slice:
        """Columns of the k-th hypothesis."""
        return slice(int(self.starts[k]), int(self.starts[k + 1]))


@dataclass(frozen=True, eq=False, slots=True)
class Scores:
    """Tests of a whole family against one fit: likelihood ratio over its critical value, and evidence, of each member."""

    ratio: Array
    evidence: Array


@dataclass(frozen=True, eq=False, slots=True)
class Moved:
    """What moved.

    fit        with everything freed that moved, or that cannot be told from it;  freed  all of that
    certain    hypotheses that moved;  rivals  hypotheses that cannot be told apart -> names of the others
    dof, probability   of what is left: degrees of freedom, and how often chance leaves as much or more
    """

    fit: Fit
    freed: tuple[Hypothesis, ...]
    certain: tuple[Hypothesis, ...]
    rivals: dict[str, tuple[str, ...]]
    dof: float
    probability: float


def family_of(fit: Fit, level: float) -> Family:
    """Every body (slipped, and free in all six), every target, and the range scale; level  chance to find any in vain."""
    model = fit.model
    change = model.change
    members: list[Hypothesis] = []
    clamps = {b.name: b.design for b in model.blocks if b.kind == "clamp"}
    for name, columns in clamps.items():
        for kind, parts in (("slip", SLIP), ("body", tuple(range(6)))):
            size = np.array([GONE_SHIFT] * 3 + [GONE_TURN] * 3)[list(parts)]
            members.append(_hypothesis(kind, name, columns[:, list(parts)], size, parts))
    three = np.full(3, GONE_TARGET)
    for k, name in enumerate(change.names):
        members.append(_hypothesis("target", name, target_columns(change, k), three, (0, 1, 2)))
    stretch = next(b.design for b in model.blocks if b.kind == "stretch")
    ranges = [f.jacobian for f in change.ranges.values()]
    members.append(
        _hypothesis("range scale", "range scale", ranges[0] if ranges else stretch, np.array([GONE_SCALE]), (0,))
    )
    each = family_wise(level, len(members))
    limits = np.array([np.inf, *(float(chdtri(k, each)) for k in range(1, 7))])
    starts = np.concatenate([[0], np.cumsum([len(h.parts) for h in members])]).astype(np.int64)
    return Family(tuple(members), np.hstack([h.block.design * h.block.prior for h in members]), starts, limits)


def _hypothesis(kind: str, name: str, design: Array, size: Array, parts: tuple[int, ...]) -> Hypothesis:
    return Hypothesis(kind, name, Block(f"{kind} {name}", "moved", design, np.zeros(len(size)), size), parts)


def judged(precision: Array, pull: Array) -> tuple[Array, Ints, Array]:
    """Likelihood ratio, its rank, and evidence of hypotheses of one size, in units of how far their things go.

    precision (n, k, k) S;  pull (n, k) u

    >>> drop, rank, told = judged(np.array([[[3.0]]]), np.array([[6.0]]))
    >>> float(drop[0]), int(rank[0]), round(float(told[0]), 4)  # 9 - ln 4
    (12.0, 1, 7.6137)
    """
    values, vectors = np.linalg.eigh(precision)
    values = np.maximum(values, 0.0)
    along = (np.swapaxes(vectors, 1, 2) @ pull[:, :, None])[:, :, 0] ** 2
    kept = values > _WEAKEST
    drop = np.where(kept, along / np.where(kept, values, 1.0), 0.0).sum(axis=1)
    told = (along / (1.0 + values) - np.log1p(values)).sum(axis=1)
    return drop, kept.sum(axis=1), told


def scores_of(fit: Fit, family: Family) -> Scores:
    """Every hypothesis tested against a fit."""
    weighted = fit.weight @ family.columns
    precision, pull = family.columns.T @ weighted, family.columns.T @ fit.pull
    ratio, told = np.zeros((2, len(family.members)))
    sizes = np.diff(family.starts)
    for size in np.unique(sizes):
        chosen = np.flatnonzero(sizes == size)
        at = family.starts[chosen][:, None] + np.arange(size)
        drop, rank, told[chosen] = judged(precision[at[:, :, None], at[:, None, :]], pull[at])
        ratio[chosen] = drop / family.limits[rank]
    return Scores(ratio, told)


def search(start: Fit, level: float = 0.05) -> Moved:
    """Find what moved, best explanation first, each step tested against the family; then what cannot be told from it."""
    family = family_of(start, level)
    chosen: list[int] = []
    fit = start
    while len(chosen) < len(family.members):
        more = _best(fit, family, chosen) or _best_pair(fit, family, chosen, level)
        if not more:
            break
        chosen = _still_needed(start, family, [*chosen, *more])
        fit = freed(start, family, chosen)
        if not set(more) <= set(chosen):
            break
    return _told(start, family, chosen)


def freed(start: Fit, family: Family, chosen: Sequence[int]) -> Fit:
    """The fit when some members of the family are free."""
    return start.freeing(*(family.members[k].freed for k in chosen))


def _best(fit: Fit, family: Family, chosen: Sequence[int]) -> list[int]:
    scores = scores_of(fit, family)
    significant = [k for k in np.flatnonzero(scores.ratio > 1.0).tolist() if k not in chosen]
    return [max(significant, key=lambda k: float(scores.evidence[k]))] if significant else []


def _best_pair(fit: Fit, family: Family, chosen: Sequence[int], level: float) -> list[int]:
    """Two things that together explain what neither does alone; sought only when something is left to explain."""
    if left_over(fit)[1] > UNEXPLAINED:
        return []
    single = [k for k, h in enumerate(family.members) if h.kind in ("slip", "target") and k not in chosen]
    first, second = np.triu_indices(len(single), 1)
    at = np.array([np.arange(family.starts[k], family.starts[k] + 3) for k in single])
    both = np.hstack([at[first], at[second]])
    precision = family.columns.T @ (fit.weight @ family.columns)
    drop, rank, told = judged(precision[both[:, :, None], both[:, None, :]], (family.columns.T @ fit.pull)[both])
    limits = np.array([np.inf, *(float(chdtri(k, family_wise(level, len(both)))) for k in range(1, 7))])
    told = np.where(drop > limits[rank], told, -np.inf)
    best = int(np.argmax(told))
    return [single[int(first[best])], single[int(second[best])]] if np.isfinite(told[best]) else []


def _still_needed(start: Fit, family: Family, chosen: Sequence[int]) -> list[int]:
    """What of the chosen is still significant beside all the others; the weakest goes first."""
    kept = list(chosen)
    while len(kept) > 1:
        ratios = [float(scores_of(freed(start, family, [o for o in kept if o != k]), family).ratio[k]) for k in kept]
        if min(ratios) > 1.0:
            break
        del kept[int(np.argmin(ratios))]
    return kept


def left_over(fit: Fit) -> tuple[float, float]:
    """Degrees of freedom of what is left when rigid motion, shape and moved things are free, and its chi-square probability."""
    model = fit.model
    places = [place for kind in ("rigid", "shape", "moved") if (place := model.columns(kind)).stop > place.start]
    design = np.hstack([model.design[:, place] for place in places])
    prior = np.concatenate([model.prior[place] for place in places])
    used = float((prior**2 * (design * (fit.weight @ design)).sum(axis=0)).sum())
    dof = max(len(model.change.value) - used, 1.0)
    return dof, float(chdtrc(dof, fit.square_sum))


def _told(start: Fit, family: Family, chosen: Sequence[int]) -> Moved:
    """Sort what was chosen into certain and not told apart; rivals are freed as well, so that the uncertainty says so."""
    members = family.members
    rivals: dict[str, list[str]] = {}
    more: list[int] = []
    for k in chosen:
        without = freed(start, family, [o for o in chosen if o != k])
        scores = scores_of(without, family)
        near = np.flatnonzero(scores.evidence > max(scores.evidence[k] - TOLD_APART, 0.0)).tolist()
        for o in near:
            if o in chosen or members[o].name == members[k].name:
                continue
            left = float(scores_of(without.freeing(members[o].freed), family).ratio[k])
            if left > min(1.0, SAME_DATA * scores.ratio[k]):
                continue  # the other leaves something that only this one explains, or explains something else
            more += [] if o in more else [o]
            rivals.setdefault(members[k].name, []).append(members[o].name)
            rivals.setdefault(members[o].name, []).append(members[k].name)
    free = [*chosen, *more]
    fit = freed(start, family, free)
    dof, probability = left_over(fit)
    certain = tuple(members[k] for k in chosen if members[k].name not in rivals)
    named = {name: tuple(dict.fromkeys(others)) for name, others in rivals.items()}
    return Moved(fit, tuple(members[k] for k in free), certain, named, dof, probability)
