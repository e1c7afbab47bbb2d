"""The result on one screen of a terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monochord.campaign.found.axes import CommonLine
from monochord.campaign.found.result import OccasionFinding, Result
from monochord.campaign.found.verdict import Verdict
from monochord.report.document_occasion import lacks_of
from monochord.report.facts import Known, limits_said, magnets_of, offset_of, with_line
from monochord.report.judged import Family, by_occasion, worst_by_magnet
from monochord.report.summary_decisions import COLUMNS, decision_lines, wrapped
from monochord.report.tables.excluded import counts
from monochord.report.tables.table import Cell, column
from monochord.report.words import (
    UNKNOWN,
    counted,
    decimals_apart,
    decimals_for,
    listed,
    micrometres,
    offset_words,
    scaled,
    sight,
)

LINES = 24
NO_LINE = "No occasion has axes and a common line."


@dataclass(frozen=True, slots=True)
class Room:
    """How much room the parts get: lines of the sentence, of every other part, of magnets; blank lines or none."""

    sentence: int
    most: int
    magnets: int
    blanks: bool


#: From generous to tight; the first that fits the screen is taken.
ROOMS = (
    Room(6, 2, 10, True),
    Room(4, 2, 10, True),
    Room(4, 1, 10, True),
    Room(3, 1, 10, True),
    Room(3, 1, 10, False),
    Room(3, 1, 6, False),
)


def summary(result: Result, *, report: str = "") -> str:
    """At most 24 lines of at most 100 columns, what matters most first.

    Sentence; feet to bring to bear before anything is turned; verdicts, own moves and turns; offsets; what was left out
    or is missing; where the report is.

    report  the place of the full report, printed as it is however long; "" leaves the line out

    The magnets of the last occasion with a common line are listed; earlier occasions get one line together.
    """
    built = (_built(result, report, room) for room in ROOMS)
    fits = next((lines for lines in built if len(lines) <= LINES), _built(result, report, ROOMS[-1])[:LINES])
    return "\n".join(fits) + "\n"


def _built(result: Result, report: str, room: Room) -> list[str]:
    judged = list(with_line(result))
    table = [*_magnets(result, *judged[-1], room), *_earlier(result, judged[:-1])] if judged else [NO_LINE]
    place = [f"Report: {report}"] if report else []
    tail = [*_rejected(result, room.most), *_set_aside(result), *_lacks(result, room.most), *_notes(result), *place]
    parts = [wrapped(result.sentence, room.sentence), decision_lines(result, room.most), table, tail]
    lines: list[str] = []
    for part in parts:
        lines += [*([""] if lines and part and room.blanks else []), *part]
    return lines


def _clipped(text: str) -> str:
    return text if len(text) <= COLUMNS else text[: COLUMNS - 4] + " ..."


def _magnets(result: Result, found: OccasionFinding, line: CommonLine, room: Room) -> list[str]:
    """A table of offsets, limit, verdict and move, one line for each magnet."""
    names = magnets_of(result)[: room.magnets]
    judged = dict(by_occasion(result).get(found.name, []))
    worst = worst_by_magnet(
        v for family, group in judged.items() if family.ident in {"line", "line-radial"} for v in group
    )
    offsets = [offset_of(line, name) for name in names]
    x, y = (
        _printed(column([pair[k] for pair in offsets], 1e6, across="xy"[k], decimals=_places(offsets, k, judged)))
        for k in (0, 1)
    )
    moves = {move.magnet: move for move in found.moves}
    rows = [("magnet", "x, sideways [µm]", "y, height [µm]", "limit", "verdict", "move")]
    for name, in_x, in_y in zip(names, x, y, strict=True):
        limit = limits_said(result.campaign.tolerances, "offset", name)
        move = moves.get(name)
        rows.append(
            (
                name,
                in_x,
                in_y,
                limit or "none",
                worst.get(name, "none"),
                offset_words(move.x, move.y) if move else "none",
            )
        )
    rests = "" if found.line_evidence == "wire" else f" ({found.line_evidence})"
    title = f"{found.name}: offsets from the common line{rests}, number ± standard uncertainty"
    more = len(magnets_of(result)) - len(names)
    rest = [f"and {counted(more, 'more magnet')}, see the report"] if more else []
    return [_clipped(title), *_aligned(rows), *rest]


def _places(offsets: Sequence[tuple[Known, Known]], k: int, judged: Mapping[Family, Sequence[Verdict]]) -> int:
    """Decimals of the offsets in x (0) or y (1): as their uncertainties ask, more where one would else look like its limit."""
    values = [pair[k] for pair in offsets]
    limits = {1e6 * end for family, found in judged.items() if family.ident == "line" for v in found for end in v.ends}
    places = decimals_for(scaled(v.u, 1e6) for v in values)
    return decimals_apart(places, [(scaled(v.value, 1e6), limit) for v in values for limit in limits])


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
    return wrapped(f"Left out of the survey{count}: {listed(out, 6)}", most)


def _set_aside(result: Result) -> list[str]:
    """What people set aside, in one line; nothing is said where nobody did."""
    told = counts(result.excluded)
    if not told:
        return []
    names = [f"{a.excluded.occasion} {a.excluded.name}" for a in result.excluded if a.excluded.holds]
    many = " and ".join(counted(n, what) for what, n in told.items())
    return wrapped(f"Set aside by people ({many}): {listed(names, 3)}", 1)


def _lacks(result: Result, most: int) -> list[str]:
    lacks = [f"{o.name} {what}: {why}" for o in result.occasions for what, why in lacks_of(result, o)]
    return wrapped(f"{UNKNOWN.capitalize()} or missing: {'; '.join(lacks)}", most) if lacks else []


def _notes(result: Result) -> list[str]:
    count = len(result.campaign.notes) + len(result.notes)
    near = sum(len(p.near) for p in result.campaign.pairings)
    names = f", {near} near misses of names" if near > 1 else ", one near miss of names" if near else ""
    return [f"{counted(count, 'remark')} about the files{names}, see the report"] if count or near else []
