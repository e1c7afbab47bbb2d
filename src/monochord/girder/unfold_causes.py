"""Spreads of the causes of doubt that a bolt plan makes itself."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

import numpy as np

from monochord.girder.decision import Decision
from monochord.girder.evidence import CREEP_UM, CREEP_URAD
from monochord.girder.expect import _THEORY as THEORY
from monochord.girder.expect import _TOUCH as TOUCH
from monochord.girder.expect import _TURN as TURN
from monochord.girder.unfold_rows import Planned
from monochord.ground.estimate import Factor
from monochord.ground.trace import Line, Place, Sum, pointer
from monochord.ground.trace_linear import relative

#: Causes whose variables are counted in their own standard deviations: their size stands in the factor. Kind -> its key.
_COUNTED = {
    "floor of coordinates": "girder.evidence._FLOOR_UM",
    "temperature gradient": "girder.evidence.U_GRADIENT",
    "scale left free": "girder.evidence._SCALE",
    "expected loads": "girder.evidence.SPREAD_NOW",
    "load washers": "girder.evidence.WASHER",
    "feet that cannot pull": "girder.evidence.LOOSE_KN",
    "stiffness by drawing": "girder.expect._BOLTS",
}


def own_causes(planned: Planned) -> dict[str, Factor]:
    """Causes that the plan makes, with their factors."""
    foreign = planned.now.fitted.shift.factors
    every = {**planned.rows.causes, **planned.decision.found.doubts}
    return {cause: factor for cause, factor in every.items() if cause not in foreign}


def entry_of(planned: Planned) -> Callable[[str, int, int], str]:
    """Names the entries of the spreads of all causes: those of the plan, and those of the surveys that it rests on."""
    own = own_causes(planned)

    def entry(cause: str, i: int, j: int) -> str:
        if cause in own:
            return relative("cause", cause, i, j)
        points = planned.told.points
        early = points is None or cause in points[0].estimate.factors
        return pointer("occasions", planned.reference if early else planned.task.at, "cause", cause, i, j)

    return entry


def cause_entry(planned: Planned, name: str) -> Sum | None:
    """An entry of the spread of one of the plan's own causes, None when the name is of something else.

    Where variables are counted in their own standard deviations every one is told, also those that only another plan has.
    """
    head, _, rest = name.partition("/")
    pieces = rest.rsplit("/", 2)
    if head != "cause" or len(pieces) != 3 or not (pieces[1].isdecimal() and pieces[2].isdecimal()):
        return None
    cause, i, j = pieces[0].replace("~1", "/").replace("~0", "~"), int(pieces[1]), int(pieces[2])
    factor = own_causes(planned).get(cause)
    if factor is None or (max(i, j) >= len(factor.spread) and cause.split(":", 1)[0] not in _COUNTED):
        return None
    return _entry(planned, cause, name, i, j)


def _entry(planned: Planned, cause: str, name: str, i: int, j: int) -> Sum:
    kind = cause.split(":", 1)[0]
    if i != j:
        return Sum(name, "", 0.0, (), f"each variable of {kind} by itself: no covariance")
    if kind in _COUNTED:
        words = "one standard deviation of it; how large that is stands in the factor"
        line = Line(words, 1.0, places=(Place("", 0, _COUNTED[kind]),))
        return Sum(name, "1", 1.0, (line,), "counted in its own standard deviations", lambda v: v[0] ** 2)
    value = float(own_causes(planned)[cause].spread[i, i])
    if kind == "creep in the clamps":
        key, size, unit = ("CREEP_UM", CREEP_UM, "um") if i % 6 < 3 else ("CREEP_URAD", CREEP_URAD, "urad")
        line = Line("creep that a comparison cannot see", size, places=(Place("", 0, f"girder.evidence.{key}"),))
        return Sum(name, f"{unit}2", value, (line,), "square of how far a clamp may creep unseen", lambda v: v[0] ** 2)
    return _of_turns(planned, kind, name, i, value)


def _of_turns(planned: Planned, kind: str, name: str, i: int, value: float) -> Sum:
    """What the turns add to the doubt: the hand at the bolt, beam theory, and where a foot touches."""
    decision = planned.decision
    bolt = planned.task.girder.bolts[i] if i < len(planned.task.girder.bolts) else None
    if kind == "turning" and bolt is not None:
        count = Line(f"smallest steps that {bolt.name} is turned", float(decision.steps[i]), steps_name(bolt.name))
        step = Line(
            "advance of one smallest step", float(decision.aim.step[i]) * 1e-6, places=_bolt(bolt.name, "smallest_step")
        )
        hand = Line("part of a step that a hand misses", TURN, places=(Place("", 0, "girder.expect._TURN"),))
        how = "square of how exactly a turn is made, nothing where none is"
        return Sum(name, "m2", value, (count, step, hand), how, lambda v: (v[1] * v[2]) ** 2 if v[0] else 0.0)
    if kind == "touching" and bolt is not None:
        loose = Line(
            f"{bolt.name} is loose (1) or not (0)", float(planned.task.loose[i]), places=_felt(planned, bolt.name)
        )
        size = Line("how exactly a foot is brought to touch", TOUCH, places=(Place("", 0, "girder.expect._TOUCH"),))
        return Sum(
            name, "m2", value, (loose, size), "square of it, for a loose foot only", lambda v: (v[0] * v[1]) ** 2
        )
    lines = [
        Line(f"smallest steps that {b.name} is turned", float(n), steps_name(b.name))
        for b, n in zip(planned.task.girder.bolts, decision.steps, strict=True)
    ]
    missed = Line(
        "part of a change of shape that beam theory misses", THEORY, places=(Place("", 0, "girder.expect._THEORY"),)
    )
    how = "square of the part that beam theory misses, of the root mean square change that the turns make"
    return Sum(name, "m2", value, (*lines, missed), how, partial(_theory, decision))


def _theory(decision: Decision, amounts: Sequence[float]) -> float:
    turned = np.array(amounts[:-1]) * decision.aim.step * 1e-6
    return float((amounts[-1] * np.sqrt(np.mean((decision.aim.answer @ turned) ** 2))) ** 2)


def steps_name(bolt: str) -> str:
    """Name of the number of smallest steps that a bolt is turned."""
    return f"{relative('turns', bolt)}#steps"


def _bolt(name: str, field: str) -> tuple[Place, ...]:
    return (Place("", 0, f"girder.bolts.{name}.{field}"), Place("", 0, f"girder.bolts.{name}.thread_pitch"))


def _felt(planned: Planned, bolt: str) -> tuple[Place, ...]:
    found = [Place(f.file, f.line, "state") for f in planned.feet[0] if f.bolt == bolt]
    return tuple(found) or (Place("", 0, f"girder.bolts.{bolt}.one_sided"),)
