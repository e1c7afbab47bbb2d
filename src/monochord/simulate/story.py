"""What happens to the virtual girder between its occasions: the faults that an evaluation has to find."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.simulate.scenario import OCCASIONS, Scenario
from monochord.simulate.survey import WrongSighting
from monochord.simulate.tunnel import vertical

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Story:
    """One girder's fate.

    slipped      the magnet that slipped in the ride, None when none did
    ride_moves   magnet -> (6,) own motion in the ride [m, rad], the slip included
    hanging      feet in the air on arrival;  sag  of the girder there [m];  gaps  under it, one a foot [m]
    bolt_scatter   heights of the bolts on arrival [m], one standard deviation
    wrong        the wrong sighting of the arrival survey, or None
    scales       occasion -> relative error of the range scale
    warmth       occasion -> (mean [degC], top minus bottom [K])
    line_up      how well the crew lined up the magnets [m];  aim  how well it knows the heights to turn to [m]
    """

    slipped: str | None
    ride_moves: Mapping[str, Array]
    hanging: tuple[str, ...]
    sag: float
    gaps: tuple[float, ...]
    bolt_scatter: float
    wrong: WrongSighting | None
    scales: Mapping[str, float]
    warmth: Mapping[str, tuple[float, float]]
    line_up: float = 6e-6
    aim: float = 4e-6


def draw_story(
    scenario: Scenario, rng: np.random.Generator, *, slip: bool = True, hang: bool = True, wrong: bool = True,
    scale: bool = True, bow: bool = True,
) -> Story:  # fmt: skip
    """A story with all faults, or without those that are switched off.

    slip   one magnet slips by 12 to 25 um and rolls;  hang  one inner pair of feet hangs in the air
    wrong  one target is off by 0.12 to 0.3 mm for one station;  scale  one survey's ranges are 6 to 15 um/m off
    bow    the girder's top is 0.1 to 0.25 K warmer on arrival

    >>> from monochord.simulate.scenario import demo_scenario
    >>> draw_story(demo_scenario(), np.random.default_rng(1), hang=False).hanging
    ()
    """
    names = [m.name for m in scenario.girder.magnets]
    moves = {n: np.concatenate([0.8e-6 * rng.normal(size=3), 1.5e-6 * rng.normal(size=3)]) for n in names}
    slipped = str(rng.choice(names))
    sign = rng.choice([-1.0, 1.0], size=2)
    jolt = np.array([sign[0] * rng.uniform(12e-6, 25e-6), -rng.uniform(0.0, 5e-6), 3e-6 * rng.normal(),
                     0.0, 0.0, sign[1] * rng.uniform(30e-6, 80e-6)])  # fmt: skip
    if slip:
        moves[slipped] = moves[slipped] + jolt
    hanging = _inner_pair(scenario, rng)
    gaps = tuple(float(g) for g in rng.uniform(40e-6, 160e-6, size=len(hanging)))
    sag = float(rng.uniform(8e-6, 25e-6))
    surveyed = [o for o, place in OCCASIONS.items() if o != "10-placed" and place != "truck"]
    scales = dict.fromkeys(surveyed, 0.0)
    off = float(rng.choice([-1.0, 1.0]) * rng.uniform(6e-6, 15e-6))
    unlucky = str(rng.choice(surveyed))
    if scale:
        scales[unlucky] = off
    warm = rng.uniform([0.0, 0.0, 0.2, 0.1], [0.1, 0.1, 0.6, 0.3])
    bows = rng.normal(size=4) * [0.01, 0.01, 0.0, 0.02]
    bows[2] = rng.uniform(0.10, 0.25) if bow else 0.0
    warmth = {
        o: (scenario.rest_temperature + float(t), float(b))
        for o, t, b in zip([o for o in OCCASIONS if OCCASIONS[o] != "truck"], warm, bows, strict=True)
    }
    mistake = _mistake(scenario, rng)
    return Story(
        slipped if slip else None, moves, hanging if hang else (), sag, gaps if hang else (), 90e-6,
        mistake if wrong else None, scales, warmth,
    )  # fmt: skip


def _inner_pair(scenario: Scenario, rng: np.random.Generator) -> tuple[str, ...]:
    feet = vertical(scenario.girder)
    pairs = sorted({b.point[2] for b in feet})
    inner = pairs[1:-1]
    if not inner:
        return ()
    z = float(rng.choice(inner))
    return tuple(b.name for b in feet if b.point[2] == z)


def _mistake(scenario: Scenario, rng: np.random.Generator) -> WrongSighting:
    station = str(rng.choice(list(scenario.rooms["tunnel"].stations)))
    target = str(rng.choice([t.name for t in scenario.girder.targets if t.carrier != "wall"]))
    away = rng.normal(size=3)
    away *= rng.uniform(0.12e-3, 0.30e-3) / np.linalg.norm(away)
    return WrongSighting(station, target, (float(away[0]), float(away[1]), float(away[2])))
