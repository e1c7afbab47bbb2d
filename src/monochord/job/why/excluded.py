"""What a sighting that people set aside would have said, unfolded: its row, its target, its station, its instrument."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.campaign.found.excluded import Aside, AsideReading
from monochord.campaign.given.survey import Instrument, Sighting
from monochord.ground.trace import Line, Place, Sum, pointer
from monochord.job.set_aside import SPREADS, geometry, readings, residual, spread, with_settings
from monochord.job.why.known import Known
from monochord.survey.model import KINDS

#: The column of each kind of reading, as its place names it.
COLUMNS = ("direction", "zenith", "distance")


def of_excluded(known: Known, keys: Sequence[str], part: str) -> Sum | None:
    """A residual, its uncertainty, or one in the other, of a sighting that was set aside; None for any other number."""
    match tuple(keys):
        case ("excluded", i, "readings", k, ("residual" | "u" | "in_u") as which) if not part:
            aside, name = known.result.excluded[int(i)], pointer(*keys)
            if which == "in_u":
                return _in_u(aside, int(k), name)
            return _told(known, aside, int(k), name, which)
    return None


def _in_u(aside: Aside, k: int, name: str) -> Sum:
    found, before = aside.readings[k], name.removesuffix("in_u")
    lines = (
        Line("the residual", found.residual, f"{before}residual", unit=found.unit),
        Line("standard uncertainty of one such reading", found.u, f"{before}u", unit=found.unit),
    )
    return Sum(name, "1", found.in_u, lines, "the residual over its standard uncertainty", lambda v: v[0] / v[1])


def _told(known: Known, aside: Aside, k: int, name: str, which: str) -> Sum | None:
    excluded, found = aside.excluded, aside.readings[k]
    finding, instrument = known.occasion(excluded.occasion), known.result.campaign.instrument
    sighting = excluded.reading
    if finding is None or finding.points is None or instrument is None or not isinstance(sighting, Sighting):
        return None
    lines = geometry(excluded.occasion, finding.points, sighting)
    if isinstance(lines, str):
        return None
    kind = KINDS.index(found.kind)
    if which == "u":
        return _spread(instrument, lines, found, name)
    place = (Place(excluded.file, excluded.line, COLUMNS[kind]),)
    read = Line(f"read: {excluded.name}, {found.kind}", float(readings(sighting)[kind] or 0.0), places=place)
    how = "read, less what the station would read to the target, both from the adjustment without this sighting"
    return Sum(name, found.unit, found.residual, (read, *lines), how, lambda v: residual(v[0], v[1:], kind))


def _spread(instrument: Instrument, lines: Sequence[Line], found: AsideReading, name: str) -> Sum:
    kind = KINDS.index(found.kind)
    keys = SPREADS[kind]
    settings = [Line(key, float(getattr(instrument, key)), places=(Place("", 0, f"instrument.{key}"),)) for key in keys]
    count = len(keys)
    how = "what the instrument is good to, at the distance and steepness of this sight"
    return Sum(
        name, found.unit, found.u, (*settings, *lines), how,
        lambda v: spread(with_settings(instrument, kind, v[:count]), v[count:], kind),
    )  # fmt: skip
