"""The budget of one deciding quantity: which cause brings how much, what would help most, what would turn the verdict.

Nothing is typed in: shares follow from the causes that the estimate carries from the wire and the survey, and what a
measure would give follows from them and from what was done (:mod:`monochord.verdict.measures`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.budget import Budget, Flip, Relief, Share
from monochord.ground.estimate import Estimate, Factor, kind_of
from monochord.verdict.measures import Measure

Array = NDArray[np.float64]

#: Variables that together bring less than this part of a flip's squared length are not named in it.
_UNNAMED = 0.02
#: A cause with less than this part of the variance is not asked what would turn the verdict: its error would be absurd.
_FEEBLE = 1e-6


@dataclass(frozen=True, slots=True)
class Variable:
    """How the variables of a cause are told.

    words   what they are;  unit  SI ("1" for a relative size);  factor  from the cause's own variable to that unit
    parts   their names in order, () for a single one
    """

    words: str
    unit: str
    factor: float = 1.0
    parts: tuple[str, ...] = ()


#: Kind of a cause with few variables of one unit -> how they are told.
VARIABLES: Mapping[str, Variable] = {
    "sag": Variable("sag, relative", "1"),
    "planes": Variable("turn of the string's planes", "rad"),
    "stage scale": Variable("scale of the stages", "1", parts=("in x", "in y")),
    "stage turn": Variable("turn of the stages", "rad", parts=("upstream", "downstream")),
    "nest vector": Variable("vector from nest to wire", "m", parts=("x", "y", "z")),
    "range scale": Variable("range scale", "1"),
    "stretch": Variable("stretch of the girder", "1"),
    "sensor turn": Variable("turn of the sensor pair", "rad"),
}


def budget(
    estimate: Estimate,
    name: str,
    limit: float | None = None,
    *,
    ends: tuple[float, float] | None = None,
    measures: Sequence[Measure] = (),
    variables: Mapping[str, Variable] | None = None,
    place: tuple[str, str, str] = ("", "", ""),
    enlarged: float = 1.0,
) -> Budget:
    """Budget of the named component of an estimate.

    Variances of causes of one kind add. After a measure that leaves the part r_c of each cause's variance,
    u_after^2 = sum_c r_c u_c^2, the weights of the evaluation kept as they are (better ones could only give less).

    limit      the largest absolute value allowed, in its unit, None when there is none
    ends       lower and upper limit where they are not even, infinite on a side without one
    measures   what could be done;  variables  cause id -> how its variables are told, before those of its kind
    place      occasion, magnet and quantity that it belongs to
    enlarged   factor by which the estimate's uncertainties were enlarged: the values then seem to follow
               a cause so much more strongly than they do, and the error that is needed would come out too small

    >>> causes = {"fit:a": np.array([[9.0]]), "stringing:a": np.array([[16.0]])}
    >>> twice = Measure("stringing", "string again", "predicted", (("stringing", "a", 0.5),))
    >>> one = Estimate.of([2.0], ["x"], unit="m", frame="girder", causes=causes)
    >>> b = budget(one, "x", limit=10.0, measures=[twice])
    >>> b.u, [(s.kind, s.u, s.part) for s in b.shares]
    (5.0, [('stringing', 4.0, 0.64), ('fit', 3.0, 0.36)])
    >>> b.reliefs[0].measure, round(b.reliefs[0].u_after, 3), b.flips[0].cause, b.flips[0].times_u
    ('string again', 4.123, 'stringing:a', 2.0)
    """
    row = estimate.index(name)
    parts = {c: _part(f, row) for c, f in estimate.factors.items()}
    by_cause = {c: p.variance for c, p in parts.items() if p.variance > 0.0}
    total = math.fsum(by_cause.values())
    value = float(estimate.value[row])
    low, high = ends if ends is not None else (-math.inf, math.inf) if limit is None else (-limit, limit)
    reach = [end - value for end in (low, high) if math.isfinite(end)]
    return Budget(
        name=name,
        value=value,
        u=math.sqrt(total),
        shares=_shares(by_cause, total),
        reliefs=_reliefs(by_cause, total, measures),
        flips=_flips(
            {c: parts[c] for c, v in by_cause.items() if v >= _FEEBLE * total},
            min(reach, key=abs),
            variables or {},
            enlarged,
        )
        if reach
        else (),
        unit=estimate.labels[row].unit,
        limit=limit if limit is not None or ends is None else min((abs(e) for e in ends), default=None),
        occasion=place[0],
        magnet=place[1],
        quantity=place[2],
    )


def _shares(by_cause: Mapping[str, float], total: float) -> tuple[Share, ...]:
    by_kind: dict[str, float] = {}
    for cause, variance in by_cause.items():
        by_kind[kind_of(cause)] = by_kind.get(kind_of(cause), 0.0) + variance
    ranked = sorted(by_kind.items(), key=lambda item: (-_level(item[1]), item[0]))
    return tuple(Share(kind, math.sqrt(v), v / total) for kind, v in ranked)


def _reliefs(by_cause: Mapping[str, float], total: float, measures: Sequence[Measure]) -> tuple[Relief, ...]:
    made = []
    for measure in measures:
        if total <= 0.0 or not measure.touches(by_cause):
            continue
        left = math.fsum(measure.remains(c) * v for c, v in by_cause.items())
        after = math.sqrt(max(left, 0.0)) if measure.instead is None else measure.instead
        made.append(Relief(measure.kind, measure.words, after, 1.0 - after / math.sqrt(total), measure.basis))
    return tuple(sorted((r for r in made if r.gain > 0.0), key=lambda r: (-_level(r.gain), r.measure)))


@dataclass(frozen=True, eq=False, slots=True)
class _Part:
    """One cause's part in a component: J (k,), S J' (k,), and J S J'."""

    row: Array
    direction: Array
    variance: float


def _part(factor: Factor, row: int) -> _Part:
    jacobian = factor.jacobian[row]
    direction = factor.spread @ jacobian
    return _Part(jacobian, direction, float(jacobian @ direction))


def _flips(
    parts: Mapping[str, _Part], reach: float, variables: Mapping[str, Variable], enlarged: float
) -> tuple[Flip, ...]:
    made = [_flip(c, p, reach, variables.get(c, VARIABLES.get(kind_of(c)))) for c, p in parts.items()]
    made = [f if f.size is None else replace(f, size=f.size * enlarged) for f in made]
    return tuple(sorted(made, key=lambda f: (_level(f.times_u), f.cause)))


def _level(value: float) -> float:
    """Six digits of a number, so that ties are ranked by name and not by the last bits of a machine."""
    return float(f"{value:.6g}")


def _flip(cause: str, part: _Part, reach: float, told: Variable | None) -> Flip:
    """The smallest error d of a cause that shifts the value by ``reach``.

    d = reach S J' / (J S J'),  sqrt(d' S^-1 d) = |reach| / sqrt(J S J'): no shorter error gives the same shift.
    Source: derived, by a Lagrange multiplier.
    """
    length = abs(reach) / math.sqrt(part.variance)
    if told is None or len(part.row) != max(len(told.parts), 1):
        return Flip(cause, length)
    error = reach / part.variance * part.direction
    parts = part.row * part.direction / part.variance  # of the squared length that each variable brings; they sum to 1
    named = [n for n, p in zip(told.parts, parts, strict=False) if abs(p) > _UNNAMED]
    return Flip(
        cause, length, " ".join([told.words, " and ".join(named)]).strip(),
        float(np.linalg.norm(error)) * told.factor, told.unit,
    )  # fmt: skip
