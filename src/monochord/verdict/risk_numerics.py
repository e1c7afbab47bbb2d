"""Sums over panels and the finding of a root, for probabilities that have no closed form."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Points in a panel: a panel three standard deviations wide is summed to rounding.
NODES = 20


@cache
def _rule() -> tuple[Array, Array]:
    """Nodes and weights of one panel from -1 to 1."""
    node, weight = np.polynomial.legendre.leggauss(NODES)
    return node, weight


def panels(breaks: Iterable[float]) -> tuple[Array, Array]:
    """Places and weights of a Gauss-Legendre sum over the panels between breaks: integral f = sum(weights * f(places)).

    breaks  any order, doubles allowed; put them where the integrand bends sharply or jumps

    >>> places, weights = panels([0.0, 1.0, 3.0])
    >>> round(float(np.sum(weights * places**2)), 12)
    9.0
    """
    edges = np.unique(np.fromiter(breaks, float))
    node, weight = _rule()
    half = np.diff(edges)[:, None] / 2.0
    middle = (edges[1:] + edges[:-1])[:, None] / 2.0
    return (middle + half * node).ravel(), (half * weight).ravel()


def about(places: Iterable[float], width: float) -> list[float]:
    """Breaks around places where something happens over a width.

    >>> about([10.0], 1.0)[:3]
    [1.0, 5.0, 7.5]
    """
    return [p + width * k for p in places for k in (-9.0, -5.0, -2.5, -1.0, 0.0, 1.0, 2.5, 5.0, 9.0)]


def root(function: Callable[[float], float], low: float, high: float) -> float:
    """Place between low and high where a function changes its sign.

    >>> round(root(lambda x: x * x - 2.0, 0.0, 2.0), 12)
    1.414213562373
    """
    from scipy.optimize import brentq  # loads slowly, and most questions need no root

    return float(brentq(function, low, high, xtol=1e-15 * max(abs(low), abs(high)), rtol=1e-13, maxiter=200))
