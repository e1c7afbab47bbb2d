"""Whether the closures of a virtual fleet follow the law that a right budget promises, and show a budget that is too small.

Each girder is measured on the bench and in the tunnel, by wire and by survey, with effects that no fit models; the readings
are evaluated twice: with the uncertainties that made them, and with a reflector's seating told at half.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from evidence.study import Figure, Study, judged
from monochord.campaign.found.fleet import FleetClosure, GirderClosure
from monochord.campaign.given.budget_scale import FEWEST_GIRDERS
from monochord.campaign.given.campaign import Campaign
from monochord.ground.statistics import chi_square_quantile
from monochord.job.context import real_context
from monochord.job.evaluate import evaluate
from monochord.simulate.campaign import simulate_campaign
from monochord.verdict.fleet import fleet_closure

#: Chance with which a figure of a right budget lies outside its band, on either side.
TAIL = 0.0005
#: The seating of a reflector as it is told to the spoiled evaluation, over what it is.
TOLD = 0.5


def campaigns(seed: int) -> tuple[Campaign, Campaign]:
    """One girder's two occasions with wire and survey: as they were made, and with the seating told too small."""
    made = simulate_campaign(seed).campaign
    both = tuple(o for o in made.occasions if o.scans and o.sightings)
    right = replace(made, occasions=both, tolerances=())
    assert right.instrument is not None
    told = replace(right.instrument, u_mounting=TOLD * right.instrument.u_mounting)
    return right, replace(right, instrument=told)


def closed(campaign: Campaign, name: str) -> GirderClosure:
    """The closure of one girder."""
    result = evaluate(campaign, real_context())
    [change] = [c for c in result.comparisons if c.closure is not None]
    assert change.closure is not None
    girder = result.campaign.girder
    return GirderClosure(name, name, girder.type_name, name, name, change.start, change.end, change.closure)


def fleets(seed: int, size: int) -> tuple[FleetClosure, FleetClosure]:
    """The fleet with the right budget, and the same fleet with the spoiled one."""
    pairs = [(f"{k:05d}", *campaigns(seed + k)) for k in range(size)]
    right = fleet_closure([closed(campaign, name) for name, campaign, _ in pairs])
    return right, fleet_closure([closed(campaign, name) for name, _, campaign in pairs])


def run(seed: int, size: int) -> Mapping[str, Figure]:
    """Figures of ``size`` girders with the seeds from ``seed`` on."""
    right, spoiled = fleets(seed, size)
    low, high = (chi_square_quantile(p, right.dof) / right.dof for p in (TAIL, 1.0 - TAIL))
    law = "chi-square over its degrees of freedom, outside 1 time in 1000"
    figures = {
        "right budget: pooled square sum over its degrees of freedom": Figure(
            right.chi_square / right.dof, low, high, "", law
        ),
        "right budget: chance of probabilities as far from even": Figure(
            right.uniform_probability, TAIL, 1.0, "", "Kolmogorov and Smirnov, below 1 time in 2000"
        ),
        "right budget: factors proposed": Figure(
            float(right.factor is not None), 0.0, 0.0, "", "none, at a risk of 1 in 100"
        ),
    }
    if size < FEWEST_GIRDERS:
        few = Figure(float(spoiled.factor is not None), 0.0, 0.0, "", "none from fewer than eleven girders")
        return figures | {"spoiled budget, few girders: factors proposed": few}
    most = (1.0 / TOLD) * math.sqrt(high)
    return figures | {
        "spoiled budget: factors proposed": Figure(float(spoiled.factor is not None), 1.0, 1.0, "", "the one"),
        "spoiled budget: factor": Figure(
            spoiled.scale,
            1.0,
            most,
            "",
            "above 1; at most 1/0.5, were all uncertainty seating, and the chance of the square sum",
        ),
        "spoiled budget: lower end of the factor's 95 % interval": Figure(
            spoiled.scale_low, 1.0, spoiled.scale, "", "above 1, when a failed closure is no chance"
        ),
    }


JUDGED = ("ground", "wire", "survey", "simulate")

STUDY = Study(
    name="closure_fleet",
    question="Do closures of a virtual fleet follow the law that a right budget promises, and show one that is too small?",
    run=run,
    sources=(
        "evidence/studies/closure_fleet.py",
        *judged(*JUDGED),
        "src/monochord/verdict/fleet.py",
        "src/monochord/job/changes.py",
        "src/monochord/job/evaluate.py",
    ),
    seed=20310505,
    size=60,
    short_size=3,
)
