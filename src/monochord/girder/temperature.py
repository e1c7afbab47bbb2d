"""The girder's temperature from its contact sensors: mean, and top minus bottom."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monochord.campaign.found.result import Temperature
from monochord.campaign.given.occasion import TemperatureReading


def temperature_of(readings: Sequence[TemperatureReading], stated: float | None) -> Temperature:
    """Mean of top and bottom [degC] and top minus bottom [K] of one occasion.

    readings  contact sensors; those above the middle of their heights are the top
    stated    one number for the whole girder, used where there are no sensors [degC]

    Top and bottom are averaged apart first, so that more sensors on one side do not pull the mean.

    >>> a = TemperatureReading("a", (0.0, -0.4, 0.0), 20.2, 0.01)
    >>> b = TemperatureReading("b", (0.0, -0.8, 0.0), 20.0, 0.01)
    >>> t = temperature_of([a, b], None)
    >>> round(t.mean, 3), round(t.top_minus_bottom, 3)
    (20.1, 0.2)
    """
    if not readings:
        if stated is None:
            return Temperature(None, None, "no sensor was read and no temperature was given for this occasion")
        return Temperature(
            stated, None, "one temperature was given for the whole girder; top minus bottom was not read"
        )
    heights = np.array([r.point[1] for r in readings])
    values = np.array([r.value for r in readings])
    top = heights > 0.5 * (heights.min() + heights.max())
    if not top.any():
        return Temperature(
            float(values.mean()), None, "all sensors sit at one height; top minus bottom is not observed"
        )
    high, low = float(values[top].mean()), float(values[~top].mean())
    return Temperature(0.5 * (high + low), high - low)
