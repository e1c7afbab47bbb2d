"""The result on one screen of a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from monochord.campaign.found.axes import CommonLine
from monochord.campaign.found.result import OccasionFinding, Result
from monochord.report.document_occasion import lacks_of
from monochord.report.facts import Known, limit_of, magnets_of, offset_of, with_line
from monochord.report.tables.table import Cell, column
from monochord.report.words import UNKNOWN, counted, listed, micrometres, number, offset_words, sight

LINES, COLUMNS = 24, 100
NO_LINE = "No occasion has axes and a common line."
MOST_SENTENCE, LEAST_SENTENCE, MOST_MAGNETS = 6, 3, 10


def summary(result: Result, *, report: str = "") -> str:
    """At most 24 lines of at most 100 columns: sentence, offsets, moves, rejected, lacks, and where the report is.

    report  the place of the full report, printed as it is however long; "" leaves the line out

    The magnets of the last occasion with a common line are listed; earlier occasions get one line together.
    """
    judged = list(with_line(result))
    table = [*_magnets(result, *judged[-1]), *_earlier(result, judged[:-1])] if judged else [NO_LINE]
    place = [f"Report: {report}"] if report else []
    for most in (2, 1):  # the sentence comes first: where it gets too little room, the rest is told in less
        tail = [*_rejected(result, most), *_lacks(result, most), *_notes(result), *place]
        room = LINES - len(table) - len(tail) - 2
        if room >= LEAST_SENTENCE:
            break
    lines = [*_wrapped(result.sentence, min(room, MOST_SENTENCE)), "", *table]
    return "\n".join([*lines, "", *tail] if tail else lines) + "\n"


def _wrapped(text: str, most: int) -> list[str]:
    return textwrap.wrap(text, COLUMNS, max_lines=most, placeholder=" ... (see the report)")


def _clipped(text: str) -> str:
    return text if len(text) <= COLUMNS else text[: COLUMNS - 4] + " ..."


def _magnets(result: Result, found: OccasionFinding, line: CommonLine) -> list[str]:
    """A table of offsets, limit and move, one line for each magnet."""
    names = magnets_of(result)[:MOST_MAGNETS]
    offsets = [offset_of(line, name) for name in names]
    x, y = (_printed(column([pair[k] for pair in offsets], 1e6, across="xy"[k])) for k in (0, 1))
    moves = {move.magnet: move for move in found.moves}
    rows = [("magnet", "x, sideways [µm]", "y, height [µm]", "limit", "move")]
    for name, in_x, in_y in zip(names, x, y, strict=True):
        limit = limit_of(result.campaign.tolerances, "offset", name)
        move = moves.get(name)
        rows.append(
            (
                name,
                in_x,
                in_y,
                "none" if limit is None else number(limit * 1e6, 0),
                offset_words(move.x, move.y) if move else "none",
            )
        )
    title = f"{found.name}: offsets from the common line, number ± standard uncertainty"
    more = len(magnets_of(result)) - len(names)
    rest = [f"and {counted(more, 'more magnet')}, see the report"] if more else []
    return [_clipped(title), *_aligned(rows), *rest]


def _printed(cells: Sequence[Cell]) -> list[str]:
    """Cells as text: numbers end at one column, the words behind them begin at one."""
    width = max((len(cell.text) for cell in cells), default=0)
    return [f"{cell.text:>{width}} {cell.word}".rstrip() for cell in cells]


def _aligned(rows: Sequence[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    return [
        _clipped("  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip()).rstrip()
        for row in rows
    ]


def _earlier(result: Result, judged: Sequence[tuple[OccasionFinding, CommonLine]]) -> list[str]:
    """The largest offset of every earlier occasion."""
    parts = []
    for found, line in judged:
        name, plane, worst = _largest(result, line)
        parts.append(f"{found.name} {name} {plane} {micrometres(worst.value, worst.u)}" if name else found.name)
    return [_clipped(f"Earlier, largest offset: {'; '.join(parts)}")] if parts else []


def _largest(result: Result, line: CommonLine) -> tuple[str, str, Known]:
    known = [
        (name, plane, value)
        for name in magnets_of(result)
        for plane, value in zip("xy", offset_of(line, name), strict=True)
        if value.value is not None
    ]
    return max(known, key=lambda item: abs(item[2].value or 0.0), default=("", "", Known(None, None)))


def _rejected(result: Result, most: int) -> list[str]:
    """Sightings left out, by occasion; none is worth a line when there was a survey."""
    surveys = [o for o in result.occasions if o.points is not None]
    out = [
        f"{o.name} {what}"
        for o in surveys
        if o.points
        for what in dict.fromkeys(f"{sight(r.station, r.target)} ({r.kind})" for r in o.points.rejected)
    ]
    if not surveys:
        return []
    count = f" ({len(out)})" if out else ""
    return _wrapped(f"Left out of the survey{count}: {listed(out, 6)}", most)


def _lacks(result: Result, most: int) -> list[str]:
    lacks = [f"{o.name} {what}: {why}" for o in result.occasions for what, why in lacks_of(result, o)]
    return _wrapped(f"{UNKNOWN.capitalize()} or missing: {'; '.join(lacks)}", most) if lacks else []


def _notes(result: Result) -> list[str]:
    count = len(result.campaign.notes) + len(result.notes)
    return [f"{counted(count, 'remark')} about the files, see the report"] if count else []
