"""One page over a fleet's closures: the sentence, two charts, and tables by girder and by magnet."""

from __future__ import annotations

from collections.abc import Mapping

from monochord.campaign.found.fleet import FleetClosure, MagnetMean
from monochord.report.chapter import Chapter, Section
from monochord.report.facts import Known
from monochord.report.fleet.charts import probabilities_picture, squares_picture
from monochord.report.fleet.words import chance, fleet_sentence, label, most_words
from monochord.report.page import headline_and_rest, style, template, unbroken
from monochord.report.tables.table import Cell, Table, column, plain, rows_of, words


def fleet_page(found: FleetClosure, without: Mapping[str, str]) -> str:
    """The whole as one self-contained HTML page; the same closures give the same bytes."""
    headline, rest = headline_and_rest(fleet_sentence(found))
    return template("fleet.html").render(
        headline=unbroken(headline), rest=unbroken(rest), chapters=_chapters(found, without), style=style()
    )


def _chapters(found: FleetClosure, without: Mapping[str, str]) -> list[Chapter]:
    pictures = (squares_picture(found), probabilities_picture(found)) if found.girders else ()
    how = (
        "Closure: the wire's change of every axis minus the change that the targets predict there, about a straight line. Both "
        "hang on the same girder but on other instruments, so their difference checks the budget of both on real data. Girders are "
        "taken as independent of each other."
    )
    return [
        Chapter("girders", "Girders", how, (Section("In time order", pictures, (_girders(found),)),)),
        Chapter(
            "magnets",
            "Magnets over all girders",
            "Means weighted by 1/u². What all girders share stays in a mean, while chance grows less with every girder.",
            (Section("Mean differences", tables=(_means(found),)),),
        ),
        Chapter(
            "left-out", "Not counted", "Campaigns that tell no closure.", (Section("Why", tables=(_without(without),)),)
        ),
    ]


def _girders(found: FleetClosure) -> Table:
    closures = [g.closure for g in found.girders]
    return Table(
        "table-girders",
        "Closure of every girder",
        ("girder", "from", "to", "square sum", "dof", "square sum / dof", "probability", "largest over its u"),
        rows_of(
            [words(label(found, g.campaign)) for g in found.girders],
            [words(g.start) for g in found.girders],
            [words(g.end) for g in found.girders],
            [plain(c.chi_square, 1) for c in closures],
            [plain(float(c.dof), 0) for c in closures],
            [plain(c.chi_square / c.dof, 2) for c in closures],
            [_chance(c.probability, found.risk) for c in closures],
            [words(most_words(c)) for c in closures],
        ),
        empty="No campaign tells a closure.",
    )


def _chance(probability: float, risk: float) -> Cell:
    return Cell(chance(probability), probability, style="number strong" if probability < risk else "number")


def _means(found: FleetClosure) -> Table:
    cells: list[Cell] = []
    for mean in found.magnets:
        cells += column([Known(mean.mean, mean.u)], 1e6, across=mean.plane)
    return Table(
        "table-means",
        "Wire minus survey, mean over the girders of a type",
        ("magnet", "plane", "mean [µm]", "over its u", "girders", "probability", "of type", ""),
        rows_of(
            [words(m.magnet) for m in found.magnets],
            [words(m.plane) for m in found.magnets],
            cells,
            [plain(abs(m.mean) / m.u, 1) for m in found.magnets],
            [plain(float(m.girders), 0) for m in found.magnets],
            [Cell(chance(m.probability), m.probability, style="number") for m in found.magnets],
            [words(m.type_name) for m in found.magnets],
            [_said(m, found) for m in found.magnets],
        ),
        note="Probability: of this mean alone. Stands out: none of all means would be as far by chance but with the stated risk.",
        empty="No difference is known.",
    )


def _said(mean: MagnetMean, found: FleetClosure) -> Cell:
    return Cell("stands out", style="strong") if mean in found.stands_out else Cell("")


def _without(without: Mapping[str, str]) -> Table:
    rows = tuple((words(campaign), words(why)) for campaign, why in without.items())
    return Table("table-without", "Campaigns that do not count", ("campaign", "why"), rows, empty="All count.")
