"""A column whose cells a file keeps as numbers: texts on demand, all values at once, bit for bit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import overload

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Whole numbers up to here are exact as floating point.
_EXACT = 2**53


class NumberColumn(Sequence[str]):
    """A column of numbers that are kept as numbers: texts on demand, all values at once.

    >>> column = NumberColumn(np.array([0.1, 2.5]), ",")
    >>> column[0], column.numbers(",").tolist()
    ('0,1', [0.1, 2.5])
    """

    def __init__(self, values: NDArray[np.generic], decimal: str) -> None:
        self.values, self.decimal = values, decimal

    def __len__(self) -> int:
        return len(self.values)

    @overload
    def __getitem__(self, place: int) -> str: ...
    @overload
    def __getitem__(self, place: slice) -> Sequence[str]: ...
    def __getitem__(self, place: int | slice) -> str | Sequence[str]:
        if isinstance(place, slice):
            return NumberColumn(self.values[place], self.decimal)
        return self._spelled(self.values[place].item())

    def __iter__(self) -> Iterator[str]:
        return map(self._spelled, self.values.tolist())

    def _spelled(self, value: object) -> str:
        text = repr(value)
        return text if self.decimal == "." else text.replace(".", self.decimal)

    def numbers(self, decimal: str) -> Array | None:
        """Its numbers (n,) in double precision, None when one is not finite or would lose digits."""
        if self.values.dtype.kind in "iu":
            large = np.abs(self.values.astype(np.float64)) > _EXACT
            return None if large.any() else self.values.astype(np.float64)
        values = self.values.astype(np.float64)
        return values if bool(np.isfinite(values).all()) else None
