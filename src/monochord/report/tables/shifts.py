"""Tables of shifts: whether each magnet has moved beyond chance, and whether by less than its margin."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.campaign.found.comparison import Comparison
from monochord.campaign.found.shift import OWN_MOVE, Shift, Shifts
from monochord.report.facts import Known, finite
from monochord.report.svg import ident
from monochord.report.tables.table import Cell, Table, column, plain, reasons_note, rows_of, words
from monochord.report.words import UNKNOWN, limit_number, number, percent

UM = 1e6
SAID = {True: "beyond chance", False: "no shift found", None: UNKNOWN}
#: What a kind of shift is, for a caption.
OF = {OWN_MOVE: "own moves", "axis": "axes about the line that shape and own moves make"}


def shift_tables(found: Comparison) -> list[Table]:
    """One table for every kind of shift that a comparison tells."""
    return [shifts_table(found, kind) for kind in found.shifts]


def shifts_table(found: Comparison, kind: Shifts) -> Table:
    """Every magnet's shift with its significance, E_n scores and the answer to "has it moved by less than this?"."""
    each = kind.each
    return Table(
        ident("table-shifts", kind.of, found.start, found.end),
        f"Moved? {OF[kind.of]}, {found.start} to {found.end}",
        (
            "magnet", "x [µm]", "y [µm]", "moved?", "chance [%]", "E_n x", "E_n y", "less than [µm]?", "answer",
            "yes from [µm]",
        ),
        rows_of(
            [words(s.magnet) for s in each],
            column([Known(finite(s.x), finite(s.u_x)) for s in each], UM, across="x"),
            column([Known(finite(s.y), finite(s.u_y)) for s in each], UM, across="y"),
            [Cell(SAID[s.found], style="verdict strong" if s.found else "verdict") for s in each],
            [_share(s.probability) for s in each],
            [_score(s.e_n_x) for s in each],
            [_score(s.e_n_y) for s in each],
            [Cell(limit_number(UM * s.margin, sign=False), s.margin, style="number") for s in each],
            [Cell(_answer(s), style="verdict" if s.less == "yes" else "verdict strong") for s in each],
            [plain(finite(s.answerable), 1, UM) for s in each],
        ),
        note=_note(kind, each),
        empty="No magnet's shift was told.",
    )  # fmt: skip


def _note(kind: Shifts, each: Sequence[Shift]) -> str:
    unknown = [(s.magnet, s.reason) for s in each if s.reason]
    together = finite(kind.probability)
    whole = (
        f" All together: chance alone gives as much in {percent(together)} % of cases." if together is not None else ""
    )
    drawn = (
        " Own moves hold what is known of clamps: a move that is hardly seen is drawn towards none. Here only x and y are "
        "asked; a magnet that is said to have moved by itself may show it by its roll."
    )
    return (
        f"Moved: chi-square test of x and y together, {100.0 * kind.level:g} % for the family of all magnets, "
        f"{100.0 * kind.level_each:.2g} % for each.{whole} E_n: shift over its expanded uncertainty (k = 2), what both occasions "
        f"share having cancelled; between −1 and +1 the two agree. Less than: two one-sided tests at 5 % each, of x and y "
        f"together; a plane with another answer is told beside it. Chance: how often chance alone gives as much. Yes from: the "
        f"smallest margin of which the answer would be yes; margin {kind.margin_by}.{drawn if kind.of == OWN_MOVE else ''} "
        f"{reasons_note(unknown)}"
    ).strip()


def _answer(shift: Shift) -> str:
    """The answer for x and y together, and those of the planes where they differ from it."""
    apart = [f"{p} {one}" for p, one in (("x", shift.less_x), ("y", shift.less_y)) if one != shift.less]
    return f"{shift.less} ({', '.join(apart)})" if apart else shift.less


def _share(share: float) -> Cell:
    known = finite(share)
    return Cell(UNKNOWN, style="number") if known is None else Cell(percent(known), known, style="number")


def _score(score: float) -> Cell:
    known = finite(score)
    return Cell(UNKNOWN, style="number") if known is None else Cell(number(known, 2, sign=True), known, style="number")
