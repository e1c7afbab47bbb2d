"""The whole in plain words, said before any table."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.campaign.found.result import OccasionFinding
from monochord.campaign.given.campaign import Campaign
from monochord.report.words import height_word, micrometres, side_word


def whole_sentence(campaign: Campaign, found: Sequence[OccasionFinding]) -> str:
    """One short sentence an occasion, the last word first: what lies how far from the line, what was left out."""
    said = [text for text in (_of_occasion(f) for f in found) if text]
    if not said:
        return f"Girder {campaign.girder.name}: nothing was measured yet that an axis or a target could be found from."
    return f"Girder {campaign.girder.name}. " + " ".join(said)


def _of_occasion(found: OccasionFinding) -> str:
    parts = [*_line_words(found), *_survey_words(found)]
    return f"{found.name}: {'; '.join(parts)}." if parts else ""


def _line_words(found: OccasionFinding) -> list[str]:
    if found.line is None:
        return []
    offsets = found.line.offsets
    worst = max(range(len(offsets.value)), key=lambda i: abs(offsets.value[i]))
    magnet, plane = offsets.names[worst].rsplit(".", 1)
    value, u = float(offsets.value[worst]), float(offsets.u[worst])
    side = side_word(value) if plane == "x" else height_word(value)
    where = f"{micrometres(abs(value), u).lstrip('+')} {side or 'off'} ({plane})"
    count = len(offsets.value) // 2
    return [f"{count} axes about their common line, the farthest is {magnet}, {where}"]


def _survey_words(found: OccasionFinding) -> list[str]:
    if found.points is None:
        return []
    words = [f"{len(found.points.names)} targets adjusted"]
    words += [f"sighting {r.station} to {r.target} is wrong ({r.kind}) and was left out" for r in found.points.rejected]
    words += [gate.message for gate in found.points.gates if not gate.ok]
    return words
