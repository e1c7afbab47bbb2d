"""Budgets of every deciding quantity of a run: what brings its uncertainty, what would help, what would turn its verdict."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from monochord.campaign.found.axes import Axis
from monochord.campaign.found.budget import Budget
from monochord.campaign.found.comparison import Comparison
from monochord.campaign.found.result import OccasionFinding, Result, WireFinding
from monochord.campaign.found.verdict import Verdict
from monochord.campaign.given.campaign import Campaign
from monochord.campaign.given.occasion import Occasion
from monochord.files.campaign_file import load_campaign
from monochord.ground.estimate import Estimate, kind_of
from monochord.ground.faults import Fault, Refused
from monochord.job.context import Context
from monochord.job.scales import U_MEAN_TEMPERATURE
from monochord.report.budgeting import lines_of, occasions_of, table_lines, whole_sentence
from monochord.verdict.budget import Variable, budget
from monochord.verdict.measures import Done, Measure, SecondMode, measures_of
from monochord.wire.second_mode import best_second_mode

#: Quantity of a verdict -> component of the estimate that it was read from, behind the magnet's name.
COMPONENTS: Mapping[str, str] = {
    "x": "x", "y": "y", "own_move_x": "dx", "own_move_y": "dy", "slope_x": "slope_x", "slope_y": "slope_y", "roll": "roll",
}  # fmt: skip
#: A quantity made of several components -> these; each of them has a budget of its own.
MADE_OF: Mapping[str, tuple[str, ...]] = {
    "offset": ("x", "y"), "own_move": ("own_move_x", "own_move_y"), "slope": ("slope_x", "slope_y"),
}  # fmt: skip


@dataclass(frozen=True, eq=False, slots=True)
class Ground:
    """What the budgets of one occasion are read from.

    change  its comparison with the reference, None without one
    """

    given: Occasion
    found: OccasionFinding
    change: Comparison | None

    def estimate(self, magnet: str, quantity: str) -> Estimate | None:
        """The estimate that holds a quantity of a magnet, None where nothing with causes is known of it."""
        return next((e for e in self._all(magnet, quantity) if _holds(e, f"{magnet}.{COMPONENTS[quantity]}")), None)

    def _all(self, magnet: str, quantity: str) -> Iterator[Estimate]:
        if quantity in ("x", "y"):
            yield from (line.offsets for line in [self.found.line] if line is not None)
        elif quantity.startswith("own_move"):
            yield from (m.estimate for m in (self.change.own_moves if self.change else ()) if m.magnet == magnet)
        else:
            for axis in self.found.wire.axes if self.found.wire else ():
                yield from (e for e in (axis.estimate, axis.roll_estimate) if e is not None and axis.magnet == magnet)


def _holds(estimate: Estimate, name: str) -> bool:
    return name in estimate.names and bool(np.isfinite(estimate.value[estimate.names.index(name)]))


def budgets(
    campaign: Campaign, found: Sequence[OccasionFinding], changes: Sequence[Comparison], judged: Sequence[Verdict]
) -> tuple[Budget, ...]:
    """A budget for every quantity that a verdict rests on, and for every offset, in the order of occasions and magnets."""
    given = {o.name: o for o in campaign.occasions}
    made: list[Budget] = []
    for finding in found:
        since = [c for c in changes if c.start == campaign.reference and c.end == finding.name]
        ground = Ground(given[finding.name], finding, since[-1] if since else None)
        here = [v for v in judged if v.occasion == finding.name]
        made += _of_occasion(campaign, ground, found, here)
    return tuple(made)


def _of_occasion(
    campaign: Campaign, ground: Ground, found: Sequence[OccasionFinding], judged: Sequence[Verdict]
) -> Iterator[Budget]:
    measures = measures_of(_done(campaign, ground))
    variables = _variables(found)
    for magnet, quantity in _asked(campaign, ground.found, judged):
        estimate = ground.estimate(magnet, quantity)
        if estimate is None:
            continue
        limits = [v for v in judged if v.magnet == magnet and v.quantity.replace(" ", "_") == quantity]
        tightest = min(limits, key=lambda v: v.limit, default=None)
        yield budget(
            estimate,
            f"{magnet}.{COMPONENTS[quantity]}",
            ends=None if tightest is None else tightest.ends,
            measures=[*measures, *_wire_instead(ground, found, magnet, quantity)],
            variables=variables,
            place=(ground.found.name, magnet, quantity),
            enlarged=_enlarged(campaign, quantity),
        )


def _enlarged(campaign: Campaign, quantity: str) -> float:
    """By how much the campaign has the uncertainty of a quantity enlarged; angles are not."""
    enlarged = campaign.budget_scale is not None and (quantity in ("x", "y") or quantity.startswith("own_move"))
    return campaign.budget_scale.factor if enlarged and campaign.budget_scale is not None else 1.0


def measures_at(result: Result, occasion: str, magnet: str, quantity: str) -> list[Measure]:
    """What could be done once more for a quantity on an occasion, as its budget was told with."""
    given = next(o for o in result.campaign.occasions if o.name == occasion)
    finding = next(f for f in result.occasions if f.name == occasion)
    since = [c for c in result.comparisons if c.start == result.campaign.reference and c.end == occasion]
    ground = Ground(given, finding, since[-1] if since else None)
    measures = measures_of(_done(result.campaign, ground))
    return [*measures, *_wire_instead(ground, result.occasions, magnet, quantity)]


def _asked(campaign: Campaign, finding: OccasionFinding, judged: Sequence[Verdict]) -> list[tuple[str, str]]:
    """Magnets and quantities that need a budget: offsets, and the components of what was judged."""
    names = [m.name for m in campaign.girder.magnets]
    asked = {(m, q) for m in names for q in "xy"} if finding.line is not None else set()
    for v in judged:
        quantity = v.quantity.replace(" ", "_")
        parts = (quantity,) if quantity in COMPONENTS else _parts(quantity)
        asked |= {(m, q) for m in ([v.magnet] if v.magnet in names else names) for q in parts}
    order = list(COMPONENTS)
    return sorted(asked, key=lambda item: (names.index(item[0]), order.index(item[1])))


def _parts(quantity: str) -> tuple[str, ...]:
    return next((parts for head, parts in MADE_OF.items() if quantity.startswith(head)), ())


def _done(campaign: Campaign, ground: Ground) -> Done:
    """What was done on an occasion, as far as it decides what doing more would give."""
    given, found = ground.given, ground.found
    sightings = given.sightings if found.points is not None else ()
    seen: dict[tuple[str, str], int] = {}
    for s in sightings:
        seen[(s.station, s.target)] = seen.get((s.station, s.target), 0) + 1
    return Done(
        occasion=given.name,
        stringing=(given.stringing or given.name) if found.wire is not None else "",
        rounds=int(np.median(list(seen.values()))) if seen else 0,
        stations=len({s.station for s in sightings}),
        second_modes=_second_modes(campaign, given, found.wire) if found.wire is not None else {},
        change=f"{ground.change.start}-{ground.change.end}" if ground.change else "",
        soaked=_soaked(given),
    )


def _second_modes(campaign: Campaign, given: Occasion, wire: WireFinding) -> dict[str, SecondMode]:
    """For every magnet that was scanned in a single mode, what the best second one would leave."""
    modes: dict[str, set[int]] = {}
    told = [(s.magnet, s.mode, s.magnet_current) for s in given.scans]
    told += [(s.magnet, s.mode, s.magnet_current) for s in given.raw_scans]
    for magnet, mode, current in told:
        if current != 0.0:
            modes.setdefault(magnet, set()).add(mode)
    magnets = {m.name: m for m in campaign.girder.magnets}
    made: dict[str, SecondMode] = {}
    for axis in wire.axes:
        scanned = modes.get(axis.magnet, set())
        if len(scanned) != 1 or campaign.wire is None or axis.magnet not in magnets:
            continue
        f1 = (wire.f1_x + wire.f1_y) / 2.0
        second = best_second_mode(magnets[axis.magnet], next(iter(scanned)), campaign.wire, f1, _u_fit(axis))
        if second is not None:
            made[axis.magnet] = SecondMode(second.mode, second.fit, second.leakage)
    return made


def _u_fit(axis: Axis) -> float:
    """Standard uncertainty of a centre by the noise of its own scans, the mean of both planes [m]."""
    causes = [f for c, f in axis.estimate.factors.items() if kind_of(c) == "fit"]
    return float(np.sqrt(sum(float(np.trace(f.cov[:2, :2])) for f in causes) / 2.0))


def _soaked(given: Occasion) -> float | None:
    """Part of the stretch's variance that would remain if the sensors alone limited this occasion's mean temperature.

    The stretch's variance is that of two occasions with U_MEAN_TEMPERATURE each; a girder at the room's temperature is as
    well known as the mean of its sensors.
    """
    if not given.temperatures:
        return None
    by_sensors = max(t.u for t in given.temperatures) ** 2 / len(given.temperatures)
    return min((1.0 + by_sensors / U_MEAN_TEMPERATURE**2) / 2.0, 1.0)


def _wire_instead(ground: Ground, found: Sequence[OccasionFinding], magnet: str, quantity: str) -> list[Measure]:
    """Where no wire was scanned: what one would give, as well as it was known on an occasion that had one."""
    if ground.found.wire is not None or quantity not in ("x", "y"):
        return []
    with_wire = [f for f in found if f.wire is not None and f.line is not None]
    for other in reversed(with_wire):
        name = f"{magnet}.{quantity}"
        if other.line is not None and _holds(other.line.offsets, name):
            basis = f"predicted: as well known as on {other.name}, which had a wire"
            u = float(other.line.offsets.pick([name]).u[0])
            return [Measure("clamp", "a wire on this occasion", basis, instead=u)]
    return []


def _variables(found: Iterable[OccasionFinding]) -> dict[str, Variable]:
    """Sags are told in metres at mid-span, not as parts of themselves."""
    return {
        f"sag:{f.name}": Variable("sag at mid-span", "m", f.wire.sag)
        for f in found
        if f.wire is not None and np.isfinite(f.wire.sag)
    }


def find_budgets(result: Result, occasion: str = "", magnet: str = "", quantity: str = "") -> list[Budget]:
    """The budgets of a result that fit what is named; what is empty fits all.

    Raises Refused with the names that there are.
    """
    found = list(result.budgets)
    for what, name, of in (
        ("occasion", occasion, _occasion),
        ("magnet", magnet, _magnet),
        ("quantity", quantity, _quantity),
    ):
        known = list(dict.fromkeys(of(b) for b in found))
        if name and name not in known:
            expected = f"one of {', '.join(known)}" if known else "a campaign with offsets"
            raise Refused([Fault(f"{what} {name!r}", expected, f"name a {what} that has a budget")])
        found = [b for b in found if not name or of(b) == name]
    return found


def _occasion(made: Budget) -> str:
    return made.occasion


def _magnet(made: Budget) -> str:
    return made.magnet


def _quantity(made: Budget) -> str:
    return made.quantity


def budget_text(folder: Path, context: Context, occasion: str = "", magnet: str = "", quantity: str = "") -> list[str]:
    """What limits the numbers of a campaign, as lines: one quantity in full, or a table of an occasion, the latest by itself."""
    from monochord.job.evaluate import evaluate  # here: evaluate itself makes the budgets

    result = evaluate(load_campaign(folder), context)
    found = find_budgets(result, occasion, magnet, quantity)
    if magnet:
        return lines_of(found)
    latest = occasion or next(iter(occasions_of(result)), "")
    if not latest:
        return ["No number with an uncertainty was found, so nothing limits one."]
    return [whole_sentence(result) if not occasion else "", *table_lines(result, latest)]
