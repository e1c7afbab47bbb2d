"""Why a fit of a change gave a number: what each row of the change says of it, what was expected, and slips left open.

b^ = b0 + K (y - A b0), so a function f'b^ is the sum of (f'K)_i y_i over the rows and of (f - f'K A)_j b0_j over what was
expected; a slip left open adds its chance times what it would be. Weights K hold as the fit settled them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from monochord.ground.trace import Line, Place, Sum
from monochord.ground.trace_linear import Linear, Source, Teller, part_of, whole
from monochord.survey.compare_fit import Fit
from monochord.survey.compare_model import Model
from monochord.survey.compare_moves import SLIPS, OpenSlip, Outcome
from monochord.survey.compare_search import GONE_SHIFT, GONE_TURN, SLIP
from monochord.survey.network import Array

#: Parts of a slip, in words.
SLIPPED = ("to the left", "up", "roll")


@dataclass(frozen=True, eq=False, slots=True)
class Told:
    """One evaluation of a change, by all evidence or by targets alone.

    head     first part of the names of what belongs to it;  scope  that of the causes it made
    sources  rows of the change, those of targets first
    told     functions of its unknowns;  sought  the fit by which it was found what moved
    """

    head: str
    scope: str
    fit: Fit
    sought: Fit
    told: Outcome
    sources: Sequence[Source]

    def slip(self, body: str, what: str) -> str:
        """Name of the chance of a slip, or of one of its parts."""
        return part_of(self.head, "slip", body, what)


def linear(name: str, unit: str, value: float, row: Array, *, fit: Fit, sources: Sequence[Source]) -> Linear:
    """A function (p,) of the unknowns of a fit, as the sum over its rows and over what was expected."""
    factors = row @ fit.gain
    more = expected_lines(fit.model, row - factors @ fit.model.design)
    how = "what each row of the change says of it, by its weight in the fit, and what was expected beforehand"
    return Linear(name, unit, value, factors.tolist(), sources[: len(factors)], how, more)


def expected_lines(model: Model, follow: Array) -> tuple[Line, ...]:
    """What was expected of unknowns that were not expected to be zero, as a number follows (p,) it."""
    made = []
    start = 0
    for block in model.blocks:
        for k, value in enumerate(block.expected.tolist()):
            factor = float(follow[start + k])
            if value and factor:
                words, of, unit, places = _expected(block.kind, model, k)
                made.append(Line(words, factor * value, of, factor, value, unit, places))
        start += len(block.expected)
    return tuple(made)


def _expected(kind: str, model: Model, k: int) -> tuple[str, str, str, tuple[Place, ...]]:
    if kind == "stretch":
        return "growth expected from temperature", part_of("shape/stretch/size", "expected"), "1", ()
    if kind == "shape":
        name = model.basis.names[k]
        return (
            f"{name} expected from temperature",
            part_of("shape/thermal bow/size", "expected"),
            model.basis.units[k],
            (),
        )
    words = "magnets expected halfway between riding rigidly and giving way"
    return words, "", "1", (Place("", 0, "survey.compare_model.riding"),)


def told_number(by: Told, label: str, name: str, part: str) -> Sum:
    """A function that was told, by its label: its rows, what was expected, and slips left open."""
    i = by.told.estimate.index(label)
    unit = by.told.estimate.labels[i].unit
    value = float(by.told.estimate.value[i])
    open_slips = {b: s for b, s in by.told.slips.items() if s.follow[i].any()}
    for body in open_slips:
        if f"#{part}" == part_of("", "slip", body):
            return _slip_part(by, body, i, name)
    base = linear(name, unit, value, by.told.whole[i], fit=by.fit, sources=by.sources)
    slipped = tuple(
        Line(f"slip of {body} left open", _brought(slip, i), part_of(name, "slip", body))
        for body, slip in open_slips.items()
    )
    return Linear(name, unit, value, base.factors, base.sources, base.how, (*base.more, *slipped)).tell(part)


def _brought(slip: OpenSlip, i: int) -> float:
    return float(slip.chance * (slip.follow[i] @ slip.gone))


def _slip_part(by: Told, body: str, i: int, name: str) -> Sum:
    slip, unit = by.told.slips[body], by.told.estimate.labels[i].unit
    lines = [Line(f"chance that {body} slipped", slip.chance, by.slip(body, "chance"))]
    for k, words in enumerate(SLIPPED):
        factor, given = float(slip.follow[i, k]), float(slip.gone[k])
        what = f"slip of {body} if it happened, {words}"
        lines.append(Line(what, factor * given, by.slip(body, str(k)), factor, given, "rad" if k == 2 else "m"))
    how = "the chance of a slip that the data leave open, times what the number would change by if it happened"
    value = _brought(slip, i)
    return Sum(part_of(name, "slip", body), unit, value, tuple(lines), how, lambda v: v[0] * (v[1] + v[2] + v[3]))


def slip_tellers(by: Told) -> dict[str, Teller]:
    """Tellers of the chance and the parts of every slip that was left open."""
    table: dict[str, Teller] = {}
    for body, slip in by.told.slips.items():
        table[by.slip(body, "chance")] = whole(partial(_chance, by, body, slip))
        for k in range(3):
            table[by.slip(body, str(k))] = partial(_gone, by, body, slip, k)
    return table


def _chance(by: Told, body: str, slip: OpenSlip) -> Sum:
    unit = np.array([GONE_SHIFT, GONE_SHIFT, GONE_TURN])
    scaled = slip.spread / np.outer(unit, unit)
    size = float(np.linalg.slogdet(scaled)[1])
    gone = [
        Line(f"slip if it happened, {words}", float(slip.gone[k]), by.slip(body, str(k)))
        for k, words in enumerate(SLIPPED)
    ]
    before = Line("chance before anything is measured", SLIPS, places=(Place("", 0, "survey.compare_moves.SLIPS"),))

    def again(amounts: Sequence[float]) -> float:
        here = np.array(amounts[1:]) / unit
        told = 0.5 * (float(here @ np.linalg.solve(scaled, here)) + size)
        odds = float(np.exp(min(told, 500.0)))
        return amounts[0] * odds / (amounts[0] * odds + 1.0 - amounts[0])

    how = (
        f"how much likelier the data are if {body} slipped, with the slip and the covariance that the data then give it"
    )
    return Sum(by.slip(body, "chance"), "1", slip.chance, (before, *gone), how, again)


def _gone(by: Told, body: str, slip: OpenSlip, k: int, part: str) -> Sum:
    model = by.fit.model
    block = next(b for b in model.blocks if b.kind == "clamp" and b.name == body)
    factors = (slip.spread @ block.design[:, list(SLIP)].T @ by.fit.weight)[k]
    more = expected_lines(model, -(factors @ model.design))
    how = "what each row of the change says of a slip, by its weight once the slip is taken to have happened"
    unit = "rad" if k == 2 else "m"
    name = by.slip(body, str(k))
    return Linear(name, unit, float(slip.gone[k]), factors.tolist(), by.sources[: len(factors)], how, more).tell(part)
