"""What is true of a simulated campaign, as a plain dictionary of numbers and texts, SI units, ready for JSON."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from monochord.ground.frames import Rigid
from monochord.simulate.bench import Bench, Stringing
from monochord.simulate.girder import Placed, VirtualMagnet, with_remanence
from monochord.simulate.iron import Iron
from monochord.simulate.ride import Ride
from monochord.simulate.shape import carried
from monochord.simulate.story import Story
from monochord.simulate.survey import Setup
from monochord.simulate.tunnel import Stand

Array = NDArray[np.float64]
#: A dictionary that json can write.
Truth = dict[str, object]


def axis(magnet: VirtualMagnet, current: float) -> Truth:
    """One magnet's axis: centre of the field that follows the current, of the whole field, slopes and roll; girder frame."""
    whole = with_remanence(magnet, current)
    return {
        "centre": _floats(magnet.centre),
        "centre_with_remanence": [*_floats(whole), float(magnet.centre[2])],
        "slope_x": magnet.slope_x,
        "slope_y": magnet.slope_y,
        "roll": magnet.roll,
    }


def shape(placed: Placed, current: float, moves: Mapping[str, Array]) -> Truth:
    """Where magnets and targets are (girder frame), and each magnet's own move since the reference: dx, dy, dz, rx, ry, rz."""
    return {
        "axes": {m.name: axis(m, current) for m in placed.magnets},
        "own_moves": {name: _floats(move) for name, move in moves.items()},
        "targets": _points(placed.targets),
    }


def wire(bench: Bench, stringing: Stringing, placed: Placed, to_wire: Mapping[str, Array]) -> Truth:
    """The wire: f1, its ends at stage zero, where the string itself departs at each magnet, and the bench's faults.

    stringing  x, y by which the string departs from the straight line: a centre is found off by minus that
    """
    z = np.array([m.centre[2] for m in placed.magnets])
    away = stringing.departure_at(z, bench.wire)
    return {
        "f1": stringing.f1,
        "start": [stringing.start.real, stringing.start.imag],
        "end": [stringing.end.real, stringing.end.imag],
        "stringing": {m.name: [float(d.real), float(d.imag)] for m, d in zip(placed.magnets, away, strict=True)},
        "nest_to_wire": _points(to_wire),
        "sensor_turn": list(bench.sensor_turn),
        "stage_turn": list(bench.stage_turn),
        "stage_scale": list(bench.stage_scale),
        "decay": bench.decay,
        "plane_split": bench.split,
    }


def survey(setup: Setup, points: Mapping[str, Array], pose: Rigid) -> Truth:
    """The survey: true points in the hall, the girder's pose, seatings, range scale and the wrong sighting."""
    wrong = setup.wrong
    return {
        "points": _points(points),
        "pose": {"rotation": [_floats(row) for row in pose.rotation], "shift": _floats(pose.shift)},
        "mountings": _points(setup.mountings),
        "range_scale": setup.scale,
        "wrong": None
        if wrong is None
        else {"station": wrong.station, "target": wrong.target, "away": list(wrong.away)},
    }


def feet(standing: Stand) -> Truth:
    """Bolt heights since rest, the girder's underside and the gap at the vertical feet [m], loads [N] (0 where it hangs)."""
    return {
        name: {
            "bolt": height,
            "girder": standing.girder.get(name),
            "gap": standing.gaps.get(name),
            "load": standing.loads[name],
        }
        for name, height in standing.bolts.items()
    }


def carried_by_girder(standing: Stand, placed: Placed, neutral_line: float) -> Truth:
    """What the girder's shape alone did to each magnet since rest: shift at its axis [m] and rotation vector [rad]."""
    centres = np.array([m.centre for m in placed.magnets])
    shifts, turns = carried(centres, standing.shape, neutral_line), standing.shape(centres[:, 2]).rotation
    return {
        m.name: {"shift": _floats(s), "rotation": _floats(r)}
        for m, s, r in zip(placed.magnets, shifts, turns, strict=True)
    }


def iron(made: Iron) -> Truth:
    """True stiffness over told: of the beam's bendings, and of every bolt at every place."""
    return dict(made.factors)


def journey(ride: Ride, story: Story) -> Truth:
    """The ride: its jolts, and which magnet slipped."""
    return {
        "shocks": [{"time": s.time, "peak": list(s.peak)} for s in ride.shocks],
        "slipped": story.slipped,
        "moves": {name: _floats(move) for name, move in story.ride_moves.items()},
    }


def _floats(values: Array) -> list[float]:
    return [float(v) for v in values]


def _points(points: Mapping[str, Array]) -> dict[str, list[float]]:
    return {name: _floats(p) for name, p in points.items()}
