"""Numbers that rest on what was given alone: temperatures, feet, tolerances, a magnet's place."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monochord.campaign.given.occasion import FootFinding, Occasion, TemperatureReading
from monochord.ground.trace import Line, Place, Sum, pointer
from monochord.job.why.known import Known
from monochord.report.facts import given_of


def of_given(known: Known, keys: Sequence[str], part: str) -> Sum | None:
    """A number that stands in a file, or a mean of such; None for any other number."""
    if part:
        return None
    match tuple(keys):
        case ("occasions", o, "temperature", ("mean" | "top_minus_bottom") as which):
            given = given_of(known.result, o)
            return _temperature(known, given, which) if given is not None else None
        case ("occasions", o, "feet", bolt, ("load" | "u_load") as which):
            given = given_of(known.result, o)
            felt = next((f for f in given.feet if f.bolt == bolt), None) if given else None
            return _foot(felt, pointer(*keys), which) if felt is not None else None
        case ("budget_scale", ("factor" | "girders") as which):
            value = known.number(*keys)
            place = (Place("campaign.toml", 0, f"budget_scale.{which}"),)
            line = Line("as it was written into the campaign", value, unit="1", places=place)
            return Sum(pointer(*keys), "1", value, (line,), "from the closure of a fleet")
        case ("occasions", _, "axes", magnet, "z"):
            place = (Place("", 0, f"items.{magnet}.z"),)
            value = known.number(*keys)
            line = Line(f"place of the middle of {magnet} along the beam", value, unit="m", places=place)
            return Sum(pointer(*keys), "m", value, (line,), "given with the girder")
    return None


def _temperature(known: Known, given: Occasion, which: str) -> Sum:
    name = pointer("occasions", given.name, "temperature", which)
    value = known.number("occasions", given.name, "temperature", which)
    if not given.temperatures:
        place = (Place("", 0, f"occasions.{given.name}.temperature"),)
        line = Line("one temperature for the whole girder", value, unit="degC", places=place)
        return Sum(name, "degC", value, (line,), "given by hand; no sensor was read")
    heights = np.array([r.point[1] for r in given.temperatures])
    top = heights > 0.5 * (heights.min() + heights.max())
    share = 1.0 if which == "top_minus_bottom" else 0.5
    factors = np.where(top, share / max(top.sum(), 1), -share / max((~top).sum(), 1))
    if which == "mean":
        factors = np.abs(factors) if top.any() else np.full(len(top), 1.0 / len(top))
    unit, where = ("degC", "the mean of top and bottom") if which == "mean" else ("K", "top minus bottom")
    lines = tuple(
        _sensor(reading, float(f), "top" if up else "bottom")
        for reading, f, up in zip(given.temperatures, factors, top, strict=True)
    )
    return Sum(name, unit, value, lines, f"{where}, the sensors of each side averaged first")


def _sensor(reading: TemperatureReading, factor: float, side: str) -> Line:
    places = (Place(reading.file, reading.line, "temperature"),)
    return Line(f"sensor {reading.sensor}, {side}", factor * reading.value, "", factor, reading.value, "degC", places)


def _foot(felt: FootFinding, name: str, which: str) -> Sum | None:
    places = (Place(felt.file, felt.line, "load"),)
    if which == "load" and felt.load is not None:
        line = Line(f"load that was read at {felt.bolt}", felt.load, "", 1.0, felt.load, "N", places)
        return Sum(name, "N", felt.load, (line,), "as it was read")
    if felt.load is None or felt.u_load is None or felt.load == 0.0:
        return None
    ratio = felt.u_load / abs(felt.load)
    lines = (
        Line(f"load that was read at {felt.bolt}", felt.load, name.removesuffix("u_load") + "load", unit="N"),
        Line(
            "how good a load is, as a part of it",
            ratio,
            unit="1",
            places=(Place("", 0, "lab.tables.feet.load_good_to"),),
        ),
    )
    return Sum(name, "N", felt.u_load, lines, "a declared part of the load", lambda a: abs(a[0]) * a[1])
