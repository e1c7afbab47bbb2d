"""Verdicts as bars: each value with its interval, the limit, and the guard band in which nothing can be decided."""

from __future__ import annotations

import math
from collections.abc import Sequence

from monochord.campaign.found.verdict import CANNOT_BE_DECIDED, CONFORMS, Verdict
from monochord.campaign.given.tolerance import PRODUCERS, SIMPLE_ACCEPTANCE
from monochord.report.document_verdict import word_of
from monochord.report.facts import COVERAGE, finite
from monochord.report.judged import Family, counts_words, quantity_words, rule_caution
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
        f"{occasion}, {family.title}. {BARS} Dashed strokes are the limit. {_zones_words(found, told=told)}",
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


def _zones_words(found: Sequence[Verdict], *, told: bool) -> str:
    """What the areas behind a bar mean, by the rules of these verdicts."""
    cautions = [words for words in dict.fromkeys(rule_caution(v) for v in found) if words]
    said = f"{cautions[0][:1].upper()}{cautions[0][1:]}: w" if cautions else "W"
    if len(cautions) == len({rule_caution(v) for v in found}):
        return f"{said}here the bar ends in the grey area the magnet is accepted; outside, it does not conform."
    return (
        f"{said}here the bar ends in the grey area the magnet conforms; in the framed area on both sides of the limit, the "
        f"guard band, it cannot be decided{'' if told else ' (the width of the guard band was not told for every row)'}; "
        "outside, it does not conform."
    )


def _axis_words(family: Family) -> str:
    sides = "x: left +, right \N{MINUS SIGN}; y: up +, down \N{MINUS SIGN}"
    return f"value [{family.unit}]" + (f" ({sides})" if family.unit == "µm" else "")


def _reach(family: Family, found: Sequence[Verdict]) -> float:
    ends = [0.0]
    for v in found:
        value, u = (finite(n) or 0.0 for n in (v.value, v.u))
        ends += [abs(value) + COVERAGE * u]
        ends += [abs(end) + (finite(v.guard) or 0.0) for end in v.ends if math.isfinite(end)]
    return 1.06 * max(ends) * family.factor or 1.0


def _row(across: Scale, family: Family, found: Verdict, top: float, *, places: int) -> str:
    upper, lower, middle = top + 2.5, top + ROW - 2.5, top + ROW / 2
    return group(
        text(QUANTITY, middle + 4, quantity_words(found), "tick", anchor="end"),
        text(AMOUNT, middle + 4, _amount(family, found, places), "value", anchor="end"),
        *(
            box(across(low), upper, across(high) - across(low), lower - upper, kind)
            for low, high, kind in _zones(across, found, family.factor)
        ),
        *(
            line(across(end), top, across(end), top + ROW, "limit")
            for end in (family.factor * e for e in found.ends)
            if math.isfinite(end)
        ),
        _bar(across, family, found, middle),
        _words(found, middle),
    )


def _zones(across: Scale, found: Verdict, factor: float) -> list[tuple[float, float, str]]:
    """Areas of one row: where a value conforms, and where it cannot be decided; a side without a limit reaches to the edge."""
    guard = (finite(found.guard) or 0.0) * factor
    low, high = (factor * end for end in found.ends)
    if found.whose == PRODUCERS and found.rule_name != SIMPLE_ACCEPTANCE:
        return [(max(low - guard, across.low), min(high + guard, across.high), "conforms-zone")]
    middle = 0.5 * (low + high) if math.isfinite(low + high) else math.inf if math.isinf(high) else -math.inf
    inner_low, inner_high = min(low + guard, middle), max(high - guard, middle)
    zones = [(max(inner_low, across.low), min(inner_high, across.high), "conforms-zone")]
    if guard and math.isfinite(high):
        zones.append((inner_high, high + guard, "guard-zone"))
    if guard and math.isfinite(low):
        zones.append((low - guard, inner_low, "guard-zone"))
    return zones


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
