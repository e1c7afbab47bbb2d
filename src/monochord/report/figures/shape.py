"""What changed between two occasions, drawn on the girder: its bend, its targets, and magnets that moved by themselves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.comparison import Comparison, OwnMove, TargetMove
from monochord.campaign.found.result import Result
from monochord.campaign.given.girder import Magnet
from monochord.report.displacements import Displacement, displacements
from monochord.report.facts import COVERAGE, Known, component
from monochord.report.figures.along import head_lifts
from monochord.report.figures.network import EDGE, UPWARD, WIDTH, View
from monochord.report.plot import Scale, error_bar, round_step, scale_bar
from monochord.report.svg import Picture, arrow, box, circle, group, ident, line, polyline, tag, text
from monochord.report.words import decimals_for, height_word, listed, number, scaled, side_word

Array = NDArray[np.float64]

HEAD, ROOM, GAP = 50.0, 48.0, 22.0
#: The largest arrow of a drawing [drawing units].
LONGEST = 42.0
#: Degree of the curve that guides the eye along the girder: a beam between its feet bends so or less.
DEGREE = 4


@dataclass(frozen=True, eq=False, slots=True)
class Drawn:
    """What both views share; ``size`` is drawing units per metre of a displacement."""

    magnets: tuple[Magnet, ...]
    moves: Mapping[str, OwnMove]
    targets: Mapping[str, Displacement]
    alone: Mapping[str, TargetMove]
    size: float


def shape_picture(result: Result, found: Comparison) -> Picture | None:
    """Plan and elevation with what moved, enlarged; None when neither targets nor own moves are known."""
    targets = displacements(result, found)
    moves = {move.magnet: move for move in found.own_moves}
    magnets = result.campaign.girder.magnets
    if not targets and not (moves and magnets):
        return None
    alone = {move.target: move for move in found.targets_moved if move.found}
    plain = Drawn(magnets, moves, targets, alone, 1.0)
    drawn = Drawn(magnets, moves, targets, alone, LONGEST / max(_largest(plain), 1e-9))
    plan, side, end = _views(found, drawn)
    return Picture(
        ident("shape", found.start, found.end),
        f"What changed from {found.start} to {found.end}",
        f"{found.sentence} Own moves: {listed(_own_words(m, moves.get(m.name)) for m in magnets)}.",
        f"From {found.start} to {found.end}, rigid motion and scale taken out, all moves enlarged. Thin arrows: targets on "
        "the girder; dotted arrows: targets on magnets; the bent outline is a smooth curve through the girder's targets to "
        f"guide the eye; an arrow with a stroke across is cut short. Thick arrows: the magnets' own moves at their axes with "
        f"their 95 % intervals ({COVERAGE} u); the "
        "numbers above are own moves ± u in µm.",
        WIDTH,
        end + 44,
        [_view(drawn, plan), _view(drawn, side), _bars(end + 30, plan.size, drawn.size)],
    )


def _largest(drawn: Drawn) -> float:
    """The largest displacement across the beam [m] that the drawing must hold; targets that moved by themselves are cut."""
    moved = [float(np.abs(d.move[:2]).max()) for n, d in drawn.targets.items() if n not in drawn.alone]
    for move in drawn.moves.values():
        for axis in (0, 1):
            own = _own(move, axis)
            moved.append(abs(own.value or 0.0) + COVERAGE * (own.u or 0.0))
    return max(moved, default=0.0)


def _own(move: OwnMove, axis: int) -> Known:
    return component(move.estimate, f"{move.magnet}.d{'xy'[axis]}")


def _views(found: Comparison, drawn: Drawn) -> tuple[View, View, float]:
    """Plan and elevation at true proportions, with room above each for the magnets' numbers."""
    ends = [np.array([*m.point[:2], m.point[2] + s * m.length / 2]) for m in drawn.magnets for s in (-1, 1)]
    cloud = np.array([*(d.place for d in drawn.targets.values()), *ends])
    low, high = cloud.min(axis=0), cloud.max(axis=0)
    size = (WIDTH - 2 * EDGE) / max(1.06 * float(high[2] - low[2]), 0.5)
    z_low = float(low[2] + high[2]) / 2 - (WIDTH - 2 * EDGE) / size / 2
    room = ROOM / size
    lift = max(head_lifts(_along(size, z_low), drawn.magnets), default=0.0)
    views, top = [], 24.0 + HEAD + lift
    for axis, words in enumerate(UPWARD):
        height = float(high[axis] - low[axis]) * size + 2 * ROOM
        title = f"{found.start} to {found.end}, {words}"
        views.append(View(title, axis, size, z_low, float(high[axis]) + room, top, height))
        top += height + GAP + HEAD + lift
    return views[0], views[1], top - GAP - HEAD - lift


def _along(size: float, z_low: float) -> Scale:
    return Scale(z_low, z_low + (WIDTH - 2 * EDGE) / size, EDGE, WIDTH - EDGE)


def _view(drawn: Drawn, view: View) -> str:
    along = _along(view.size, view.z_low)
    lifts = head_lifts(along, drawn.magnets)
    girder = {n: d for n, d in drawn.targets.items() if d.carrier == "girder"}
    return group(
        text(EDGE, view.top - HEAD - max(lifts, default=0.0), view.title, "heading"),
        *(_magnet(view, m) for m in drawn.magnets),
        _outline(drawn, view, {n: d for n, d in girder.items() if n not in drawn.alone}),
        *(_vector(drawn, view, n, d) for n, d in drawn.targets.items()),
        *(_own_arrow(drawn, view, m) for m in drawn.magnets),
        *(_head(drawn, view, along, m, lift) for m, lift in zip(drawn.magnets, lifts, strict=True)),
    )


def _magnet(view: View, magnet: Magnet) -> str:
    x, y = view.place(np.array(magnet.point))
    wide = max(magnet.length * view.size, 6.0)
    return box(x - wide / 2, y - 15, wide, 30, "magnet-body", corner=2)


def _outline(drawn: Drawn, view: View, girder: Mapping[str, Displacement]) -> str:
    """The girder before (faint) and bent; nothing when its targets are too few to guide a curve."""
    z = np.array([d.place[2] for d in girder.values()])
    if len(np.unique(z.round(2))) < 3:
        return ""
    across = np.array([d.place[view.axis] for d in girder.values()])
    degree = min(DEGREE, len(np.unique(z.round(2))) - 1)
    middle, half = (z.max() + z.min()) / 2, (z.max() - z.min()) / 2
    curve = np.polynomial.polynomial.polyfit(
        (z - middle) / half, np.array([d.move[view.axis] for d in girder.values()]), degree
    )
    along = np.linspace(-1.0, 1.0, 41)
    bend = np.polynomial.polynomial.polyval(along, curve) * drawn.size
    parts = []
    for edge in sorted({float(across.min()), float(across.max())}):
        point = np.zeros((len(along), 3))
        point[:, 2], point[:, view.axis] = middle + half * along, edge
        places = [view.place(p) for p in point]
        xs, ys = [p[0] for p in places], [p[1] for p in places]
        parts += [polyline(xs[:: len(xs) - 1], ys[:: len(ys) - 1], "girder-before")]
        parts += [polyline(xs, [y - float(b) for y, b in zip(ys, bend, strict=True)], "girder-after")]
    return group(*parts)


def _vector(drawn: Drawn, view: View, name: str, found: Displacement) -> str:
    """A target's move; that of a target that moved by itself is told in words and may be cut short."""
    x, y = view.place(found.place)
    move = float(found.move[view.axis])
    tip = y - float(np.clip(move * drawn.size, -LONGEST, LONGEST))
    alone = drawn.alone.get(name)
    kind = "vector alone" if alone else "vector" if found.carrier == "girder" else "vector on-magnet"
    shaft = arrow(x, y, x, tip, kind, head=3.5) if abs(tip - y) > 3.0 else line(x, y, x, tip, kind)
    cut = line(x - 4, (y + tip) / 2 + 3, x + 4, (y + tip) / 2 - 3, kind) if abs(move * drawn.size) > LONGEST else ""
    told = "" if alone is None else f"{name} by itself {number(alone.move[view.axis] * 1e6, 0, sign=True)} µm"
    note = text(x + 6, tip + (10 if tip > y else 0), told, "warning") if told else ""
    return group(circle(x, y, 1.6, "target"), shaft, cut, note)


def _own_arrow(drawn: Drawn, view: View, magnet: Magnet) -> str:
    move = drawn.moves.get(magnet.name)
    own = _own(move, view.axis) if move else Known(None, None)
    if own.value is None:
        return ""
    x, y = view.place(np.array(magnet.point))
    tip, half = y - own.value * drawn.size, COVERAGE * (own.u or 0.0) * drawn.size
    shaft = arrow(x, y, x, tip, "own-move", head=6) if abs(tip - y) > 6.0 else line(x, y, x, tip, "own-move")
    return group(error_bar(x, tip - half, tip + half), shaft, circle(x, y, 2.6, "centre"))


def _head(drawn: Drawn, view: View, along: Scale, magnet: Magnet, lift: float) -> str:
    """Name, own move and what is said of it, above the magnet."""
    move = drawn.moves.get(magnet.name)
    x = along(magnet.point[2])
    own = _own(move, view.axis) if move else Known(None, None)
    places = decimals_for(scaled(_own(m, view.axis).u, 1e6) for m in drawn.moves.values())
    amount = "not known"
    if own.value is not None:
        amount = number(own.value * 1e6, places, sign=True) + (f" ± {number(own.u * 1e6, places)}" if own.u else "")
    y = view.top - 32 - lift
    said = (
        ""
        if move is None
        else {True: "moved by itself", False: "kept its place", None: "cannot be told apart"}[move.found]
    )
    return group(
        text(x, y, magnet.name, "name", anchor="middle"),
        text(x, y + 12, amount, "value", anchor="middle"),
        text(x, y + 23, said, "small strong" if move and move.found is not False else "small", anchor="middle"),
    )


def _bars(y: float, geometry: float, size: float) -> str:
    metre = round_step(110.0 / geometry, 1)
    micron = round_step(36.0 / size * 1e6, 1)
    times = float(f"{size / geometry:.2g}")
    beam = group(arrow(WIDTH - 120, y, WIDTH - 76, y, "beam", head=7), text(WIDTH - 68, y + 4, "beam, z", "side"))
    bars = scale_bar(EDGE, y, metre * geometry, f"{metre:g} m")
    up = y - micron * 1e-6 * size
    moved = tag("path", d=f"M{EDGE + 176:g} {y:.1f}V{up:.1f}m-3 0h6m-6 {y - up:.1f}h6", class_="bar")
    words = text(EDGE + 186, y, f"{micron:g} µm of a move ({times:,.0f} times enlarged)", "note")
    return group(bars, moved, words, beam)


def _own_words(magnet: Magnet, move: OwnMove | None) -> str:
    if move is None:
        return f"{magnet.name} not known"
    parts: Sequence[tuple[Known, str]] = [
        (_own(move, 0), side_word(_own(move, 0).value)),
        (_own(move, 1), height_word(_own(move, 1).value)),
    ]
    return f"{magnet.name} " + " and ".join(
        "not known" if k.value is None else f"{abs(k.value) * 1e6:.1f} µm {word}".strip() for k, word in parts
    )
