"""The virtual ride: what a logger on the girder writes while a truck carries it.

Windows of a few seconds, in each the largest value of every axis; gravity stands on y, so rest shows +1 g there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monochord.campaign.given.occasion import RideSample

#: Standard gravity [m/s2].
G = 9.80665


@dataclass(frozen=True, slots=True)
class Shock:
    """One jolt: when [s], and its largest acceleration per axis beyond rest [m/s2]."""

    time: float
    peak: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Ride:
    """A ride: the logger's samples and the jolts that truly happened, in time order."""

    samples: tuple[RideSample, ...]
    shocks: tuple[Shock, ...]


def ride(rng: np.random.Generator, *, hours: float = 1.75, window: float = 5.0, shocks: int = 3) -> Ride:
    """A ride with road noise, a cold stretch, and some jolts, of which the hardest shakes by about 1 g.

    >>> journey = ride(np.random.default_rng(3), hours=0.5)
    >>> len(journey.samples), len(journey.shocks)
    (360, 3)
    """
    n = round(hours * 3600.0 / window)
    time = window * np.arange(n)
    # Driving is rougher than standing: three stretches of road with standing between.
    driving = np.interp(time / time[-1], [0.0, 0.03, 0.06, 0.45, 0.47, 0.53, 0.55, 0.95, 0.98, 1.0],
                        [0.1, 0.1, 1.0, 1.0, 0.1, 0.1, 1.0, 1.0, 0.1, 0.1])  # fmt: skip
    rest = np.array([0.0, G, 0.0])
    acceleration = rest + 0.025 * G * driving[:, None] * rng.normal(size=(n, 3))
    moving = np.flatnonzero(driving > 0.9)
    where = np.sort(rng.choice(moving, size=shocks, replace=False))
    size = G * np.sort(rng.uniform(0.3, 1.1, size=shocks))[rng.permutation(shocks)]
    peak = size[:, None] * np.array([0.35, 1.0, 0.6]) * rng.choice([-1.0, 1.0], size=(shocks, 3))
    # The logger keeps the sample that is largest in size; upward jolts stand out of gravity, downward ones hide in it.
    peak[:, 1] = np.abs(peak[:, 1])
    acceleration[where] = rest + peak
    cold = 20.5 - 5.0 * np.sin(np.pi * time / time[-1]) ** 2 + 0.05 * rng.normal(size=n)
    samples = tuple(
        RideSample(float(t), (float(a[0]), float(a[1]), float(a[2])), float(c))
        for t, a, c in zip(time, acceleration, cold, strict=True)
    )
    jolts = tuple(
        Shock(float(time[i]), (float(p[0]), float(p[1]), float(p[2]))) for i, p in zip(where, peak, strict=True)
    )
    return Ride(samples, jolts)
