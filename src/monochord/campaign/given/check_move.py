"""Check moves: a small, known move that was made on purpose, to see that every sign of the description is right."""

from __future__ import annotations

from dataclasses import dataclass

#: What can be moved.
WHATS = ("wire", "magnet", "target", "bolt")


@dataclass(frozen=True, slots=True)
class CheckMove:
    """One check move as the crew noted it.

    what, name   one of WHATS, and which
    words        the direction as it was written
    direction    unit vector in the girder frame, None for the sense of a bolt
    size         [m], None when not told;  turns  of a bolt, with its sign where the words are no sense
    before, after   occasions between which it was made; scans of one occasion for the wire
    keys         keys of the lab description that would have to change if the move shows the other way, and their line
    file, line   where it stands
    """

    what: str
    name: str
    words: str
    direction: tuple[float, float, float] | None
    size: float | None
    turns: float | None
    before: str
    after: str
    keys: str
    keys_line: int | None = None
    file: str = ""
    line: int = 0
