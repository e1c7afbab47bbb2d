"""What all sums of the wire room share: names, places of rows and of settings, and where each reading stands.

Names of the document are as it has them (``axes/Q1/x``); what is not in it stands behind ``wire#``, such as
``wire#law/3/mode 2/Q1/c/0/re``. A setting's place has no file and the key ``wire.length``; a constant of the
program has the key ``program.wire.sensors.SQUARE``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.wire import Sweep, WireScan
from monochord.ground.faults import Fault, Refused
from monochord.ground.trace import Line, Place, Sum
from monochord.wire.evidence import Evidence
from monochord.wire.passes import Passes
from monochord.wire.readings import Readings

Array = NDArray[np.float64]
Keys = Sequence[str]
Formula = Callable[[Sequence[float]], float]

PARTS = ("re", "im")
#: Parts of a field B = By + i Bx, and of a place x + i y.
FIELD, PLANE = ("by", "bx"), ("x", "y")


def inner(*keys: str | int) -> str:
    """Name of a number that is not in the document.

    >>> inner("law", 3, "mode 2", "Q1/a")
    'wire#law/3/mode 2/Q1~1a'
    """
    return "wire#" + "/".join([str(key).replace("~", "~0").replace("/", "~1") for key in keys])


def setting(key: str) -> tuple[Place, ...]:
    """The place of a given fact, or of a constant of the program, by its key."""
    return (Place("", 0, key),)


def given(words: str, value: float, key: str, unit: str) -> Line:
    """A line of a formula that is a given fact or a constant."""
    return Line(words, float(value), unit=unit, places=setting(key))


def times(
    words: str, factor: float, value: float, of: str = "", *, unit: str = "", places: tuple[Place, ...] = ()
) -> Line:
    """A line that is a factor times a number."""
    factor, value = float(factor), float(value)
    return Line(words, factor * value, of, factor, value, unit, places)


def argument(words: str, value: float, of: str, unit: str = "") -> Line:
    """A line of a formula that is another number."""
    return Line(words, float(value), of, unit=unit)


def unknown(name: str) -> Refused:
    """The refusal of a name that nobody tells."""
    return Refused([Fault(f"no number {name!r}", "a number of this finding", "ask for a name that a sum has shown")])


def part_of(value: complex, part: str) -> float:
    """Real part for "re", "by", "x", imaginary part for "im", "bx", "y"."""
    return float(value.real if part in ("re", "by", "x") else value.imag)


@dataclass(frozen=True, slots=True)
class Row:
    """One reading: name of its scan and its place among the scan's readings."""

    scan: str
    number: int


@dataclass(frozen=True, eq=False, slots=True)
class Base:
    """An occasion's evidence, with every scan by a name of its own.

    groups   scan -> place of its readings in ``evidence.readings``;  starts  scan -> where it begins in them
    rounds   of each of them, its place in the rounds' readings
    """

    evidence: Evidence
    names: dict[int, str] = field(default_factory=dict)
    scans: dict[str, WireScan] = field(default_factory=dict)
    groups: dict[str, int] = field(default_factory=dict)
    starts: dict[str, int] = field(default_factory=dict)
    rounds: dict[int, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for i, scan in enumerate(self.evidence.scans):
            name = scan.name if scan.name not in self.scans else f"{scan.name}, number {i + 1}"
            self.names[id(scan)], self.scans[name] = name, scan
        for g, readings in enumerate(self.evidence.readings):
            start = 0
            for scan in readings.passes.scans:
                name = self.names[id(scan)]
                self.groups[name], self.starts[name] = g, start
                start += len(scan.x)
        first = self.evidence.sound.rounds[0].readings
        where = {id(r.tuned): i for i, r in enumerate(first)}
        self.rounds.update(
            {g: where[id(r.tuned)] for g, r in enumerate(self.evidence.readings) if id(r.tuned) in where}
        )

    def readings(self, scan: str, stage: int = 0) -> tuple[Readings, int]:
        """The readings of a scan's block in a round (0, 1, 2), and where the scan begins in them."""
        if scan not in self.groups:
            raise unknown(f"scan {scan}")
        group = self.groups[scan]
        if group in self.rounds:
            return self.evidence.sound.rounds[stage].readings[self.rounds[group]], self.starts[scan]
        return self.evidence.readings[group], self.starts[scan]

    def at(self, row: Row) -> tuple[Readings, int]:
        """The readings that a row is one of, and its place in them."""
        readings, start = self.readings(row.scan)
        if not 0 <= row.number < len(self.scans[row.scan].x):
            raise unknown(f"reading {row.number} of scan {row.scan}")
        return readings, start + row.number

    def rows(self, passes: Passes) -> list[Row]:
        """The readings of passes, in their order."""
        return [Row(self.names[id(scan)], j) for scan in passes.scans for j in range(len(scan.x))]

    def place(self, row: Row) -> tuple[Place, ...]:
        """Where a reading stands."""
        return places(self.scans[row.scan], (row.number,))

    def whole(self, scan: str) -> tuple[Place, ...]:
        """Where a scan's first reading stands: what is told for the whole scan is told there."""
        return self.place(Row(scan, 0))


def places(source: WireScan | Sweep, numbers: Sequence[int]) -> tuple[Place, ...]:
    """Places of some readings of a scan or sweep."""
    return tuple(Place(source.file, int(source.rows[j])) for j in numbers if j < len(source.rows))


def row_of(keys: Keys) -> Row:
    """The row that two keys name: scan and 1-based number of the reading."""
    if len(keys) != 2 or not keys[1].isdigit():
        raise unknown("/".join(keys))
    return Row(keys[0], int(keys[1]) - 1)


def by_scan(rows: Sequence[Row]) -> dict[str, NDArray[np.int64]]:
    """Scan -> places of its readings among the rows, in the order of first appearance."""
    found: dict[str, list[int]] = {}
    for i, row in enumerate(rows):
        found.setdefault(row.scan, []).append(i)
    return {scan: np.array(numbers) for scan, numbers in found.items()}


def nothing(name: str, unit: str, how: str, key: str) -> Sum:
    """A number that is zero by a rule, with the key of what makes it so."""
    return Sum(name, unit, 0.0, (Line("nothing", 0.0, unit=unit, places=setting(key)),), how)
