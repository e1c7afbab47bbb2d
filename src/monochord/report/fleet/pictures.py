"""Pictures of answers: what girders wait for, the smallest margins, and charts of single values with their limits."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from monochord.campaign.found.charts import Chart, Margin
from monochord.report.fleet.quantities import charted, judged, printed
from monochord.report.plot import Scale, bottom_axis, left_axis, panel, span_of
from monochord.report.svg import Picture, box, circle, dots, group, ident, line, polyline, text

WIDTH, LEFT, RIGHT = 760.0, 250.0, 700.0
ROW, TOP = 20.0, 12.0
#: Bars of margins at most.
MOST_BARS = 30


def waiting_picture(counts: Counter[str]) -> Picture:
    """A bar for everything that girders wait for, as long as their number."""
    rows = counts.most_common()
    across = Scale(0.0, 1.08 * max(counts.values()), LEFT, RIGHT)
    bottom = TOP + ROW * len(rows)
    body = [panel(LEFT, TOP, RIGHT, bottom)]
    for i, (kind, n) in enumerate(rows):
        y = TOP + ROW * i
        body += [
            text(LEFT - 8, y + 14, kind, anchor="end"),
            box(LEFT, y + 4, across(n) - LEFT, ROW - 8, "value-bar"),
            text(across(n) + 5, y + 14, str(n), "value"),
        ]
    return Picture(
        "fleet-waiting",
        "What girders wait for first",
        "; ".join(f"{kind}: {n}" for kind, n in rows),
        "Girders by what they wait for first.",
        WIDTH,
        bottom + 8,
        body,
    )


def margins_picture(margins: Sequence[Margin]) -> Picture:
    """A bar for every margin as a share of its limit, with its 95 % interval; left of zero lies beyond the limit."""
    shown = [m for m in margins if m.share is not None][:MOST_BARS]
    lows = [_share(m, m.margin - 2.0 * (m.u or 0.0)) for m in shown]
    highs = [_share(m, m.margin + 2.0 * (m.u or 0.0)) for m in shown]
    low, high = span_of([0.0, *lows, *highs])
    across = Scale(low, high, LEFT, RIGHT)
    bottom = TOP + ROW * max(len(shown), 1)
    body = [panel(LEFT, TOP, RIGHT, bottom)]
    for i, m in enumerate(shown):
        y = TOP + ROW * (i + 0.5)
        left, right = sorted((across(0.0), across(100.0 * (m.share or 0.0))))
        body += [
            text(LEFT - 8, y + 4, f"{m.girder} {m.magnet} {judged(m.quantity).words}", anchor="end"),
            box(left, y - 6, max(right - left, 0.5), 12, "value-bar"),
            line(across(lows[i]), y, across(highs[i]), y, "interval"),
        ]
    body += [line(across(0.0), TOP, across(0.0), bottom, "zero"), bottom_axis(across, bottom)]
    body.append(text((LEFT + RIGHT) / 2, bottom + 32, "margin, share of the limit [%]", "axis-title", anchor="middle"))
    return Picture(
        "fleet-margins",
        "Smallest margins to tolerance",
        f"{len(shown)} margins; {sum(m.margin < 0.0 for m in shown)} lie beyond the limit.",
        "Margin as a share of its limit, the smallest first, with the interval of ± 2 u; left of the line at zero the value "
        "lies beyond its limit.",
        WIDTH,
        bottom + 40,
        body,
    )


def _share(m: Margin, margin: float) -> float:
    return 100.0 * (m.share or 0.0) * margin / m.margin if m.margin else 0.0


CHART_WIDTH, CHART_LEFT, CHART_RIGHT, CHART_TOP, CHART_BOTTOM = 520.0, 62.0, 462.0, 30.0, 190.0


def chart_picture(chart: Chart) -> Picture:
    """Values in time order with centre and limits; what chance seldom gives is ringed."""
    q = charted(chart.quantity, chart.unit)
    ys = [v.value * q.factor for v in chart.values]
    limits = chart.limits
    lines = [] if limits is None else [limits.low * q.factor, limits.centre * q.factor, limits.high * q.factor]
    up = Scale(*span_of([*ys, *lines]), CHART_BOTTOM, CHART_TOP)
    across = Scale(-0.5, len(ys) - 0.5, CHART_LEFT, CHART_RIGHT)
    xs = across.many(range(len(ys)))
    body = [panel(CHART_LEFT, CHART_TOP, CHART_RIGHT, CHART_BOTTOM), left_axis(up, CHART_LEFT, CHART_RIGHT)]
    for y, style, words in zip(lines, ("limit", "zero", "limit"), ("lower", "centre", "upper"), strict=False):
        body.append(line(CHART_LEFT, up(y), CHART_RIGHT, up(y), style))
        body.append(text(CHART_RIGHT + 5, up(y) + 3.5, words, "limit-note"))
    body += [polyline(xs, up.many(ys), "faint-zero"), dots(xs, up.many(ys), "dot rest")]
    body.append(group(*(circle(xs[s.place], up(ys[s.place]), 6, "left-out-mark no-fill") for s in chart.signals)))
    title = f"{q.words}{f', {chart.magnet}' if chart.magnet else ''} [{q.unit}]"
    body.append(text(CHART_LEFT, CHART_TOP - 10, title, "small-title"))
    if chart.values:
        body.append(text(CHART_LEFT, CHART_BOTTOM + 14, chart.values[0].at[:10], "tick"))
        body.append(text(CHART_RIGHT, CHART_BOTTOM + 14, chart.values[-1].at[:10], "tick", anchor="end"))
    return Picture(
        ident("chart", chart.quantity, chart.type_name, chart.magnet),
        f"{title}, type {chart.type_name}",
        f"{len(ys)} values; {len(chart.signals)} that chance seldom gives.",
        f"{title}, type {chart.type_name}: {_limits_words(chart)}",
        CHART_WIDTH,
        CHART_BOTTOM + 22,
        body,
    )


def _limits_words(chart: Chart) -> str:
    q = charted(chart.quantity, chart.unit)
    if chart.limits is None:
        return "too few values for limits."
    centre, low, high = (printed(q, v) for v in (chart.limits.centre, chart.limits.low, chart.limits.high))
    return f"centre {centre}, limits {low} and {high}."
