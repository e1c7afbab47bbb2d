"""Table of what people set aside: which sighting or scan, who said so and why, and what it would have said."""

from __future__ import annotations

from collections.abc import Iterable

from monochord.campaign.found.excluded import Aside, AsideReading
from monochord.campaign.found.result import Result
from monochord.report.document_excluded import NOTHING_ASIDE
from monochord.report.svg import ident
from monochord.report.tables.table import Table, rows_of, words
from monochord.report.words import number

#: Unit of the print and factor from SI, by the unit of the reading.
PRINTED = {"rad": ("µrad", 1e6), "m": ("µm", 1e6)}


def excluded_table(result: Result) -> Table:
    """Everything that people set aside, one line each, with the reason in their words."""
    found = result.excluded
    return Table(
        ident("table-excluded"),
        "Set aside by people, with the reason",
        ("occasion", "what", "place", "why", "who and when", "now", "it would have said"),
        rows_of(
            [words(a.excluded.occasion) for a in found],
            [words(f"{a.excluded.what} {a.excluded.name}") for a in found],
            [words(a.excluded.place or "not found any more") for a in found],
            [words(a.excluded.why) for a in found],
            [words(_who(a.excluded.by, a.excluded.at)) for a in found],
            [words(_state(a)) for a in found],
            [words(said(a)) for a in found],
        ),
        note="What a sighting would have said: read minus computed from the adjustment without it, and the same in "
        "standard uncertainties u of one such reading."
        if any(a.readings for a in found)
        else "",
        empty=f"{NOTHING_ASIDE[0].upper()}{NOTHING_ASIDE[1:]}.",
    )


def _who(by: str, at: str) -> str:
    return f"{by or 'nobody said'}, {at[:16].replace('T', ' ') or 'no time told'}"


def _state(aside: Aside) -> str:
    told = aside.excluded
    if told.holds:
        return "set aside"
    return f"counts again: {told.taken_back} ({_who(told.taken_back_by, told.taken_back_at)})"


def said(aside: Aside) -> str:
    """What the readings of a sighting would have said, in words; the reason where that is not known."""
    return "; ".join(_reading(r) for r in aside.readings) or aside.reason


def _reading(found: AsideReading) -> str:
    unit, factor = PRINTED[found.unit]
    return f"{found.kind} {number(found.residual * factor, 1, sign=True)} {unit} ({number(found.in_u, 1, sign=True)} u)"


def counts(found: Iterable[Aside]) -> dict[str, int]:
    """How many of each kind are set aside now.

    >>> counts([])
    {}
    """
    told: dict[str, int] = {}
    for aside in found:
        if aside.excluded.holds:
            told[aside.excluded.what] = told.get(aside.excluded.what, 0) + 1
    return told
