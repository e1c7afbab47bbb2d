"""Start values from nothing but the readings: stations are joined by the targets they share.

Each station's sightings are a cloud of points in its own axes. Distances between points do not
depend on axes, so two clouds are compared by them first; what disagrees is set aside, and the rest
gives the rigid motion from one cloud to the other. No nominal coordinate is needed.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from monochord.campaign.given.survey import Instrument
from monochord.ground.frames import fit_rigid
from monochord.survey.model import UPRIGHT, from_polar, spreads
from monochord.survey.network import Array, Flags, Ints, Network

#: Places that differ by more than so many standard deviations disagree; far beyond any noise.
FAR = 8.0
#: Clouds thinner than this across their longest line cannot fix a rotation about it [m].
THIN = 5e-3


@dataclass(frozen=True, eq=False, slots=True)
class Start:
    """Where everything is, to a fraction of a millimetre.

    position (S, 3) [m], rotation (S, 3, 3) station -> survey, points (T, 3) [m]: NaN for what is not placed
    doubtful (P,) pairs that disagree with the others about their target;  reasons  station or target -> why not placed
    """

    position: Array
    rotation: Array
    points: Array
    doubtful: Flags
    reasons: dict[str, str] = field(default_factory=dict)

    @property
    def placed(self) -> Flags:
        """Which stations are placed (S,)."""
        return np.isfinite(self.position[:, 0])


def pair_places(network: Network) -> Array:
    """Where each pair's station saw its target, in the station's axes (P, 3) [m]; NaN without all three readings.

    The first round stands for all where rounds agree to a millimetre; where they do not, their median does.
    """
    places = from_polar(network.values)
    first = np.searchsorted(network.pair, np.arange(network.sizes[2]))
    chosen = places[first]
    apart = np.abs(places - chosen[network.pair]).max(axis=1)
    for pair in np.unique(network.pair[~(apart < 1e-3)]):
        rows = places[network.pair == pair]
        rows = rows[np.isfinite(rows).all(axis=1)]
        if len(rows):
            chosen[pair] = np.median(rows, axis=0)
    return chosen


def _lengths(points: Array) -> Array:
    apart: Array = np.sqrt(((points[:, None] - points[None]) ** 2).sum(axis=2))
    return apart


def agreeing(a: Array, b: Array, limit: Array) -> Flags:
    """Which points of two clouds (n, 3) have the same mutual distances within limit (n, n) [m].

    The point with the most disagreeing distances is set aside until none disagrees.

    >>> square = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0], [2, 0, 1]])
    >>> agreeing(square, square + np.outer([0, 0, 0, 0, 1], [0, 0, 0.1]), np.full((5, 5), 1e-3)).tolist()
    [True, True, True, True, False]
    """
    apart = np.abs(_lengths(a) - _lengths(b))
    # A wrong specification must not tear everything apart: half of all distances count as good.
    off = np.triu_indices(len(a), 1)
    typical = float(np.median(apart[off])) if len(a) > 3 else 0.0
    wrong = apart > np.maximum(limit, FAR * typical)
    kept = np.ones(len(a), np.bool_)
    while wrong.any():
        # Most disagreements go first; the size of them decides between equals.
        votes = wrong.sum(axis=1)
        worst = int(np.lexsort(((apart * wrong).sum(axis=1), votes))[-1])
        kept[worst] = False
        wrong[worst, :] = wrong[:, worst] = False
    return kept


@dataclass(frozen=True, eq=False, slots=True)
class _Clouds:
    """What joining needs: the network, places and their spreads by pair, and whether stations stand upright."""

    network: Network
    places: Array
    spread: Array
    levelled: bool

    @classmethod
    def of(cls, network: Network, instrument: Instrument) -> _Clouds:
        places = pair_places(network)
        far = np.sqrt((places**2).sum(axis=1))
        across = instrument.u_angle * far
        along = spreads(instrument, np.full(len(far), np.pi / 2), far)[:, 2]
        # Nothing is read better than the files are written: a tenth of a micrometre stands below all.
        spread = np.sqrt(2.0 * across**2 + along**2 + 1e-14)
        return cls(network, places, spread, instrument.u_level is not None)

    def of_station(self, station: int) -> tuple[Ints, Ints]:
        """Pairs of a station with a place, and their targets."""
        pairs = np.flatnonzero((self.network.pair_station == station) & np.isfinite(self.places[:, 0]))
        return pairs, self.network.pair_target[pairs]


#: Motions of the stations that hang together, and why others do not.
_Cluster = tuple[dict[int, tuple[Array, Array]], dict[int, str]]


def _heading_fit(source: Array, target: Array) -> tuple[Array, Array]:
    """Rotation about up and shift (upright stations): survey = turn(heading) UPRIGHT place + shift."""
    a, b = source @ UPRIGHT.T, target
    da, db = a - a.mean(axis=0), b - b.mean(axis=0)
    turn = np.arctan2((da[:, 2] * db[:, 0] - da[:, 0] * db[:, 2]).sum(), (da[:, [0, 2]] * db[:, [0, 2]]).sum())
    cos, sin = np.cos(turn), np.sin(turn)
    rotation = np.array([[cos, 0.0, sin], [0.0, 1.0, 0.0], [-sin, 0.0, cos]]) @ UPRIGHT
    return rotation, b.mean(axis=0) - rotation @ source.mean(axis=0)


def extents(points: Array) -> tuple[float, float]:
    """Root mean square extent along the longest and along the second direction [m]."""
    s = np.linalg.svd(points - points.mean(axis=0), compute_uv=False) / np.sqrt(len(points))
    return float(s[0]), float(s[1])


def _motion(source: Array, target: Array, levelled: bool) -> tuple[Array, Array] | str:
    """The motion from a station's axes to the survey frame, or why there is none."""
    count = len(source)
    if count >= 3 and extents(source)[1] > THIN:
        rigid = fit_rigid(source, target, frames=("station", "survey"))
        return rigid.rotation, rigid.shift
    if levelled and count >= 2 and extents(source @ UPRIGHT.T * [1.0, 0.0, 1.0])[0] > THIN:
        return _heading_fit(source, target)
    need = "two targets" if levelled else "three targets that do not lie on one line"
    return f"it shares {count} agreeing targets with the other stations; it needs {need}"


def _misfit(source: Array, target: Array) -> float:
    rigid = fit_rigid(source, target, frames=("a", "b"))
    return float(np.sqrt(((rigid.apply(source) - target) ** 2).mean()))


def mirrored(source: Array, target: Array) -> bool:
    """Whether points (n, 3) fit their counterparts far better in a mirror than as they are.

    >>> corner = np.array([[0.0, 0, 0], [1, 0, 0], [0, 2, 0], [0, 0, 3]])
    >>> mirrored(corner, corner * [1, 1, -1]), mirrored(corner, corner + 1.0)
    (True, False)
    """
    if len(source) < 4 or min(extents(source)[1], extents(target)[1]) <= THIN:
        return False
    plain, glass = _misfit(source, target), _misfit(source * [1.0, 1.0, -1.0], target)
    return plain > 1e-3 and plain > 10.0 * glass


def _join(clouds: _Clouds, station: int, cloud: Array, cloud_spread: Array) -> tuple[Array, Array] | str:
    """Motion of one station onto the points known so far, or why it cannot be joined."""
    pairs, targets = clouds.of_station(station)
    if len(pairs) == 0:
        return "none of its sightings has direction, zenith angle and distance"
    common = np.isfinite(cloud[targets, 0])
    source, target = clouds.places[pairs[common]], cloud[targets[common]]
    if len(source) == 0:
        return "it shares no target with the other stations"
    u = clouds.spread[pairs[common]] ** 2 + cloud_spread[targets[common]] ** 2
    kept = agreeing(source, target, FAR * np.sqrt(u[:, None] + u[None]))
    if mirrored(source[kept], target[kept]):
        return "mirrored frame: its targets fit those of the other stations only in a mirror"
    return _motion(source[kept], target[kept], clouds.levelled)


def _cluster(clouds: _Clouds, first: int, free: set[int]) -> _Cluster:
    """Stations that can be joined to the first, with their motions; and why the others cannot."""
    cloud = np.full((len(clouds.network.targets), 3), np.nan)
    spread = np.zeros(len(cloud))
    motions: dict[int, tuple[Array, Array]] = {first: (UPRIGHT, np.zeros(3))}
    refused: dict[int, str] = {}
    latest: int | None = first
    while latest is not None:
        pairs, targets = clouds.of_station(latest)
        new = np.isnan(cloud[targets, 0])
        rotation, shift = motions[latest]
        cloud[targets[new]] = clouds.places[pairs[new]] @ rotation.T + shift
        spread[targets[new]] = clouds.spread[pairs[new]]
        latest = None
        shared = {s: int(np.isfinite(cloud[clouds.of_station(s)[1], 0]).sum()) for s in free - set(motions)}
        for station in sorted(shared, key=lambda s: (-shared[s], s)):
            motion = _join(clouds, station, cloud, spread)
            if not isinstance(motion, str):
                motions[station], latest = motion, station
                refused.pop(station, None)
                break
            refused[station] = motion
    return motions, refused


def _best_cluster(clouds: _Clouds, wanted: Flags) -> _Cluster:
    """The joined stations that see most of the wanted targets, then most targets at all."""
    free = set(range(len(clouds.network.stations)))
    found: list[tuple[tuple[int, int], _Cluster]] = []
    while free:
        first = max(sorted(free), key=lambda s: len(clouds.of_station(s)[0]))
        motions, refused = _cluster(clouds, first, free)
        seen = np.unique(clouds.network.pair_target[np.isin(clouds.network.pair_station, list(motions))])
        found.append(((int(wanted[seen].sum()), len(seen)), (motions, refused)))
        free -= set(motions)
    return max(found, key=lambda worth_and_cluster: worth_and_cluster[0])[1]


def _consensus(places: Array, spread: Array) -> Flags:
    """Which of several places of one target (k, 3) belong to the largest group that agrees."""
    apart = _lengths(places) <= FAR * np.sqrt(spread[:, None] ** 2 + spread[None] ** 2) + 1e-4
    group: Flags = apart[int(np.argmax(apart.sum(axis=1)))]
    return group


def _crossing(clouds: _Clouds, pairs: Ints, position: Array, rotation: Array) -> Array | None:
    """Where the sight lines (direction and zenith angle) of several stations to one target cross, or None."""
    values = clouds.network.values[np.searchsorted(clouds.network.pair, pairs)].copy()
    values[:, 2] = 1.0
    sights = np.isfinite(values).all(axis=1)
    station = clouds.network.pair_station[pairs[sights]]
    line = (rotation[station] @ from_polar(values[sights])[:, :, None])[:, :, 0]
    across = np.eye(3) - line[:, :, None] * line[:, None, :]
    normal = across.sum(axis=0)
    if len(line) < 2 or np.linalg.eigvalsh(normal)[0] < 1e-4:
        return None
    crossing: Array = np.linalg.solve(normal, (across @ position[station][:, :, None]).sum(axis=0)[:, 0])
    return crossing


def _points(clouds: _Clouds, position: Array, rotation: Array) -> tuple[Array, Flags, dict[str, str]]:
    network = clouds.network
    station = network.pair_station
    at = (rotation[station] @ clouds.places[:, :, None])[:, :, 0] + position[station]
    points = np.full((len(network.targets), 3), np.nan)
    doubtful = np.zeros(len(at), np.bool_)
    reasons: dict[str, str] = {}
    by_target = np.argsort(network.pair_target, kind="stable")
    edges = np.searchsorted(network.pair_target[by_target], np.arange(len(points) + 1))
    for target, name in enumerate(network.targets):
        pairs = by_target[edges[target] : edges[target + 1]]
        pairs = pairs[np.isfinite(position[station[pairs], 0])]
        full = pairs[np.isfinite(at[pairs, 0])]
        if len(full):
            agree = _consensus(at[full], clouds.spread[full])
            points[target] = at[full[agree]].mean(axis=0)
            # Two that disagree stay in: which of them is wrong is for the adjustment to say.
            doubtful[full[~agree]] = agree.sum() > 1
            continue
        crossing = _crossing(clouds, pairs, position, rotation) if len(pairs) else None
        if crossing is not None:
            points[target] = crossing
        elif len(pairs):
            reasons[name] = "no station read direction, zenith angle and distance to it, and no two sight lines cross"
        else:
            reasons[name] = "it was sighted only from stations that could not be joined to the others"
    return points, doubtful, reasons


def start(network: Network, instrument: Instrument, wanted: Flags) -> Start:
    """Poses and points to start the adjustment from, in a survey frame of the first station.

    wanted  (T,) targets that matter; of several groups of stations that share too little, the one that sees most of
            them is kept, and the others are named with the reason
    """
    clouds = _Clouds.of(network, instrument)
    motions, refused = _best_cluster(clouds, wanted)
    position = np.full((len(network.stations), 3), np.nan)
    rotation = np.full((len(network.stations), 3, 3), np.nan)
    for station, (turn, shift) in motions.items():
        position[station], rotation[station] = shift, turn
    reasons = {
        name: refused.get(i, "it shares too few targets with the stations that see the girder")
        for i, name in enumerate(network.stations)
        if i not in motions
    }
    points, doubtful, why = _points(clouds, position, rotation)
    return Start(position, rotation, points, doubtful, {**reasons, **why})
