"""How every number of an adjusted survey follows every single reading, asked one number at a time.

At convergence the residuals v of a least-squares adjustment obey G v = 0, and its gain obeys G J = 1 but for
motions of the whole. Laying the points onto nominal places n takes those out: with M the six rigid motions at
the points found, N the same at the nominal places and E the points that decide, the best rigid fit keeps
N' E (x - n) = 0, so that S = 1 - M (N' E M)^-1 N' E leaves x - n as it is, and kills M. Hence, without any
neglect, x = n + sum S G_i (v_i + J_i (x - n)), and S G_i is also how x follows reading i.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from monochord.campaign.found.points import PointSet, Residual
from monochord.campaign.given.survey import Instrument
from monochord.ground.frames import Rigid
from monochord.ground.trace import Place
from monochord.survey.adjust import Normals, Settings, State, build, station_cofactor
from monochord.survey.blunders import Cleaned
from monochord.survey.datum import rigid_motions
from monochord.survey.model import KINDS
from monochord.survey.network import Array, Flags


@dataclass(frozen=True, eq=False, slots=True)
class Counted:
    """A reading that counts: row and kind (of a lean: station and axis), the way to it, words, and its place.

    way   station, kind, carrier and name of the target
    """

    row: int
    kind: int
    way: tuple[str, str, str, str]
    words: str
    places: tuple[Place, ...]


#: Kind of the rows that levels make, and the axes along which a station may lean.
LEVELS, ACROSS = "level", ("x", "z")
#: Columns of a sighting, in the order of the kinds of reading.
COLUMNS = ("direction", "zenith", "distance")


@dataclass(frozen=True, eq=False)
class Laid:
    """A clean adjustment laid onto nominal places, kept to be asked; nothing is computed before it is.

    frame      frame in which it was adjusted -> girder frame;  move  the same frame -> survey frame
    used       (T,) targets that decided the fit;  nominal  (T, 3) [m], NaN where there is none
    carriers   (T,) in the order of the network;  raised  factor on the variance of the readings
    points     what was found;  kept  rows that were told last, by name
    """

    points: PointSet
    cleaned: Cleaned
    instrument: Instrument
    settings: Settings
    frame: Rigid
    move: Rigid
    used: Flags
    nominal: Array
    carriers: tuple[str, ...]
    raised: float
    kept: dict[str, object] = field(default_factory=dict)

    @cached_property
    def state(self) -> State:
        """Stations and points in the girder frame."""
        state = self.cleaned.solution.state
        turn = self.frame.rotation @ state.rotation
        return State(self.frame.apply(state.position), turn, self.frame.apply(state.points))

    @cached_property
    def departure(self) -> Array:
        """How far the points (T, 3) lie from their nominal places [m], 0 where there is none."""
        known = np.isfinite(self.nominal)
        apart: Array = np.where(known, self.state.points - np.where(known, self.nominal, 0.0), 0.0)
        return apart

    @cached_property
    def _normals(self) -> tuple[Normals, Array]:
        survey, solution = self.cleaned.survey, self.cleaned.solution
        normals = build(survey.network, solution.state, solution.weights, self.settings)
        return normals, station_cofactor(survey.network, normals)

    @cached_property
    def _motions(self) -> tuple[Array, Array, Array]:
        """M of the points (3T, 6), of the stations (S, 6, 6), and E N (3T, 6), about the middle of those that decide."""
        points, position = self.state.points, self.state.position
        about = points[self.used].mean(axis=0)
        stations = np.zeros((len(position), 6, 6))
        stations[:, :3] = rigid_motions(position, about).reshape(-1, 3, 6)
        stations[:, 3:, 3:] = np.eye(3)
        held = self._held(np.where(np.isfinite(self.nominal), self.nominal, 0.0), about)
        return rigid_motions(points, about), stations, held

    def _held(self, places: Array, about: Array) -> Array:
        held: Array = rigid_motions(places, about) * np.repeat(self.used, 3)[:, None]
        return held

    @cached_property
    def readings(self) -> tuple[dict[tuple[int, int], Residual], dict[tuple[int, int], Residual]]:
        """Records of the readings that count, by (row, kind), and of the leans, by (station, axis)."""
        told = iter(self.points.residuals)
        counted = np.argwhere(np.isfinite(self.cleaned.reliability.redundancy)).tolist()
        rows = {(int(row), int(kind)): next(told) for row, kind in counted}
        levels = np.flatnonzero(self.cleaned.solution.weights.levels > 0.0).tolist()
        return rows, {(int(station), axis): next(told) for station in levels for axis in (0, 1)}

    def in_datum(self, stations: Array, points: Array, *, inner: bool = False) -> tuple[Array, Array]:
        """S' h of a linear form h over stations (S, 6) and points (T, 3), girder frame.

        inner  True: over the points found in place of the nominal ones (N = M), as covariances are told
        """
        motions, of_stations, held = self._motions
        if inner:
            held = self._held(self.state.points, self.state.points[self.used].mean(axis=0))
        moved = motions.T @ points.reshape(-1) + np.einsum("sij,si->j", of_stations, stations)
        return stations, points - (held @ np.linalg.solve((held.T @ motions).T, moved)).reshape(-1, 3)

    def gains(self, stations: Array, points: Array, *, inner: bool = False) -> tuple[Array, Array]:
        """How h (S, 6), (T, 3) of the adjusted network follows each reading (m, 3) and each level (S, 2)."""
        held, laid = self.in_datum(stations, points, inner=inner)
        r = self.frame.rotation
        return self.free_gains(np.hstack([held[:, :3] @ r, held[:, 3:] @ r]), laid @ r)

    def free_gains(self, stations: Array, points: Array) -> tuple[Array, Array]:
        """The same for h in the frame of the adjustment, of a number that no motion of the whole changes."""
        normals, cofactor = self._normals
        network, solution = self.cleaned.survey.network, self.cleaned.solution
        count = len(network.stations)
        tie, s, t = normals.tie.reshape(-1, 6 * count), network.pair_station, network.pair_target
        y = cofactor @ (stations.reshape(-1) - tie.T @ points.reshape(-1))
        z = (normals.target @ points[:, :, None])[:, :, 0] - (tie @ y).reshape(-1, 3)
        each = y.reshape(count, 6)
        along = (solution.by_point @ z[t][:, :, None] + solution.by_station @ each[s][:, :, None])[:, :, 0]
        level = (solution.by_turn @ each[:, 3:, None])[:, :, 0]
        weights = solution.weights
        return weights.readings * along[network.pair], weights.levels[:, None] * level

    def said(self, stations: Array, points: Array) -> tuple[Array, Array]:
        """What each reading (m, 3) and level (S, 2) says of a departure d (S, 6), (T, 3), girder frame: v + J d."""
        network, solution, r = self.cleaned.survey.network, self.cleaned.solution, self.frame.rotation
        s, t = network.pair_station, network.pair_target
        held = np.hstack([stations[:, :3] @ r, stations[:, 3:] @ r])
        along = solution.by_point @ (points @ r)[t][:, :, None] + solution.by_station @ held[s][:, :, None]
        level = (solution.by_turn @ held[:, 3:, None])[:, :, 0]
        return solution.residual + along[network.pair, :, 0], level - solution.lean

    @cached_property
    def counted(self) -> tuple[Counted, ...]:
        """All readings that count, by row and kind."""
        network, weights = self.cleaned.survey.network, self.cleaned.solution.weights.readings
        found = []
        for row, kind in np.argwhere(weights > 0.0).tolist():
            s = network.sightings[row]
            way = (s.station, KINDS[kind], self.carriers[int(network.pair_target[network.pair[row]])], s.target)
            found.append(Counted(row, kind, way, self.words(row, kind), (self.place(row, kind),)))
        return tuple(found)

    @cached_property
    def levelled(self) -> tuple[Counted, ...]:
        """Both leans of all levels that count, by station and axis."""
        stations, weights = self.cleaned.survey.network.stations, self.cleaned.solution.weights.levels
        return tuple(
            Counted(s, axis, (name, LEVELS, "", ""), self.level_words(s, axis), (LEVEL,))
            for s, name in enumerate(stations)
            for axis in (0, 1)
            if weights[s] > 0.0
        )

    def words(self, row: int, kind: int) -> str:
        """A reading in words."""
        sighting = self.cleaned.survey.network.sightings[row]
        return f"{KINDS[kind]} from {sighting.station} to {sighting.target}, round {sighting.round}"

    def level_words(self, station: int, axis: int) -> str:
        """A lean in words."""
        return f"level of {self.cleaned.survey.network.stations[station]}, towards {ACROSS[axis]}"

    def station(self, name: str) -> int | None:
        """Number of a station, None when it is not in the adjustment."""
        names = self.cleaned.survey.network.stations
        return names.index(name) if name in names else None

    def target(self, name: str) -> int | None:
        """Number of a target in the network, None when it is not determined."""
        names = self.cleaned.survey.network.targets
        return names.index(name) if name in names else None

    def place(self, row: int, kind: int) -> Place:
        """Where a reading stands."""
        sighting = self.cleaned.survey.network.sightings[row]
        return Place(sighting.file, sighting.line, COLUMNS[kind])

    def first_place(self, station: int) -> Place:
        """The first row of a station."""
        network = self.cleaned.survey.network
        own = np.flatnonzero(network.pair_station[network.pair] == station)
        row = min(own.tolist(), key=lambda i: (network.sightings[i].file, network.sightings[i].line))
        return self.place(row, 0)

    @property
    def left_out(self) -> str:
        """How many sightings and levels do not count, in words."""
        out = int(self.cleaned.survey.out.any(axis=1).sum())
        levels = int(self.cleaned.survey.level_out.sum())
        words = f"; {out} sighting{'s' if out != 1 else ''} left out" if out else "; no sighting was left out"
        return words + (f", {levels} level{'s' if levels != 1 else ''} left out" if levels else "")


def zeros(laid: Laid) -> tuple[Array, Array]:
    """A linear form, or a departure, of nothing: stations (S, 6), points (T, 3)."""
    stations, targets, _ = laid.cleaned.survey.network.sizes
    return np.zeros((stations, 6)), np.zeros((targets, 3))


#: Settings by which readings are weighed, by kind of reading.
ANGLES = (Place("", 0, "instrument.u_angle"),)
RANGES = tuple(Place("", 0, f"instrument.{key}") for key in ("u_range", "u_range_ratio", "range_sum"))
LEVEL = Place("", 0, "instrument.u_level")
