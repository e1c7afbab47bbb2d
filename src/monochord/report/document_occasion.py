"""One occasion in the result document."""

from __future__ import annotations

from monochord.campaign.found.axes import Axis, CommonLine
from monochord.campaign.found.result import OccasionFinding, Result, WireFinding
from monochord.campaign.given.occasion import FootFinding, Occasion
from monochord.report.document_ride import NO_RIDE, ride_part
from monochord.report.document_survey import rejected_part, stations_part, survey_part, targets_part
from monochord.report.entries import Value, causes_part, entry, gates_part, known_part, matrix
from monochord.report.facts import axes_of, component, finite, given_of, magnets_of, offset_of

NO_WIRE = "the wire gave no axes on this occasion"
NOT_FELT = "nobody noted this foot on this occasion"


def occasion_part(result: Result, found: OccasionFinding) -> dict[str, object]:
    """Everything found on one occasion; parts that were not measured are empty with a reason."""
    given = given_of(result, found.name)
    no_wire = found.lacks.get("wire", NO_WIRE)
    no_survey = found.lacks.get("points", "no targets were adjusted on this occasion")
    survey = found.points
    values: dict[str, Value] = {
        "place": given.place if given else "",
        "axes": axes_part(result, found),
        "line": line_part(result, found),
        "targets": targets_part(result, survey),
        "rejected": rejected_part(survey) if survey else [],
        "stations": stations_part(survey) if survey else {},
        "survey": survey_part(survey) if survey else None,
        "feet": feet_part(result, given),
        "temperature": temperature_part(found),
        "wire": wire_part(found.wire) if found.wire else None,
        "ride": ride_part(found.ride) if found.ride else None,
        "lacks": [{"what": what, "why": why} for what, why in lacks_of(result, found)],
    }
    why = {"axes": no_wire, "wire": no_wire, "targets": no_survey, "stations": no_survey, "survey": no_survey}
    why["ride"] = NO_RIDE
    if not survey:
        why["rejected"] = no_survey
    return entry(values, why)


def lacks_of(result: Result, found: OccasionFinding) -> list[tuple[str, str]]:
    """What is missing on an occasion and why: found by the evaluation, then told when the files were read."""
    given = given_of(result, found.name)
    told = [("measured", words) for words in given.lacks] if given else []
    return [*found.lacks.items(), *told]


def axes_part(result: Result, found: OccasionFinding) -> dict[str, object]:
    """Axes of all magnets; a magnet without one stands there with nulls and the reason. Empty without a wire."""
    axes = axes_of(found)
    if not axes:
        return {}
    names = dict.fromkeys([*magnets_of(result), *axes])
    return {name: axis_part(axes[name]) if name in axes else _no_axis(found, name) for name in names}


def axis_part(axis: Axis) -> dict[str, object]:
    """One axis: centre, slopes, roll, covariance of what is known, corrections, gates, uncertainty by cause."""
    name = axis.magnet
    quantities = ("x", "y", "slope_x", "slope_y")
    labels, cov = known_part(axis.estimate, [f"{name}.{q}" for q in quantities])
    values: dict[str, Value] = {"frame": axis.frame}
    values |= {q: component(axis.estimate, f"{name}.{q}").value for q in ("x", "y")}
    values["z"] = finite(axis.z)
    values |= {q: component(axis.estimate, f"{name}.{q}").value for q in ("slope_x", "slope_y")}
    values |= {"roll": finite(axis.roll), "u_roll": finite(axis.u_roll), "labels": labels, "cov": cov}
    values |= {"x_with_remanence": finite(axis.remanence_x), "y_with_remanence": finite(axis.remanence_y)}
    values["corrections"] = [
        {"cause": c.cause, "x": finite(c.x), "y": finite(c.y), "u_x": finite(c.u_x), "u_y": finite(c.u_y)}
        for c in axis.corrections
    ]
    values["gates"] = gates_part(axis.gates)
    both = all(f"{name}.{q}" in axis.estimate.names for q in "xy")
    values["causes"] = causes_part(axis.estimate, f"{name}.x", f"{name}.y") if both else []
    return entry(values, reasons_of(axis))


def reasons_of(axis: Axis) -> dict[str, str]:
    """Quantity, as the document names it -> why it is not known."""
    told = dict(axis.unknown)
    remanence = told.get("remanence", "the field without current was not evaluated for this magnet")
    told.setdefault("x_with_remanence", told.get("remanence_x", remanence))
    told.setdefault("y_with_remanence", told.get("remanence_y", remanence))
    told.setdefault("u_roll", told.get("roll", "no uncertainty was given for the roll"))
    return told


def _no_axis(found: OccasionFinding, magnet: str) -> dict[str, object]:
    why = found.lacks.get(magnet, found.lacks.get(f"axes.{magnet}", "no axis was found for this magnet"))
    numbers = ("x", "y", "z", "slope_x", "slope_y", "roll", "u_roll", "x_with_remanence", "y_with_remanence")
    nulls: dict[str, Value] = dict.fromkeys(("frame", *numbers))
    lists: dict[str, Value] = {key: [] for key in ("labels", "cov", "corrections", "gates", "causes")}
    return entry(nulls | lists, dict.fromkeys([*nulls, "labels", "cov"], why))


def line_part(result: Result, found: OccasionFinding) -> dict[str, object]:
    """The rule in words and every magnet's offset; without a line the offsets are empty with a reason."""
    line = found.line
    if line is None:
        why = found.lacks.get("line", found.lacks.get("wire", NO_WIRE))
        rule = result.campaign.line_rule.words
        empty: dict[str, Value] = {"rule": rule, "evidence": None, "offsets": {}, "start": None, "slope": None}
        return entry(empty, dict.fromkeys(("evidence", "offsets", "start", "slope"), why))
    names = magnets_of(result)
    values: dict[str, Value] = {
        "rule": line.rule,
        "evidence": found.line_evidence,
        "offsets": {name: _offset(line, name) for name in names},
        "start": [finite(v) for v in line.start],
        "slope": [finite(v) for v in line.slope],
        "leverage": {name: finite(v) for name, v in line.leverage.items()},
        "labels": list(line.offsets.names),
        "cov": matrix(line.offsets.cov),
    }
    return entry(values, {})


def _offset(line: CommonLine, magnet: str) -> dict[str, object]:
    x, y = offset_of(line, magnet)
    numbers: dict[str, Value] = {"x": x.value, "y": y.value, "u_x": x.u, "u_y": y.u}
    named = f"{magnet}.x" in line.offsets.names and f"{magnet}.y" in line.offsets.names
    numbers["causes"] = causes_part(line.offsets, f"{magnet}.x", f"{magnet}.y") if named else []
    return entry(numbers, dict.fromkeys(numbers, "this magnet's centre is not part of the common line"))


def wire_part(wire: WireFinding) -> dict[str, object]:
    """What the wire itself said: fundamentals, sag, turn of the sensor pair, gates."""
    keys = ("f1_x", "f1_y", "sag", "u_sag", "sensor_turn", "u_sensor_turn")
    values: dict[str, Value] = {key: finite(getattr(wire, key)) for key in keys}
    why = dict.fromkeys(("sensor_turn", "u_sensor_turn"), "the turn of the sensor pair was not determined")
    return entry(values | {"gates": gates_part(wire.gates)}, why)


def feet_part(result: Result, given: Occasion | None) -> dict[str, object]:
    """Contact and load of every bolt of the girder, as the crew found them."""
    felt = {foot.bolt: foot for foot in given.feet} if given else {}
    names = dict.fromkeys([*(bolt.name for bolt in result.campaign.girder.bolts), *felt])
    return {name: _foot(felt.get(name)) for name in names}


def _foot(foot: FootFinding | None) -> dict[str, object]:
    if foot is None:
        return entry(dict.fromkeys(("state", "load", "u_load")), dict.fromkeys(("state", "load", "u_load"), NOT_FELT))
    values: dict[str, Value] = {"state": foot.state, "load": finite(foot.load), "u_load": finite(foot.u_load)}
    why = {"state": "contact was not noted", "load": "the load was not measured", "u_load": "no uncertainty is known"}
    return entry(values, why)


def temperature_part(found: OccasionFinding) -> dict[str, object]:
    """Mean of the girder [degC] and top minus bottom [K]."""
    told = found.temperature
    values: dict[str, Value] = {"mean": finite(told.mean), "top_minus_bottom": finite(told.top_minus_bottom)}
    return entry(values, dict.fromkeys(values, told.reason or "no temperature was noted"))
