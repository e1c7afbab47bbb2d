"""The linear model of a change: what may have moved, how every row follows it, and how far it is expected to go.

change = rigid + range scale + real stretch + shape + own move of what a body carries + noise

A magnet rides rigidly on the girder's section at its own z; targets of the girder follow the section at theirs. Its own
move is six numbers about its axis point. Everything has an expected size; what is free has one far beyond any real one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from monochord.campaign.found.comparison import ShapeBasis
from monochord.campaign.given.girder import Girder
from monochord.survey.compare_data import Change, on
from monochord.survey.datum import rigid_motions
from monochord.survey.network import Array
from monochord.survey.sizes import Stretch

#: The six parts of a body's own move.
MOVES = ("dx", "dy", "dz", "rx", "ry", "rz")
#: What a rigid motion may still be after a fit has taken it out: shift [m] and turn [rad].
FREE_SHIFT, FREE_TURN = 1e-3, 1e-3
#: Added to every row [m or rad] so that a covariance made of few causes can be inverted; far below any instrument.
FLOOR = 1e-8


@dataclass(frozen=True, slots=True)
class Clamp:
    """How far a clamped body creeps from one occasion to another, one standard deviation an axis: shift [m], turn [rad]."""

    shift: float
    turn: float

    @property
    def six(self) -> Array:
        """The same for the six parts of an own move (6,)."""
        return np.array([self.shift] * 3 + [self.turn] * 3)


@dataclass(frozen=True, eq=False, slots=True)
class Block:
    """Unknowns that belong together: how the rows follow them (N, k), what is expected of them (k,) and how well (k,)."""

    name: str
    kind: str
    design: Array
    expected: Array
    prior: Array


@dataclass(frozen=True, eq=False, slots=True)
class Model:
    """All unknowns of a change, block after block, and the points that speak about magnets.

    noise    (N, N) covariance of the rows from everything that is not an unknown
    blocks   kinds "rigid", "range scale", "stretch", "shape", "clamp", "riding" and, once something moved, "moved"
    giving   (N, k) what a shape does at a body's targets beyond riding rigidly, when the body gives way to it
    basis    the shapes of block "shape";  middle (3,) about which sizes change [m]
    bodies   what carries targets or has an axis, with its axis point (3,) [m]
    """

    change: Change
    noise: Array
    blocks: tuple[Block, ...]
    giving: Array
    basis: ShapeBasis
    middle: Array
    bodies: Mapping[str, Array]

    @property
    def design(self) -> Array:
        """How every row follows every unknown (N, p)."""
        return np.hstack([b.design for b in self.blocks])

    @property
    def expected(self) -> Array:
        """What is expected of every unknown (p,)."""
        return np.concatenate([b.expected for b in self.blocks])

    @property
    def prior(self) -> Array:
        """Standard deviation of every unknown about that (p,)."""
        return np.concatenate([b.prior for b in self.blocks])

    def columns(self, kind: str, name: str | None = None) -> slice:
        """Where one block (or all of a kind, which stand together) is found among the unknowns."""
        start, first, last = 0, None, 0
        for block in self.blocks:
            end = start + len(block.prior)
            if block.kind == kind and name in (None, block.name):
                first, last = (start if first is None else first), end
            start = end
        return slice(first or 0, last)


def build_model(
    change: Change, girder: Girder, basis: ShapeBasis, *, stretch: Stretch, bow: float, clamp: Clamp
) -> Model:
    """The model before anything is said to have moved.

    stretch  real change of the girder's size;  bow  expected coefficient of a shape called "thermal bow" [K]
    clamp    how far every magnet may creep
    """
    bodies = bodies_of(change, girder)
    middle = change.places.mean(axis=0)
    magnets = list(dict.fromkeys(m for m, _ in change.axis_rows))
    axis_points = np.array([bodies[m] for m in magnets]).reshape(-1, 3)
    shape, giving = _shape_rows(change, basis, bodies, magnets)

    def rows(of_targets: Array, of_axes: Array, turn_of_axes: Array) -> Array:
        return np.vstack([of_targets, _axis_rows(change, magnets, of_axes, turn_of_axes)])

    turned = np.broadcast_to(np.hstack([np.zeros((3, 3)), np.eye(3)]), (len(magnets), 3, 6))
    rigid = rows(rigid_motions(change.places, middle), rigid_motions(axis_points, middle).reshape(-1, 3, 6), turned)
    grown = rows(
        (change.places - middle).reshape(-1, 1), (axis_points - middle)[:, :, None], np.zeros((len(magnets), 3, 1))
    )
    expected = np.where([name == "thermal bow" for name in basis.names], bow, 0.0)
    blocks = [Block("rigid motion", "rigid", rigid, np.zeros(6), np.repeat([FREE_SHIFT, FREE_TURN], 3))]
    for cause, factor in change.ranges.items():
        width = np.sqrt(np.diag(factor.spread))
        blocks.append(Block(cause, "range scale", factor.jacobian, np.zeros(len(width)), width))
    blocks.append(Block("stretch", "stretch", grown, np.array([stretch.size]), np.array([stretch.u])))
    blocks.append(Block("shape", "shape", shape, expected, basis.prior))
    blocks += [Block(b, "clamp", body_columns(change, b, p), np.zeros(6), clamp.six) for b, p in bodies.items()]
    return Model(change, _noise(change), tuple(blocks), giving, basis, middle, bodies)


def targets_only(model: Model) -> Model:
    """The same model without its axes; bodies that only the wire saw stay, and nothing speaks of them."""
    change = model.change.only_targets()
    n = change.target_rows
    blocks = tuple(replace(b, design=b.design[:n]) for b in model.blocks)
    return replace(model, change=change, noise=model.noise[:n, :n], blocks=blocks, giving=model.giving[:n])


def _noise(change: Change) -> Array:
    total = FLOOR**2 * np.eye(len(change.value))
    for factor in change.causes.values():
        total = total + factor.cov
    return total


def _shape_rows(
    change: Change, basis: ShapeBasis, bodies: Mapping[str, Array], magnets: Sequence[str]
) -> tuple[Array, Array]:
    """How the rows follow the shapes (N, k) when bodies ride rigidly on one section, and what giving way adds (N, k)."""
    count, size = len(change.names), len(basis.names)
    shown = np.array([bodies.get(c, p) for c, p in zip(change.carriers, change.places, strict=True)])
    points = np.vstack([shown, change.places, *(bodies[m][None] for m in magnets)])
    at, turning = basis.at(points), basis.turning(points)
    arm, turn = (change.places - shown).T[:, :, None], turning[:count].swapaxes(0, 1)
    leaning = np.stack([turn[1] * arm[2] - turn[2] * arm[1], turn[2] * arm[0] - turn[0] * arm[2],
                        turn[0] * arm[1] - turn[1] * arm[0]], axis=1)  # fmt: skip
    rigid = (at[:count] + leaning).reshape(-1, size)
    axes = _axis_rows(change, magnets, at[2 * count :], turning[2 * count :])
    giving = at[count : 2 * count].reshape(-1, size) - rigid
    return np.vstack([rigid, axes]), np.vstack([giving, np.zeros_like(axes)])


def riding(model: Model, shape: Array) -> Block:
    """What it changes at the targets of bodies when these give way to the girder instead of riding rigidly on one section.

    shape  (k,) coefficients of the girder's change of shape, from a first fit

    A stiff yoke takes the section at its middle; one that is soft, or held all along, takes every section at its own place.
    Which of the two it is, or what between, is one unknown for all bodies: 0 rigid, 1 giving way.
    """
    return Block("riding", "riding", (model.giving @ shape)[:, None], np.array([0.5]), np.array([0.5]))


def bodies_of(change: Change, girder: Girder) -> dict[str, Array]:
    """What may move by itself as a body, with the point its own move is given at: magnets along z, then other items.

    Something that carries targets and is not in the girder's list is given at the middle of its targets.
    """
    seen = {*change.carriers, *(m for m, _ in change.axis_rows)} - {"girder", "wall"}
    points = {m.name: np.array(m.point) for m in girder.magnets if m.name in seen}
    points |= {i.name: np.array(i.point) for i in girder.items if i.name in seen and i.name not in points}
    rest = sorted(seen - set(points))
    return points | {name: change.places[on(change.carriers, name)].mean(axis=0) for name in rest}


def body_columns(change: Change, body: str, point: Array) -> Array:
    """How the rows follow a body's own move about its axis point: (N, 6)."""
    targets = rigid_motions(change.places, point) * np.repeat(on(change.carriers, body), 3)[:, None]
    own = [m == body for m, _ in change.axis_rows]
    unit = np.eye(6)[None]
    axes = _axis_rows(change, [body], unit[:, :3], unit[:, 3:]) if any(own) else np.zeros((len(own), 6))
    return np.vstack([targets, axes])


def target_columns(change: Change, target: int) -> Array:
    """How the rows follow one target's own move: (N, 3)."""
    columns = np.zeros((len(change.value), 3))
    columns[3 * target : 3 * target + 3] = np.eye(3)
    return columns


def _axis_rows(change: Change, magnets: Sequence[str], shift: Array, turn: Array) -> Array:
    """Rows of the axes from shift (m, 3, k) and turn (m, 3, k) at the axis points: dx/dz turns with y, dy/dz against x."""
    made = np.zeros((len(change.axis_rows), shift.shape[-1]))
    for row, (magnet, part) in enumerate(change.axis_rows):
        if magnet in magnets:
            k = magnets.index(magnet)
            made[row] = {"x": shift[k, 0], "y": shift[k, 1], "slope_x": turn[k, 1], "slope_y": -turn[k, 0]}[part]
    return made
