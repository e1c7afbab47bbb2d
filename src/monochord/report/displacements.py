"""How the targets moved from one occasion to another, for drawings: rigid motion and scale taken out.

The numbers of a comparison come from its own adjustment; this is only what the eye shall see of them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.comparison import Comparison
from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import Result
from monochord.ground.frames import fit_rigid
from monochord.report.facts import blocks, in_girder_frame

Array = NDArray[np.float64]

#: Fewer targets tell no rigid motion.
LEAST = 3
#: Targets whose second singular value is below this [m] lie on one line and tell no rotation about it.
_FLAT = 1e-3


@dataclass(frozen=True, eq=False, slots=True)
class Displacement:
    """Where a target stood on the earlier occasion, (3,) [m] in the girder frame, how it moved, (3,) [m], and its carrier."""

    place: Array
    move: Array
    carrier: str


def displacements(result: Result, found: Comparison) -> dict[str, Displacement]:
    """Displacement of every target of girder and magnets seen on both occasions; empty without two surveys.

    A rigid motion and a scale are fitted to the girder's own targets, those that moved by themselves left out; where these
    are too few, to all.
    """
    sets = {o.name: o.points for o in result.occasions}
    start, end = sets.get(found.start), sets.get(found.end)
    if start is None or end is None:
        return {}
    names = [n for n in start.names if n in end.names and start.carriers.get(n) != "wall"]
    before, after = _places(start, names), _places(end, names)
    alone = {move.target for move in found.targets_moved if move.found}
    steady = [i for i, n in enumerate(names) if start.carriers.get(n) == "girder" and n not in alone]
    base = steady if _spans(before, steady) else list(range(len(names)))
    if not _spans(before, base):
        return {}
    moved = _moves(before, after, base)
    return {n: Displacement(before[i], moved[i], start.carriers.get(n, "")) for i, n in enumerate(names)}


def _places(points: PointSet, names: Iterable[str]) -> Array:
    found = blocks(in_girder_frame(points), names)
    return np.array([xyz for xyz, _ in found.values()]).reshape(-1, 3)


def _spans(places: Array, rows: list[int]) -> bool:
    if len(rows) < LEAST:
        return False
    spread = np.linalg.svd(places[rows] - places[rows].mean(axis=0), compute_uv=False)
    return bool(spread[1] > _FLAT)


def _moves(before: Array, after: Array, base: list[int]) -> Array:
    """After minus before (n, 3), seen in the frame of before."""
    rigid = fit_rigid(before[base], after[base], frames=("before", "after"))
    seen = rigid.inverse().apply(after)
    a, b = before[base] - before[base].mean(axis=0), seen[base] - seen[base].mean(axis=0)
    scale = float(np.sum(a * b) / np.sum(a * a))
    middle = before[base].mean(axis=0)
    return np.asarray((seen - seen[base].mean(axis=0)) / scale - (before - middle), np.float64)
