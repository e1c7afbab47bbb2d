"""What the reading of the files found, in the result document: names that were paired, and what clocks told."""

from __future__ import annotations

from monochord.campaign.found.result import Result
from monochord.campaign.given.clock import ClockTold
from monochord.campaign.given.pairing import Pairing
from monochord.report.entries import Part, Value, entry

NO_PAIRING = "no two lists of names stood side by side"
NO_CLOCK = "no file has times that are told by a notation"
NO_ZONE = "the lab description tells no zone of this clock"


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
