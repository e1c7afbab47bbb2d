"""Evaluate a campaign: every occasion, from its readings to axes, targets and offsets.

Nothing here computes; it hands the records of one room to the next and keeps the reasons for what
could not be done.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monochord.campaign.found.axes import Axis, CommonLine, Move
from monochord.campaign.found.comparison import Comparison
from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import OccasionFinding, Result, WireFinding
from monochord.campaign.given.campaign import Campaign
from monochord.campaign.given.occasion import Occasion
from monochord.campaign.origin import Origin
from monochord.girder.ride import ride_finding
from monochord.girder.temperature import temperature_of
from monochord.ground.faults import MonochordError, Undetermined
from monochord.job.budgets import budgets
from monochord.job.changes import Found, carried_axes, comparisons, plans
from monochord.job.context import Context
from monochord.job.faults import Notes, as_faults
from monochord.job.scales import with_scales
from monochord.job.sentence import whole_sentence
from monochord.job.set_aside import asides
from monochord.job.signs import sign_checks
from monochord.job.verdicts import verdicts
from monochord.job.widen import said, widened_line, widened_plans
from monochord.report.words import offset_words
from monochord.survey.ends import up_direction, wire_ends
from monochord.survey.points import adjust_survey
from monochord.verdict.line import Line, common_line, fit_line, known, weights_of
from monochord.verdict.moves import moves_onto
from monochord.wire.axes import find_axes
from monochord.wire.place import place_axes
from monochord.wire.signal import reduce_scan, reduce_sweep


def evaluate(campaign: Campaign, context: Context) -> Result:
    """Everything that the campaign's readings give, with reasons for what they do not give."""
    notes: Notes = []
    points = with_scales(campaign, _surveys(campaign, context, notes))
    wires = {o.name: _wire(campaign, o, points.get(o.name), context, notes) for o in campaign.occasions}
    alone = Found(points, wires)
    context.say("comparing occasions")
    changes = comparisons(campaign, alone, notes)
    bench = _bench_line(campaign, wires)
    found = tuple(_finding(campaign, o, alone, changes, bench) for o in campaign.occasions)
    context.say("planning bolts")
    planned = widened_plans(plans(campaign, alone, changes, notes), campaign.budget_scale)
    judged = said(verdicts(campaign, found, changes), campaign.budget_scale)
    context.say("telling what limits each number")
    return Result(
        campaign=campaign,
        occasions=found,
        sentence=whole_sentence(campaign, found, changes, planned, judged),
        origin=Origin(
            context.made_by,
            context.now().isoformat(timespec="seconds"),
            context.new_id(),
            campaign.inputs,
            campaign.settings,
            context.versions(),
        ),
        notes=tuple(notes),
        comparisons=changes,
        plans=planned,
        verdicts=judged,
        budgets=budgets(campaign, found, changes, judged),
        signs=sign_checks(campaign, found, changes),
        excluded=asides(campaign, points),
    )


def _surveys(campaign: Campaign, context: Context, notes: Notes) -> dict[str, PointSet]:
    """Adjusted targets of every surveyed occasion; a survey that cannot be adjusted leaves a note."""
    found: dict[str, PointSet] = {}
    for occasion in campaign.occasions:
        if not occasion.sightings or campaign.instrument is None:
            continue
        context.say(f"{occasion.name}: adjusting {len(occasion.sightings)} sightings")
        try:
            found[occasion.name] = adjust_survey(
                occasion.name, occasion.sightings, campaign.instrument, campaign.girder.targets
            )
        except MonochordError as error:
            notes.extend(as_faults(error, occasion.name, "the survey"))
    return found


def _wire(
    campaign: Campaign, occasion: Occasion, points: PointSet | None, context: Context, notes: Notes
) -> WireFinding | None:
    """Axes of one occasion, in the girder frame where the wire ends were surveyed, else in the wire's own."""
    if campaign.wire is None or not (occasion.scans or occasion.raw_scans):
        return None
    context.say(f"{occasion.name}: finding axes from {len(occasion.scans) + len(occasion.raw_scans)} scans")
    try:
        scans = [*occasion.scans, *(reduce_scan(raw) for raw in occasion.raw_scans)]
        sweeps = [*occasion.sweeps, *(reduce_sweep(raw) for raw in occasion.raw_sweeps)]
        notes.extend(note for told in (*(s.notes for s in scans), *(s.notes for s in sweeps)) for note in told)
        finding = find_axes(
            occasion.name, scans, sweeps, campaign.wire, campaign.girder.magnets, stringing=occasion.stringing or None
        )
        if points is None:
            return finding
        ends = wire_ends(points, [end.nest for end in campaign.wire.ends])
        levelled = campaign.instrument is not None and campaign.instrument.u_level is not None
        return place_axes(finding, ends, campaign.wire, occasion.name, up_direction(points, levelled))
    except Undetermined as error:
        notes.extend(as_faults(error, occasion.name, "the wire ends"))
        return finding
    except MonochordError as error:
        notes.extend(as_faults(error, occasion.name, "the wire"))
        return None


def _bench_line(campaign: Campaign, wires: dict[str, WireFinding | None]) -> Line | None:
    """The line of the reference occasion, when its axes stand in the girder frame."""
    finding = wires.get(campaign.reference or "")
    if finding is None or campaign.line_rule.line != "bench":
        return None
    axes = [a for a in known(finding.axes) if a.frame == "girder"]
    magnets = campaign.girder.magnets
    named = {m.name: float(w) for m, w in zip(magnets, weights_of(campaign.line_rule, magnets), strict=True)}
    return fit_line(axes, named) if len(axes) > 1 else None


def _finding(
    campaign: Campaign, occasion: Occasion, alone: Found, changes: Sequence[Comparison], bench: Line | None
) -> OccasionFinding:
    points, wire = alone.points.get(occasion.name), alone.wires[occasion.name]
    lacks = {f"missing {i + 1}" if i else "missing": text for i, text in enumerate(occasion.lacks)}
    lacks |= _lacks(occasion, points, wire)
    axes, evidence = _axes_and_evidence(campaign, occasion, alone, changes)
    line: CommonLine | None = None
    moves: tuple[Move, ...] = ()
    if axes:
        try:
            line = common_line(axes, campaign.line_rule, campaign.girder.magnets, bench=bench)
            line = widened_line(line, campaign.budget_scale)
            names = [m.name for m in campaign.girder.magnets]
            moves = tuple(moves_onto(line, names, offset_words)) if wire is not None else ()
        except Undetermined as error:
            lacks["line"] = str(error)
    if wire is None and line is not None:
        lacks["moves"] = "without a wire on this occasion no magnet should be moved by these numbers"
    return OccasionFinding(
        name=occasion.name,
        wire=wire,
        line=line,
        points=points,
        temperature=temperature_of(occasion.temperatures, occasion.temperature),
        moves=moves,
        line_evidence=evidence,
        lacks=lacks,
        ride=ride_finding(occasion.ride, occasion.logger),
    )


def _axes_and_evidence(
    campaign: Campaign, occasion: Occasion, alone: Found, changes: Sequence[Comparison]
) -> tuple[Sequence[Axis], str]:
    """The axes an occasion is judged by, and what they rest on: its own wire, or bench axes carried by targets."""
    wire = alone.wires[occasion.name]
    if wire is not None:
        return wire.axes, "wire"
    reference = alone.axes(campaign.reference or "")
    for change in changes:
        if reference and change.start == campaign.reference and change.end == occasion.name:
            words = (
                f"no wire on this occasion: axes of {change.start} carried by the targets, clamps as they usually hold"
            )
            return carried_axes(reference, change), words
    return (), ""


def _lacks(occasion: Occasion, points: PointSet | None, wire: WireFinding | None) -> dict[str, str]:
    """What this occasion cannot give, and why, in words."""
    lacks: dict[str, str] = {}
    if wire is None:
        lacks["wire"] = "no wire scan was read on this occasion"
    elif points is None:
        lacks["girder frame"] = (
            "no survey, so the wire ends are not tied to the girder: axes stand in the wire's own frame, "
            "and only offsets from a line refitted on this occasion can be told"
        )
    if wire is not None:
        unknown = [a.magnet for a in wire.axes if not bool(np.isfinite(a.estimate.value[:2]).all())]
        if unknown:
            lacks["centres"] = f"no centre could be found for {', '.join(unknown)}"
        flat = [a.magnet for a in wire.axes if not bool(np.isfinite(a.estimate.value[2:]).all())]
        if flat:
            lacks["slopes"] = f"one mode only (or none that sees the slope) for {', '.join(flat)}: slopes are not known"
    if points is None:
        lacks["points"] = (
            "no survey was read on this occasion" if not occasion.sightings else "the survey could not be adjusted"
        )
    return lacks
