"""The girder's iron as it truly is: stiffer or softer than its drawing, on feet of which every one gives differently.

True here and in no fit's model: the beam is off its drawing by some percent in each way of bending, every
bolt gives by its own amount and differently on the bench's floor and the tunnel's, and a magnet's weight
comes down on its two ends.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Girder, Item, Magnet
from monochord.girder.model import Elastic, elastic, standing
from monochord.simulate.bearing import Bearing, Rest, at_rest, bearing
from monochord.simulate.girder import Spread
from monochord.simulate.shape import Sections, Shape

Array = NDArray[np.float64]

#: Where a magnet's weight comes down: this part of its length before and behind its middle.
_SUPPORTS = 0.3


@dataclass(frozen=True, eq=False, slots=True)
class Iron:
    """An elastic girder that exists only in numbers.

    told      the girder;  places  place -> the girder on its bolts there
    level     (6n,) nodes on level bolts at the first place and at even temperature: the shape at rest
    factors   true stiffness over told, of the beam's bendings and of every bolt at every place
    """

    told: Girder
    places: Mapping[str, Bearing]
    level: Array
    factors: Mapping[str, float]

    @property
    def free(self) -> Elastic:
        """The girder without its bolts."""
        return next(iter(self.places.values())).on.free

    def rest(self, place: str, heights: Mapping[str, float], top_minus_bottom: float) -> Rest:
        """The girder at rest on bolts of these heights [m], with its top warmer than its bottom [K]."""
        of = self.places[place]
        return at_rest(of, np.array([heights[n] for n in of.on.names]), top_minus_bottom)

    def shape(self, rest: Rest) -> Shape:
        """What the sections did since rest on level bolts."""
        free, nodes = self.free, rest.nodes - self.level

        def sections(z: Array) -> Sections:
            points = np.stack([np.zeros_like(z), np.full_like(z, free.beam.neutral_line), z], axis=1)
            moved = free.follow(points) @ nodes
            return Sections(moved[:, :3], moved[:, 3:])

        return sections


def build_iron(told: Girder, places: Sequence[str], spread: Spread, rng: np.random.Generator) -> Iron:
    """The iron of a girder, drawn about what is told of it; its feet anew for every place.

    Raises Refused when nothing is told of the beam or a bolt's stiffness.

    >>> from monochord.simulate.scenario import demo_scenario
    >>> made = build_iron(demo_scenario().girder, ["bench"], Spread(), np.random.default_rng(1))
    >>> rest = made.rest("bench", {b.name: 0.0 for b in made.told.bolts}, 0.0)
    >>> round(float(rest.loads.sum()))
    43380
    """
    bendings = ("bending_vertical", "bending_lateral", "torsion")
    factors = {name: float(np.exp(spread.beam * rng.normal())) for name in bendings}
    own = np.exp(spread.bolt * rng.normal(size=len(told.bolts)))
    spread_out = replace(told, items=tuple(part for item in told.items for part in _on_two_ends(item)))
    free = elastic(
        spread_out,
        bending_vertical=factors["bending_vertical"],
        bending_lateral=factors["bending_lateral"],
        torsion=factors["torsion"],
    )
    stands: dict[str, Bearing] = {}
    for place in places:
        give = own * np.exp(spread.floor * rng.normal(size=len(own)))
        factors |= {f"{place} {b.name}": float(g) for b, g in zip(told.bolts, give, strict=True)}
        bolts = tuple(replace(b, stiffness=b.stiffness * float(g)) for b, g in zip(told.bolts, give, strict=True))
        stands[place] = bearing(standing(replace(spread_out, bolts=bolts), free))
    level = at_rest(stands[places[0]], np.zeros(len(own))).nodes
    return Iron(told, stands, level, factors)


def _on_two_ends(item: Item) -> tuple[Item, ...]:
    if not isinstance(item, Magnet):
        return (item,)
    x, y, z = item.point
    away = _SUPPORTS * item.length
    return tuple(
        Item(f"{item.name} {end:+d}", item.kind, (x, y, z + end * away), 0.0, 0.5 * item.mass) for end in (-1, 1)
    )
