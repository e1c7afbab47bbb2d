"""Numbers that the page shows beside the document, each told as a part of the number that it is made from.

``own_moves/Q1/dx#seen as offset``, ``curable_share#not curable``, ``turns/V1#advance``, ``stations/S#in the girder frame 0``.
"""

from __future__ import annotations

from collections.abc import Sequence

from monochord.ground.trace import Line, Place, Sum, pointer
from monochord.job.why.known import Known

IN_FRAME = "in the girder frame "


def beside(known: Known, keys: Sequence[str], part: str) -> Sum | None:
    """A number of the page that is made of numbers of the document; None for any other."""
    found: Sum | None = None
    match tuple(keys), part:
        case ("comparisons", i, "own_moves", magnet, ("dx" | "dy")), "seen as offset":
            found = _seen(known, keys, known.result.comparisons[int(i)].end, magnet)
        case ("plans", _, "curable_share"), "not curable":
            share = known.number(*keys)
            lines = (Line("part that bolts can cure", share, pointer(*keys), unit="1"),)
            found = Sum(
                f"{pointer(*keys)}#{part}",
                "1",
                1.0 - share,
                lines,
                "the whole mean square departure less it",
                lambda a: 1.0 - a[0],
            )
        case ("plans", _, "turns", bolt), "advance":
            found = _advance(known, keys, bolt)
        case ("occasions", o, "stations", _), words if words.startswith(IN_FRAME) and words[-1] in "012":
            found = _station(known, keys, o, int(words[-1]))
    return found


def _seen(known: Known, keys: Sequence[str], occasion: str, magnet: str) -> Sum | None:
    """A refitted line follows a magnet by its leverage; only the rest of an own move shows as its offset."""
    found = known.occasion(occasion)
    if found is None or found.line is None or magnet not in found.line.leverage:
        return None
    move, leverage = known.number(*keys), found.line.leverage[magnet]
    lines = (
        Line(f"own move of {magnet}", move, pointer(*keys), unit="m"),
        Line(f"leverage of {magnet}", leverage, pointer("occasions", occasion, "line", "leverage", magnet), unit="1"),
    )
    how = "the part of the own move that the line does not follow"
    return Sum(
        f"{pointer(*keys)}#seen as offset", "m", (1.0 - leverage) * move, lines, how, lambda a: (1.0 - a[1]) * a[0]
    )


def _advance(known: Known, keys: Sequence[str], bolt: str) -> Sum | None:
    thread = next((b.thread_pitch for b in known.result.campaign.girder.bolts if b.name == bolt), None)
    if thread is None:
        return None
    turns = known.number(*keys)
    lines = (
        Line(f"turns at {bolt}", turns, pointer(*keys), unit="turn"),
        Line("advance of one turn", thread, unit="m", places=(Place("", 0, f"bolts.{bolt}.thread_pitch"),)),
    )
    how = "how far the bolt's end moves along its push"
    return Sum(f"{pointer(*keys)}#advance", "m", turns * thread, lines, how, lambda a: a[0] * a[1])


def _station(known: Known, keys: Sequence[str], occasion: str, row: int) -> Sum | None:
    """Where a station stands in the girder frame: its place in the survey's frame, turned and shifted by the survey's pose."""
    found = known.occasion(occasion)
    stand = next((s for s in found.points.stations if s.name == keys[-1]), None) if found and found.points else None
    if found is None or found.points is None or stand is None:
        return None
    name, survey, pose = f"{pointer(*keys)}#{IN_FRAME}{row}", found.points.pose, pointer(*keys, "pose", "shift")
    if stand.pose.target != survey.source:
        shift = float(stand.pose.shift[row])
        return Sum(
            name, "m", shift, (Line("its shift", shift, f"{pose}/{row}"),), "it is told in the girder frame already"
        )
    turn, given = survey.rotation[row].tolist(), stand.pose.shift.tolist()
    lines = [
        Line(f"place in the survey's frame, {'xyz'[j]}", turn[j] * given[j], f"{pose}/{j}", turn[j], given[j], "m")
        for j in range(3)
    ]
    own = float(survey.shift[row])
    lines.append(
        Line("shift of the survey's frame", own, pointer("occasions", occasion, "survey", "pose", "shift", row))
    )
    value = float((survey @ stand.pose).shift[row])
    return Sum(name, "m", value, tuple(lines), "turned by the survey's pose (the factors) and shifted by it")
