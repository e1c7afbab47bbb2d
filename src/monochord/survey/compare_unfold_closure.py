"""Why the closure of wire and survey is what it is: wire change less the change that targets tell, about a straight line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from scipy.special import chdtrc

from monochord.campaign.found.comparison import Closure
from monochord.ground.estimate import Estimate
from monochord.ground.reliability import quadratic_form
from monochord.ground.trace import Line, Place, Sum
from monochord.ground.trace_linear import Linear, Source, Teller, relative, whole
from monochord.ground.trace_spread import EntryName, Spread, shares_of
from monochord.survey.closure import about_line, difference
from monochord.survey.compare_fit import Fit
from monochord.survey.compare_model import Model
from monochord.survey.compare_search import Moved
from monochord.survey.compare_unfold_fit import expected_lines
from monochord.survey.network import Array


@dataclass(frozen=True, eq=False, slots=True)
class Closing:
    """What the closure was made of, as :func:`monochord.survey.closure.closure_of` takes it, and what it found."""

    model: Model
    alone: Fit
    moved: Moved
    scope: str
    closure: Closure

    @property
    def fit(self) -> Fit:
        """The fit of targets alone, free in what moved by all evidence."""
        n = self.model.change.target_rows
        return self.alone.freeing(*(replace(h.freed, design=h.freed.design[:n]) for h in self.moved.freed))

    @property
    def about(self) -> Estimate:
        """The differences about a straight line, x and y of every magnet in turn."""
        found = difference(self.model, self.alone, self.moved, self.scope)
        return found.through(about_line(self.model), found.labels)


def closure_tellers(closing: Closing, sources: Sequence[Source], entry: EntryName) -> dict[str, Teller]:
    """Tellers of everything that the closure says in numbers; sources  all rows of the change."""
    about, fit = closing.about, closing.fit
    rows, expected = _rows(closing, fit)
    table: dict[str, Teller] = {}
    for k, label in enumerate(about.labels):
        magnet, part = label.name.rsplit(".", 1)
        x, y, u_x, u_y = closing.closure.offsets[magnet]
        name = relative("closure", "offsets", magnet, part)
        value, u = (x, u_x) if part == "x" else (y, u_y)
        more = expected_lines(fit.model, expected[k])
        how = "what the wire saw of the axis less what the targets tell of it, a straight line taken off"
        table[name] = Linear(name, "m", value, rows[k].tolist(), sources, how, more).tell
        name = relative("closure", "offsets", magnet, f"u_{part}")
        table[name] = Spread(name, "m", u, shares_of(about, k, k), entry, root=True).tell
    for word in ("chi_square", "dof", "probability"):
        table[relative("closure", word)] = whole(partial(_statistic, closing, about, word))
    return table


def _rows(closing: Closing, fit: Fit) -> tuple[Array, Array]:
    """How the differences follow all rows of the change (2m, N), and what is expected of the unknowns (2m, p)."""
    model = closing.model
    n = model.change.target_rows
    at = [n + k for k, (_, part) in enumerate(model.change.axis_rows) if part in ("x", "y")]
    follow = np.hstack([b.design for b in (*model.blocks, *(h.freed for h in closing.moved.freed))])[at]
    line = about_line(model)
    through = line @ follow @ fit.gain
    rows = np.zeros((len(at), len(model.change.value)))
    rows[:, at] = line
    rows[:, :n] -= through
    return rows, through @ fit.model.design - line @ follow


def _statistic(closing: Closing, about: Estimate, word: str) -> Sum:
    found = closing.closure
    name = relative("closure", word)
    if word == "probability":
        lines = [
            Line("square sum", found.chi_square, of=relative("closure", "chi_square")),
            Line("degrees of freedom", float(found.dof), of=relative("closure", "dof")),
        ]
        how = "how often chance gives as much or more: upper tail of chi-square"
        return Sum(name, "1", found.probability, tuple(lines), how, lambda v: float(chdtrc(v[1], v[0])))
    cov = about.cov
    if word == "dof":
        count = Line("axes compared, x and y of each", float(len(cov)), places=(Place("", 0, "girder.items"),))
        line = Line(
            "straight lines taken off, two numbers in each plane",
            -4.0,
            places=(Place("", 0, "survey.closure.about_line"),),
        )
        rank = Line("combinations that nothing speaks of", float(found.dof - len(cov) + 4), places=line.places)
        lines = [count, line, *([rank] if rank.amount else [])]
        return Sum(name, "1", float(found.dof), tuple(lines), "numbers that are free to differ")
    lines = [
        Line(
            f"{label.name.replace('.', ' ')} of the difference",
            float(v),
            of=relative("closure", "offsets", *label.name.rsplit(".", 1)),
        )
        for label, v in zip(about.labels, about.value, strict=True)
    ]

    def again(amounts: Sequence[float]) -> float:
        return quadratic_form(np.array(amounts), cov)[0]

    how = "square sum of the differences in units of their own joint uncertainty"
    return Sum(name, "1", found.chi_square, tuple(lines), how, again)
