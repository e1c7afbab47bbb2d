"""Sightings and scans that people set aside, with the reason that they gave."""

from __future__ import annotations

from dataclasses import dataclass, field

from monochord.campaign.given.survey import Sighting
from monochord.campaign.given.wire import RawScan, WireScan

#: What can be set aside.
SIGHTING, SCAN = "sighting", "scan"

#: What was set aside.
Reading = Sighting | WireScan | RawScan


@dataclass(frozen=True, slots=True)
class Excluded:
    """One reading that a person set aside: nothing is computed from it while this holds.

    occasion    its name;  what  "sighting" or "scan";  name  what it is in words, such as "T1 to B4, round 2"
    why         the reason in the person's words;  by, at  who and when, "" when nobody said
    taken_back  the reason why it counts again, "" while it is set aside;  taken_back_by, taken_back_at  likewise
    reading     what was read there;  file, line  where it stands, "" and 0 when it is not found any more

    >>> Excluded("2-back", "sighting", "T1 to B4, round 2", "the reflector was knocked").holds
    True
    """

    occasion: str
    what: str
    name: str
    why: str
    by: str = ""
    at: str = ""
    taken_back: str = ""
    taken_back_by: str = ""
    taken_back_at: str = ""
    file: str = ""
    line: int = 0
    reading: Reading | None = field(default=None, compare=False, repr=False)

    @property
    def holds(self) -> bool:
        """Whether it is set aside now."""
        return not self.taken_back

    @property
    def place(self) -> str:
        """File and line in words, "" when it is not found any more."""
        return f"{self.file}, line {self.line}" if self.file else ""
