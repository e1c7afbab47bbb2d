"""Do the loads at the feet carry the girder? Their sum is its weight, whatever single feet say; a wrong unit shows there."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.campaign.given.girder import Girder
from monochord.campaign.given.occasion import FootFinding
from monochord.ground.faults import Fault

#: Standard acceleration of free fall [m/s2].
GRAVITY = 9.80665

#: Sum of the loads over the weight that still passes: what cables and water carry is not told.
LIGHT, HEAVY = 0.5, 2.0

_RATIOS = {
    GRAVITY: "newtons told as kilograms of force",
    1.0 / GRAVITY: "kilograms of force told as newtons, or tonnes of force as kilonewtons",
    1e3: "newtons told as kilonewtons",
    1e-3: "kilonewtons told as newtons",
    4.4482216: "newtons told as pounds of force",
    1.0 / 4.4482216: "pounds of force told as newtons",
    10.0: "a load cell's range, or decanewtons",
}


def check_loads(girder: Girder, feet: Sequence[FootFinding]) -> list[Fault]:
    """A note when the loads at all vertical bolts together are far from the weight of the girder with its items."""
    vertical = {b.name for b in girder.bolts if abs(b.direction[1]) > 0.9}
    loads = {f.bolt: f for f in feet if f.bolt in vertical and f.load is not None}
    if girder.beam is None or not vertical or set(loads) != vertical:
        return []
    mass = girder.beam.mass_per_length * girder.beam.length + sum(item.mass for item in girder.items)
    total = sum(abs(f.load) for f in loads.values() if f.load is not None)
    if mass <= 0.0 or LIGHT <= total / (mass * GRAVITY) <= HEAVY:
        return []
    ratio = total / (mass * GRAVITY)
    why = next((words for known, words in _RATIOS.items() if ratio and 0.75 < ratio / known < 1.33), "")
    first = next(iter(loads.values()))
    given = f"loads at the feet of {total / 1e3:.4g} kN in all, {ratio:.3g} times the weight"
    remedy = (
        f"perhaps {why}; look at the unit of the column" if why else "look at the unit of the column and at the masses"
    )
    expected = f"about the weight of girder and items, {mass * GRAVITY / 1e3:.4g} kN"
    return [Fault(given, expected, remedy, first.file, first.line)]
