"""Closure: the wire's change of every axis minus the one that the targets predict there.

Both hang on the same clamps and the same girder, but on different instruments; only their difference checks the budget on
real data. It counts about a straight line, since where the wire's line lies is known no better than its surveyed ends.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import chdtrc

from monochord.campaign.found.comparison import Closure
from monochord.ground.estimate import Estimate, Factor, Label
from monochord.ground.reliability import quadratic_form
from monochord.survey.compare_fit import Fit, priors_of
from monochord.survey.compare_model import Model
from monochord.survey.compare_search import Moved
from monochord.survey.compare_words import amount
from monochord.survey.network import Array

#: Chance with which a closure that is right is called open.
LEVEL = 0.01


def closure_of(model: Model, alone: Fit, moved: Moved, scope: str) -> Closure | None:
    """Wire change minus survey change of the axes, about a straight line in x and in y, tested against zero.

    model  of targets and axes before anything is said to have moved;  alone  fit of its targets
    moved  what all evidence together says moved: that is free here too, but its size comes from targets alone

    chi-square has two degrees for each magnet beyond the second; None where there are fewer than three.
    """
    magnets = [m for m, part in model.change.axis_rows if part == "x"]
    if len(magnets) < 3:
        return None
    found = difference(model, alone, moved, scope)
    about = found.through(about_line(model), found.labels)
    square, dof = quadratic_form(about.value, about.cov)
    probability = float(chdtrc(dof, square))
    value, u = about.value.reshape(-1, 2), about.u.reshape(-1, 2)
    offsets = {
        m: (float(v[0]), float(v[1]), float(s[0]), float(s[1])) for m, v, s in zip(magnets, value, u, strict=True)
    }
    ok = probability > LEVEL
    return Closure(offsets, square, dof, probability, ok, _words(magnets, value, u, probability, ok))


def difference(model: Model, alone: Fit, moved: Moved, scope: str) -> Estimate:
    """Wire minus prediction of x, y of every axis: y_w - A_w b^, with b^ from targets.

    Its error is A_w (I - K A)(b - b0) + e_w - A_w K e.
    """
    change = model.change
    n = change.target_rows
    blocks = [replace(h.freed, design=h.freed.design[:n]) for h in moved.freed]
    fit = alone.freeing(*blocks)
    rows = [n + k for k, (_, part) in enumerate(change.axis_rows) if part in ("x", "y")]
    follow = np.hstack([b.design for b in (*model.blocks, *(h.freed for h in moved.freed))])[rows]
    through = follow @ fit.gain
    missed = follow - through @ fit.model.design
    factors = {c: Factor(f.jacobian[rows] - through @ f.jacobian[:n], f.spread) for c, f in change.causes.items()}
    for name, place, spread in priors_of(fit.model, scope):
        factors[name] = Factor(missed[:, place], spread)
    labels = [Label(f"{m}.{part}", "m", "girder") for m, part in change.axis_rows if part in ("x", "y")]
    return Estimate(change.value[rows] - follow @ fit.unknowns, tuple(labels), factors)


def about_line(model: Model) -> Array:
    """What is left of x, y (interleaved) of the m magnets with axes when a straight line is taken off each: (2m, 2m)."""
    z = np.array([model.bodies[m][2] for m, part in model.change.axis_rows if part == "x"])
    line = np.stack([np.ones_like(z), z], axis=1)
    left = np.eye(len(z)) - line @ np.linalg.pinv(line)
    return np.asarray(np.kron(left, np.eye(2)), float)


def _words(magnets: list[str], value: Array, u: Array, probability: float, ok: bool) -> str:
    """The closure in words, with the difference that stands out most."""
    ratio = np.abs(value) / np.maximum(u, 1e-12)
    worst, plane = divmod(int(np.argmax(ratio)), 2)
    size = amount(float(value[worst, plane]), float(u[worst, plane]))
    side = (("left", "right"), ("up", "down"))[plane][0 if value[worst, plane] > 0.0 else 1]
    most = f"at {magnets[worst]} the wire went {size} farther {side} than the targets say"
    if ok:
        return f"wire and survey agree (probability {probability:.2f}; most: {most})"
    return f"wire and survey do not close (probability {probability:.1e}): {most}; one of the two budgets is too small"
