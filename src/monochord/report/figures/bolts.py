"""The girder from above with every foot: what it bears, what was felt there, and how its bolt is to be turned."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monochord.campaign.found.plan import BoltPlan
from monochord.campaign.found.result import Result
from monochord.campaign.given.girder import Bolt, Girder
from monochord.report.bolting import DEGREES, DOES, MINUTES, does, felt_state, way_of
from monochord.report.facts import finite
from monochord.report.figures.network import EDGE, WIDTH, View
from monochord.report.svg import Picture, arrow, box, circle, group, ident, line, tag, text
from monochord.report.words import counted, listed, number

CARD, GAP, LEAD = 124.0, 6.0, 30.0
#: A row of cards holds at most so many; further feet begin a row of their own.
MOST_IN_ROW = 8
#: How far sideways bolts are drawn outside [drawing units].
ASIDE = 13.0
#: Bars of loads are at most so long [drawing units].
BAR = 74.0


@dataclass(frozen=True, slots=True)
class Card:
    """One foot's card: where its corner stands, and how wide it is."""

    bolt: Bolt
    left: float
    top: float
    wide: float


def bolts_picture(result: Result, plan: BoltPlan) -> Picture | None:
    """Plan view with a card for every foot; None when no bolt is described."""
    girder = result.campaign.girder
    if not girder.bolts:
        return None
    above, below = _rows(girder.bolts)
    top = 40.0 + _height(above)
    view = _plan_view(girder, top + LEAD)
    under = view.top + view.height + LEAD
    cards = [*_cards(above, 40.0), *_cards(below, under)]
    most = max([1.0, *(abs(finite(v) or 0.0) for v in (*plan.loads_before.values(), *plan.loads_after.values()))])
    end = under + _height(below)
    turns = [f"{name} {does(b, plan.turns.get(name, 0.0))}" for b in girder.bolts for name in [b.name]]
    return Picture(
        ident("bolts", plan.at),
        f"Feet and turns, {plan.at}",
        f"{counted(len(girder.bolts), 'bolt')}. {listed(turns)}.",
        f"{plan.at}, the girder from above: beam to the right, its left side upward. Each card tells what was felt at the "
        "foot, its load now (open bar) and after the turns (filled bar) in kN, and the turn. Circle empty: loose; half: "
        "touching; full: tight; square: held down; with a question mark: not felt.",
        WIDTH,
        end + 26,
        [
            text(EDGE, 16, f"{plan.at}: feet and turns, seen from above", "heading"),
            text(EDGE, 32, "left side of the girder", "side"),
            _body(girder, view),
            *(_leader(view, c, c.top < view.top) for c in cards),
            *(_foot(result, plan, view, c.bolt) for c in cards),
            *(_card(result, plan, c, most) for c in cards),
            text(EDGE, end + 16, "right side of the girder", "side"),
            arrow(WIDTH - 120, end + 12, WIDTH - 76, end + 12, "beam", head=7),
            text(WIDTH - 68, end + 16, "beam, z", "side"),
        ],
    )


def _rows(bolts: Sequence[Bolt]) -> tuple[list[list[Bolt]], list[list[Bolt]]]:
    """Bolts of the left side in rows above, of the right side below, along the beam; those in the middle to the emptier."""
    along = sorted(bolts, key=lambda b: b.point[2])
    left = [b for b in along if b.point[0] > 1e-3]
    right = [b for b in along if b.point[0] < -1e-3]
    for bolt in along:
        if bolt not in left and bolt not in right:
            (left if len(left) <= len(right) else right).append(bolt)
    return _broken(left), _broken(right)


def _broken(bolts: list[Bolt]) -> list[list[Bolt]]:
    """In rows of at most :data:`MOST_IN_ROW`: bolts that push alike share a row, so that no leader crosses a card."""
    along = sorted(bolts, key=lambda b: b.point[2])
    count = -(-len(along) // MOST_IN_ROW)
    return [along[i::count] for i in range(count)]


def _height(rows: Sequence[Sequence[Bolt]]) -> float:
    return len(rows) * (CARD + GAP)


def _cards(rows: Sequence[Sequence[Bolt]], top: float) -> list[Card]:
    cards = []
    for k, row in enumerate(rows):
        wide = min((WIDTH - 2 * EDGE + GAP) / max(len(row), 4) - GAP, 176.0)
        room = (WIDTH - 2 * EDGE + GAP) / len(row)
        cards += [
            Card(b, EDGE + i * room + (room - GAP - wide) / 2, top + k * (CARD + GAP), wide) for i, b in enumerate(row)
        ]
    return cards


def _plan_view(girder: Girder, top: float) -> View:
    points = np.array([*(b.point for b in girder.bolts), *(m.point for m in girder.magnets)])
    ends = [m.point[2] + s * m.length / 2 for m in girder.magnets for s in (-1, 1)]
    low, high = min([*points[:, 2], *ends]), max([*points[:, 2], *ends])
    size = (WIDTH - 2 * EDGE - 40.0) / max(float(high - low), 0.5)
    size = min(size, 150.0 / max(float(np.ptp(points[:, 0])), 0.2))
    reach = max(float(np.abs(points[:, 0]).max()), 0.15)
    z_low = float(low + high) / 2 - (WIDTH - 2 * EDGE) / size / 2
    return View("", 0, size, z_low, reach + 20.0 / size, top, 2 * reach * size + 40.0)


def _body(girder: Girder, view: View) -> str:
    """The girder between its outermost feet, and its magnets with their names."""
    points = np.array([b.point for b in girder.bolts])
    ends = [v for m in girder.magnets for v in (m.point[2] - m.length / 2, m.point[2] + m.length / 2)]
    left, upper = view.place(np.array([points[:, 0].max(), 0.0, min([*points[:, 2], *ends])]))
    right, lower = view.place(np.array([points[:, 0].min(), 0.0, max([*points[:, 2], *ends])]))
    parts = [box(left - 8, upper + 2, right - left + 16, max(lower - upper - 4, 8.0), "girder-body", corner=4)]
    for m in girder.magnets:
        x, y = view.place(np.array(m.point))
        wide = max(m.length * view.size, 8.0)
        parts += [
            box(x - wide / 2, y - 13, wide, 26, "magnet-body", corner=2),
            text(x, y + 4, m.name, "small", anchor="middle"),
        ]
    return group(*parts)


def _place(view: View, bolt: Bolt) -> tuple[float, float]:
    """Where a foot stands; a bolt that pushes sideways is drawn a little outside, clear of the foot it may stand at."""
    x, y = view.place(np.array(bolt.point))
    outside = ASIDE if way_of(bolt, 1.0) in ("left", "right") else 0.0
    return x, y - outside if bolt.point[0] > 0.0 else y + outside


def _leader(view: View, card: Card, above: bool) -> str:
    x, y = _place(view, card.bolt)
    start = card.top + CARD if above else card.top
    middle = card.left + card.wide / 2
    return line(middle, start, x, y + (-6 if above else 6), "leader")


def _foot(result: Result, plan: BoltPlan, view: View, bolt: Bolt) -> str:
    x, y = _place(view, bolt)
    return group(
        _symbol(x, y, felt_state(result, plan, bolt.name)), _sideways(x, y, bolt, plan.turns.get(bolt.name, 0.0))
    )


def _sideways(x: float, y: float, bolt: Bolt, turns: float) -> str:
    """An arrow on the girder where a turn pushes it level."""
    step = {"left": (0, -1), "right": (0, 1), "along beam": (1, 0), "against beam": (-1, 0)}.get(way_of(bolt, turns))
    if step is None:
        return ""
    return arrow(x + 9 * step[0] + 9, y + 9 * step[1], x + 27 * step[0] + 9, y + 27 * step[1], "turn", head=6)


def _symbol(x: float, y: float, state: str, size: float = 5.0) -> str:
    """The contact as a shape: never by colour alone."""
    word = state.removeprefix("felt ").split(" ")[0].rstrip(",")
    if word == "held":
        return box(x - size, y - size, 2 * size, 2 * size, "foot-full")
    ring = circle(x, y, size, "foot-full" if word == "tight" else "foot-open")
    if word == "touching":
        d = f"M{x - size:g} {y:g}A{size:g} {size:g} 0 0 0 {x + size:g} {y:g}Z"
        return group(ring, tag("path", d=d, class_="foot-half"))
    return group(ring, text(x, y + 3.2, "?", "small strong", anchor="middle")) if word == "not" else ring


def _card(result: Result, plan: BoltPlan, card: Card, most: float) -> str:
    bolt, turns = card.bolt, float(plan.turns.get(card.bolt.name, 0.0))
    state = felt_state(result, plan, bolt.name)
    loose = bolt.name in plan.loose
    x, y = card.left + 8, card.top
    parts = [*state.split(", "), *(["bring to touch first"] if loose else [])]
    strong = "small strong" if loose else "small"
    said = [text(x, y + 32 + 11 * k, part, strong) for k, part in enumerate(parts)]
    return group(
        box(card.left, card.top, card.wide, CARD, "card loose-card" if loose else "card", corner=3),
        _symbol(x + 5, y + 14, state),
        text(x + 15, y + 18, bolt.name, "name"),
        *said,
        _loads(plan, bolt.name, x, y + 27 + 11 * len(said), most),
        _turn(bolt, turns, x, y + 76),
    )


def _loads(plan: BoltPlan, name: str, x: float, y: float, most: float) -> str:
    parts = []
    for k, (loads, class_) in enumerate(((plan.loads_before, "load-now"), (plan.loads_after, "load-then"))):
        load = finite(loads.get(name))
        words = "not known" if load is None else f"{number(load * 1e-3, 1)}"
        wide = 0.55 * BAR * abs(load or 0.0) / most
        parts += [box(x, y + 11 * k, max(wide, 0.8), 7, class_), text(x + wide + 4, y + 11 * k + 7, words, "small")]
    return group(*parts)


def _turn(bolt: Bolt, turns: float, x: float, y: float) -> str:
    """What the turn does, how far, and how far round; an arrow where it raises or lowers."""
    if not turns:
        return text(x, y + 16, "leave", "note")
    up, low, high = way_of(bolt, turns), y + 27, y + 6
    ends = {"up": (low, high), "down": (high, low)}.get(up)
    marked = arrow(x + 4, ends[0], x + 4, ends[1], "turn", head=7) if ends else ""
    right = x + (14 if ends else 0)
    word, amount = DOES[up], f"{abs(turns) * bolt.thread_pitch * 1e6:.0f} µm"
    size = f"{number(abs(turns) * DEGREES, 0)}° = {number(abs(turns) * MINUTES, 1)} min"
    return group(
        marked,
        text(right, y + 13, word, "word strong"),
        text(right, y + 26, amount, "word strong"),
        text(x, y + 41, size, "small"),
    )
