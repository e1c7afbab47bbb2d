"""The campaign: one girder's given facts and its occasions, in the order they happened."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from monochord.campaign.given.budget_scale import BudgetScale
from monochord.campaign.given.excluded import Excluded
from monochord.campaign.given.girder import Girder
from monochord.campaign.given.imports import Import
from monochord.campaign.given.occasion import Occasion
from monochord.campaign.given.pairing import Pairing
from monochord.campaign.given.survey import Instrument
from monochord.campaign.given.tolerance import Tolerance
from monochord.campaign.given.wire import Wire
from monochord.campaign.origin import Source
from monochord.ground.faults import Fault

__all__ = ["Campaign", "LineRule", "Tolerance"]


@dataclass(frozen=True, slots=True)
class LineRule:
    """The declared rule of the common line.

    line     "refitted" on the occasion, or "bench": the line of the reference occasion carried by targets
    weights  "equal", "by kind" or "given"; weight_of maps a kind or a magnet's name to its weight
    """

    line: str = "refitted"
    weights: str = "equal"
    weight_of: Mapping[str, float] = field(default_factory=dict)

    @property
    def words(self) -> str:
        """The rule as people say it."""
        where = "refitted on the occasion" if self.line == "refitted" else "the bench line carried by the targets"
        how = {
            "equal": "all magnets weighted alike",
            "by kind": "magnets weighted by kind",
            "given": "magnets weighted as given",
        }
        return f"straight line, {where}, {how[self.weights]}"


@dataclass(frozen=True, slots=True)
class Campaign:
    """Everything that is given about one girder.

    reference  name of the occasion to which shapes return, None when there is none yet
    inputs     every file that was read;  notes  faults that did not stop the reading
    budget_scale  what the uncertainties that decide are enlarged by, None when they are taken as they are
    pairings    lists of names that were laid side by side;  imports  how every file was read
    described   key of the lab description, such as "frame.x" -> its line (1-based)
    excluded    sightings and scans that people set aside; those that count again stay told
    """

    girder: Girder
    wire: Wire | None
    instrument: Instrument | None
    line_rule: LineRule
    tolerances: tuple[Tolerance, ...]
    occasions: tuple[Occasion, ...]
    reference: str | None
    inputs: tuple[Source, ...]
    settings: Mapping[str, str]
    notes: tuple[Fault, ...] = ()
    budget_scale: BudgetScale | None = None
    pairings: tuple[Pairing, ...] = ()
    imports: tuple[Import, ...] = ()
    described: Mapping[str, int] = field(default_factory=dict)
    excluded: tuple[Excluded, ...] = ()
