"""Parts of large tables cut and read in bulk: places of all cells at once, numbers from their digits at once.

Cutting a million rows into five million texts costs more than reading the numbers in them. Here the bytes
stay one array; a column knows where its cells begin and end, makes texts only when asked, and reads plain
fixed-point numbers column by column. Eight digits are read as one 64-bit word, whose bytes are added up in
three multiplications (a well-known way, from memory). The digits make a whole number below 2^53, which is
divided by a power of ten; both are exact in floating point, so the quotient is the correctly rounded number,
the same that reading the text gives. Whatever is not so plain is left to the careful reader.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import overload

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Bytes = NDArray[np.uint8]
Places = NDArray[np.int64]
Words = NDArray[np.uint64]

#: Digits of a whole number that floating point holds exactly.
_MOST_DIGITS = 15

#: Zeros before the bytes, so that a word of eight that ends with the first cell can be looked at, twice.
_BEFORE = 16

#: Blanks before a number, of columns set right.
_MOST_BLANKS = 24

_POWERS = 10.0 ** np.arange(_MOST_DIGITS + 1)
_WHOLE_POWERS = 10 ** np.arange(_MOST_DIGITS + 1, dtype=np.int64)

_ZEROS, _SIXES, _HIGH = np.uint64(0x3030303030303030), np.uint64(0x0606060606060606), np.uint64(0xF0F0F0F0F0F0F0F0)
_STEPS = (
    (np.uint64(2561), np.uint64(8), np.uint64(0x00FF00FF00FF00FF)),
    (np.uint64(6553601), np.uint64(16), np.uint64(0x0000FFFF0000FFFF)),
    (np.uint64(42949672960001), np.uint64(32), np.uint64(0x00000000FFFFFFFF)),
)


class Part:
    """The bytes of a part: as an array, and as the words of eight bytes that end before each place."""

    def __init__(self, block: bytes) -> None:
        self.block = block
        padded = b"0" * _BEFORE + block
        self.data: Bytes = np.frombuffer(padded, np.uint8)[_BEFORE:]
        self.words: Words = np.ndarray((len(padded) - 7,), "<u8", padded, 0, (1,))
        self._points: dict[int, Places] = {}

    def points(self, decimal: int) -> Places:
        """Places of all decimal marks, found once."""
        if decimal not in self._points:
            self._points[decimal] = np.flatnonzero(self.data == decimal)
        return self._points[decimal]

    def digits(self, ends: Places, count: Places) -> NDArray[np.int64] | None:
        """Whole numbers of the last ``count`` signs before each end, None when one of them is no digit."""
        most = int(count.max(initial=0))
        low = self._eight(ends, np.minimum(count, 8))
        if low is None or most <= 8:
            return low
        high = self._eight(ends - 8, np.maximum(count - 8, 0))
        return None if high is None else high * 100_000_000 + low

    def _eight(self, ends: Places, count: Places) -> NDArray[np.int64] | None:
        word = self.words[ends + (_BEFORE - 8)] ^ _ZEROS
        unused = ((8 - count) << 3).astype(np.uint64)  # bits of the signs that stand before the number
        word >>= unused
        word <<= unused
        if (((word + _SIXES) | word) & _HIGH).any():
            return None
        for factor, shift, mask in _STEPS:
            word *= factor
            word >>= shift
            word &= mask
        return word.view(np.int64)


class BulkColumn(Sequence[str]):
    """The cells of one column of a part: texts on demand, plain numbers at once."""

    def __init__(self, part: Part, starts: Places, ends: Places) -> None:
        self._part, self._starts, self._ends = part, starts, ends

    def __len__(self) -> int:
        return len(self._starts)

    @overload
    def __getitem__(self, place: int) -> str: ...
    @overload
    def __getitem__(self, place: slice) -> Sequence[str]: ...
    def __getitem__(self, place: int | slice) -> str | Sequence[str]:
        if isinstance(place, slice):
            return BulkColumn(self._part, self._starts[place], self._ends[place])
        return self._part.block[self._starts[place] : self._ends[place]].decode("ascii")

    def __iter__(self) -> Iterator[str]:
        text = self._part.block.decode("ascii")
        return (text[a:b] for a, b in zip(self._starts.tolist(), self._ends.tolist(), strict=True))

    def numbers(self, decimal: str) -> Array | None:
        """Its numbers (n,) when all cells are plain fixed-point ones, else None."""
        if not len(self):
            return np.empty(0)
        starts, negative = self._signs()
        points = self._points(starts, ord(decimal))
        if points is None:
            return None
        after, before = np.maximum(self._ends - points - 1, 0), points - starts
        digits = before + after
        if int(digits.max()) > _MOST_DIGITS or int(digits.min()) < 1 or int(before.min()) < 0:
            return None
        whole, part = self._part.digits(points, before), self._part.digits(self._ends, after)
        if whole is None or part is None:
            return None
        most = int(after.max())
        if most == int(after.min()):  # one power of ten for all: no need to pick one for each
            values: Array = (whole * _WHOLE_POWERS[most] + part) / _POWERS[most]
        else:
            values = (whole * _WHOLE_POWERS[after] + part) / _POWERS[after]
        np.negative(values, out=values, where=negative)
        return values

    def _signs(self) -> tuple[Places, NDArray[np.bool_]]:
        """Where the digits begin, behind blanks and one sign, and where that is a minus."""
        data, starts = self._part.data, self._starts
        last = len(data) - 1
        for _ in range(_MOST_BLANKS):
            blank = data[np.minimum(starts, last)] == 32
            if not blank.any():
                break
            starts = starts + blank
        first = data[np.minimum(starts, last)]
        negative = first == 45
        return starts + (negative | (first == 43)), negative

    def _points(self, starts: Places, decimal: int) -> Places | None:
        """Place of each cell's decimal mark, its end where there is none; None when one cell has two."""
        data, ends = self._part.data, self._ends
        first = self._part.block[int(starts[0]) : int(ends[0])].find(decimal)
        if first >= 0:
            same = starts[0] + first - ends[0]  # where all have the same number of decimals
            if int(starts[0] - ends[0]) <= same and bool((data[ends + same] == decimal).all()):
                points = ends + same
                return points if bool((points >= starts).all()) else None
        points = self._part.points(decimal)
        if not len(points):
            return ends
        found = np.searchsorted(points, starts)
        padded = np.append(points, [len(data), len(data)])
        if bool((padded[found + 1] < ends).any()):
            return None
        nearest: Places = np.minimum(padded[found], ends)
        return nearest


def bulk_columns(block: bytes, delimiter: str, width: int) -> list[BulkColumn] | None:
    r"""The columns of a part whose rows all have ``width`` cells, None when some have not, or hold control characters.

    block  ASCII, with a line end after the last row

    >>> [list(c) for c in bulk_columns(b"A,1\nB,2\n", ",", 2) or []]
    [['A', 'B'], ['1', '2']]
    """
    if width < 1:
        return None  # a head without any name
    part = Part(block)
    data = part.data
    is_end = data == 10
    ends = np.flatnonzero((data == ord(delimiter)) | is_end)
    rows, rest = divmod(len(ends), width)
    if rest or not rows:
        return None
    # In a table of full rows every width-th mark ends a line, and no other does.
    lines = int(np.count_nonzero(is_end))
    if lines != rows or not bool((data[ends[width - 1 :: width]] == 10).all()):
        return None
    tabs = len(ends) - rows if delimiter == "\t" else 0
    if int(np.count_nonzero(data < 32)) != lines + tabs:
        return None
    starts = np.empty_like(ends)
    starts[0] = 0
    np.add(ends[:-1], 1, out=starts[1:])
    if bool((starts[::width] == ends[::width]).any()):
        return None  # a first cell that is empty: perhaps an empty row
    by_column = (np.ascontiguousarray(places.reshape(rows, width).T) for places in (starts, ends))
    return [BulkColumn(part, first, behind) for first, behind in zip(*by_column, strict=True)]
