"""Every magnet of an occasion against every tolerance of the campaign."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from monochord.campaign.found.axes import Axis, CommonLine
from monochord.campaign.found.comparison import OwnMove
from monochord.campaign.found.verdict import CANNOT_BE_DECIDED, Verdict
from monochord.campaign.given.campaign import Tolerance
from monochord.ground.estimate import Estimate
from monochord.verdict.conformity import guard_factor, judge, probability_within, rule_words

#: Accepted risk of each decision, the default of ISO 14253-1:2017 (from memory).
RISK = 0.05


def offset_verdicts(
    occasion: str, line: CommonLine, magnets: Sequence[str], tolerance: Tolerance, evidence: str, *, risk: float = RISK
) -> list[Verdict]:
    """Offsets of the centres from the common line, x and y each, against one tolerance [m]."""
    components = [(m, plane) for m in _meant(magnets, tolerance) for plane in "xy"]
    return [
        _verdict(
            occasion,
            m,
            plane,
            _part(line.offsets, f"{m}.{plane}"),
            tolerance,
            what=f"{line.rule}; ",
            evidence=evidence,
            risk=risk,
        )
        for m, plane in components
    ]


def own_move_verdicts(
    occasion: str, moves: Iterable[OwnMove], magnets: Sequence[str], tolerance: Tolerance, *, risk: float = RISK
) -> list[Verdict]:
    """Own moves since the reference occasion, x and y each at the axis, against one tolerance [m]."""
    meant = set(_meant(magnets, tolerance))
    return [
        _verdict(
            occasion, move.magnet, f"own_move_{plane}", _part(move.estimate, f"{move.magnet}.d{plane}"), tolerance,
            what="own move since the reference occasion, at the axis; ", evidence=move.evidence, risk=risk,
        )
        for move in moves
        if move.magnet in meant
        for plane in "xy"
    ]  # fmt: skip


def angle_verdicts(occasion: str, axes: Iterable[Axis], tolerance: Tolerance, *, risk: float = RISK) -> list[Verdict]:
    """Slopes (x and y) or rolls of the axes against one tolerance [rad]; what was not observed cannot be decided."""
    found: list[Verdict] = []
    for axis in axes:
        if tolerance.magnets and axis.magnet not in tolerance.magnets:
            continue
        if tolerance.quantity == "roll":
            parts = {"roll": (_or_nan(axis.roll), _or_nan(axis.u_roll))}
        else:
            parts = {f"slope_{p}": _part(axis.estimate, f"{axis.magnet}.slope_{p}") for p in "xy"}
        for quantity, part in parts.items():
            why = axis.unknown.get(quantity, "")
            found.append(
                _verdict(occasion, axis.magnet, quantity, part, tolerance, what="", evidence=why or "wire", risk=risk)
            )
    return found


def _meant(magnets: Sequence[str], tolerance: Tolerance) -> list[str]:
    return [m for m in magnets if not tolerance.magnets or m in tolerance.magnets]


def _part(estimate: Estimate, name: str) -> tuple[float, float]:
    if name not in estimate.names:
        return math.nan, math.nan
    one = estimate.pick([name])
    return float(one.value[0]), float(one.u[0])


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value


def _verdict(
    occasion: str, magnet: str, quantity: str, part: tuple[float, float], tolerance: Tolerance,
    *, what: str, evidence: str, risk: float,
) -> Verdict:  # fmt: skip
    value, u = part
    known = math.isfinite(value) and math.isfinite(u)
    return Verdict(
        occasion=occasion,
        magnet=magnet,
        quantity=quantity,
        value=value,
        u=u,
        limit=tolerance.limit,
        rule=what + rule_words(risk),
        probability=probability_within(value, u, tolerance.limit) if known else math.nan,
        verdict=judge(value, u, tolerance.limit, risk=risk) if known else CANNOT_BE_DECIDED,
        limit_by=f"tolerance of the {tolerance.quantity}",
        evidence=evidence if known else f"not known: {evidence}",
        guard=guard_factor(risk) * u if known else math.nan,
    )
