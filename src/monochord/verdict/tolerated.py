"""What a declared tolerance means for a judge: limits, the decision rule in words, and the prior as a law."""

from __future__ import annotations

from dataclasses import dataclass

from monochord.campaign.given.tolerance import (
    ALL_TOGETHER,
    BOTH,
    EACH_AXIS,
    FLEET,
    GAMMA,
    NORMAL,
    PRODUCERS,
    RADIAL,
    RMS,
    SIMPLE_ACCEPTANCE,
    UNIFORM,
    PriorKnowledge,
    Tolerance,
)
from monochord.ground.faults import Refused
from monochord.ground.statistics import student_quantile
from monochord.verdict.conformity import guard_factor, rule_words
from monochord.verdict.propagation_checks import wanted
from monochord.verdict.risk import Limits
from monochord.verdict.risk_guard import SIMPLE_WORDS, Rule, guarded, relaxed, simple_acceptance
from monochord.verdict.risk_priors import GammaPrior, NormalPrior, Prior, UniformPrior, fleet_prior


@dataclass(frozen=True, slots=True)
class Known:
    """A prior as a law, None when there is none, with the words for it and the reason where there is none."""

    law: Prior | None
    words: str
    why: str = ""


def prior_of(given: PriorKnowledge, unit: str = "um", factor: float = 1e6) -> Known:
    """The law of what is known beforehand; a fleet whose scatter its uncertainties explain has none, and says so.

    unit, factor  for the words, SI times factor

    >>> prior_of(PriorKnowledge("normal", mean=0.0, sd=12e-6)).words
    'normal, 0 ± 12 um'
    >>> prior_of(PriorKnowledge("fleet", values=(1e-6, -1e-6, 0.0), u=5e-6)).law is None
    True
    """

    def said(value: float) -> str:
        return f"{factor * value + 0.0:.4g}"

    if given.law == NORMAL:
        words = f"normal, {said(given.mean)} ± {said(given.sd)} {unit}"
        return Known(NormalPrior(given.mean, given.sd), words)
    if given.law == UNIFORM:
        return Known(
            UniformPrior(given.low, given.high), f"uniform from {said(given.low)} to {said(given.high)} {unit}"
        )
    if given.law == GAMMA:
        words = f"gamma of shape {given.shape:.4g} and scale {said(given.scale)} {unit}"
        return Known(GammaPrior(given.shape, given.scale), words)
    if given.law == FLEET:
        count = f"the fleet of {len(given.values)} values"
        try:
            law = fleet_prior(given.values, given.u)
        except Refused as refusal:
            fault = refusal.faults[0]
            return Known(None, f"{count}, which gives none", f"{fault.given}: {fault.remedy}")
        return Known(law, f"{count}, normal, {said(law.mean)} ± {said(law.u)} {unit}")
    return Known(None, "none", "no prior is declared")


def limits_of(tolerance: Tolerance) -> Limits:
    """Both limits of one component, infinite on a side that has none.

    >>> limits_of(Tolerance("offset", 30e-6, lower=-10e-6))
    Limits(lower=-1e-05, upper=3e-05)
    """
    return Limits(*tolerance.ends)


def checked(tolerance: Tolerance) -> Tolerance:
    """The tolerance, refused when its facts do not go together or one of its words is not known.

    >>> checked(Tolerance("offset", 30e-6, form="radial", sides="upper"))
    Traceback (most recent call last):
        ...
    monochord.ground.faults.Refused: given form 'radial' with sides 'upper'; expected both sides; \
a length has one limit, leave sides and lower out
    """
    wanted(
        0.0 < tolerance.risk < 0.5, f"risk {tolerance.risk:g}", "above 0 and below 0.5", "give 5 % as 0.05"
    )  # its half is simple acceptance
    if tolerance.form in {RADIAL, RMS}:
        even = tolerance.sides == BOTH and tolerance.lower is None
        told = f"form {tolerance.form!r} with sides {tolerance.sides!r}"
        wanted(even, told, "both sides", "a length has one limit, leave sides and lower out")
    return tolerance


def rule_of(tolerance: Tolerance, u: float, dof: float) -> Rule:
    """The decision rule for one component with its standard uncertainty.

    >>> rule_of(Tolerance("offset", 30e-6), 2e-6, float("inf")).words
    'guard band of 1.64 u on either side of the limit'
    """
    limits = limits_of(tolerance)
    if tolerance.rule == SIMPLE_ACCEPTANCE:
        return simple_acceptance(limits)
    factor = student_quantile(1.0 - tolerance.risk, dof)
    return relaxed(limits, u, factor) if tolerance.whose == PRODUCERS else guarded(limits, u, factor)


def words_of(tolerance: Tolerance) -> str:
    """The decision rule as people say it.

    >>> words_of(Tolerance("offset", 30e-6))
    'guard band of 1.64 u on either side of the limit (risk 5 %)'
    >>> words_of(Tolerance("offset", 30e-6, rule="simple acceptance"))
    'simple acceptance, no guard band: of those at the limit about half are wrongly accepted'
    """
    if tolerance.rule == SIMPLE_ACCEPTANCE:
        return SIMPLE_WORDS
    share, sure = f"{100.0 * tolerance.risk:g} %", f"{100.0 * (1.0 - tolerance.risk):g} %"
    if tolerance.whose == PRODUCERS:
        outside = f", guard band of {guard_factor(tolerance.risk):.2f} u outside the limit"
        band = outside if tolerance.form == EACH_AXIS else ""
        return f"accepted unless proven beyond the limit{band} (producer's risk {share}); what is accepted may be beyond it"
    if tolerance.form == EACH_AXIS:
        return rule_words(tolerance.risk)
    what = {
        RADIAL: "that x and y together lie within the circle",
        RMS: "that the root mean square keeps the limit",
        ALL_TOGETHER: "that all keep their limits at once",
    }[tolerance.form]
    return f"conforms where the probability {what} is {sure} or more (risk {share}), does not where that is refuted"


def by_words(tolerance: Tolerance) -> str:
    """Which tolerance a limit comes from, as people say it.

    >>> by_words(Tolerance("offset", 30e-6)), by_words(Tolerance("offset", 30e-6, form="radial"))
    ('tolerance of the offset', 'radial tolerance of the offset')
    """
    head = {RADIAL: "radial tolerance", RMS: "rms tolerance", ALL_TOGETHER: "tolerance, all together,"}
    return f"{head.get(tolerance.form, 'tolerance')} of the {tolerance.quantity}"


def told_limits(tolerance: Tolerance) -> tuple[float, float]:
    """Lower and upper limit for the record: of a length 0 and the limit, else those of a component."""
    return (0.0, tolerance.limit) if tolerance.form in {RADIAL, RMS} else tolerance.ends
