"""Whether the linear uncertainties of the offsets hold when the whole chain is run over redrawn raw readings.

One invented occasion with a wire; every reading drawn by its noise and every shared cause by its spread. The runs are
compared with the linear law: how large the scatter is, how often a draw lies in the linear interval, how far the chain bends.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from evidence.study import Figure, Study
from monochord.job.check import bends_of, chain_of
from monochord.job.redraw import Normals
from monochord.simulate.campaign import simulate_campaign

OCCASION = "50-settled"
CAMPAIGN = 1
LEVEL, NORMAL_97_5 = 0.95, 1.959963984540054
#: One mirrored pair for so many draws.
PAIRED = 20


def run(seed: int, size: int) -> Mapping[str, Figure]:
    """Figures of ``size`` runs of the chain."""
    made = simulate_campaign(CAMPAIGN).campaign
    chain = chain_of(made, next(o for o in made.occasions if o.name == OCCASION))
    seeds = np.random.default_rng(seed).integers(2**48, size=size)
    errors = np.array([chain.run(Normals(int(s))) for s in seeds]) - chain.at
    ratio = np.sqrt(np.square(errors / chain.linear.u).mean(axis=0))
    inside = float((np.abs(errors) <= NORMAL_97_5 * chain.linear.u).mean())
    bends = bends_of(chain, seed, max(size // PAIRED, 4))
    bend = float(np.max(np.sqrt(np.square(bends).mean(axis=0)) / chain.linear.u))
    spread, half = 4.0 / math.sqrt(2.0 * size), 4.0 * math.sqrt(LEVEL * (1.0 - LEVEL) / size)
    # half a unit of the first digit of u is 5 % of u at worst; what bends adds to u in squares
    allowed = math.sqrt(1.05**2 - 1.0)
    why = "1 with 4 standard deviations of a root mean square of the draws, and half a unit of the first digit at worst"
    return {
        "largest scatter of an offset over its linear u": Figure(
            float(ratio.max()), 0.95 - spread, 1.05 + spread, "", why
        ),
        "smallest scatter of an offset over its linear u": Figure(
            float(ratio.min()), 0.95 - spread, 1.05 + spread, "", why
        ),
        "draws inside the linear 95 % intervals": Figure(
            inside, LEVEL - half - 0.012, min(1.0, LEVEL + half + 0.012), "",
            "0.95 with 4 standard deviations of a proportion of the draws, and what 5 % of u changes in it",
        ),
        "largest bend of an offset over its linear u": Figure(
            bend, 0.0, allowed, "", "what adds half a unit of the first digit to u at worst"
        ),
    }  # fmt: skip


STUDY = Study(
    name="linear_law",
    question="Do runs of the whole chain over redrawn raw readings scatter as the linear uncertainties of the offsets say?",
    run=run,
    sources=(
        "evidence/studies/linear_law.py",
        "src/monochord/job/check.py",
        "src/monochord/job/redraw.py",
        *(f"src/monochord/wire/{name}.py" for name in (
            "axes", "background", "blocks", "centre", "detuning", "drift", "field_law", "passes", "readings", "resonance",
            "sag", "sensors", "setup", "slope", "stringing", "weights",
        )),
        "src/monochord/ground/estimate.py",
        "src/monochord/verdict/line.py",
    ),
    seed=20310522,
    size=1500,
    short_size=40,
)  # fmt: skip
