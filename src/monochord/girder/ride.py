"""What a ride logger tells: the largest shock with its bounds, how many there were, gaps, full scale, weight, temperature.

Loggers differ in what they keep: every sample, the largest value or the effective value of a window, the span from the
lowest to the highest, or only events. Each tells something and is blind for something, and both are said. A logger that
measures the weight as well shows which way is up, which must agree with the axes that the description gives.

Source: derived; that a logger at rest shows one g upwards is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.ride import Gap, RideFinding, ShockCount
from monochord.campaign.given.occasion import RideSample
from monochord.campaign.given.ride import RideLogger
from monochord.girder.ride_words import can_tell, cannot_tell
from monochord.ground.frames import DIRECTIONS

Array = NDArray[np.float64]

#: Standard weight [m/s2].
G = 9.80665
#: Levels at which shocks are counted [m/s2], and the limit where one is declared.
LEVELS = (0.5 * G, 1.0 * G, 2.0 * G, 5.0 * G)
#: A median vector within these parts of g is the weight; below the third it is none.
WEIGHT_LOW, WEIGHT_HIGH, NO_WEIGHT = 0.85, 1.15, 0.3
#: Cosine between the weight and the girder's up above which they agree.
AGREE = 0.9
#: A step in time longer than so many usual ones is a gap.
GAP = 1.8
#: So near to full scale is at it; without a declared one, so many rows must show one and the same largest value.
AT_SCALE, SAME = 0.995, 3
#: A peak over the effective value of its window, where nothing is declared: five times, as for a random ride.
CREST = 5.0


def ride_finding(samples: Sequence[RideSample], logger: RideLogger | None = None) -> RideFinding | None:
    """What the logger of one ride tells, from its samples in the girder frame; None when there are none.

    >>> calm = [RideSample(4.0 * k, (0.0, 9.8, 0.0), 20.0) for k in range(5)]
    >>> found = ride_finding([*calm, RideSample(20.0, (0.0, 29.4, 0.0), 20.0)], RideLogger("window maxima", 4.0))
    >>> round(found.largest, 3), found.up, found.over_words
    (19.6, 'up', 'no limit of acceleration is declared')
    """
    if not samples:
        return None
    told = logger or RideLogger()
    times = np.array([s.time for s in samples])
    values = np.array([s.acceleration for s in samples], float)
    weight, warnings = weight_in(values, told)
    beyond = beyond_weight(values, weight, told)
    low, high, bound = bounds_of(beyond, weight, told)
    clipped = _clipped(values, told)
    if clipped.any():
        high, bound = None, f"{bound}; {int(clipped.sum())} rows at full scale, where the true peak is unknown"
    size = np.linalg.norm(beyond, axis=1)
    place = int(np.argmax(size))
    up, agrees = _up(weight)
    if agrees is False:
        words = f"the weight lies along the girder's direction {up!r}, not 'up'"
        warnings.append(
            f"{words}: check tables.ride.columns and their signs against frame, or how the logger was mounted"
        )
    gaps, missing = _gaps(times, told)
    temperature, exposure = _temperature(samples, times, gaps)
    over, over_words = _over(low, high, temperature, told)
    return RideFinding(
        kind=told.kind,
        samples=len(samples),
        duration=float(times.max() - times.min()),
        largest=float(size[place]),
        largest_at=float(times[place]),
        low=low,
        high=high,
        bound=bound,
        clipped=int(clipped.sum()),
        shocks=_shocks(times, size, told),
        gaps=gaps,
        missing=missing,
        up=up,
        up_agrees=agrees,
        temperature=temperature,
        exposure=exposure,
        over=over,
        over_words=over_words,
        can=can_tell(told),
        cannot=cannot_tell(told, temperature is not None),
        warnings=tuple(warnings),
    )


def weight_in(values: Array, told: RideLogger) -> tuple[Array, list[str]]:
    """The weight in the numbers (3,) [m/s2], zero where there is none, and contradictions to what is said of it."""
    rest = np.median(values, axis=0)
    size = float(np.linalg.norm(rest)) / G
    warnings = []
    signed = told.kind not in ("peak to peak", "triggers")
    if told.gravity == "removed":
        if signed and WEIGHT_LOW < size < WEIGHT_HIGH:
            warnings.append(
                f"the weight is said to be removed, but the numbers at rest show {size:.2f} g: see tables.ride.gravity"
            )
        return np.zeros(3), warnings
    if told.gravity == "included" and signed and not WEIGHT_LOW < size < WEIGHT_HIGH:
        words = f"the weight is said to be included, but the numbers at rest show {size:.2f} g"
        warnings.append(f"{words}: see tables.ride.gravity and the unit of acceleration")
        return (rest if size > NO_WEIGHT else np.zeros(3)), warnings
    weighs = signed and WEIGHT_LOW < size < WEIGHT_HIGH
    if not told.gravity and signed and not weighs and size > NO_WEIGHT:
        warnings.append(
            f"the numbers at rest show {size:.2f} g, which is neither the weight nor nothing: a wrong unit?"
        )
    return (rest if weighs else np.zeros(3)), warnings


def beyond_weight(values: Array, weight: Array, told: RideLogger) -> Array:
    """Acceleration beyond the weight (n, 3) [m/s2]; of effective values, in squares."""
    if told.kind == "window rms":
        return np.sqrt(np.maximum(values**2 - weight**2, 0.0))
    return values - weight


def bounds_of(beyond: Array, weight: Array, told: RideLogger) -> tuple[float, float | None, str]:
    """Least and largest that the ride's largest shock can have been [m/s2], and where that comes from."""
    vector = float(np.linalg.norm(beyond, axis=1).max())
    axis = float(np.abs(beyond).max())
    if told.kind == "window maxima":
        # |a + w| <= m leaves a anywhere from -m - w to m - w: behind the weight, up to twice of it can hide.
        behind = float(np.linalg.norm(np.abs(beyond + weight) + np.abs(weight), axis=1).max())
        hides = "; a shock against the weight, up to twice of it, does not show" if weight.any() else ""
        return axis, behind, f"the axes' largest values of a window need not have come together{hides}"
    if told.kind == "peak to peak":
        return 0.5 * axis, vector, "a peak lies between half of the span and the whole of it"
    if told.kind == "window rms":
        crest = told.crest if told.crest is not None else CREST
        whose = "as declared" if told.crest is not None else "assumed, not measured"
        return axis, crest * vector, f"a peak is at least the effective value, and at most {crest:g} times it ({whose})"
    if told.kind == "samples":
        return vector, None, "between two samples it can have been larger"
    if told.kind == "triggers":
        return vector, None, "the largest recorded event; what did not start a record is unknown"
    return (
        vector,
        None,
        "nobody told what the logger's numbers are (tables.ride.kind), so they bound nothing from above",
    )


def _clipped(values: Array, told: RideLogger) -> NDArray[np.bool_]:
    """Rows (n,) in which an axis stands at full scale: the declared one, or a largest value that comes again and again."""
    size = np.abs(values)
    if told.full_scale is not None:
        return np.asarray((size >= AT_SCALE * told.full_scale).any(axis=1))
    top = float(size.max())
    at = size == top
    usual = float(np.median(size.max(axis=1)))
    return np.asarray(at.any(axis=1)) if at.sum() >= SAME and top > 1.5 * usual else np.zeros(len(values), bool)


def _shocks(times: Array, size: Array, told: RideLogger) -> tuple[ShockCount, ...]:
    """Runs of neighbouring rows beyond each level; a triggered logger's every row is an event of its own."""
    limit = () if told.limit is None else (told.limit,)
    found = []
    for level in sorted({*LEVELS, *limit}):
        if told.kind == "triggers" and told.threshold is None:
            found.append(ShockCount(level, None, "nobody told the threshold that starts a record"))
        elif told.kind == "triggers" and told.threshold is not None and level < told.threshold:
            found.append(ShockCount(level, None, f"blind below the threshold of {told.threshold / G:.3g} g"))
        elif told.kind == "window rms":
            found.append(ShockCount(level, None, "effective values tell no single shocks"))
        else:
            beyond = size > level
            starts = beyond if told.kind == "triggers" else beyond & ~np.concatenate([[False], beyond[:-1]])
            found.append(ShockCount(level, int(np.count_nonzero(starts))))
    return tuple(found)


def _gaps(times: Array, told: RideLogger) -> tuple[tuple[Gap, ...], float | None]:
    """Where samples are missing; None together for a logger that sleeps between events."""
    if told.kind == "triggers" or len(times) < 3:
        return (), None
    steps = np.diff(times)
    usual = told.window if told.window is not None else float(np.median(steps))
    if not usual > 0.0:
        return (), None
    wide = np.flatnonzero(steps > GAP * usual)
    gaps = tuple(Gap(float(times[k]), float(steps[k] - usual)) for k in wide)
    return gaps, float(sum(g.length for g in gaps))


def _up(weight: Array) -> tuple[str | None, bool | None]:
    """The direction of the girder frame along which the weight shows, and whether it is up."""
    size = float(np.linalg.norm(weight))
    if not size > 0.0:
        return None, None
    word = max(DIRECTIONS, key=lambda w: float(weight @ DIRECTIONS[w]))
    return word, bool(weight[1] / size > AGREE)


def _temperature(
    samples: Sequence[RideSample], times: Array, gaps: Sequence[Gap]
) -> tuple[tuple[float, float, float] | None, float | None]:
    """Lowest, highest and mean temperature [degC], and the time integral of its distance from the first [K h], gaps left out."""
    known = [(t, s.temperature) for t, s in zip(times, samples, strict=True) if s.temperature is not None]
    if not known:
        return None, None
    at, warm = np.array([t for t, _ in known]), np.array([w for _, w in known])
    steps = np.diff(at)
    open_at = {g.start for g in gaps}
    counted = (steps > 0.0) & ~np.isin(at[:-1], list(open_at))
    away = np.abs(warm - warm[0])
    exposure = float((0.5 * (away[1:] + away[:-1]) * steps)[counted].sum() / 3600.0)
    whole = float(steps[counted].sum())
    mean = float((0.5 * (warm[1:] + warm[:-1]) * steps)[counted].sum() / whole) if whole > 0.0 else float(warm.mean())
    return (float(warm.min()), float(warm.max()), mean), exposure


def _over(
    low: float, high: float | None, temperature: tuple[float, float, float] | None, told: RideLogger
) -> tuple[bool | None, str]:
    """Whether a declared limit was passed."""
    shock, words = _over_shock(low, high, told)
    warm, said = _over_warmth(temperature, told)
    parts = "; ".join(part for part in (words, said) if part)
    declared = [v for v, there in ((shock, told.limit is not None), (warm, said != "")) if there]
    if any(v is True for v in declared):
        return True, parts
    if not declared or any(v is None for v in declared):
        return None, parts
    return False, parts


def _over_shock(low: float, high: float | None, told: RideLogger) -> tuple[bool | None, str]:
    if told.limit is None:
        return None, "no limit of acceleration is declared"
    limit = f"the limit of {told.limit / G:.3g} g"
    if low > told.limit:
        return True, f"beyond {limit}: a shock of at least {low / G:.3g} g"
    if high is not None and high <= told.limit:
        return False, f"within {limit}: no shock beyond {high / G:.3g} g"
    above = "without a bound from above" if high is None else f"and at most {high / G:.3g} g"
    return None, f"cannot be told against {limit}: at least {low / G:.3g} g {above}"


def _over_warmth(temperature: tuple[float, float, float] | None, told: RideLogger) -> tuple[bool | None, str]:
    if told.coldest is None and told.hottest is None:
        return None, ""
    if temperature is None:
        return None, "temperature not recorded, so its limits cannot be checked"
    low, high, _ = temperature
    if told.coldest is not None and low < told.coldest:
        return True, f"colder than the limit of {told.coldest:g} degC: {low:.1f} degC"
    if told.hottest is not None and high > told.hottest:
        return True, f"hotter than the limit of {told.hottest:g} degC: {high:.1f} degC"
    return False, f"temperatures from {low:.1f} to {high:.1f} degC, within their limits"
