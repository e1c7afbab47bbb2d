"""Budgets as stacked bars: how large each uncertainty is, and which kinds of cause make it up."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monochord.campaign.found.budget import Budget
from monochord.report.budgeting import printed, quantity_of, unit_of
from monochord.report.plot import Scale, bottom_axis
from monochord.report.svg import Picture, group, ident, line, tag, text
from monochord.report.words import listed

WIDTH, LEFT, RIGHT = 760.0, 150.0, 690.0
TOP, ROW, THICK = 26.0, 20.0, 14.0
#: Kinds that have a letter, a colour and a pattern of their own; the rest is told as one.
MOST_KINDS = 8
#: A piece narrower than this holds no letter [drawing units].
LETTER_ROOM = 11.0
LEGEND_COLUMN, LEGEND_ROW = 240.0, 17.0
OTHERS = "all others"

#: Fill and strokes of the pattern (a path in a tile of 8 by 8), by rank of the kind: told apart without colour too.
LOOKS: tuple[tuple[str, str], ...] = (
    ("#9ecae1", ""),
    ("#fdd0a2", "M0 8L8 0M-2 2L2 -2M6 10L10 6"),
    ("#c7e9c0", "M0 4H8"),
    ("#dadaeb", "M4 0V8"),
    ("#fff3c9", "M0 0L8 8M-2 6L2 10M6 -2L10 2"),
    ("#f4c7c3", "M4 0V8M0 4H8"),
    ("#e3e8ee", "M4 3.4V4.6"),
    ("#d8c3a5", "M0 2H8M0 6H8"),
)
PLAIN = "#ffffff"


@dataclass(frozen=True, slots=True)
class Key:
    """How a kind of cause is shown: its letter, and the id of its fill."""

    letter: str
    fill: str


def budgets_picture(occasion: str, title: str, found: Sequence[Budget]) -> Picture:
    """One bar for every magnet and quantity, as long as u; its pieces are the parts of the variance."""
    name = ident("budgets", occasion, title)
    keys = _keys(name, found)
    unit = unit_of(found[0])
    most = max(1e6 * b.u for b in found)
    across = Scale(0.0, 1.04 * most, LEFT, RIGHT)
    bottom = TOP + ROW * len(found)
    legend, height = _legend(keys, bottom + 46)
    return Picture(
        name,
        f"What the uncertainty is made of, {occasion}, {title}",
        _told(found),
        f"{occasion}, {title}: each bar is as long as one standard uncertainty u; its pieces are the parts of the variance "
        "that each kind of cause brings, the largest first, with the letter of the kind where there is room.",
        WIDTH,
        height,
        [
            _patterns(keys),
            text(6.0, TOP - 12, f"{occasion}: {title}", "heading"),
            text(WIDTH - 4, TOP - 12, f"u [{unit}]", "tick", anchor="end"),
            *(_row(across, keys, b, i, _first(found, i)) for i, b in enumerate(found)),
            line(LEFT, TOP, LEFT, bottom, "axis"),
            line(LEFT, bottom, RIGHT, bottom, "axis"),
            bottom_axis(across, bottom, about=6),
            text((LEFT + RIGHT) / 2, bottom + 32, f"standard uncertainty u [{unit}]", "axis-title", anchor="middle"),
            *legend,
        ],
    )


def _told(found: Sequence[Budget]) -> str:
    said = [f"{b.magnet} {quantity_of(b)} u {printed(b.u, b)}, mostly {b.shares[0].kind}" for b in found if b.shares]
    return f"{listed(said)}."


def _first(found: Sequence[Budget], i: int) -> bool:
    return i == 0 or found[i - 1].magnet != found[i].magnet


def _keys(name: str, found: Sequence[Budget]) -> dict[str, Key]:
    """The kinds that bring most over all bars, each with its letter; what has none is told as all others."""
    total: dict[str, float] = {}
    for b in found:
        for share in b.shares:
            total[share.kind] = total.get(share.kind, 0.0) + share.part
    ranked = sorted(total, key=lambda kind: (-round(total[kind], 6), kind))[:MOST_KINDS]
    return {kind: Key("ABCDEFGH"[i], f"{name}-{i}") for i, kind in enumerate(ranked)}


def _patterns(keys: Mapping[str, Key]) -> str:
    tiles = [
        tag(
            "pattern",
            tag("rect", width=8, height=8, fill=colour),
            tag("path", d=strokes, stroke="#1b2430", stroke_width=1.1, stroke_opacity=0.75) if strokes else "",
            id=key.fill, width=8, height=8, patternUnits="userSpaceOnUse",
        )
        for key, (colour, strokes) in zip(keys.values(), LOOKS, strict=False)
    ]  # fmt: skip
    return tag("defs", *tiles)


def _pieces(keys: Mapping[str, Key], made: Budget) -> list[tuple[Key | None, float]]:
    """Parts of the variance in the order of the legend, what has no letter last."""
    parts = {s.kind: s.part for s in made.shares}
    pieces: list[tuple[Key | None, float]] = [(key, parts.pop(kind)) for kind, key in keys.items() if kind in parts]
    rest = math.fsum(parts.values())
    return sorted(pieces, key=lambda piece: -piece[1]) + ([(None, rest)] if rest > 0.0 else [])


def _row(across: Scale, keys: Mapping[str, Key], made: Budget, i: int, named: bool) -> str:
    top = TOP + ROW * i + (ROW - THICK) / 2
    middle = top + THICK / 2 + 4
    left, whole = across(0.0), across(1e6 * made.u) - across(0.0)
    drawn: list[str] = []
    for key, part in _pieces(keys, made):
        wide = part * whole
        fill = PLAIN if key is None else f"url(#{key.fill})"
        drawn.append(tag("rect", x=left, y=top, width=wide, height=THICK, fill=fill, class_="piece"))
        if key is not None and wide >= LETTER_ROOM:
            drawn.append(text(left + wide / 2, middle, key.letter, "value strong halo", anchor="middle"))
        left += wide
    head = line(4.0, TOP + ROW * i, WIDTH - 4, TOP + ROW * i, "grid") if named else ""
    return group(
        head,
        text(6.0, middle, made.magnet, "name") if named else "",
        text(LEFT - 8, middle, quantity_of(made), "tick", anchor="end"),
        *drawn,
        text(WIDTH - 4, middle, printed(made.u, made, unit=False), "value", anchor="end"),
    )


def _legend(keys: Mapping[str, Key], top: float) -> tuple[list[str], float]:
    """Letter, piece and name of every kind, three beside each other; and where the drawing ends."""
    told: list[tuple[str, str, str]] = [(key.letter, f"url(#{key.fill})", kind) for kind, key in keys.items()]
    told.append(("", PLAIN, OTHERS))
    drawn = []
    for i, (letter, fill, kind) in enumerate(told):
        x, y = 6.0 + LEGEND_COLUMN * (i % 3), top + LEGEND_ROW * (i // 3)
        drawn.append(tag("rect", x=x, y=y, width=24, height=12, fill=fill, class_="piece"))
        drawn.append(text(x + 12, y + 10, letter, "value strong halo", anchor="middle") if letter else "")
        drawn.append(text(x + 30, y + 10, kind, "tick"))
    return drawn, top + LEGEND_ROW * math.ceil(len(told) / 3) + 6
