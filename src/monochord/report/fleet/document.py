"""The closures of a fleet for programs: one strict JSON object, all lengths in metres."""

from __future__ import annotations

from collections.abc import Mapping

from monochord.campaign.found.fleet import FleetClosure, GirderClosure, MagnetMean
from monochord.report.facts import finite
from monochord.report.fleet.words import fleet_sentence

SCHEMA_NAME = "monochord-closure/1"


def fleet_document(found: FleetClosure, without: Mapping[str, str]) -> dict[str, object]:
    """Sentence, girders in time order, pooled numbers, evenness, scale, means by magnet, what does not count."""
    return {
        "schema": SCHEMA_NAME,
        "sentence": fleet_sentence(found),
        "risk": found.risk,
        "girders": [_girder(g) for g in found.girders],
        "pooled": {
            "chi_square": finite(found.chi_square),
            "dof": found.dof,
            "probability": finite(found.probability),
            "fails": found.fails,
        },
        "evenness": {
            "distance": finite(found.distance),
            "probability": finite(found.uniform_probability),
            "below_risk": found.below[0],
            "probability_of_so_many": finite(found.below[1]),
        },
        "scale": {
            "value": finite(found.scale),
            "low_95": finite(found.scale_low),
            "high_95": finite(found.scale_high),
            "proposed": finite(found.factor),
        },
        "magnets": [_mean(m, m in found.stands_out) for m in found.magnets],
        "heaviest": None
        if found.heaviest is None
        else {"campaign": found.heaviest[0], "probability_without_it": finite(found.heaviest[1])},
        "not_counted": dict(without),
    }


def _girder(one: GirderClosure) -> dict[str, object]:
    closure = one.closure
    return {
        "campaign": one.campaign,
        "girder": one.girder,
        "type": one.type_name,
        "since": one.since,
        "run": one.run,
        "from": one.start,
        "to": one.end,
        "chi_square": finite(closure.chi_square),
        "dof": closure.dof,
        "probability": finite(closure.probability),
        "offsets": {
            magnet: dict(zip(("x", "y", "u_x", "u_y"), map(finite, numbers), strict=True))
            for magnet, numbers in closure.offsets.items()
        },
        "words": closure.words,
    }


def _mean(mean: MagnetMean, stands_out: bool) -> dict[str, object]:
    return {
        "type": mean.type_name,
        "magnet": mean.magnet,
        "plane": mean.plane,
        "mean": finite(mean.mean),
        "u": finite(mean.u),
        "girders": mean.girders,
        "probability": finite(mean.probability),
        "stands_out": stands_out,
    }
