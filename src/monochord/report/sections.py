"""What a page holds, in order: headings with pictures and tables. A new kind of finding adds a chapter here."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from monochord.campaign.found.result import Result
from monochord.report.chapter import Chapter, Section
from monochord.report.decisions import comparison_chapter, plan_chapter, verdict_chapter
from monochord.report.facts import COVERAGE, with_line, with_points
from monochord.report.figures.along import axes_picture
from monochord.report.figures.curves import curve_picture
from monochord.report.figures.network import network_picture, targets_picture
from monochord.report.figures.overlay import overlay_picture
from monochord.report.figures.residuals import residuals_picture
from monochord.report.figures.timeline import timeline_picture
from monochord.report.limits import limits_chapter
from monochord.report.svg import Picture
from monochord.report.tables.excluded import excluded_table
from monochord.report.tables.origin import origins_table
from monochord.report.tables.reading import clocks_table, imports_table, pairings_table
from monochord.report.tables.ride import ride_table
from monochord.report.tables.signs import signs_table
from monochord.report.tables.state import (
    conditions_table,
    failed_table,
    feet_table,
    gates_table,
    inputs_table,
    lacks_table,
    notes_table,
    settings_table,
)
from monochord.report.tables.survey import rejected_table, residuals_table, stations_table, targets_table
from monochord.report.tables.table import Table
from monochord.report.tables.wire import axes_table, causes_table, corrections_table, moves_table, offsets_table


def pictures_chapter(result: Result) -> Chapter:
    """The axes, the survey, the scans, the resonances."""
    axes = [axes_picture(result, found, line) for found, line in with_line(result)]
    surveys = [
        picture
        for found, points in with_points(result)
        for picture in (
            network_picture(result, found.name, points),
            targets_picture(result, found.name, points),
            residuals_picture(found.name, points),
        )
    ]
    return Chapter(
        "pictures",
        "Pictures",
        "x is positive to the left looking along the beam, y is positive up, z runs along the beam.",
        (
            Section("Axes and the common line", tuple(axes), empty="No occasion has axes and a common line."),
            Section("Survey", _there(surveys), empty="No occasion has a survey."),
            *_curves(result, "Scans with their fits and residuals", "scans"),
            *_curves(result, "Resonance of the wire", "resonances"),
        ),
    )


def _there(pictures: Iterable[Picture | None]) -> tuple[Picture, ...]:
    return tuple(picture for picture in pictures if picture is not None)


def _curves(result: Result, title: str, kind: str) -> list[Section]:
    wires = [(o.name, o.wire.scans if kind == "scans" else o.wire.resonances) for o in result.occasions if o.wire]
    sections = [
        Section(
            f"{title}, {name}",
            tuple(curve_picture(curve, kind, name, str(i)) for i, curve in enumerate(curves, 1)),
            small=True,
            empty="No curve was kept.",
        )
        for name, curves in wires
    ]
    return sections or [Section(title, empty="No occasion has a wire measurement.")]


def tables_chapter(result: Result) -> Chapter:
    """Every number, by subject and occasion."""
    lines, surveys = list(with_line(result)), list(with_points(result))
    wires = [(found, found.wire) for found in result.occasions if found.wire]
    no_wire, no_survey = "No occasion has axes.", "No occasion has a survey."
    return Chapter(
        "tables",
        "Tables",
        "The number after ± is one standard uncertainty u (about 68 %); the bars and ellipses of the pictures hold "
        f"95 % ({COVERAGE} u along one direction).",
        (
            Section(
                "Offsets and what to do",
                tables=tuple(t for o, n in lines for t in (offsets_table(result, o, n), moves_table(o))),
                empty=no_wire,
            ),
            Section(
                "Axes",
                tables=tuple(t for o, w in wires for t in (axes_table(result, o, w), corrections_table(o, w))),
                empty=no_wire,
            ),
            Section("Where the uncertainty comes from", tables=tuple(causes_table(result, o, n) for o, n in lines), empty=no_wire),
            Section("Targets", tables=tuple(targets_table(result, o.name, p) for o, p in surveys), empty=no_survey),
            Section(
                "Survey",
                tables=tuple(
                    table
                    for o, p in surveys
                    for table in (rejected_table(o.name, p), residuals_table(o.name, p), stations_table(o.name, p))
                ),
                empty=no_survey,
            ),
            Section("Temperature, wire and feet", tables=(conditions_table(result), *_feet(result))),
            Section(
                "Ride",
                tables=tuple(ride_table(o.name, o.ride) for o in result.occasions if o.ride),
                empty="No occasion has a ride logger.",
            ),
            Section(
                "Checks and what is missing",
                tables=(
                    lacks_table(result),
                    failed_table(result),
                    gates_table(result),
                    signs_table(result),
                    excluded_table(result),
                    notes_table(result),
                ),
            ),
        ),
    )  # fmt: skip


def _feet(result: Result) -> tuple[Table, ...]:
    return tuple(feet_table(result, found) for found in result.occasions) if result.campaign.girder.bolts else ()


def line_chapter(result: Result) -> Chapter:
    """The girder at a glance: its occasions, and the line of magnets on them."""
    line = overlay_picture(result)
    return Chapter(
        "line",
        "The line of magnets",
        "x is positive to the left looking along the beam, y is positive up, z runs along the beam.",
        (
            Section("Occasions", (timeline_picture(result),)),
            Section(
                "Offsets from the common line",
                () if line is None else (line,),
                tuple(offsets_table(result, o, n) for o, n in reversed(list(with_line(result)))),
                empty="No occasion has axes and a common line.",
            ),
        ),
    )


def wire_chapter(result: Result) -> Chapter:
    """What the wire found: axes, scans with their fits, resonances, and every correction."""
    lines, wires = list(with_line(result)), [(o, o.wire) for o in result.occasions if o.wire]
    axes = tuple(axes_picture(result, found, line) for found, line in lines)
    return Chapter(
        "wire",
        "Wire",
        "x is positive to the left looking along the beam, y is positive up, z runs along the beam.",
        (
            Section(
                "Axes and the common line",
                axes,
                tuple(t for o, n in lines for t in (offsets_table(result, o, n), moves_table(o))),
                empty="No occasion has axes and a common line.",
            ),
            *_curves(result, "Scans with their fits and residuals", "scans"),
            *_curves(result, "Resonance of the wire", "resonances"),
            Section(
                "Axes and their corrections",
                tables=tuple(t for o, w in wires for t in (axes_table(result, o, w), corrections_table(o, w))),
                empty="No occasion has axes.",
            ),
        ),
    )


def survey_chapter(result: Result) -> Chapter:
    """What the survey found: the network, residuals, and sightings that were left out."""
    surveys = list(with_points(result))
    return Chapter(
        "survey",
        "Survey",
        "Ellipses hold 95 %. Residuals are readings less what the adjustment makes of them.",
        tuple(
            Section(
                f"Survey of {o.name}",
                _there(
                    (
                        network_picture(result, o.name, p),
                        targets_picture(result, o.name, p),
                        residuals_picture(o.name, p),
                    )
                ),
                (
                    rejected_table(o.name, p),
                    stations_table(o.name, p),
                    targets_table(result, o.name, p),
                    residuals_table(o.name, p),
                ),
            )
            for o, p in surveys
        )
        or (Section("Survey", empty="No occasion has a survey."),),
    )


def state_chapter(result: Result) -> Chapter:
    """Temperature, feet, ride, checks and what is missing."""
    return Chapter(
        "state",
        "State and ride",
        "What else was found on every occasion, what was checked, and what is missing.",
        (
            Section("Temperature, wire and feet", tables=(conditions_table(result), *_feet(result))),
            Section(
                "Ride",
                tables=tuple(ride_table(o.name, o.ride) for o in result.occasions if o.ride),
                empty="No occasion has a ride logger.",
            ),
            _checks(result),
        ),
    )


def _checks(result: Result) -> Section:
    tables = (lacks_table, failed_table, gates_table, signs_table, excluded_table, notes_table)
    return Section("Checks and what is missing", tables=tuple(table(result) for table in tables))


def origin_chapter(result: Result) -> Chapter:
    """Where the numbers come from."""
    origin = result.origin
    return Chapter(
        "origin",
        "Origin",
        f"Run {origin.run}, made by {origin.made_by} at {origin.made_at} (UTC).",
        (
            Section("Where each number comes from", tables=(origins_table(result),)),
            Section("How files were read", tables=(imports_table(result),)),
            Section("Names and clocks", tables=(pairings_table(result), clocks_table(result))),
            Section("Files and settings", tables=(inputs_table(result), settings_table(result))),
        ),
    )


#: The chapters of a page, in order: what was decided, what changed and what to do come before what was measured.
CHAPTERS: tuple[Callable[[Result], Chapter], ...] = (
    verdict_chapter,
    comparison_chapter,
    plan_chapter,
    limits_chapter,
    pictures_chapter,
    tables_chapter,
    origin_chapter,
)
