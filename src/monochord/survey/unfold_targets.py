"""Why a target lies where it does: its nominal place, and what every sighting says of the departure from it."""

from __future__ import annotations

import math

import numpy as np

from monochord.ground.trace import Line, Place, Sum, pointer
from monochord.survey.unfold_gain import Laid, zeros
from monochord.survey.unfold_rows import Row, grouped, kept_rows, of_rows, pulls, way_of

#: How rows make a coordinate.
PULL = (
    "each reading brings its gain times what it says of the departure: its residual, and to this target and to those "
    "that decide the frame also what it would read less were they at their nominal places; the gain is how the "
    "coordinate follows the reading in the adjustment of all stations, laid onto the nominal places of the girder's targets"
)


def target_rows(laid: Laid, target: int, axis: int) -> list[Row]:
    """Pulls of all readings on one coordinate of a target (its number in the network)."""
    stations, points = zeros(laid)
    points[target, axis] = 1.0
    gains = laid.gains(stations, points)
    # Targets that neither decide the frame nor are asked for count from where they were found: they cancel.
    departure = np.where(laid.used[:, None], laid.departure, 0.0)
    known = not math.isnan(laid.nominal[target, axis])
    departure[target] = laid.departure[target] if known else laid.state.points[target]
    return pulls(laid, gains, laid.said(stations, departure))


def tell_targets(laid: Laid, keys: tuple[str, ...], part: str) -> Sum | None:
    """``targets/<name>/xyz/<k>`` [m]: nominal place, and the pulls of all sightings; behind ``#`` groups of them."""
    if len(keys) != 4 or keys[0] != "targets" or keys[2] != "xyz" or keys[3] not in ("0", "1", "2"):
        return None
    target, axis = laid.target(keys[1]), int(keys[3])
    if target is None:
        return None
    base, way = pointer(*keys)[1:], way_of(part)
    rows = kept_rows(laid, base, lambda: target_rows(laid, target, axis))
    if part:
        return of_rows(base, "m", rows, way, PULL + laid.left_out) if way else None
    name = f"{keys[1]}.{'xyz'[axis]}"
    value = float(laid.points.estimate.value[laid.points.estimate.index(name)])
    place = float(laid.nominal[target, axis])
    if math.isnan(place):
        how = f"it has no nominal place and is told from the origin of the frame; {PULL}{laid.left_out}"
        return Sum(base, "m", value, grouped(base, rows), how)
    nominal = Line("nominal place", place, places=(Place("", 0, f"girder.targets.{keys[1]}.nominal"),))
    return Sum(base, "m", value, (nominal, *grouped(base, rows)), f"nominal place and departure; {PULL}{laid.left_out}")
