"""From sightings to a clean adjustment of all stations, in no frame yet: gather, start, search, part."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from monochord.campaign.found.axes import Gate
from monochord.campaign.given.girder import Target
from monochord.campaign.given.survey import Instrument, Sighting
from monochord.ground.faults import Fault, Refused, Undetermined
from monochord.survey.adjust import Settings, State
from monochord.survey.blunders import Cleaned, Survey, clean, disagreement
from monochord.survey.moved import find_parting, part, parting_words
from monochord.survey.network import Network, gather
from monochord.survey.start import start

#: Typical residuals this many times the specification come from misread files, not from noise.
CHAOS = 50.0


def by_name(targets: Sequence[Target]) -> tuple[dict[str, Target], tuple[str, ...]]:
    """Targets by name, the first of each name, with notes about repeated names."""
    first: dict[str, Target] = {}
    notes = []
    for target in targets:
        if target.name in first:
            notes.append(f"target {target.name!r} stands twice in the list; its first line counts")
        first.setdefault(target.name, target)
    return first, tuple(notes)


def _started(network: Network, instrument: Instrument, listed: Mapping[str, Target]) -> Survey:
    wanted = np.array([name in listed and listed[name].carrier != "wall" for name in network.targets])
    first = start(network, instrument, wanted)
    rows = first.doubtful[network.pair]
    survey = Survey(
        network,
        State(first.position, first.rotation, first.points),
        np.repeat(rows[:, None], 3, axis=1),
        np.zeros(len(network.stations), np.bool_),
    )
    bad_station = ~first.placed[network.pair_station]
    bad_target = np.isnan(first.points[network.pair_target, 0])
    if (bad_station | bad_target).all():
        expected = "stations that share at least three targets, with direction, zenith angle and distance"
        raise Refused([Fault("sightings that do not hang together", expected, "check names and units of the survey")])
    return survey.keeping(~(bad_station | bad_target), first.reasons)


def _cleaned(survey: Survey, instrument: Instrument, settings: Settings) -> Cleaned:
    try:
        return clean(survey, instrument, settings)
    except Undetermined as loss:
        given = f"a survey that does not determine {', '.join(loss.unknowns)}: {loss.why}"
        expected = "stations that share at least three targets, with direction, zenith angle and distance"
        remedy = "check the units and the sense of the angles; sight more targets from several stations"
        raise Refused([Fault(given, expected, remedy)]) from loss


def adjusted(
    sightings: Sequence[Sighting], instrument: Instrument, listed: Mapping[str, Target], settings: Settings
) -> tuple[Network, Cleaned, tuple[str, ...], list[Gate]]:
    """The network and its cleaned adjustment, notes about the input, and a gate for a station that moved."""
    network, notes = gather(sightings, tuple(listed))
    cleaned = _cleaned(_started(network, instrument, listed), instrument, settings)
    if cleaned.noise == 1.0 and not cleaned.exhausted:
        return network, cleaned, notes, []

    def misfit(parted: Sequence[Sighting]) -> float:
        try:
            return disagreement(_started(gather(parted, tuple(listed))[0], instrument, listed), instrument, settings)
        except Refused:
            return float("inf")

    found = find_parting(sightings, misfit)
    if found is not None and np.isfinite(found[1]):
        apart, _ = gather(part(sightings, found[0]), tuple(listed))
        again = _cleaned(_started(apart, instrument, listed), instrument, settings)
        joined = len(again.survey.network.stations) > len(cleaned.survey.network.stations)
        if joined and again.noise == 1.0 and not again.exhausted:
            return apart, again, notes, [Gate("stations stood still", False, parting_words(sightings, found[0]))]
    _refuse_chaos(cleaned)
    return network, cleaned, notes, []


def _refuse_chaos(cleaned: Cleaned) -> None:
    """Refuse stations that contradict each other far beyond any noise; their readings were misread."""
    if cleaned.noise > CHAOS**2:
        given = f"stations that contradict each other {np.sqrt(cleaned.noise):.0f} times beyond the specification"
        remedy = (
            "check the units and the sense of the angles, the unit of the distances and the instrument's specification"
        )
        raise Refused([Fault(given, "stations that agree about the targets they share", remedy)])
