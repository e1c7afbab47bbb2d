"""Columns by meaning: what a description says of a table, and what is read from one."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.clock import ClockTold
from monochord.campaign.given.imports import Import
from monochord.files.formats.asked import Kept
from monochord.files.roles import Meaning
from monochord.files.table import Dialect
from monochord.ground.units import Unit

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Column:
    """One column as the description tells it.

    names        what the laboratory calls it (any one of these)
    unit         of all its cells, or None when ``unit_column`` or the table's unit line says it
    sign         -1 when the laboratory counts the other way
    words        the laboratory's words -> ours;  markers  numbers that mean "no reading"
    notation     of a time, or "degrees minutes seconds" or "ddd.mmss" of an angle
    zone, repeated_hour, midnight   of a time: its zone; "first" or "second" pass of an hour that comes twice; "old day"
                 when 0:00 is written with the date of the day that ends
    genuine      numbers that look like markers for no reading and are readings
    despite_name its own name or unit line is known to say a wrong unit
    """

    key: str
    meaning: Meaning
    names: tuple[str, ...]
    unit: Unit | None = None
    unit_column: str = ""
    unit_line: bool = False
    sign: float = 1.0
    words: Mapping[str, str] = field(default_factory=dict)
    markers: tuple[float, ...] = ()
    notation: str = ""
    zone: str = ""
    repeated_hour: str = ""
    midnight: str = ""
    genuine: tuple[float, ...] = ()
    despite_name: bool = False


@dataclass(frozen=True, slots=True)
class Form:
    """How the tables of one role read: dialect, columns, columns passed over, the good words of a status, and its format."""

    role: str
    dialect: Dialect
    columns: tuple[Column, ...]
    passed_over: frozenset[str] = frozenset()
    good_status: frozenset[str] = frozenset()
    repeated: str = ""
    kept: Kept = field(default_factory=Kept)


@dataclass(slots=True)
class Rows:
    """The rows of one file by meaning: texts and numbers (n,) in SI, and the 1-based line of each row.

    names  meaning -> what the file calls the column;  clocks  meaning of a time -> what its column told
    told   how the file was read
    """

    file: str
    lines: Sequence[int]
    text: dict[str, list[str]] = field(default_factory=dict)
    number: dict[str, Array] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)
    clocks: dict[str, ClockTold] = field(default_factory=dict)
    told: Import | None = None

    def __len__(self) -> int:
        return len(self.lines)

    def __contains__(self, key: str) -> bool:
        return key in self.text or key in self.number

    def only(self, keep: Sequence[int]) -> Rows:
        """The rows at those places, in that order."""
        text = {k: [v[i] for i in keep] for k, v in self.text.items()}
        number = {k: v[list(keep)] for k, v in self.number.items()}
        return Rows(self.file, [self.lines[i] for i in keep], text, number, self.names, self.clocks, self.told)

    def known(self, key: str, row: int) -> float | None:
        """A number of one row, None when it is not told."""
        if key not in self.number:
            return None
        value = float(self.number[key][row])
        return None if math.isnan(value) else value

    def known_all(self, key: str) -> list[float | None]:
        """A number of every row, None where it is not told."""
        if key not in self.number:
            return [None] * len(self)
        return [None if v != v else v for v in self.number[key].tolist()]  # noqa: PLR0124  v != v is NaN
