"""Rows of one file gathered part by part, so that a file of any length takes bounded memory.

Most tables are kept row by row, up to a named number of rows. A ride logger's windows may be joined: of some
windows in a row the largest acceleration along each axis is kept with its sign, which is what a window means.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from monochord.files.columns import Array, Rows
from monochord.ground.faults import Fault, Refused

#: Rows of one file that are kept one by one.
MOST_ROWS = 2_000_000

#: Windows of a ride logger that are kept at most; a longer record is joined, two to one as often as it needs.
MOST_WINDOWS = 200_000


class Gathered:
    """Rows of one file, kept one by one."""

    def __init__(self, file: str) -> None:
        self.file = file
        self._parts: list[Rows] = []
        self._count = 0
        self._spelled: dict[str, str] = {}

    def add(self, rows: Rows) -> None:
        """Take in the rows of one part; Refused when they are more than can be kept."""
        self._count += len(rows)
        if self._count > MOST_ROWS:
            line = rows.lines[max(0, len(rows) - (self._count - MOST_ROWS))]
            given, expected = f"more than {MOST_ROWS} rows", f"at most {MOST_ROWS} rows in a table of this kind"
            raise Refused([Fault(given, expected, "split the file", self.file, line)])
        if self._parts:  # the same names come again and again: one text for each
            rows.text = {k: [self._spelled.setdefault(t, t) for t in v] for k, v in rows.text.items()}
        self._parts.append(rows)

    def rows(self) -> Rows:
        """All rows as one."""
        return joined(self._parts) if self._parts else Rows(self.file, range(0))

    def notes(self) -> list[Fault]:
        """What was done to the rows beyond keeping them."""
        return []


class Windows(Gathered):
    """Windows of a ride logger: times and axes as numbers; a long record is joined."""

    def __init__(self, file: str) -> None:
        super().__init__(file)
        self._each = 1
        self._all = 0
        self._left: Rows | None = None
        self._latest = -np.inf
        self._backward: list[tuple[float, int]] = []
        self._backward_count = 0

    def add(self, rows: Rows) -> None:
        """Take in the windows of one part, joined as the parts before."""
        self._all += len(rows)
        self._watch_clock(rows)
        if self._left is not None:
            rows, self._left = joined([self._left, rows]), None
        whole = len(rows) - len(rows) % self._each
        if whole < len(rows):
            self._left = picked(rows, slice(whole, len(rows)))
            rows = picked(rows, slice(0, whole))
        rows = _widened(rows, self._each)
        self._parts.append(rows)
        self._count += len(rows)
        while self._count > MOST_WINDOWS:
            everything = joined(self._parts)
            even = len(everything) - len(everything) % 2
            if even < len(everything):
                odd = picked(everything, slice(even, len(everything)))
                self._left = odd if self._left is None else joined([odd, self._left])
            self._parts = [_widened(picked(everything, slice(0, even)), 2)]
            self._count, self._each = len(self._parts[0]), 2 * self._each

    def rows(self) -> Rows:
        """All windows, joined where they were too many."""
        if self._left is not None and len(self._left):
            self._parts.append(_widened(self._left, len(self._left)))
            self._left = None
        return super().rows()

    def notes(self) -> list[Fault]:
        """How many windows were joined, and where the clock steps back inside them."""
        if self._each == 1:
            return []
        remedy = "of every few the largest acceleration along each axis is kept, with its sign, and the first time"
        told = [Fault(f"{self._all} windows, {self._each} joined to one", f"at most {MOST_WINDOWS}", remedy, self.file)]
        for step, line in self._backward[:3]:
            given = f"the clock steps back by {step:g} s, {self._backward_count} times in the file"
            told.append(Fault(given, "rising times", "was the clock set during the ride?", self.file, line))
        return told

    def _watch_clock(self, rows: Rows) -> None:
        times = rows.number.get("time")
        if times is None or not len(times):
            return
        steps = np.diff(times, prepend=self._latest if np.isfinite(self._latest) else times[0])
        back = np.flatnonzero(steps < 0.0)
        self._backward_count += len(back)
        self._backward += [(-float(steps[i]), rows.lines[i]) for i in back[:3].tolist()]
        self._latest = float(times[-1])


def gathered(role: str, file: str) -> Gathered:
    """What keeps the rows of a file of this role.

    >>> type(gathered("ride", "a.csv")).__name__, type(gathered("sightings", "a.csv")).__name__
    ('Windows', 'Gathered')
    """
    return Windows(file) if role == "ride" else Gathered(file)


def joined(parts: Sequence[Rows]) -> Rows:
    """Rows of several parts of one file as one.

    >>> one = Rows("a", range(2, 4), number={"x": np.array([1.0, 2.0])})
    >>> two = Rows("a", [9], number={"x": np.array([3.0])})
    >>> list(joined([one, two]).lines), joined([one, two]).number["x"].tolist()
    ([2, 3, 9], [1.0, 2.0, 3.0])
    """
    if len(parts) == 1:
        return parts[0]
    first = parts[0]
    lines: Sequence[int] = _one_range(parts) or [n for p in parts for n in p.lines]
    text = {key: [t for p in parts for t in p.text[key]] for key in first.text}
    number = {key: np.concatenate([p.number[key] for p in parts]) for key in first.number}
    return replace(first, lines=lines, text=text, number=number)


def _one_range(parts: Sequence[Rows]) -> range | None:
    """The lines as one range where they follow each other without a gap."""
    spans = [p.lines for p in parts if len(p)]
    if not spans or not all(isinstance(s, range) and s.step == 1 for s in spans):
        return None
    if any(a[-1] + 1 != b[0] for a, b in itertools.pairwise(spans)):
        return None
    return range(spans[0][0], spans[-1][-1] + 1)


def picked(rows: Rows, which: slice) -> Rows:
    """Some rows in a row.

    >>> list(picked(Rows("a", range(2, 9)), slice(1, 3)).lines)
    [3, 4]
    """
    text = {k: v[which] for k, v in rows.text.items()}
    number = {k: v[which] for k, v in rows.number.items()}
    return replace(rows, lines=rows.lines[which], text=text, number=number)


def _widened(rows: Rows, each: int) -> Rows:
    """Every ``each`` rows as one; the number of rows is a multiple of it."""
    if each == 1 or not len(rows):
        return rows
    number = {}
    for key, values in rows.number.items():
        blocks = values.reshape(-1, each)
        number[key] = _largest(blocks) if key in ("x", "y", "z") else blocks[:, 0].copy()
    text = {k: v[::each] for k, v in rows.text.items()}
    return replace(rows, lines=rows.lines[::each], text=text, number=number)


def _largest(blocks: Array) -> Array:
    """Of each row the value that is largest without its sign, with its sign; NaN only where all are."""
    sizes = np.where(np.isnan(blocks), -1.0, np.abs(blocks))
    picked_out: Array = np.take_along_axis(blocks, sizes.argmax(axis=1)[:, None], axis=1)[:, 0]
    return picked_out
