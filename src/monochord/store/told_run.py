"""What the document of a run tells: verdicts with their margins, values for charts, and when its occasions were.

Everything here reads one document and gives rows; what a document does not tell gives no row.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from monochord.store.entry import stamp

Part = Mapping[str, object]

#: How the time of an occasion is known, the best first.
CLOCK, LOCAL, BEFORE, ENTRY = "its clock", "its clock, zone not told", "the occasion before it", "its entry"


@dataclass(frozen=True, slots=True)
class Judged:
    """A verdict: SI values; margin to the nearer limit, negative beyond it, and its share of the limit."""

    occasion: str
    magnet: str
    quantity: str
    value: float | None
    u: float | None
    limit_value: float | None
    margin: float | None
    margin_share: float | None
    probability: float | None
    verdict: str
    evidence: str


@dataclass(frozen=True, slots=True)
class Measured:
    """A value for charts in SI; ``since`` names the occasion from which a change counts."""

    occasion: str
    quantity: str
    magnet: str
    since: str
    value: float
    u: float | None
    unit: str


def part(of: object, name: str) -> Part:
    """A part of a document by its key; empty where there is none."""
    found = of.get(name) if isinstance(of, dict) else None
    return found if isinstance(found, dict) else {}


def parts(of: object, name: str) -> list[Part]:
    """A list of parts by its key; empty where there is none."""
    found = of.get(name) if isinstance(of, dict) else None
    return [item for item in found if isinstance(item, dict)] if isinstance(found, list) else []


def number(of: object, name: str) -> float | None:
    """A finite number by its key, None where there is none.

    >>> number({"x": 2}, "x"), number({"x": None}, "x"), number({"x": True}, "x")
    (2.0, None, None)
    """
    value = of.get(name) if isinstance(of, dict) else None
    known = isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
    # plus nothing, or a zero might be below zero in one database and not in another
    return float(value) + 0.0 if known and isinstance(value, (int, float)) else None


def occasions_of(document: Part) -> list[str]:
    """Occasions in the order in which they happened."""
    return list(part(document, "occasions"))


def times_of(document: Part) -> dict[str, tuple[str, str]]:
    """Occasion -> (UTC stamp, how it is known), by its earliest clock, else not before the occasion before it.

    >>> times_of({"occasions": {"a": {}, "b": {}}, "clocks": [{"occasion": "a", "first_local": "2031-05-07T08:30:00"}]})["b"]
    ('2031-05-07T08:30:00.000000Z', 'the occasion before it')
    """
    told: dict[str, list[tuple[str, str]]] = {}
    for clock in parts(document, "clocks"):
        for key, how in (("first_utc", CLOCK), ("first_local", LOCAL)):
            if moment := _stamp(clock.get(key)):
                told.setdefault(str(clock.get("occasion")), []).append((moment, how))
                break
    found: dict[str, tuple[str, str]] = {}
    before = ""
    for name in occasions_of(document):
        if name in told:
            found[name] = min(told[name])
            before = max(before, found[name][0])
        elif before:
            found[name] = (before, BEFORE)
    return found


def _stamp(text: object) -> str:
    if not isinstance(text, str):
        return ""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return ""
    return stamp(moment if moment.tzinfo else moment.replace(tzinfo=UTC))


def verdicts_of(document: Part) -> Iterator[Judged]:
    """Every verdict of a document."""
    verdicts = part(document, "verdicts")
    for occasion in verdicts:
        magnets = part(verdicts, occasion)
        for magnet in magnets:
            for quantity, found in part(magnets, magnet).items():
                if isinstance(found, dict):
                    yield _judged(occasion, magnet, quantity, found)


def _judged(occasion: str, magnet: str, quantity: str, found: Part) -> Judged:
    value, limit = number(found, "offset"), number(found, "limit")
    lower, upper = number(found, "lower"), number(found, "upper")
    rooms = [upper - value] if value is not None and upper is not None else []
    rooms += [value - lower] if value is not None and lower is not None else []
    margin = min(rooms, default=None)
    share = margin / abs(limit) if margin is not None and limit else None
    return Judged(
        occasion, magnet, quantity, value, number(found, "u"), limit, margin, share, number(found, "probability"),
        str(found.get("verdict", "")), str(found.get("evidence", "")),
    )  # fmt: skip


def measures_of(document: Part) -> Iterator[Measured]:
    """Every value for charts that a document tells."""
    yield from _own_moves(document)
    yield from _closures(document)
    yield from _stringings(document)
    for name, found in part(document, "occasions").items():
        if isinstance(found, dict):
            yield from _health(name, found)


def _own_moves(document: Part) -> Iterator[Measured]:
    """Of each ride the own moves between the nearest surveys on either side of it, of all else since the survey before."""
    order = {name: i for i, name in enumerate(occasions_of(document))}
    known = [c for c in parts(document, "comparisons") if c.get("from") in order and c.get("to") in order]
    last: dict[str, Part] = {}
    for c in sorted(known, key=lambda c: order[str(c["from"])]):
        last[str(c["to"])] = c
    ridden: set[str] = set()
    for to in sorted(last, key=order.__getitem__):
        c = last[to]
        start, ride = str(c["from"]), _ride_between(document, order, str(c["from"]), to)
        if ride and start in ridden:
            continue  # a second survey after one ride, not compared with the first: ride and rest cannot be told apart
        if ride:
            ridden.add(start)
        for magnet, move in part(c, "own_moves").items():
            for axis, row in (("x", 0), ("y", 1)):
                value = number(move, f"d{axis}")
                if value is not None and isinstance(move, dict):
                    name = f"ride_own_move_{axis}" if ride else f"own_move_{axis}"
                    yield Measured(to, name, magnet, start, value, _root(move.get("cov"), row), "m")


def _ride_between(document: Part, order: Mapping[str, int], start: str, end: str) -> bool:
    occasions = part(document, "occasions")
    between = [part(occasions, n) for n, i in order.items() if order[start] < i <= order[end]]
    places = {str(part(occasions, n).get("place") or "") for n in (start, end)}
    return any(o.get("ride") for o in between) or ("" not in places and len(places) > 1)


def _root(cov: object, row: int) -> float | None:
    try:
        value = cov[row][row]  # type: ignore[index]  # whatever it is, no number there is told as unknown
    except (TypeError, IndexError, KeyError):
        return None
    return math.sqrt(value) if isinstance(value, float) and value >= 0.0 else None


def _closures(document: Part) -> Iterator[Measured]:
    """The closure at each occasion: since the reference where it is told, else since the latest that tells one."""
    compared = parts(document, "comparisons")
    reference = compared[0].get("from") if compared else None
    chosen: dict[str, Part] = {}
    for c in sorted(compared, key=lambda c: c.get("from") == reference):
        if number(part(c, "closure"), "dof"):
            chosen[str(c.get("to"))] = c
    for to, c in chosen.items():
        closure, start = part(c, "closure"), str(c.get("from"))
        chi, dof, p = (number(closure, k) for k in ("chi_square", "dof", "probability"))
        if chi is not None and dof:
            yield Measured(to, "closure_ratio", "", start, chi / dof, math.sqrt(2.0 / dof), "1")
        if p is not None:
            yield Measured(to, "closure_probability", "", start, p, None, "1")
        yield from _planar(to, "closure", start, part(closure, "offsets"))


def _planar(occasion: str, quantity: str, start: str, numbers: Part) -> Iterator[Measured]:
    for magnet, found in numbers.items():
        for axis in "xy":
            value = number(found, axis)
            if value is not None:
                yield Measured(occasion, f"{quantity}_{axis}", magnet, start, value, number(found, f"u_{axis}"), "m")


def _stringings(document: Part) -> Iterator[Measured]:
    """Changes of axes since the latest occasion before on which another wire was strung."""
    strung = {name: s for name in occasions_of(document) if (s := _stringing(part(document, "occasions"), name))}
    order = list(strung)
    chosen: dict[str, Part] = {}
    for c in parts(document, "comparisons"):
        start, to = str(c.get("from")), str(c.get("to"))
        if strung.get(start, strung.get(to)) == strung.get(to) or to not in strung:
            continue
        if to not in chosen or order.index(str(chosen[to].get("from"))) < order.index(start):
            chosen[to] = c
    for to, c in chosen.items():
        yield from _planar(to, "stringing_change", str(c.get("from")), part(c, "axis_changes"))


def _stringing(occasions: Part, name: str) -> str:
    """The stringing whose share the axes of an occasion carry, "" without a wire."""
    causes = [str(c.get("cause")) for a in part(part(occasions, name), "axes").values() for c in parts(a, "causes")]
    return next((c for c in causes if c.startswith("stringing:")), "")


def _health(occasion: str, found: Part) -> Iterator[Measured]:
    """What the instruments say about themselves."""
    survey, wire = part(found, "survey"), part(found, "wire")
    factor, dof = number(survey, "variance_factor"), number(survey, "dof")
    if factor is not None and dof:
        # the variance factor times its degrees of freedom follows chi-square, whose variance is 2 dof (derived)
        yield Measured(occasion, "survey_variance_factor", "", "", factor, factor * math.sqrt(2.0 / dof), "1")
    told = (
        (survey, "scale", "survey_scale", "u_scale", "1"),
        (wire, "f1_x", "wire_resonance_x", "", "Hz"),
        (wire, "f1_y", "wire_resonance_y", "", "Hz"),
        (wire, "sag", "wire_sag", "u_sag", "m"),
        (wire, "sensor_turn", "sensor_turn", "u_sensor_turn", "rad"),
    )
    for where, key, name, u, unit in told:
        value = number(where, key)
        if value is not None:
            yield Measured(occasion, name, "", "", value, number(where, u), unit)
    for where, name in ((survey, "survey_warnings"), (wire, "wire_warnings")):
        if gates := parts(where, "gates"):
            yield Measured(occasion, name, "", "", float(sum(g.get("ok") is False for g in gates)), None, "1")
