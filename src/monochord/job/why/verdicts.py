"""Verdicts: the value that is judged, how good it is, its limits, and what the declared rule makes of them.

Every formula judges again: it hands its lines to the very function that judged, with the tolerance's numbers replaced.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from monochord.campaign.found.verdict import Verdict
from monochord.campaign.given.tolerance import ALL_TOGETHER, EACH_AXIS, RADIAL, RMS, PriorKnowledge, Tolerance
from monochord.ground.estimate import Estimate
from monochord.ground.trace import Line, Place, Sum, pointer
from monochord.job.why.joint import Joint
from monochord.job.why.known import Known
from monochord.report.document_verdict import key_of, ordered, place_of
from monochord.verdict.outcomes import Outcome, all_outcome, axis_outcome, radial_outcome, rms_outcome
from monochord.verdict.tolerated import by_words, prior_of

#: Numbers of a law that is known beforehand.
PRIOR = {"normal": ("mean", "sd"), "uniform": ("low", "high"), "gamma": ("shape", "scale"), "fleet": ("u",), "none": ()}

#: Numbers of a verdict that the judging gives -> what they are.
GIVEN: dict[str, tuple[str, Callable[[Outcome], float | None]]] = {
    "offset": ("the value that is judged", lambda o: o.value),
    "u": ("its standard uncertainty", lambda o: o.u),
    "guard": ("half width of the guard band about the limit", lambda o: o.guard),
    "probability": ("probability that the true value lies within the limits, by this measurement", lambda o: o.probability),
    "posterior": ("the same, given what was known beforehand", lambda o: o.posterior),
    "consumers_risk": ("probability that it does not conform, should it be accepted", lambda o: 1.0 - _within(o)),
    "producers_risk": ("probability that it conforms, should it be rejected", lambda o: _within(o) + 0.0),
    "global_consumers_risk": (
        "part of all there may be that is accepted and does not conform", lambda o: o.fleet.consumer if o.fleet else None
    ),
    "global_producers_risk": (
        "part of all there may be that conforms and is not accepted", lambda o: o.fleet.producer if o.fleet else None
    ),
}  # fmt: skip


def _within(outcome: Outcome) -> float:
    return outcome.probability if outcome.posterior is None else outcome.posterior


@dataclass(frozen=True, slots=True)
class Judged:
    """A verdict with its tolerance, the tolerance's place in the document, and the components that are judged, by name."""

    verdict: Verdict
    tolerance: Tolerance
    place: int
    components: tuple[str, ...]

    @property
    def unit(self) -> str:
        """Unit of the value."""
        return "rad" if self.tolerance.quantity in ("roll", "slope") else "m"


def of_verdict(known: Known, keys: Sequence[str], part: str) -> Sum | None:
    """A number of a verdict; None for any other number."""
    if part or len(keys) != 5 or keys[0] != "verdicts":
        return None
    found = _found(known, keys)
    return None if found is None else _told(known, found, keys)


def _found(known: Known, keys: Sequence[str]) -> Judged | None:
    _, occasion, place, quantity, _ = keys
    taken: dict[str, int] = {}
    for verdict in ordered(known.result):
        if (verdict.occasion, place_of(known.result, verdict)) != (occasion, place):
            continue
        key = key_of(verdict)
        taken[key] = taken.get(key, 0) + 1
        if quantity == (key if taken[key] == 1 else f"{key}_{taken[key]}"):
            return _with_tolerance(known, verdict)
    return None


def _with_tolerance(known: Known, found: Verdict) -> Judged | None:
    for i, t in enumerate(known.result.campaign.tolerances):
        alike = (by_words(t), t.limit, t.rule, t.risk) == (found.limit_by, found.limit, found.rule_name, found.risk)
        if alike and (not t.magnets or not found.magnet or found.magnet in t.magnets):
            magnets = (found.magnet,) if found.magnet else found.magnets
            return Judged(found, t, i, tuple(_components(known, found, t, magnets)))
    return None


def _components(known: Known, found: Verdict, tolerance: Tolerance, magnets: Sequence[str]) -> list[str]:
    quantity, since = key_of(found), known.since_reference(found.occasion)
    planes = "xy" if tolerance.form != EACH_AXIS else quantity[-1:]
    if tolerance.quantity == "offset":
        return [pointer("occasions", found.occasion, "line", "offsets", m, p) for m in magnets for p in planes]
    if tolerance.quantity == "own move" and since is not None:
        return [pointer("comparisons", since[0], "own_moves", m, f"d{p}") for m in magnets for p in planes]
    if tolerance.quantity == "roll":
        return [pointer("occasions", found.occasion, "axes", m, "roll") for m in magnets]
    return [pointer("occasions", found.occasion, "axes", m, f"slope_{p}") for m in magnets for p in planes]


def _told(known: Known, found: Judged, keys: Sequence[str]) -> Sum | None:
    which = keys[-1]
    value, name = known.number(*keys), pointer(*keys)
    if which in ("limit", "lower", "upper", "risk"):
        return _declared(found, which, name, value)
    if which not in GIVEN or not found.components:
        return None
    words, pick = GIVEN[which]
    unit = found.unit if which in ("offset", "u", "guard") else "1"
    how = f"{words}; {found.verdict.rule}; evidence: {found.verdict.evidence}"
    if found.tolerance.form != EACH_AXIS:
        joint = Joint(known, found.components, _tolerated(found), lambda e, more: _again(pick(_joint(found, e, more))))
        return joint.told(name, unit, value, how)
    if which in ("offset", "u"):
        of = found.components[0] if which == "offset" else _uncertainty_of(found.components[0])
        return Sum(name, unit, value, (Line(words, value, of, unit=unit),), how)
    base = pointer(*keys[:-1])
    lines = (
        Line(
            "the value that is judged", found.verdict.value, f"{base}/offset", unit=unit if unit != "1" else found.unit
        ),
        Line("its standard uncertainty", found.verdict.u, f"{base}/u", unit=found.unit),
        *_tolerated(found),
    )
    return Sum(name, unit, value, lines, how, lambda a: _again(pick(_axis(found, a))))


def _again(number: float | None) -> float:
    return float("nan") if number is None else float(number)


def _uncertainty_of(component: str) -> str:
    above, _, last = component.rpartition("/")
    return f"{above}/u_{last}" if "/line/offsets/" in component or last == "roll" else f"{component}#u"


def _declared(found: Judged, which: str, name: str, value: float) -> Sum:
    of = pointer("tolerances", found.place, which)
    unit = "1" if which == "risk" else found.unit
    if which == "lower" and found.tolerance.form in (RADIAL, RMS):
        line = Line(
            "upper limit of the length, which ends at 0",
            0.0,
            of.replace("lower", "upper"),
            0.0,
            found.tolerance.limit,
            unit,
        )
        return Sum(name, unit, value, (line,), "a length is never below zero")
    line = Line(f"{which} of the tolerance of the {found.tolerance.quantity}", value, of, unit=unit)
    how = "as declared; of several limits on one quantity the one that is kept least surely is told"
    return Sum(name, unit, value, (line,), how)


def _tolerated(found: Judged) -> tuple[Line, ...]:
    """Limit, further limit, risk and what is known beforehand, as lines of a formula."""
    t, base = found.tolerance, pointer("tolerances", found.place)
    lines = [Line("limit", t.limit, f"{base}/limit", unit=found.unit)]
    if t.lower is not None:
        lines.append(Line("lower limit", t.lower, f"{base}/lower", unit=found.unit))
    lines.append(Line("accepted risk of a wrong decision", t.risk, f"{base}/risk", unit="1"))
    keys = PRIOR.get(t.prior.law, ())
    told = [(key, float(getattr(t.prior, key))) for key in keys]
    return (
        *lines,
        *(Line(f"{t.prior.law} law beforehand: {key}", v, f"{base}/prior/{key}", unit=found.unit) for key, v in told),
    )


def _replaced(found: Judged, more: Sequence[float]) -> Tolerance:
    """The tolerance with the numbers of its lines."""
    t, left = found.tolerance, list(more)
    limit = left.pop(0)
    lower = left.pop(0) if t.lower is not None else None
    risk = left.pop(0)
    keys = PRIOR.get(t.prior.law, ())
    known = dict(zip(keys, left, strict=True))
    numbers = {
        key: known.get(key, getattr(t.prior, key)) for key in ("mean", "sd", "low", "high", "u", "shape", "scale")
    }
    prior = PriorKnowledge(
        t.prior.law, numbers["mean"], numbers["sd"], numbers["low"], numbers["high"], t.prior.values, numbers["u"],
        numbers["shape"], numbers["scale"],
    )  # fmt: skip
    return replace(t, limit=limit, lower=lower, risk=risk, prior=prior)


def _axis(found: Judged, amounts: Sequence[float]) -> Outcome:
    tolerance = _replaced(found, amounts[2:])
    return axis_outcome(amounts[0], amounts[1], tolerance, prior_of(tolerance.prior), dof=found.verdict.dof)


def _joint(found: Judged, estimate: Estimate, more: Sequence[float]) -> Outcome:
    tolerance = _replaced(found, more)
    known = prior_of(tolerance.prior)
    if tolerance.form == RADIAL:
        return radial_outcome(estimate, tolerance, known)
    if tolerance.form == RMS:
        return rms_outcome(estimate, tolerance, known)
    assert tolerance.form == ALL_TOGETHER
    return all_outcome(estimate, tolerance, known)[0]


def of_tolerance(known: Known, keys: Sequence[str], part: str) -> Sum | None:
    """A number of a declared tolerance; None for any other number."""
    if part or len(keys) < 3 or keys[0] != "tolerances":
        return None
    t, which, value = known.result.campaign.tolerances[int(keys[1])], ".".join(keys[2:]), known.number(*keys)
    unit = "rad" if t.quantity in ("roll", "slope") else "m"
    if which == "risk":
        unit = "1"
    of = pointer("tolerances", keys[1], "limit")
    if which in ("lower", "upper") and not (which == "lower" and t.lower is not None):
        sign = -1.0 if value == -t.limit else 1.0
        line = Line("the limit", sign * t.limit, of, sign, t.limit, unit)
        return Sum(pointer(*keys), unit, value, (line,), f"limits on {t.sides} sides")
    places = (Place("", 0, f"tolerances.{keys[1]}.{which}"),)
    line = Line(f"tolerance of the {t.quantity}: {which}", value, unit=unit, places=places)
    return Sum(
        pointer(*keys), unit, value, (line,), "declared, or the default where the declaration says nothing of it"
    )
