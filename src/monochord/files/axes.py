"""The laboratory's own axes and the way from them to the girder frame.

A description tells where x, y, z of the laboratory point; a mirrored set is refused. Everything with a
direction goes through here: places, vectors, stages, sensors, bolts, the axis that was moved.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from monochord.files.columns import Array, Rows
from monochord.files.document import Node
from monochord.ground.faults import Refused
from monochord.ground.frames import DIRECTIONS, axis_map

HOUSE = "xyz"


@dataclass(frozen=True, eq=False, slots=True)
class Axes:
    """matrix (3, 3) takes lab coordinates to the girder frame; words are the directions of x, y, z."""

    matrix: Array
    words: Mapping[str, str]

    def house(self, letter: str) -> tuple[str, float]:
        """The girder axis along which a lab axis runs, and +1 or -1.

        >>> axes = Axes(axis_map({"x": "along beam", "y": "left", "z": "up"}), {})
        >>> axes.house("y")
        ('x', 1.0)
        """
        row = self.matrix[:, HOUSE.index(letter)]
        place = int(np.argmax(np.abs(row)))
        return HOUSE[place], float(row[place])

    def direction(self, word: str) -> tuple[float, float, float] | None:
        """Unit vector in the girder frame of an axis letter ("Z", "-x") or a direction in words; None if neither."""
        if word in DIRECTIONS:
            return DIRECTIONS[word]
        letter = word.strip().lower().lstrip("+-")
        if len(letter) != 1 or letter not in HOUSE:
            return None
        sign = -1.0 if word.strip().startswith("-") else 1.0
        x, y, z = (sign * self.matrix[:, HOUSE.index(letter)] + 0.0).tolist()
        return x, y, z

    def points(self, rows: Rows) -> Array:
        """Places (n, 3) of the rows' x, y, z in the girder frame; an axis without a column is 0."""
        zero = np.zeros(len(rows))
        lab = np.stack([rows.number.get(letter, zero) for letter in HOUSE], axis=1)
        return lab @ self.matrix.T + 0.0

    @property
    def along(self) -> tuple[str, float]:
        """The lab axis along the beam, and +1 when it points downstream."""
        for letter in HOUSE:
            house, sign = self.house(letter)
            if house == "z":
                return letter, sign
        raise AssertionError("axis_map refuses frames without a beam axis")


def axes_of(frame: Node) -> Axes:
    """Axes of a description's frame; Refused in place when mirrored or not three different directions."""
    words = {letter: frame.text(letter) for letter in HOUSE}
    try:
        return Axes(axis_map(words), words)
    except Refused as refusal:
        f = refusal.faults[0]
        raise Refused([frame.fault("", f.given, f.expected, f.remedy)]) from None


def direction_word(vector: tuple[float, float, float]) -> str:
    """The word for a direction of the girder frame.

    >>> direction_word((0.0, 1.0, 0.0))
    'up'
    """
    return next(word for word, known in DIRECTIONS.items() if np.allclose(known, vector))
