"""The chapters that a person reads first: verdict, what changed, and what to turn."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.campaign.found.axes import CommonLine
from monochord.campaign.found.comparison import Comparison
from monochord.campaign.found.plan import BoltPlan
from monochord.campaign.found.result import Result
from monochord.campaign.found.verdict import Verdict
from monochord.report import document_comparison, document_plan, document_verdict
from monochord.report.bolting import later_occasions
from monochord.report.cautions import ADVICE, cautions
from monochord.report.chapter import Box, Chapter, Section
from monochord.report.facts import by_weight
from monochord.report.figures.before_after import before_after_picture
from monochord.report.figures.bolts import bolts_picture
from monochord.report.figures.radial import radial_picture
from monochord.report.figures.shape import shape_picture
from monochord.report.figures.verdicts import verdicts_picture
from monochord.report.judged import Family, by_occasion, counts_words, quantity_words, rule_caution
from monochord.report.svg import Picture
from monochord.report.tables.comparison import (
    axis_changes_table,
    closure_table,
    comparison_gates,
    own_moves_table,
    said_table,
    shape_table,
    six_table,
    targets_moved_table,
)
from monochord.report.tables.plan import (
    cure_table,
    departures_table,
    loads_table,
    plan_gates,
    plan_offsets_table,
    turns_table,
)
from monochord.report.tables.shifts import shift_tables
from monochord.report.tables.verdicts import risks_table, two_limits_table, two_limits_words, verdicts_table
from monochord.report.words import listed, pretty

#: Verdicts of one occasion by family.
Groups = Sequence[tuple[Family, list[Verdict]]]


def verdict_chapter(result: Result) -> Chapter:
    """Every magnet against every limit, the latest occasion first, and why two limits may say different things."""
    lines = {o.name: o.line for o in result.occasions}
    sections = []
    for name, groups in by_occasion(result).items():
        sections += [_verdicts(result, name, family, found) for family, found in groups]
        line = lines.get(name)
        if line is not None and any(family.ident == "own-move" for family, _ in groups):
            sections.append(_two_limits(name, line, groups))
    return Chapter(
        "verdict",
        "Verdict",
        "Each value against its limit: conforms, does not conform, or cannot be decided with this uncertainty. "
        "The percentage is the probability that the true value lies within the limit.",
        tuple(sections) or (Section("No verdict", empty=f"Nothing was judged: {document_verdict.why_none(result)}."),),
    )


def _verdicts(result: Result, name: str, family: Family, found: list[Verdict]) -> Section:
    cautions = _cautions(found)
    risks = risks_table(name, family, found)
    return Section(
        f"{_capital(family.title)}, {name}",
        words=(f"{_capital(counts_words(found))}.", *(f"{_capital(words)}." for words in cautions)),
        pictures=_there(_picture(result, name, family, found)),
        tables=(verdicts_table(name, family, found), *([risks] if risks else [])),
    )


def _cautions(found: Sequence[Verdict]) -> list[str]:
    """What must be said of the rules, each with the quantities that it is for where it is not for all."""
    told: dict[str, list[str]] = {}
    for v in found:
        told.setdefault(rule_caution(v), []).append(quantity_words(v))
    return [
        f"{listed(dict.fromkeys(quantities))}, {words}" if len(told) > 1 else words
        for words, quantities in told.items()
        if words
    ]


def _picture(result: Result, name: str, family: Family, found: list[Verdict]) -> Picture | None:
    """Bars for single quantities, circles for x and y together, none for the girder as a whole."""
    if family.whole:
        return None
    if family.ident.endswith("radial"):
        return radial_picture(result, name, family, found)
    return verdicts_picture(name, family, found)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _two_limits(name: str, line: CommonLine, groups: Groups) -> Section:
    found = [v for _, group in groups for v in group]
    return Section(
        f"Why the line limit and the own-move limit may differ, {name}",
        words=two_limits_words(line),
        tables=(two_limits_table(name, line, found),),
    )


def comparison_chapter(result: Result) -> Chapter:
    """What changed between occasions: since the reference first, the latest first."""
    sections = tuple(_comparison(result, found) for found in by_weight(result))
    return Chapter(
        "changes",
        "What changed",
        "Between two occasions, with rigid motion, temperature and scale taken out: the girder's shape, magnets that moved "
        "by themselves, targets that moved by themselves.",
        sections or (Section("Nothing compared", empty=f"{_capital(document_comparison.NONE)}."),),
    )


#: How the shifts of a kind are spoken of.
SHIFTED = {"own move": "own moves", "axis": "axes"}


def _comparison(result: Result, found: Comparison) -> Section:
    return Section(
        f"From {found.start} to {found.end}",
        words=(found.sentence, *(pretty(f"{_capital(SHIFTED[s.of])} {s.words}.") for s in found.shifts)),
        pictures=_there(shape_picture(result, found)),
        tables=(
            shape_table(found),
            said_table(result, found),
            own_moves_table(result, found),
            *shift_tables(found),
            six_table(found),
            axis_changes_table(result, found),
            targets_moved_table(found),
            closure_table(found),
            comparison_gates(found),
        ),
    )


def _there(*pictures: Picture | None) -> tuple[Picture, ...]:
    return tuple(picture for picture in pictures if picture is not None)


def plan_chapter(result: Result) -> Chapter:
    """What to do at the feet first, what to turn, and what that cures; the latest plan first."""
    care = Box("Keep in mind", cautions(words for plan in result.plans for words in plan.cautions), "care")
    latest = result.plans[-1:]
    sections = tuple(_plan(result, plan, (care,) if plan in latest else ()) for plan in reversed(result.plans))
    return Chapter(
        "bolts",
        "Bolt plan",
        ADVICE,
        sections or (Section("No plan", empty=f"{_capital(document_plan.why_none(result))}."),),
    )


def _plan(result: Result, plan: BoltPlan, care: tuple[Box, ...]) -> Section:
    bolts = {bolt.name: bolt for bolt in result.campaign.girder.bolts}
    advances = {n: float(t) * bolts[n].thread_pitch for n, t in plan.turns.items() if n in bolts}
    return Section(
        f"{plan.at}, towards the shape of {plan.reference}",
        words=(plan.sentence,),
        boxes=(*_past(result, plan), _first(plan), *care),
        pictures=_there(bolts_picture(result, plan), before_after_picture(result, plan)),
        tables=(
            turns_table(plan, advances),
            cure_table(plan),
            loads_table(result, plan),
            plan_offsets_table(result, plan),
            departures_table(result, plan),
            plan_gates(plan),
        ),
    )


def _past(result: Result, plan: BoltPlan) -> tuple[Box, ...]:
    """A warning when the girder was looked at again after the plan's occasion: its turns may have been made."""
    later = later_occasions(result, plan)
    if not later:
        return ()
    words = f"After {plan.at} came {listed(later)}: these turns may have been made. Do not turn by this plan again."
    return (Box("A plan of the past, kept for the record", (words,), "care"),)


def _first(plan: BoltPlan) -> Box:
    """What comes before anything else: steps at the feet, or that nothing is to be turned."""
    if plan.first:
        return Box("FIRST, before any turn", plan.first, "first", numbered=True)
    if plan.do_nothing:
        return Box("Turn nothing", ("Turning would not better the girder enough to be worth it.",), "first")
    return Box("Before any turn", ("Every foot bears, so nothing comes before the turns.",), "first")
