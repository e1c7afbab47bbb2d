"""One day at a virtual bench, as the tests of the wire room use it; it shares no formula with the fits."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.wire import Sweep, Wire, WireScan
from monochord.simulate.bench import Bench, Stringing, build_bench, string_up
from monochord.simulate.girder import Placed, Spread, build_girder, place
from monochord.simulate.scanning import wire_day
from monochord.simulate.scenario import FULL_CURRENT, demo_scenario
from monochord.simulate.shape import unmoved

Array = NDArray[np.float64]

TOLD = demo_scenario()
WIRE: Wire = TOLD.wire
MAGNETS: tuple[Magnet, ...] = TOLD.girder.magnets
#: Magnets without the faults that no description tells: other multipoles, stray gradients, wrong lengths and edges.
AS_TOLD = Spread(stray_gradient=0.0, length=0.0, edge=0.0, harmonics=0.0)


@dataclass(frozen=True, eq=False)
class Day:
    """What the bench gave, and what was true: centre of each magnet from the chord, its slope, and the string's departure."""

    scans: tuple[WireScan, ...]
    sweeps: tuple[Sweep, ...]
    centre: dict[str, complex]
    slope: dict[str, complex]
    departure: dict[str, complex]


@cache
def day(seed: int, *, faultless: bool = False) -> Day:
    """A day drawn from a seed; faultless  bench, wire and magnets do what the descriptions say, and nothing is noisy."""
    rng = np.random.default_rng(seed)
    bench = build_bench(WIRE, rng)
    stringing = string_up(bench, TOLD.f1, WIRE.u_stringing, rng)
    if faultless:
        bench, stringing = _honest(bench), _calm(stringing)
    placed = place(build_girder(TOLD.girder, FULL_CURRENT, AS_TOLD if faultless else Spread(), rng), unmoved, {})
    made = wire_day(bench, stringing, placed, TOLD.day, rng=np.random.default_rng(seed + 1), noisy=not faultless)
    return Day(made.scans, made.sweeps, *_truth(stringing, placed))


def _honest(bench: Bench) -> Bench:
    """The bench without its own faults; the string's planes stay split and turned."""
    return replace(
        bench, sensor_turn=(0.012, 0.012), sensor_gain=(1.0, 1.0), gain_creep=(0.0, 0.0), sensor_cubic=0.0,
        pickup=(0j, 0j), phase=0.0, stage_turn=(0.0, 0.0), stage_scale=(1.0, 1.0), stiffness=0.0,
    )  # fmt: skip


def _calm(stringing: Stringing) -> Stringing:
    return replace(stringing, own=np.zeros(1, complex))


def _truth(stringing: Stringing, placed: Placed) -> tuple[dict[str, complex], dict[str, complex], dict[str, complex]]:
    centre, slope, departure = {}, {}, {}
    tilt = (stringing.end - stringing.start) / WIRE.length
    for told in MAGNETS:
        magnet, z = placed.magnet(told.name), told.point[2]
        t = (z - WIRE.z_start) / WIRE.length
        own = complex(magnet.slope_x, magnet.slope_y)
        at = complex(magnet.centre[0], magnet.centre[1]) + own * (z - float(magnet.centre[2]))
        centre[told.name] = at - (1.0 - t) * stringing.start - t * stringing.end
        slope[told.name] = own - tilt
        departure[told.name] = complex(stringing.departure_at(np.array([z]), WIRE)[0])
    return centre, slope, departure
