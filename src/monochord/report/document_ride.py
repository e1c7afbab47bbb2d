"""What a ride logger tells, in the result document."""

from __future__ import annotations

from monochord.campaign.found.ride import RideFinding
from monochord.report.entries import Value, entry
from monochord.report.facts import finite

NO_RIDE = "no ride logger was read on this occasion"
_NO_GRAVITY = "the weight is not in the logger's numbers, or cannot be told from them"


def ride_part(found: RideFinding) -> dict[str, object]:
    """One ride, SI: accelerations beyond the weight in m/s2, temperatures in degC, exposure in K h."""
    lowest, highest, mean = found.temperature or (None, None, None)
    values: dict[str, Value] = {
        "kind": found.kind or None,
        "samples": found.samples,
        "duration": finite(found.duration),
        "largest": finite(found.largest),
        "largest_at": finite(found.largest_at),
        "low": finite(found.low),
        "high": finite(found.high),
        "bound": found.bound,
        "clipped": found.clipped,
        "shocks": [entry({"level": s.level, "count": s.count}, {"count": s.why}) for s in found.shocks],
        "gaps": [{"start": g.start, "length": g.length} for g in found.gaps],
        "missing": finite(found.missing),
        "up": found.up,
        "up_agrees": found.up_agrees,
        "temperature": {"lowest": lowest, "highest": highest, "mean": mean} if found.temperature else None,
        "exposure": finite(found.exposure),
        "over": found.over,
        "over_words": found.over_words,
        "can": list(found.can),
        "cannot": list(found.cannot),
        "warnings": list(found.warnings),
    }
    why = {
        "kind": "nobody told what the logger's numbers are (tables.ride.kind)",
        "high": found.bound,
        "missing": "a logger that sleeps between events tells no gaps, or too few samples do",
        "up": _NO_GRAVITY,
        "up_agrees": _NO_GRAVITY,
        "temperature": "the logger recorded no temperature",
        "exposure": "the logger recorded no temperature",
        "over": found.over_words,
    }
    return entry(values, why)
