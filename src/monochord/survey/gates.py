"""What an adjustment says about itself, in plain words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import chdtri

from monochord.campaign.found.axes import Gate
from monochord.survey.adjust import Solution
from monochord.survey.blunders import Cleaned
from monochord.survey.model import KINDS
from monochord.survey.network import Flags, Groups
from monochord.survey.reliability import Reliability

#: Chance that a good survey fails its variance factor.
FACTOR_LEVEL = 0.01
#: A target of which some sighting keeps less of a mistake than this is not checked by the others.
CHECKED = 0.02
#: Kinds of reading with less redundancy than this say too little about their specification.
ENOUGH = 30.0
#: So many notes about names and readings are told one by one.
NOTES = 6


def factor_limits(dof: int, level: float = FACTOR_LEVEL) -> tuple[float, float]:
    """Limits of the variance factor of a good survey, two-sided: chi-square quantiles over dof.

    >>> low, high = factor_limits(10, 0.05)
    >>> round(low * 10, 3), round(high * 10, 3)
    (3.247, 20.483)
    """
    return float(chdtri(dof, 1.0 - level / 2.0)) / dof, float(chdtri(dof, level / 2.0)) / dof


def variance_gate(solution: Solution) -> Gate:
    """Whether the readings scatter as their specification says."""
    if solution.dof < 1:
        return Gate("variance factor", False, "nothing is measured more often than it must be: no check is possible")
    factor = solution.square_sum / solution.dof
    low, high = factor_limits(solution.dof)
    words = f"variance factor {factor:.3f} with {solution.dof} degrees of freedom ({low:.3f} to {high:.3f} is usual)"
    if factor > high:
        return Gate(
            "variance factor",
            False,
            f"{words}: readings scatter {np.sqrt(factor):.2f} times their specification; uncertainties were raised",
        )
    if factor < low:
        return Gate("variance factor", True, f"{words}: better than specified; uncertainties were left as they are")
    return Gate("variance factor", True, words)


def kind_factors(solution: Solution, reliability: Reliability) -> dict[str, tuple[float, float]]:
    """Variance factor and redundancy of each kind of reading, the level with them: kind -> (factor, redundancy)."""
    found = {}
    for k, kind in enumerate(KINDS):
        redundancy = float(np.nansum(reliability.redundancy[:, k]))
        squares = float((solution.weights.readings[:, k] * solution.residual[:, k] ** 2).sum())
        found[kind] = (squares / redundancy if redundancy > 0.5 else np.nan, redundancy)
    redundancy = float(np.nansum(reliability.level_redundancy))
    squares = float((solution.weights.levels[:, None] * solution.lean**2).sum())
    found["level"] = (squares / redundancy if redundancy > 0.5 else np.nan, redundancy)
    return found


def kind_gates(solution: Solution, reliability: Reliability) -> list[Gate]:
    """A gate for each kind of reading that scatters clearly more than specified."""
    gates = []
    for kind, (factor, redundancy) in kind_factors(solution, reliability).items():
        if redundancy >= ENOUGH and factor > float(chdtri(redundancy, FACTOR_LEVEL / 8.0)) / redundancy:
            words = f"each {kind} scatters {np.sqrt(factor):.2f} times its specification"
            gates.append(Gate(f"scatter of {kind}", False, words))
    return gates


def unchecked(cleaned: Cleaned) -> Flags:
    """Targets (T,) of which a mistake in some sighting would stay unseen: one station only, or weak geometry."""
    network = cleaned.survey.network
    counts = cleaned.solution.weights.pairs(network).max(axis=1) > 0.0
    blind = counts & (cleaned.reliability.pairs.checked < CHECKED)
    found = np.zeros(len(network.targets), np.bool_)
    found[network.pair_target[blind]] = True
    return found


def checked_gate(names: Sequence[str], blind: Flags, carried: Flags) -> Gate:
    """Whether every target on the girder is checked by a second station."""
    on_girder = [name for name, bad, own in zip(names, blind, carried, strict=True) if bad and own]
    walls = [name for name, bad, own in zip(names, blind, carried, strict=True) if bad and not own]
    if on_girder:
        words = f"not checked by a second station: {', '.join(on_girder)}; sight them from another station"
        return Gate("checked targets", False, words)
    tail = f" (monuments not checked: {', '.join(walls)})" if walls else ""
    return Gate("checked targets", True, f"every target of the girder is checked by a second station{tail}")


def rejected_gate(cleaned: Cleaned) -> Gate:
    """How many pairs were left out, and whether one station has most of them."""
    network = cleaned.survey.network
    gone = Groups(network.pair).sum(cleaned.survey.out.any(axis=1).astype(float)) > 0.0
    count = int(gone.sum())
    if cleaned.exhausted:
        by_station = np.bincount(network.pair_station[gone], minlength=len(network.stations))
        worst = network.stations[int(np.argmax(by_station))]
        words = (
            f"{count} of {len(gone)} sightings contradict the others and the search was stopped; station {worst} "
            f"has most of them: it may have moved during the survey, or its names may be mixed up"
        )
        return Gate("wrong sightings", False, words)
    if count == 0:
        return Gate("wrong sightings", True, "no sighting contradicts the others")
    words = "sighting" if count == 1 else "sightings"
    return Gate("wrong sightings", True, f"{count} {words} contradicted the others and did not count")


def noise_gate(noise: float) -> list[Gate]:
    """A gate when the search for mistakes had to allow for more noise than specified."""
    if noise == 1.0:
        return []
    words = f"sightings scatter {np.sqrt(noise):.2f} times their specification; mistakes were judged against that"
    return [Gate("specification", False, words)]


def notes_gate(notes: Sequence[str]) -> list[Gate]:
    """What was done to names and readings on the way in."""
    if not notes:
        return []
    rest = f"; and {len(notes) - NOTES} more" if len(notes) > NOTES else ""
    return [Gate("names and readings", True, "; ".join(notes[:NOTES]) + rest)]
