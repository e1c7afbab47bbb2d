"""The clock of a file: what it wrote first and last, in which zone, and when that was."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ClockTold:
    """Times of one column of one file.

    first, last          as the file writes them (first and last in time)
    zone                 as the lab description tells it, "" when it does not
    first_utc, last_utc  the same moments in UTC, ISO 8601, "" when no zone is told
    first_local, last_local  the same on the file's own clock, ISO 8601
    """

    file: str
    column: str
    zone: str
    first: str
    last: str
    first_utc: str
    last_utc: str
    first_local: str
    last_local: str
