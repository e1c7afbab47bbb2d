"""What a format is asked for, and what a format is: the contract between the reader and every module here.

A format turns the bytes of one file into a :class:`~monochord.files.table.Table` of cells. It looks at nothing else,
guesses nothing, and tells everything it converted as a note of the table. Numbers stay cells: the reader alone reads
them, by the declared spelling.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from monochord.files.signals import Signals
from monochord.files.table import Dialect, Table
from monochord.ground.faults import Gatherer

#: Kinds of columns whose cells are numbers.
NUMBERS = ("number", "whole")


@dataclass(frozen=True, slots=True)
class Kept:
    """How the file of one table is kept.

    format   name of the format;  sheet  of a workbook;  inside  place in a container, such as "survey/sightings"
    options  further words of the description, for formats that come from elsewhere
    """

    format: str = "text"
    sheet: str = ""
    inside: str = ""
    options: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Asked:
    """What the description says of one table.

    dialect    how text and numbers are spelled, and in which rows names and units stand
    kept       sheet, place inside, options
    kinds      name of a described column -> "text", "word", "axis", "number", "whole" or "time"
    notations  name of a column of times -> its notation
    """

    dialect: Dialect = field(default_factory=Dialect)
    kept: Kept = field(default_factory=Kept)
    kinds: Mapping[str, str] = field(default_factory=dict)
    notations: Mapping[str, str] = field(default_factory=dict)

    def spelled(self, number: str, column: str) -> str:
        """A number written with a point, as the cells of this column are spelled.

        >>> Asked(Dialect(decimal=","), kinds={"x": "number"}).spelled("1.5", "x")
        '1,5'
        """
        if self.dialect.decimal != "." and self.kinds.get(column) in NUMBERS:
            return number.replace(".", self.dialect.decimal)
        return number


TableOf = Callable[[bytes, str, Asked, Gatherer], Table | None]
SignalsOf = Callable[[Path, str], Signals]


@dataclass(frozen=True, slots=True)
class Format:
    """One format.

    name     what a lab description calls it;  words  what it is, for people
    table    (bytes, file as shown, what is asked, faults) -> table, None when the faults say why not
    signals  (path, file as shown) -> the blocks of a waveform file;  None where there are none
    guarded  whether it is opened in a child process with limits of time and memory
    """

    name: str
    words: str
    table: TableOf | None = None
    signals: SignalsOf | None = None
    guarded: bool = False
