"""Quantiles and probabilities that fits and tests need, from scipy.special (scipy.stats loads slowly)."""

from __future__ import annotations

from scipy.special import chdtri, ndtr, ndtri


def normal_quantile(p: float) -> float:
    """Z with Phi(z) = p.

    >>> round(normal_quantile(0.975), 4)
    1.96
    """
    return float(ndtri(p))


def normal_probability(z: float) -> float:
    """Phi(z).

    >>> round(normal_probability(1.6449), 4)
    0.95
    """
    return float(ndtr(z))


def chi_square_quantile(p: float, dof: float) -> float:
    """X with P(chi-square with dof degrees of freedom <= x) = p.

    >>> round(chi_square_quantile(0.95, 3), 3)
    7.815
    """
    return float(chdtri(dof, 1.0 - p))


def family_wise(level: float, tests: int) -> float:
    """Level of each of ``tests`` tests that keeps the level of the family (Sidak).

    >>> round(family_wise(0.05, 100), 7)
    0.0005128
    """
    return float(1.0 - (1.0 - level) ** (1.0 / tests))
