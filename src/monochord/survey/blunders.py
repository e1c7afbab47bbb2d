"""The search for wrong sightings: one at a time, the worst first, and a second hearing at the end.

Before the first test the start has set aside what is grossly out of place. Then every pair, round
and level is tested at a level that a whole survey keeps together; the worst is left out and all is
adjusted anew. When nothing more is significant, everything that was left out is held against what
the others now predict, and comes back if it fits.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.special import chdtri

from monochord.campaign.given.survey import Instrument
from monochord.ground.faults import Undetermined
from monochord.ground.statistics import family_wise
from monochord.survey.adjust import Settings, Solution, State, Weights, solve, weigh
from monochord.survey.network import Array, Flags, Groups, Ints, Network
from monochord.survey.reliability import Reliability, critical_values, judge, predicted_tests

#: Two explanations whose statistics differ by less than this cannot be told apart (likelihood ratio e^5).
MARGIN = 10.0
#: A specification is called too good only when typical residuals exceed it by this over the root of their number.
ROBUST = 5.0
#: No more than this part of all pairs is left out; beyond it the survey contradicts itself.
MOST = 0.2


@dataclass(frozen=True, eq=False, slots=True)
class Survey:
    """A survey while it is searched.

    out         (m, 3) readings that do not count;  level_out  (S,) levels that do not count
    lost        station or target -> why it is not determined;  heard  pairs that came back once
    """

    network: Network
    state: State
    out: Flags
    level_out: Flags
    lost: dict[str, str] = field(default_factory=dict)
    heard: frozenset[tuple[int, int]] = frozenset()

    def keeping(self, pairs: Flags, lost: dict[str, str]) -> Survey:
        """The survey of these pairs; what goes with the others is told in ``lost``."""
        network = self.network.keeping(pairs)
        rows = pairs[self.network.pair]
        stations = [self.network.stations.index(name) for name in network.stations]
        targets = [self.network.targets.index(name) for name in network.targets]
        state = State(self.state.position[stations], self.state.rotation[stations], self.state.points[targets])
        return Survey(network, state, self.out[rows], self.level_out[stations], {**self.lost, **lost})

    def without(self, names: tuple[str, ...], why: str) -> Survey:
        """The survey without these stations or targets."""
        stations = np.isin(self.network.stations, names)[self.network.pair_station]
        targets = np.isin(self.network.targets, names)[self.network.pair_target]
        smaller = self.keeping(~(stations | targets), dict.fromkeys(names, why))
        gone = set(self.network.targets) - set(smaller.network.targets) - set(names)
        others = dict.fromkeys(gone, f"it was sighted only from {', '.join(names)}, which is left out: {why}")
        return replace(smaller, lost={**smaller.lost, **others})


@dataclass(frozen=True, eq=False, slots=True)
class Cleaned:
    """The end of the search: the survey, its adjustment and tests.

    sigma      (m, 3) standard deviations of all readings, of those left out too
    limit      critical values by degrees of freedom at the level of one test, in units of the noise found
    noise      typical square of a standardised residual where it exceeds the specification, else 1
    exhausted  True when so much would have to be left out that the search was stopped
    """

    survey: Survey
    solution: Solution
    reliability: Reliability
    sigma: Array
    limit: Array
    noise: float
    exhausted: bool


def _solved(survey: Survey, instrument: Instrument, settings: Settings) -> tuple[Survey, Solution, Array]:
    """Adjust; whatever turns out not to be determined is left out with its reason until the rest is."""
    while True:
        network = survey.network
        sigma, level_sigma = weigh(network, instrument, survey.state)
        counts = np.isfinite(network.values) & ~survey.out
        used = Groups(network.pair).sum(counts.astype(float)).sum(axis=1) > 0.0
        tied = np.zeros(len(network.targets), np.bool_)
        tied[network.pair_target[used]] = True
        standing = np.zeros(len(network.stations), np.bool_)
        standing[network.pair_station[used]] = True
        loose = [n for n, ok in zip((*network.targets, *network.stations), (*tied, *standing), strict=True) if not ok]
        if not used.any():
            raise Undetermined(network.targets, "no reading is left")
        if loose:
            survey = survey.without(tuple(loose), "none of its readings could be used")
            continue
        level_weight = np.where(survey.level_out, 0.0, 1.0 / level_sigma**2)
        weights = Weights(np.where(counts, 1.0 / sigma**2, 0.0), level_weight, survey.state)
        try:
            solution = solve(network, weights, survey.state, settings)
        except Undetermined as loss:
            if len(loss.unknowns) >= len(network.stations) + len(network.targets) - 1 or len(network.stations) == 1:
                raise
            survey = survey.without(loss.unknowns, loss.why)
            continue
        return replace(survey, state=solution.state), solution, sigma


def _noise(reliability: Reliability) -> float:
    """Typical square of a standardised residual against its expectation; 1 unless clearly larger."""
    tested = reliability.pairs.freedom > 0
    count = int(tested.sum())
    if count < 10:
        return 1.0
    medians = np.array([1.0, *(float(chdtri(k, 0.5)) for k in (1, 2, 3))])
    typical = float(np.median(reliability.pairs.value[tested] / medians[reliability.pairs.freedom[tested]]))
    return typical if typical > 1.0 + ROBUST / np.sqrt(count) else 1.0


def _limits(network: Network, reliability: Reliability, settings: Settings, noise: float) -> Array:
    several = np.bincount(network.pair) > 1
    tests = int((reliability.pairs.freedom > 0).sum() + several[network.pair].sum())
    tests += int((reliability.levels.freedom > 0).sum())
    return noise * critical_values(family_wise(settings.family_level, max(tests, 1)))


def _explained(reliability: Reliability, rivals: Ints, best: float) -> int | None:
    """Of several pairs that explain a mistake equally well, the one that needs a single reading to do so."""
    alone = reliability.single[rivals].max(axis=1)
    order = np.argsort(-alone)
    clear = len(order) == 1 or alone[order[0]] - alone[order[1]] > MARGIN
    enough = best - alone[order[0]] <= float(chdtri(2, 0.01))
    return int(rivals[order[0]]) if clear and enough else None


def _leave_pair(survey: Survey, reliability: Reliability, pair: int) -> Survey:
    """Leave out one pair; or the whole target when it has only two and nothing tells which is wrong."""
    network = survey.network
    target = network.pair_target[pair]
    value = reliability.pairs.value
    # With three sightings a wrong choice shows itself: the two that are left contradict each other.
    same = np.flatnonzero((network.pair_target == target) & (reliability.pairs.freedom > 0))
    if len(same) == 2 and value[same].min() > value[pair] - MARGIN:
        chosen = _explained(reliability, same, float(value[pair]))
        if chosen is None:
            names = " and ".join(network.stations[network.pair_station[p]] for p in same)
            why = f"the sightings from {names} contradict each other and nothing tells which is wrong"
            return survey.without((network.targets[target],), why)
        pair = chosen
    return replace(survey, out=survey.out | (network.pair == pair)[:, None])


def _worst_left_out(survey: Survey, solution: Solution, reliability: Reliability, limit: Array) -> Survey | None:
    """The survey without its worst significant sighting or level; None when nothing is significant."""
    counting = solution.weights.readings.max(axis=1) > 0.0
    several = np.bincount(survey.network.pair, weights=counting) > 1.0
    pairs = reliability.pairs.value / limit[reliability.pairs.freedom]
    rounds = reliability.rounds.value / limit[reliability.rounds.freedom]
    rounds = np.where(several[survey.network.pair], rounds, 0.0)
    levels = reliability.levels.value / limit[reliability.levels.freedom]
    worst = max(float(pairs.max()), float(rounds.max()), float(levels.max()))
    if worst <= 1.0:
        return None
    if worst == pairs.max():
        return _leave_pair(survey, reliability, int(np.argmax(pairs)))
    if worst == rounds.max():
        row = np.arange(len(rounds)) == np.argmax(rounds)
        return replace(survey, out=survey.out | row[:, None])
    return replace(survey, level_out=survey.level_out | (np.arange(len(levels)) == np.argmax(levels)))


def _torn(network: Network, sigma: Array, limit: Array) -> Flags:
    """Pairs (P,) whose rounds disagree among themselves."""
    weight = np.where(np.isfinite(network.values), 1.0 / sigma**2, 0.0)
    groups = Groups(network.pair)
    first = np.searchsorted(network.pair, np.arange(network.sizes[2]))
    offset = network.values - network.values[first][network.pair]
    offset[:, 0] = (offset[:, 0] + np.pi) % (2.0 * np.pi) - np.pi
    offset = np.where(np.isfinite(offset), offset, 0.0)
    total = groups.sum(weight)
    mean = groups.sum(weight * offset) / np.where(total > 0.0, total, 1.0)
    spread: Array = groups.sum(weight * (offset - mean[network.pair]) ** 2).max(axis=1)
    torn: Flags = spread > limit[3]
    return torn


def _heard_again(survey: Survey, solution: Solution, sigma: Array, limit: Array) -> Survey | None:
    """The survey with the best-fitting left-out pair back in; None when none fits (or fitted once before)."""
    network = survey.network
    whole = predicted_tests(network, solution, sigma, whole=True)
    every = Groups(network.pair).sum((survey.out & np.isfinite(network.values)).astype(float)).sum(axis=1)
    names = list(zip(network.pair_station.tolist(), network.pair_target.tolist(), strict=True))
    fits = (every > 0.0) & (whole.freedom > 0) & (whole.value <= limit[whole.freedom])
    for pair in np.flatnonzero(fits)[np.argsort(whole.value[fits])]:
        if names[pair] not in survey.heard:
            rows = (network.pair == pair)[:, None]
            return replace(survey, out=survey.out & ~rows, heard=survey.heard | {names[pair]})
    single = predicted_tests(network, solution, sigma, whole=False)
    torn = _torn(network, sigma, limit)[network.pair]
    good = survey.out.any(axis=1) & torn & (single.freedom > 0) & (single.value <= limit[single.freedom])
    for row in np.flatnonzero(good)[np.argsort(single.value[good])]:
        key = (-1, int(row))
        if key not in survey.heard:
            rows = (np.arange(len(good)) == row)[:, None]
            return replace(survey, out=survey.out & ~rows, heard=survey.heard | {key})
    return None


def _contradicted(survey: Survey) -> Survey | None:
    """The survey without a target of which more was left out than counts; None when there is none."""
    network = survey.network
    counts = (np.isfinite(network.values) & ~survey.out).any(axis=1)
    in_pairs = np.bincount(network.pair, weights=counts) > 0.0
    kept = np.bincount(network.pair_target, weights=in_pairs, minlength=len(network.targets))
    gone = np.bincount(network.pair_target, weights=~in_pairs, minlength=len(network.targets))
    bad = (gone >= 2) & (kept < 2)
    if not bad.any():
        return None
    names = tuple(name for name, flag in zip(network.targets, bad, strict=True) if flag)
    return survey.without(names, "its sightings contradict each other; too few are left to trust one")


def disagreement(survey: Survey, instrument: Instrument, settings: Settings) -> float:
    """Variance factor of a survey as it is, nothing left out; infinity when it does not adjust."""
    try:
        _, solution, _ = _solved(survey, instrument, settings)
    except Undetermined:
        return float("inf")
    return solution.square_sum / solution.dof if solution.dof > 0 else float("inf")


def clean(survey: Survey, instrument: Instrument, settings: Settings) -> Cleaned:
    """Adjust a survey and leave out what is wrong in it, at a family-wise level over all its tests.

    Raises Undetermined when the readings do not determine a network at all.
    """
    most = max(3, int(MOST * survey.network.sizes[2]))
    exhausted = False
    while True:
        survey, solution, sigma = _solved(survey, instrument, settings)
        reliability = judge(survey.network, solution, settings)
        noise = _noise(reliability)
        limit = _limits(survey.network, reliability, settings, noise)
        left_out = Groups(survey.network.pair).sum(survey.out.any(axis=1).astype(float)) > 0.0
        exhausted = int(left_out.sum()) > most
        following = None if exhausted else _worst_left_out(survey, solution, reliability, limit)
        if following is None:
            following = _heard_again(survey, solution, sigma, limit) or _contradicted(survey)
        if following is None:
            return Cleaned(survey, solution, reliability, sigma, limit, noise, exhausted)
        survey = following
