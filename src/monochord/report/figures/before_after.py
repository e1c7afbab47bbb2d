"""Offsets of the magnets before and after the turns of a plan, with their intervals."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.campaign.found.plan import BoltPlan
from monochord.campaign.found.result import Result
from monochord.campaign.given.girder import Magnet
from monochord.ground.estimate import Estimate
from monochord.report.facts import COVERAGE, Known, component, limit_of
from monochord.report.figures.along import (
    LEFT,
    RIGHT,
    TALL,
    UM,
    WIDTH,
    Standing,
    along_scale,
    band_words,
    beam_axis,
    head_lifts,
    magnet_body,
    reaches,
    side_words,
    tolerance_band,
)
from monochord.report.plot import Scale, bottom_axis, error_bar, left_axis, panel
from monochord.report.svg import Picture, circle, group, ident, line, text
from monochord.report.words import decimals_for, listed, number, offset_words, scaled

HEAD, GAP = 44.0, 30.0
#: How far before and after stand from the magnet's middle [drawing units].
BESIDE = 7.0


def before_after_picture(result: Result, plan: BoltPlan) -> Picture | None:
    """Plan view (x) above, side view (y) below; None without magnets."""
    magnets = result.campaign.girder.magnets
    if not magnets:
        return None
    along = along_scale(magnets)
    lifts = [1.3 * lift for lift in head_lifts(along, magnets)]
    head = HEAD + max(lifts, default=0.0)
    tops = [14.0 + head, 14.0 + head + TALL + GAP + head]
    body = []
    for plane, (top, words) in enumerate(
        zip(tops, ("seen from above: sideways, x", "seen from the side: height, y"), strict=True)
    ):
        body.append(text(LEFT, top - head - 2, f"{plan.at}, {words} [µm]: now and after the turns", "heading"))
        body.append(_panel(result, plan, along, top, plane=plane, lifts=lifts))
    bottom = tops[1] + TALL
    return Picture(
        ident("before-after", plan.at),
        f"Offsets now and after the turns, {plan.at}",
        f"Expected after the turns: {listed(_told(plan, m) for m in magnets)}.",
        f"{plan.at}: offsets from the common line, now (open circle, upper number) and expected after the turns (filled "
        f"circle, lower number). Bars are 95 % intervals ({COVERAGE} u). "
        + band_words(result.campaign.tolerances, _limits(result)),
        WIDTH,
        bottom + 42,
        [*body, bottom_axis(along, bottom), beam_axis(bottom + 33)],
    )


def _limits(result: Result) -> bool:
    tolerances = result.campaign.tolerances
    return any(limit_of(tolerances, "offset", m.name) is not None for m in result.campaign.girder.magnets)


def _told(plan: BoltPlan, magnet: Magnet) -> str:
    x, y = (component(plan.offsets_after, f"{magnet.name}.{q}").value for q in "xy")
    return f"{magnet.name} {offset_words(x, y)}"


def _panel(result: Result, plan: BoltPlan, along: Scale, upper: float, *, plane: int, lifts: Sequence[float]) -> str:
    magnets = result.campaign.girder.magnets
    now = [_standing(result, plan.offsets_before, m, plane) for m in magnets]
    then = [_standing(result, plan.offsets_after, m, plane) for m in magnets]
    lower = upper + TALL
    reach = max([1.0, *(1.12 * r for s in (*now, *then) for r in reaches(s))])
    up = Scale(-reach, reach, lower, upper)
    places = decimals_for(s.offset.u for s in (*now, *then))
    pairs = list(zip(now, then, strict=True))
    return group(
        panel(LEFT, upper, RIGHT, lower),
        *(magnet_body(along, m, upper, lower) for m in magnets),
        *tolerance_band(along, up, now),
        left_axis(up, LEFT, RIGHT),
        line(LEFT, up(0.0), RIGHT, up(0.0), "zero"),
        side_words(up, (("left", "right"), ("up", "down"))[plane]),
        *(_marks(along, up, a, b) for a, b in pairs),
        *(_head(along, pair, lift, upper, places) for pair, lift in zip(pairs, lifts, strict=True)),
    )


def _standing(result: Result, estimate: Estimate, magnet: Magnet, plane: int) -> Standing:
    known = component(estimate, f"{magnet.name}.{'xy'[plane]}")
    limit = limit_of(result.campaign.tolerances, "offset", magnet.name)
    return Standing(magnet, Known(scaled(known.value, UM), scaled(known.u, UM)), scaled(limit, UM), None)


def _marks(along: Scale, up: Scale, now: Standing, then: Standing) -> str:
    x = along(now.magnet.point[2])
    if now.offset.value is None and then.offset.value is None:
        return text(x, up(0.0) - 6, "not known", "note", anchor="middle")
    return group(_mark(up, now.offset, x - BESIDE, "before"), _mark(up, then.offset, x + BESIDE, "after"))


def _mark(up: Scale, known: Known, x: float, class_: str) -> str:
    if known.value is None:
        return ""
    half = COVERAGE * (known.u or 0.0)
    return group(
        error_bar(x, up(known.value - half), up(known.value + half), cap=3.0), circle(x, up(known.value), 3.4, class_)
    )


def _head(along: Scale, pair: tuple[Standing, Standing], lift: float, upper: float, places: int) -> str:
    """Name, offset now, offset after."""
    x, y = along(pair[0].magnet.point[2]), upper - 30 - lift
    rows = [text(x, y, pair[0].magnet.name, "name", anchor="middle")]
    for k, standing in enumerate(pair):
        value, u = standing.offset.value, standing.offset.u
        amount = "not known" if value is None else number(value, places, sign=True)
        spread = f" ± {number(u, places)}" if u is not None else ""
        rows.append(text(x, y + 12 * (k + 1), amount + spread, "value" if k == 0 else "value strong", anchor="middle"))
    return group(*rows)
