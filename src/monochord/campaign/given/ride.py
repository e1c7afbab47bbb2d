"""The ride logger: what its numbers are, as the lab description says."""

from __future__ import annotations

from dataclasses import dataclass

#: What the numbers of a logger can be.
KINDS = ("samples", "window maxima", "window rms", "peak to peak", "triggers")


@dataclass(frozen=True, slots=True)
class RideLogger:
    """One kind of ride logger.

    kind         one of KINDS; "" when nobody told
    window       length of a window [s], None when not told
    threshold    what starts a record of a triggered logger [m/s2], None when not told
    full_scale   the largest acceleration that it can show [m/s2], None when not told
    gravity      whether the weight is in the numbers: "included", "removed", or "" when nobody told
    limit        acceleration that the ride must not exceed [m/s2], None when none is declared
    crest        largest factor of a peak over the rms of its window that is assumed, None when not told
    coldest, hottest   temperatures that the ride must keep within [degC], None when none are declared
    file         where the samples stand
    """

    kind: str = ""
    window: float | None = None
    threshold: float | None = None
    full_scale: float | None = None
    gravity: str = ""
    limit: float | None = None
    crest: float | None = None
    coldest: float | None = None
    hottest: float | None = None
    file: str = ""
