"""Closures of a fleet taken together: sums by hand, tables from books, and when a factor may be given."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import chdtrc, chdtri

from monochord.campaign.found.comparison import Closure
from monochord.campaign.found.fleet import GirderClosure
from monochord.verdict.fleet import RISK, below, budget_factor, evenness, fleet_closure, magnet_means, pooled

UM = 1e-6
#: What only adding and dividing doubles leaves.
ROUNDING = 1e-12


Offset = tuple[float, float, float, float]


def girder(k: int, square: float, **offsets: Offset) -> GirderClosure:
    """A girder with eight degrees of freedom."""
    dof = 8
    probability = float(chdtrc(dof, square))
    closure = Closure(offsets, square, dof, probability, probability > RISK, "")
    return GirderClosure(f"c{k:02d}", f"G-{k}", "five", f"2031-05-{k + 1:02d}", f"r{k}", "bench", "tunnel", closure)


def test_square_sums_and_degrees_add() -> None:
    assert pooled([8.0, 4.0], [8, 4])[:2] == (12.0, 12)
    # 2 degrees of freedom: P = exp(-x / 2), by hand
    assert pooled([1.0, 3.0], [1, 1])[2] == pytest.approx(math.exp(-2.0), rel=ROUNDING)


def test_the_factor_s_interval_is_that_of_a_standard_deviation() -> None:
    """Quantiles of chi-square with 20 degrees of freedom, 9.591 and 34.170, stand in every table (from memory)."""
    s, low, high = budget_factor(45.0, 20)
    assert s == pytest.approx(1.5, rel=ROUNDING)
    # the table has four digits
    assert (low, high) == pytest.approx((math.sqrt(45.0 / 34.170), math.sqrt(45.0 / 9.591)), rel=5e-5)


@pytest.mark.parametrize(
    ("n", "distance", "level"),
    [(5, 0.563, 0.05), (10, 0.409, 0.05), (10, 0.486, 0.01), (20, 0.294, 0.05), (20, 0.352, 0.01)],
)
def test_critical_distances_of_the_table(n: int, distance: float, level: float) -> None:
    """Massey 1951, table of critical values (from memory); it rounds distances to 0.001, a tenth of the level at most here."""
    found, chance = evenness([max(0.0, (i + 1) / n - distance) for i in range(n)])
    assert found == pytest.approx(distance, abs=1e-9)
    assert chance == pytest.approx(level, rel=0.1)


def test_distance_from_the_uniform_law_by_hand() -> None:
    assert evenness([0.8, 0.2])[0] == pytest.approx(0.3, rel=ROUNDING)
    assert evenness([0.9, 0.95, 1.0])[0] == pytest.approx(0.9, rel=ROUNDING)
    assert evenness([0.5]) == (0.5, 1.0)


def test_chance_of_so_many_failures_is_binomial() -> None:
    count, chance = below([0.001, 0.002, 0.5, 0.9], 0.01)
    assert count == 2
    assert chance == pytest.approx(1.0 - 0.99**4 - 4 * 0.01 * 0.99**3, rel=1e-9)
    assert below([0.5], 0.01) == (0, 1.0)


def test_the_mean_of_a_magnet_is_weighted_and_its_u_shrinks_with_the_girders() -> None:
    fleet = [girder(0, 8.0, Q1=(4 * UM, 0.0, 1 * UM, 1 * UM)), girder(1, 8.0, Q1=(1 * UM, 0.0, 2 * UM, 1 * UM))]
    first = magnet_means(fleet)[0]
    assert (first.magnet, first.plane, first.girders) == ("Q1", "x", 2)
    assert first.mean == pytest.approx((4.0 + 0.25) / 1.25 * UM, rel=ROUNDING)
    assert first.u == pytest.approx(UM / math.sqrt(1.25), rel=ROUNDING)


def test_magnets_of_two_types_are_never_averaged_and_unknown_differences_are_passed_over() -> None:
    one = girder(0, 8.0, Q1=(1 * UM, math.nan, 1 * UM, math.nan))
    other = GirderClosure(
        "d", "H", "six", "2031", "r", "bench", "tunnel", girder(1, 8.0, Q1=(3 * UM, 0, UM, UM)).closure
    )
    assert {(m.type_name, m.plane, m.girders) for m in magnet_means([one, other])} == {
        ("five", "x", 1), ("six", "x", 1), ("six", "y", 1),
    }  # fmt: skip


def spread(n: int, scale: float) -> list[GirderClosure]:
    """Girders whose square sums are the middle of n equal parts of the law with 8 degrees of freedom, times a scale."""
    return [girder(k, scale * float(chdtri(8, 1.0 - (k + 0.5) / n))) for k in range(n)]


def test_a_right_budget_closes_evenly_and_gets_no_factor() -> None:
    found = fleet_closure(spread(14, 1.0))
    assert not found.fails
    assert found.factor is None
    assert found.uniform_probability > 0.99
    assert found.scale == pytest.approx(1.0, abs=0.02)  # the middles of 14 parts lack a little of the tail
    assert found.stands_out == ()


@pytest.mark.parametrize(("girders", "given"), [(10, False), (11, True)])
def test_a_factor_is_given_from_eleven_girders_on(girders: int, given: bool) -> None:
    found = fleet_closure(spread(girders, 2.25))
    assert found.fails
    assert found.scale == pytest.approx(1.5, abs=0.03)  # as above
    assert found.scale_low < 1.5 < found.scale_high
    assert (found.factor is not None) is given


def test_a_budget_that_is_too_large_is_never_shrunk() -> None:
    found = fleet_closure(spread(30, 0.25))
    assert found.scale == pytest.approx(0.5, abs=0.02)
    assert not found.fails
    assert found.factor is None


def test_a_magnet_that_differs_alike_on_all_girders_stands_out_and_scattered_ones_do_not() -> None:
    rng = np.random.default_rng(20310505)
    fleet = []
    for k in range(16):
        noise = rng.normal(size=(3, 2)) * UM
        noise[1, 1] -= 2.0 * UM
        places: dict[str, Offset] = {m: (float(x), float(y), UM, UM) for m, (x, y) in zip("QSR", noise, strict=True)}
        fleet.append(girder(k, 8.0, **places))
    found = fleet_closure(fleet)
    assert [(m.magnet, m.plane) for m in found.stands_out] == [("S", "y")]
    # 2 um told to 1 um / sqrt(16)
    assert found.stands_out[0].mean == pytest.approx(-2.0 * UM, abs=4 * 0.25 * UM)


def test_the_heaviest_girder_is_named_with_what_is_left_without_it() -> None:
    fleet = [*spread(12, 1.0), girder(20, 60.0)]
    found = fleet_closure(fleet)
    assert found.heaviest is not None
    assert found.heaviest[0] == "c20"
    assert found.heaviest[1] > 0.1
    assert fleet_closure(fleet[:1]).heaviest is None


def test_an_empty_fleet_says_nothing() -> None:
    found = fleet_closure([])
    assert found.dof == 0
    assert math.isnan(found.probability)
    assert not found.fails
    assert found.factor is None
