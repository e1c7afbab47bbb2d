"""The least-squares adjustment of all stations and targets at once, free of any datum.

Unknowns are the position and turn of every station (six each) and the target coordinates. Targets
are eliminated first: every sighting ties one station to one target, so their normal matrix is a row
of 3 x 3 blocks. What is left has six unknowns a station; its null space (the frame that nobody
measured) is known in closed form and is taken out by inner constraints on the stations. Residuals,
redundancy and tests do not depend on that choice; coordinates are given a datum in ``datum``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monochord.campaign.given.survey import Instrument
from monochord.ground.faults import Undetermined
from monochord.survey.model import readings_from, spreads, tilt, turned, wrap
from monochord.survey.network import Array, Groups, Network


@dataclass(frozen=True, slots=True)
class Settings:
    """How the adjustment works; the numbers of the survey are not here.

    family_level   chance that a survey without any mistake loses a sighting
    iterations     at most so many;  step  the adjustment has converged when nothing moves further [m, rad]
    weak           a direction in which a sighting keeps less than this part of its error is not checked by the others
    earth_radius   plumb lines of two stations lean apart by their distance over this [m]
    """

    family_level: float = 0.05
    iterations: int = 30
    step: float = 1e-10
    weak: float = 1e-3
    earth_radius: float = 6.371e6


@dataclass(frozen=True, eq=False, slots=True)
class State:
    """Positions (S, 3) [m] and rotations (S, 3, 3) of the stations, points (T, 3) [m], in the survey frame."""

    position: Array
    rotation: Array
    points: Array


@dataclass(frozen=True, eq=False, slots=True)
class Weights:
    """Which readings count and how much: 1 / sigma^2 of readings (m, 3), 0 for one left out, and of levels (S,).

    at   where everything was thought to be when the readings were weighed; None when nobody noted it
    """

    readings: Array
    levels: Array
    at: State | None = None

    def pairs(self, network: Network) -> Array:
        """Weight (P, 3) of the mean of all rounds of each pair."""
        return Groups(network.pair).sum(self.readings)


def weigh(network: Network, instrument: Instrument, state: State) -> tuple[Array, Array]:
    """Standard deviations of readings (m, 3) and of the levels (S,), infinity when stations are free."""
    values, _, _ = geometry(network, state)
    sigma = spreads(instrument, values[:, 1], values[:, 2])[network.pair]
    level = np.inf if instrument.u_level is None else instrument.u_level
    return sigma, np.full(len(network.stations), level)


def geometry(network: Network, state: State) -> tuple[Array, Array, Array]:
    """Computed readings (P, 3) of every pair, and what they change by with the target (P, 3, 3) and station (P, 3, 6)."""
    s, t = network.pair_station, network.pair_target
    return readings_from(state.position[s], state.rotation[s], state.points[t])


def leans(state: State, settings: Settings) -> tuple[Array, Array]:
    """Lean of each station away from the plumb line where it stands (S, 2) [rad], and d/dw (S, 2, 3)."""
    lean, by_turn = tilt(state.rotation)
    return lean - state.position[:, [0, 2]] / settings.earth_radius, by_turn


def misclosures(network: Network, computed: Array) -> Array:
    """Read minus computed (m, 3), directions wrapped, 0 where nothing was read."""
    difference = network.values - computed[network.pair]
    difference[:, 0] = wrap(difference[:, 0])
    return np.where(np.isfinite(difference), difference, 0.0)


@dataclass(frozen=True, eq=False, slots=True)
class Normals:
    """Normal equations with the targets eliminated.

    stations   (6S, 6S) reduced matrix;  right  (6S,) reduced right-hand side
    target     (T, 3, 3) inverse blocks of the targets;  target_right  (T, 3)
    tie        (T, 3, 6S): a target moves by -tie @ d when the stations move by d
    frame      (6S, d) orthonormal motions of the stations that no reading notices
    size       typical diagonal element before the elimination: what "zero" is measured against
    """

    stations: Array
    right: Array
    target: Array
    target_right: Array
    tie: Array
    frame: Array
    size: float


def frame_motions(position: Array, levelled: bool) -> Array:
    """Motions (6S, 6 or 4) of all stations that no reading notices: shifts, and turns (about up only when levelled)."""
    count = len(position)
    axes = [1] if levelled else [0, 1, 2]
    motions = np.zeros((count, 6, 3 + len(axes)))
    motions[:, :3, :3] = np.eye(3)
    for column, axis in enumerate(axes, start=3):
        unit = np.eye(3)[axis]
        motions[:, :3, column] = np.cross(unit, position)
        motions[:, 3:, column] = unit
    orthonormal: Array = np.linalg.qr(motions.reshape(6 * count, -1))[0]
    return orthonormal


def build(network: Network, state: State, weights: Weights, settings: Settings) -> Normals:
    """Normal equations about a state; raises Undetermined when some target's block is singular."""
    S, T, _ = network.sizes
    s, t = network.pair_station, network.pair_target
    computed, by_point, by_station = geometry(network, state)
    mean_weight = weights.pairs(network)
    pull = Groups(network.pair).sum(weights.readings * misclosures(network, computed))

    point_side = by_point.transpose(0, 2, 1) * mean_weight[:, None, :]
    station_side = by_station.transpose(0, 2, 1) * mean_weight[:, None, :]
    of_target, of_station = Groups(t), Groups(s)
    blocks = of_target.sum(point_side @ by_point)
    weak = np.linalg.eigvalsh(blocks)
    singular = weak[:, 0] <= 1e-9 * weak[:, 2]
    if singular.any():
        names = [name for name, bad in zip(network.targets, singular, strict=True) if bad]
        raise Undetermined(names, "too few readings")
    inverse = np.asarray(np.linalg.inv(blocks), np.float64)
    target_right = of_target.sum((by_point.transpose(0, 2, 1) @ pull[:, :, None])[:, :, 0])

    spread_out = np.zeros((T, 3, S, 6))
    spread_out[t, :, s, :] = point_side @ by_station
    cross = spread_out.reshape(T, 3, 6 * S)
    tie: Array = inverse @ cross

    full = np.zeros((S, 6, S, 6))
    each = np.arange(S)
    full[each, :, each, :] = of_station.sum(station_side @ by_station)
    right = of_station.sum((by_station.transpose(0, 2, 1) @ pull[:, :, None])[:, :, 0])
    lean, by_turn = leans(state, settings)
    level = weights.levels[:, None, None] * by_turn.transpose(0, 2, 1)
    full[each, 3:, each, 3:] += level @ by_turn
    right[:, 3:] -= (level @ lean[:, :, None])[:, :, 0]
    size = float(np.einsum("iaia->", full)) / (6 * S)
    flat_cross, flat_tie = cross.reshape(3 * T, 6 * S), tie.reshape(3 * T, 6 * S)
    reduced = full.reshape(6 * S, 6 * S) - flat_tie.T @ flat_cross
    reduced_right = right.reshape(6 * S) - flat_tie.T @ target_right.reshape(3 * T)
    frame = frame_motions(state.position, bool((weights.levels > 0.0).any()))
    return Normals(reduced, reduced_right, inverse, target_right, tie, frame, size)


def station_cofactor(network: Network, normals: Normals) -> Array:
    """Cofactor (6S, 6S) of the stations under inner constraints; raises Undetermined naming loose stations."""
    size = normals.size
    held = normals.stations + size * normals.frame @ normals.frame.T
    scale = 1.0 / np.sqrt(np.diag(held))
    values, vectors = np.linalg.eigh(held * scale[:, None] * scale[None, :])
    if values[0] < 1e-11:
        part = (vectors[:, values < 1e-11] ** 2).sum(axis=1).reshape(-1, 6).sum(axis=1)
        raise Undetermined([network.stations[int(np.argmax(part))]], "its readings do not fix where it stands")
    inverse = (vectors / values) @ vectors.T * scale[:, None] * scale[None, :]
    cofactor: Array = inverse - normals.frame @ normals.frame.T / size
    return cofactor


@dataclass(frozen=True, eq=False, slots=True)
class Solution:
    """A converged adjustment.

    state      where everything is;  sigma  (m, 3) and level_sigma (S,) standard deviations behind the weights
    residual   (m, 3) read minus adjusted, 0 where nothing was read;  lean  (S, 2) of the stations [rad]
    stations   (6S, 6S) cofactor of the stations;  target (T, 3, 3), tie (T, 3, 6S)  as in :class:`Normals`
    by_point, by_station   (P, 3, 3) and (P, 3, 6);  by_turn  (S, 2, 3)
    square_sum, dof   weighted square sum of residuals and its degrees of freedom
    """

    state: State
    weights: Weights
    residual: Array
    lean: Array
    stations: Array
    target: Array
    tie: Array
    by_point: Array
    by_station: Array
    by_turn: Array
    square_sum: float
    dof: int

    @property
    def points_cofactor(self) -> Array:
        """Cofactor (3T, 3T) of the target coordinates under inner constraints on the stations."""
        count = len(self.target)
        tie = self.tie.reshape(3 * count, -1)
        full: Array = tie @ self.stations @ tie.T
        blocks = full.reshape(count, 3, count, 3)
        each = np.arange(count)
        blocks[each, :, each, :] += self.target
        return full

    def by_level(self) -> Array:
        """How the targets (3T, 2S) follow an error of each station's level [m/rad]."""
        stations = len(self.by_turn)
        pull = np.zeros((6 * stations, 2 * stations))
        for station, slope in enumerate(self.by_turn):
            rows = slice(6 * station + 3, 6 * station + 6)
            pull[rows, 2 * station : 2 * station + 2] = self.weights.levels[station] * slope.T
        follow: Array = -self.tie.reshape(-1, 6 * stations) @ (self.stations @ pull)
        return follow


def _moved(state: State, normals: Normals, cofactor: Array) -> tuple[State, float]:
    step = cofactor @ normals.right
    points = (normals.target @ normals.target_right[:, :, None])[:, :, 0] - normals.tie @ step
    each = step.reshape(-1, 6)
    new = State(state.position + each[:, :3], turned(state.rotation, each[:, 3:]), state.points + points)
    return new, max(float(np.abs(step).max()), float(np.abs(points).max()))


def solve(network: Network, weights: Weights, state: State, settings: Settings) -> Solution:
    """Adjust the network from a start: minimise sum ((read - computed) / sigma)^2 over readings and levels.

    Raises Undetermined when the readings do not fix some target or station, or when nothing converges.
    """
    for _ in range(settings.iterations):
        normals = build(network, state, weights, settings)
        cofactor = station_cofactor(network, normals)
        state, moved = _moved(state, normals, cofactor)
        if moved < settings.step:
            break
        if not np.isfinite(moved) or moved > 1e6:
            raise Undetermined(network.stations, "the adjustment diverged")
    else:
        raise Undetermined(network.stations, f"the adjustment did not settle in {settings.iterations} steps")
    return _finish(network, weights, state, settings, normals=normals, cofactor=cofactor)


def _finish(
    network: Network,
    weights: Weights,
    state: State,
    settings: Settings,
    *,
    normals: Normals,
    cofactor: Array,
) -> Solution:
    computed, by_point, by_station = geometry(network, state)
    residual = misclosures(network, computed)
    lean, by_turn = leans(state, settings)
    square_sum = float((weights.readings * residual**2).sum() + (weights.levels[:, None] * lean**2).sum())
    readings = int((weights.readings > 0.0).sum()) + 2 * int((weights.levels > 0.0).sum())
    unknowns = 6 * len(network.stations) + 3 * len(network.targets) - normals.frame.shape[1]
    return Solution(
        state,
        weights,
        residual,
        lean,
        cofactor,
        normals.target,
        normals.tie,
        by_point,
        by_station,
        by_turn,
        square_sum,
        readings - unknowns,
    )
