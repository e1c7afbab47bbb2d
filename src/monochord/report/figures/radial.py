"""Points against circles: one small drawing for every magnet whose x and y are judged together."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monochord.campaign.found.result import Result
from monochord.campaign.found.verdict import Verdict
from monochord.ground.estimate import Estimate
from monochord.report.document_verdict import word_of
from monochord.report.facts import Array, finite
from monochord.report.judged import Family, counts_words, limit_words, rule_caution
from monochord.report.plot import ELLIPSE_95, ellipse
from monochord.report.svg import Picture, circle, group, ident, line, text
from monochord.report.words import UNKNOWN, micrometres, percent

WIDTH, CELL, TALL, TOP = 760.0, 152.0, 196.0, 26.0
#: Half of the width of one drawing, the words aside.
HALF = 62.0


def radial_picture(result: Result, occasion: str, family: Family, found: Sequence[Verdict]) -> Picture | None:
    """One circle for every magnet, seen along the beam; None for slopes, and where no point can be drawn."""
    points = {v.magnet: _point(result, occasion, family, v) for v in found}
    drawn = [p for p in points.values() if p is not None]
    if not drawn:
        return None
    reach = 1.12 * max([v.limit for v in found] + [_far(value, cov) for value, cov in drawn])
    rows = -(-len(found) // int(WIDTH // CELL))
    cautions = [w for w in dict.fromkeys(rule_caution(v) for v in found) if w]
    return Picture(
        ident("radial", occasion, family.ident),
        f"Verdicts, {occasion}, {family.title}",
        counts_words(found),
        f"{occasion}, {family.title}, seen along the beam: left is left. The dashed circle is the limit, the dot the measured "
        "point with its 95 % ellipse; below it the distance with its standard uncertainty, the verdict, and the probability "
        f"that the true point lies within the circle. {'. '.join(w[:1].upper() + w[1:] + '.' for w in cautions)}".strip(),
        WIDTH,
        TOP + rows * TALL,
        [
            text(8, TOP - 10, f"{occasion}: {family.title}, {limit_words(found[0])}", "heading"),
            *(_cell(v, points[v.magnet], reach, _place(i)) for i, v in enumerate(found)),
        ],
    )


def _place(i: int) -> tuple[float, float]:
    """Middle of the i-th drawing."""
    in_row = int(WIDTH // CELL)
    return (i % in_row + 0.5) * CELL, TOP + (i // in_row) * TALL + 14.0 + HALF


def _point(result: Result, occasion: str, family: Family, found: Verdict) -> tuple[Array, Array] | None:
    """Value (2,) and covariance (2, 2) [m] of the point that was judged."""
    estimate, names = _estimate(result, occasion, family, found)
    if estimate is None or not set(names) <= set(estimate.names):
        return None
    picked = estimate.pick(names)
    value, cov = picked.value, picked.cov
    return (value, cov) if bool(np.isfinite(value).all() and np.isfinite(cov).all()) else None


def _estimate(result: Result, occasion: str, family: Family, found: Verdict) -> tuple[Estimate | None, list[str]]:
    if family.ident == "line-radial":
        line_found = next((o.line for o in result.occasions if o.name == occasion), None)
        return (line_found.offsets if line_found else None), [f"{found.magnet}.{p}" for p in "xy"]
    if family.ident == "own-move-radial":
        moves = [
            move.estimate
            for c in result.comparisons
            if (c.start, c.end) == (result.campaign.reference, occasion)
            for move in c.own_moves
            if move.magnet == found.magnet
        ]
        return (moves[0] if moves else None), [f"{found.magnet}.d{p}" for p in "xy"]
    return None, []


def _far(value: Array, cov: Array) -> float:
    return float(np.hypot(*value)) + ELLIPSE_95 * float(np.sqrt(np.linalg.eigvalsh(cov)[-1]))


def _cell(found: Verdict, point: tuple[Array, Array] | None, reach: float, place: tuple[float, float]) -> str:
    x, y = place
    size = HALF / reach
    share = finite(found.probability)
    chance = UNKNOWN if share is None else f"within: {percent(share)} %"
    word = word_of(found)
    body = [
        text(x, y - HALF - 6, found.magnet, "name", anchor="middle"),
        circle(x, y, found.limit * size, "conforms-zone"),
        circle(x, y, found.limit * size, "limit no-fill"),
        line(x - HALF, y, x + HALF, y, "zero"),
        line(x, y - HALF, x, y + HALF, "zero"),
        text(x, y + HALF + 14, micrometres(finite(found.value), finite(found.u)).lstrip("+"), "value", anchor="middle"),
        text(x, y + HALF + 28, word, "word" if word == "conforms" else "word strong", anchor="middle"),
        text(x, y + HALF + 42, chance, "tick", anchor="middle"),
    ]
    if point is not None:
        value, cov = point
        mirror = np.diag([-1.0, 1.0])  # x is positive to the left
        px, py = x - float(value[0]) * size, y - float(value[1]) * size
        body += [ellipse(px, py, mirror @ cov @ mirror, size, "spread"), circle(px, py, 2.6, "centre")]
    return group(*body)
