"""Invented laboratories: a girder's targets, what stations see of them, and files in habits of every sort."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.files.draft.compose import Looked, composed
from monochord.files.draft.kinds import kinds, see
from monochord.files.draft.lines import Draft
from monochord.files.draft.survey import Survey

Array = NDArray[np.float64]

PER_RADIAN = {"deg": 180.0 / np.pi, "gon": 200.0 / np.pi, "rad": 1.0}

#: Targets in the girder frame [m]: x left, y up, z along the beam.
TARGETS = np.array(
    [[0.3, -0.37, -2.2], [-0.3, -0.36, -2.1], [0.31, -0.38, 0.1], [-0.3, -0.37, 0.0], [0.3, -0.37, 2.2],
     [-0.32, -0.36, 2.1], [0.12, 0.31, -1.7], [-0.1, 0.3, -1.0], [0.11, 0.29, 1.3], [-0.12, 0.32, 1.6]]
)  # fmt: skip
NAMES = tuple(f"T{i}" for i in range(1, len(TARGETS) + 1))


@dataclass(frozen=True)
class Habit:
    """How an invented laboratory writes."""

    unit: str = "deg"
    horizontal: str = "counter-clockwise"
    vertical: str = "zenith"
    delimiter: str = ","
    decimal: str = "."
    heads: tuple[str, ...] = ("station", "point", "hz_deg", "v_deg", "distance_mm")
    target_heads: tuple[str, ...] = ("point", "on", "x_mm", "y_mm", "z_mm")


def polar(habit: Habit, targets: Array = TARGETS) -> list[tuple[str, Array]]:
    """What two upright stations see: (station, (n, 3) horizontal, vertical, distance in mm) as the habit counts."""
    seen = []
    for name, place, turn in (("A", (2.0, 0.6, -1.5), 0.7), ("B", (-2.5, 0.4, 1.0), 2.9)):
        left, up, along = (targets - np.array(place)).T
        r = np.linalg.norm(targets - np.array(place), axis=1)
        # seen from above, x left of z: from the beam towards the left is counter-clockwise
        circle = np.mod(np.arctan2(left, along) + turn, 2 * np.pi)
        circle = circle if habit.horizontal == "counter-clockwise" else 2 * np.pi - circle
        zenith = np.arccos(up / r)
        vertical = zenith if habit.vertical == "zenith" else np.pi / 2 - zenith
        factor = PER_RADIAN[habit.unit]
        seen.append((name, np.stack([factor * circle, factor * vertical, 1e3 * r], axis=1)))
    return seen


def row(habit: Habit, cells: Sequence[object], digits: int = 6) -> str:
    """One row; numbers with so many digits behind the mark."""
    spelled = [f"{c:.{digits}f}".replace(".", habit.decimal) if isinstance(c, float) else str(c) for c in cells]
    return habit.delimiter.join(spelled)


def sightings(habit: Habit, targets: Array = TARGETS) -> str:
    """A table of sightings."""
    lines = [habit.delimiter.join(habit.heads)]
    for station, numbers in polar(habit, targets):
        lines += [row(habit, [station, n, *map(float, p)]) for n, p in zip(NAMES, numbers, strict=False)]
    return "\n".join(lines) + "\n"


def nominal(habit: Habit, targets: Array = TARGETS) -> str:
    """A table of nominal places in mm, as x, y, z of the girder frame."""
    lines = [habit.delimiter.join(habit.target_heads)]
    lines += [row(habit, [n, "girder", *map(float, 1e3 * p)], 3) for n, p in zip(NAMES, targets, strict=False)]
    return "\n".join(lines) + "\n"


def drafted(files: dict[str, str | bytes], answers: dict[str, object] | None = None) -> tuple[Draft, Survey, Looked]:
    """The draft of files that exist only here."""
    told = answers or {}
    data = {p: c.encode() if isinstance(c, str) else c for p, c in files.items()}
    words = {k: v for k, v in told.items() if isinstance(v, str)}
    seen, others, questions = see(data, words)
    found, which = kinds(seen, words)
    looked = Looked(tuple(found), {}, tuple(others), (*questions, *which))
    draft, survey = composed(looked, told, "invented")
    return draft, survey, looked


def asked(draft: Draft) -> list[str]:
    """Keys of what the files leave open."""
    return [q.key for q in draft.questions if q.kind == "choice"]


def settled(draft: Draft, head: str, key: str) -> object:
    """A value of the description, None while it is open."""
    return next(line.value for s in draft.sections if s.head == head for line in s.lines if line.key == key)
