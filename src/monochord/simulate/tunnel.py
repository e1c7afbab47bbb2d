"""Feet, bolts and temperatures: how the virtual girder stands, what the crew feels there, and what it turns.

Shape, loads and gaps are those of one elastic girder at rest on bolts that push and never pull (see
:mod:`~monochord.simulate.iron`), so that they belong together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Bolt, Girder
from monochord.campaign.given.occasion import FootFinding, TemperatureReading
from monochord.simulate.iron import Iron
from monochord.simulate.shape import Shape

Array = NDArray[np.float64]

#: A foot feels as if it only touched when it carries less [N], or when its gap is smaller than a hand can feel [m].
TOUCH, FELT_GAP = 400.0, 1.5e-6


@dataclass(frozen=True, eq=False, slots=True)
class Stand:
    """How the girder stands on its bolts.

    bolts    bolt -> its height above where it was at rest [m], along its direction
    girder   vertical bolt -> height of the girder's underside there [m]: above the bolt where it hangs, pressed
             below it where it bears
    gaps     vertical bolt -> [m], 0 where it bears
    loads    bolt -> [N] along its direction, 0 where the girder hangs
    shape    what the sections did since rest
    """

    bolts: Mapping[str, float]
    girder: Mapping[str, float]
    gaps: Mapping[str, float]
    loads: Mapping[str, float]
    shape: Shape


def vertical(girder: Girder) -> list[Bolt]:
    """The bolts that push along y."""
    return [b for b in girder.bolts if abs(b.direction[1]) > 0.5]


def stand(iron: Iron, place: str, bolts: Mapping[str, float], top_minus_bottom: float) -> Stand:
    """The elastic girder on bolts of given heights; where it hangs, its own stiffness carries it.

    bolts  bolt -> height since rest [m];  top_minus_bottom  [K], bends the girder as far as its feet let it
    """
    on, rest = iron.places[place].on, iron.rest(place, bolts, top_minus_bottom)
    feet = [on.names.index(b.name) for b in vertical(iron.told)]
    under = on.push @ rest.nodes
    return Stand(
        dict(bolts),
        {on.names[i]: float(under[i]) for i in feet},
        {on.names[i]: float(rest.gaps[i]) for i in feet},
        dict(zip(on.names, map(float, rest.loads), strict=True)),
        iron.shape(rest),
    )


def feel(standing: Stand, rng: np.random.Generator, washer: float = 0.10) -> tuple[FootFinding, ...]:
    """What the crew finds: loose, touching or tight at each vertical foot, and a load washer good to ``washer``."""
    found: list[FootFinding] = []
    for name, gap in standing.gaps.items():
        load = standing.loads[name]
        shown = round(load * (1.0 + washer * float(rng.normal())), -2)
        if gap > FELT_GAP:
            found.append(FootFinding(name, "loose"))
        else:
            found.append(FootFinding(name, "touching" if load < TOUCH else "tight", shown, washer * shown))
    return tuple(found)


def temperatures(
    girder: Girder, mean: float, top_minus_bottom: float, rng: np.random.Generator, u: float = 0.01
) -> tuple[TemperatureReading, ...]:
    """Six contact sensors, three along the top and three along the bottom, 30 mm inside its faces.

    mean  of the girder [degC]; the temperature runs straight from bottom to top, and warms a little along z
    """
    beam = girder.beam
    if beam is None:
        return ()
    along = np.array([-0.4, 0.0, 0.4]) * beam.length
    found: list[TemperatureReading] = []
    for letter, side in (("top", 1.0), ("low", -1.0)):
        y = beam.neutral_line + side * (0.5 * beam.depth - 0.03)
        for k, z in enumerate(along):
            true = mean + top_minus_bottom * (y - beam.neutral_line) / beam.depth + 0.004 * z
            found.append(
                TemperatureReading(f"{letter}{k + 1}", (0.0, y, float(z)), round(true + u * float(rng.normal()), 3), u)
            )
    return tuple(found)
