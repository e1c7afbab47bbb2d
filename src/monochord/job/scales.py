"""Range scales of all surveyed occasions against each other, noted in each survey."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from monochord.campaign.found.axes import Gate
from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import Temperature
from monochord.campaign.given.campaign import Campaign
from monochord.girder.temperature import temperature_of
from monochord.ground.faults import MonochordError
from monochord.survey.scale import Scales, occasion_scales
from monochord.survey.sizes import Stretch

#: How well a mean of contact sensors tells the girder's mean temperature [K]; common practice, no source.
U_MEAN_TEMPERATURE = 0.05
#: Spread of temperature assumed where none was read [K]; common practice, no source.
U_UNREAD_TEMPERATURE = 1.0


def stretches_of(campaign: Campaign, names: list[str]) -> dict[str, Stretch]:
    """Real stretch of the girder on each named occasion: expansion times temperature above 20 degC."""
    expansion = campaign.girder.beam.expansion if campaign.girder.beam else 0.0
    found: dict[str, Stretch] = {}
    for occasion in campaign.occasions:
        if occasion.name in names:
            mean = temperature_of(occasion.temperatures, occasion.temperature).mean
            u = U_MEAN_TEMPERATURE if mean is not None else U_UNREAD_TEMPERATURE
            found[occasion.name] = Stretch(expansion * ((20.0 if mean is None else mean) - 20.0), expansion * u)
    return found


def with_scales(campaign: Campaign, points: Mapping[str, PointSet]) -> dict[str, PointSet]:
    """The same surveys with their range scales and, where one is off, a gate that names it with its size.

    The coordinates are not changed here: which of them to trust is for the comparison, where the scale is an unknown.
    """
    if len(points) < 2:
        return dict(points)
    neutral = campaign.girder.beam.neutral_line if campaign.girder.beam else None
    try:
        scales = occasion_scales(points, stretches_of(campaign, list(points)), neutral_line=neutral)
    except MonochordError as error:
        gate = Gate("range scale", True, f"range scales could not be compared: {error}")
        return {name: replace(p, gates=(*p.gates, gate)) for name, p in points.items()}
    return {name: _noted(name, p, scales) for name, p in points.items()}


def _noted(name: str, points: PointSet, scales: Scales) -> PointSet:
    agrees = scales.wrong is None and "differs" not in scales.sentence
    ok = agrees or (scales.wrong is not None and scales.wrong != name)
    gate = Gate("range scale", ok, scales.sentence)
    return replace(points, scale=scales.scale[name], u_scale=scales.u[name], gates=(*points.gates, gate))


def stretch_between(campaign: Campaign, before: Temperature, after: Temperature) -> Stretch:
    """Real stretch of the girder from one occasion to another, and how well the sensors tell it."""
    expansion = campaign.girder.beam.expansion if campaign.girder.beam else 0.0
    if before.mean is None or after.mean is None:
        return Stretch(0.0, expansion * U_UNREAD_TEMPERATURE * 2.0**0.5)
    return Stretch(expansion * (after.mean - before.mean), expansion * U_MEAN_TEMPERATURE * 2.0**0.5)
