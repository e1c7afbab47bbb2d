"""Check moves replayed: whether every sign of the description shows a move as it was made.

A wire that was moved shows in the stage readings, a magnet in its axis and in its targets, a bolt in the targets beside
it. What is seen goes through the description; where it comes out turned round, the key that turns it is named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.comparison import Comparison, OwnMove
from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import OccasionFinding
from monochord.campaign.found.signs import CANNOT_TELL, CONFIRMED, CONTRADICTED, SignCheck
from monochord.campaign.given.campaign import Campaign
from monochord.campaign.given.check_move import CheckMove
from monochord.campaign.given.girder import Bolt
from monochord.campaign.given.occasion import Occasion
from monochord.files.campaign_file import load_campaign
from monochord.ground.estimate import Estimate
from monochord.ground.faults import Undetermined
from monochord.ground.frames import DIRECTIONS, fit_rigid
from monochord.job.context import Context
from monochord.report.facts import in_girder_frame

Array = NDArray[np.float64]

#: How well a mean of stage readings repeats [m].
U_STAGE = 1e-6
#: A move is seen when it is so many times its standard uncertainty, and so large a part of what was made.
TIMES, PART = 4.0, 0.2
#: Part of what is seen that must lie along the move.
ALONG = 0.7
#: Seen over made between which the size agrees.
SMALL, LARGE = 0.5, 2.0
#: Targets beside a bolt that tell its push.
BESIDE = 2

#: What was seen: a displacement (3,) [m] and its standard uncertainty, or why there is none.
Seen = tuple[Array, float] | str


def sign_checks(
    campaign: Campaign, found: Sequence[OccasionFinding], changes: Sequence[Comparison] = ()
) -> tuple[SignCheck, ...]:
    """Every check move of a campaign held against the readings that should show it."""
    by_name = {o.name: o for o in found}
    given = {o.name: o for o in campaign.occasions}
    return tuple(
        check
        for o in campaign.occasions
        for move in o.check_moves
        for check in _checks(move, campaign, o, given=given, found=by_name, changes=changes)
    )


def check_signs(folder: Path, context: Context) -> tuple[SignCheck, ...]:
    """The check moves of the campaign in a folder, held against what its readings give."""
    from monochord.job.evaluate import evaluate

    return evaluate(load_campaign(folder), context).signs


def _checks(
    move: CheckMove,
    campaign: Campaign,
    here: Occasion,
    *,
    given: Mapping[str, Occasion],
    found: Mapping[str, OccasionFinding],
    changes: Sequence[Comparison],
) -> list[SignCheck]:
    if move.what == "wire":
        return [_judged(move, "stages", _wire(move, here), move.size)]
    missing = [name for name in (move.before, move.after) if name not in given]
    if missing:
        return [_judged(move, "targets", f"there is no occasion {missing[0]!r}", None)]
    before, after = found[move.before], found[move.after]
    if move.what == "bolt":
        bolt = next(b for b in campaign.girder.bolts if b.name == move.name)
        return [_bolt(move, bolt, before, after)]
    own = [
        m
        for c in changes
        if (c.start, c.end) == (move.before, move.after)
        for m in c.own_moves
        if m.magnet == move.name
    ]
    if move.what == "magnet" and own:
        return [_judged(move, own[0].evidence, _own(own[0]), move.size)]
    if any(t.turns for t in given[move.after].turns):
        return [_judged(move, "targets", "bolts were turned between the two occasions", None)]
    on = [t.name for t in campaign.girder.targets if (t.carrier if move.what == "magnet" else t.name) == move.name]
    checks = [_judged(move, "targets", _targets(before, after, on), move.size)]
    if move.what == "magnet" and before.wire is not None and after.wire is not None:
        checks.append(_judged(move, "axis", _axis(before, after, move.name), move.size))
    return checks


def _wire(move: CheckMove, here: Occasion) -> Seen:
    """Mean stage position of one scan minus that of another."""
    stages = {s.name: (s.stage_x, s.stage_y) for s in here.scans} | {
        s.name: (s.stage_x, s.stage_y) for s in here.raw_scans
    }
    missing = [name for name in (move.before, move.after) if name not in stages]
    if missing:
        return f"there is no scan {missing[0]!r} on {here.name}"
    (x0, y0), (x1, y1) = stages[move.before], stages[move.after]
    return np.array([x1.mean() - x0.mean(), y1.mean() - y0.mean(), 0.0]), U_STAGE


def _targets(before: OccasionFinding, after: OccasionFinding, chosen: Sequence[str]) -> Seen:
    """Mean displacement of the chosen targets against all other targets of the girder."""
    if before.points is None or after.points is None:
        return "no survey before and after"
    start, end = _places(before.points), _places(after.points)
    carriers = before.points.carriers
    common = [n for n in start if n in end and carriers.get(n, "") != "wall"]
    picked, rest = [n for n in common if n in chosen], [n for n in common if n not in chosen]
    if not picked:
        return "no target of it was surveyed before and after"
    try:
        frames = ("after", "before")
        back = fit_rigid(np.array([end[n][0] for n in rest]), np.array([start[n][0] for n in rest]), frames=frames)
    except Undetermined as error:
        return f"the other targets do not hold the girder: {error}"
    moved = [back.apply(end[n][0]) - start[n][0] for n in picked]
    variance = sum(float(np.trace(end[n][1] + start[n][1])) / 3.0 for n in picked) / len(picked) ** 2
    return np.mean(moved, axis=0), float(np.sqrt(variance))


def _own(move: OwnMove) -> Seen:
    """A magnet's own move as the comparison found it, the girder's change of shape taken out."""
    part = move.estimate.pick([f"{move.magnet}.{k}" for k in ("dx", "dy", "dz")])
    known = np.isfinite(part.value) & np.isfinite(part.u)
    return np.where(known, part.value, 0.0), float(np.where(known, part.u, 0.0).max())


def _places(points: PointSet) -> dict[str, tuple[Array, Array]]:
    """Target -> place (3,) [m] and its covariance (3, 3), girder frame."""
    estimate: Estimate = in_girder_frame(points)
    value, cov = estimate.value.reshape(-1, 3), estimate.cov
    names = [name.rsplit(".", 1)[0] for name in estimate.names[::3]]
    return {n: (value[i], cov[3 * i : 3 * i + 3, 3 * i : 3 * i + 3]) for i, n in enumerate(names)}


def _axis(before: OccasionFinding, after: OccasionFinding, magnet: str) -> Seen:
    """Change of a magnet's centre against the median of the others."""
    assert before.wire is not None
    assert after.wire is not None
    one, other = ({a.magnet: a for a in o.wire.axes} for o in (before, after) if o.wire is not None)
    if magnet not in one or magnet not in other or one[magnet].frame != other[magnet].frame:
        return "no axis of it in one frame before and after"
    change = {m: other[m].estimate.value[:2] - one[m].estimate.value[:2] for m in one if m in other}
    others = [c for m, c in change.items() if m != magnet and np.isfinite(c).all()]
    if not others or not np.isfinite(change[magnet]).all():
        return "no centre of it, or no other magnet to hold it against"
    u = float(np.sqrt(max(one[magnet].estimate.u[:2]) ** 2 + max(other[magnet].estimate.u[:2]) ** 2))
    return np.append(change[magnet] - np.median(others, axis=0), 0.0), u


def _bolt(move: CheckMove, bolt: Bolt, before: OccasionFinding, after: OccasionFinding) -> SignCheck:
    """A turn shows in the targets beside the bolt; how much of it does, the girder's stiffness decides."""
    sense = _sense(move, bolt)
    if isinstance(sense, str):
        return _judged(move, "targets", sense, None)
    points = before.points
    if points is None:
        return _judged(move, "targets", "no survey before and after", None)
    places = {n: p for n, (p, _) in _places(points).items() if points.carriers.get(n, "") == "girder"}
    beside = sorted(places, key=lambda n: float(np.linalg.norm(places[n] - np.array(bolt.point))))[:BESIDE]
    push = np.array(bolt.direction) * sense
    return _judged(move, "targets", _targets(before, after, beside), None, direction=push)


def _sense(move: CheckMove, bolt: Bolt) -> float | str:
    """+1 where the turn pushes along the bolt's direction as the description has it, -1 where it pulls."""
    if move.direction is not None:
        return 1.0 if (move.turns or 0.0) >= 0.0 else -1.0
    if bolt.right_handed is None:
        return "the hand of its thread is not told (tables.bolts.columns.right_handed)"
    return 1.0 if (move.words == "clockwise") == bolt.right_handed else -1.0


def _judged(
    move: CheckMove, evidence: str, seen: Seen, size: float | None, *, direction: Array | None = None
) -> SignCheck:
    """The outcome of one move against what was seen of it."""
    way = direction if direction is not None else np.array(move.direction or (0.0, 0.0, 0.0))
    told = f"{move.what} {move.name}, {_made(move)}"
    if isinstance(seen, str):
        return SignCheck(told, evidence, CANNOT_TELL, None, None, f"{CANNOT_TELL}: {seen}", "", move.file, move.line)
    displacement, u = seen
    along, length = float(displacement @ way), float(np.linalg.norm(displacement))
    shown = f"{along * 1e6:+.1f} um along it (u {u * 1e6:.1f} um)"
    outcome, words, keys = CONFIRMED, f"{CONFIRMED}: {evidence} show {shown}", ""
    if length < TIMES * u or (size is not None and length < PART * abs(size)):
        outcome, words = CANNOT_TELL, f"{CANNOT_TELL}: {evidence} show only {shown}"
    elif abs(along) < ALONG * length and move.what == "bolt":
        outcome, words = (
            CANNOT_TELL,
            f"{CANNOT_TELL}: {evidence} show {shown}, but more across it; turn one bolt at a time",
        )
    elif abs(along) < ALONG * length:
        word = max(DIRECTIONS, key=lambda w: float(displacement @ DIRECTIONS[w]))
        outcome, keys = CONTRADICTED, _keys(move)
        words = f"{CONTRADICTED}: {evidence} show {length * 1e6:.1f} um along {word!r} instead; see {keys}"
    elif along < 0.0:
        outcome, keys = CONTRADICTED, _keys(move)
        words = f"{CONTRADICTED}: {evidence} show {shown}, the other way; turn round {keys}"
    elif size is not None and not SMALL < along / abs(size) < LARGE:
        words += f", which is {along / abs(size):.2g} times the size that was noted: see its unit"
    return SignCheck(told, evidence, outcome, along, u, words, keys, move.file, move.line)


def _keys(move: CheckMove) -> str:
    where = f" in line {move.keys_line} of the lab description" if move.keys_line else ""
    return f"{move.keys}{where}"


def _made(move: CheckMove) -> str:
    if move.what == "bolt":
        return f"{'' if move.turns is None else f'{move.turns:g} turn '}{move.words}"
    return f"{'' if move.size is None else f'{move.size * 1e3:g} mm '}{move.words}"
