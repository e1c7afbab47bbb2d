"""Tables about the reading of the files: rows and conversions, names that were paired, and what clocks told."""

from __future__ import annotations

from monochord.campaign.found.result import Result
from monochord.campaign.given.imports import Import
from monochord.report.document_reading import NO_CLOCK, NO_PAIRING
from monochord.report.svg import ident
from monochord.report.tables.table import Table, words


def imports_table(result: Result) -> Table:
    """How every file was read: rows by what they are, spelling, conversions, columns that were not read."""
    rows = tuple(
        (words(told.path), words(told.counts), words(told.spelling), words(_converted(told)))
        for told in result.campaign.imports
    )
    return Table(
        ident("table-imports"),
        "How files were read: every row is data, head, remark or refused",
        ("file", "rows", "spelling", "converted, and what was not read"),
        rows,
        empty="No file was read by the lab description.",
    )


def _converted(told: Import) -> str:
    over = [f"not read: {', '.join(told.passed_over)}"] if told.passed_over else []
    return "; ".join([*told.conversions, *over]) or "nothing converted"


def pairings_table(result: Result) -> Table:
    """Lists of names side by side: how many matched, and every name that did not."""
    rows = [
        (
            words(p.first),
            words(p.second),
            words(str(len(p.matched))),
            words(", ".join(p.only_first)),
            words(", ".join(p.only_second)),
            words("; ".join(f"{n.first} and {n.second}: {n.why}" for n in p.near)),
            words(", ".join(p.set_aside)),
        )
        for p in result.campaign.pairings
    ]
    return Table(
        ident("table-pairings"),
        "Names that were paired",
        ("first list", "second list", "matched", "only in the first", "only in the second", "near misses", "set aside"),
        tuple(rows),
        empty=f"{NO_PAIRING[0].upper()}{NO_PAIRING[1:]}.",
        note="Names pair when they are equal, apart from outer blanks and the Unicode form; never by their order.",
    )  # fmt: skip


def clocks_table(result: Result) -> Table:
    """First and last time of every column of times, as written and in UTC."""
    rows = [
        (
            words(c.file),
            words(c.column),
            words(c.zone or "not told"),
            words(c.first),
            words(c.last),
            words(c.first_utc or c.first_local),
            words(c.last_utc or c.last_local),
        )
        for o in result.campaign.occasions
        for c in o.clocks
    ]
    return Table(
        ident("table-clocks"),
        "What clocks told",
        ("file", "column", "zone", "first as written", "last as written", "first", "last"),
        tuple(rows),
        empty=f"{NO_CLOCK[0].upper()}{NO_CLOCK[1:]}.",
        note="Z behind a time stands for UTC; without it the time is that of the file's own clock.",
    )
