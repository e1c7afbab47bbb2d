"""What must be kept in mind wherever numbers lead to work on a girder."""

from __future__ import annotations

from collections.abc import Iterable

#: First of all cautions.
ADVICE = (
    "The tool gives numbers and advises. Local rules and licensed people decide whether, when and by whom work is done."
)

#: Common practice, no source: dangers that turning, lifting and sighting bring.
WORK = (
    "Lifting: a girder with its magnets is a heavy load with energy stored in bolts, supports and slings. Nobody stands or "
    "reaches below it.",
    "Unloading feet: take no foot's load away further than planned; at least three feet that stand not in one line bear "
    "at all times.",
    "One-sided feet: the girder only rests on them and may lift off or drop while a neighbour is turned. Loads printed here "
    "are expected, not measured.",
    "Energised magnets: strong fields and stored current. Only the people licensed for it declare them off.",
    "Laser: do not look into the beam of the instrument, and keep shiny tools out of it.",
)


def cautions(further: Iterable[str] = ()) -> tuple[str, ...]:
    """The advice first, then the plan's own cautions, then those of the work; none twice.

    >>> cautions(["Mind the step."])[:2] == (ADVICE, "Mind the step.")
    True
    """
    return tuple(dict.fromkeys([ADVICE, *further, *WORK]))
