"""The crew at the bolts: it brings loose feet to touch, then turns the girder back to the shape it had.

It works as good crews do and no better: a foot is called touching within some micrometres, a turn is made to
part of a smallest step, and the heights to turn to are known to some micrometres.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.occasion import Turn
from monochord.simulate.iron import Iron
from monochord.simulate.tunnel import Stand, stand

Array = NDArray[np.float64]

#: Passes from foot to foot, and the gap that is left alone [m].
_PASSES, _LEFT = 4, 4e-6
#: A foot is brought to touch in quarters of its smallest step.
_FINE = 0.25


@dataclass(frozen=True, slots=True)
class Hands:
    """How well a crew works, one standard deviation each.

    touch  where a foot is called touching [m];  aim  the heights it turns to [m]
    turn   by how much a turn misses, as a part of the smallest step
    """

    touch: float = 2e-6
    aim: float = 3e-6
    turn: float = 0.15


@dataclass(frozen=True, eq=False, slots=True)
class Crew:
    """A crew at one place, with the girder's iron under its hands and the temperature of the day [K top minus bottom]."""

    iron: Iron
    place: str
    top_minus_bottom: float
    hands: Hands
    rng: np.random.Generator


@dataclass(frozen=True, eq=False, slots=True)
class Turned:
    """What the crew did: turns as it wrote them down [turn], the bolts' true heights after them [m]."""

    turns: Mapping[str, float]
    heights: Mapping[str, float]

    def and_then(self, turns: Mapping[str, float], heights: Mapping[str, float]) -> Turned:
        """The same and further turns."""
        return Turned({n: t + turns.get(n, 0.0) for n, t in self.turns.items()}, heights)

    def written(self) -> tuple[Turn, ...]:
        """The crew's list: every bolt, those left alone with zero."""
        return tuple(Turn(name, round(turns, 9)) for name, turns in self.turns.items())


def bring_to_bear(crew: Crew, standing: Stand) -> Turned:
    """Loose feet brought to touch, pass after pass until none hangs by more than is left alone."""
    done = Turned(dict.fromkeys(standing.bolts, 0.0), standing.bolts)
    for _ in range(_PASSES):
        loose = {name: gap for name, gap in standing.gaps.items() if gap > _LEFT}
        if not loose:
            break
        wanted = {name: gap + crew.hands.touch * float(crew.rng.normal()) for name, gap in loose.items()}
        turns = _rounded(crew, wanted, _FINE)
        done = done.and_then(turns, _moved(crew, done.heights, turns, 0.0))
        standing = stand(crew.iron, crew.place, done.heights, crew.top_minus_bottom)
    return done


def turn_home(crew: Crew, done: Turned, home: Mapping[str, float]) -> Turned:
    """Every bolt turned, in whole smallest steps, to where the girder has its old shape.

    home  heights that gave the shape [m]; as the girder may lie elsewhere as a body, the crew turns to them up to
    the rigid motion that saves most turning
    """
    on = crew.iron.places[crew.place].on
    rigid = on.push @ on.free.rigid
    away = np.array([home[n] - done.heights[n] for n in on.names])
    away = away - rigid @ np.linalg.lstsq(rigid, away, rcond=None)[0] + crew.hands.aim * crew.rng.normal(size=len(away))
    turns = _rounded(crew, dict(zip(on.names, map(float, away), strict=True)), 1.0)
    return done.and_then(turns, _moved(crew, done.heights, turns, crew.hands.turn))


def _rounded(crew: Crew, wanted: Mapping[str, float], part: float) -> dict[str, float]:
    """Turns for heights [m], in ``part`` of each bolt's smallest step."""
    fine = {b.name: (b.thread_pitch, part * b.smallest_step) for b in crew.iron.told.bolts}
    return {name: round(h / fine[name][0] / fine[name][1]) * fine[name][1] for name, h in wanted.items()}


def _moved(crew: Crew, heights: Mapping[str, float], turns: Mapping[str, float], miss: float) -> dict[str, float]:
    """Heights after turns of which each misses by ``miss`` of a smallest step."""
    moved = dict(heights)
    for bolt in crew.iron.told.bolts:
        missed = miss * bolt.smallest_step * float(crew.rng.normal())
        if turns.get(bolt.name, 0.0):
            moved[bolt.name] += (turns[bolt.name] + missed) * bolt.thread_pitch
    return moved
