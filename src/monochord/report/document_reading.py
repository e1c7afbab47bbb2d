"""What the reading of the files found, in the result document: rows and conversions, names that were paired, what clocks told."""

from __future__ import annotations

from monochord.campaign.found.result import Result
from monochord.campaign.given.clock import ClockTold
from monochord.campaign.given.imports import Import
from monochord.campaign.given.pairing import Pairing
from monochord.report.entries import Part, Value, entry

NO_PAIRING = "no two lists of names stood side by side"
NO_CLOCK = "no file has times that are told by a notation"
NO_IMPORT = "no file was read by the lab description"
NO_ZONE = "the lab description tells no zone of this clock"


def imports_part(result: Result) -> Part:
    """How every file was read: its rows by what they are, its spelling, and everything that was converted."""
    found = result.campaign.imports
    return [_import(told) for told in found], {} if found else {"imports": NO_IMPORT}


def _import(told: Import) -> dict[str, object]:
    values: dict[str, Value] = {
        "path": told.path,
        "role": told.role,
        "rows": told.rows,
        "data": told.data,
        "heads": told.heads,
        "remarks": told.remarks,
        "refused": told.refused,
        "blank": told.blank,
        "encoding": told.encoding,
        "delimiter": told.delimiter or None,
        "decimal": told.decimal or None,
        "grouping": told.grouping or None,
        "conversions": list(told.conversions),
        "read": list(told.read),
        "passed_over": list(told.passed_over),
        "words": told.counts,
    }
    why = dict.fromkeys(("delimiter", "decimal"), "the format has no such mark")
    return entry(values, why | {"grouping": "no grouping mark is declared"})


def pairings_part(result: Result) -> Part:
    """Every two lists of names that were paired: what matched, what stands in one of them, near misses."""
    found = result.campaign.pairings
    return [_pairing(p) for p in found], {} if found else {"pairings": NO_PAIRING}


def _pairing(p: Pairing) -> dict[str, object]:
    return {
        "first": p.first,
        "second": p.second,
        "matched": list(p.matched),
        "only_first": list(p.only_first),
        "only_second": list(p.only_second),
        "set_aside": list(p.set_aside),
        "near": [{"first": n.first, "second": n.second, "why": n.why} for n in p.near],
        "words": p.words,
    }


def clocks_part(result: Result) -> Part:
    """First and last time of every column of times, as the file writes them and in UTC where its zone is told."""
    found = [_clock(o.name, c) for o in result.campaign.occasions for c in o.clocks]
    return found, {} if found else {"clocks": NO_CLOCK}


def _clock(occasion: str, c: ClockTold) -> dict[str, object]:
    values: dict[str, Value] = {
        "occasion": occasion,
        "file": c.file,
        "column": c.column,
        "zone": c.zone or None,
        "first": c.first,
        "first_local": c.first_local,
        "first_utc": c.first_utc or None,
        "last": c.last,
        "last_local": c.last_local,
        "last_utc": c.last_utc or None,
    }
    return entry(values, dict.fromkeys(("zone", "first_utc", "last_utc"), NO_ZONE))
