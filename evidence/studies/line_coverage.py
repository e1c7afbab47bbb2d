"""Whether the intervals of offsets from a straight line hold what they promise, when causes are shared.

Seven magnets are measured on two occasions. Noise is new for each magnet and occasion; the turn of the
sensor pair is one for an occasion and grows along the girder in a bend that a line cannot follow; the sag of the wire's
model is one for both occasions. Each occasion's offsets come from a line fit to values that know their
causes; their change between the occasions must forget the shared sag and keep the rest.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from evidence.study import Figure, Study
from monochord.ground.estimate import Estimate, Label

Array = NDArray[np.float64]

NAMES = tuple(f"M{k}" for k in range(1, 8))
PLACES: Array = np.linspace(-1.9, 1.9, len(NAMES))
NOISE, TURN, SAG = 2e-6, 3e-6, 5e-6  # [m], standard deviations: each the size that a bench knows
LEVEL = 0.95
NORMAL_97_5 = 1.959963984540054


def off_the_line() -> Array:
    """Offsets = this @ values (7, 7): values minus the straight line fitted to them, all weighted alike."""
    design = np.stack([np.ones_like(PLACES), PLACES], axis=1)
    off: Array = np.eye(len(PLACES)) - design @ np.linalg.solve(design.T @ design, design.T)
    return off


def shapes() -> tuple[Array, Array]:
    """How the turn (an odd bend) and the sag (a bow) of unit size show along the girder, (7, 1) each."""
    along = PLACES / PLACES[-1]
    return (along**3)[:, None], (1.0 - along**2)[:, None]


def offsets(values: Array, occasion: str) -> Estimate:
    """One occasion's offsets from its line, as the code judges them."""
    turn, sag = shapes()
    noise = np.eye(len(values)) * NOISE**2
    measured = Estimate.of(values, NAMES, unit="m", frame="girder", causes={f"noise:{occasion}": noise})
    measured = measured.adding(f"turn:{occasion}", turn, np.array([[TURN**2]]))
    measured = measured.adding("sag", sag, np.array([[SAG**2]]))
    return measured.through(off_the_line(), [Label(name, "m", "girder") for name in NAMES])


def trial(draw: np.random.Generator) -> tuple[Array, Array]:
    """For one pair of occasions: error over standard uncertainty, of the offsets and of their change, (7,) each."""
    turn, sag = shapes()
    truth, shift = draw.normal(0.0, 30e-6, len(NAMES)), draw.normal(0.0, 10e-6, len(NAMES))
    wrong_sag = sag[:, 0] * draw.normal(0.0, SAG)
    seen = [
        value + draw.normal(0.0, NOISE, len(NAMES)) + turn[:, 0] * draw.normal(0.0, TURN) + wrong_sag
        for value in (truth, truth + shift)
    ]
    first, second = offsets(seen[0], "first"), offsets(seen[1], "second")
    change = second - first
    line = off_the_line()
    return (second.value - line @ (truth + shift)) / second.u, (change.value - line @ shift) / change.u


def inside(ratios: Array) -> Figure:
    """Part of the intervals that hold the truth.

    The seven intervals of one trial hang together, so the band takes the trials, not the intervals, as independent:
    4 standard deviations of a proportion, which is too wide rather than too narrow.
    """
    part = float((np.abs(ratios) <= NORMAL_97_5).mean())
    half = 4.0 * math.sqrt(LEVEL * (1.0 - LEVEL) / len(ratios))
    return Figure(
        part, LEVEL - half, min(1.0, LEVEL + half), "", "0.95 with 4 standard deviations of a proportion of the trials"
    )


def run(seed: int, size: int) -> Mapping[str, Figure]:
    """Figures of ``size`` trials."""
    draw = np.random.default_rng(seed)
    both = [trial(draw) for _ in range(size)]
    return {
        "offsets inside their 95 % interval": inside(np.array([now for now, _ in both])),
        "changes inside their 95 % interval": inside(np.array([change for _, change in both])),
    }


STUDY = Study(
    name="line_coverage",
    question="Offsets from a fitted line, and their change between two occasions that share one cause: is the truth inside "
    "the 95 % interval 95 times in 100?",
    run=run,
    sources=("src/monochord/ground/estimate.py", "evidence/studies/line_coverage.py"),
    seed=20240611,
    size=20_000,
    short_size=400,
)
