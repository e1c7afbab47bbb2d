"""Own moves of magnets and targets, with what is known of clamps.

A clamped magnet creeps a little from one occasion to another, and three in ten slip, most of them by little: that is what is
known before anything is measured. Where the data find a slip it is free. Where they find none they rarely exclude a small one, and
what they leave open widens the uncertainty: mean and covariance are those of the mixture of "slipped" and "not slipped".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monochord.campaign.found.comparison import OwnMove, TargetMove
from monochord.campaign.given.girder import Girder
from monochord.ground.estimate import Estimate, Factor, Label
from monochord.ground.mixture import TwoNormals
from monochord.survey.compare_fit import Fit, estimate
from monochord.survey.compare_model import MOVES
from monochord.survey.compare_search import GONE_SHIFT, GONE_TURN, SLIP, Moved
from monochord.survey.compare_words import magnet_words, motion_words, target_words
from monochord.survey.network import Array

#: Chance that a clamped magnet slipped between two occasions, before anything is measured; an argument, no source. It is
#: taken high, since slips of any size are meant and one that is overlooked misleads more than one that is suspected in vain.
SLIPS = 0.3
#: A magnet that slipped with at least this probability is not said to have stayed.
OPEN = 0.1
#: A slip less probable than this widens nothing.
_FORGOTTEN = 1e-4


@dataclass(frozen=True, eq=False, slots=True)
class OpenSlip:
    """A slip that the data leave open, with this chance: how the functions follow it, and what it is if it happened.

    follow (q, 3);  gone (3,) its size [m, m, rad];  spread (3, 3) of that
    """

    chance: float
    follow: Array
    gone: Array
    spread: Array


@dataclass(frozen=True, eq=False, slots=True)
class Outcome:
    """All that is told of a change in numbers: functions of the unknowns, own moves first.

    estimate  joint;  numbers  value and standard uncertainty of its components by name
    slipped   body -> probability that it slipped, for those that were not found to have
    whole     the functions (q, p) of all unknowns of the last fit;  slips  body -> slip that is left open
    """

    estimate: Estimate
    slipped: dict[str, float]
    numbers: dict[str, tuple[float, float]]
    whole: Array
    slips: dict[str, OpenSlip]


def outcome(moved: Moved, functions: Array, labels: Sequence[Label], scope: str) -> Outcome:
    """Functions (q, p) of the first fit's unknowns after everything that moved was freed, slips that were not found left open."""
    fit = moved.fit
    model = fit.model
    columns = [functions]
    for hypothesis in moved.freed:
        base = _columns_of(fit, functions, hypothesis.name, hypothesis.kind)
        columns.append(base[:, list(hypothesis.parts)])
    whole = np.hstack(columns)
    found = estimate(fit, whole, labels, scope)
    slipped: dict[str, float] = {}
    slips: dict[str, OpenSlip] = {}
    mean, factors = found.value.copy(), dict(found.factors)
    gain = whole @ fit.gain
    for body in model.bodies:
        if any(h.name == body for h in moved.freed):
            continue
        own = _slip(fit, body)
        if own is None:
            continue
        design, pull, spread, odds = own
        chance = SLIPS * odds / (SLIPS * odds + 1.0 - SLIPS)
        slipped[body] = chance
        if chance < _FORGOTTEN:
            continue
        place = model.columns("clamp", body).start
        follow = functions[:, [place + k for k in SLIP]] - gain @ design
        gone = spread @ pull
        slips[body] = OpenSlip(chance, follow, gone, spread)
        mean = mean + chance * (follow @ gone)
        factors[f"unnoticed slip of {body}:{scope}"] = Factor(
            follow, chance * spread + chance * (1.0 - chance) * np.outer(gone, gone)
        )
    told = Estimate(mean, found.labels, factors)
    numbers = dict(zip(told.names, zip(told.value.tolist(), told.u.tolist(), strict=True), strict=True))
    return Outcome(told, slipped, numbers, whole, slips)


def _columns_of(fit: Fit, functions: Array, name: str, kind: str) -> Array:
    """How functions follow what moved: a body as its creep does, a range scale as the end's own; a target moves nothing else."""
    if kind in ("slip", "body"):
        return functions[:, fit.model.columns("clamp", name)]
    if kind == "range scale" and fit.model.change.ranges:
        first = next(iter(fit.model.change.ranges))
        return functions[:, fit.model.columns("range scale", first)]
    return np.zeros((len(functions), 3))


def _slip(fit: Fit, body: str) -> tuple[Array, Array, Array, float] | None:
    """Columns of a body's slip, its pull, its covariance once it slipped, and the odds of the data for a slip."""
    block = next(b for b in fit.model.blocks if b.kind == "clamp" and b.name == body)
    design = block.design[:, list(SLIP)]
    if not design.any():
        return None
    unit = np.array([GONE_SHIFT, GONE_SHIFT, GONE_TURN])
    scaled = design * unit
    precision = np.eye(3) + scaled.T @ fit.weight @ scaled
    pull = scaled.T @ fit.pull
    inner = np.linalg.inv(precision)
    told = 0.5 * (float(pull @ inner @ pull) - float(np.linalg.slogdet(precision)[1]))
    return design, pull / unit, inner * np.outer(unit, unit), float(np.exp(min(told, 500.0)))


def own_moves(moved: Moved, result: Outcome, girder: Girder) -> tuple[OwnMove, ...]:
    """The own move of every magnet along z; a magnet of which nothing was seen has none, and says so."""
    change = moved.fit.model.change
    made = []
    for magnet in girder.magnets:
        names = [f"{magnet.name}.{part}" for part in MOVES]
        wire = any(m == magnet.name for m, _ in change.axis_rows)
        sighted = magnet.name in change.carriers
        if not wire and not sighted:
            made.append(OwnMove(magnet.name, _unknown(names), None, "none", f"nothing was seen of {magnet.name}"))
            continue
        found = result.estimate.pick(names)
        evidence = "wire and targets" if wire and sighted else "wire" if wire else "targets"
        others = moved.rivals.get(magnet.name, ())
        chance = result.slipped.get(magnet.name, 1.0)
        state = None if others or OPEN <= chance < 1.0 else chance == 1.0
        value, u = zip(*(result.numbers[n] for n in names), strict=True)
        words = magnet_words(magnet.name, motion_words(value, u), max(u[:2]), state=state, others=others, chance=chance)
        made.append(OwnMove(magnet.name, found, state, evidence, words, _laws(result, magnet.name, found)))
    return tuple(made)


def _laws(result: Outcome, body: str, found: Estimate) -> tuple[TwoNormals, ...]:
    """Law of each component of an own move whose slip is left open; other bodies' open slips count by their variance."""
    slip = result.slips.get(body)
    if slip is None:
        return ()
    rows = [result.estimate.index(name) for name in found.names]
    follow = slip.follow[rows]
    away, spread = follow @ slip.gone, np.einsum("ij,jk,ik->i", follow, slip.spread, follow)
    own = slip.chance * spread + slip.chance * (1.0 - slip.chance) * away**2
    stayed = found.value - slip.chance * away
    held = np.maximum(found.u**2 - own, 0.0)
    columns = (stayed, np.sqrt(held), stayed + away, np.sqrt(held + spread))
    return tuple(TwoNormals(slip.chance, *four) for four in zip(*(c.tolist() for c in columns), strict=True))


def item_words(moved: Moved, result: Outcome, girder: Girder) -> list[str]:
    """Words about things on the girder that are no magnets and moved by themselves, or cannot be told from something that did."""
    magnets = {m.name for m in girder.magnets}
    names = dict.fromkeys(h.name for h in moved.freed if h.kind in ("slip", "body") and h.name not in magnets)
    made = []
    for name in names:
        value, u = zip(*(result.numbers[f"{name}.{part}"] for part in MOVES), strict=True)
        others = moved.rivals.get(name, ())
        state = None if others else True
        made.append(magnet_words(name, motion_words(value, u), max(u[:2]), state=state, others=others, chance=1.0))
    return made


def _unknown(names: Sequence[str]) -> Estimate:
    units = ["m"] * 3 + ["rad"] * 3
    labels = tuple(Label(n, u, "girder") for n, u in zip(names, units, strict=True))
    return Estimate(np.full(6, np.nan), labels, {})


def target_moves(moved: Moved, scope: str) -> tuple[TargetMove, ...]:
    """Targets that moved by themselves, or cannot be told apart from something that did."""
    fit = moved.fit
    made = []
    for hypothesis in moved.freed:
        if hypothesis.kind != "target":
            continue
        place = fit.model.columns("moved", hypothesis.block.name)
        functions = np.eye(len(fit.model.prior))[place]
        labels = [Label(f"{hypothesis.name}.{c}", "m", "girder") for c in "xyz"]
        found = estimate(fit, functions, labels, scope)
        others = moved.rivals.get(hypothesis.name, ())
        x, y, z = found.value.tolist()
        u_x, u_y, u_z = found.u.tolist()
        words = target_words(hypothesis.name, motion_words((x, y, z), (u_x, u_y, u_z)), others)
        made.append(TargetMove(hypothesis.name, (x, y, z), (u_x, u_y, u_z), None if others else True, words))
    return tuple(made)
