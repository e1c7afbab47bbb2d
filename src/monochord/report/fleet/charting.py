"""Charts of single values, what stands out in them, and trends: answers."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.campaign.found.charts import Chart, Signal, Trend, Value
from monochord.report.fleet.answer import Answer, origin
from monochord.report.fleet.pictures import chart_picture
from monochord.report.fleet.quantities import CHARTED, Quantity, charted, of_year, printed
from monochord.report.fleet.words import chance
from monochord.report.tables.table import Cell, Table, words
from monochord.report.words import counted, decimals_for, number, with_uncertainty

#: Pictures and rows of one answer at most.
MOST_PICTURES, MOST_ROWS = 40, 200
HOW = (
    "Values in time order. Limits: mean ± 2.66 times the mean moving range of neighbours (three standard deviations of a "
    "process at rest). Ringed: beyond the limits, 2 of 3 beyond two thirds of them, 4 of 5 beyond a third, or 8 in a row on "
    "one side. A process at rest gives such a value now and then: about 3 of 1000 lie beyond the limits by chance."
)


def title_of(chart: Chart) -> str:
    """A chart in words."""
    q = charted(chart.quantity, chart.unit)
    return " ".join(filter(None, (q.words, chart.magnet, f"(type {chart.type_name})" if chart.type_name else "")))


def in_order(charts: Sequence[Chart]) -> list[Chart]:
    """Charts in the order of a page."""
    names = list(CHARTED)
    return sorted(charts, key=lambda c: names.index(c.quantity) if c.quantity in names else len(names))


def charts_answer(charts: Sequence[Chart]) -> Answer:
    """Control charts: their limits and how many values stand out."""
    shown = in_order(charts)
    values, out = sum(len(c.values) for c in shown), sum(len(c.signals) for c in shown)
    of = sum(c.of for c in shown)
    loud = [title_of(c) for c in sorted(shown, key=lambda c: -len(c.signals)) if c.signals]
    said = f"{out} of {values} values in {counted(len(shown), 'chart')} {'stand' if out != 1 else 'stands'} out"
    said += f", most in: {loud[0]}." if loud else "."
    said += f" These are the last of {of}." if of > values else ""
    return Answer(
        "charts",
        "Control charts",
        said if shown else "The record has no values for charts.",
        HOW,
        tuple(chart_picture(c) for c in shown[:MOST_PICTURES]),
        (_charts_table(shown),),
        {"charts": shown},
    )


def _charts_table(charts: Sequence[Chart]) -> Table:
    more = f"Pictures of the first {MOST_PICTURES} of {len(charts)}. " if len(charts) > MOST_PICTURES else ""
    return Table(
        "table-charts",
        "Charts",
        ("quantity", "magnet", "type", "values", "centre", "lower limit", "upper limit", "stand out", "latest", "from"),
        tuple(_chart_row(c) for c in charts[:MOST_ROWS]),
        note=f"{more}The latest value with its standard uncertainty u, where the run tells one.",
        empty="no values",
    )


def _chart_row(c: Chart) -> tuple[Cell, ...]:
    q, last = charted(c.quantity, c.unit), c.values[-1]
    limits = (None, None, None) if c.limits is None else (c.limits.centre, c.limits.low, c.limits.high)
    return (
        words(q.words), words(c.magnet), words(c.type_name), Cell(f"{len(c.values)}", style="number"),
        *(Cell(printed(q, v), v, style="number") for v in limits), Cell(f"{len(c.signals)}", style="number"),
        Cell(printed(q, last.value, last.u), last.value, style="number"),
        Cell(f"{last.girder}, {origin(last.run, last.occasion, last.since).text}"),
    )  # fmt: skip


def away(chart: Chart, value: Value) -> float:
    """How far a value lies from the centre, in standard deviations of a process at rest; 0 without limits."""
    if chart.limits is None or chart.limits.high == chart.limits.centre:
        return 0.0
    return 3.0 * (value.value - chart.limits.centre) / (chart.limits.high - chart.limits.centre)


def outliers_answer(charts: Sequence[Chart]) -> Answer:
    """Values that stand out, the farthest from their centre first."""
    found = [(c, s, c.values[s.place]) for c in charts for s in c.signals]
    found.sort(key=lambda f: -abs(away(f[0], f[2])))
    pictured = list(dict.fromkeys(id(c) for c, _, _ in found))[:6]
    pictures = tuple(chart_picture(c) for i in pictured for c in charts if id(c) == i)
    return Answer(
        "outliers",
        "What stands out",
        _outliers_sentence(charts, found),
        HOW,
        pictures,
        (_outliers_table(found),),
        {"outliers": [v for _, _, v in found[:MOST_ROWS]]},
    )


def _outliers_sentence(charts: Sequence[Chart], found: Sequence[tuple[Chart, Signal, Value]]) -> str:
    values = sum(len(c.values) for c in charts)
    if not found:
        return f"Nothing stands out among {counted(values, 'value')} in {counted(len(charts), 'chart')}."
    c, s, v = found[0]
    q = charted(c.quantity, c.unit)
    where = f"{v.girder} on {v.occasion}, {title_of(c)}"
    return (
        f"{len(found)} of {values} values stand out. The farthest: {where}, {printed(q, v.value, v.u)}, {s.rule} "
        f"({number(abs(away(c, v)), 1)} standard deviations from the centre)."
    )


def _outliers_table(found: Sequence[tuple[Chart, Signal, Value]]) -> Table:
    more = f"The first {MOST_ROWS} of {len(found)}. " if len(found) > MOST_ROWS else ""
    return Table(
        "table-outliers",
        "Values that stand out",
        ("girder", "quantity", "magnet", "day", "value", "centre", "standard deviations away", "why", "from"),
        tuple(_outlier_row(*f) for f in found[:MOST_ROWS]),
        note=f"{more}A value that completes a run need not lie far away itself.",
        empty="none",
    )


def _outlier_row(c: Chart, s: Signal, v: Value) -> tuple[Cell, ...]:
    q = charted(c.quantity, c.unit)
    centre = None if c.limits is None else c.limits.centre
    return (
        words(v.girder), words(q.words), words(c.magnet), words(v.at[:10]),
        Cell(printed(q, v.value, v.u), v.value, style="number"), Cell(printed(q, centre), centre, style="number"),
        Cell(number(away(c, v), 1, sign=True), style="number"), words(s.rule), origin(v.run, v.occasion, v.since),
    )  # fmt: skip


def trends_answer(trends: Sequence[tuple[Chart, Trend, bool]], risk: float) -> Answer:
    """Slopes in time with their uncertainty, those first that chance explains least; True marks what it does not explain."""
    found = [t for t in trends if t[2]]
    return Answer(
        "trends",
        "Trends",
        _trends_sentence(trends, found, risk),
        "A straight line in time through the values of each chart, equal weights, the scatter from the values themselves. A "
        f"trend is called one when chance would give any such among all charts with less than {100.0 * risk:g} in 100 (Holm). "
        "A single step in the values also gives a slope: look at the picture.",
        tuple(chart_picture(c) for c, _, _ in (found or trends)[:6]),
        (_trends_table(trends),),
        {"trends": [t for _, t, _ in trends], "charts": [c for c, _, _ in trends]},
    )


def _trends_sentence(trends: Sequence[tuple[Chart, Trend, bool]], found: Sequence[object], risk: float) -> str:
    if not trends:
        return "No chart has four values at different times, so no trend can be told."
    if not found:
        return f"No trend in {counted(len(trends), 'chart')} that chance would not give (risk {risk:g} over all)."
    c, t, _ = trends[0]
    many = "1 trend" if len(found) == 1 else f"{len(found)} trends"
    slope, p = _slope(charted(c.quantity, c.unit), t), chance(t.probability)
    return f"{many} in {counted(len(trends), 'chart')}, the clearest: {title_of(c)}, {slope} (probability {p})."


def _slope(q: Quantity, t: Trend) -> str:
    places = max(decimals_for([t.u * q.factor]), 0)
    return with_uncertainty(t.slope * q.factor, t.u * q.factor, of_year(q), decimals=places)


def _trends_table(trends: Sequence[tuple[Chart, Trend, bool]]) -> Table:
    more = f"The first {MOST_ROWS} of {len(trends)}. " if len(trends) > MOST_ROWS else ""
    return Table(
        "table-trends",
        "Slopes, the least likely by chance first",
        ("quantity", "magnet", "type", "slope", "dof", "probability", "", "values", "from", "to"),
        tuple(_trend_row(*t) for t in trends[:MOST_ROWS]),
        note=f"{more}Slope ± its standard uncertainty; probability: of so steep a line by chance, of this chart alone.",
        empty="none can be told",
    )


def _trend_row(c: Chart, t: Trend, called: bool) -> tuple[Cell, ...]:
    q = charted(c.quantity, c.unit)
    ends = (c.values[0], c.values[-1])
    return (
        words(q.words), words(c.magnet), words(c.type_name), Cell(_slope(q, t), t.slope, style="number"),
        Cell(f"{t.dof}", style="number"), Cell(chance(t.probability), t.probability, style="number"),
        Cell("trend", style="strong") if called else Cell(""), Cell(f"{len(c.values)}", style="number"),
        *(Cell(f"{v.at[:10]}, {v.girder} {origin(v.run, v.occasion).text}") for v in ends),
    )  # fmt: skip
