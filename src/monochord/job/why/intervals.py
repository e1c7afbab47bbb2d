"""Ends of the 95 % interval of an own move: quantiles of one normal law, or of two where a slip is left open."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.campaign.found.comparison import OwnMove
from monochord.ground.mixture import TwoNormals
from monochord.ground.trace import Line, Sum, pointer
from monochord.job.why.known import Known

LEVEL = 0.95


def of_interval(known: Known, keys: Sequence[str], part: str) -> Sum | None:
    """An end of an interval of an own move; None for any other number."""
    if part or len(keys) != 7 or keys[0] != "comparisons" or keys[4] != "interval_95":
        return None
    _, place, which, magnet, _, component, end = keys
    change = known.result.comparisons[int(place)]
    moves = change.own_moves if which == "own_moves" else change.own_moves_from_targets
    move = next((m for m in moves if m.magnet == magnet), None)
    if move is None:
        return None
    base = pointer("comparisons", place, which, magnet, component)
    k = ("dx", "dy").index(component)
    lines = (
        Line("own move", float(move.estimate.value[k]), base, unit="m"),
        Line("its standard uncertainty", float(move.estimate.u[k]), f"{base}#u", unit="m"),
        *(
            _slip(move, k, base, pointer("comparisons", place, which) + "#slip" + pointer(magnet, "chance"))
            if move.laws
            else ()
        ),
    )
    how = f"the value below which {'2.5' if end == '0' else '97.5'} % of the chance lies"
    if move.laws:
        how += "; with its chance the magnet slipped, which moves the value and widens it, else it stayed"
    return Sum(pointer(*keys), "m", known.number(*keys), lines, how, lambda amounts: _end(amounts, int(end)))


def _slip(move: OwnMove, k: int, base: str, chance: str) -> tuple[Line, ...]:
    (cause,) = (c for c in move.estimate.factors if c.startswith(f"unnoticed slip of {move.magnet}:"))
    law, own = move.laws[k], move.estimate.shares(f"{move.magnet}.d{'xy'[k]}")[cause]
    brought = law.chance * (law.other - law.value)
    return (
        Line("chance that it slipped", law.chance, chance, unit="1"),
        Line(
            "what the slip brings to the value, times its chance",
            brought,
            f"{base}#slip{pointer(move.magnet)}",
            unit="m",
        ),
        Line("what the open slip brings to the variance", own, f"{base}#cause {cause}", unit="m2"),
    )


def _end(amounts: Sequence[float], end: int) -> float:
    """An end again from value, u and, of an open slip, its chance and what it brings to value and variance."""
    value, u = amounts[:2]
    law = TwoNormals(0.0, value, u, value, u)
    if len(amounts) > 2:
        chance, brought, own = amounts[2:]
        away = brought / chance
        spread = max(own / chance - (1.0 - chance) * away**2, 0.0)
        held = max(u**2 - own, 0.0)
        law = TwoNormals(chance, value - brought, held**0.5, value - brought + away, (held + spread) ** 0.5)
    return law.interval(LEVEL)[end]
