"""What each kind of table may hold: its columns, what they mean, and what happens when a cell lacks.

A lab description names the laboratory's own columns for these meanings. ``x``, ``y``, ``z`` are always
the laboratory's own axes, as its frame tells them.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Meaning:
    """One column of a role.

    kind       "text" (names, kept as they are), "word" (mapped to one of ``words``), "axis" (a letter of the
               laboratory's axes), "number", "whole" or "time"
    dimension  of a number, "" when its unit decides (a magnet's strength)
    needed     whether the description must name a column for it
    lacking    what an empty cell means: "refuse", "unknown" or "drop row" (the row is noted and left out)
    """

    kind: str
    dimension: str = ""
    needed: bool = True
    lacking: str = "refuse"
    words: tuple[str, ...] = ()


def _number(dimension: str, *, needed: bool = True, lacking: str = "refuse") -> Meaning:
    return Meaning("number", dimension, needed, lacking)


_NAME = Meaning("text")
_AT = {letter: _number("length", needed=False) for letter in "xyz"}
_YES_NO = ("yes", "no")
_SIGNAL = {
    f"{letter}_{part}": _number("length", needed=False, lacking="drop row")
    for letter in "xyz"
    for part in ("in", "quadrature", "amplitude")
} | {f"{letter}_phase": _number("angle", needed=False, lacking="drop row") for letter in "xyz"}

#: Role -> column -> meaning.
ROLES: dict[str, dict[str, Meaning]] = {
    "magnets": {
        "name": _NAME,
        "kind": Meaning("text"),
        **_AT,
        "length": _number("length", needed=False, lacking="unknown"),
        "strength": _number("", needed=False, lacking="unknown"),
        "mass": _number("mass", needed=False, lacking="unknown"),
    },
    "targets": {
        "name": _NAME,
        "carrier": Meaning("text"),
        **{letter: _number("length") for letter in "xyz"},
    },
    "bolts": {
        "name": _NAME,
        "direction": Meaning("axis"),
        **_AT,
        "thread_pitch": _number("thread pitch"),
        "travel": _number("length", needed=False, lacking="unknown"),
        "one_sided": Meaning("word", words=_YES_NO),
        "right_handed": Meaning("word", needed=False, lacking="unknown", words=_YES_NO),
    },
    "wire_ends": {"name": _NAME, **_AT, "along_beam": _number("length", needed=False)},
    "sightings": {
        "station": _NAME,
        "target": _NAME,
        "horizontal": _number("angle", lacking="unknown"),
        "vertical": _number("angle", lacking="unknown"),
        "distance": _number("length", lacking="unknown"),
        "round": Meaning("whole", needed=False),
        "time": Meaning("time", needed=False, lacking="unknown"),
        "status": Meaning("text", needed=False),
    },
    "wire_scans": {
        "scan": Meaning("text", needed=False),
        "magnet": _NAME,
        "moved": Meaning("axis"),
        "magnet_current": _number("current"),
        "mode": Meaning("whole"),
        "drive_frequency": _number("frequency"),
        "drive_current": _number("current"),
        **{f"stage_{letter}": _number("length", needed=False, lacking="drop row") for letter in "xyz"},
        **_SIGNAL,
        "time": Meaning("time", needed=False, lacking="unknown"),
        "status": Meaning("text", needed=False),
    },
    "wire_sweeps": {
        "sweep": Meaning("text", needed=False),
        "mode": Meaning("whole"),
        "drive_frequency": _number("frequency"),
        "drive_current": _number("current", needed=False),
        **_SIGNAL,
        "status": Meaning("text", needed=False),
    },
    "feet": {
        "bolt": _NAME,
        "state": Meaning(
            "word", needed=False, lacking="unknown", words=("loose", "touching", "tight", "held", "unknown")
        ),
        "load": _number("force", needed=False, lacking="unknown"),
    },
    "temperatures": {
        "sensor": _NAME,
        **_AT,
        "temperature": _number("temperature", lacking="drop row"),
        "time": Meaning("time", needed=False),
        "status": Meaning("text", needed=False),
    },
    "turns": {"bolt": _NAME, "turns": _number("turns")},
    "ride": {
        "time": Meaning("time"),
        **{letter: _number("acceleration", lacking="drop row") for letter in "xyz"},
        "temperature": _number("temperature", needed=False, lacking="unknown"),
    },
    "check_moves": {
        "what": Meaning("word", words=("wire", "magnet", "target", "bolt")),
        "name": _NAME,
        "direction": Meaning("text"),
        "size": _number("length", needed=False, lacking="unknown"),
        "turns": _number("turns", needed=False, lacking="unknown"),
        "before": Meaning("text", needed=False),
        "after": Meaning("text", needed=False, lacking="unknown"),
    },
}

#: Roles whose files stand in the girder's own folder.
OF_GIRDER = ("magnets", "targets", "bolts", "wire_ends")

#: Roles whose files stand in the folder of an occasion; "waveforms" are files of raw signals, and their index a table.
OF_OCCASION = (
    "sightings",
    "wire_scans",
    "wire_sweeps",
    "feet",
    "temperatures",
    "turns",
    "ride",
    "check_moves",
    "waveforms",
    "waveform_index",
)
