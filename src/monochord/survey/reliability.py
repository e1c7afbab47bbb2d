"""What the readings say about each other: redundancy, standardised residuals, tests of whole sightings.

A mistake in one sighting pulls the adjustment towards itself; only a part of it, the redundancy
number, stays in the residual. BlockTests undo that. Rounds of one pair share a badly seated reflector or
a mixed-up name, so a pair is tested with all its rounds as well as round by round.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri

from monochord.ground.statistics import detectable_shift
from monochord.survey.adjust import Settings, Solution
from monochord.survey.network import Array, Flags, Groups, Ints, Network


def detectable(sigma: float, redundancy: float, *, level: float = 0.001, power: float = 0.8) -> float:
    """Smallest mistake of a reading that a test finds with the given power, in the unit of sigma; inf when unchecked.

    sigma delta / sqrt(r), delta = z(1 - level/2) + z(power)  (Baarda 1968)

    >>> round(detectable(10.0, 0.5), 3)
    58.437
    """
    if redundancy <= 0.0:
        return float("inf")
    return sigma * detectable_shift(level, power) / math.sqrt(redundancy)


def pair_cofactors(network: Network, solution: Solution) -> Array:
    """Cofactor (P, 3, 3) of the adjusted readings of every pair, the same in every datum."""
    s, t = network.pair_station, network.pair_target
    own = solution.stations.reshape(len(network.stations), 6, len(network.stations), 6)
    follow = solution.tie @ solution.stations  # (T, 3, 6S)
    point = solution.target + follow @ solution.tie.transpose(0, 2, 1)
    cross = -follow.reshape(len(follow), 3, -1, 6)[t, :, s, :]  # target with its station (P, 3, 6)
    a, b = solution.by_point, solution.by_station
    mixed = a @ cross @ b.transpose(0, 2, 1)
    total: Array = (
        a @ point[t] @ a.transpose(0, 2, 1)
        + mixed
        + mixed.transpose(0, 2, 1)
        + b @ own[s, :, s, :] @ b.transpose(0, 2, 1)
    )
    return total


def level_cofactors(solution: Solution) -> Array:
    """Cofactor (S, 2, 2) of the adjusted leans."""
    count = len(solution.by_turn)
    each = np.arange(count)
    turns = solution.stations.reshape(count, 6, count, 6)[each, 3:, each, 3:]
    leans: Array = solution.by_turn @ turns @ solution.by_turn.transpose(0, 2, 1)
    return leans


@dataclass(frozen=True, eq=False, slots=True)
class BlockTests:
    """Chi-square tests of alternatives, one row each.

    value      statistic;  freedom  its degrees of freedom (0: nothing checks it)
    error      (n, k) estimated mistake divided by the standard deviation of its reading
    checked    smallest part of an error that stays visible, over the readings of the alternative
    """

    value: Array
    freedom: Ints
    error: Array
    checked: Array


def block_tests(residual: Array, redundancy: Array, present: Flags, weak: float) -> BlockTests:
    """Test blocks of readings for mistakes of any direction: T = e' E^-1 e, mistake E^-1 e.

    residual    e (n, k), each divided by its standard deviation;  redundancy  E (n, k, k), covariance of e
    present     (n, k) which readings exist;  weak  eigenvalues of E below this count as unchecked

    >>> one = block_tests(np.array([[2.0]]), np.array([[[0.25]]]), np.array([[True]]), 1e-3)
    >>> one.value.tolist(), one.error.tolist()
    ([16.0], [[8.0]])
    """
    both = present[:, :, None] & present[:, None, :]
    values, vectors = np.linalg.eigh(np.where(both, redundancy, 0.0))
    seen = values > weak
    inverse = np.where(seen, 1.0 / np.where(seen, values, 1.0), 0.0)
    along = (vectors.transpose(0, 2, 1) @ np.where(present, residual, 0.0)[:, :, None])[:, :, 0]
    error = (vectors @ (inverse * along)[:, :, None])[:, :, 0]
    missing = (~present).sum(axis=1)
    # Readings that do not exist make eigenvalues of exactly zero, which stand first.
    lowest = values[np.arange(len(values)), np.minimum(missing, values.shape[1] - 1)]
    return BlockTests((inverse * along**2).sum(axis=1), seen.sum(axis=1), error, np.clip(lowest, 0.0, 1.0))


@dataclass(frozen=True, eq=False, slots=True)
class Reliability:
    """Redundancy and tests of one adjustment.

    redundancy   (m, 3) of every reading, NaN where none counts;  level_redundancy  (S, 2)
    pairs        tests of all rounds of a pair together (P rows);  rounds  of each sighting alone (m rows)
    single       (P, 3) statistic of one kind of reading alone, all rounds, one degree of freedom (0 when unchecked)
    levels       tests of the stations' levels (S rows)
    """

    redundancy: Array
    level_redundancy: Array
    pairs: BlockTests
    rounds: BlockTests
    single: Array
    levels: BlockTests


def critical_values(level: float) -> Array:
    """Chi-square critical values by degrees of freedom 0..3; nothing can exceed the first.

    >>> critical_values(0.05).round(3).tolist()
    [inf, 3.841, 5.991, 7.815]
    """
    return np.array([np.inf, *(float(chdtri(k, level)) for k in (1, 2, 3))])


def _standard(weight: Array, cofactor: Array) -> Array:
    root = np.sqrt(weight)
    covariance: Array = np.eye(weight.shape[1]) - root[:, :, None] * cofactor * root[:, None, :]
    return covariance


def judge(network: Network, solution: Solution, settings: Settings) -> Reliability:
    """Redundancy numbers and tests of every reading, round, pair and level that counts in an adjustment."""
    cofactor = pair_cofactors(network, solution)
    weight = solution.weights.readings
    pair_weight = solution.weights.pairs(network)
    pull = Groups(network.pair).sum(weight * solution.residual)
    residual = pull / np.sqrt(np.where(pair_weight > 0.0, pair_weight, 1.0))
    covariance = _standard(pair_weight, cofactor)
    pairs = block_tests(residual, covariance, pair_weight > 0.0, settings.weak)

    round_covariance = _standard(weight, cofactor[network.pair])
    rounds = block_tests(np.sqrt(weight) * solution.residual, round_covariance, weight > 0.0, settings.weak)
    own = np.diagonal(round_covariance, axis1=1, axis2=2)

    visible = np.diagonal(covariance, axis1=1, axis2=2)
    counts = (visible > settings.weak) & (pair_weight > 0.0)
    single = np.where(counts, residual**2 / np.where(counts, visible, 1.0), 0.0)

    level_weight = np.repeat(solution.weights.levels[:, None], 2, axis=1)
    level_covariance = _standard(level_weight, level_cofactors(solution))
    levels = block_tests(-np.sqrt(level_weight) * solution.lean, level_covariance, level_weight > 0.0, settings.weak)
    return Reliability(
        np.where(weight > 0.0, own, np.nan),
        np.where(level_weight > 0.0, np.diagonal(level_covariance, axis1=1, axis2=2), np.nan),
        pairs,
        rounds,
        single,
        levels,
    )


def predicted_tests(network: Network, solution: Solution, sigma: Array, whole: bool) -> BlockTests:
    """Test readings that do NOT count against what the others predict for them.

    T = d' (S + M)^-1 d with d read minus predicted, S = sigma^2, M the covariance of the prediction.
    sigma  (m, 3);  whole  True: the mean of all left-out rounds of a pair (P rows); False: each sighting (m rows)
    """
    cofactor = pair_cofactors(network, solution)
    out = np.isfinite(network.values) & (solution.weights.readings == 0.0)
    weight = np.where(out, 1.0 / sigma**2, 0.0)
    rows = network.pair
    if whole:
        groups = Groups(network.pair)
        total = groups.sum(weight)
        error = groups.sum(weight * solution.residual) / np.where(total > 0.0, total, 1.0)
        rows = np.arange(len(total))
    else:
        total, error = weight, solution.residual
    root = np.sqrt(total)
    # In units of sigma the prediction's error adds to the reading's own.
    spread = np.eye(3) + root[:, :, None] * cofactor[rows] * root[:, None, :]
    value = (root * error * np.linalg.solve(spread, (root * error)[:, :, None])[:, :, 0]).sum(axis=1)
    return BlockTests(value, (total > 0.0).sum(axis=1), root * error, np.ones(len(value)))
