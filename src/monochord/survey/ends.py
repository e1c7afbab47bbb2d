"""What other rooms ask of a survey: where the ends of the wire were, and which way is up."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monochord.campaign.found.points import PointSet
from monochord.ground.estimate import Estimate
from monochord.ground.faults import Fault, Refused
from monochord.survey.network import Array


def wire_ends(points: PointSet, nests: Sequence[str]) -> Estimate:
    """Surveyed nests of the wire's ends: components "<nest>.x", ".y", ".z" [m], girder frame, causes kept.

    Raises Refused naming every nest that was not determined, with the reason where there is one.
    """
    missing = [nest for nest in nests if nest not in points.names]
    if missing:
        remedy = "sight the nest from two stations, and write its name as in the survey"
        raise Refused(
            [
                Fault(f"nest {n!r}: {points.undetermined.get(n, 'not sighted')}", "a surveyed nest", remedy)
                for n in missing
            ]
        )
    return points.estimate.pick([f"{nest}.{axis}" for nest in nests for axis in "xyz"])


def up_direction(points: PointSet, levelled: bool) -> Array:
    """Unit vector (3,) against gravity in the girder frame; the girder's own +y when no station was levelled."""
    up: Array = np.array([0.0, 1.0, 0.0])
    return points.pose.turn(up) if levelled else up
