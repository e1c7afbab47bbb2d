"""The small tables of an occasion: feet, temperatures, turns and the ride logger."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from monochord.campaign.given.occasion import FootFinding, RideSample, TemperatureReading, Turn
from monochord.campaign.given.ride import RideLogger
from monochord.files.columns import Rows
from monochord.files.lab import Lab
from monochord.files.names import hint
from monochord.files.words import listed
from monochord.ground.faults import Fault, Gatherer

#: Temperatures between which a girder is surveyed [degC].
COLDEST, HOTTEST = -30.0, 60.0

#: So many temperatures that all lie so near zero are more likely differences from a reference [degC].
_FEWEST_SENSORS, _NEAR_ZERO = 3, 2.0

#: Turns beyond which a unit is likely wrong.
MOST_TURNS = 20.0


def feet(rows: Rows, lab: Lab, bolts: Iterable[str], faults: Gatherer) -> list[FootFinding]:
    """What was found at the feet; an unknown or repeated bolt is a fault."""
    _check_bolts(rows, bolts, faults)
    ratio = lab.root.node("tables").node("feet").amount("load_good_to", "ratio", math.nan)
    states = rows.text.get("state", [""] * len(rows))
    found = []
    for row, (bolt, state) in enumerate(zip(rows.text["bolt"], states, strict=True)):
        load = rows.known("load", row)
        u = None if load is None or math.isnan(ratio) else ratio * abs(load)
        felt = None if state in ("", "unknown") else state
        found.append(FootFinding(bolt, felt, load, u, rows.file, rows.lines[row]))
    return found


def turns(rows: Rows, bolts: Iterable[str], faults: Gatherer) -> list[Turn]:
    """The turns that were made; an unknown or repeated bolt, or a turn beyond reason, is a fault."""
    _check_bolts(rows, bolts, faults)
    found = [Turn(b, t) for b, t in zip(rows.text["bolt"], rows.number["turns"].tolist(), strict=True)]
    for turn, line in zip(found, rows.lines, strict=True):
        if abs(turn.turns) > MOST_TURNS:
            given = f"{turn.turns:g} turns at {turn.bolt}"
            remedy = "look for a wrong unit (degrees, mm)"
            column = rows.names["turns"]
            faults.add(given, f"at most {MOST_TURNS:g}", remedy, file=rows.file, line=line, column=column)
    return found


def _check_bolts(rows: Rows, bolts: Iterable[str], faults: Gatherer) -> None:
    known = list(bolts)
    first: dict[str, int] = {}
    for bolt, line in zip(rows.text["bolt"], rows.lines, strict=True):
        column = rows.names["bolt"]
        if bolt not in known:
            remedy = f"{hint(bolt, known)}mend the name, or add the bolt to the table of bolts"
            expected = f"one of {listed(known)}" if known else "a bolt of the girder, which has none"
            faults.add(f"bolt {bolt!r}", expected, remedy, file=rows.file, line=line, column=column)
        elif bolt in first:
            remedy = f"remove one of them; the first stands in line {first[bolt]}"
            faults.add(f"bolt {bolt!r} twice", "once", remedy, file=rows.file, line=line, column=column)
        first.setdefault(bolt, line)


def temperatures(rows: Rows, lab: Lab, faults: Gatherer) -> list[TemperatureReading]:
    """Contact sensors on the girder; a temperature beyond reason is a fault."""
    u = lab.root.node("tables").node("temperatures").amount("good_to", "temperature difference")
    found = []
    places, values = lab.axes.points(rows).tolist(), rows.number["temperature"].tolist()
    for sensor, (x, y, z), value, line in zip(rows.text["sensor"], places, values, rows.lines, strict=True):
        found.append(TemperatureReading(sensor, (x, y, z), value, u, rows.file, line))
        _plausible(rows, value, line, faults)
    return found


def differences(readings: Sequence[TemperatureReading], file: str) -> list[Fault]:
    """A note where temperatures look like differences from a reference: all of several lie near zero.

    >>> differences([], "t.csv")
    []
    """
    values = [r.value for r in readings]
    if len(values) < _FEWEST_SENSORS or max(map(abs, values)) >= _NEAR_ZERO:
        return []
    given = f"{len(values)} temperatures from {min(values):.4g} to {max(values):.4g} degC"
    remedy = "taken as temperatures; if they are differences from a reference, add it to them in the file"
    return [Fault(given, "temperatures of a hall or a tunnel", remedy, file, readings[0].line)]


def _plausible(rows: Rows, value: float, line: int, faults: Gatherer) -> None:
    if not COLDEST <= value <= HOTTEST:
        remedy = "look for a wrong unit (degF, K) or a marker for no reading, which the lab description can declare"
        expected = f"{COLDEST:g} to {HOTTEST:g} degC"
        column = rows.names["temperature"]
        faults.add(f"{value:.6g} degC", expected, remedy, file=rows.file, line=line, column=column)


def ride(rows: Rows, lab: Lab) -> list[RideSample]:
    """The ride logger's windows, in the order of the file."""
    if not len(rows):
        return []
    times = rows.number["time"]
    since = (times - times[0]).tolist()
    shocks = lab.axes.points(rows).tolist()
    warm = rows.known_all("temperature")
    return [
        RideSample(t, (x, y, z), w, rows.file, line)
        for t, (x, y, z), w, line in zip(since, shocks, warm, rows.lines, strict=True)
    ]


def ride_logger(lab: Lab, file: str) -> RideLogger:
    """What the numbers of the ride logger are, as the lab description says; file  where they stand."""
    node = lab.root.node("tables").node("ride")

    def told(key: str, dimension: str) -> float | None:
        return node.amount(key, dimension) if key in node else None

    return RideLogger(
        node.text("kind"),
        told("window", "time"),
        told("threshold", "acceleration"),
        told("full_scale", "acceleration"),
        node.text("gravity"),
        told("limit", "acceleration"),
        node.number("crest_factor", 0.0) or None,
        told("coldest", "temperature"),
        told("hottest", "temperature"),
        file,
    )
