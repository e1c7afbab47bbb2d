"""What became of the check moves: whether the description shows them as they were made."""

from __future__ import annotations

from dataclasses import dataclass

CONFIRMED, CONTRADICTED, CANNOT_TELL = "confirmed", "contradicted", "cannot be told"


@dataclass(frozen=True, slots=True)
class SignCheck:
    """One check move held against one kind of readings.

    move       the move in words;  evidence  what it was read from: stages, targets, axis
    outcome    confirmed, contradicted, or cannot be told
    seen       what the readings show along the move's direction [m], with its standard uncertainty u; None when nothing was read
    words      the same for a person;  keys  what would have to change in the lab description, "" when nothing
    file, line   where the move stands
    """

    move: str
    evidence: str
    outcome: str
    seen: float | None
    u: float | None
    words: str
    keys: str
    file: str
    line: int
