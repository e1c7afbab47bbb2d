"""The bolt plan: first bring loose feet to bear, then turn what restores the reference shape at the magnets.

Bringing a foot to touch moves nothing, so one survey serves both: how wide the gaps were does not matter,
and the turns are reckoned from the state in which every foot touches.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.axes import Gate
from monochord.campaign.found.plan import BoltPlan
from monochord.campaign.given.girder import Girder
from monochord.campaign.given.occasion import FootFinding
from monochord.girder import words
from monochord.girder.aim import Aim
from monochord.girder.decision import Task, curable_share, decide, turns_of
from monochord.girder.expect import Outcome, rms_of
from monochord.girder.model import elastic, standing
from monochord.girder.state import Stand, bears_by_model, stand
from monochord.girder.unfold import unfolding
from monochord.girder.unfold_rows import NOTHING_TOLD, Planned, Told
from monochord.ground.estimate import Estimate

Array = NDArray[np.float64]

#: Part of its load on level bolts that every foot keeps; below it a foot may lift off unseen. Common practice, no source.
LEAST_LOAD = 0.2


def plan_bolts(
    girder: Girder,
    at: str,
    reference: str,
    feet: Sequence[FootFinding],
    shape_now: Estimate,
    *,
    offsets_now: Estimate,
    top_minus_bottom: float | None,
    temperature_change: float | None,
    own_moved: Sequence[str],
    gravity: float = 9.80665,
    feet_reference: Sequence[FootFinding] = (),
    weights: Mapping[str, float] | None = None,
    least_load: float = LEAST_LOAD,
    hold_rigid: bool = False,
    told: Told = NOTHING_TOLD,
) -> BoltPlan:
    """Plan the bolts at an occasion towards the shape of the reference.

    Departures s = P (shape now - reference) at the magnets, P taking off a straight line; the turns t minimise
    |s + J t|^2 over whole steps with loads r + R t >= least_load * loads on level bolts and |t| within half the travel.

    at, reference   occasions;  feet, feet_reference   what was found at the feet on each
    shape_now       "<target>.x", ".y", ".z": now minus reference [m], girder frame; rigid motion and scale may be in it
    offsets_now     "<magnet>.x", ".y": offsets of the axes about the line now [m]; magnets without are NaN or left out
    top_minus_bottom, temperature_change   now minus reference [K], None when not measured
    own_moved       magnets known to have moved on the girder: their targets are not shape
    gravity         [m/s2];  weights  magnet -> its weight in the common line, 1 where not named
    least_load      part of its load on level bolts that every foot keeps
    hold_rigid      True when turns shall not move the line either; else rigid motion is free, as it is no shape
    told            where all this comes from, to be told when somebody asks why

    The shape aimed at is that at the reference's temperatures; offsets and loads are those of today.

    Raises Refused when beam or bolts are not told, Undetermined when too few targets tell the shape or the
    feet cannot hold the girder.

    >>> from monochord.campaign.given.girder import Beam, Bolt, Magnet, Target
    >>> spots = [(x, z) for z in (-1.5, 0.0, 1.5) for x in (-0.3, 0.3)]
    >>> up, right_handed = (0.0, 1.0, 0.0), True
    >>> feet = tuple(
    ...     Bolt(f"V{k}", up, (x, -0.9, z), 1.2e-3, None, 0.01, True, 8e8, right_handed) for k, (x, z) in enumerate(spots)
    ... )
    >>> magnets = tuple(Magnet(f"Q{k}", "quadrupole", (0.0, 0.0, z), 0.2, 400.0) for k, z in enumerate((-1.2, 0.0, 1.2)))
    >>> targets = tuple(Target(f"G{k}", "girder", (x, -0.6, z)) for k, (x, z) in enumerate(spots))
    >>> girder = Girder("g", "t", Beam(400.0, 3.4, 3e8, 3e8, 1e8, -0.6, 0.5, 12e-6), magnets, targets, feet)
    >>> names = [f"{target.name}.{axis}" for target in targets for axis in "xyz"]
    >>> sunk = [-30e-6 if name in ("G2.y", "G3.y") else 0.0 for name in names]  # the middle of the girder
    >>> survey = Estimate.of(sunk, names, unit="m", frame="girder", causes={"survey": 9e-12 * np.eye(18)})
    >>> axes = [f"{magnet.name}.{axis}" for magnet in magnets for axis in "xy"]
    >>> wire = {"wire": 1e-12 * np.eye(6)}
    >>> offsets = Estimate.of([0.0, 9e-6, 0.0, -18e-6, 0.0, 9e-6], axes, unit="m", frame="girder", causes=wire)
    >>> plan = plan_bolts(
    ...     girder, "now", "then", [], survey, offsets_now=offsets, top_minus_bottom=0.0, temperature_change=0.0, own_moved=[]
    ... )
    >>> plan.turns["V2"] > 0.0, plan.turns["V3"] > 0.0, plan.left_after < 0.3 * plan.left_before
    (True, True, True)
    """
    on = standing(girder, elastic(girder, gravity=gravity))
    now = stand(
        girder, on, shape_now, feet, feet_reference=feet_reference, own_moved=own_moved,
        top_minus_bottom=top_minus_bottom, temperature_change=temperature_change, at=at,
    )  # fmt: skip
    loose = _loose(on.names, on.one_sided, feet, now)
    unlifted = np.array([name in loose for name in on.names])
    task = Task(girder, on, weights or {}, least_load, hold_rigid, unlifted, at)
    decided = decide(task, now)
    aim, nothing, found, do_nothing = decided.aim, decided.nothing, decided.found, decided.do_nothing
    before, after = rms_of(nothing.shape_before), rms_of(found.shape_after)
    turns = turns_of(girder, decided)
    moved = sorted({*own_moved, *(n for n in now.aside if n in aim.magnets)} & set(aim.magnets))
    share = curable_share(decided, now.own)
    gates = (
        *_gates(on.names, on.one_sided, feet, feet_reference=feet_reference, reference=reference, now=now),
        _bearing(found, aim, on.names, decided.kept or do_nothing),
    )
    warning = gates[0].message if not gates[0].ok and feet_reference else ""
    touching = [b for b in girder.bolts if b.name in {f.bolt for f in feet if f.state == "touching"} - set(loose)]
    plan = BoltPlan(
        at=at,
        reference=reference,
        turns=turns,
        senses={b.name: words.sense(b, turns[b.name]) for b in girder.bolts},
        first=words.first_steps([b for b in girder.bolts if b.name in loose], touching),
        loose=loose,
        offsets_before=offsets_now,
        offsets_after=_offsets_after(offsets_now, found, aim),
        shape_before=nothing.shape_before,
        shape_after=found.shape_after,
        left_before=before[0],
        left_after=after[0],
        left_after_95=after[1],
        loads_before=dict(zip(on.names, now.loads.tolist(), strict=True)),
        loads_after=dict(zip(on.names, found.loads.tolist(), strict=True)),
        u_loads_before=dict(zip(on.names, now.u_loads.tolist(), strict=True)),
        curable_share=share,
        do_nothing=do_nothing,
        sentence=words.plan_sentence(
            loose,
            [(n, t) for n, t in turns.items() if t],
            (before[0], *after),
            share,
            moved,
            do_nothing=do_nothing,
            warning=warning,
        ),
        gates=gates,
        cautions=words.CAUTIONS,
    )
    planned = Planned(task, now, decided, reference, (feet, feet_reference), gravity, told)
    return replace(plan, unfold=unfolding(plan, planned))


def _loose(
    names: Sequence[str], one_sided: NDArray[np.bool_], feet: Sequence[FootFinding], now: Stand
) -> tuple[str, ...]:
    """Feet that were felt loose, and those nobody felt of which the model says that they carry nothing."""
    felt = {f.bolt: f.state for f in feet}
    model = bears_by_model(now)
    return tuple(
        name
        for name, lifts, says in zip(names, one_sided, model, strict=True)
        if felt.get(name) == "loose" or (lifts and felt.get(name) is None and says < 0.0)
    )


def _offsets_after(offsets: Estimate, found: Outcome, aim: Aim) -> Estimate:
    """Today's offsets carried over the turns; what the turns add to the doubt is added by its name."""
    places = {f"{name}.{axis}": 2 * k + j for k, name in enumerate(aim.magnets) for j, axis in enumerate("xy")}
    rows = [places.get(name, -1) for name in offsets.names]
    change = np.array([found.change[r] if r >= 0 else 0.0 for r in rows])
    eye = np.eye(len(rows))
    after = offsets.through(eye, offsets.labels, value=offsets.value + change)
    for cause, factor in found.doubts.items():
        jacobian = np.array([factor.jacobian[r] if r >= 0 else 0.0 * factor.jacobian[0] for r in rows])
        after = after.adding(cause, jacobian.reshape(len(rows), -1), factor.spread)
    return after


def _gates(
    names: Sequence[str],
    one_sided: NDArray[np.bool_],
    feet: Sequence[FootFinding],
    *,
    feet_reference: Sequence[FootFinding],
    reference: str,
    now: Stand,
) -> list[Gate]:
    """What a person must know before trusting the plan."""
    hung = [f.bolt for f in feet_reference if f.state == "loose"]
    if hung:
        told = (
            f"the reference {reference} was frozen while {words.listed(hung)} hung loose: that shape will not come back"
        )
    elif not feet_reference:
        told = f"nobody felt the feet at the reference {reference}; a shape frozen on loose feet will not come back"
    else:
        told = f"no foot was loose at the reference {reference}"
    gates = [Gate("reference on bearing feet", not hung and bool(feet_reference), told)]
    felt = {f.bolt: f.state for f in feet}
    missing = [n for n, lifts in zip(names, one_sided, strict=True) if lifts and felt.get(n) is None]
    gates.append(
        Gate(
            "every foot felt",
            not missing,
            f"nobody felt {words.listed(missing)}: feel every foot before turning"
            if missing
            else "every foot was felt",
        )
    )
    model = dict(zip(names, bears_by_model(now), strict=True))
    empty = [
        n for n in names if felt.get(n) in ("tight", "held") and model[n] < 0.0 and now.u_loads[names.index(n)] > 0.0
    ]
    full = [n for n in names if felt.get(n) == "loose" and model[n] > 0.0]
    message = "feet and shape agree"
    if empty or full or now.doubted:
        parts = [f"felt to bear, but nothing by the shape: {words.listed(empty)}"] if empty else []
        parts += [f"felt loose, but bearing by the shape: {words.listed(full)}"] if full else []
        parts += [f"left out as contradicting the shape: {kind} findings" for kind in now.doubted]
        message = "; ".join(parts) + ": feel these feet again"
    gates.append(Gate("feet and shape agree", not (empty or full or now.doubted), message))
    aside = "; ".join(f"{name}: {why}" for name, why in now.aside.items())
    gates.append(
        Gate("targets follow the girder", not now.aside, aside or "all targets used follow the girder's shape")
    )
    return gates


def _bearing(found: Outcome, aim: Aim, names: Sequence[str], kept: bool) -> Gate:
    light = [n for n, load in zip(names, found.loads, strict=True) if load <= 0.0]
    if kept:
        return Gate("feet bear after the turns", True, "every foot keeps its least load")
    where = f"; {words.listed(light)} would carry nothing or pull" if light else ""
    return Gate(
        "feet bear after the turns", False, f"no turns keep every foot's least load{where}: survey between passes"
    )
