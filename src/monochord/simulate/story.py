"""What happens to the virtual girder between its occasions: the faults that an evaluation has to find."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from monochord.simulate.crew import Hands
from monochord.simulate.scenario import OCCASIONS, Scenario
from monochord.simulate.survey import WrongSighting

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Story:
    """One girder's fate.

    slipped      the magnet that slipped in the ride, None when none did
    ride_moves   magnet -> (6,) own motion in the ride [m, rad], the slip included
    bench_level, bolt_scatter   heights of the bolts on the bench and on arrival [m], one standard deviation
    wrong        the wrong sighting of the arrival survey, or None
    scales       occasion -> relative error of the range scale
    warmth       occasion -> (mean [degC], top minus bottom [K])
    settling     magnet -> (6,) further creep in its clamps while the girder is settled [m, rad]
    line_up      how well the crew lined up the magnets [m];  hands  how well it works at the bolts
    planted      magnet -> (x, y) [m] by which the crew left it off the line on purpose
    """

    slipped: str | None
    ride_moves: Mapping[str, Array]
    settling: Mapping[str, Array]
    bolt_scatter: float
    wrong: WrongSighting | None
    scales: Mapping[str, float]
    warmth: Mapping[str, tuple[float, float]]
    bench_level: float = 2.5e-6
    line_up: float = 6e-6
    hands: Hands = field(default_factory=Hands)
    planted: Mapping[str, tuple[float, float]] = field(default_factory=dict)


def draw_story(
    scenario: Scenario, rng: np.random.Generator, *, slip: bool = True, hang: bool = True, wrong: bool = True,
    scale: bool = True, bow: bool = True,
) -> Story:  # fmt: skip
    """A story with all faults, or without those that are switched off.

    slip   one magnet slips by 11 to 22 um and rolls;  hang  bolts stand anywhere on arrival, so that feet hang in the air
    wrong  one target is off by 0.12 to 0.3 mm for one station;  scale  one survey's ranges are 6 to 15 um/m off
    bow    the girder's top is 0.1 to 0.25 K warmer on arrival

    >>> from monochord.simulate.scenario import demo_scenario
    >>> draw_story(demo_scenario(), np.random.default_rng(1), slip=False).slipped is None
    True
    """
    names = [m.name for m in scenario.girder.magnets]
    moves, settling = _creep(names, 1.0e-6, 2.0e-6, rng), _creep(names, 0.4e-6, 0.8e-6, rng)
    slipped = str(rng.choice(names))
    sign = rng.choice([-1.0, 1.0], size=2)
    jolt = np.array([sign[0] * rng.uniform(11e-6, 22e-6), -rng.uniform(0.0, 5e-6), 3e-6 * rng.normal(),
                     0.0, 0.0, sign[1] * rng.uniform(30e-6, 80e-6)])  # fmt: skip
    if slip:
        moves[slipped] = moves[slipped] + jolt
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
        slipped if slip else None, moves, settling, 100e-6 if hang else 2.5e-6, mistake if wrong else None, scales, warmth
    )  # fmt: skip


def _creep(names: Sequence[str], shift: float, turn: float, rng: np.random.Generator) -> dict[str, Array]:
    """What clamps give: every magnet's own small motion, shift [m] and turn [rad] one standard deviation an axis."""
    return {n: np.concatenate([shift * rng.normal(size=3), turn * rng.normal(size=3)]) for n in names}


def _mistake(scenario: Scenario, rng: np.random.Generator) -> WrongSighting:
    station = str(rng.choice(list(scenario.rooms["tunnel"].stations)))
    target = str(rng.choice([t.name for t in scenario.girder.targets if t.carrier != "wall"]))
    away = rng.normal(size=3)
    away *= rng.uniform(0.12e-3, 0.30e-3) / np.linalg.norm(away)
    return WrongSighting(station, target, (float(away[0]), float(away[1]), float(away[2])))
