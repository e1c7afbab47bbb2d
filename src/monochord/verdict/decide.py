"""Every magnet of an occasion, and its whole girder, against every tolerance of the campaign."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from monochord.campaign.found.axes import Axis, CommonLine
from monochord.campaign.found.comparison import OwnMove
from monochord.campaign.found.verdict import Verdict
from monochord.campaign.given.tolerance import ALL_TOGETHER, EACH_AXIS, RADIAL, RMS, Tolerance
from monochord.ground.estimate import Estimate, stack
from monochord.ground.faults import Refused
from monochord.verdict.outcomes import Outcome, all_outcome, axis_outcome, radial_outcome, rms_outcome
from monochord.verdict.tolerated import Known, by_words, checked, prior_of, told_limits, words_of

#: Accepted risk of each decision, the default of ISO 14253-1:2017 (from memory).
RISK = 0.05

#: What the quantities of x and y together and of the whole girder begin with.
KINDS = {"offset": "offset", "own move": "own_move", "slope": "slope", "roll": "roll"}


@dataclass(frozen=True, eq=False, slots=True)
class Part:
    """One component that is judged: of a magnet, as a quantity, with the estimate that holds it under a name.

    evidence  what it rests on, or why it is not known
    """

    magnet: str
    quantity: str
    estimate: Estimate
    name: str
    evidence: str

    @property
    def known(self) -> tuple[float, float, float]:
        """Value, standard uncertainty and degrees of freedom; NaN when it is not known."""
        if self.name not in self.estimate.names:
            return math.nan, math.nan, math.inf
        one = self.estimate.pick([self.name])
        return float(one.value[0]), float(one.u[0]), one.dof


@dataclass(frozen=True, slots=True)
class Asked:
    """What is judged, by what, on which occasion; ``what`` stands before the rule in words."""

    occasion: str
    tolerance: Tolerance
    prior: Known
    what: str


def offset_verdicts(
    occasion: str, line: CommonLine, magnets: Sequence[str], tolerance: Tolerance, evidence: str
) -> list[Verdict]:
    """Offsets of the centres from the common line against one tolerance [m], in the form that it declares.

    >>> two = Estimate.of([3e-6, 4e-6], ["Q.x", "Q.y"], unit="m", frame="girder", causes={"n": 1e-12 * np.eye(2)})
    >>> line = CommonLine("a line", two, (0.0, 0.0), (0.0, 0.0), {})
    >>> [(v.quantity, v.verdict) for v in offset_verdicts("bench", line, ["Q"], Tolerance("offset", 6e-6), "wire")]
    [('x', 'conforms'), ('y', 'conforms')]
    >>> circle = Tolerance("offset", 6e-6, form="radial")
    >>> [(v.quantity, v.verdict) for v in offset_verdicts("bench", line, ["Q"], circle, "wire")]
    [('offset_radial', 'cannot be decided')]
    """
    parts = [
        Part(m, plane, line.offsets, f"{m}.{plane}", evidence) for m in _meant(magnets, tolerance) for plane in "xy"
    ]
    return _judged(parts, _asked(occasion, tolerance, f"{line.rule}; "))


def own_move_verdicts(
    occasion: str, moves: Iterable[OwnMove], magnets: Sequence[str], tolerance: Tolerance
) -> list[Verdict]:
    """Own moves since the reference occasion at the axis against one tolerance [m], in the form that it declares."""
    meant = set(_meant(magnets, tolerance))
    parts = [
        Part(move.magnet, f"own_move_{plane}", move.estimate, f"{move.magnet}.d{plane}", move.evidence)
        for move in moves
        if move.magnet in meant
        for plane in "xy"
    ]
    return _judged(parts, _asked(occasion, tolerance, "own move since the reference occasion, at the axis; "))


def angle_verdicts(occasion: str, axes: Iterable[Axis], tolerance: Tolerance) -> list[Verdict]:
    """Slopes (x and y) or rolls of the axes against one tolerance [rad]; what was not observed cannot be decided."""
    parts: list[Part] = []
    for axis in axes:
        if tolerance.magnets and axis.magnet not in tolerance.magnets:
            continue
        if tolerance.quantity == "roll":
            parts.append(Part(axis.magnet, "roll", _roll(axis), "roll", axis.unknown.get("roll", "wire")))
        else:
            parts += [
                Part(
                    axis.magnet, f"slope_{p}", axis.estimate, f"{axis.magnet}.slope_{p}",
                    axis.unknown.get(f"slope_{p}", "wire"),
                )
                for p in "xy"
            ]  # fmt: skip
    return _judged(parts, _asked(occasion, tolerance, ""))


def _meant(magnets: Sequence[str], tolerance: Tolerance) -> list[str]:
    return [m for m in magnets if not tolerance.magnets or m in tolerance.magnets]


def _roll(axis: Axis) -> Estimate:
    value, u = (math.nan if number is None else number for number in (axis.roll, axis.u_roll))
    # the spread of one number: kept exactly, so that its root gives u back
    return Estimate.of([value], ["roll"], unit="rad", frame=axis.frame, causes={"roll": np.array([[u**2]])})


def _asked(occasion: str, tolerance: Tolerance, what: str) -> Asked:
    angle = tolerance.quantity in {"roll", "slope"}
    prior = prior_of(tolerance.prior, "urad" if angle else "um")
    return Asked(occasion, checked(tolerance), prior, what)


def _judged(parts: Sequence[Part], asked: Asked) -> list[Verdict]:
    form = asked.tolerance.form
    if form == EACH_AXIS:
        return [_of_axis(part, asked) for part in parts]
    if form == RADIAL:
        return [_of_pair(list(pair), asked) for pair in zip(parts[::2], parts[1::2], strict=True)]
    return [_of_girder(parts, asked)] if parts else []


def _of_axis(part: Part, asked: Asked) -> Verdict:
    value, u, dof = part.known
    outcome = axis_outcome(value, u, asked.tolerance, asked.prior, dof=dof)
    return _verdict((part.magnet, part.quantity), outcome, asked, part.evidence)


def _of_pair(pair: Sequence[Part], asked: Asked) -> Verdict:
    quantity = f"{KINDS[asked.tolerance.quantity]}_{RADIAL}"
    place, evidence = (pair[0].magnet, quantity), "; ".join(dict.fromkeys(p.evidence for p in pair))
    lacking = _lacking(pair)
    if lacking:
        return _verdict(place, _none(), asked, lacking)
    both = pair[0].estimate.pick([p.name for p in pair])
    return _verdict(place, radial_outcome(both, asked.tolerance, asked.prior), asked, evidence)


def _of_girder(parts: Sequence[Part], asked: Asked) -> Verdict:
    """The root mean square, or all together, over the magnets meant: from their joint covariance."""
    form = asked.tolerance.form
    ending = {RMS: "rms", ALL_TOGETHER: "all"}[form]
    place = ("", f"{KINDS[asked.tolerance.quantity]}_{ending}")
    names = tuple(dict.fromkeys(p.magnet for p in parts))
    evidence, lacking = "; ".join(dict.fromkeys(p.evidence for p in parts)), _lacking(parts)
    try:
        joint = None if lacking else _joint(parts)
    except Refused as refusal:
        joint, lacking = None, f"the magnets' values do not share their causes consistently ({refusal.faults[0].given})"
    if joint is None:
        return replace(_verdict(place, _none(), asked, lacking), magnets=names)
    if form == RMS:
        return replace(
            _verdict(place, rms_outcome(joint, asked.tolerance, asked.prior), asked, evidence), magnets=names
        )
    outcome, weakest = all_outcome(joint, asked.tolerance, asked.prior)
    least = next(p for p in parts if p.name == weakest)
    told = f"{evidence}; the value is that of {least.magnet} {least.quantity}, which keeps its limits least surely"
    return replace(_verdict(place, outcome, asked, told), magnets=names)


def _joint(parts: Sequence[Part]) -> Estimate:
    """All components as one estimate; those of one estimate are picked from it, those of several are stacked."""
    if all(p.estimate is parts[0].estimate for p in parts):
        return parts[0].estimate.pick([p.name for p in parts])
    return stack([p.estimate.pick([p.name]) for p in parts])


def _lacking(parts: Sequence[Part]) -> str:
    """Which components are not known, and why; "" when all are."""
    lacking = [p for p in parts if not all(math.isfinite(n) for n in p.known[:2])]
    return "; ".join(f"{p.magnet} {p.quantity}: {p.evidence}" for p in lacking)


def _none() -> Outcome:
    return axis_outcome(math.nan, math.nan, Tolerance("offset", 1.0), Known(None, "", ""))


def _verdict(place: tuple[str, str], outcome: Outcome, asked: Asked, evidence: str) -> Verdict:
    tolerance = asked.tolerance
    known = math.isfinite(outcome.value) and math.isfinite(outcome.u)
    lower, upper = told_limits(tolerance)
    p = outcome.probability if outcome.posterior is None else outcome.posterior
    fleet = outcome.fleet
    return Verdict(
        occasion=asked.occasion,
        magnet=place[0],
        quantity=place[1],
        value=outcome.value,
        u=outcome.u,
        limit=tolerance.limit,
        rule=asked.what + words_of(tolerance),
        probability=outcome.probability,
        verdict=outcome.verdict,
        limit_by=by_words(tolerance),
        evidence=evidence if known else f"not known: {evidence}",
        guard=outcome.guard,
        lower=lower,
        upper=upper,
        form=tolerance.form,
        rule_name=tolerance.rule,
        risk=tolerance.risk,
        whose=tolerance.whose,
        prior=asked.prior.words,
        posterior=outcome.posterior,
        consumers_risk=1.0 - p if known else None,
        producers_risk=p if known else None,
        global_consumers_risk=fleet.consumer if fleet else None,
        global_producers_risk=fleet.producer if fleet else None,
        why_no_prior=outcome.why,
        dof=outcome.dof,
        magnets=tuple(tolerance.magnets) if place[0] == "" else (),
    )
