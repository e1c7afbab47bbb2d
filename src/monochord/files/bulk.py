"""Large tables cut and read in bulk: positions of all cells at once, numbers from their digits at once.

Cutting a million rows into five million texts costs more than reading the numbers in them. Here the bytes
stay one array; a column knows where its cells begin and end, makes texts only when asked, and reads plain
fixed-point numbers column by column: digits make a whole number below 2^53, which is divided by a power of
ten. Both are exact in floating point, so the quotient is the correctly rounded number, the same that reading the
text gives. Whatever is not so plain is left to the careful reader.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import overload

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Bytes = NDArray[np.uint8]
Places = NDArray[np.int64]

#: Texts of fewer characters are cut in the ordinary way.
LARGE = 1 << 20

#: Cells that are read together; they fit the cache of a processor.
_CHUNK = 1 << 15

#: Digits of a whole number that floating point holds exactly, and of cells that are looked at.
_MOST_DIGITS, _MOST_SIGNS = 15, 24

_POWERS = 10.0 ** np.arange(_MOST_DIGITS + 1)


class BulkColumn(Sequence[str]):
    """The cells of one column of a large table: texts on demand, plain numbers at once."""

    def __init__(self, text: str, data: Bytes, starts: Places, ends: Places) -> None:
        self._text, self._data, self._starts, self._ends = text, data, starts, ends

    def __len__(self) -> int:
        return len(self._starts)

    @overload
    def __getitem__(self, place: int) -> str: ...
    @overload
    def __getitem__(self, place: slice) -> Sequence[str]: ...
    def __getitem__(self, place: int | slice) -> str | Sequence[str]:
        if isinstance(place, slice):
            return BulkColumn(self._text, self._data, self._starts[place], self._ends[place])
        return self._text[self._starts[place] : self._ends[place]]

    def __iter__(self) -> Iterator[str]:
        text = self._text
        return (text[a:b] for a, b in zip(self._starts.tolist(), self._ends.tolist(), strict=True))

    def numbers(self, decimal: str) -> Array | None:
        """Its numbers (n,) when all cells are plain fixed-point ones, else None."""
        values = np.empty(len(self))
        for start in range(0, len(self), _CHUNK):
            part = slice(start, start + _CHUNK)
            found = _fixed_point(self._data, self._starts[part], self._ends[part], ord(decimal))
            if found is None:
                return None
            values[part] = found
        return values


def bulk_columns(text: str, delimiter: str, width: int) -> list[BulkColumn] | None:
    r"""The columns of a body of rows that all have ``width`` cells, None when some have not.

    text  ASCII, without a line end after the last row

    >>> [list(c) for c in bulk_columns("A,1\nB,2", ",", 2) or []]
    [['A', 'B'], ['1', '2']]
    """
    data = np.frombuffer(text.encode("ascii"), np.uint8)
    ends = np.flatnonzero((data == ord(delimiter)) | (data == ord("\n")))
    rows, rest = divmod(len(ends) + 1, width)
    if rest:
        return None
    # In a table of full rows every width-th mark ends a line, and no other does.
    if np.count_nonzero(data[ends[width - 1 :: width]] == ord("\n")) != rows - 1:
        return None
    if np.count_nonzero(data == ord("\n")) != rows - 1:
        return None
    starts = np.concatenate([np.zeros(1, np.int64), ends + 1])
    ends = np.concatenate([ends, np.full(1, len(data), np.int64)])
    return [BulkColumn(text, data, starts[i::width], ends[i::width]) for i in range(width)]


def _fixed_point(data: Bytes, starts: Places, ends: Places, decimal: int) -> Array | None:
    """Numbers of cells made of a sign, digits and at most one decimal mark; None when any cell is not."""
    lengths = ends - starts
    most = int(lengths.max())
    if most > _MOST_SIGNS or int(lengths.min()) == 0:
        return None
    whole = np.zeros(len(starts), np.int64)
    digits, after = np.zeros(len(starts), np.int8), np.zeros(len(starts), np.int8)
    marked, negative = np.zeros(len(starts), bool), np.zeros(len(starts), bool)
    last = len(data) - 1
    for place in range(most):
        inside = lengths > place
        sign = data[np.minimum(starts + place, last)]
        digit = sign - np.uint8(48)  # what is no digit wraps round to 10 and more
        is_digit = (digit < 10) & inside
        other = inside & ~is_digit
        if other.any():
            if place == 0:
                negative = other & (sign == ord("-"))
                other &= ~(negative | (sign == ord("+")))
            mark = other & (sign == decimal)
            if (other & ~mark).any() or (mark & marked).any():
                return None
            marked |= mark
        whole = np.where(is_digit, whole * 10 + digit, whole)
        digits += is_digit
        after += is_digit & marked
        if place >= _MOST_DIGITS and int(digits.max()) > _MOST_DIGITS:
            return None
    if int(digits.min()) == 0:
        return None
    values = whole / _POWERS[after]
    np.negative(values, out=values, where=negative)
    return values
