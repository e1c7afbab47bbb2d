"""Budgets: shares of the variance by kind, what a measure would leave, and how far a cause is from turning a verdict."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

from monochord.ground.estimate import kind_of
from monochord.ground.trace import Line, Sum, pointer, root_of_sum
from monochord.job.budgets import measures_at
from monochord.job.why.components import entry_of
from monochord.job.why.known import Known
from monochord.job.why.names import at, split
from monochord.job.why.shares import Entry
from monochord.report.budgeting import SMALL
from monochord.report.document_budget import OTHERS
from monochord.verdict.budget import VARIABLES


def of_budget(known: Known, keys: Sequence[str], part: str) -> Sum | None:
    """A number of a budget; None for any other number."""
    if part or len(keys) < 5 or keys[0] != "budgets":
        return None
    value = _value_name(known, keys)
    entry = entry_of(known, split(value)[0]) if value else None
    if entry is None:
        return None
    found: Sum | None = None
    match tuple(keys[4:]):
        case ("u",):
            u = known.number(*keys)
            line = Line(f"standard uncertainty of {entry.label}", u, f"{value}#u", unit=_unit(entry))
            found = Sum(pointer(*keys), _unit(entry), u, (line,), "as all causes together give it")
        case ("shares", _, ("u" | "part") as which):
            found = _share(known, keys, entry, which)
        case ("reliefs", _, ("u_after" | "gain") as which):
            found = _relief(known, keys, entry, which)
        case ("flip", ("times_u" | "wrong_by") as which):
            found = _flip(known, keys, entry, which)
    return found


def _unit(entry: Entry) -> str:
    return entry.estimate.labels[entry.i].unit


def _value_name(known: Known, keys: Sequence[str]) -> str:
    """Name of the value that a budget is of."""
    _, occasion, magnet, quantity = keys[:4]
    if quantity in ("x", "y"):
        return pointer("occasions", occasion, "line", "offsets", magnet, quantity)
    if quantity.startswith("own_move_"):
        since = known.since_reference(occasion)
        return pointer("comparisons", since[0], "own_moves", magnet, f"d{quantity[-1]}") if since else ""
    return pointer("occasions", occasion, "axes", magnet, quantity)


def _variances(entry: Entry) -> dict[str, float]:
    """Kind -> its variance, as far as it brings any."""
    found: dict[str, float] = {}
    for cause in entry.estimate.factors:
        if (amount := entry.share(cause)) > 0.0:
            found[kind_of(cause)] = found.get(kind_of(cause), 0.0) + amount
    return found


def _share(known: Known, keys: Sequence[str], entry: Entry, which: str) -> Sum:
    name, value, above = pointer(*keys), known.number(*keys), tuple(keys[:-1])
    kind = str(at(known.document, (*above, "kind")))
    if which == "part":
        u, whole = pointer(*above, "u"), pointer(*keys[:4], "u")
        lines = (
            Line(f"standard uncertainty that {kind} brings", known.number(*above, "u"), u, unit=_unit(entry)),
            Line("standard uncertainty as a whole", known.number(*keys[:4], "u"), whole, unit=_unit(entry)),
        )
        return Sum(name, "1", value, lines, "part of the variance", lambda a: (a[0] / a[1]) ** 2)
    told = _variances(entry)
    total = math.fsum(told.values())
    picked = {k: v for k, v in told.items() if k == kind or (kind == OTHERS and v / total < SMALL)}
    lines_of = tuple(Line(k, v, f"{entry.base}#kind {k}", unit=entry.unit) for k, v in picked.items())
    return Sum(name, _unit(entry), value, lines_of, f"the root of what {kind} bring to the variance", root_of_sum)


def _relief(known: Known, keys: Sequence[str], entry: Entry, which: str) -> Sum | None:
    name, value, above = pointer(*keys), known.number(*keys), tuple(keys[:-1])
    if which == "gain":
        lines = (
            Line(
                "standard uncertainty after it",
                known.number(*above, "u_after"),
                pointer(*above, "u_after"),
                unit=_unit(entry),
            ),
            Line("standard uncertainty now", known.number(*keys[:4], "u"), pointer(*keys[:4], "u"), unit=_unit(entry)),
        )
        return Sum(name, "1", value, lines, "by how much it would shrink", lambda a: 1.0 - a[0] / a[1])
    words, basis = (str(at(known.document, (*above, key))) for key in ("measure", "basis"))
    for measure in measures_at(known.result, *keys[1:4]):
        if (measure.words, measure.basis) != (words, basis):
            continue
        if measure.instead is not None:
            return _instead(known, keys, value, basis)
        causes = {c: v for c in entry.estimate.factors if (v := entry.share(c)) > 0.0}
        lines_of = tuple(_left(entry, causes, measure.remains, kind) for kind in dict.fromkeys(map(kind_of, causes)))
        return Sum(
            name, _unit(entry), value, lines_of, f"{words}: what it would leave of every cause; {basis}", root_of_sum
        )
    return None


def _left(entry: Entry, causes: Mapping[str, float], remains: Callable[[str], float], kind: str) -> Line:
    """What would be left of one kind of cause, as a part of what it brings now."""
    now = math.fsum(v for c, v in causes.items() if kind_of(c) == kind)
    left = math.fsum(remains(c) * v for c, v in causes.items() if kind_of(c) == kind)
    return Line(kind, left, f"{entry.base}#kind {kind}", left / now, now, entry.unit)


def _instead(known: Known, keys: Sequence[str], value: float, basis: str) -> Sum | None:
    """The uncertainty of another occasion, where a measure would replace the evidence."""
    for other in reversed(known.result.occasions):
        if other.wire is None or other.line is None or f"{keys[2]}.{keys[3]}" not in other.line.offsets.names:
            continue
        of = pointer("occasions", other.name, "line", "offsets", keys[2], f"u_{keys[3]}")
        line = Line(f"standard uncertainty of the same offset on {other.name}", value, of, unit="m")
        return Sum(pointer(*keys), "m", value, (line,), basis)
    return None


def _flip(known: Known, keys: Sequence[str], entry: Entry, which: str) -> Sum:
    """|end - value| / sqrt(J S J') in the cause's own uncertainties; in its own unit |end - value| / (J S J') |S J'|."""
    name, value = pointer(*keys), known.number(*keys)
    cause = str(at(known.document, (*keys[:-1], "cause")))
    judged = ("verdicts", *keys[1:4])
    ends = [end for end in ("lower", "upper") if _has_number(known, (*judged, end))]
    now = float(entry.estimate.value[entry.i])
    end = min(ends, key=lambda e: abs(known.number(*judged, e) - now))
    lines = [
        Line("the value", now, entry.base, unit=_unit(entry)),
        Line("the limit that is nearest", known.number(*judged, end), pointer(*judged, end), unit=_unit(entry)),
        Line(
            f"what {cause} brings to its variance", entry.share(cause), f"{entry.base}#cause {cause}", unit=entry.unit
        ),
    ]
    if which == "times_u":
        how = f"the shortest error of {cause}, in its own standard uncertainties, that takes the value to its limit"
        return Sum(name, "1", value, tuple(lines), how, lambda a: abs(a[1] - a[0]) / math.sqrt(a[2]))
    factor = entry.estimate.factors[cause]
    follow = (factor.spread @ factor.jacobian[entry.i]).tolist()
    lines += [
        Line(f"how variable {k} of the cause goes with the value", d, f"{entry.base}#cause {cause}, following {k}")
        for k, d in enumerate(follow)
    ]
    scale = _scale(known, cause)
    lines += [scale] if scale is not None else []
    count = len(follow)

    def again(a: Sequence[float]) -> float:
        times = a[3 + count] if scale is not None else 1.0
        return abs(a[1] - a[0]) / a[2] * math.hypot(*a[3 : 3 + count]) * abs(times)

    unit = str(at(known.document, (*keys[:-1], "unit")))
    return Sum(name, unit, value, tuple(lines), f"the same error of {cause} in its own unit", again)


def _has_number(known: Known, keys: Sequence[str]) -> bool:
    try:
        known.number(*keys)
    except KeyError:
        return False
    return True


def _scale(known: Known, cause: str) -> Line | None:
    """From the cause's own variable to the unit that it is told in, where that is not 1: a sag is told at mid-span."""
    kind, _, occasion = cause.partition(":")
    if kind == "sag" and _has_number(known, ("occasions", occasion, "wire", "sag")):
        sag = known.number("occasions", occasion, "wire", "sag")
        return Line("sag at mid-span", sag, pointer("occasions", occasion, "wire", "sag"), unit="m")
    told = VARIABLES.get(kind)
    return None if told is None or told.factor == 1.0 else Line(told.words, told.factor)
