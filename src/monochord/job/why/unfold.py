"""Unfold numbers: every sum behind them, as deep as wanted, with what stands at the places they come from."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from monochord.campaign.found.result import Result
from monochord.ground.trace import Place, Sum
from monochord.job.code import code_digest
from monochord.job.why.explain import explainer
from monochord.job.why.rows import Folder
from monochord.report.why.chain import Chain, Maker, Row


def chain(result: Result, folder: Path, roots: Sequence[str], *, most: int | None = None) -> Chain:
    """The chain behind some numbers.

    most  sums that are unfolded at most; None for all of them, down to rows and settings
    """
    sums = gathered(explainer(result), roots, most=most)
    origin = result.origin
    maker = Maker(origin.made_by, code_digest(), origin.run, origin.made_at)
    rows = rows_of(Folder(folder), sums.values())
    return Chain(maker, tuple(roots), sums, rows, girder=result.campaign.girder.name)


def gathered(ask: Callable[[str], Sum], roots: Iterable[str], *, most: int | None = None) -> dict[str, Sum]:
    """Every sum behind some names, each once, the nearest first."""
    sums: dict[str, Sum] = {}
    waiting = deque(roots)
    while waiting and (most is None or len(sums) < most):
        name = waiting.popleft()
        if name in sums:
            continue
        sums[name] = ask(name)
        waiting.extend(line.of for line in sums[name].lines if line.of and line.of not in sums)
    return sums


def rows_of(folder: Folder, sums: Iterable[Sum]) -> dict[Place, tuple[Row, ...]]:
    """What stands at every place that the sums name."""
    places = dict.fromkeys(place for made in sums for line in made.lines for place in line.places)
    return {place: folder.rows(place) for place in places}
