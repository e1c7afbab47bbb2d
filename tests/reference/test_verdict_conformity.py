"""Conformity of a value with a limit, against published numbers.

Sources: JCGM 106:2012, table 1 and the Zener example of clause 8 (from memory, recomputed); ISO 14253-1:2017, default
factor of the guard band 1.65 (from memory, recomputed); the 80.2 um acceptance zone and its probability are derived.
"""

from __future__ import annotations

import pytest

from monochord.ground.statistics import normal_probability
from monochord.verdict.conformity import guard_factor, judge, probability_within


@pytest.mark.parametrize(("p", "z"), [(0.8, 0.84), (0.9, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_factors_of_one_sided_conformity(p: float, z: float) -> None:
    # half a unit of the printed digit, and a little for prints that were cut instead of rounded
    assert guard_factor(1.0 - p) == pytest.approx(z, abs=0.0051)


def test_a_voltage_below_its_upper_limit() -> None:
    # -5.47 V, u = 0.05 V, upper limit -5.40 V: z = 1.4, printed probability 0.92
    assert normal_probability((-5.40 + 5.47) / 0.05) == pytest.approx(0.92, abs=0.005)


def test_acceptance_zone_of_a_tolerance_of_100_um_with_u_of_12_um() -> None:
    assert 100.0 - 1.65 * 12.0 == pytest.approx(80.2, abs=1e-9)  # um
    assert probability_within(80.2, 12.0, 100.0) == pytest.approx(0.95053, abs=1e-5)


def test_three_verdicts_meet_at_the_guard_band() -> None:
    edge = guard_factor(0.05)
    u, limit = 2.0, 30.0  # um
    assert judge(limit - edge * u - 1e-9, u, limit) == "conforms"
    assert judge(limit - edge * u + 1e-6, u, limit) == "cannot be decided"
    assert judge(limit + edge * u - 1e-6, u, limit) == "cannot be decided"
    assert judge(-limit - edge * u - 1e-6, u, limit) == "does not conform"


def test_without_uncertainty_the_limit_itself_still_conforms() -> None:
    assert probability_within(30.0, 0.0, 30.0) == 1.0
    assert probability_within(30.1, 0.0, 30.0) == 0.0
