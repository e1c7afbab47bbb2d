"""The demo's girder, wire, tracker and rooms: a fictional bench that stands nowhere. Invented data.

Six magnets on a girder of 4.1 m. Another scenario is another :class:`Scenario`; nothing else in this
package knows the numbers of this one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from monochord.campaign.given.campaign import LineRule, Tolerance
from monochord.campaign.given.girder import Beam, Bolt, Creep, Girder, Item, Magnet, Target
from monochord.campaign.given.survey import Instrument
from monochord.campaign.given.wire import Wire, WireEnd
from monochord.simulate.bench import BenchSpread
from monochord.simulate.girder import Spread
from monochord.simulate.scanning import DayPlan, ScanPlan, SweepPlan
from monochord.simulate.survey import Room

#: The occasions of a simulated campaign, in their order, and what happens there.
OCCASIONS: dict[str, str] = {
    "10-placed": "bench",
    "20-lined": "bench",
    "30-road": "truck",
    "40-arrival": "tunnel",
    "50-settled": "tunnel",
}
#: The occasion whose shape is the reference.
REFERENCE = "20-lined"


@dataclass(frozen=True, eq=False, slots=True)
class Scenario:
    """What is told of a campaign before anything is measured, and how its numbers scatter.

    girder, wire, instrument   as the laboratory tells them; the wire with its two ends
    rooms       place -> room;  day  what is scanned on a wire day
    f1          fundamental of a fresh stringing [Hz];  rest_temperature  at which the girder has its rest shape [degC]
    """

    girder: Girder
    wire: Wire
    instrument: Instrument
    rooms: Mapping[str, Room]
    day: DayPlan
    f1: float
    rest_temperature: float
    line_rule: LineRule
    tolerances: tuple[Tolerance, ...]
    spread: Spread
    bench: BenchSpread = field(default_factory=BenchSpread)


#: Magnet current of the scans [A]; strengths are told at this current.
FULL_CURRENT = 90.0
#: name, kind, z [m], length [m], derivative at FULL_CURRENT, mass [kg], modes, half range of a scan [m], positions, drive [A]
_MAGNETS: tuple[tuple[str, str, float, float, float, float, tuple[int, ...], float, int, float], ...] = (
    ("Quad1", "quadrupole", -1.620, 0.260, 14.5, 545.0, (2, 4), 0.18e-3, 9, 0.015),
    ("Sext1", "sextupole", -0.980, 0.180, 610.0, 385.0, (4, 2), 1.5e-3, 13, 0.040),
    ("Quad2", "quadrupole", -0.300, 0.380, 15.2, 790.0, (1, 2), 0.18e-3, 9, 0.015),
    ("Octu1", "octupole", 0.420, 0.120, 4.5e4, 190.0, (4, 6), 3.0e-3, 17, 0.080),
    ("Sext2", "sextupole", 0.940, 0.180, -610.0, 385.0, (4, 2), 1.5e-3, 13, 0.040),
    ("Quad3", "quadrupole", 1.580, 0.260, -14.5, 545.0, (2, 4), 0.18e-3, 9, 0.015),
)


def demo_scenario() -> Scenario:
    """The fictional bench of the demo.

    >>> [m.name for m in demo_scenario().girder.magnets]
    ['Quad1', 'Sext1', 'Quad2', 'Octu1', 'Sext2', 'Quad3']
    """
    scans = tuple(ScanPlan(name, modes, drive, reach, n) for name, *_, modes, reach, n, drive in _MAGNETS)
    sweep = SweepPlan("Quad1", 0.3e-3, (1, 2, 3, 4, 6), 0.005)
    return Scenario(
        girder=_girder(),
        wire=_wire(),
        instrument=Instrument("tracker", 2.2e-6, 5e-6, 0.9e-6, 3e-6, 3e-6, 5e-6),
        rooms={"bench": _bench_hall(), "tunnel": _tunnel()},
        day=DayPlan(scans, sweep, FULL_CURRENT),
        f1=28.05,
        rest_temperature=20.0,
        line_rule=LineRule(),
        tolerances=(Tolerance("offset", 30e-6), Tolerance("own move", 20e-6)),
        spread=Spread(),
    )


def stern_scenario() -> Scenario:
    """The demo's girder on a bench with faults as large as a careful laboratory still meets; for judging intervals.

    Planes split by 6e-4, the fundamental drifts by 2e-4 an hour, a sensor shows 1 percent too little at 20 um, field
    edges are 20 percent wider or narrower than told, the stages roll by 0.5 mrad; reflectors seat to 3 um, a stringing
    repeats to 1 um, the vectors from nest to wire are good to 10 um as in the demo. All are one standard deviation.

    >>> stern_scenario().bench.split
    0.0006
    """
    bench = BenchSpread(split=6e-4, drift=2e-4 / 3600.0, cubic_at=20e-6, stage_turn=0.5e-3)
    told = demo_scenario()
    return replace(told, spread=replace(told.spread, edge=0.0, edge_either=0.20), bench=bench)


def _girder() -> Girder:
    magnets = tuple(
        Magnet(name, kind, (0.0, 0.0, z), length, mass, derivative / FULL_CURRENT, 0.028)
        for name, kind, z, length, derivative, mass, *_ in _MAGNETS
    )
    pump = Item("Pump1", "pump", (0.0, -0.20, 1.240), 0.150, 46.0)
    beam = Beam(375.0, 4.1, 2.9e8, 3.5e8, 1.1e8, -0.575, 0.45, 11.9e-6)
    return Girder(
        "demo-1",
        "demo",
        beam,
        (*magnets, pump),
        (*_girder_targets(), *_magnet_targets()),
        _bolts(),
        Creep(1.05e-6, 2.1e-6),
    )


def _girder_targets() -> list[Target]:
    return [
        Target(f"B{k + 1}{side}", "girder", (x, -0.345, z), 0.5e-3)
        for k, z in enumerate((-1.960, -1.280, -0.640, 0.120, 1.250, 1.960))
        for side, x in (("l", 0.29), ("r", -0.29))
    ]


def _magnet_targets() -> list[Target]:
    corners = ((0.185, -1.0), (-0.185, -1.0), (0.185, 1.0), (-0.185, 1.0))
    return [
        Target(f"{name}.{k + 1}", name, (x, 0.295, round(z + 0.3 * end * length, 4)), 0.5e-3)
        for name, _, z, length, *_ in _MAGNETS
        for k, (x, end) in enumerate(corners)
    ]


def _bolts() -> tuple[Bolt, ...]:
    feet = [
        Bolt(f"V{k + 1}{side}", (0.0, 1.0, 0.0), (x, -0.84, z), 1.25e-3, 8e-3, 0.01, True, 8e8)
        for k, z in enumerate((-1.700, -0.620, 0.620, 1.700))
        for side, x in (("l", 0.26), ("r", -0.26))
    ]
    sides = [
        Bolt(f"S{k + 1}", (1.0, 0.0, 0.0), (-0.30, -0.70, z), 1.25e-3, 8e-3, 0.01, False, 3e8)
        for k, z in enumerate((-1.700, 0.0, 1.700))
    ]
    end = Bolt("E1", (0.0, 0.0, 1.0), (0.0, -0.70, -2.050), 1.25e-3, 8e-3, 0.01, False, 3e8)
    return (*feet, *sides, end)


def _wire() -> Wire:
    ends = (WireEnd("WA", (0.0382, -0.0146, 0.0), 10e-6, -2.8), WireEnd("WB", (0.0379, -0.0151, 0.0), 10e-6, 2.8))
    return Wire(
        z_start=-2.8, length=5.6, mass_per_length=1.0137e-4, gravity=9.81,
        sensor_x_z=-2.52, sensor_y_z=-2.50, u_sensor_turn=float("inf"), u_stringing=1e-6,
        u_stage_turn=1e-3, u_stage_scale=3e-4, u_gain=0.02, ends=ends,
    )  # fmt: skip


def _bench_hall() -> Room:
    stations = {
        "hall-1": (2.1, 0.42, -1.6),
        "hall-2": (2.3, 0.28, 1.5),
        "hall-3": (-2.2, 0.45, 0.2),
        "hall-4": (0.5, 0.6, 4.1),
    }
    walls = {
        "H1": (4.2, 0.9, -3.0), "H2": (4.2, -0.6, 3.2), "H3": (-4.4, 0.8, 3.0),
        "H4": (-4.4, -0.5, -3.1), "H5": (0.4, 1.6, 5.6), "H6": (0.2, 1.4, -5.4),
    }  # fmt: skip
    return Room("bench hall", stations, walls)


def _tunnel() -> Room:
    stations = {"walk-1": (-1.55, 0.35, -2.3), "walk-2": (-1.65, 0.5, 2.2), "gap-1": (1.45, 0.4, 0.1)}
    walls = {
        "T1": (-2.1, 0.7, -3.4), "T2": (-2.1, -0.4, 0.3), "T3": (-2.1, 0.8, 3.5),
        "T4": (1.9, 0.9, 3.2), "T5": (1.9, -0.3, -3.1),
    }  # fmt: skip
    return Room("tunnel", stations, walls, layering=0.3)
