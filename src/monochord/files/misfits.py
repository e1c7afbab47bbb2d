"""What does not fit in one file: named one by one as far as a person reads, then counted."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace

from monochord.ground.faults import Fault, Gatherer

#: Signs of what was found that are shown.
_SHOWN = 200

#: Cells of one column, and notes of one kind, that are named one by one.
MOST_FAULTS, MOST_NOTES = 20, 200


@dataclass(frozen=True, slots=True)
class Misfit:
    """A cell that does not fit; wordy when it holds no digit, so that the row may be a remark."""

    given: str
    expected: str
    remedy: str = "mend the cell"
    wordy: bool = False


@dataclass(slots=True)
class Tellings:
    """Faults and notes of one file, each kind named so often and then counted.

    most  faults of a column that are named, where fewer than usual say it all
    """

    faults: Gatherer
    notes: list[Fault]
    most: dict[str, int] = field(default_factory=dict)
    _count: Counter[tuple[str, str]] = field(default_factory=Counter)
    _after: dict[tuple[str, str], Fault] = field(default_factory=dict)

    def fault(self, fault: Fault) -> None:
        """Tell a cell that does not fit."""
        fault = _shown(fault)
        name = str(fault.column)
        if self._named(("fault", name), fault, self.most.get(name, MOST_FAULTS)):
            self.faults.faults.append(fault)

    def note(self, fault: Fault) -> None:
        """Tell what did not stop the reading."""
        fault = _shown(fault)
        if self._named((fault.remedy, str(fault.column or "")), fault, MOST_NOTES):
            self.notes.append(fault)

    def close(self) -> None:
        """Tell how many there were beyond those that were named."""
        for key, first in self._after.items():
            kind, _ = key
            more = self._count[key] - (self.most.get(str(first.column), MOST_FAULTS) if kind == "fault" else MOST_NOTES)
            told = replace(first, given=f"{first.given} and {more - 1} more like it" if more > 1 else first.given)
            (self.faults.faults if kind == "fault" else self.notes).append(told)

    def _named(self, key: tuple[str, str], fault: Fault, most: int) -> bool:
        self._count[key] += 1
        if self._count[key] <= most:
            return True
        self._after.setdefault(key, fault)
        return False


def _shown(fault: Fault) -> Fault:
    """The fault with no more of a very long cell than a person reads."""
    if len(fault.given) <= _SHOWN:
        return fault
    return replace(fault, given=f"{fault.given[:60]} ... ({len(fault.given)} signs)")
