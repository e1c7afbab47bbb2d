"""Verdicts as bars: each value with its interval, the limit, and the guard band in which nothing can be decided."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.campaign.found.verdict import CANNOT_BE_DECIDED, CONFORMS, Verdict
from monochord.report.document_verdict import word_of
from monochord.report.facts import COVERAGE, finite
from monochord.report.judged import Family, counts_words, quantity_words
from monochord.report.plot import Scale, bottom_axis, span_bar
from monochord.report.svg import Picture, box, circle, cross, group, ident, line, text
from monochord.report.words import UNKNOWN, decimals_for, percent, scaled, with_uncertainty

WIDTH, LEFT, RIGHT = 760.0, 212.0, 540.0
#: Where the quantity and the number of a row end [drawing units].
QUANTITY, AMOUNT = 122.0, 204.0
TOP, ROW = 30.0, 21.0
#: How the bars of an interval and a value are said below every drawing of this kind.
BARS = f"The thick bar ends at the value, the thin one is its 95 % interval ({COVERAGE} u)."


def verdicts_picture(occasion: str, family: Family, found: Sequence[Verdict]) -> Picture:
    """One row for every magnet and quantity: zones, limit, bar, and the verdict in words."""
    reach = _reach(family, found)
    places = decimals_for(scaled(finite(v.u), family.factor) for v in found)
    across = Scale(-reach, reach, LEFT, RIGHT)
    bottom = TOP + ROW * len(found)
    told = all(finite(v.guard) is not None for v in found if finite(v.value) is not None)
    return Picture(
        ident("verdicts", occasion, family.ident),
        f"Verdicts, {occasion}, {family.title}",
        counts_words(found),
        f"{occasion}, {family.title}. {BARS} Dashed strokes are the limit. Where the bar ends in the grey area the "
        "magnet conforms; in the framed area on both sides of the limit, the guard band, it cannot be decided"
        f"{'' if told else ' (the width of the guard band was not told for every row)'}; outside, it does not conform.",
        WIDTH,
        bottom + 42,
        [
            text(LEFT + 8, TOP - 12, f"{occasion}: {family.title}", "heading"),
            text(AMOUNT, TOP - 12, f"value ± u [{family.unit}]", "tick", anchor="end"),
            text(RIGHT + 36, TOP - 12, "verdict", "tick"),
            text(WIDTH - 4, TOP - 12, "within limit", "tick", anchor="end"),
            *(_row(across, family, v, TOP + ROW * i, places=places) for i, v in enumerate(found)),
            *(_name(found, i) for i in range(len(found))),
            line(across(0.0), TOP, across(0.0), bottom, "zero"),
            line(LEFT, bottom, RIGHT, bottom, "axis"),
            bottom_axis(across, bottom, about=8),
            text((LEFT + RIGHT) / 2, bottom + 33, _axis_words(family), "axis-title", anchor="middle"),
        ],
    )  # fmt: skip


def _axis_words(family: Family) -> str:
    sides = "x: left +, right \N{MINUS SIGN}; y: up +, down \N{MINUS SIGN}"
    return f"value [{family.unit}]" + (f" ({sides})" if family.unit == "µm" else "")


def _reach(family: Family, found: Sequence[Verdict]) -> float:
    ends = [0.0]
    for v in found:
        value, u, limit = (finite(n) or 0.0 for n in (v.value, v.u, v.limit))
        ends += [abs(value) + COVERAGE * u, limit + (finite(v.guard) or 0.0)]
    return 1.06 * max(ends) * family.factor or 1.0


def _row(across: Scale, family: Family, found: Verdict, top: float, *, places: int) -> str:
    limit, guard = found.limit * family.factor, (finite(found.guard) or 0.0) * family.factor
    upper, lower, middle = top + 2.5, top + ROW - 2.5, top + ROW / 2
    inner = max(limit - guard, 0.0)
    zones = [box(across(-inner), upper, across(inner) - across(-inner), lower - upper, "conforms-zone")]
    for low, high in ((inner, limit + guard), (-limit - guard, -inner)):
        zones.append(box(across(low), upper, across(high) - across(low), lower - upper, "guard-zone") if guard else "")
    return group(
        text(QUANTITY, middle + 4, quantity_words(found), "tick", anchor="end"),
        text(AMOUNT, middle + 4, _amount(family, found, places), "value", anchor="end"),
        *zones,
        *(line(across(s * limit), top, across(s * limit), top + ROW, "limit") for s in (-1, 1)),
        _bar(across, family, found, middle),
        _words(found, middle),
    )


def _name(found: Sequence[Verdict], i: int) -> str:
    """The magnet's name and a line above it, on the first of its rows."""
    if i and found[i - 1].magnet == found[i].magnet:
        return ""
    top = TOP + ROW * i
    return group(line(4.0, top, WIDTH - 4, top, "grid"), text(6.0, top + ROW / 2 + 4, found[i].magnet, "name"))


def _bar(across: Scale, family: Family, found: Verdict, y: float) -> str:
    value, u = scaled(finite(found.value), family.factor), scaled(finite(found.u), family.factor)
    if value is None:
        return ""
    start, end = sorted((across(0.0), across(value)))
    half = COVERAGE * (u or 0.0)
    return group(
        box(start, y - 3, end - start, 6, "value-bar"),
        span_bar(y, across(value - half), across(value + half)),
        circle(across(value), y, 3.0, "centre"),
    )


def _amount(family: Family, found: Verdict, places: int) -> str:
    value, u = scaled(finite(found.value), family.factor), scaled(finite(found.u), family.factor)
    return with_uncertainty(value, u, decimals=places) if value is not None and u is not None else UNKNOWN


def _words(found: Verdict, y: float) -> str:
    word = word_of(found)
    x = RIGHT + 22
    mark = {
        CONFORMS: circle(x, y, 4.2, "conforms-mark"),
        CANNOT_BE_DECIDED: group(circle(x, y, 4.2, "open-mark"), line(x, y - 4.2, x, y + 4.2, "open-mark")),
    }.get(word, cross(x, y, 4.0, "left-out-mark"))
    share = finite(found.probability)
    return group(
        mark,
        text(RIGHT + 36, y + 4, word, "word" if word == CONFORMS else "word strong"),
        text(WIDTH - 4, y + 4, UNKNOWN if share is None else f"{percent(share)} %", "value", anchor="end"),
    )
