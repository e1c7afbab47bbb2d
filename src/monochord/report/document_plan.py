"""Bolt plans in the result document."""

from __future__ import annotations

from monochord.campaign.found.plan import BoltPlan
from monochord.campaign.found.result import Result
from monochord.ground.estimate import Estimate
from monochord.report.entries import Part, Value, entry, gates_part, numbers_part, planar_part
from monochord.report.facts import finite, magnets_of

NO_OFFSET = "this magnet's offset from the common line is not known at this time"
NO_DEPARTURE = "this magnet's departure from the reference shape is not known"


def plans_part(result: Result) -> Part:
    """Every bolt plan that was made."""
    parts = [plan_part(result, plan) for plan in result.plans]
    return parts, {} if parts else {"plans": why_none(result)}


def why_none(result: Result) -> str:
    """Why a result has no bolt plan."""
    return "no bolt plan was made" if result.campaign.girder.bolts else "the girder's bolts are not described"


def plan_part(result: Result, plan: BoltPlan) -> dict[str, object]:
    """One plan: what to do first, what to turn, what it will and will not cure."""
    turns, no_turns = numbers_part(plan.turns)
    before, no_before = numbers_part(plan.loads_before)
    after, no_after = numbers_part(plan.loads_after)
    spread, no_spread = numbers_part(plan.u_loads_before)
    values: dict[str, Value] = {
        "at": plan.at,
        "reference": plan.reference,
        "turns": turns,
        "sense": dict(plan.senses),
        "first": list(plan.first),
        "loose": list(plan.loose),
        "offsets_before": _planar(result, plan.offsets_before, NO_OFFSET),
        "offsets_after": _planar(result, plan.offsets_after, NO_OFFSET),
        "shape_before": _planar(result, plan.shape_before, NO_DEPARTURE),
        "shape_after": _planar(result, plan.shape_after, NO_DEPARTURE),
        "left_before": finite(plan.left_before),
        "left_after": finite(plan.left_after),
        "left_after_95": finite(plan.left_after_95),
        "loads_before": before,
        "loads_after": after,
        "u_loads_before": spread,
        "curable_share": finite(plan.curable_share),
        "do_nothing": bool(plan.do_nothing),
        "gates": gates_part(plan.gates),
        "cautions": list(plan.cautions),
        "sentence": plan.sentence,
    }
    why = {
        "first": "no foot is loose, so nothing comes before the turns",
        "loose": "every foot bears",
        "curable_share": "there is nothing to cure",
        **dict.fromkeys(
            ("left_before", "left_after", "left_after_95"), "no departure from the reference shape is known"
        ),
    }
    nulls = {"turns": no_turns, "loads_before": no_before, "loads_after": no_after, "u_loads_before": no_spread}
    part = entry(values, why)
    told = {f"{key}.{name}": words for key, reasons in nulls.items() for name, words in reasons.items()}
    if told:
        reasons = part.get("reasons", {})
        part["reasons"] = {**(reasons if isinstance(reasons, dict) else {}), **told}
    return part


def _planar(result: Result, estimate: Estimate, why: str) -> dict[str, object]:
    return planar_part(estimate, magnets_of(result), why)
