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

#: Of them those with so many nines that no reading has them by chance: they need only lie outside the rest.
_MANY = frozenset(s for s in _SIZES.tolist() if f"{s:.10g}".count("9") >= 6)

#: Numbers from here on are no reading of anything in this trade.
ABSURD = 1e15

#: Smallest marker of nines.
_LEAST = 99.0

#: Sensors beside each other may differ by so much whatever they show [the unit of the file].
_LITTLE = 3.0

#: Fewest readings among which one can be far from the others.
_FEWEST = 3

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
        rest = rest[~np.isnan(rest)]
        sure = [p for p in alike if rest.size and size[p] in _MANY and not rest.min() <= values[p] <= rest.max()]
        alike = sorted({*sure, *_outside(values, alike, rest)})
    return sorted([*absurd, *alike])


def apart(values: Array, genuine: Sequence[float]) -> list[int]:
    """Places of readings of sensors beside each other that lie where no sensor can: far outside all the others.

    values  (n,) as they stand in the file, NaN where there is none;  genuine  numbers declared to be readings

    >>> apart(np.array([20.1, 0.0, 20.3, 20.2]), []), apart(np.array([20.1, 0.0, 20.3, 20.2]), [0.0])
    ([1], [])
    >>> apart(np.array([20.1, 24.0, 20.3, 20.2]), [])
    []
    """
    there = np.flatnonzero(~np.isnan(values))
    if there.size < _FEWEST:
        return []
    middle = float(np.median(values[there]))
    reach = max(_OUTSIDE * 0.5 * abs(middle), _LITTLE, 3.0 * float(np.median(np.abs(values[there] - middle))))
    told = ~np.isin(values, np.array(genuine, float))
    return [p for p in there.tolist() if told[p] and abs(values[p] - middle) > reach and abs(values[p]) < _LEAST]


def _outside(values: Array, places: list[int], rest: Array) -> list[int]:
    """Those of the places whose number lies well outside the rest; without a rest it cannot be told."""
    if not rest.size:
        return []
    low, high = float(rest.min()), float(rest.max())
    reach = _OUTSIDE * max(high - low, 0.5 * max(abs(low), abs(high)))
    return [p for p in places if not low - reach <= values[p] <= high + reach]
