"""Sums asked further and further, for tests: from the numbers of a noun down to rows, settings and other nouns."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from monochord.campaign.found.result import Result
from monochord.ground.faults import Refused
from monochord.ground.trace import Line, Sum, Unfold
from monochord.job.changes import Found
from monochord.job.context import Context
from monochord.job.evaluate import evaluate
from monochord.simulate.campaign import simulate_campaign

#: Lines of one sum: forty and a few heads of groups.
MOST = 45


@dataclass(frozen=True)
class Walked:
    """Everything that was asked: sums by name, names of the noun that it does not tell, and names of other nouns."""

    sums: dict[str, Sum]
    untold: set[str]
    elsewhere: set[str]


def evaluated(seed: int) -> Result:
    """A simulated campaign, evaluated."""
    from datetime import UTC, datetime

    context = Context(now=lambda: datetime(2030, 1, 1, tzinfo=UTC), new_id=lambda: "one")
    return evaluate(simulate_campaign(seed).campaign, context)


def found_in(result: Result) -> Found:
    """Targets and axes of all occasions of a result."""
    points = {o.name: o.points for o in result.occasions if o.points is not None}
    return Found(points, {o.name: o.wire for o in result.occasions})


def walk(unfold: Unfold, names: Iterable[str]) -> Walked:
    """Ask for the names, then for whatever their lines rest on, until nothing new comes; no sum rests on itself."""
    sums: dict[str, Sum] = {}
    untold: set[str] = set()
    elsewhere: set[str] = set()
    asked = set(names)
    way: list[tuple[str, bool]] = [(name, False) for name in names]
    open_: set[str] = set()
    while way:
        name, done = way.pop()
        if done:
            open_.discard(name)
            continue
        assert name not in open_, f"{name} rests on itself"
        if name in sums or name in untold:
            continue
        try:
            found = unfold(name)
        except Refused:
            assert name in asked, f"a line rests on {name}, which nobody tells"
            untold.add(name)
            continue
        assert found.name == name
        sums[name] = found
        open_.add(name)
        way.append((name, True))
        for line in found.lines:
            assert line.of or line.places, f"{name}: {line.words} leads nowhere"
            if line.of.startswith("/"):
                elsewhere.add(line.of)
            elif line.of:
                way.append((line.of, False))
    return Walked(sums, untold, elsewhere)


def apart(found: Sum) -> float:
    """How far the value made again is from the value, in units of the largest line or of the value itself."""
    size = max([abs(line.amount) for line in found.lines] + [abs(found.value)])
    return abs(found.again() - found.value) / size if size else abs(found.again())


def rests_on(walked: Walked, found: Sum) -> list[tuple[Line, Sum]]:
    """Lines of a sum that rest on another one of the same noun, with that."""
    return [(line, walked.sums[line.of]) for line in found.lines if line.of in walked.sums]


def lines_below(unfold: Unfold, name: str) -> dict[str, Line]:
    """Lines of a sum by what they rest on, those of its groups of rows in their place."""
    told: dict[str, Line] = {}
    for line in unfold(name).lines:
        below = unfold(line.of).lines if line.of.startswith(f"{name}#") and line.words.startswith("from ") else (line,)
        told |= {one.of: one for one in below}
    return told
