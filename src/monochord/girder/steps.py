"""Turns that a bolt can really make: the best whole numbers of smallest steps.

Rounding each bolt by itself costs several micrometres. But the girder may move as a rigid body, so there
are many sets of whole steps that make nearly the wanted shape; a search over them finds a good one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_STARTS = 192
_MOST_ROUNDS = 60
#: Steps of the additive recurrence that spreads starts evenly over up to six dimensions: powers of the root of x^7 = x + 1.
_ROOT = 1.1127756842787055


@dataclass(frozen=True, eq=False, slots=True)
class Wish:
    """What whole steps n (m,) should make small: n' square n + 2 linear n, within low <= n <= high.

    free  (m, r) directions along which steps cost little, such as the rigid motions, scaled to one step
    """

    square: Array
    linear: Array
    low: Array
    high: Array
    free: Array


def whole_steps(wish: Wish, wanted: Array, keep: int = 24) -> Array:
    """The best sets of whole steps near the wanted real ones, (k, m), cheapest first.

    Starts are the wanted steps moved along the free directions and rounded; each is bettered by turning one
    bolt by one step, or two bolts by one step each, as long as that helps. The first row may be the wanted
    steps plainly rounded, if nothing better is found.

    >>> wish = Wish(np.array([[1.0, 1.0], [1.0, 1.0]]), np.array([-0.9, -0.9]), np.full(2, -5.0), np.full(2, 5.0), np.zeros((2, 0)))
    >>> int(whole_steps(wish, np.array([0.45, 0.45]))[0].sum())
    1
    """
    m = len(wanted)
    shifts = wish.free @ _spread(_STARTS, wish.free.shape[1]).T if wish.free.shape[1] else np.zeros((m, 1))
    n = np.clip(np.rint(np.column_stack([wanted, wanted[:, None] + shifts]).T), wish.low, wish.high)
    n = np.unique(n, axis=0)
    moves = _moves(m)
    own = np.einsum("ki,ij,kj->k", moves, wish.square, moves)
    through = moves @ wish.square
    going = np.arange(len(n))
    for _ in range(_MOST_ROUNDS):
        current = n[going]
        gain = own + 2.0 * (current @ through.T + moves @ wish.linear)
        best = gain.argmin(axis=1)
        bettered = np.clip(current + moves[best], wish.low, wish.high)
        helps = (gain[np.arange(len(going)), best] < -1e-9) & (bettered == current + moves[best]).all(axis=1)
        if not helps.any():
            break
        going = going[helps]
        n[going] = bettered[helps]
    n = np.unique(n, axis=0)
    cost = np.einsum("ki,ij,kj->k", n, wish.square, n) + 2.0 * n @ wish.linear
    return np.asarray(n[np.argsort(cost, kind="stable")[:keep]], float)


def _spread(count: int, dimensions: int) -> Array:
    """Points (count, dimensions) spread evenly over -1..1, the same every time."""
    powers = _ROOT ** -np.arange(1.0, dimensions + 1.0)
    return np.asarray(2.0 * ((0.5 + np.outer(np.arange(1, count + 1), powers)) % 1.0) - 1.0, float)


def _moves(m: int) -> Array:
    """One bolt by one step either way, and every two bolts by one step each, (k, m)."""
    single = np.eye(m)
    i, j = np.triu_indices(m, 1)
    pairs = [single[i] + single[j], single[i] - single[j]]
    half = np.vstack([single, *pairs])
    return np.vstack([half, -half])
