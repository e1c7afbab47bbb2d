"""Tolerances as they stand in our files: limits with their units, and the facts by which they are judged."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from monochord.campaign.given.tolerance import (
    BOTH,
    CONSUMERS,
    EACH_AXIS,
    FLEET,
    GAMMA,
    GUARD_BAND,
    NONE,
    NORMAL,
    RADIAL,
    RMS,
    SIMPLE_ACCEPTANCE,
    UNIFORM,
    PriorKnowledge,
    Tolerance,
)
from monochord.files.amounts import amount
from monochord.files.document import Node
from monochord.files.words import did_you_mean, listed
from monochord.ground.faults import Fault, Refused

#: What a tolerance can be for -> the kind of number its limit is.
TOLERATED = {"offset": "length", "own move": "length", "roll": "angle", "slope": "angle", "shift": "length"}

#: Keys that go with each law of a prior; all of them are needed.
LAW_KEYS = {
    NONE: (),
    NORMAL: ("mean", "sd"),
    UNIFORM: ("low", "high"),
    FLEET: ("values", "good_to"),
    GAMMA: ("shape", "scale"),
}

#: Facts that say how a value is judged, which a tolerance of the shift is not.
JUDGING = ("form", "sides", "lower", "rule", "risk", "whose", "prior")


def tolerance(node: Node, names: Sequence[str]) -> Tolerance:
    """One entry of ``tolerances``; Refused with all its faults, each at its key.

    names  of the items that may be meant
    """
    faults: list[Fault] = []

    def told(make: Callable[[], float]) -> float | None:
        try:
            return make()
        except Refused as refusal:
            faults.extend(refusal.faults)
            return None

    quantity = node.text("quantity")
    dimension = TOLERATED[quantity]
    limit = told(lambda: node.amount("limit", dimension))
    lower = told(lambda: node.amount("lower", dimension)) if "lower" in node else None
    risk = told(lambda: node.amount("risk", "ratio", 0.05))
    faults += _names(node, names) + _misfits(node, quantity)
    prior, wrong = _prior(node.node("prior"), dimension)
    faults += wrong
    if limit is not None:
        faults += _limits(node, limit, lower)
    if risk is not None and not 0.0 < risk < 0.5:
        faults.append(node.fault("risk", repr(node.text("risk")), "above 0 % and below 50 %", "such as '5 %'"))
    if faults or limit is None or risk is None:
        raise Refused(faults)
    return Tolerance(
        quantity,
        limit,
        node.texts("magnets"),
        node.text("form", EACH_AXIS),
        node.text("sides", BOTH),
        lower,
        node.text("rule", GUARD_BAND),
        risk,
        node.text("whose", CONSUMERS),
        prior,
    )


def _names(node: Node, names: Sequence[str]) -> list[Fault]:
    unknown = [name for name in node.texts("magnets") if name not in names]
    return [
        node.fault("magnets", repr(name), "the name of an item", f"{did_you_mean(name, names)}mend the name")
        for name in unknown
    ]


def _misfits(node: Node, quantity: str) -> list[Fault]:
    """Facts that do not go together."""
    form, sides = node.text("form", EACH_AXIS), node.text("sides", BOTH)
    if quantity == "shift":
        remedy = "a shift is not judged against limits; leave it out"
        return [
            node.fault(key, f"{key} with a shift", "limit and magnets only", remedy) for key in JUDGING if key in node
        ]
    faults = []
    if quantity == "roll" and form != EACH_AXIS:
        remedy = "rolls are judged one by one; leave form out"
        faults.append(node.fault("form", f"form {form!r} with a roll", repr(EACH_AXIS), remedy))
    if form in {RADIAL, RMS}:
        remedy = "a length has one limit; leave it out"
        extra = [key for key in ("sides", "lower") if key in node and (key, sides) != ("sides", BOTH)]
        faults += [node.fault(key, f"{key} with form {form!r}", "both sides alike", remedy) for key in extra]
    if sides != BOTH and "lower" in node:
        remedy = "give the one limit as limit, with its sign"
        faults.append(node.fault("lower", f"lower with sides {sides!r}", "one limit", remedy))
    if node.text("rule") == SIMPLE_ACCEPTANCE:
        remedy = "simple acceptance keeps no risk; leave it out, or take the guard band"
        keys = [key for key in ("risk", "whose") if key in node]
        faults += [node.fault(key, f"{key} with {SIMPLE_ACCEPTANCE}", f"no {key}", remedy) for key in keys]
    return faults


def _limits(node: Node, limit: float, lower: float | None) -> list[Fault]:
    if node.text("sides", BOTH) != BOTH:
        return []
    if lower is None:
        even = "a limit above 0, or a lower limit as well"
        return [] if limit > 0.0 else [node.fault("limit", repr(node.text("limit")), even, "mend the limit")]
    told = f"{node.text('lower')} to {node.text('limit')}"
    return [] if lower < limit else [node.fault("lower", told, "a lower limit below the limit", "mend one of them")]


def _prior(node: Node, dimension: str) -> tuple[PriorKnowledge, list[Fault]]:
    """What is known beforehand; numbers that make no law are faults at their keys."""
    law = node.text("law", NONE)
    wanted = LAW_KEYS[law]
    faults = [
        node.fault(
            key, f"key {key!r} with law {law!r}", listed(list(wanted)) or "no other key", "mend or remove the key"
        )
        for key in node
        if key != "law" and key not in wanted
    ]
    lacking = [key for key in wanted if key not in node]
    faults += [
        node.fault("", f"no key {key!r} with law {law!r}", listed(list(wanted)), f"add {key}") for key in lacking
    ]
    if faults:
        return PriorKnowledge(), faults
    try:
        prior = PriorKnowledge(
            law,
            node.amount("mean", dimension, 0.0),
            node.amount("sd", dimension, math.nan),
            node.amount("low", dimension, math.nan),
            node.amount("high", dimension, math.nan),
            tuple(_value(node, text, dimension) for text in node.texts("values")),
            node.amount("good_to", dimension, 0.0),
            node.number("shape", math.nan),
            node.amount("scale", dimension, math.nan),
        )
    except Refused as refusal:
        return PriorKnowledge(), list(refusal.faults)
    return prior, _law_faults(node, prior)


def _value(node: Node, text: str, dimension: str) -> float:
    try:
        return amount(text, dimension)
    except Refused as refusal:
        first = refusal.faults[0]
        raise Refused([node.fault("values", first.given, first.expected, first.remedy)]) from None


def _law_faults(node: Node, prior: PriorKnowledge) -> list[Fault]:
    faults = []
    for key, number in (("sd", prior.sd), ("scale", prior.scale)):
        if number <= 0.0:
            faults.append(node.fault(key, repr(node.text(key)), "above 0", "mend the spread"))
    if prior.low >= prior.high:
        told = f"{node.text('low')} to {node.text('high')}"
        faults.append(node.fault("high", told, "the lower end first", "mend one of them"))
    if prior.u < 0.0:
        faults.append(node.fault("good_to", repr(node.text("good_to")), "0 or above", "mend the uncertainty"))
    return faults
