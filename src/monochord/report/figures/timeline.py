"""The occasions of a girder in their order: where it was, what was measured, and what was decided."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence

from monochord.campaign.found.result import Result
from monochord.campaign.found.verdict import CANNOT_BE_DECIDED, CONFORMS, DOES_NOT_CONFORM
from monochord.campaign.given.occasion import Occasion
from monochord.report.svg import Picture, circle, group, ident, line, text
from monochord.report.words import listed

WIDTH, LEFT, RIGHT, TOP = 760.0, 70.0, 690.0, 30.0
#: Lines of words under each occasion, in drawing units.
LINE = 14.0

#: What can have been measured, in the order in which it is told.
MEASURED: tuple[tuple[str, Callable[[Occasion], bool]], ...] = (
    ("wire", lambda o: bool(o.scans or o.raw_scans)),
    ("survey", lambda o: bool(o.sightings)),
    ("feet", lambda o: bool(o.feet)),
    ("bolts turned", lambda o: bool(o.turns)),
    ("ride logger", lambda o: bool(o.ride)),
)


def measured(occasion: Occasion) -> list[str]:
    """What was measured on an occasion, in words."""
    return [word for word, there in MEASURED if there(occasion)]


def decided(result: Result, name: str) -> str:
    """The verdicts of an occasion in a few words, "" when there are none."""
    counts = Counter(v.verdict for v in result.verdicts if v.occasion == name)
    parts = [f"{counts[word]} {short}" for word, short in _SHORT if counts[word]]
    return ", ".join(parts)


_SHORT = ((CONFORMS, "conform"), (DOES_NOT_CONFORM, "do not"), (CANNOT_BE_DECIDED, "open"))


def timeline_picture(result: Result) -> Picture:
    """One station an occasion, in order; distances are not times."""
    occasions = result.campaign.occasions
    step = (RIGHT - LEFT) / max(len(occasions) - 1, 1)
    many = len(occasions) > 5
    rows = [_words(result, o) for o in occasions]
    tall = TOP + 26 + LINE * (max((len(r) for r in rows), default=1) + 1) * (2 if many else 1)
    body = [line(LEFT, TOP, RIGHT, TOP, "zero")]
    for i, (occasion, words) in enumerate(zip(occasions, rows, strict=True)):
        x = LEFT + step * i if len(occasions) > 1 else (LEFT + RIGHT) / 2
        lower = TOP + 22 + (LINE * (max(len(r) for r in rows) + 1) if many and i % 2 else 0.0)
        body.append(_station(x, lower, occasion, words, reference=occasion.name == result.campaign.reference))
    return Picture(
        ident("timeline", result.campaign.girder.name),
        f"Occasions of {result.campaign.girder.name}",
        f"{len(occasions)} occasions in their order: {listed([o.name for o in occasions])}.",
        "The occasions in their order; distances are not times. The ringed one is the reference, to whose shape the girder "
        "returns.",
        WIDTH,
        tall,
        body,
    )


def _words(result: Result, occasion: Occasion) -> Sequence[str]:
    return [w for w in (occasion.place, *measured(occasion), decided(result, occasion.name)) if w]


def _station(x: float, lower: float, occasion: Occasion, words: Sequence[str], *, reference: bool) -> str:
    ring = circle(x, TOP, 8.0, "ring") if reference else ""
    lead = line(x, TOP + 9, x, lower - 11, "sight") if lower > TOP + 30 else ""
    told = [
        text(x, lower + LINE * (i + 1), word, "side" if i == 0 else "tick", anchor="middle")
        for i, word in enumerate(words)
    ]
    return group(
        lead, ring, circle(x, TOP, 4.5, "target"), text(x, lower, occasion.name, "name", anchor="middle"), *told
    )
