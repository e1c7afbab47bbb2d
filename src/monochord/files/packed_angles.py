"""Angles whose digits behind the point are minutes and seconds (237.44476 is 237 degrees, 44 minutes, 47.6 seconds).

They read as plain degrees without complaint and are wrong by up to 0.4 degrees, so a column of degrees is looked at.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from monochord.files.numbers import Odd, Spelling, column

Array = NDArray[np.float64]

#: The notation by which a description declares such angles.
PACKED = "ddd.mmss"

#: Among so many angles minutes and seconds stay below 60 by chance once in 5e8 columns: 0.36^20.
_FEWEST = 20

# Minutes and seconds are taken from a number rounded here, so that 12.30 is 30 minutes and not 29.999999999.
_DIGITS = 10


def unpacked(values: Array) -> Array:
    """Degrees (n,) of packed angles (n,); NaN where minutes or seconds reach 60.

    >>> unpacked(np.array([237.44476, -0.1230, 12.6000])).round(6).tolist()
    [237.746556, -0.208333, nan]
    """
    size = np.round(np.abs(values), _DIGITS)
    whole = np.floor(size)
    rest = np.round((size - whole) * 100.0, _DIGITS - 2)
    minutes = np.floor(rest)
    seconds = np.round((rest - minutes) * 100.0, _DIGITS - 4)
    degrees = whole + minutes / 60.0 + seconds / 3600.0
    degrees[(minutes >= 60.0) | (seconds >= 60.0)] = math.nan
    signed: Array = np.copysign(degrees, values)
    return signed


def packed_column(cells: Sequence[str], spelling: Spelling) -> tuple[Array, list[Odd]]:
    """A column of packed angles as degrees, NaN where a cell is odd, and the odd cells.

    >>> packed_column(["12.3000", "12.7500"], Spelling())
    (array([12.5,  nan]), [Odd(index=1, kind='bad', why='minutes and seconds below 60')])
    """
    values, odd = column(cells, spelling)
    degrees = unpacked(values)
    over = np.flatnonzero(np.isnan(degrees) & ~np.isnan(values)).tolist()
    return degrees, [*odd, *(Odd(i, "bad", "minutes and seconds below 60") for i in over)]


def looks_packed(values: Array) -> bool:
    """Whether all of many different angles have minutes and seconds below 60 behind their points.

    values  (n,) as they stand in the file

    >>> looks_packed(np.array([i + 0.3159 + 0.0001 * (i % 40) for i in range(40)])), looks_packed(np.arange(40.0))
    (False, False)
    """
    told = np.unique(np.abs(values[~np.isnan(values)]))
    told = told[np.round(told * 100.0, 6) % 1.0 > 0.0]  # two digits and fewer say nothing
    if told.size < _FEWEST or bool(np.isnan(unpacked(told)).any()):
        return False
    behind = np.floor(np.round(told % 1.0 * 100.0, 6))
    return bool(np.unique(behind).size > _FEWEST // 3)  # angles of one look, such as 10.25, 20.25, tell nothing
