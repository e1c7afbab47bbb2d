"""Turns of bolts as people make them: degrees, minutes of a clock's dial, and what the girder does there."""

from __future__ import annotations

from monochord.campaign.found.plan import BoltPlan
from monochord.campaign.found.result import Result
from monochord.campaign.given.girder import Bolt
from monochord.ground.frames import DIRECTIONS
from monochord.report.facts import given_of

#: One turn is so many degrees, and so many minutes on the dial of a clock.
DEGREES, MINUTES = 360.0, 60.0

#: Where the girder goes at a bolt -> what the turn does.
DOES = {
    "up": "raise",
    "down": "lower",
    "left": "to the left",
    "right": "to the right",
    "along beam": "downstream",
    "against beam": "upstream",
}


def way_of(bolt: Bolt, turns: float) -> str:
    """Where the girder goes at the bolt when it is turned so: a word of the girder's frame, "" for no turn.

    >>> way_of(Bolt("V", (0.0, 1.0, 0.0), (0.0, 0.0, 0.0), 1e-3, None, 0.01, True, 1e9), -0.1)
    'down'
    """
    if not turns:
        return ""
    sign = 1.0 if turns > 0.0 else -1.0
    return max(DIRECTIONS, key=lambda w: sign * sum(a * b for a, b in zip(bolt.direction, DIRECTIONS[w], strict=True)))


def does(bolt: Bolt, turns: float) -> str:
    """What a turn does there, with the advance of the bolt [µm].

    >>> does(Bolt("V", (0.0, 1.0, 0.0), (0.0, 0.0, 0.0), 1.5e-3, None, 0.01, True, 1e9), 0.05)
    'raise 75 µm'
    """
    way = way_of(bolt, turns)
    return f"{DOES[way]} {abs(turns) * bolt.thread_pitch * 1e6:.0f} µm" if way else "leave"


def felt_state(result: Result, plan: BoltPlan, bolt: str) -> str:
    """What was found at a foot on the plan's occasion, in a word or two."""
    given = given_of(result, plan.at)
    felt = {foot.bolt: foot.state for foot in given.feet} if given else {}
    state = felt.get(bolt)
    if bolt in plan.loose and state != "loose":
        return "loose by the model" if state is None else f"felt {state}, bears nothing"
    return state or "not felt"


def turned(plan: BoltPlan) -> list[tuple[str, float]]:
    """Bolts that are to be turned, with their turns, in the order of the plan."""
    return [(name, float(turns)) for name, turns in plan.turns.items() if turns]


def later_occasions(result: Result, plan: BoltPlan) -> list[str]:
    """Occasions after the one that a plan was made for: its turns may have been made since."""
    names = [o.name for o in result.occasions]
    return names[names.index(plan.at) + 1 :] if plan.at in names else []
