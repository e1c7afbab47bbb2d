"""Faults: what was wrong, where, and what to do about it.

A fault is a record, not a sentence: doors print it in one line, files gather all faults of one
input before refusing it, and a result keeps the ones that did not stop the work.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that does not fit.

    given     what was found, quoted as it stands
    expected  what would have been accepted
    remedy    the next step for the person who reads it
    file      path as the person gave it, or "" when no file is involved
    line      1-based line of the file, or None
    column    name of a column, or 1-based position, or None

    >>> str(Fault("'12,x'", "a number", "mend the cell", file="obs.csv", line=4, column="V [gon]"))
    "obs.csv, line 4, column V [gon]: given '12,x'; expected a number; mend the cell"
    """

    given: str
    expected: str
    remedy: str
    file: str = ""
    line: int | None = None
    column: str | int | None = None

    @property
    def place(self) -> str:
        """File, line and column in words, "" when nothing is known."""
        parts = [self.file] if self.file else []
        if self.line is not None:
            parts.append(f"line {self.line}")
        if self.column is not None:
            parts.append(f"column {self.column}")
        return ", ".join(parts)

    def __str__(self) -> str:
        head = f"{self.place}: " if self.place else ""
        return f"{head}given {self.given}; expected {self.expected}; {self.remedy}"


class MonochordError(Exception):
    """Root of every error that Monochord raises on purpose."""


class Refused(MonochordError):
    """An input cannot be used; carries every fault that was found in it."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class FrameMismatch(MonochordError):
    """Two quantities in different frames met where one frame was needed."""

    def __init__(self, given: str, expected: str) -> None:
        self.given, self.expected = given, expected
        super().__init__(f"given frame {given!r}; expected frame {expected!r}; transform it first")


class Undetermined(MonochordError):
    """The data do not determine the named unknowns."""

    def __init__(self, unknowns: Iterable[str], why: str) -> None:
        self.unknowns: tuple[str, ...] = tuple(unknowns)
        self.why = why
        super().__init__(f"{', '.join(self.unknowns)}: {why}")


@dataclass(slots=True)
class Gatherer:
    """Collects the faults of one input so that they can be told all at once.

    >>> faults = Gatherer("magnets.csv")
    >>> faults.add("no column 'z_mm'", "a column for z", "name it in the lab description", line=1)
    >>> faults.refuse_if_any()
    Traceback (most recent call last):
        ...
    monochord.ground.faults.Refused: magnets.csv, line 1: given no column 'z_mm'; expected a column \
for z; name it in the lab description
    """

    file: str = ""
    faults: list[Fault] = field(default_factory=list)

    def add(
        self,
        given: str,
        expected: str,
        remedy: str,
        *,
        file: str | None = None,
        line: int | None = None,
        column: str | int | None = None,
    ) -> None:
        """Note one fault; the gatherer's own file stands in when none is given."""
        where = self.file if file is None else file
        self.faults.append(Fault(given, expected, remedy, where, line, column))

    def refuse_if_any(self) -> None:
        """Raise :class:`Refused` with everything gathered, or return when there is nothing."""
        if self.faults:
            raise Refused(self.faults)
