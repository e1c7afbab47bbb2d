"""The line of magnets on several occasions at once: offsets from the common line, seen from above and from the side."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from monochord.campaign.found.axes import CommonLine
from monochord.campaign.found.result import OccasionFinding, Result
from monochord.campaign.given.girder import Magnet
from monochord.report.facts import COVERAGE, Known, limit_of, offset_of, with_line
from monochord.report.figures.along import (
    LEFT,
    RIGHT,
    Standing,
    along_scale,
    beam_axis,
    magnet_body,
    reaches,
    side_words,
    tolerance_band,
)
from monochord.report.plot import Scale, bottom_axis, error_bar, left_axis, panel
from monochord.report.svg import Picture, group, ident, line, tag, text
from monochord.report.words import listed, scaled

WIDTH, TALL, HEAD, GAP = 760.0, 190.0, 40.0, 40.0
UM = 1e6
#: So many occasions are drawn at most, the reference and the last ones.
MOST = 4
#: Outlines of the marks, one an occasion, so that colour is not the only sign: disc, square, triangle, diamond.
MARKS = (
    "M-3.6 0a3.6 3.6 0 1 0 7.2 0a3.6 3.6 0 1 0 -7.2 0z",
    "M-3.3 -3.3h6.6v6.6h-6.6z",
    "M0 -4.4L4.2 3.2H-4.2z",
    "M0 -4.6L4.6 0L0 4.6L-4.6 0z",
)

Line = tuple[OccasionFinding, CommonLine]


def overlay_picture(result: Result) -> Picture | None:
    """Offsets of all magnets on the reference and the occasions after it; None when no occasion has a line."""
    lines = drawn(result)
    if not lines:
        return None
    magnets = result.campaign.girder.magnets
    along = along_scale(magnets)
    top = HEAD + 26
    tops = [top, top + TALL + GAP]
    body = [_legend([found.name for found, _ in lines])]
    for plane, (upper, words, title) in enumerate(
        zip(
            tops,
            (("left", "right"), ("up", "down")),
            ("seen from above: sideways, x [µm]", "seen from the side: height, y [µm]"),
            strict=True,
        )
    ):
        rows = [[_standing(result, found, m, plane) for m in magnets] for _, found in lines]
        body += [text(LEFT, upper - 20, title, "heading"), _panel(along, rows, upper, words)]
    bottom = tops[1] + TALL
    body += [bottom_axis(along, bottom), beam_axis(bottom + 33)]
    names = [found.name for found, _ in lines]
    return Picture(
        ident("line", "overlay"),
        f"The line of magnets on {listed(names)}",
        f"{len(magnets)} magnets along the beam from left to right, offsets on {listed(names)}; the tables hold every number.",
        f"Offsets from the common line on {listed(names)}, each occasion about its own line, with a mark of its own. Bars are 95 % "
        f"intervals ({COVERAGE} u). The shaded band is the tolerance, where one is declared as a band.",
        WIDTH,
        bottom + 42,
        body,
    )


def drawn(result: Result) -> list[Line]:
    """The occasions with a line that are drawn: from the reference on, the reference and the last ones."""
    lines = list(with_line(result))
    names = [found.name for found, _ in lines]
    reference = result.campaign.reference
    start = names.index(reference) if reference in names else 0
    later = lines[start:]
    return later if len(later) <= MOST else [later[0], *later[1 - MOST :]]


def _legend(names: Sequence[str]) -> str:
    x, parts = LEFT, []
    for i, name in enumerate(names):
        parts += [mark(i, x + 5, 14), text(x + 15, 18, name, "name")]
        x += 34 + 7.0 * len(name)
    return group(*parts)


def mark(i: int, x: float, y: float) -> str:
    """The mark of an occasion, by its place in the order."""
    return tag(
        "path",
        d=MARKS[i % len(MARKS)],
        transform=f"translate({x:.2f} {y:.2f})",
        class_=f"occasion occasion-{i % len(MARKS)}",
    )


def _panel(along: Scale, standings: Sequence[Sequence[Standing]], upper: float, words: tuple[str, str]) -> str:
    magnets, lower = [s.magnet for s in standings[0]], upper + TALL
    reach = max([1.0, *(1.12 * r for row in standings for s in row for r in reaches(s))])
    up = Scale(-reach, reach, lower, upper)
    shifts = [
        11.0 * (i - (len(standings) - 1) / 2) for i in range(len(standings))
    ]  # side by side, so that none hides another
    return group(
        panel(LEFT, upper, RIGHT, lower),
        *(magnet_body(along, m, upper, lower) for m in magnets),
        *tolerance_band(along, up, standings[0]),
        left_axis(up, LEFT, RIGHT),
        line(LEFT, up(0.0), RIGHT, up(0.0), "zero"),
        side_words(up, words),
        *(text(along(m.point[2]), upper - 5, m.name, "name", anchor="middle") for m in magnets),
        *itertools.chain.from_iterable(
            (_mark(along, up, s, i, shift) for s in row)
            for i, (row, shift) in enumerate(zip(standings, shifts, strict=True))
        ),
    )


def _standing(result: Result, found: CommonLine, magnet: Magnet, plane: int) -> Standing:
    known = offset_of(found, magnet.name)[plane]
    limit = limit_of(result.campaign.tolerances, "offset", magnet.name)
    return Standing(magnet, Known(scaled(known.value, UM), scaled(known.u, UM)), scaled(limit, UM), None)


def _mark(along: Scale, up: Scale, s: Standing, i: int, shift: float) -> str:
    if s.offset.value is None:
        return ""
    x, y, u = along(s.magnet.point[2]) + shift, up(s.offset.value), COVERAGE * (s.offset.u or 0.0)
    return group(error_bar(x, up(s.offset.value - u), up(s.offset.value + u), cap=3.0), mark(i, x, y))
