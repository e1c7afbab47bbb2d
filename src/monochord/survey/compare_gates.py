"""What a comparison says about itself: whether the data are explained, and by what they could not be."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.campaign.found.axes import Gate
from monochord.campaign.found.comparison import Closure, OwnMove, TargetMove
from monochord.survey.compare_moves import Outcome
from monochord.survey.compare_search import UNEXPLAINED, Moved
from monochord.survey.compare_words import amount, listed

#: A common target fewer than this on one magnet leaves its own move to the clamps.
ENOUGH = 3


def scale_words(moved: Moved, told: Outcome) -> list[str]:
    """Words about a range scale that went wrong, none when none did."""
    if not any(h.kind == "range scale" for h in moved.freed):
        return []
    value, u = told.numbers["scale"]
    longer = "longer" if value > 0.0 else "shorter"
    words = f"the later survey reads distances {amount(value, u, unit='um/m')} {longer} than the earlier one"
    others = moved.rivals.get("range scale", ())
    return [f"{words}, or {listed(list(others))} moved instead" if others else words]


def all_gates(
    moved: Moved, moves: Sequence[OwnMove], targets: Sequence[TargetMove], more: Sequence[str], closure: Closure | None
) -> tuple[Gate, ...]:
    """Gates of one comparison; more  clauses about things that are no magnets, and about the range scale."""
    gates = [_explained(moved), _common(moved)]
    scale = [words for words in more if "reads distances" in words]
    agree = "the range scales of both surveys agree within their uncertainty"
    gates.append(Gate("range scale", not scale, "; ".join(scale) or agree))
    others = [words for words in more if words not in scale]
    if others:
        gates.append(Gate("other things stayed", False, "; ".join(others)))
    if targets:
        gates.append(Gate("targets stayed", False, "; ".join(t.words for t in targets)))
    unsure = [m.words for m in moves if m.found is None]
    if unsure:
        gates.append(Gate("moves told apart", False, "; ".join(unsure)))
    if closure is not None:
        gates.append(Gate("closure", closure.ok, closure.words))
    return tuple(gates)


def _explained(moved: Moved) -> Gate:
    """Whether rigid motion, shape, clamps and what was found to have moved leave no more than noise."""
    ok = moved.probability > UNEXPLAINED
    square = moved.fit.square_sum
    words = f"what is left has square sum {square:.0f} for {moved.dof:.0f} degrees of freedom (probability {moved.probability:.2g})"
    return Gate(
        "change explained", ok, words if ok else f"{words}: something moved that no single magnet or target explains"
    )


def _common(moved: Moved) -> Gate:
    """Whether every magnet that is compared has enough common targets."""
    change = moved.fit.model.change
    bodies = moved.fit.model.bodies
    few = [b for b in bodies if sum(c == b for c in change.carriers) < ENOUGH]
    words = f"{len(change.names)} common targets, {len({m for m, _ in change.axis_rows})} common axes"
    if few:
        words += f"; fewer than {ENOUGH} common targets on {listed(few)}: the clamps answer for part of their own moves"
    return Gate("common targets", not few, words)
