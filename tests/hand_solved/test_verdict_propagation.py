"""Propagation, degrees of freedom and Monte Carlo runs on numbers that can be solved on paper, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.ground.estimate import Estimate, Factor, Label, stack
from monochord.ground.faults import Refused, Undetermined
from monochord.verdict.dof import (
    dof_from_doubt,
    dof_of_cause,
    doubt_from_dof,
    effective_dof,
    expanded_by_causes,
    with_dof,
)
from monochord.verdict.monte_carlo import Progress, monte_carlo
from monochord.verdict.monte_carlo_intervals import (
    cloud_factors,
    numerical_tolerance,
    shortest_interval,
    symmetric_interval,
)
from monochord.verdict.monte_carlo_laws import (
    Arcsine,
    Law,
    Normal,
    Rectangular,
    RoughlyLimited,
    Student,
    Triangular,
    drawer_of,
    independent,
)
from monochord.verdict.monte_carlo_validate import check_linear
from monochord.verdict.propagation import beyond_linear, mean_of_readings, propagate, sensitivities
from monochord.verdict.propagation_coverage import (
    coverage_factor,
    ellipsoid_factor,
    expanded,
    rectangle_factor_bound,
    rectangular_coverage_factor,
)

Array = NDArray[np.float64]
Y = Label("y", "m", "girder")


def pair(causes: dict[str, Array], values: tuple[float, float] = (0.0, 0.0)) -> Estimate:
    return Estimate.of(values, ["a", "b"], unit="m", frame="girder", causes=causes)


# -- propagation ----------------------------------------------------------------------------------


def test_causes_keep_their_names_and_cancel_where_they_are_shared() -> None:
    e = pair({"scale": np.ones((2, 2)), "noise": np.diag([4.0, 9.0])})
    difference = propagate(lambda v: v[0] - v[1], e, [Y])
    assert difference.shares("y") == pytest.approx({"noise": 13.0, "scale": 0.0}, abs=1e-9)
    # and two outcomes carried separately are still one family
    total = propagate(lambda v: v[0] + v[1], e, [Y])
    both = stack([difference, total])
    assert both.cov[0, 1] == pytest.approx(4.0 - 9.0, rel=1e-9)


def test_slopes_by_an_input_known_exactly_at_zero() -> None:
    assert sensitivities(lambda x: x[0] * x[1], [0.0, 3.0], [0.0, 0.1]).tolist() == [
        [pytest.approx(3.0), pytest.approx(0.0)]
    ]


def test_slopes_survive_large_values_with_small_uncertainties() -> None:
    # 50 mm in nm with 25 nm: rounding of 50e6 is 7e-9 in every difference
    assert sensitivities(lambda x: x[0] * (1.0 + 1e-6 * x[1]), [50e6, 2.0], [25.0, 0.1])[0] == pytest.approx(
        [1.000002, 50.0], rel=1e-8
    )


def test_slopes_near_the_edge_of_a_domain() -> None:
    # the widest steps leave the domain of the logarithm and are left out
    assert sensitivities(np.log, [0.3], [0.5])[0, 0] == pytest.approx(1.0 / 0.3, rel=1e-7)
    with pytest.raises(Refused, match="no slope by input 1"):
        sensitivities(np.log, [0.0], [0.5])


def test_shapes_and_unknown_inputs_are_told() -> None:
    e = pair({"noise": np.eye(2)})
    with pytest.raises(Refused, match="one label for each outcome"):
        propagate(lambda v: v, e, [Y])
    with pytest.raises(Refused, match="one column for each input"):
        propagate(lambda v: v[0], e, [Y], jacobian=[[1.0]])
    with pytest.raises(Undetermined, match="b: it is unknown"):
        propagate(lambda v: v[0], pair({"noise": np.eye(2)}, (0.0, math.nan)), [Y])
    with pytest.raises(Undetermined):
        beyond_linear(lambda v: v[0], pair({"noise": np.eye(2)}, (0.0, math.nan)))
    with pytest.raises(Refused, match="two or more rows"):
        mean_of_readings([[1.0]], [Y], "repeat")


def test_a_straight_function_has_nothing_beyond_the_linear_law() -> None:
    more = beyond_linear(
        lambda v: np.array([3.0 * v[0] - v[1], v[1]]), pair({"noise": np.array([[4.0, 1.0], [1.0, 9.0]])})
    )
    assert np.abs(more.cov).max() < 1e-12
    assert np.abs(more.shift).max() < 1e-12


def test_an_exact_input_has_nothing_beyond_the_linear_law() -> None:
    more = beyond_linear(lambda v: v[0] ** 3, pair({"noise": np.zeros((2, 2))}, (2.0, 1.0)))
    assert more.cov.tolist() == [[0.0]]


# -- degrees of freedom and coverage --------------------------------------------------------------


def test_one_cause_keeps_its_own_degrees_of_freedom() -> None:
    e = pair({"read": np.array([[4.0, 1.9], [1.9, 1.0]])})
    assert effective_dof(e, {"read": 7.0}) == pytest.approx([7.0, 7.0], rel=1e-12)
    # however it is carried on: a covariance of 7 degrees of freedom gives variances of 7
    assert effective_dof(propagate(lambda v: v[0] - 2.0 * v[1], e, [Y]), {"read": 7.0}) == pytest.approx(
        [7.0], rel=1e-9
    )


def test_equal_causes_add_their_degrees_of_freedom() -> None:
    e = pair({"x": np.eye(2), "y": np.eye(2)})
    assert effective_dof(e, {"x": 5.0, "y": 5.0}) == pytest.approx([10.0, 10.0])
    # unless they rest on one estimated variance
    assert effective_dof(e, {"x": 5.0, "y": 5.0}, together=[["x", "y"]]) == pytest.approx([5.0, 5.0])


def test_causes_are_found_by_id_then_by_kind() -> None:
    dof = {"mounting": 12.0, "mounting:T1": 3.0}
    assert [dof_of_cause(c, dof) for c in ("mounting:T1", "mounting:T2", "sag:1")] == [3.0, 12.0, math.inf]
    e = pair({"mounting:T1": np.diag([1.0, 0.0]), "mounting:T2": np.diag([0.0, 1.0])})
    assert effective_dof(e, dof) == pytest.approx([3.0, 12.0])
    assert with_dof(e, dof).dof == 3.0
    assert with_dof(e, {}).dof == math.inf


def test_expanded_uncertainty_by_causes() -> None:
    e = pair({"read": np.diag([1.0, 0.0]), "known": np.diag([0.0, 1.0])})
    assert expanded_by_causes(e, 0.95, {"read": 4.7}, whole=True) == pytest.approx(
        [2.776, 1.960], abs=5e-4
    )  # table, dof 4
    assert expanded(e, 0.95, np.array([4.0, math.inf])) == pytest.approx([2.776, 1.960], abs=5e-4)
    assert dof_from_doubt(doubt_from_dof(13.0)) == pytest.approx(13.0)


def test_regions_of_one_component_are_its_interval() -> None:
    assert ellipsoid_factor(0.95, 1, 6.0) == pytest.approx(coverage_factor(0.95, 6.0), rel=1e-9)
    assert rectangle_factor_bound(0.95, 1, 6.0) == pytest.approx(coverage_factor(0.95, 6.0), rel=1e-12)


def test_questions_about_coverage_that_make_no_sense_are_refused() -> None:
    e = pair({"read": np.eye(2)})
    for ask in (
        lambda: coverage_factor(95.0), lambda: coverage_factor(0.95, 0.0), lambda: ellipsoid_factor(0.95, 3, 2.0),
        lambda: ellipsoid_factor(0.95, 0), lambda: rectangle_factor_bound(0.95, 0), lambda: rectangular_coverage_factor(1.0),
        lambda: effective_dof(e, {}, together=[["nothing"]]), lambda: effective_dof(e, {"read": -1.0}),
        lambda: dof_from_doubt(0.0), lambda: doubt_from_dof(0.0), lambda: independent([]),
        lambda: numerical_tolerance(0.0), lambda: numerical_tolerance(1.0, 0),
        lambda: symmetric_interval(np.arange(3.0), 0.99),
    ):  # fmt: skip
        with pytest.raises(Refused):
            ask()


# -- draws ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "law",
    [Normal(1.0, 2.0), Rectangular(1.0, 2.0), Triangular(1.0, 2.0), Arcsine(1.0, 2.0), RoughlyLimited(1.0, 2.0, 2.0),
     Student(1.0, 2.0, 12.0)],
)  # fmt: skip
def test_draws_have_the_mean_and_the_spread_of_their_law(law: Law) -> None:
    n = 200_000
    drawn = law.draw(np.random.default_rng(1), n)
    assert drawn.mean() == pytest.approx(law.mean, abs=4.0 * law.u / math.sqrt(n))
    # standard deviation of a standard deviation, with room for the fourth moment of Student's law of 12
    assert drawn.std() == pytest.approx(law.u, rel=4.0 * math.sqrt(0.75 / n))


def test_a_law_without_variance_says_so() -> None:
    assert Student(0.0, 1.0, 2.0).u == math.inf


def test_draws_of_an_estimate_have_its_covariance_and_fewer_degrees_of_freedom_wider_tails() -> None:
    e = Estimate(
        np.array([1.0, -1.0]), (Y, Y),
        {"scale": Factor(np.array([[1.0], [1.0]]), np.array([[4.0]])), "noise": Factor(np.eye(2), np.eye(2))},
    )  # fmt: skip
    n = 200_000
    plain = drawer_of(e)(np.random.default_rng(2), n)
    assert np.cov(plain.T) == pytest.approx(e.cov, abs=4.0 * 5.0 * math.sqrt(2.0 / n))
    few = drawer_of(e, {"scale": 10.0})(np.random.default_rng(2), n)
    # the shared variable is Student's: 4 * 10 / 8, and shared still
    assert np.cov(few.T)[0, 1] == pytest.approx(4.0 * 10.0 / 8.0, rel=0.02)
    with pytest.raises(Undetermined):
        drawer_of(pair({"noise": np.eye(2)}, (0.0, math.nan)))


def test_intervals_of_a_hundred_numbers() -> None:
    rising = np.arange(1.0, 101.0)
    assert [float(x) for x in symmetric_interval(rising, 0.8)] == [10.0, 90.0]
    low, high = symmetric_interval(np.stack([rising, 2.0 * rising], axis=1), 0.8)
    assert (low.tolist(), high.tolist()) == ([10.0, 20.0], [90.0, 180.0])
    bent = rising**2  # the low end is the denser one
    assert [float(x) for x in shortest_interval(bent, 0.8)] == [1.0, 81.0**2]
    low, high = shortest_interval(np.stack([bent, -bent[::-1]], axis=1), 0.8)
    assert (low.tolist(), high.tolist()) == ([1.0, -(81.0**2)], [81.0**2, -1.0])


@pytest.mark.parametrize(
    ("u", "digits", "tolerance"),
    [
        (35.0, 1, 5.0),
        (35.0, 2, 0.5),
        (0.00035, 2, 5e-6),
        (9.96, 2, 0.5),
        (9.94, 2, 0.05),
        (1.0, 1, 0.5),
        (0.99, 1, 0.5),
    ],
)
def test_tolerance_of_the_last_digit(u: float, digits: int, tolerance: float) -> None:
    # 9.96 is told as 10 in two digits, so its last digit is a whole one; 0.99 is told as 1 in one digit
    assert numerical_tolerance(u, digits) == pytest.approx(tolerance, rel=1e-12)


def test_the_same_seed_gives_the_same_run_and_another_seed_another() -> None:
    runs = [
        monte_carlo(lambda x: x[:, 0] ** 2, independent([Normal(1.0, 1.0)]), np.random.default_rng(seed), digits=1)
        for seed in (5, 5, 6)
    ]
    assert runs[0].sample.tobytes() == runs[1].sample.tobytes()
    assert runs[0].value[0] != runs[2].value[0]
    assert "settled to 1 digits" in runs[0].words


def test_a_run_can_be_stopped_and_tells_its_progress() -> None:
    told: list[Progress] = []

    def go_on(progress: Progress) -> bool:
        told.append(progress)
        return progress.batches < 3

    run = monte_carlo(lambda x: x[:, 0], independent([Normal(0.0, 1.0)]), np.random.default_rng(1), go_on=go_on)
    assert [p.batches for p in told] == [1, 2, 3]
    assert told[-1].draws == 30_000 == len(run.sample)
    assert not run.settled
    assert run.words.startswith("stopped before it settled")
    assert run.u[0] == pytest.approx(
        1.0, abs=0.03
    )  # what was drawn so far is handed back: 4 deviations of 30 000 draws


def test_a_run_that_needs_too_many_draws_says_so() -> None:
    run = monte_carlo(
        lambda x: x[:, 0], independent([Normal(0.0, 1.0)]), np.random.default_rng(1), digits=3, most_outcomes=150_000
    )
    assert not run.settled
    assert run.words == "not settled after 150000 outcomes: 150000 draws"
    with pytest.raises(Refused, match="at least 10000"):
        monte_carlo(lambda x: x[:, 0], independent([Normal(0.0, 1.0)]), np.random.default_rng(1), most_outcomes=10)


def test_outcomes_without_a_number_are_counted_and_refused() -> None:
    with pytest.raises(Refused, match=r"\d+ of 10000 draws without a number"):
        monte_carlo(
            lambda x: np.where(x[:, 0] < 0.0, np.nan, x[:, 0]),
            independent([Normal(0.0, 1.0)]),
            np.random.default_rng(1),
        )
    with pytest.raises(Refused, match="one for each"):
        monte_carlo(lambda x: x[:5, 0], independent([Normal(0.0, 1.0)]), np.random.default_rng(1))
    with pytest.raises(Refused, match="2 or more"):
        monte_carlo(lambda x: x, independent([Normal(0.0, 1.0)]), np.random.default_rng(1), least_batches=1)


def test_joint_regions_of_a_normal_cloud_are_those_of_the_formulas() -> None:
    e = pair({"noise": np.array([[4.0, 1.0], [1.0, 9.0]])})
    run = monte_carlo(lambda x: x, drawer_of(e), np.random.default_rng(3), digits=2)
    # chi-square of two; 4 deviations of the quantile of about 1e5 draws, density 0.12 there
    assert run.ellipsoid == pytest.approx(
        ellipsoid_factor(0.95, 2), abs=4.0 * 0.22 / (0.12 * math.sqrt(len(run.sample)))
    )
    assert coverage_factor(0.95) < run.rectangle < rectangle_factor_bound(0.95, 2)
    check = check_linear(e, run, digits=1)
    assert check.holds.all()
    assert check.holds_jointly


def test_components_that_never_vary_take_no_part() -> None:
    run = monte_carlo(
        lambda x: np.column_stack([x[:, 0], np.ones(len(x))]),
        independent([Normal(0.0, 1.0)]),
        np.random.default_rng(1),
        digits=1,
    )
    assert run.settled
    assert run.u[1] == 0.0
    assert run.ellipsoid == pytest.approx(1.96, abs=0.03)  # one direction left; 4 deviations of 1e5 draws
    assert cloud_factors(np.ones((100, 2)), 0.9) == (0.0, 0.0)
    with pytest.raises(Refused, match="each with an uncertainty"):
        check_linear(pair({"noise": np.diag([1.0, 0.0])}), run)
