"""The budget of one deciding quantity: which cause brings how much, what would help most, what would flip the verdict.

Nothing is typed in: shares follow from the causes that the estimate carries from the wire and the survey.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from monochord.ground.estimate import Estimate, kind_of

#: Kind of a cause -> (measure that would shrink it, part of its variance that would remain). Means of two independent
#: repetitions keep one half; a second mode sees the slope that one mode only bounds. Common practice, no source.
MEASURES: Mapping[str, tuple[str, float]] = {
    "fit": ("scan once more, forth and back", 0.5),
    "background": ("scan the background once more", 0.5),
    "stringing": ("string the wire a second time and scan again", 0.5),
    "slope leakage": ("scan a second mode at this magnet", 0.05),
    "sag": ("sweep the first mode again, finer", 0.5),
    "detuning": ("let the wire rest, then sweep and scan again", 0.25),
    "reading": ("take one more round from every station", 0.5),
    "mounting": ("set the reflectors once more and survey again", 0.5),
    "level": ("level the stations anew for a second round", 0.5),
    "nest vector": ("calibrate the vector from nest to wire again", 0.5),
    "clamp": ("string a wire on this occasion", 0.0),
    "stretch": ("let the girder soak for an hour and read the sensors again", 0.5),
}


@dataclass(frozen=True, slots=True)
class Share:
    """One kind of cause: its standard uncertainty, in the quantity's unit, and its part of the variance (0..1)."""

    kind: str
    u: float
    part: float


@dataclass(frozen=True, slots=True)
class Relief:
    """What one measure would give: the standard uncertainty after it, and by how much it shrinks (0..1)."""

    kind: str
    measure: str
    u_after: float
    gain: float


@dataclass(frozen=True, slots=True)
class Flip:
    """How far one kind of cause would have to be off, in its own standard uncertainties, to bring the value to its limit."""

    kind: str
    times_u: float


@dataclass(frozen=True, slots=True)
class Budget:
    """Budget of one quantity: value and u in its unit; shares, reliefs and flips ranked, the strongest first."""

    name: str
    value: float
    u: float
    shares: tuple[Share, ...]
    reliefs: tuple[Relief, ...]
    flips: tuple[Flip, ...]


def budget(estimate: Estimate, name: str, limit: float | None = None) -> Budget:
    """Budget of the named component; ``limit`` is the largest absolute value allowed, in its unit, None when there is none.

    Variances of causes of one kind add; u_after^2 = u^2 - (1 - remains) u_kind^2; times_u = (limit - |value|) / u_kind.

    >>> import numpy as np
    >>> causes = {"fit:a": np.array([[9.0]]), "stringing:a": np.array([[16.0]])}
    >>> b = budget(Estimate.of([2.0], ["x"], unit="um", frame="girder", causes=causes), "x", limit=10.0)
    >>> b.u, [(s.kind, s.u, s.part) for s in b.shares]
    (5.0, [('stringing', 4.0, 0.64), ('fit', 3.0, 0.36)])
    >>> b.reliefs[0].measure, round(b.reliefs[0].u_after, 3), b.flips[0]
    ('string the wire a second time and scan again', 4.123, Flip(kind='stringing', times_u=2.0))
    """
    by_kind: dict[str, float] = {}
    for cause, variance in estimate.shares(name).items():
        by_kind[kind_of(cause)] = by_kind.get(kind_of(cause), 0.0) + variance
    ranked = sorted(((k, v) for k, v in by_kind.items() if v > 0.0), key=lambda item: -item[1])
    total = sum(v for _, v in ranked)
    value, u = float(estimate.pick([name]).value[0]), math.sqrt(total)
    reliefs = [_relief(kind, v, total) for kind, v in ranked if kind in MEASURES]
    room = None if limit is None else abs(limit - abs(value))
    return Budget(
        name=name,
        value=value,
        u=u,
        shares=tuple(Share(k, math.sqrt(v), v / total) for k, v in ranked),
        reliefs=tuple(sorted(reliefs, key=lambda r: -r.gain)),
        flips=() if room is None else tuple(Flip(k, room / math.sqrt(v)) for k, v in ranked),
    )


def _relief(kind: str, variance: float, total: float) -> Relief:
    measure, remains = MEASURES[kind]
    after = math.sqrt(max(total - (1.0 - remains) * variance, 0.0))
    return Relief(kind, measure, after, 1.0 - after / math.sqrt(total))
