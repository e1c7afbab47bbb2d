"""Monte Carlo evaluation that goes on until its answers stand still to the digits asked for.

Batches of draws are taken; from the scatter among batches follows how well each figure is known, and the run ends
when twice that is below the numerical tolerance for all of them.
Source: JCGM 101:2008, clause 7.9; JCGM 102:2011, clause 7.8 (both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monochord.verdict.monte_carlo_intervals import (
    cloud_factors,
    numerical_tolerance,
    shortest_interval,
    symmetric_interval,
)
from monochord.verdict.monte_carlo_laws import Drawer
from monochord.verdict.propagation_checks import share_wanted, wanted

Array = NDArray[np.float64]

#: Draws in a batch: at least 10^4, and at least 100 in the part that an interval leaves out (JCGM 101:2008, 7.9.4 a, from memory).
BATCH = 10_000
#: Batches before the scatter among them is believed. JCGM 101 begins at 2, which now and then stops by luck; JCGM 102 asks for 10.
LEAST_BATCHES = 10
#: Outcomes kept in memory at most (draws times components): 160 MB.
MOST_OUTCOMES = 20_000_000


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a run is: batches and draws so far; worst is twice the scatter of the worst figure over its tolerance (ends at 1)."""

    batches: int
    draws: int
    worst: float


@dataclass(frozen=True, eq=False, slots=True)
class MonteCarlo:
    """Outcome of a run for m components.

    value, u       (m,) mean and standard deviation;  cov (m, m)
    coverage       p;  low, high (m,) ends of the probabilistically symmetric intervals
    shortest_low, shortest_high   (m,) ends of the shortest intervals
    ellipsoid, rectangle          factors of the joint regions about the mean (see cloud_factors)
    tolerance      (m,) numerical tolerance of value, u and interval ends
    doubt          (4, m) standard deviation by the draws of value, u, low, high
    sample         (draws, m) all outcomes, as drawn
    settled        whether every figure met its tolerance;  words say so, or why not
    """

    value: Array
    u: Array
    cov: Array
    coverage: float
    low: Array
    high: Array
    shortest_low: Array
    shortest_high: Array
    ellipsoid: float
    rectangle: float
    tolerance: Array
    doubt: Array
    sample: Array
    batches: int
    settled: bool
    words: str


def monte_carlo(
    function: Callable[[Array], ArrayLike],
    drawer: Drawer,
    rng: np.random.Generator,
    *,
    coverage: float = 0.95,
    digits: int = 2,
    tighter: float = 1.0,
    least_batches: int = LEAST_BATCHES,
    most_outcomes: int = MOST_OUTCOMES,
    batch: int = BATCH,
    go_on: Callable[[Progress], bool] | None = None,
) -> MonteCarlo:
    """The law of a function of uncertain inputs, drawn until mean, uncertainty and interval ends stand still.

    stop when 2 s / sqrt(h) <= delta for every figure, s its scatter over h batches,
    delta = numerical_tolerance(u, digits) / tighter;
    with several components also for the largest eigenvalue of the correlation matrix and the ellipsoid's factor

    function       (draws, n) -> (draws,) or (draws, m), all draws at once;  drawer  see monte_carlo_laws
    rng            the generator; the same seed gives the same outcome
    tighter        5 when the run is to judge the linear law (JCGM 101:2008, 8.2, from memory)
    batch          draws in a batch, more where an interval would leave out fewer than a hundred of them; fewer than BATCH only
                   where one draw takes long: the doubt of interval ends is then itself known less well
    least_batches  2 or more;  most_outcomes  an end to patience: the result then says that it did not settle
    go_on          told after every batch; answering False stops the run, and what was drawn so far is handed back
    Refused when the function gives no number for some draws, with how many.

    >>> from monochord.verdict.monte_carlo_laws import Rectangular, independent
    >>> run = monte_carlo(lambda x: x.sum(axis=1), independent([Rectangular(0.0, 3**0.5)] * 4), np.random.default_rng(1), digits=1)
    >>> round(float(run.u[0]), 1), round(float(run.high[0]), 1), run.settled
    (2.0, 3.9, True)
    """
    share_wanted("coverage", coverage)
    wanted(least_batches >= 2 and tighter > 0.0, f"{least_batches} batches", "2 or more", "one batch tells no scatter")
    size = batch if batch < BATCH else max(batch, math.ceil(100.0 / (1.0 - coverage)))
    kept: list[Array] = []
    figures: list[Array] = []
    worst = math.inf
    why = f"not settled after {most_outcomes} outcomes"
    while worst > 1.0 and (len(kept) + 1) * size * (kept[0].shape[1] if kept else 1) <= most_outcomes:
        kept.append(_batch(function, drawer(rng, size)))
        figures.append(_figures(kept[-1], coverage))
        worst = _worst(kept, np.array(figures), digits, tighter) if len(kept) >= least_batches else math.inf
        if go_on is not None and not go_on(Progress(len(kept), len(kept) * size, worst)):
            why = "stopped before it settled"
            break
    wanted(bool(kept), f"room for {most_outcomes} outcomes", f"at least {size}", "allow more")
    y = np.concatenate(kept)
    tolerance = _tolerances(np.array(figures), y.std(axis=0, ddof=1), digits, tighter)[: y.shape[1]]
    settled = worst <= 1.0
    words = f"settled to {digits} digits of u after {len(y)} draws" if settled else f"{why}: {len(y)} draws"
    return _result(y, np.array(figures), tolerance, coverage, words=words, settled=settled)


def _batch(function: Callable[[Array], ArrayLike], draws: Array) -> Array:
    outcome = np.asarray(function(draws), dtype=np.float64)
    y = outcome[:, None] if outcome.ndim == 1 else outcome
    wanted(len(y) == len(draws), f"{len(y)} outcomes of {len(draws)} draws", "one for each", "let it take all rows")
    lost = int((~np.isfinite(y)).any(axis=1).sum())
    wanted(
        lost == 0, f"{lost} of {len(y)} draws without a number", "a number for every draw", "narrow the inputs' laws"
    )
    return y


def _figures(y: Array, coverage: float) -> Array:
    """Watched figures of one batch: value, u, low, high of each component, then eigenvalue and factor when there are several."""
    low, high = symmetric_interval(np.sort(y, axis=0), coverage)
    each = np.concatenate([y.mean(axis=0), y.std(axis=0, ddof=1), low, high])
    return each if y.shape[1] == 1 else np.append(each, [_eigenvalue(y), cloud_factors(y, coverage)[0]])


def _eigenvalue(y: Array) -> float:
    moving = y[:, y.std(axis=0) > 0.0]
    return float(np.linalg.eigvalsh(np.atleast_2d(np.corrcoef(moving.T)))[-1]) if moving.shape[1] else 1.0


def _tolerances(figures: Array, u: Array, digits: int, tighter: float) -> Array:
    """Tolerance of every watched figure; infinite for a component that does not vary."""
    own = np.array([numerical_tolerance(float(s), digits) if s > 0.0 else math.inf for s in u])
    joint = [
        numerical_tolerance(float(f), digits) if f > 0.0 else math.inf for f in figures[:, 4 * len(u) :].mean(axis=0)
    ]
    return np.append(np.tile(own, 4), joint) / tighter


def _worst(kept: list[Array], figures: Array, digits: int, tighter: float) -> float:
    """Twice the standard deviation of the mean figure over its tolerance, the largest of all."""
    m = kept[0].shape[1]
    means, spreads = figures[:, :m], figures[:, m : 2 * m]
    u = np.sqrt((spreads**2).mean(axis=0) + means.var(axis=0))
    doubt = figures.std(axis=0, ddof=1) / math.sqrt(len(figures))
    return float(np.max(2.0 * doubt / _tolerances(figures, u, digits, tighter)))


def _result(y: Array, figures: Array, tolerance: Array, coverage: float, *, words: str, settled: bool) -> MonteCarlo:
    m, h = y.shape[1], len(figures)
    rising = np.sort(y, axis=0)
    doubt = figures[:, : 4 * m].std(axis=0, ddof=1) / math.sqrt(h) if h > 1 else np.full(4 * m, math.nan)
    ellipsoid, rectangle = cloud_factors(y, coverage)
    return MonteCarlo(
        y.mean(axis=0),
        y.std(axis=0, ddof=1),
        np.atleast_2d(np.cov(y.T)),
        coverage,
        *symmetric_interval(rising, coverage),
        *shortest_interval(rising, coverage),
        ellipsoid,
        rectangle,
        tolerance,
        doubt.reshape(4, m),
        y,
        h,
        settled,
        words,
    )
