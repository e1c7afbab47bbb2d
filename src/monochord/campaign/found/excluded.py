"""What readings that people set aside would have said, held against the adjustment without them."""

from __future__ import annotations

from dataclasses import dataclass

from monochord.campaign.given.excluded import Excluded


@dataclass(frozen=True, slots=True)
class AsideReading:
    """One reading of a sighting that was set aside: read minus computed from the adjustment without it.

    kind      direction, zenith angle or distance;  unit  rad or m
    residual  read minus computed;  u  standard uncertainty of one such reading, without that of the adjustment
    """

    kind: str
    unit: str
    residual: float
    u: float

    @property
    def in_u(self) -> float:
        """The residual in standard uncertainties of one such reading."""
        return self.residual / self.u


@dataclass(frozen=True, slots=True)
class Aside:
    """One exclusion with what its reading would have said; ``reason`` tells why nothing can be said."""

    excluded: Excluded
    readings: tuple[AsideReading, ...] = ()
    reason: str = ""
