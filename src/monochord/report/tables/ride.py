"""Table about a ride: the largest shock with its bounds, counts, gaps, temperature, and what cannot be told."""

from __future__ import annotations

from monochord.campaign.found.ride import RideFinding, ShockCount
from monochord.report.svg import ident
from monochord.report.tables.table import Cell, Table, plain, words
from monochord.report.words import UNKNOWN, counted

G = 9.80665


def ride_table(occasion: str, found: RideFinding) -> Table:
    """Everything that the logger of one ride tells, one fact a row."""
    rows: list[tuple[Cell, Cell, Cell]] = [
        _row(
            "kind of logger",
            words(found.kind or UNKNOWN),
            f"{counted(found.samples, 'row')} in {found.duration / 3600.0:.2f} h",
        ),
        _row("largest reading beyond the weight [g]", plain(found.largest, 3, 1.0 / G), _at(found)),
        _row("largest shock, at least [g]", plain(found.low, 3, 1.0 / G), found.bound),
        _row(
            "largest shock, at most [g]",
            plain(found.high, 3, 1.0 / G),
            "" if found.high is not None else "no bound from above",
        ),
        _row(
            "rows at full scale", words(str(found.clipped)), "the true peak is unknown there" if found.clipped else ""
        ),
        *(_row(f"shocks beyond {s.level / G:.3g} g", _count(s), s.why) for s in found.shocks),
        _row("gaps in time [s]", plain(found.missing, 0), _gaps(found)),
        _row("weight lies along", words(found.up or UNKNOWN), _agrees(found)),
        *_warmth(found),
        _row("limits", words({True: "exceeded", False: "kept", None: "cannot be told"}[found.over]), found.over_words),
    ]
    can = f"It tells {'; '.join(found.can)}."
    cannot = f" It cannot tell {'; '.join(found.cannot)}." if found.cannot else ""
    warned = f" Warning: {'; '.join(found.warnings)}." if found.warnings else ""
    return Table(
        ident("table-ride", occasion),
        f"Ride, {occasion}",
        ("what", "value", "remark"),
        tuple(rows),
        note=can + cannot + warned,
    )


def _row(what: str, value: Cell, remark: str) -> tuple[Cell, Cell, Cell]:
    return words(what), value, words(remark)


def _at(found: RideFinding) -> str:
    return "" if found.largest_at is None else f"{found.largest_at / 60.0:.1f} min after the first row"


def _count(shock: ShockCount) -> Cell:
    return words(UNKNOWN) if shock.count is None else words(str(shock.count))


def _gaps(found: RideFinding) -> str:
    if found.missing is None:
        return "a logger that sleeps between events tells none"
    if not found.gaps:
        return "none"
    longest = max(found.gaps, key=lambda g: g.length)
    where = f"{longest.start / 60.0:.1f} min after the first row"
    return f"{counted(len(found.gaps), 'gap')}, the longest {longest.length:.0f} s, {where}"


def _agrees(found: RideFinding) -> str:
    return {True: "as the axes of the description say", False: "against the axes of the description", None: ""}[
        found.up_agrees
    ]


def _warmth(found: RideFinding) -> list[tuple[Cell, Cell, Cell]]:
    if found.temperature is None:
        return [_row("temperature [°C]", words(UNKNOWN), "not recorded")]
    low, high, mean = found.temperature
    return [
        _row("temperature, mean [°C]", plain(mean, 1), f"from {low:.1f} to {high:.1f} °C"),
        _row(
            "exposure [K h]",
            plain(found.exposure, 2),
            "distance from the first temperature, summed over time; gaps left out",
        ),
    ]
