"""A bolt plan: what to do at the feet first, what to turn, and what that will and will not cure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from monochord.campaign.found.axes import Gate
from monochord.ground.estimate import Estimate
from monochord.ground.trace import Unfold


@dataclass(frozen=True, eq=False, slots=True)
class BoltPlan:
    """Bolt turns that bring the girder back towards its reference shape at the magnets.

    at, reference     occasions: where the girder stands, and to whose shape it shall return
    turns             bolt -> turns [turn], whole multiples of its smallest step, positive along its direction; 0 for "leave"
    senses            bolt -> the same in words: how far, which way round, seen from where, and what it does
    first             what to do before any turn, in this order; () when every foot bears
    loose             bolts that carry nothing today: felt so, or found so by the elastic model
    offsets_before, offsets_after   "<magnet>.x", "<magnet>.y" [m]: offsets of the axes about the line, at today's temperatures
    shape_before, shape_after       "<magnet>.x", "<magnet>.y" [m]: departure from the reference shape about a straight line,
                      temperature and own moves of magnets left out; "before" is also what doing nothing leaves
    left_before, left_after, left_after_95   root mean square of the departures: today, expected after, and below which it
                      stays in 95 of 100 cases [m]
    loads_before, loads_after       bolt -> load [N], at today's temperatures;  u_loads_before  its standard uncertainty [N]
    curable_share     0..1, the mean square departure that bolts can cure beside what they cannot: magnets' own moves and
                      shapes that no bolt makes; None when there is nothing to cure
    do_nothing        True when turning is not worth it: then all turns are 0
    unfold            tells every number down to what it was made from, None when nobody can
    cautions          what the crew must keep in mind; the plan advises, local rules and licensed people decide
    """

    at: str
    reference: str
    turns: Mapping[str, float]
    senses: Mapping[str, str]
    first: tuple[str, ...]
    loose: tuple[str, ...]
    offsets_before: Estimate
    offsets_after: Estimate
    shape_before: Estimate
    shape_after: Estimate
    left_before: float
    left_after: float
    left_after_95: float
    loads_before: Mapping[str, float]
    loads_after: Mapping[str, float]
    u_loads_before: Mapping[str, float]
    curable_share: float | None
    do_nothing: bool
    sentence: str
    gates: tuple[Gate, ...]
    cautions: tuple[str, ...] = field(default=())
    unfold: Unfold | None = None
