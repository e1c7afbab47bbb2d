"""Sightings and scans that people set aside, in the result document."""

from __future__ import annotations

from monochord.campaign.found.excluded import Aside, AsideReading
from monochord.campaign.found.result import Result
from monochord.report.entries import Part, Value, entry

NOTHING_ASIDE = "nobody set a sighting or a scan aside in this campaign"
SET_ASIDE, COUNTS_AGAIN = "set aside", "taken back"


def excluded_part(result: Result) -> Part:
    """Everything that people set aside, in the order of the campaign's file; empty, with the reason, where nothing was."""
    return [_aside(a) for a in result.excluded], {} if result.excluded else {"excluded": NOTHING_ASIDE}


def _aside(aside: Aside) -> dict[str, object]:
    told = aside.excluded
    values: dict[str, Value] = {
        "occasion": told.occasion,
        "what": told.what,
        "name": told.name,
        "place": told.place,
        "state": SET_ASIDE if told.holds else COUNTS_AGAIN,
        "why": told.why,
        "by": told.by,
        "at": told.at,
        "taken_back": told.taken_back,
        "taken_back_by": told.taken_back_by,
        "taken_back_at": told.taken_back_at,
        "readings": [_reading(r) for r in aside.readings],
    }
    return entry(values, {"readings": aside.reason} if aside.reason else {})


def _reading(found: AsideReading) -> dict[str, object]:
    return {"kind": found.kind, "unit": found.unit, "residual": found.residual, "u": found.u, "in_u": found.in_u}
