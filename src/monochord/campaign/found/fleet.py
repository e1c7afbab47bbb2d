"""Closure over the fleet: what the differences of wire and survey of many girders say about the budget."""

from __future__ import annotations

from dataclasses import dataclass

from monochord.campaign.found.comparison import Closure


@dataclass(frozen=True, slots=True)
class GirderClosure:
    """The closure of one girder, from the last run of its campaign.

    campaign  its folder;  girder, type_name  as the document has them
    since     UTC time of the first run in its record, which puts girders in order;  run  id of the run that is told
    start, end  the occasions between which wire and survey are held against each other
    """

    campaign: str
    girder: str
    type_name: str
    since: str
    run: str
    start: str
    end: str
    closure: Closure


@dataclass(frozen=True, slots=True)
class MagnetMean:
    """Mean difference of one magnet in one plane over the girders of one type, weighted by 1 / u^2.

    mean, u  [m], wire minus survey;  girders  that tell it;  probability  that chance gives |mean| / u or more, of this one alone
    """

    type_name: str
    magnet: str
    plane: str
    mean: float
    u: float
    girders: int
    probability: float


@dataclass(frozen=True, slots=True)
class FleetClosure:
    """The closures of a fleet taken together; girders are taken as independent of each other.

    girders       in time order;  chi_square, dof, probability  pooled: that chance gives as much or more
    risk          of calling a budget too small that is right
    distance, uniform_probability   of the girders' probabilities from the uniform law (Kolmogorov and Smirnov)
    below         girders with a probability below ``risk``, and that chance gives so many or more
    scale, scale_low, scale_high    sqrt(chi_square / dof) with its 95 % interval
    factor        what the budget may be enlarged by; None when nothing is to be enlarged or too few girders are in
    magnets       largest mean difference over its u first;  stands_out  the first of them that chance does not explain
    heaviest      the girder that adds most, and the pooled probability without it; None below two girders
    """

    girders: tuple[GirderClosure, ...]
    chi_square: float
    dof: int
    probability: float
    risk: float
    distance: float
    uniform_probability: float
    below: tuple[int, float]
    scale: float
    scale_low: float
    scale_high: float
    factor: float | None
    magnets: tuple[MagnetMean, ...]
    stands_out: tuple[MagnetMean, ...]
    heaviest: tuple[str, float] | None

    @property
    def fails(self) -> bool:
        """Whether the differences are larger than the budget says, at the stated risk."""
        return self.probability < self.risk
