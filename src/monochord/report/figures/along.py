"""The axes along the girder: offsets from the common line, seen from above and from the side."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

from monochord.campaign.found.axes import Axis, CommonLine
from monochord.campaign.found.result import OccasionFinding, Result
from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.tolerance import Tolerance
from monochord.report.facts import COVERAGE, Known, axes_of, component, limit_of, offset_of
from monochord.report.plot import Scale, bottom_axis, error_bar, left_axis, panel
from monochord.report.svg import Picture, arrow, box, circle, group, ident, line, tag, text
from monochord.report.words import decimals_for, listed, number, offset_words, scaled

WIDTH, LEFT, RIGHT = 760.0, 46.0, 690.0
TALL, HEAD, ROW, GAP = 172.0, 36.0, 24.0, 34.0
UM = 1e6


@dataclass(frozen=True, slots=True)
class Standing:
    """One magnet in one plane, in µm: where it stands, its limit, and the tilt of its axis against the line [µrad]."""

    magnet: Magnet
    offset: Known
    limit: float | None
    tilt: float | None


def axes_picture(result: Result, found: OccasionFinding, line_found: CommonLine) -> Picture:
    """Plan view (x) above, side view (y) below, along z; intervals are 95 %."""
    magnets = result.campaign.girder.magnets
    planes = [[_standing(result, found, line_found, m, plane) for m in magnets] for plane in (0, 1)]
    along = along_scale(magnets)
    lifts = head_lifts(along, magnets)
    head = HEAD + max(lifts, default=0.0)
    tops = [20.0 + head, 20.0 + head + TALL + GAP + head]
    body = [
        text(LEFT, tops[0] - head - 4, f"{found.name}, seen from above: sideways, x [µm]", "heading"),
        _panel(along, planes[0], lifts, tops[0], ("left", "right")),
        text(LEFT, tops[1] - head - 4, f"{found.name}, seen from the side: height, y [µm]", "heading"),
        _panel(along, planes[1], lifts, tops[1], ("up", "down")),
    ]
    bottom = tops[1] + TALL
    body += [bottom_axis(along, bottom), beam_axis(bottom + 33)]
    return Picture(
        ident("axes", found.name),
        f"Magnetic axes about the common line, {found.name}",
        _told(magnets, planes),
        f"{found.name}: offsets of the magnetic axes from the common line ({line_found.rule}). Bars are 95 % "
        f"intervals ({COVERAGE} u); the slanted stroke through a dot is the slope of that axis against the line. "
        + band_words(result.campaign.tolerances, any(s.limit for s in planes[0])),
        WIDTH,
        bottom + 42,
        body,
    )


def band_words(tolerances: Iterable[Tolerance], drawn: bool) -> str:
    """What is said of the shaded band, or why there is none."""
    if drawn:
        return "The shaded band is the declared tolerance."
    other = any(t.quantity == "offset" for t in tolerances)
    return "The declared limits are no band about zero; see the verdicts." if other else "No tolerance is declared."


def _standing(result: Result, found: OccasionFinding, line_found: CommonLine, magnet: Magnet, plane: int) -> Standing:
    known = offset_of(line_found, magnet.name)[plane]
    limit = limit_of(result.campaign.tolerances, "offset", magnet.name)
    return Standing(
        magnet,
        Known(scaled(known.value, UM), scaled(known.u, UM)),
        scaled(limit, UM),
        _tilt(axes_of(found).get(magnet.name), line_found, plane),
    )


def _tilt(axis: Axis | None, line_found: CommonLine, plane: int) -> float | None:
    slope = component(axis.estimate, f"{axis.magnet}.slope_{'xy'[plane]}").value if axis else None
    return None if slope is None else (slope - line_found.slope[plane]) * UM


def along_scale(magnets: Sequence[Magnet]) -> Scale:
    """The girder's magnets from end to end, z to the right."""
    ends = [m.point[2] + s * max(m.length, 0.1) / 2 for m in magnets for s in (-1, 1)]
    room = 0.04 * (max(ends, default=1.0) - min(ends, default=-1.0))
    return Scale(min(ends, default=-1.0) - room, max(ends, default=1.0) + room, LEFT, RIGHT)


def _panel(
    along: Scale, standings: Sequence[Standing], lifts: Sequence[float], upper: float, words: tuple[str, str]
) -> str:
    lower = upper + TALL
    reach = max([1.0, *(1.12 * r for s in standings for r in reaches(s))])
    up = Scale(-reach, reach, lower, upper)
    places = decimals_for([s.offset.u for s in standings])
    return group(
        panel(LEFT, upper, RIGHT, lower),
        *(magnet_body(along, s.magnet, upper, lower) for s in standings),
        *(tolerance_band(along, up, standings)),
        left_axis(up, LEFT, RIGHT),
        line(LEFT, up(0.0), RIGHT, up(0.0), "zero"),
        side_words(up, words),
        *(_mark(along, up, s) for s in standings),
        *(magnet_head(along, s, lift, upper, places) for s, lift in zip(standings, lifts, strict=True)),
    )


def side_words(up: Scale, words: tuple[str, str]) -> str:
    """The signs in words, right of the panel."""
    x, middle, arm = RIGHT + 10, up(0.0), 0.3 * TALL
    return group(
        arrow(x, middle - 6, x, middle - arm, "beam"),
        arrow(x, middle + 6, x, middle + arm, "beam"),
        text(x + 7, middle - arm / 2 + 2, f"{words[0]} +", "side"),
        text(x + 7, middle + arm / 2 + 5, f"{words[1]} \N{MINUS SIGN}", "side"),
    )


def reaches(s: Standing) -> list[float]:
    """What a panel must hold of one magnet: the far end of its interval, and its limit."""
    value = abs(s.offset.value or 0.0) + COVERAGE * (s.offset.u or 0.0)
    return [value, s.limit or 0.0]


def magnet_body(along: Scale, magnet: Magnet, upper: float, lower: float) -> str:
    """The length that a magnet takes along the girder, over a panel's height."""
    half = max(magnet.length, 0.05) / 2
    left, right = along(magnet.point[2] - half), along(magnet.point[2] + half)
    return box(left, upper, right - left, lower - upper, "magnet")


def tolerance_band(along: Scale, up: Scale, standings: Sequence[Standing]) -> list[str]:
    """The tolerance: one band when all magnets share it, else one for each magnet."""
    limits = {s.limit for s in standings}
    if limits == {None}:
        return []
    if len(limits) == 1:
        return _band_between(up, LEFT, RIGHT, standings[0].limit or 0.0)
    parts = []
    for s in standings:
        if s.limit is not None:
            z, half = s.magnet.point[2], max(s.magnet.length, 0.1)
            parts += _band_between(up, along(z - half), along(z + half), s.limit)
    return parts


def _band_between(up: Scale, left: float, right: float, limit: float) -> list[str]:
    edges = [line(left, up(v), right, up(v), "limit") for v in (limit, -limit)]
    notes = [
        text(RIGHT + 5, up(v) + 3.5, f"limit {number(v, 0, sign=True)}", "limit-note")
        for v in (limit, -limit)
        if right == RIGHT
    ]
    return [box(left, up(limit), right - left, up(-limit) - up(limit), "band"), *edges, *notes]


def _mark(along: Scale, up: Scale, s: Standing) -> str:
    if s.offset.value is None:
        return text(along(s.magnet.point[2]), up(0.0) - 6, "not known", "note", anchor="middle")
    x, y, u = along(s.magnet.point[2]), up(s.offset.value), COVERAGE * (s.offset.u or 0.0)
    bar = error_bar(x, up(s.offset.value - u), up(s.offset.value + u))
    return group(_slope(along, up, s, s.offset.value), bar, circle(x, y, 3.4, "centre"))


def _slope(along: Scale, up: Scale, s: Standing, value: float) -> str:
    """The axis itself over the magnet's length, cut where it would leave the panel."""
    if s.tilt is None:
        return ""
    half, z = s.magnet.length / 2, s.magnet.point[2]
    if abs(s.tilt) * half > 0.0:
        half = min(half, (up.high - abs(value)) / abs(s.tilt))
    return line(along(z - half), up(value - half * s.tilt), along(z + half), up(value + half * s.tilt), "slope")


def head_lifts(along: Scale, magnets: Sequence[Magnet]) -> list[float]:
    """How far each head is lifted: heads of magnets that stand close take turns in two rows."""
    places = along.many(m.point[2] for m in magnets)
    close = any(b - a < 76.0 for a, b in itertools.pairwise(places))
    return [ROW if close and i % 2 else 0.0 for i in range(len(places))]


def magnet_head(along: Scale, s: Standing, lift: float, upper: float, places: int) -> str:
    """Name and value above the magnet."""
    x = along(s.magnet.point[2])
    value = "not known" if s.offset.value is None else number(s.offset.value, places, sign=True)
    spread = f" ± {number(s.offset.u, places)}" if s.offset.u is not None else ""
    name = tag("tspan", escape(s.magnet.name), x=x, class_="name")
    amount = tag("tspan", value + spread, x=x, dy=12)
    return tag("text", name, amount, y=upper - 18 - lift, text_anchor="middle", class_="value")


def beam_axis(y: float) -> str:
    """The way of the beam and the name of the axis, below a panel."""
    return group(
        arrow(LEFT, y - 4, LEFT + 44, y - 4, "beam", head=7),
        text(LEFT + 52, y, "beam", "side"),
        text((LEFT + RIGHT) / 2, y, "z along the girder [m]", "axis-title", anchor="middle"),
    )


def _told(magnets: Sequence[Magnet], planes: Sequence[Sequence[Standing]]) -> str:
    parts = []
    for x, y in zip(*planes, strict=True):
        words = offset_words(scaled(x.offset.value, 1e-6), scaled(y.offset.value, 1e-6))
        parts.append(f"{x.magnet.name} {words}")
    return f"{len(magnets)} magnets along the beam from left to right of the drawing: {listed(parts)}."
