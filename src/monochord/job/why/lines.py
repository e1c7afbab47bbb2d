"""The common line and what counts from it: offsets, start and slope, leverage, weights, carried centres, moves.

offset = centre - line, and the line is a weighted sum of the centres (see monochord.verdict.line), so every
number here is a sum of centres with factors that hang on the magnets' places and declared weights alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.axes import Axis, CommonLine
from monochord.campaign.found.result import OccasionFinding
from monochord.ground.trace import Line, Place, Sum, pointer
from monochord.job.changes import carried_axes
from monochord.job.why.known import Known
from monochord.verdict.line import known as with_centre
from monochord.verdict.line import line_projector, weights_of

PLANES = ("x", "y")


@dataclass(frozen=True, eq=False, slots=True)
class Centres:
    """The centres that an occasion is judged by, or that its line was laid through.

    magnets, z (n,) [m], weights (n,);  values  (n, 2) [m];  occasion  whose they are;  carried  by targets
    """

    occasion: str
    carried: bool
    magnets: tuple[str, ...]
    z: NDArray[np.float64]
    weights: NDArray[np.float64]
    values: NDArray[np.float64]

    def name(self, i: int, plane: str) -> str:
        """Name of one centre."""
        return pointer("occasions", self.occasion, "axes", self.magnets[i], plane) + (
            "#carried" if self.carried else ""
        )

    @property
    def projector(self) -> NDArray[np.float64]:
        """Start and slope of the line from the centres, (2, n)."""
        return line_projector(self.z, self.weights)


def of_line(known: Known, keys: Sequence[str], part: str) -> Sum | None:
    """A number of the common line, an order to move, or what stands behind one; None for any other number."""
    found: Sum | None = None
    match tuple(keys), part:
        case (("occasions", o, "line", "offsets", magnet, ("x" | "y") as plane), ""):
            found = _offset(known, o, magnet, plane)
        case (("occasions", o, "line", ("start" | "slope") as which, i), "") if i in ("0", "1"):
            found = _fitted(known, o, which, int(i))
        case (("occasions", o, "line", "leverage", magnet), ""):
            found = _leverage(known, o, magnet)
        case (("occasions", o, "line"), words) if words:
            found = _behind_line(known, o, words)
        case (("occasions", o, "axes", magnet, ("x" | "y") as plane), "carried"):
            found = _carried(known, o, magnet, plane)
        case (("moves", o, magnet, ("x" | "y" | "u_x" | "u_y") as which), ""):
            found = _move(known, o, magnet, which)
    return found


def _found(known: Known, occasion: str) -> tuple[OccasionFinding, CommonLine] | None:
    found = known.occasion(occasion)
    return (found, found.line) if found is not None and found.line is not None else None


def judged(known: Known, occasion: str) -> Centres | None:
    """The centres of an occasion: by its own wire, else those of the reference carried by the targets."""
    found = known.occasion(occasion)
    if found is None:
        return None
    if found.wire is not None:
        return _centres(known, occasion, found.wire.axes, carried=False)
    since, reference = known.since_reference(occasion), known.occasion(known.result.campaign.reference or "")
    if since is None or reference is None or reference.wire is None:
        return None
    placed = [a for a in with_centre(reference.wire.axes) if a.frame == "girder"]
    return _centres(known, occasion, carried_axes(placed, since[1]), carried=True)


def laid_through(known: Known, occasion: str) -> Centres | None:
    """The centres that the line of an occasion goes through: its own, or by the rule those of the reference."""
    if known.result.campaign.line_rule.line != "bench":
        return judged(known, occasion)
    reference = known.occasion(known.result.campaign.reference or "")
    if reference is None or reference.wire is None:
        return None
    placed = [a for a in with_centre(reference.wire.axes) if a.frame == "girder"]
    return _centres(known, reference.name, placed, carried=False)


def _centres(known: Known, occasion: str, axes: Sequence[Axis], *, carried: bool) -> Centres | None:
    found = with_centre(axes)
    if not found:
        return None
    magnets, rule = known.result.campaign.girder.magnets, known.result.campaign.line_rule
    weights = dict(zip((m.name for m in magnets), weights_of(rule, magnets).tolist(), strict=True))
    return Centres(
        occasion,
        carried,
        tuple(a.magnet for a in found),
        np.array([a.z for a in found]),
        np.array([weights.get(a.magnet, 1.0) for a in found]),
        np.array([a.estimate.value[:2] for a in found]),
    )


def _offset(known: Known, occasion: str, magnet: str, plane: str) -> Sum | None:
    found, own = _found(known, occasion), judged(known, occasion)
    if found is None or own is None or magnet not in own.magnets:
        return None
    i, c = own.magnets.index(magnet), PLANES.index(plane)
    at = found[1].start[c] + float(own.z[i]) * found[1].slope[c]
    line = pointer("occasions", occasion, "line")
    lines = (
        Line(f"centre of {magnet}", float(own.values[i, c]), own.name(i, plane)),
        Line(f"the common line at {magnet}, taken away", -at, f"{line}#at {magnet} {plane}", -1.0, at, "m"),
    )
    name = f"{line}{pointer('offsets', magnet, plane)}"
    value = known.number("occasions", occasion, "line", "offsets", magnet, plane)
    return Sum(name, "m", value, lines, f"centre minus line; the line: {found[1].rule}")


@dataclass(frozen=True, eq=False, slots=True)
class Weighted:
    """A number of the line of an occasion: name, unit, value (None when the document has none), plane, and its factors."""

    occasion: str
    name: str
    unit: str
    value: float | None
    plane: int
    factors: Callable[[Centres], NDArray[np.float64]]

    def told(self, known: Known) -> Sum | None:
        """The sum of centres with one factor each."""
        through = laid_through(known, self.occasion)
        if through is None:
            return None
        given = zip(
            through.magnets, self.factors(through).tolist(), through.values[:, self.plane].tolist(), strict=True
        )
        lines = tuple(
            Line(f"centre of {magnet}", w * v, through.name(i, PLANES[self.plane]), w, v, "m")
            for i, (magnet, w, v) in enumerate(given)
        )
        made = sum(line.amount for line in lines) if self.value is None else self.value
        where = pointer("occasions", self.occasion, "line")
        how = (
            "the line through the weighted centres; the factor of each hangs on the places and declared weights of all "
            f"magnets (ask {where}#factor of {through.magnets[0]} in start, ... in slope, ... at {through.magnets[0]})"
        )
        return Sum(self.name, self.unit, made, lines, how)


def _fitted(known: Known, occasion: str, which: str, plane: int) -> Sum | None:
    value = known.number("occasions", occasion, "line", which, plane)
    name = pointer("occasions", occasion, "line", which, plane)
    row = 0 if which == "start" else 1
    return Weighted(occasion, name, "rad" if row else "m", value, plane, lambda c: c.projector[row]).told(known)


def _behind_line(known: Known, occasion: str, words: str) -> Sum | None:
    """The line at a magnet (``at Q1 x``), or the factor of a centre (``factor of Q1 in slope``, ``factor of Q1 at Q2``)."""
    name = f"{pointer('occasions', occasion, 'line')}#{words}"
    own = judged(known, occasion)
    if own is None or _found(known, occasion) is None:
        return None
    kind, _, rest = words.partition(" ")
    magnet, _, plane = rest.rpartition(" ")
    if kind == "at" and magnet in own.magnets and plane in PLANES:
        z = float(own.z[own.magnets.index(magnet)])
        at = Weighted(occasion, name, "m", None, PLANES.index(plane), lambda c: c.projector[0] + z * c.projector[1])
        return at.told(known)
    return _factor(known, occasion, name, words, own)


def _factor(known: Known, occasion: str, name: str, words: str, own: Centres) -> Sum | None:
    through = laid_through(known, occasion)
    if through is None:
        return None
    for i, magnet in enumerate(through.magnets):
        target = words.removeprefix(f"factor of {magnet} ")
        if target == words:
            continue
        unit = {"in start": "1", "in slope": "1/m"}.get(target, "1")
        where = own.magnets.index(target[3:]) if target.startswith("at ") and target[3:] in own.magnets else None
        if where is None and target not in ("in start", "in slope"):
            continue
        z = float(own.z[where]) if where is not None else None
        return _of_places(name, unit, None, through, _picked(i, z, 0 if target == "in start" else 1))
    return None


def _picked(i: int, z: float | None, row: int) -> Callable[[NDArray[np.float64]], float]:
    """From the projector (2, n) the factor of centre i in start (row 0) or slope (row 1), or at a place z of the line."""
    if z is None:
        return lambda projector: float(projector[row, i])
    return lambda projector: float(projector[0, i] + z * projector[1, i])


def _leverage(known: Known, occasion: str, magnet: str) -> Sum | None:
    through = laid_through(known, occasion)
    name = pointer("occasions", occasion, "line", "leverage", magnet)
    value = known.number("occasions", occasion, "line", "leverage", magnet)
    if through is None:
        return None
    if known.result.campaign.line_rule.line == "bench":
        place = (Place("", 0, "line_rule.line"),)
        lines = (Line("the line does not follow a centre of this occasion", 0.0, places=place),)
        return Sum(
            name, "1", value, lines, "the line of the reference occasion does not follow the centres of this one"
        )
    i = through.magnets.index(magnet)
    return _of_places(name, "1", value, through, _picked(i, float(through.z[i]), 0))


def _of_places(
    name: str, unit: str, value: float | None, through: Centres, factor: Callable[[NDArray[np.float64]], float]
) -> Sum:
    """A factor as a formula of the places and weights of all magnets of the line."""
    count = len(through.magnets)

    def again(amounts: Sequence[float]) -> float:
        return factor(line_projector(np.array(amounts[:count]), np.array(amounts[count:])))

    at = [
        Line(f"place of {m} along the beam", float(z), unit="m", places=(Place("", 0, f"items.{m}.z"),))
        for m, z in zip(through.magnets, through.z, strict=True)
    ]
    weighed = [
        Line(f"weight of {m} in the line", float(w), unit="1", places=(Place("", 0, f"line_rule.weight_of.{m}"),))
        for m, w in zip(through.magnets, through.weights, strict=True)
    ]
    lines = (*at, *weighed)
    made = again([line.amount for line in lines]) if value is None else value
    how = "least squares for a straight line with declared weights: (A'WA)^-1 A'W, A with a column of ones and one of places"
    return Sum(name, unit, made, lines, how, again)


def _carried(known: Known, occasion: str, magnet: str, plane: str) -> Sum | None:
    since, own = known.since_reference(occasion), judged(known, occasion)
    if since is None or own is None or not own.carried or magnet not in own.magnets:
        return None
    i, change = since
    reference = pointer("occasions", change.start, "axes", magnet, plane)
    moved = pointer("comparisons", i, "axis_changes", magnet, plane)
    before = known.number("occasions", change.start, "axes", magnet, plane)
    changed = known.number("comparisons", i, "axis_changes", magnet, plane)
    lines = (
        Line(f"centre of {magnet} by the wire on {change.start}", before, reference),
        Line(f"its change from {change.start} to {occasion}", changed, moved),
    )
    value = float(own.values[own.magnets.index(magnet), PLANES.index(plane)])
    how = "no wire on this occasion: the centre of the reference, carried by the targets"
    return Sum(pointer("occasions", occasion, "axes", magnet, plane) + "#carried", "m", value, lines, how)


def _move(known: Known, occasion: str, magnet: str, which: str) -> Sum | None:
    value = known.number("moves", occasion, magnet, which)
    offset = known.number("occasions", occasion, "line", "offsets", magnet, which)
    of = pointer("occasions", occasion, "line", "offsets", magnet, which)
    name = pointer("moves", occasion, magnet, which)
    if which in PLANES:
        line = Line(f"offset of {magnet} from the common line", -offset, of, -1.0, offset, "m")
        return Sum(name, "m", value, (line,), "the move that takes the centre onto the line: minus its offset")
    line = Line(f"standard uncertainty of the offset of {magnet}", offset, of)
    return Sum(name, "m", value, (line,), "a move is known as well as the offset that it takes away")
