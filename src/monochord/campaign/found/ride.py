"""What a ride logger tells, and what it cannot tell."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ShockCount:
    """How many shocks went beyond a level [m/s2]; None where the logger is blind for them, with the reason."""

    level: float
    count: int | None
    why: str = ""


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch of the ride without a sample: seconds from the first sample, and its length [s]."""

    start: float
    length: float


@dataclass(frozen=True, slots=True)
class RideFinding:
    """What the logger says about one ride; what is None has its reason in ``cannot``.

    kind         what its numbers are, "" when nobody told;  samples  number of rows;  duration  [s]
    largest      acceleration beyond the weight, length of the vector [m/s2], at ``largest_at`` [s] from the first sample
    low, high    bounds of the largest shock [m/s2]; high None where there is none
    bound        where the bounds come from, in words
    clipped      rows at full scale, for which the true peak is unknown
    shocks       counts beyond levels
    gaps         without samples;  missing  their length together [s], None for a logger that sleeps between events
    up           direction along which the girder's weight shows, in words, None when it cannot be told
    up_agrees    whether that is what the description says of the axes, None when it cannot be told
    temperature  lowest, highest and mean [degC], None when not recorded;  exposure  of the difference to the first reading [K h]
    over         whether the ride went beyond the declared limits; None when it cannot be told or none are declared
    over_words   the same in words
    can, cannot  what such a logger tells and what it cannot tell
    warnings     contradictions between the numbers and what the description says of them
    """

    kind: str
    samples: int
    duration: float
    largest: float | None
    largest_at: float | None
    low: float | None
    high: float | None
    bound: str
    clipped: int
    shocks: tuple[ShockCount, ...]
    gaps: tuple[Gap, ...]
    missing: float | None
    up: str | None
    up_agrees: bool | None
    temperature: tuple[float, float, float] | None
    exposure: float | None
    over: bool | None
    over_words: str
    can: tuple[str, ...]
    cannot: tuple[str, ...]
    warnings: tuple[str, ...]
