"""What to expect after the turns: departures and loads, with every cause of doubt by its name."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Girder
from monochord.girder.aim import Aim, magnet_rows
from monochord.girder.contact import response, settle
from monochord.girder.model import Standing, elastic
from monochord.girder.state import Stand
from monochord.ground.estimate import Estimate, Factor, Label

Array = NDArray[np.float64]

#: Error of the told stiffness of bolts and of the drawing's of the beam, as a part; common practice, no source.
_BOLTS, _BEAM = 0.20, 0.05
#: What beam theory misses of a change of shape (shear, sections that warp), as a part of its size; common practice, no source.
_THEORY = 0.03
#: How exactly a turn is made, as a part of the smallest step; common practice, no source.
_TURN = 0.25
#: How exactly a foot is brought to touch [m]; common practice, no source.
_TOUCH = 2e-6


@dataclass(frozen=True, eq=False, slots=True)
class Outcome:
    """The girder after the turns.

    shape_before, shape_after   "<magnet>.x", ".y" [m]: departures at the reference's temperatures, own moves left out
    change                      (2M,) what today's offsets change by [m]
    doubts                      cause -> Factor over 2M departures: what the turns add to the uncertainty
    loads                       (m,) after the turns, today's temperatures [N]
    """

    shape_before: Estimate
    shape_after: Estimate
    change: Array
    doubts: dict[str, Factor]
    loads: Array


def outcome(
    girder: Girder, on: Standing, now: Stand, aim: Aim, turns: Array, *, loose: NDArray[np.bool_], at: str
) -> Outcome:
    """The girder after turns (m,) [m of height] that begin where every foot touches.

    loose  (m,) feet that are brought to touch first
    """
    touched = settle(on, now.heights, on.free.weight + on.free.bow * now.amounts.value[-1])
    after = settle(on, now.heights + turns, on.free.weight + on.free.bow * now.amounts.value[-1])
    rows = aim.about @ magnet_rows(girder, on)
    change = rows @ (after.displacement - touched.displacement)
    doubts = _doubts(girder, on, aim, turns, loose=loose, at=at) if turns.any() else {}
    labels = [Label(f"{name}.{axis}", "m", "girder") for name in aim.magnets for axis in "xy"]
    shapes = rows @ now.unknowns.shapes
    every = np.ones(len(turns), dtype=bool)
    kept = rows @ (now.unknowns.bow - on.solve(every, on.free.bow))
    before = np.column_stack([shapes, np.zeros_like(shapes), np.zeros(len(rows))])
    then = np.column_stack([shapes, np.zeros_like(shapes), kept])
    shape_before = now.amounts.through(before, labels)
    shape_after = now.amounts.through(then, labels, value=then @ now.amounts.value + change)
    if not turns.any():
        return Outcome(shape_before, shape_before, change, {}, after.loads)
    for cause, factor in doubts.items():
        shape_after = shape_after.adding(cause, factor.jacobian, factor.spread)
    return Outcome(shape_before, shape_after, change, doubts, after.loads)


def _doubts(
    girder: Girder, on: Standing, aim: Aim, turns: Array, *, loose: NDArray[np.bool_], at: str
) -> dict[str, Factor]:
    """How the turns' effect is in doubt: stiffness by drawing, the hand at the bolt, and where a foot touches."""
    every = np.ones(len(turns), dtype=bool)
    moved = response(on, every)[0] @ turns
    # a spring stiffer by dk pushes by dk (h - b'u) more, a beam stiffer by dK resists by dK u more
    squeeze = turns - on.push @ moved
    extra = [_BOLTS * on.push.T @ (on.stiffness * squeeze * kind) for kind in (on.one_sided, ~on.one_sided)]
    told = on.free.stiffness
    for stiffer in (
        elastic(girder, bending_vertical=1.0 + _BEAM),
        elastic(girder, bending_lateral=1.0 + _BEAM),
        elastic(girder, torsion=1.0 + _BEAM),
    ):
        extra.append((told - stiffer.stiffness) @ moved)
    columns = aim.about @ magnet_rows(girder, on) @ on.solve(every, np.column_stack(extra))
    missed = _THEORY * np.sqrt(np.mean((aim.answer @ turns) ** 2)) if len(aim.answer) else 0.0
    hand = np.where(turns != 0.0, _TURN * aim.step * 1e-6, 0.0)
    doubts = {
        f"stiffness by drawing:{at}": Factor(columns, np.eye(columns.shape[1])),
        f"beam theory:{at}": Factor(aim.about, missed**2 * np.eye(len(aim.about))),
        f"turning:{at}": Factor(aim.answer, np.diag(hand**2)),
    }
    if loose.any():
        doubts[f"touching:{at}"] = Factor(aim.answer, np.diag(np.where(loose, _TOUCH**2, 0.0)))
    return doubts


def rms_of(shape: Estimate) -> tuple[float, float]:
    """Expected root mean square of departures, and the value it stays below in 95 of 100 cases [m].

    E = (|v|^2 + tr C) / n; the spread of the square sum of a normal vector is 2 tr C^2 + 4 v'Cv.

    >>> flat = Estimate.of([3e-6, 0.0], ["a", "b"], unit="m", frame="girder", causes={"noise": np.zeros((2, 2))})
    >>> round(rms_of(flat)[0] * 1e6, 4)
    2.1213
    """
    n = max(len(shape.value), 1)
    cov = shape.cov
    mean = float(shape.value @ shape.value + np.trace(cov))
    spread = np.sqrt(2.0 * float(np.trace(cov @ cov)) + 4.0 * float(shape.value @ cov @ shape.value))
    return float(np.sqrt(mean / n)), float(np.sqrt((mean + 1.645 * spread) / n))
