"""Running numbers of a device: which came, which are missing, which came twice."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

#: Numbers that came, as ranges without gaps: (first, last), in order.
Ranges = tuple[tuple[int, int], ...]


def joined(ranges: Iterable[Sequence[int]], numbers: Iterable[int]) -> Ranges:
    """Ranges with further numbers.

    >>> joined([(1, 3)], [4, 7, 2, 8])
    ((1, 4), (7, 8))
    """
    parts = sorted([*((int(first), int(last)) for first, last in ranges), *((n, n) for n in numbers)])
    found: list[tuple[int, int]] = []
    for first, last in parts:
        if found and first <= found[-1][1] + 1:
            found[-1] = (found[-1][0], max(last, found[-1][1]))
        else:
            found.append((first, last))
    return tuple(found)


def holds(ranges: Iterable[Sequence[int]], number: int) -> bool:
    """Whether a number is among them.

    >>> holds([(1, 3), (7, 8)], 5)
    False
    """
    return any(first <= number <= last for first, last in ranges)


def gaps(ranges: Ranges) -> Ranges:
    """What is missing from 1 up to the greatest number.

    >>> gaps(((2, 3), (7, 8)))
    ((1, 1), (4, 6))
    """
    ends = [0, *(last for _, last in ranges)]
    return tuple((end + 1, first - 1) for end, (first, _) in zip(ends, ranges, strict=False) if first > end + 1)


def words(ranges: Iterable[Sequence[int]], most: int = 8) -> str:
    """Ranges in words.

    >>> words([(1, 1), (4, 6)])
    '1, 4 to 6'
    """
    told = [str(first) if first == last else f"{first} to {last}" for first, last in ranges]
    return ", ".join(told[:most]) + (f" and {len(told) - most} more ranges" if len(told) > most else "")
