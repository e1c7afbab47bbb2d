"""Readings after the adjustment, and the wrong ones with their sizes, as records for people."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import chdtri

from monochord.campaign.found.points import Rejected, Residual, StationFit
from monochord.campaign.given.survey import Sighting
from monochord.ground.frames import Rigid
from monochord.survey.adjust import State
from monochord.survey.blunders import Cleaned
from monochord.survey.model import KINDS, UNITS
from monochord.survey.network import Array, Flags, Ints, Network
from monochord.survey.reliability import pair_cofactors

#: How a size is written for people: factor and unit, per kind of reading.
_PRINTED = ((1e6, "urad"), (1e6, "urad"), (1e6, "um"))


def residuals(cleaned: Cleaned) -> tuple[Residual, ...]:
    """Every reading that counts, and the two leans of every levelled station (kind "level", no target)."""
    network, solution, reliability = cleaned.survey.network, cleaned.solution, cleaned.reliability
    found = []
    redundancy = np.clip(reliability.redundancy, 0.0, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        standard = solution.residual / (cleaned.sigma * np.sqrt(redundancy))
    for row, sighting in enumerate(network.sightings):
        for k, kind in enumerate(KINDS):
            part = float(redundancy[row, k])
            if np.isfinite(part):
                found.append(
                    Residual(
                        sighting.station,
                        sighting.target,
                        kind,
                        sighting.round,
                        float(solution.residual[row, k]),
                        float(cleaned.sigma[row, k]),
                        part,
                        float(standard[row, k]) if part > 1e-6 else None,
                    )
                )
    return (*found, *_levels(cleaned))


def _levels(cleaned: Cleaned) -> list[Residual]:
    found = []
    for s, station in enumerate(cleaned.survey.network.stations):
        weight = float(cleaned.solution.weights.levels[s])
        for axis in (0, 1):
            if weight > 0.0:
                part = float(np.clip(cleaned.reliability.level_redundancy[s, axis], 0.0, 1.0))
                error, sigma = -float(cleaned.solution.lean[s, axis]), weight**-0.5
                standard = error / (sigma * part**0.5) if part > 1e-6 else None
                found.append(Residual(station, "", "level", 0, error, sigma, part, standard))
    return found


def _lines(sightings: Sequence[Sighting]) -> str:
    files = {s.file for s in sightings if s.file}
    if not files:
        return ""
    lines = ", ".join(str(s.line) for s in sightings)
    return f" ({', '.join(sorted(files))}, line{'s' if len(sightings) > 1 else ''} {lines})"


def _named(error: Array, covariance: Array, noise: float) -> int | None:
    """Which single reading explains an error (k,) with this covariance, or None when it takes more than one."""
    weight = np.linalg.inv(covariance)
    alone = (weight @ error) ** 2 / np.diag(weight)
    rest = float(error @ weight @ error) - float(alone.max())
    return int(np.argmax(alone)) if rest <= noise * float(chdtri(max(len(error) - 1, 1), 0.01)) else None


def _words(error: Array, kinds: Sequence[int]) -> str:
    printed = [(KINDS[k], value * _PRINTED[k][0], _PRINTED[k][1]) for k, value in zip(kinds, error, strict=True)]
    return ", ".join(f"{kind} {value:+.1f} {unit}" for kind, value, unit in printed)


def _one(cleaned: Cleaned, rows: Ints, error: Array, covariance: Array, *, whole: bool) -> Rejected:
    """The record of one left-out pair.

    rows        of its sightings;  error  (3,) their mean read minus expected, NaN where nothing was read
    covariance  (3, 3) of that error;  whole  whether all its rounds are out
    """
    sightings = [cleaned.survey.network.sightings[int(row)] for row in rows]
    kinds = np.flatnonzero(np.isfinite(error))
    covariance = covariance[np.ix_(kinds, kinds)]
    single = _named(error[kinds], covariance, cleaned.noise)
    value = float(error[kinds] @ np.linalg.solve(covariance, error[kinds]))
    rounds = "" if whole else f", in round {sightings[0].round} only"
    reason = (
        f"read minus what the other sightings expect: {_words(error[kinds], kinds.tolist())}{rounds}; "
        f"test value {value:.1f}, limit {cleaned.limit[len(kinds)]:.1f}{_lines(sightings)}"
    )
    if single is not None:
        k = int(kinds[single])
        return Rejected(sightings[0].station, sightings[0].target, KINDS[k], float(error[k]), UNITS[k], reason)
    far = np.array([row.distance or np.nan for row in sightings])
    reach = float(np.nanmean(far)) if np.isfinite(far).any() else 1.0
    zenith = sightings[0].zenith or np.pi / 2
    lever = np.array([reach * abs(np.sin(zenith)), reach, 1.0])[kinds]
    size = float(np.sqrt(((lever * error[kinds]) ** 2).sum()))
    return Rejected(sightings[0].station, sightings[0].target, "whole sighting", size, "m", reason)


def left_out_pairs(network: Network, out: Flags) -> list[tuple[int, Ints, bool]]:
    """Left-out pairs: number, rows, and whether all rounds of it are out."""
    rows = np.flatnonzero(out.any(axis=1))
    pairs = np.unique(network.pair[rows])
    return [
        (int(p), rows[network.pair[rows] == p], bool((network.pair[rows] == p).sum() == (network.pair == p).sum()))
        for p in pairs
    ]


def rejected(cleaned: Cleaned) -> tuple[Rejected, ...]:
    """Every sighting and level that was left out, with the size of its error and the reason."""
    network, solution = cleaned.survey.network, cleaned.solution
    cofactors = pair_cofactors(network, solution)
    found = []
    for pair, rows, whole in left_out_pairs(network, cleaned.survey.out):
        read = np.isfinite(network.values[rows])
        count = np.maximum(read.sum(axis=0), 1)
        error = np.where(read.any(axis=0), np.where(read, solution.residual[rows], 0.0).sum(axis=0) / count, np.nan)
        sigma = cleaned.sigma[rows[0]] / np.sqrt(count)
        found.append(_one(cleaned, rows, error, cofactors[pair] + np.diag(sigma**2), whole=whole))
    for s in np.flatnonzero(cleaned.survey.level_out):
        lean = float(np.sqrt((solution.lean[s] ** 2).sum()))
        words = f"the station leans {lean * 1e6:.1f} urad from what the others expect; its level did not count"
        found.append(Rejected(network.stations[int(s)], "", "level", lean, "rad", words))
    return tuple(found)


def station_fits(cleaned: Cleaned, state: State, frame: str) -> tuple[StationFit, ...]:
    """Where every instrument stood in the survey frame, and how many of its sightings count."""
    network = cleaned.survey.network
    counts = (cleaned.solution.weights.readings > 0.0).any(axis=1)
    sightings = np.bincount(network.pair_station[network.pair], weights=counts, minlength=len(network.stations))
    return tuple(
        StationFit(name, Rigid(name, frame, _orthonormal(state.rotation[s]), state.position[s]), int(sightings[s]))
        for s, name in enumerate(network.stations)
    )


def _orthonormal(rotation: Array) -> Array:
    u, _, vt = np.linalg.svd(rotation)
    clean: Array = u @ vt
    return clean
