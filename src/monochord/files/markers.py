"""Marker numbers: what instruments write where they have no reading.

Declared markers become "no reading" before anything is computed. A number that nobody declared and that looks
like one (all nines, an end of an integer's range, an absurd size) and lies outside what the rest of its column
spans is never used: it is a fault that asks whether it is a marker or a reading.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Sizes that instruments write for no reading: three nines or more, and the ends of integers.
_SIZES = np.array(
    [float(f"{'9' * whole}.{'9' * part or '0'}") for whole in range(2, 13) for part in range(6) if whole + part >= 3]
    + [32767.0, 32768.0, 65535.0, 8388607.0, 8388608.0, 2147483647.0, 2147483648.0, 4294967295.0]
)

#: Numbers from here on are no reading of anything in this trade.
ABSURD = 1e15

#: Smallest marker of nines.
_LEAST = 99.0

#: A marker lies outside the rest by at least so many times what the rest spans.
_OUTSIDE = 1.0


def declared(values: Array, markers: Sequence[float]) -> NDArray[np.intp]:
    """Places of declared markers in a column (n,), equal to nine digits, as single precision spells them too.

    >>> declared(np.array([20.1, -999.0, 9.99999999e37, np.nan]), [-999.0, 9.99999999e37]).tolist()
    [1, 2]
    """
    found = np.zeros(len(values), bool)
    for marker in markers:
        single = float(np.float32(marker))
        tight = np.isclose(values, marker, rtol=1e-9, atol=0.0)
        found |= tight | (np.isclose(values, single, rtol=1e-9, atol=0.0) if np.isfinite(single) else False)
    return np.flatnonzero(found)


def suspicious(values: Array, genuine: Sequence[float]) -> list[int]:
    """Places of numbers that look like markers which nobody declared.

    values  (n,) as they stand in the file, NaN where there is none;  genuine  numbers declared to be readings

    >>> suspicious(np.array([20.1, -999.0, 20.3]), [])
    [1]
    >>> suspicious(np.array([1001.5, 999.0, 20.3]), [])
    []
    """
    size = np.abs(values)
    if not size.size or not float(np.nanmax(size, initial=0.0)) > _LEAST:
        return []
    told = ~np.isin(values, np.array(genuine, float))
    absurd = np.flatnonzero((size >= ABSURD) & told).tolist()
    alike = np.flatnonzero(np.isin(size, _SIZES) & told).tolist()
    if alike:
        rest = np.delete(values, [*alike, *absurd])
        alike = _outside(values, alike, rest[~np.isnan(rest)])
    return sorted([*absurd, *alike])


def _outside(values: Array, places: list[int], rest: Array) -> list[int]:
    """Those of the places whose number lies well outside the rest; without a rest it cannot be told."""
    if not rest.size:
        return []
    low, high = float(rest.min()), float(rest.max())
    reach = _OUTSIDE * max(high - low, 0.5 * max(abs(low), abs(high)))
    return [p for p in places if not low - reach <= values[p] <= high + reach]
