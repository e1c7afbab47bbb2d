"""Quantiles and probabilities that fits and tests need, from scipy.special (scipy.stats loads slowly)."""

from __future__ import annotations

from scipy.special import chdtr, chdtrc, chdtri, chndtrix, fdtri, ndtr, ndtri, stdtrit


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


def chi_square_probability(x: float, dof: float) -> float:
    """P(chi-square with dof degrees of freedom <= x).

    The standard error ellipse (one sigma in two dimensions) holds 39 %:

    >>> round(chi_square_probability(1.0, 2), 5)
    0.39347
    """
    return float(chdtr(dof, x))


def student_quantile(p: float, dof: float) -> float:
    """T with P(Student's t with dof degrees of freedom <= t) = p; the normal quantile when dof is infinite.

    >>> round(student_quantile(0.975, 10), 3)
    2.228
    """
    return float(ndtri(p)) if dof == float("inf") else float(stdtrit(dof, p))


def f_quantile(p: float, dof1: float, dof2: float) -> float:
    """X with P(F with dof1 over dof2 degrees of freedom <= x) = p.

    >>> round(f_quantile(0.95, 3, 10), 3)
    3.708
    """
    return float(fdtri(dof1, dof2, p))


def tau_quantile(level: float, dof: float) -> float:
    """Critical value of a residual studentised with the variance factor of its own adjustment, two-sided.

    tau = sqrt(nu) t / sqrt(nu - 1 + t^2),  t = Student quantile of 1 - level/2 with nu - 1 degrees of freedom

    level  of one test;  dof  nu of the adjustment, at least 2 (with 1, |tau| is always 1 and tells nothing)
    Source: Pope 1976 (from memory).

    >>> round(tau_quantile(0.05 / 10, 8), 4)
    2.3643
    """
    t = student_quantile(1.0 - level / 2.0, dof - 1.0)
    return float(dof**0.5 * t / (dof - 1.0 + t * t) ** 0.5)


def detectable_shift(level: float, power: float) -> float:
    """Shift of a standard normal number that a two-sided test of this level finds with this power (Baarda's delta0).

    delta0 = z(1 - level/2) + z(power); the other tail is left out, below 1e-5 for common levels

    >>> round(detectable_shift(0.001, 0.80), 4)
    4.1321
    """
    return normal_quantile(1.0 - level / 2.0) + normal_quantile(power)


def matched_level(level: float, power: float, dimension: int) -> float:
    """Level of a chi-square test in several dimensions that finds the same error with the same power (B-method).

    level, power  of the test in one dimension;  dimension  of the other test. Source: Baarda 1968 (from memory).

    >>> round(matched_level(0.001, 0.80, 3), 5)
    0.0055
    """
    critical = chndtrix(1.0 - power, dimension, detectable_shift(level, power) ** 2)
    return float(chdtrc(dimension, critical))
