"""What every explainer may ask: the result, its document, and the rooms that tell their own numbers."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from monochord.campaign.found.comparison import Comparison
from monochord.campaign.found.result import OccasionFinding, Result
from monochord.ground.faults import Refused
from monochord.ground.trace import Sum, Unfold, pointer
from monochord.job.why.names import at


@dataclass(frozen=True, eq=False, slots=True)
class Room:
    """One noun that tells its own numbers: where its part of the document begins, and the first keys it answers for."""

    prefix: str
    heads: tuple[str, ...]
    unfold: Unfold | None


@dataclass(frozen=True, eq=False, slots=True)
class Known:
    """A result with its document; ``owners`` remembers which room tells a cause."""

    result: Result
    document: Mapping[str, object]
    rooms: tuple[Room, ...]
    owners: dict[str, str] = field(default_factory=dict)

    def number(self, *keys: str | int) -> float:
        """The document's number at the keys."""
        found = at(self.document, [str(k) for k in keys])
        if not isinstance(found, (int, float)):
            raise KeyError(keys[-1])
        return float(found)

    def occasion(self, name: str) -> OccasionFinding | None:
        """What was found on an occasion."""
        return next((o for o in self.result.occasions if o.name == name), None)

    def since_reference(self, occasion: str) -> tuple[int, Comparison] | None:
        """The comparison of the reference with an occasion, and its place in the document."""
        for i, change in enumerate(self.result.comparisons):
            if change.start == self.result.campaign.reference and change.end == occasion:
                return i, change
        return None

    def cause(self, ident: str, i: int, j: int) -> str:
        """Name of an entry of the spread of a cause, at the room that tells it."""
        if ident not in self.owners:
            self.owners[ident] = next((r.prefix for r in self.rooms if _tells(r, ident)), "")
        first, second = sorted((i, j))
        return self.owners[ident] + pointer("cause", ident, first, second)


def _tells(room: Room, ident: str) -> bool:
    if room.unfold is None:
        return False
    try:
        room.unfold(pointer("cause", ident, 0, 0)[1:])
    except Refused:
        return False
    return True


def rooms_of(result: Result) -> tuple[Room, ...]:
    """Every noun of a result that has numbers of its own, in the order of the document."""
    found: list[Room] = []
    for o in result.occasions:
        prefix = pointer("occasions", o.name)
        if o.wire is not None:
            found.append(Room(prefix, ("axes", "wire"), o.wire.unfold))
        if o.points is not None:
            found.append(Room(prefix, ("targets", "stations", "survey", "rejected"), o.points.unfold))
    found += [Room(pointer("comparisons", i), (), c.unfold) for i, c in enumerate(result.comparisons)]
    found += [Room(pointer("plans", i), (), p.unfold) for i, p in enumerate(result.plans)]
    return tuple(found)


#: Tells a number of its own family, or None when it is of another.
Teller = Callable[[Known, Sequence[str], str], Sum | None]
