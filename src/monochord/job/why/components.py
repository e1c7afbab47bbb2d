"""Which estimate stands behind which uncertainty of the document."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from monochord.campaign.found.comparison import Comparison
from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import OccasionFinding
from monochord.ground.estimate import Estimate, stack
from monochord.ground.trace import Sum, pointer
from monochord.job.why.known import Known
from monochord.job.why.names import at, number_at, split
from monochord.job.why.shares import Entry, told
from monochord.report.document_comparison import SIX
from monochord.report.facts import axes_of, in_girder_frame


def uncertainty(known: Known, keys: Sequence[str], part: str) -> Sum | None:
    """A standard uncertainty or a covariance of the document and what stands behind it; None for any other number."""
    if part.startswith("with "):
        other, _, rest = part.removeprefix("with ").partition("#")
        pair = pair_entry(known, keys, other)
        return None if pair is None else told(pair, rest, known.cause)
    if part and part != "u" and not part.startswith(("cause ", "kind ", "u of kind ")):
        return None
    entry = entry_of(known, keys)
    if entry is None or (entry.value is None and not part):
        return None
    return told(entry, part, known.cause)


def entry_of(known: Known, keys: Sequence[str]) -> Entry | None:
    """The entry of a covariance that a number of the document is made of, or that tells how good it is."""
    found = _estimate(known, tuple(keys))
    if found is None:
        return None
    estimate, prefix, rest = found
    base, value = pointer(*keys), number_at(known.document, keys)
    rows, cause = _rows(known, keys, found)
    if not rows or not set(rows) <= set(estimate.names):
        return None
    i, j = (estimate.index(row) for row in rows)
    root, own = rest[-1] in ("u_x", "u_y"), base
    if i == j:
        base = _component(tuple(keys[: len(keys) - len(rest)]), rows[0].removeprefix(prefix))
    return Entry(estimate, i, j, base, own, value if root or "cov" in rest else None, root, cause)


def pair_entry(known: Known, keys: Sequence[str], other: str) -> Entry | None:
    """The covariance of one value of the document with another (or the same), told as ``<one>#with <other>``."""
    one, two = entry_of(known, keys), entry_of(known, split(other)[0])
    if one is None or two is None:
        return None
    name = f"{pointer(*keys)}#with {other}"
    if one.base == two.base:
        return Entry(one.estimate, one.i, one.i, one.base, name)
    if one.estimate is two.estimate:
        return Entry(one.estimate, one.i, two.i, name, name)
    both = stack([one.estimate.pick([one.label]), two.estimate.pick([two.label])])
    return Entry(both, 0, 1, name, name)


#: An estimate, what stands before the names of its components in it, and the keys that are left.
Place = tuple[Estimate, str, tuple[str, ...]]


def _rows(known: Known, keys: Sequence[str], found: Place) -> tuple[tuple[str, ...], str]:
    """Names of the two components that an entry joins, () for none, and the one cause it is about, "" for all."""
    estimate, prefix, rest = found
    rows: tuple[str, ...] = ()
    cause = ""
    match rest:
        case ("cov", i, j):
            labels = _labels(known, keys, estimate, prefix)
            rows = (labels[int(i)], labels[int(j)])
        case ("causes", _, ("u_x" | "u_y") as which):
            cause = str(at(known.document, (*keys[:-1], "cause")))
            rows = (_plane(estimate, prefix, which),) * 2
        case (("u_x" | "u_y") as which,):
            rows = (_plane(estimate, prefix, which),) * 2
        case (component,):
            rows = (prefix + component,) * 2
        case ("xyz", i) if i in ("0", "1", "2"):
            rows = (prefix + "xyz"[int(i)],) * 2
    return rows, cause


def _component(above: tuple[str, ...], component: str) -> str:
    """Name of the value that a variance is of, so that its shares are told under one name wherever they are met."""
    if above[-1:] == ("line",):  # the joint covariance of all offsets
        magnet, _, plane = component.rpartition(".")
        return pointer(*above, "offsets", magnet, plane)
    if above[2:3] == ("targets",):
        return pointer(*above, "xyz", "xyz".index(component))
    return pointer(*above, component)


def _plane(estimate: Estimate, prefix: str, which: str) -> str:
    """The component whose uncertainty u_x or u_y is: x and y, or of an own move dx and dy."""
    letter = which[-1]
    return f"{prefix}{letter}" if f"{prefix}{letter}" in estimate.names else f"{prefix}d{letter}"


def _labels(known: Known, keys: Sequence[str], estimate: Estimate, prefix: str) -> list[str]:
    """Names of the rows of a covariance in the document: as it labels them, else in their fixed order."""
    above = at(known.document, keys[: list(keys).index("cov")])
    labels = above.get("labels") if isinstance(above, dict) else None
    if isinstance(labels, list):
        return [str(label) if str(label) in estimate.names else f"{prefix}{label}" for label in labels]
    order = SIX if f"{prefix}{SIX[0]}" in estimate.names else ("x", "y", "z")
    return [f"{prefix}{q}" for q in order]


def _estimate(known: Known, keys: tuple[str, ...]) -> Place | None:
    """The estimate behind a part of the document."""
    match keys:
        case ("occasions", o, part, *rest) if rest:
            occasion = known.occasion(o)
            return _of_occasion(occasion, part, rest) if occasion is not None else None
        case ("comparisons", i, *rest):
            return _of_comparison(known.result.comparisons[int(i)], rest)
        case (
            "plans",
            i,
            ("offsets_before" | "offsets_after" | "shape_before" | "shape_after") as which,
            magnet,
            *rest,
        ):
            estimate = getattr(known.result.plans[int(i)], which)
            return (estimate, f"{magnet}.", tuple(rest)) if isinstance(estimate, Estimate) else None
    return None


def _of_occasion(found: OccasionFinding, part: str, rest: Sequence[str]) -> Place | None:
    if part == "axes":
        axis = axes_of(found).get(rest[0])
        estimate = axis.roll_estimate if axis and rest[1:2] == ["roll"] else axis.estimate if axis else None
        return (estimate, f"{rest[0]}.", tuple(rest[1:])) if estimate is not None else None
    if part == "line" and found.line is not None and len(rest) > 2:
        offsets = found.line.offsets
        return (offsets, "", tuple(rest)) if rest[0] == "cov" else (offsets, f"{rest[1]}.", tuple(rest[2:]))
    if part == "targets" and found.points is not None and rest[0] in found.points.names:
        return _in_girder_frame(found.points), f"{rest[0]}.", tuple(rest[1:])
    return None


def _of_comparison(found: Comparison, rest: Sequence[str]) -> Place | None:
    match tuple(rest):
        case ("axis_changes", magnet, *left):
            return found.axis_changes, f"{magnet}.", tuple(left)
        case (("own_moves" | "own_moves_from_targets") as which, magnet, *left):
            moves = found.own_moves if which == "own_moves" else found.own_moves_from_targets
            for move in moves:
                if move.magnet == magnet:
                    return move.estimate, f"{magnet}.", tuple(left)
    return None


@lru_cache(maxsize=32)
def _in_girder_frame(points: PointSet) -> Estimate:
    return in_girder_frame(points)
