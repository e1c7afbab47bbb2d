"""Whether offsets, own moves and verdicts of whole virtual campaigns keep what their uncertainties promise.

Each trial invents a girder with all its faults, from the bench through the ride to the tunnel, with effects
that no fit models, evaluates its readings by the whole chain, and compares with the truth.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evidence.study import ROOT, Figure, Study
from monochord.campaign.found.result import OccasionFinding, Result
from monochord.campaign.found.verdict import CONFORMS, DOES_NOT_CONFORM
from monochord.job.context import real_context
from monochord.job.evaluate import evaluate
from monochord.simulate.campaign import simulate_campaign
from monochord.verdict.decide import RISK

LEVEL, NORMAL_97_5 = 0.95, 1.959963984540054
#: A magnet that truly moved less than this on the girder [m] only crept in its clamps.
CREPT = 6e-6
Tally = dict[str, list[float]]
Truth = Mapping[str, Any]


def true_offsets(axes: Truth, names: list[str]) -> NDArray[np.float64]:
    """True offsets (n, 2) [m] of the named magnets about their straight line of equal weights."""
    centre = np.array([axes[m]["centre"] for m in names], float)
    design = np.stack([np.ones(len(names)), centre[:, 2]], 1)
    line = design @ np.linalg.lstsq(design, centre[:, :2], rcond=None)[0]
    return np.asarray(centre[:, :2] - line)


def _offsets(found: OccasionFinding, axes: Truth, tally: Tally) -> dict[tuple[str, str], float]:
    """Note error over uncertainty of every offset; gives the true offsets by magnet and plane."""
    if found.line is None:
        return {}
    offsets = found.line.offsets
    names = [name[:-2] for name in offsets.names[::2]]
    true = true_offsets(axes, names)
    kind = "with a wire" if found.wire is not None else "without a wire"
    tally[f"offsets {kind}"] += ((offsets.value - true.ravel()) / offsets.u).tolist()
    return {(m, plane): float(true[i, k]) for i, m in enumerate(names) for k, plane in enumerate("xy")}


def _own_moves(result: Result, truth: Truth, tally: Tally) -> None:
    for change in result.comparisons:
        if change.start != result.campaign.reference or change.closure is None:
            continue
        true = truth[change.end]["own_moves"]
        for move in change.own_moves:
            really: NDArray[np.float64] = np.array(true[move.magnet][:2], float)
            tally["own moves with both wires"] += ((move.estimate.value[:2] - really) / move.estimate.u[:2]).tolist()
            if float(np.hypot(*really)) < CREPT:
                tally["crept, called moved"].append(float(move.found is True))


def trial(seed: int, tally: Tally) -> None:
    """One campaign from a seed, noted in the tally."""
    made = simulate_campaign(seed)
    truth: Truth = json.loads(json.dumps(made.truth))["occasions"]
    result = evaluate(made.campaign, real_context())
    for found in result.occasions:
        true = _offsets(found, truth[found.name].get("axes", {}), tally)
        for verdict in result.verdicts:
            if verdict.occasion == found.name and (verdict.magnet, verdict.quantity) in true:
                within = abs(true[verdict.magnet, verdict.quantity]) <= verdict.limit
                wrong = (verdict.verdict == CONFORMS and not within) or (verdict.verdict == DOES_NOT_CONFORM and within)
                tally["wrong verdicts"].append(float(wrong))
    _own_moves(result, truth, tally)


def _held(ratios: list[float], size: int) -> Figure:
    """Part of the intervals that hold the truth; the intervals of one campaign hang together, so campaigns are counted."""
    part = float((np.abs(ratios) <= NORMAL_97_5).mean())
    half = 4.0 * math.sqrt(LEVEL * (1.0 - LEVEL) / size)
    why = "0.95 less 4 standard deviations of a proportion of the campaigns; above it the intervals are wide, which misleads nobody"
    return Figure(part, LEVEL - half, 1.0, "", why)


def _seldom(cases: list[float], level: float, size: int) -> Figure:
    part = float(np.mean(cases))
    most = level + 4.0 * math.sqrt(level * (1.0 - level) / size)
    return Figure(part, 0.0, most, "", f"at most {level:g} and 4 standard deviations of a proportion of the campaigns")


def run(seed: int, size: int) -> Mapping[str, Figure]:
    """Figures of ``size`` campaigns with the seeds from ``seed`` on."""
    tally: Tally = {
        key: []
        for key in (
            "offsets with a wire",
            "offsets without a wire",
            "own moves with both wires",
            "crept, called moved",
            "wrong verdicts",
        )
    }
    for k in range(size):
        trial(seed + k, tally)
    return {
        "offsets with a wire inside their 95 % interval": _held(tally["offsets with a wire"], size),
        "offsets without a wire inside their 95 % interval": _held(tally["offsets without a wire"], size),
        "own moves with both wires inside their 95 % interval": _held(tally["own moves with both wires"], size),
        "magnets that only crept and were said to have moved": _seldom(tally["crept, called moved"], 0.05, size),
        "verdicts on offsets that were wrong": _seldom(tally["wrong verdicts"], RISK, size),
    }


JUDGED = ("ground", "wire", "survey", "girder", "simulate")
DECIDING = ("conformity", "decide", "line")

STUDY = Study(
    name="campaign_coverage",
    question="Do offsets, own moves and verdicts of whole virtual campaigns keep what their uncertainties promise?",
    run=run,
    sources=(
        "evidence/studies/campaign_coverage.py",
        *sorted(
            p.relative_to(ROOT).as_posix() for room in JUDGED for p in (ROOT / "src" / "monochord" / room).glob("*.py")
        ),
        *(f"src/monochord/verdict/{name}.py" for name in DECIDING),
        "src/monochord/job/changes.py",
        "src/monochord/job/evaluate.py",
    ),
    seed=20310505,
    size=400,
    short_size=3,
)
