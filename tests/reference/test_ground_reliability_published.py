"""Critical values and tests of residuals against printed tables; source and read / from memory beside each."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import chdtrc, chdtri, chndtr

from monochord.ground.least_squares import adjust
from monochord.ground.reliability import (
    detectable_errors,
    estimated_errors,
    global_test,
    standardised_residuals,
    suspect,
)
from monochord.ground.statistics import (
    chi_square_probability,
    chi_square_quantile,
    detectable_shift,
    f_quantile,
    matched_level,
    normal_probability,
    normal_quantile,
    student_quantile,
    tau_quantile,
)


# Baarda 1968, A testing procedure for use in geodetic networks: level, power, critical value, delta0, lambda0; from memory.
# The sum of two quantiles was read on a public page that cites Baarda 1968 and Teunissen 2024.
@pytest.mark.parametrize(
    ("level", "power", "critical", "delta", "noncentrality"),
    [
        (0.001, 0.80, 3.2905, 4.1321, 17.075),
        (0.01, 0.80, 2.5758, 3.4175, 11.679),
        (0.05, 0.80, 1.9600, 2.8016, 7.849),
        (0.001, 0.90, 3.2905, 4.5721, 20.904),
        (0.05, 0.90, 1.9600, 3.2415, 10.507),
    ],
)
def test_data_snooping_constants(
    level: float, power: float, critical: float, delta: float, noncentrality: float
) -> None:
    assert normal_quantile(1.0 - level / 2.0) == pytest.approx(critical, abs=5e-5)  # half of the last printed digit
    assert detectable_shift(level, power) == pytest.approx(delta, abs=5e-5)
    assert detectable_shift(level, power) ** 2 == pytest.approx(noncentrality, abs=1e-3)


def test_the_left_out_tail_costs_nothing() -> None:
    """Exact power of the two-sided test at delta0 from the non-central chi-square distribution (derived)."""
    exact = 1.0 - chndtr(normal_quantile(0.9995) ** 2, 1, detectable_shift(0.001, 0.80) ** 2)
    assert exact == pytest.approx(0.80, abs=1e-8)


@pytest.mark.parametrize(("redundancy", "error_um"), [(0.5, 58.437), (0.1, 130.67)])
def test_detectable_error_of_a_reading_of_10_um(redundancy: float, error_um: float) -> None:
    """Derived: 4.132 sigma / sqrt(r); the last printed digit bounds the tolerance.

    A second reading of variance k sigma^2 makes the redundancy of the first 1 / (1 + k).
    """
    partner = 10.0 * np.sqrt(1.0 / redundancy - 1.0)
    pair = adjust([[1.0], [1.0]], [0.0, 0.0], sigma=[10.0, partner])
    assert pair.redundancy[0] == pytest.approx(redundancy, abs=1e-12)
    assert detectable_errors(pair)[0] == pytest.approx(error_um, abs=5e-3)


@pytest.mark.parametrize(
    ("dimension", "level"),
    [(2, 0.002837108859), (3, 0.005500254113), (5, 0.0130237601), (10, 0.04042672827)],
)
def test_levels_that_match_across_dimensions(dimension: int, level: float) -> None:
    """B-method, Baarda 1968 (from memory); digits recomputed elsewhere with lambda0 rounded to 17.0746, hence 3e-5.

    Independent: the power at the matched level comes back as 0.80.
    """
    got = matched_level(0.001, 0.80, dimension)
    assert got == pytest.approx(level, rel=3e-5)
    power = 1.0 - chndtr(chdtri(dimension, got), dimension, detectable_shift(0.001, 0.80) ** 2)
    assert power == pytest.approx(0.80, abs=1e-9)


# J. Appl. Math. 2021, 1478843, table 1: bound of the largest studentised residual of a straight line through n readings,
# levels .10, .05, .01 split over n. Read. The table prints 0.4142 for n = 4, level .01: a misprint of 1.4142, left out.
TAU = {
    4: (1.4131, 1.4139),
    5: (1.6974, 1.7147, 1.7286),
    6: (1.8838, 1.9270, 1.9751),
    7: (2.0142, 2.0799, 2.1667),
    8: (2.1125, 2.1961, 2.3178),
    10: (2.2562, 2.3643, 2.5407),
    12: (2.3602, 2.4840, 2.6988),
    16: (2.5079, 2.6502, 2.9136),
    20: (2.6126, 2.7651, 3.0575),
    30: (2.7869, 2.9516, 3.2812),
    60: (3.0508, 3.2247, 3.5869),
}


@pytest.mark.parametrize("n", TAU)
def test_critical_tau(n: int) -> None:
    for level, printed in zip((0.10, 0.05, 0.01), TAU[n], strict=False):
        assert tau_quantile(level / n, n - 2) == pytest.approx(printed, abs=1.1e-4)  # table off by one unit at places


def test_tau_approaches_the_normal_quantile() -> None:
    assert tau_quantile(0.05, 1e7) == pytest.approx(normal_quantile(0.975), abs=1e-6)


# Standard tables, from memory; tolerance half of the last printed digit.
@pytest.mark.parametrize(
    ("p", "dof", "value"),
    [
        (0.025, 10, 3.247),
        (0.975, 10, 20.483),
        (0.025, 4, 0.484),
        (0.975, 4, 11.143),
        (0.95, 1, 3.841),
        (0.95, 2, 5.991),
        (0.95, 3, 7.815),
    ],
)
def test_chi_square_table(p: float, dof: int, value: float) -> None:
    assert chi_square_quantile(p, dof) == pytest.approx(value, abs=6e-4)


@pytest.mark.parametrize(
    ("p", "one", "two", "value"),
    [(0.95, 3, 10, 3.708), (0.95, 2, 4, 6.944), (0.95, 1, 10, 4.965), (0.99, 3, 10, 6.552)],
)
def test_f_table(p: float, one: int, two: int, value: float) -> None:
    assert f_quantile(p, one, two) == pytest.approx(value, abs=6e-4)


def test_normal_table() -> None:
    """From memory: 1.6449 and 1.9600 bound 95 % on one side and on both."""
    assert normal_probability(1.6449) == pytest.approx(0.95, abs=1e-5)
    assert 2.0 * normal_probability(1.9600) - 1.0 == pytest.approx(0.95, abs=1e-5)


def test_student_table() -> None:
    """From memory: 12.706, 4.303, 2.228, 1.960 at 97.5 %."""
    for dof, value in ((1, 12.706), (2, 4.303), (10, 2.228), (float("inf"), 1.960)):
        assert student_quantile(0.975, dof) == pytest.approx(value, abs=5e-4)


def test_what_error_ellipses_hold() -> None:
    """From memory; the last is derived from the F table above."""
    assert chi_square_probability(1.0, 2) == pytest.approx(0.39347, abs=1e-5)
    assert chi_square_probability(1.0, 3) == pytest.approx(0.19875, abs=1e-5)
    assert chi_square_quantile(0.95, 2) ** 0.5 == pytest.approx(2.4477, abs=1e-4)
    assert chi_square_quantile(0.95, 3) ** 0.5 == pytest.approx(2.7955, abs=1e-4)
    assert (2.0 * f_quantile(0.95, 2, 4)) ** 0.5 == pytest.approx(3.7268, abs=1e-4)


def test_a_planted_mistake_is_found_and_sized() -> None:
    """Own example, derived: the levelling net of seven lines, sigma 0.05, with +0.50 added to the sixth.

    The square of w equals the drop of omega on leaving the line out; the estimated mistake equals what the other six predict.
    """
    design = [[1, 0, 0], [-1, 0, 0], [0, 0, 1], [0, 0, -1], [-1, 1, 0], [0, 1, 0], [0, -1, 1]]
    readings = [105.10, 2.34 - 107.50, 106.25, -106.13, -0.68, 105.00, 1.70]
    net = adjust(design, readings, sigma=0.05)
    rest = adjust(np.delete(design, 5, 0), np.delete(readings, 5), sigma=0.05)
    w = standardised_residuals(net)
    assert abs(w[5]) == pytest.approx(8.0128468, rel=1e-7)  # recomputed once elsewhere
    assert w[5] ** 2 == pytest.approx(net.omega - rest.omega, rel=1e-10)
    assert net.omega == pytest.approx(68.01904762, rel=1e-9)
    assert not global_test(net.omega, net.dof).ok
    assert global_test(rest.omega, rest.dof).ok
    assert estimated_errors(net)[5] == pytest.approx(readings[5] - rest.x[1], abs=1e-10)
    assert estimated_errors(net)[5] == pytest.approx(0.53, abs=1e-10)
    found = suspect(net)
    assert found is not None
    assert found.index == 5
    assert suspect(rest) is None


def test_simulated_false_alarms_of_tau_come_at_the_stated_rate() -> None:
    """A straight line of eight readings, tau of the third at 5 %: 5.0 % of 40 000, give or take three standard errors."""
    rng = np.random.default_rng(1)
    line = adjust(np.column_stack([np.ones(8), np.arange(8.0)]), np.zeros(8))
    hat = np.eye(8) - np.column_stack([np.ones(8), np.arange(8.0)]) @ line.gain
    noise = rng.standard_normal((40_000, 8)) @ hat
    tau = noise[:, 2] / np.sqrt(line.redundancy[2] * (noise**2).sum(axis=1) / 6.0)
    rate = float((np.abs(tau) > tau_quantile(0.05, 6)).mean())
    assert rate == pytest.approx(0.05, abs=3.0 * np.sqrt(0.05 * 0.95 / 40_000))


def test_global_test_quantiles_hold_the_stated_tails() -> None:
    test = global_test(1.0, 10, level=0.05)
    assert chdtrc(10, test.upper) == pytest.approx(0.025, abs=1e-12)
    assert chdtrc(10, test.lower) == pytest.approx(0.975, abs=1e-12)
