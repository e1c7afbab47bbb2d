"""Tables made by hand and read as the product reads them: rows, what was printed, and the count of every row."""

from __future__ import annotations

import io
from dataclasses import dataclass

from monochord.campaign.given.imports import Import
from monochord.files.columns import Column, Form, Rows
from monochord.files.reading import read_rows
from monochord.files.roles import Meaning
from monochord.files.table import Dialect
from monochord.ground.faults import Fault, Gatherer
from monochord.ground.units import unit

FILE = "points.csv"


@dataclass(frozen=True)
class Reading:
    """What came of one file."""

    rows: Rows | None
    faults: list[Fault]
    notes: list[Fault]

    @property
    def told(self) -> Import:
        """The import report, whose rows must add up."""
        assert self.rows is not None
        assert self.rows.told is not None
        assert self.rows.told.adds_up, self.rows.told.counts
        return self.rows.told

    @property
    def printed(self) -> str:
        """Everything that a person gets to read."""
        told = self.rows.told.line if self.rows is not None and self.rows.told else ""
        return "\n".join([*map(str, self.faults), *map(str, self.notes), told])

    def numbers(self, key: str) -> list[float]:
        """A column of numbers as they stand in SI."""
        assert self.rows is not None
        assert self.faults == [], self.printed
        return [float(v) for v in self.rows.number[key].tolist()]

    def mm(self, key: str) -> list[float]:
        """A column of lengths in millimetres."""
        return [round(v * 1e3, 9) for v in self.numbers(key)]

    def texts(self, key: str) -> list[str]:
        """A column of texts."""
        assert self.rows is not None
        assert self.faults == [], self.printed
        return list(self.rows.text[key])

    def refused(self, line: int, column: str, *words: str) -> None:
        """Hold the first refusal to its place and its words."""
        assert self.faults, f"nothing was refused: {self.printed}"
        told = str(self.faults[0])
        assert (self.faults[0].file, self.faults[0].line) == (FILE, line), self.printed
        assert str(self.faults[0].column or "") == column, told
        assert self.faults[0].expected
        assert self.faults[0].remedy
        for word in words:
            assert word in told, told


def text(key: str, name: str = "") -> Column:
    """A column of names."""
    return Column(key, Meaning("text"), (name or key,))


def number(key: str, name: str = "", spelled: str = "mm", lacking: str = "refuse") -> Column:
    """A column of numbers with its unit."""
    return Column(key, Meaning("number", unit(spelled).dimension, True, lacking), (name or key,), unit(spelled))


def read(data: bytes | str, *columns: Column, dialect: Dialect | None = None, streamed: bool = False) -> Reading:
    """Read bytes as a file of those columns; streamed as a long file is."""
    faults, notes = Gatherer(FILE), list[Fault]()
    raw = data.encode() if isinstance(data, str) else data
    form = Form("points", dialect or Dialect(), columns)
    rows = read_rows(io.BytesIO(raw) if streamed else raw, FILE, form, faults, notes)
    return Reading(rows, faults.faults, notes)
