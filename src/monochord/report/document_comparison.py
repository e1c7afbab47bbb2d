"""Comparisons of two occasions in the result document."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from monochord.campaign.found.comparison import Closure, Comparison, OwnMove, ShapePart, TargetMove
from monochord.campaign.found.result import Result
from monochord.report.document_shift import shifts_part
from monochord.report.entries import Part, Value, causes_part, entry, gates_part, planar_part, pose_part
from monochord.report.facts import component, finite, magnets_of

#: Components of an own move, in the order of its covariance.
SIX = ("dx", "dy", "dz", "rx", "ry", "rz")

#: Said of what the data cannot tell apart from something else.
CANNOT_TELL = "cannot be told apart"

#: Why a result has no comparison.
NONE = "no two occasions were compared"

NO_CLOSURE = "the change by the wire and the change by the survey are not both known"
NO_SHIFTS = "neither own moves nor changes of axes are told"
NO_AXIS_CHANGE = "the change of this magnet's axis is not known"


def comparisons_part(result: Result) -> Part:
    """Every pair of occasions that was compared."""
    parts = [comparison_part(result, found) for found in result.comparisons]
    return parts, {} if parts else {"comparisons": NONE}


def comparison_part(result: Result, found: Comparison) -> dict[str, object]:
    """What changed from one occasion to another."""
    magnets = [m for m in magnets_of(result) if f"{m}.x" in found.axis_changes.names]
    values: dict[str, Value] = {
        "from": found.start,
        "to": found.end,
        "rigid": pose_part(found.rigid),
        "scale": finite(found.scale),
        "u_scale": finite(found.u_scale),
        "shape": shape_part(found.shape),
        "own_moves": {move.magnet: own_move_part(move) for move in found.own_moves},
        "own_moves_from_targets": {move.magnet: own_move_part(move) for move in found.own_moves_from_targets},
        "targets_moved": {move.target: target_part(move) for move in found.targets_moved},
        "axis_changes": planar_part(found.axis_changes, magnets, NO_AXIS_CHANGE),
        "closure": closure_part(found.closure) if found.closure else None,
        "shifts": shifts_part(found.shifts),
        "gates": gates_part(found.gates),
        "sentence": found.sentence,
    }
    why = {
        "shape": "no change of shape was named",
        "own_moves": "no magnet's own move could be told",
        "own_moves_from_targets": "targets alone tell no magnet's own move",
        "targets_moved": "no target moved by itself",
        "axis_changes": "no axis is known on both occasions",
        "closure": NO_CLOSURE,
        "shifts": NO_SHIFTS,
        "u_scale": "no uncertainty of the scale was found",
        "scale": "no scale was found",
    }
    return entry(values, why)


def shape_part(parts: Iterable[ShapePart]) -> dict[str, object]:
    """Cause -> size at its largest; a cause that comes twice gets its number."""
    told: dict[str, object] = {}
    for part in parts:
        again = sum(name.split(" (")[0] == part.cause for name in told)
        values: dict[str, Value] = {"size": finite(part.size), "u": finite(part.u), "unit": part.unit}
        name = f"{part.cause} ({again + 1})" if part.cause in told else part.cause
        told[name] = entry(values | {"words": part.words}, dict.fromkeys(("size", "u"), "it could not be told"))
    return told


def found_word(found: bool | None) -> bool | str:
    """True, false, or that the data cannot tell it apart.

    >>> found_word(None)
    'cannot be told apart'
    """
    return CANNOT_TELL if found is None else bool(found)


def own_move_part(move: OwnMove) -> dict[str, object]:
    """One magnet's own move: six components, their covariance in that order, and the part of every cause in dx and dy."""
    names = [f"{move.magnet}.{q}" for q in SIX]
    known = [component(move.estimate, name) for name in names]
    values: dict[str, Value] = {q: k.value for q, k in zip(SIX, known, strict=True)}
    rows = [move.estimate.names.index(n) if k.u is not None else -1 for n, k in zip(names, known, strict=True)]
    values["cov"] = _covariance(move.estimate.cov, rows)
    values |= {"found": found_word(move.found), "evidence": move.evidence, "words": move.words}
    across = all(n in move.estimate.names for n in names[:2])
    values["interval_95"] = {q: _interval(move, k, known[k].u) for k, q in enumerate(SIX[:2])}
    values["causes"] = causes_part(move.estimate, names[0], names[1]) if across else []
    unknown = f"{move.evidence} do not tell it"
    part = entry(values, dict.fromkeys(SIX, unknown))
    if -1 in rows:
        reasons = part.get("reasons", {})
        part["reasons"] = {**(reasons if isinstance(reasons, dict) else {}), "cov": f"null where {unknown}"}
    return part


def _interval(move: OwnMove, component: int, u: float | None) -> list[object]:
    """Ends of the 95 % interval of a component; of a slip left open it is not value and twice u."""
    return [None, None] if u is None else list(move.interval(component))


def _covariance(cov: np.ndarray[tuple[int, ...], np.dtype[np.float64]], rows: list[int]) -> list[object]:
    """The rows and columns asked for; null for a component that is not known (row -1)."""
    return [[float(cov[i, j]) if i >= 0 and j >= 0 else None for j in rows] for i in rows]


def target_part(move: TargetMove) -> dict[str, object]:
    """A target's displacement by itself."""
    values: dict[str, Value] = {key: finite(v) for key, v in zip("xyz", move.move, strict=True)}
    values |= {f"u_{key}": finite(v) for key, v in zip("xyz", move.u, strict=True)}
    known = {"found": found_word(move.found), "words": move.words}
    return entry(values | known, dict.fromkeys(values, "it could not be told"))


def closure_part(found: Closure) -> dict[str, object]:
    """Wire change minus survey change at every axis, and whether chance explains it."""
    keys = ("x", "y", "u_x", "u_y")
    offsets: dict[str, object] = {}
    for magnet, numbers in found.offsets.items():
        values: dict[str, Value] = {key: finite(v) for key, v in zip(keys, numbers, strict=True)}
        offsets[magnet] = entry(values, dict.fromkeys(keys, "it could not be told"))
    values = {
        "offsets": offsets,
        "chi_square": finite(found.chi_square),
        "dof": int(found.dof),
        "probability": finite(found.probability),
        "ok": bool(found.ok),
        "words": found.words,
    }
    return entry(values, dict.fromkeys(("chi_square", "probability"), "no magnet tells both changes"))
