"""Range scales of all surveyed occasions against each other, noted in each survey."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial

from monochord.campaign.found.axes import Gate
from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import Temperature
from monochord.campaign.given.campaign import Campaign
from monochord.girder.temperature import temperature_of
from monochord.ground.faults import MonochordError
from monochord.ground.trace import Line, Place, Sum, pointer
from monochord.survey.scale import Scales, occasion_scales
from monochord.survey.sizes import Stretch
from monochord.survey.unfold_scale import Compared, with_scale

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
    stretches = stretches_of(campaign, list(points))
    try:
        scales = occasion_scales(points, stretches, neutral_line=neutral)
    except MonochordError as error:
        gate = Gate("range scale", True, f"range scales could not be compared: {error}")
        return {name: replace(p, gates=(*p.gates, gate)) for name, p in points.items()}
    compared = Compared(points, stretches, neutral, scales)
    stretch = partial(stretch_sum, campaign)
    return {
        name: replace(_noted(name, p, scales), unfold=with_scale(name, p.unfold, compared, stretch))
        for name, p in points.items()
    }


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


def stretch_sum(campaign: Campaign, name: str) -> Sum:
    """Why the girder is said to be longer on an occasion (``<name>``), and how well that is known (``u <name>``)."""
    names = {o.name for o in campaign.occasions}
    unsure = name not in names and name.removeprefix("u ") in names
    occasion = name.removeprefix("u ") if unsure else name
    given = next(o for o in campaign.occasions if o.name == occasion)
    mean = temperature_of(given.temperatures, given.temperature).mean
    stretch = stretches_of(campaign, [occasion])[occasion]
    expansion = campaign.girder.beam.expansion if campaign.girder.beam else 0.0
    first = Line("expansion of the girder, per kelvin", expansion, places=(Place("", 0, "girder.beam.expansion"),))
    if unsure:
        key = "U_MEAN_TEMPERATURE" if mean is not None else "U_UNREAD_TEMPERATURE"
        size = U_MEAN_TEMPERATURE if mean is not None else U_UNREAD_TEMPERATURE
        second = Line("how well its temperature is known, in kelvin", size, places=(Place("", 0, f"job.scales.{key}"),))
        how = "expansion times how well the mean temperature is known"
        return Sum(f"survey/u_scale#stretch {name}", "1", stretch.u, (first, second), how, math.prod)
    if mean is None:
        how = "no temperature was read on this occasion: no stretch is taken off"
        line = Line("stretch that is taken off", 0.0, places=(Place("", 0, "job.scales.U_UNREAD_TEMPERATURE"),))
        return Sum(f"survey/scale#stretch {name}", "1", stretch.size, (line,), how)
    second = Line(
        "mean temperature of the girder, in degC", mean, pointer("occasions", occasion, "temperature", "mean")
    )
    how = "expansion times the temperature above 20 degC"
    return Sum(f"survey/scale#stretch {name}", "1", stretch.size, (first, second), how, _warmed)


def _warmed(values: Sequence[float]) -> float:
    return values[0] * (values[1] - 20.0)
