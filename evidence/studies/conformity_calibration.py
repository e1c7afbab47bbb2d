"""Whether probabilities of conformity are what they say, and whether the risk at the limit is the stated one.

Three magnets of a virtual girder are left off the line of the other three on purpose: by offsets drawn evenly between 20 and
40 um, which is told to the evaluation as what is known beforehand, or by exactly the limit of 30 um. The other three carry the
line. The bench occasion with its wire is measured with all effects of the stern scenario and judged by the product's own rule.
"""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from evidence.study import Figure, Study, judged
from monochord.campaign.found.verdict import CONFORMS, DOES_NOT_CONFORM
from monochord.campaign.given.campaign import LineRule
from monochord.campaign.given.tolerance import PriorKnowledge, Tolerance
from monochord.job.context import real_context
from monochord.job.evaluate import evaluate
from monochord.simulate.campaign import simulate_campaign
from monochord.simulate.scenario import REFERENCE, stern_scenario
from monochord.simulate.story import draw_story
from monochord.verdict.decide import RISK

LIMIT, LOW, HIGH = 30e-6, 20e-6, 40e-6
PLANTED = ("Sext1", "Quad2", "Sext2")
BINS = 10
#: Trials below which the machine's cores are not shared.
LONG = 100


@dataclass(frozen=True, slots=True)
class Judged:
    """One planted offset: whether it lies within the limit, stated probability of that, and the verdict's word."""

    at_limit: bool
    within: bool
    probability: float
    verdict: str


def trial(seed: int) -> list[Judged]:
    """One girder; offsets drawn evenly with even seeds, at the limit with odd ones."""
    rng = np.random.default_rng([seed, 7])
    at_limit = seed % 2 == 1
    drawn = np.full((len(PLANTED), 2), LIMIT) if at_limit else rng.uniform(LOW, HIGH, size=(len(PLANTED), 2))
    planted = {m: (float(x), float(y)) for m, (x, y) in zip(PLANTED, drawn, strict=True)}
    known = PriorKnowledge("uniform", low=LOW, high=HIGH)
    told = replace(
        stern_scenario(),
        line_rule=LineRule(weights="given", weight_of=dict.fromkeys(PLANTED, 0.0)),
        tolerances=(Tolerance("offset", LIMIT, magnets=PLANTED, prior=known),),
    )
    story = replace(draw_story(told, np.random.default_rng([seed, 8])), line_up=0.0, planted=planted)
    campaign = simulate_campaign(seed, told, story).campaign
    only = tuple(replace(o, sightings=()) for o in campaign.occasions if o.name == REFERENCE)
    result = evaluate(replace(campaign, occasions=only), real_context())
    made = []
    for found in result.verdicts:
        if (found.magnet, found.quantity) in {(m, plane) for m in PLANTED for plane in "xy"}:
            true = planted[found.magnet]["xy".index(found.quantity)]
            stated = found.posterior if found.posterior is not None else math.nan
            made.append(Judged(at_limit, true <= LIMIT, stated, found.verdict))
    return made


def _calibrated(judged: list[Judged]) -> dict[str, Figure]:
    """Share that truly conforms less the mean stated probability, in each tenth of the stated probability that has any."""
    figures = {}
    stated = np.array([j.probability for j in judged])
    within = np.array([j.within for j in judged], float)
    bins = np.minimum((stated * BINS).astype(int), BINS - 1)
    for k in range(BINS):
        own = bins == k
        if not own.any():
            continue
        p = stated[own]
        half = 4.0 * math.sqrt(float((p * (1.0 - p)).sum())) / len(p) + 0.5 / len(p)
        name = f"share conforming less stated probability, {k / BINS:.1f} to {(k + 1) / BINS:.1f}, {len(p)} values"
        why = "4 standard deviations of the number that conform if the stated probabilities are right, and half a count"
        figures[name] = Figure(float(within[own].mean() - p.mean()), -half, half, "", why)
    return figures


def _risk(judged: list[Judged], word: str) -> Figure:
    part = float(np.mean([j.verdict == word for j in judged]))
    half = 4.0 * math.sqrt(RISK * (1.0 - RISK) / len(judged))
    why = f"{RISK:g} is the accepted risk; 4 standard deviations of a proportion"
    return Figure(part, max(RISK - half, 0.0), RISK + half, "", why)


def run(seed: int, size: int) -> Mapping[str, Figure]:
    """Figures of ``size`` girders with the seeds from ``seed`` on."""
    seeds = range(seed, seed + size)
    if size < LONG:
        judged = [j for each in map(trial, seeds) for j in each]
    else:
        with ProcessPoolExecutor(os.cpu_count()) as pool:
            judged = [j for each in pool.map(trial, seeds, chunksize=8) for j in each]
    spread, edge = [j for j in judged if not j.at_limit], [j for j in judged if j.at_limit]
    return {
        **_calibrated(spread),
        "offsets exactly at the limit that were said to conform": _risk(edge, CONFORMS),
        "offsets exactly at the limit that were said not to conform": _risk(edge, DOES_NOT_CONFORM),
    }


STUDY = Study(
    name="conformity_calibration",
    question="Are stated probabilities of conformity what they say, and is the risk at the limit the stated one?",
    run=run,
    sources=(
        "evidence/studies/conformity_calibration.py",
        *judged("ground", "wire", "verdict", "simulate"),
    ),
    seed=20310606,
    size=1000,
    short_size=4,
)
