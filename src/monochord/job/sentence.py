"""The whole in plain words, said before any table."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.campaign.found.comparison import Comparison
from monochord.campaign.found.plan import BoltPlan
from monochord.campaign.found.result import OccasionFinding
from monochord.campaign.found.verdict import CONFORMS, DOES_NOT_CONFORM, Verdict
from monochord.campaign.given.campaign import Campaign
from monochord.job.doubts import doubts
from monochord.report.judged import limit_words, rule_caution
from monochord.report.words import height_word, known, listed, micrometres, percent, pretty, side_word


def whole_sentence(
    campaign: Campaign,
    found: Sequence[OccasionFinding],
    changes: Sequence[Comparison],
    planned: Sequence[BoltPlan],
    judged: Sequence[Verdict],
) -> str:
    """What must be heard before all, the decision, what changed, what to do at the bolts, each occasion in short."""
    first = doubts(campaign, found, changes)
    said = [f"CHECK FIRST: {'. '.join(first)}."] if first else []
    said += [*_decided(found, judged), *_changed(campaign, changes), *_planned(planned)]
    said += [text for text in (_of_occasion(f) for f in found) if text]
    if not said:
        return f"Girder {campaign.girder.name}: nothing was measured yet that an axis or a target could be found from."
    enlarged = f"{campaign.budget_scale.words}; " if campaign.budget_scale else ""
    return pretty(f"Girder {campaign.girder.name}, {enlarged}" + " ".join(said))


#: What each kind of tolerance limits, as people say it.
LIMITED = {
    "offset": "offset from the common line",
    "own move": "own move on the girder since the reference",
    "roll": "roll",
    "slope": "slope",
}
FORMS = {
    "each axis": "",
    "radial": ", x and y together",
    "rms": ", root mean square over all magnets meant",
    "all together": ", every magnet and plane at once",
}


def _kind(found: Verdict) -> str:
    """The quantity that a verdict's tolerance limits."""
    return next((k for k in LIMITED if found.limit_by.endswith(f"of the {k}")), "offset")


def _decided(found: Sequence[OccasionFinding], judged: Sequence[Verdict]) -> list[str]:
    """The last occasion that was judged, one sentence a kind of limit, so that two statements stay apart."""
    judged_on = [f for f in found if any(v.occasion == f.name for v in judged)]
    if not judged_on:
        return []
    last = judged_on[-1]
    verdicts = [v for v in judged if v.occasion == last.name]
    kinds = dict.fromkeys(v.limit_by for v in verdicts)
    grouped = [[v for v in verdicts if v.limit_by == k] for k in kinds]
    said = [f"{_asked(last.name, g[0])}: {_outcome(g)}{_ruled(g)}." for g in grouped]
    return said + _both_hold(last, verdicts)


def _asked(occasion: str, found: Verdict) -> str:
    """What was judged on which occasion; a form other than each axis begins a sentence of its own."""
    kind, form = LIMITED[_kind(found)], FORMS[found.form]
    return f"{kind[:1].upper()}{kind[1:]}{form}, {occasion}" if form else f"{occasion}, {kind}"


def _ruled(verdicts: Sequence[Verdict]) -> str:
    """What must be said of a rule that accepts what is not proven within its limit."""
    return "".join(f" ({words})" for words in dict.fromkeys(rule_caution(v) for v in verdicts) if words)


def _outcome(verdicts: Sequence[Verdict]) -> str:
    first = verdicts[0]
    limits = {v.ends for v in verdicts}
    within = f" to {limit_words(first)}" if len(limits) == 1 else ""
    if not first.magnet:
        return "; ".join(_girder_words(v) for v in verdicts)
    failing = dict.fromkeys(v.magnet for v in verdicts if v.verdict == DOES_NOT_CONFORM)
    open_ = dict.fromkeys(v.magnet for v in verdicts if v.verdict not in {CONFORMS, DOES_NOT_CONFORM})
    unsure = [m for m in open_ if m not in failing]
    if not failing and not unsure:
        return f"every magnet conforms{within}"
    parts = [f"{listed(failing)} {'do' if len(failing) > 1 else 'does'} not conform{within}"] if failing else []
    parts += [f"{listed(unsure)} cannot be decided{within} with this uncertainty"] if unsure else []
    conforming = len({v.magnet for v in verdicts}) - len(failing) - len(unsure)
    parts += [f"the other {conforming} conform" if conforming > 1 else "the other one conforms"] if conforming else []
    return ", ".join(parts)


def _girder_words(found: Verdict) -> str:
    """A verdict on the girder as a whole."""
    chance = f", probability {percent(found.probability)} %" if known(found.probability) else ""
    if found.form == "rms":
        size = f"{micrometres(found.value, found.u).lstrip('+')} rms" if known(found.value) else "the root mean square"
        angle = _kind(found) in {"roll", "slope"}
        size = "the root mean square" if angle else size
        return f"{size} {found.verdict} to {limit_words(found)}{chance}"
    return f"the girder as a whole {found.verdict} to {limit_words(found)}{chance}"


def _both_hold(found: OccasionFinding, verdicts: Sequence[Verdict]) -> list[str]:
    """Why a magnet may lie on the refitted line and yet have moved too far on the girder."""
    failing = {v.magnet for v in verdicts if "own move" in v.limit_by and v.verdict == DOES_NOT_CONFORM and v.magnet}
    bad = {v.magnet for v in verdicts if "offset" in v.limit_by and v.verdict != CONFORMS}
    leverage = found.line.leverage if found.line else {}
    return [
        f"Both statements about {m} hold: the refitted line follows it by {leverage[m]:.2f} of its own position (leverage), "
        "while its own move is counted against the girder."
        for m in sorted(failing - bad)
        if leverage.get(m, 0.0) > 0.0
    ]


def _changed(campaign: Campaign, changes: Sequence[Comparison]) -> list[str]:
    return [_ended(f"From {c.sentence}") for c in changes if c.start == campaign.reference][-1:]


def _planned(planned: Sequence[BoltPlan]) -> list[str]:
    return [_ended(f"Bolts at {p.at}: {p.sentence}") for p in planned[-1:]]


def _ended(text: str) -> str:
    return text if text.endswith(".") else text + "."


def _of_occasion(found: OccasionFinding) -> str:
    parts = [*_line_words(found), *_wire_words(found), *_survey_words(found)]
    return f"{found.name}: {'; '.join(parts)}." if parts else ""


def _line_words(found: OccasionFinding) -> list[str]:
    if found.line is None:
        return []
    offsets = found.line.offsets
    worst = max(range(len(offsets.value)), key=lambda i: abs(offsets.value[i]))
    magnet, plane = offsets.names[worst].rsplit(".", 1)
    value, u = float(offsets.value[worst]), float(offsets.u[worst])
    side = side_word(value) if plane == "x" else height_word(value)
    where = f"{micrometres(abs(value), u).lstrip('+')} {side or 'off'} ({plane})"
    carried = "" if found.wire is not None else " (carried by the targets)"
    return [f"{len(offsets.value) // 2} axes{carried} about their common line, the farthest is {magnet}, {where}"]


#: Gates of a whole wire occasion that a reader must hear of before any number: the numbers may mean something else.
MUST_HEAR = ("sensor planes", "wire in tune", "wire ends")


def _wire_words(found: OccasionFinding) -> list[str]:
    return [g.message for g in found.wire.gates if not g.ok and g.name in MUST_HEAR] if found.wire else []


def _survey_words(found: OccasionFinding) -> list[str]:
    if found.points is None:
        return []
    words = [f"{len(found.points.names)} targets adjusted"]
    words += [f"sighting {r.station} to {r.target} is wrong ({r.kind}) and was left out" for r in found.points.rejected]
    words += [gate.message for gate in found.points.gates if not gate.ok]
    return words
