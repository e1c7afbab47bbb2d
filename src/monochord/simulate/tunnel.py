"""Feet, bolts and temperatures: how the virtual girder stands, what the crew feels there, and what it turns.

The shape between the feet is stated (see :mod:`~monochord.simulate.shape`); the loads are statically right
for the feet in contact but are not computed from that shape.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Bolt, Girder
from monochord.campaign.given.occasion import FootFinding, TemperatureReading, Turn
from monochord.simulate.shape import Shape, summed, through_feet, through_sides

Array = NDArray[np.float64]

#: Load below which a foot feels as if it only touched [N], and standard gravity [m/s2].
TOUCH = 400.0
G = 9.80665


@dataclass(frozen=True, eq=False, slots=True)
class Stand:
    """How the girder stands on its bolts.

    bolts    bolt -> its height above where it was at rest [m], along its direction
    girder   vertical bolt -> height of the girder's underside there [m]; above the bolt where it hangs
    loads    vertical bolt -> [N], 0 where the girder hangs
    shape    what the sections did since rest
    """

    bolts: Mapping[str, float]
    girder: Mapping[str, float]
    loads: Mapping[str, float]
    shape: Shape


def vertical(girder: Girder) -> list[Bolt]:
    """The bolts that push along y."""
    return [b for b in girder.bolts if abs(b.direction[1]) > 0.5]


def sideways(girder: Girder) -> list[Bolt]:
    """The bolts that push along x."""
    return [b for b in girder.bolts if abs(b.direction[0]) > 0.5]


def stand(
    girder: Girder,
    bolts: Mapping[str, float],
    rng: np.random.Generator,
    *,
    hanging: Sequence[str] = (),
    sag: float = 0.0,
    gaps: Sequence[float] = (),
) -> Stand:
    """The girder on bolts of given heights; where it hangs, its own stiffness carries it over the gap.

    bolts    bolt -> height since rest [m];  hanging  feet in the air, a whole pair
    sag      how far the girder sinks between its neighbours there [m];  gaps  left below it there [m], one a foot

    Heights of the hanging bolts are set ``gaps`` below the girder.
    """
    feet = vertical(girder)
    bearing = [b for b in feet if b.name not in hanging]
    points, heights = np.array([b.point for b in bearing]), np.array([bolts[b.name] for b in bearing])
    first = through_feet(points, heights)
    actual, under = dict(bolts), {b.name: bolts[b.name] for b in bearing}
    for name, gap in zip(hanging, gaps, strict=True):
        x, _, z = next(b.point for b in feet if b.name == name)
        at = first(np.array([z]))
        under[name] = float(at.shift[0, 1] + x * at.rotation[0, 2]) - sag
        actual[name] = under[name] - gap
    bend = (
        through_feet(np.array([b.point for b in feet]), np.array([under[b.name] for b in feet])) if hanging else first
    )
    sides = sideways(girder)
    shapes: list[Shape] = [bend]
    if sides:
        # A bolt that pushes against x brings the girder the other way.
        pushed = np.array([actual[b.name] * b.direction[0] for b in sides])
        shapes.append(through_sides(np.array([b.point[2] for b in sides]), pushed))
    return Stand(actual, under, loads(girder, hanging, rng), summed(shapes))


def loads(girder: Girder, hanging: Sequence[str], rng: np.random.Generator) -> dict[str, float]:
    """Loads of the vertical feet [N]: in balance with the weight, uneven where statics leave it open.

    sum N = W,  sum N z = W z_W,  sum N x = W x_W over the feet in contact

    >>> from monochord.simulate.scenario import demo_scenario
    >>> round(sum(loads(demo_scenario().girder, (), np.random.default_rng(1)).values()))
    43380
    """
    feet = vertical(girder)
    beam_mass = girder.beam.mass_per_length * girder.beam.length if girder.beam else 0.0
    masses = np.array([beam_mass, *(i.mass for i in girder.items)])
    places = np.array([[0.0, 0.0, 0.0], *(i.point for i in girder.items)])
    bearing = np.array([b.name not in hanging for b in feet])
    points = np.array([b.point for b in feet])[bearing]
    balance = np.stack([np.ones(len(points)), points[:, 2], points[:, 0]])
    weight = G * np.array([masses.sum(), masses @ places[:, 2], masses @ places[:, 0]])
    even = np.linalg.lstsq(balance, weight, rcond=None)[0]
    free = np.eye(len(points)) - np.linalg.pinv(balance) @ balance
    uneven = free @ rng.normal(size=len(points)) * 0.15 * even.mean()
    # Contact cannot pull: shrink the uneven part until every foot still carries a twentieth of its even share.
    room = np.min(np.where(uneven < 0.0, 0.95 * even / np.maximum(-uneven, 1e-9), np.inf))
    carried = np.zeros(len(feet))
    carried[bearing] = even + uneven * min(1.0, float(room))
    return {b.name: float(n) for b, n in zip(feet, carried, strict=True)}


def feel(standing: Stand, rng: np.random.Generator, washer: float = 0.10) -> tuple[FootFinding, ...]:
    """What the crew finds: loose, touching or tight at each vertical foot, and a load washer good to ``washer``."""
    found: list[FootFinding] = []
    for name, load in standing.loads.items():
        shown = round(load * (1.0 + washer * float(rng.normal())), -2)
        if load == 0.0:
            found.append(FootFinding(name, "loose"))
        else:
            found.append(FootFinding(name, "touching" if load < TOUCH else "tight", shown, washer * shown))
    return tuple(found)


def turns_towards(girder: Girder, standing: Stand, aim: Mapping[str, float]) -> tuple[Turn, ...]:
    """Turns that bring every bolt to ``aim`` [m], in whole smallest steps."""
    made: list[Turn] = []
    for bolt in girder.bolts:
        steps = round((aim[bolt.name] - standing.bolts[bolt.name]) / bolt.thread_pitch / bolt.smallest_step)
        made.append(Turn(bolt.name, steps * bolt.smallest_step))
    return tuple(made)


def after(girder: Girder, standing: Stand, turns: Sequence[Turn]) -> dict[str, float]:
    """Heights of the bolts when the turns are made [m]."""
    pitch = {b.name: b.thread_pitch for b in girder.bolts}
    turned = {t.bolt: t.turns for t in turns}
    return {name: h + turned.get(name, 0.0) * pitch[name] for name, h in standing.bolts.items()}


def temperatures(
    girder: Girder, mean: float, top_minus_bottom: float, rng: np.random.Generator, u: float = 0.01
) -> tuple[TemperatureReading, ...]:
    """Six contact sensors, three along the top and three along the bottom, 30 mm inside its faces.

    mean  of the girder [degC]; the temperature runs straight from bottom to top, and warms a little along z
    """
    beam = girder.beam
    if beam is None:
        return ()
    along = np.array([-0.4, 0.0, 0.4]) * beam.length
    found: list[TemperatureReading] = []
    for letter, side in (("top", 1.0), ("low", -1.0)):
        y = beam.neutral_line + side * (0.5 * beam.depth - 0.03)
        for k, z in enumerate(along):
            true = mean + top_minus_bottom * (y - beam.neutral_line) / beam.depth + 0.004 * z
            found.append(
                TemperatureReading(f"{letter}{k + 1}", (0.0, y, float(z)), round(true + u * float(rng.normal()), 3), u)
            )
    return tuple(found)
