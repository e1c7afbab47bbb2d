"""Tables about the survey: targets, residuals by kind, what was left out, stations."""

from __future__ import annotations

from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import Result
from monochord.report.document_survey import NOT_SIGHTED
from monochord.report.facts import blocks, finite, in_girder_frame, station_in_girder
from monochord.report.residuals import PRINTED, KindStatistics, statistics
from monochord.report.svg import ident
from monochord.report.tables.table import Cell, Table, plain, reasons_note, rows_of, words
from monochord.report.words import decimals_for, number, scaled, sight

UM = 1e6


def targets_table(result: Result, occasion: str, points: PointSet) -> Table:
    """Coordinates of the targets in mm with their standard uncertainties in µm."""
    known = blocks(in_girder_frame(points), points.names)
    carriers = {t.name: t.carrier for t in result.campaign.girder.targets} | dict(points.carriers)
    spreads = {n: [float(cov[k, k]) ** 0.5 for k in range(3)] for n, (_, cov) in known.items()}
    decimals = min(decimals_for(scaled(u, UM) for us in spreads.values() for u in us), 1)
    rows = [
        (
            words(n),
            words(carriers.get(n, "not told")),
            *(plain(float(v), 4, 1e3, sign=True) for v in xyz),
            *(plain(u, decimals, UM) for u in spreads[n]),
        )
        for n, (xyz, _) in known.items()
    ]
    unseen = [(t.name, NOT_SIGHTED) for t in result.campaign.girder.targets if t.name not in known]
    why = {**dict(unseen), **points.undetermined}
    return Table(
        ident("table-targets", occasion),
        f"Targets in the girder frame, {occasion}",
        ("target", "on", "x [mm]", "y [mm]", "z [mm]", "u(x) [µm]", "u(y) [µm]", "u(z) [µm]"),
        tuple(rows),
        note=reasons_note(why.items()),
        empty="No target was determined.",
        long=True,
    )


def residuals_table(occasion: str, points: PointSet) -> Table:
    """Residual statistics of every kind of reading."""
    return Table(
        ident("table-residuals", occasion),
        f"Residuals by kind of reading, {occasion}",
        ("kind", "readings", "rms residual", "rms standard deviation", "redundancy", "standardised rms", "largest"),
        tuple(_residuals(found) for found in statistics(points)),
        note=f"Variance factor {number(points.variance_factor, 2)} with {number(points.dof, 0)} degrees of freedom; "
        f"range scale {number(points.scale * 1e6, 1, sign=True)} ± {number(points.u_scale * 1e6, 1)} µm/m.",
        empty="No reading was adjusted.",
    )


def _residuals(found: KindStatistics) -> tuple[Cell, ...]:
    unit, factor = PRINTED.get(found.kind, ("SI", 1.0))
    worst = found.largest
    largest = "no reading is controlled"
    if worst is not None and worst.standardised is not None:
        place, turn = sight(worst.station, worst.target), f", round {worst.round}" if worst.target else ""
        largest = f"{number(worst.standardised, 1, sign=True)} ({place}{turn})"
    return (
        words(found.kind),
        plain(found.count, 0),
        plain(found.rms, 2, factor, word=unit),
        plain(found.sigma, 2, factor, word=unit),
        plain(found.redundancy, 1),
        plain(found.standardised_rms, 2),
        words(largest),
    )


def rejected_table(occasion: str, points: PointSet) -> Table:
    """Sightings and readings that were left out."""
    return Table(
        ident("table-rejected", occasion),
        f"Sightings and readings left out, {occasion}",
        ("station", "target", "what", "size of the error", "why"),
        tuple(
            (
                words(r.station),
                words(r.target or "the station itself"),
                words(r.kind),
                _size(r.size, r.unit),
                words(r.reason),
            )
            for r in points.rejected
        ),
        empty="Nothing was left out.",
    )


def _size(size: float, unit: str) -> Cell:
    shown, factor = {"m": ("µm", 1e6), "rad": ("µrad", 1e6)}.get(unit, (unit, 1.0))
    return plain(finite(size), 0 if factor > 1.0 else 2, factor, sign=True, word=shown)


def stations_table(occasion: str, points: PointSet) -> Table:
    """Where the instrument stood, in the girder frame."""
    places = [station_in_girder(points, s.pose) for s in points.stations]
    return Table(
        ident("table-stations", occasion),
        f"Stations in the girder frame, {occasion}",
        ("station", "x [m]", "y [m]", "z [m]", "sightings"),
        rows_of(
            [words(s.name) for s in points.stations],
            *([plain(float(p[k]), 3, sign=True) for p in places] for k in range(3)),
            [plain(s.sightings, 0) for s in points.stations],
        ),
        empty="No station was set up.",
    )
