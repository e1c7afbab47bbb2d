"""The survey: where the instrument stood, what it sighted, and how well the targets are known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import Result
from monochord.campaign.given.girder import Magnet
from monochord.report.facts import blocks, in_girder_frame, station_in_girder
from monochord.report.plot import ELLIPSE_95, Spot, ellipse, labels, round_step, scale_bar
from monochord.report.svg import Picture, arrow, box, circle, cross, group, ident, line, tag, text
from monochord.report.words import counted, listed, sight

Array = NDArray[np.float64]

WIDTH, EDGE, TOP, GAP = 760.0, 16.0, 34.0, 40.0
UPWARD = ("seen from above: beam to the right, its left side upward", "seen from the side: height upward")


@dataclass(frozen=True, slots=True)
class View:
    """A flat view at true proportions: z to the right, one other coordinate upward.

    title  printed above it;  axis  which coordinate goes upward: 0 x (from above), 1 y (from the side)
    size  drawing units per metre;  z_low  left edge [m];  high  upper edge [m];  top  of the drawing
    """

    title: str
    axis: int
    size: float
    z_low: float
    high: float
    top: float
    height: float

    def place(self, xyz: Array) -> tuple[float, float]:
        """Where a point of the girder frame stands in the drawing."""
        right, down = float(xyz[2]) - self.z_low, self.high - float(xyz[self.axis])
        return EDGE + right * self.size, self.top + down * self.size

    def flat(self, cov: Array) -> Array:
        """Covariance (2, 2) of (rightwards, upwards)."""
        rows = [2, self.axis]
        part: Array = cov[np.ix_(rows, rows)]
        return part


def two_views(occasion: str, places: Sequence[Array], *, most: float) -> tuple[View, View, float]:
    """Plan and elevation of the same places at one size, below each other; also where they end.

    most  greatest height of the plan [drawing units]
    """
    cloud = np.array(places)
    low, high = cloud.min(axis=0), cloud.max(axis=0)
    room = 0.05 * max(float((high - low).max()), 0.5)
    low, high = low - room, high + room
    size = min((WIDTH - 2 * EDGE) / float(high[2] - low[2]), most / float(high[0] - low[0]))
    z_low = float(low[2]) - ((WIDTH - 2 * EDGE) / size - float(high[2] - low[2])) / 2
    titles = [f"{occasion}, {words}" for words in UPWARD]
    plan = View(titles[0], 0, size, z_low, float(high[0]), TOP, float(high[0] - low[0]) * size)
    below = TOP + plan.height + GAP
    side = View(titles[1], 1, size, z_low, float(high[1]), below, float(high[1] - low[1]) * size)
    return plan, side, below + side.height


@dataclass(frozen=True, eq=False, slots=True)
class Net:
    """What the network's two views share, all in the girder frame; ``size`` is drawing units per metre of an ellipse."""

    magnets: tuple[Magnet, ...]
    points: PointSet
    known: Mapping[str, tuple[Array, Array]]
    stations: Mapping[str, Array]
    size: float


def network_picture(result: Result, occasion: str, points: PointSet) -> Picture | None:
    """Stations, sight lines (rejected ones marked) and all targets, from above and from the side; None without any."""
    known = blocks(in_girder_frame(points), points.names)
    stations = {s.name: station_in_girder(points, s.pose) for s in points.stations}
    everywhere = [xyz for xyz, _ in known.values()] + list(stations.values())
    if not everywhere:
        return None
    plan, side, end = two_views(occasion, everywhere, most=430.0)
    size = _ellipse_size([cov for _, cov in known.values()], 7.0)
    net = Net(result.campaign.girder.magnets, points, known, stations, size)
    return Picture(
        ident("network", occasion),
        f"Survey network, {occasion}",
        _told(points, stations),
        f"{occasion}: {counted(len(stations), 'station')} and {counted(len(known), 'target')} in the girder frame. "
        "Squares are stations, dots are targets, thin lines are sightings; a dashed line with a cross was left out. "
        "Ellipses hold 95 % and are enlarged: they have a scale of their own.",
        WIDTH,
        end + 46,
        [_network(net, plan), _network(net, side), _bars(end + 30, plan.size, size), _beam_arrow(end + 30)],
    )


def _network(net: Net, view: View) -> str:
    left_out = {(r.station, r.target) for r in net.points.rejected}
    kept = {(r.station, r.target) for r in net.points.residuals} - left_out
    places = {n: view.place(xyz) for n, (xyz, _) in net.known.items()}
    stands = {n: view.place(xyz) for n, xyz in net.stations.items()}
    walls = [n for n in net.known if net.points.carriers.get(n) == "wall"]
    spots = [Spot(*places[n], n, 6.0) for n in walls] + [Spot(*stands[n], n, 7.0) for n in stands]
    wrong = [(s, t) for s, t in sorted(left_out) if s in stands and t in places]
    notes = [Spot(*_towards(stands[s], places[t]), f"{s} to {t} left out", 7.0) for s, t in wrong]
    return group(
        text(EDGE, view.top - 8, view.title, "heading"),
        *(_magnet(view, m) for m in net.magnets),
        tag("path", d="".join(_sights(kept, stands, places)), class_="sight"),
        *(ellipse(*places[n], view.flat(cov), net.size, "spread") for n, (_, cov) in net.known.items()),
        *(circle(*place, 1.8, "target") for place in places.values()),
        *(box(x - 5, y - 5, 10, 10, "station") for x, y in stands.values()),
        *(_left_out(stands[s], places[t]) for s, t in wrong),
        labels(spots, "station-name", letter=6.6, height=10.0),
        labels(notes, "warning", letter=5.8, height=10.0) if view.axis == 0 else "",
    )


def _sights(
    pairs: Iterable[tuple[str, str]],
    stands: Mapping[str, tuple[float, float]],
    places: Mapping[str, tuple[float, float]],
) -> list[str]:
    return [
        "M{:.1f} {:.1f}L{:.1f} {:.1f}".format(*stands[s], *places[t])
        for s, t in sorted(pairs)
        if s in stands and t in places
    ]


def _towards(start: tuple[float, float], end: tuple[float, float]) -> tuple[float, float]:
    """The place at two thirds of the way, where the mark of a rejected sighting stands."""
    return (start[0] + 2 * end[0]) / 3, (start[1] + 2 * end[1]) / 3


def _left_out(start: tuple[float, float], end: tuple[float, float]) -> str:
    return group(line(*start, *end, "left-out"), cross(*_towards(start, end), 4.5, "left-out-mark"))


def _magnet(view: View, magnet: Magnet) -> str:
    x, y = view.place(np.array(magnet.point))
    wide = max(magnet.length * view.size, 3.0)
    return box(x - wide / 2, y - 5, wide, 10, "magnet-body", corner=1.5)


def _ellipse_size(covs: Sequence[Array], wanted: float) -> float:
    """Drawing units per metre of an ellipse, so that the middle one has about the wanted greatest semi-axis."""
    longest = [ELLIPSE_95 * float(np.sqrt(max(np.linalg.eigvalsh(c)[-1], 0.0))) for c in covs]
    middle = float(np.median(longest)) if longest else 0.0
    return wanted / middle if middle > 0.0 else 1.0


def _bars(y: float, geometry: float, size: float) -> str:
    metre = round_step(110.0 / geometry, 1)
    micron = round_step(30.0 / size * 1e6, 1)
    times = float(f"{size / geometry:.2g}")
    return group(
        scale_bar(EDGE, y, metre * geometry, f"{metre:g} m"),
        scale_bar(EDGE + 190, y, micron * 1e-6 * size, f"{micron:g} µm, ellipses ({times:,.0f} times enlarged)"),
    )


def _beam_arrow(y: float) -> str:
    return group(arrow(WIDTH - 120, y, WIDTH - 76, y, "beam", head=7), text(WIDTH - 68, y + 4, "beam, z", "side"))


def _told(points: PointSet, stations: Mapping[str, Array]) -> str:
    where = [f"{n} at x {xyz[0]:.1f}, y {xyz[1]:.1f}, z {xyz[2]:.1f} m" for n, xyz in stations.items()]
    left_out = dict.fromkeys(sight(r.station, r.target) for r in points.rejected)
    return f"Stations: {listed(where)}. Left out: {listed(left_out)}."


def targets_picture(result: Result, occasion: str, points: PointSet) -> Picture | None:
    """The targets of girder and magnets with their names and ellipses; None when there is none."""
    known = blocks(in_girder_frame(points), [n for n in points.names if points.carriers.get(n) != "wall"])
    if not known:
        return None
    plan, side, end = two_views(occasion, [xyz for xyz, _ in known.values()], most=300.0)
    size = _ellipse_size([cov for _, cov in known.values()], 11.0)
    return Picture(
        ident("targets", occasion),
        f"Targets on girder and magnets, {occasion}",
        f"{counted(len(known), 'target')} with their 95 % ellipses; the table of targets holds every number.",
        f"{occasion}: targets on girder and magnets with 95 % ellipses, enlarged.",
        WIDTH,
        end + 46,
        [
            *(_targets(result, known, view, size) for view in (plan, side)),
            _bars(end + 30, plan.size, size),
            _beam_arrow(end + 30),
        ],
    )


def _targets(result: Result, known: Mapping[str, tuple[Array, Array]], view: View, size: float) -> str:
    places = {n: view.place(xyz) for n, (xyz, _) in known.items()}
    clear = {n: ELLIPSE_95 * size * float(np.sqrt(cov[view.axis, view.axis])) for n, (_, cov) in known.items()}
    names = [Spot(*place, n, clear[n]) for n, place in places.items()] if view.axis == 0 else []
    return group(
        text(EDGE, view.top - 8, view.title, "heading"),
        *(_magnet(view, m) for m in result.campaign.girder.magnets),
        *(ellipse(*places[n], view.flat(cov), size, "spread") for n, (_, cov) in known.items()),
        *(circle(*place, 1.8, "target") for place in places.values()),
        labels(names, "target-name", letter=5.2),
    )
