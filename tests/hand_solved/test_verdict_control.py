"""Charts of single values: limits, runs and trends on numbers that are worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from monochord.campaign.found.charts import Limits
from monochord.verdict.control import (
    BEYOND,
    FACTOR,
    FOUR_OF_FIVE,
    ONE_SIDE,
    TWO_OF_THREE,
    natural_limits,
    signals,
    trend,
)

UNIT = Limits(0.0, -3.0, 3.0, 3.0 / FACTOR)  # a process with standard deviation 1


def rules(values: list[float]) -> list[tuple[int, str]]:
    return [(s.place, s.rule) for s in signals(np.array(values), UNIT)]


def test_the_factor_of_the_mean_moving_range_is_that_of_the_tables() -> None:
    # ISO 7870-2 and the NIST/SEMATECH e-Handbook print 2.66 (3 / 1.128), from memory
    assert round(FACTOR, 2) == 2.66
    assert round(3.0 / FACTOR, 3) == 1.128


def test_limits_by_hand() -> None:
    found = natural_limits(np.array([4.0, 8.0, 6.0]))  # mean 6, ranges 4 and 2, mean 3
    assert found is not None
    assert (found.centre, found.moving_range) == (6.0, 3.0)
    assert found.high - 6.0 == pytest.approx(3.0 * FACTOR)
    assert natural_limits(np.array([4.0, 8.0])) is None


def test_each_rule_fires_at_the_value_that_completes_it_and_not_before() -> None:
    assert rules([0.0, 3.1, 0.0, -3.1]) == [(1, BEYOND), (3, BEYOND)]
    assert rules([3.0, 0.0, -3.0]) == []  # on the limit is not beyond it
    assert rules([2.1, 0.0, 2.1]) == [(2, TWO_OF_THREE)]
    assert rules([2.1, 0.0, 0.0, 2.1]) == []
    assert rules([2.1, 0.0, -2.1]) == []  # on both sides
    assert rules([1.1, 1.1, 0.0, 1.1, 1.1]) == [(4, FOUR_OF_FIVE)]
    assert rules([-0.1] * 7 + [0.1]) == []
    assert rules([-0.1] * 8) == [(7, ONE_SIDE)]
    assert rules([2.1, -0.5, 2.1, -0.5]) == [(2, TWO_OF_THREE)]  # a value that is not there itself is not named


def test_false_alarms_of_the_first_rule_are_as_rare_as_the_normal_law_says() -> None:
    draws = np.random.default_rng(7).normal(size=200_000)
    found = sum(s.rule == BEYOND for s in signals(draws, UNIT))
    expected = 2.0 * 0.5 * math.erfc(3.0 / math.sqrt(2.0)) * len(draws)  # 540
    assert abs(found - expected) < 4.0 * math.sqrt(expected)


def test_a_slope_by_hand() -> None:
    # t - mean: -1, 0, 0, 1; x: 0, 1, 3, 4; slope = (0 * -1 + 4 * 1) / 2 = 2; residuals 0, -1, 1, 0; s2 = 1; u = sqrt(1/2)
    found = trend(np.array([0.0, 1.0, 1.0, 2.0]), np.array([0.0, 1.0, 3.0, 4.0]))
    assert found is not None
    assert (found.slope, found.dof) == (2.0, 2)
    assert found.u == pytest.approx(math.sqrt(0.5))
    # Student with 2 degrees of freedom in closed form: P(|T| > t) = 1 - t / sqrt(t2 + 2), t = 2 sqrt(2)
    assert found.probability == pytest.approx(1.0 - math.sqrt(8.0) / math.sqrt(10.0))


def test_no_trend_is_told_of_too_few_values_or_of_one_moment() -> None:
    assert trend(np.arange(3.0), np.arange(3.0)) is None
    assert trend(np.ones(5), np.arange(5.0)) is None


def test_values_that_never_change_have_no_trend_by_rounding() -> None:
    found = trend(np.linspace(31.1, 31.7, 24), np.full(24, 0.1) * 3.0)
    assert found is not None
    assert (found.slope, found.probability) == (0.0, 1.0)


def test_values_without_any_trend_are_called_one_as_seldom_as_the_law_says() -> None:
    rng = np.random.default_rng(3)
    years = np.sort(rng.uniform(0.0, 5.0, 12))
    found = [t.probability < 0.05 for _ in range(4000) if (t := trend(years, rng.normal(size=12)))]
    assert abs(sum(found) - 200) < 4.0 * math.sqrt(200 * 0.95)
