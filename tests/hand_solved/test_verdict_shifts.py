"""Shifts and their tests on numbers that can be solved on paper."""

from __future__ import annotations

import math

import numpy as np
import pytest

from monochord.ground.estimate import Estimate, Label
from monochord.ground.faults import FrameMismatch, Refused, Undetermined
from monochord.ground.statistics import student_quantile
from monochord.verdict.shifts import e_n, e_n_scores, judge_shift, least_significant, two_sided
from monochord.verdict.shifts_equivalence import each_moved_less_than, moved_less_than, vector_moved_less_than

UM = 1e-6


def shift(values: list[float], cov: list[list[float]] | None = None, dof: float = math.inf) -> Estimate:
    """A shift of components a, b, c ... in um with a covariance in um^2."""
    n = len(values)
    own = np.eye(n) if cov is None else np.array(cov)
    return Estimate.of(
        values, [chr(97 + k) for k in range(n)], unit="um", frame="girder", causes={"noise": own}, dof=dof
    )


def test_two_independent_components() -> None:
    # 9 + 16 = 25 with two degrees of freedom: exp(-12.5)
    found = judge_shift(shift([3.0, 4.0]))
    assert (found.square, found.rank) == pytest.approx((25.0, 2), rel=1e-12)
    assert found.probability == pytest.approx(math.exp(-12.5), rel=1e-9)
    assert found.found
    assert "in a, b" in found.words


def test_correlation_makes_a_difference_stand_out() -> None:
    # +2 and -2 with r = 0.9: (d1 - d2)^2 / var = 16 / 0.2 = 80, the mean tells nothing; each by itself is 2 u
    tested = judge_shift(shift([2.0, -2.0], [[1.0, 0.9], [0.9, 1.0]]), level=0.01)
    assert tested.square == pytest.approx(80.0, rel=1e-9)
    assert tested.found
    assert not any(c.found for c in tested.components)
    assert "in no component by itself" in tested.words
    # given that the other did not move: 2 + 0.9 * 2 = 3.8 against sqrt(1 - 0.81)
    assert tested.components[0].given_others == pytest.approx(two_sided(3.8 / math.sqrt(0.19)), rel=1e-9)


def test_both_moved_alike_stays_hidden_in_a_common_cause() -> None:
    tested = judge_shift(shift([2.0, 2.0], [[1.0, 0.9], [0.9, 1.0]]), level=0.01)
    assert tested.square == pytest.approx(16.0 / 3.8, rel=1e-9)
    assert not tested.found
    assert tested.words.startswith("no shift found")


def test_shifts_about_their_mean_have_one_direction_less() -> None:
    # three marks about their mean: d = (-1, 0, 1) * 3, C = I - 1/3: square 18 with two degrees of freedom
    tested = judge_shift(shift([-3.0, 0.0, 3.0], (np.eye(3) - 1.0 / 3.0).tolist()))
    assert (tested.square, tested.rank) == pytest.approx((18.0, 2), rel=1e-9)
    assert tested.probability == pytest.approx(math.exp(-9.0), rel=1e-9)
    assert all(math.isnan(c.given_others) for c in tested.components)


def test_few_readings_ask_for_more() -> None:
    # one component with 4 degrees of freedom: F(1, 4) of t^2 is Student's t, two-sided
    t = student_quantile(0.975, 4.0)
    assert judge_shift(shift([t], dof=4.0)).probability == pytest.approx(0.05, abs=1e-9)
    assert judge_shift(shift([t])).probability == pytest.approx(two_sided(t), rel=1e-9)
    assert judge_shift(shift([t])).probability < 0.01


def test_two_components_and_few_readings_have_a_closed_form() -> None:
    # F with 2 and nu degrees: P = (1 + 2 f / nu)^(-nu / 2), f = 25 / 2
    tested = judge_shift(shift([3.0, 4.0], dof=6.0))
    assert tested.probability == pytest.approx((1.0 + 25.0 / 6.0) ** -3.0, rel=1e-9)


def test_two_looks_must_each_be_stricter() -> None:
    # 2.1 u is beyond 1.96 and within 2.236, the bound of each of two tests at 5 % together
    assert [c.found for c in judge_shift(shift([2.1])).components] == [True]
    assert [c.found for c in judge_shift(shift([2.1, 0.0])).components] == [False, False]
    assert [c.found for c in judge_shift(shift([2.24, 0.0])).components] == [True, False]


def test_the_shift_that_would_have_been_found() -> None:
    # level 5 % for one test and power 80 %: 1.95996 + 0.84162
    [c] = judge_shift(shift([0.0], [[4.0]])).components
    assert c.detectable == pytest.approx(2.0 * 2.80158, abs=1e-4)
    assert least_significant(2.0) == pytest.approx(2.0 * 1.959964, abs=1e-5)


def test_what_cannot_be_tested_is_told() -> None:
    with pytest.raises(Undetermined, match="b: its shift is unknown"):
        judge_shift(shift([1.0, math.nan]))
    with pytest.raises(Refused, match="without uncertainty"):
        judge_shift(shift([1.0, 1.0], [[1.0, 0.0], [0.0, 0.0]]))
    with pytest.raises(Refused, match="between 0 and 1"):
        judge_shift(shift([1.0]), level=5.0)


def test_scores_are_matched_by_name_and_frame() -> None:
    a, b = shift([4.0, 0.0]), shift([0.0, 1.0]).pick(["b", "a"])
    # shared cause "noise" of one spread, but no common components in the jacobians: a - b keeps what does not cancel
    own = {"x": np.eye(2)}
    other = Estimate.of([1.0, 0.0], ["b", "a"], unit="um", frame="girder", causes=own)
    assert e_n_scores(a, other) == pytest.approx(
        {"a": 4.0 / (2.0 * math.sqrt(2.0)), "b": -1.0 / (2.0 * math.sqrt(2.0))}
    )
    with pytest.raises(Refused, match="more than 0"):
        e_n_scores(a, b)  # the very same cause in both: nothing is left to score with
    wrong = Estimate(b.value, tuple(Label(n, "um", "tunnel") for n in b.names), b.factors)
    with pytest.raises(FrameMismatch):
        e_n_scores(a, wrong)
    with pytest.raises(Refused, match="expanded"):
        e_n(1.0, 0.0, 0.0, 0.0)


@pytest.mark.parametrize(
    ("value", "u", "answer"),
    [
        (0.0, 2.0, "yes"), (6.0, 2.0, "yes"), (-6.0, 2.0, "yes"), (7.0, 2.0, "cannot be decided"),
        (13.0, 2.0, "cannot be decided"), (-14.0, 2.0, "no"), (0.0, 7.0, "cannot be decided"),
        (9.9, 0.0, "yes"), (10.0, 0.0, "no"), (math.nan, 2.0, "cannot be decided"),
    ],
)  # fmt: skip
def test_less_than_ten_micrometres(value: float, u: float, answer: str) -> None:
    # 10 - 1.645 * 2 = 6.71 and 10 + 3.29 = 13.29; with u = 7 nothing can be answered, as 1.645 * 7 > 10
    assert moved_less_than(value * UM, u * UM, 10.0 * UM).answer == answer


def test_a_shift_not_found_may_still_be_large() -> None:
    poor = moved_less_than(3.0 * UM, 8.0 * UM, 10.0 * UM)
    assert not judge_shift(shift([3.0], [[64.0]])).found
    assert poor.answer == "cannot be decided"
    assert poor.answerable / UM == pytest.approx(3.0 + 1.644854 * 8.0, abs=1e-4)
    assert moved_less_than(3.0 * UM, 8.0 * UM, poor.answerable * 1.0001).answer == "yes"
    assert moved_less_than(3.0 * UM, 8.0 * UM, poor.answerable * 0.9999).answer == "cannot be decided"


def test_few_degrees_of_freedom_make_the_answer_more_careful() -> None:
    assert moved_less_than(6.5 * UM, 2.0 * UM, 10.0 * UM).answer == "yes"
    assert moved_less_than(6.5 * UM, 2.0 * UM, 10.0 * UM, dof=4.0).answer == "cannot be decided"  # t = 2.13
    [few] = each_moved_less_than(shift([6.5], [[4.0]], dof=4.0), 10.0).values()
    assert few.answer == "cannot be decided"


def test_a_vector_may_be_too_long_though_each_component_is_short() -> None:
    d = shift([7.5, 7.5], [[0.04, 0.0], [0.0, 0.04]])
    assert {e.answer for e in each_moved_less_than(d, 10.0).values()} == {"yes"}
    assert vector_moved_less_than(d, 10.0).answer == "no"  # 10.6 um long, u = 0.2 um
    assert vector_moved_less_than(d, 11.0).answer == "yes"


def test_a_vector_near_zero_with_a_large_uncertainty_decides_nothing() -> None:
    d = shift([0.0, 0.0, 0.0], (400.0 * np.eye(3)).tolist())
    poor = vector_moved_less_than(d, 10.0)
    assert poor.answer == "cannot be decided"
    # chi-square of three: 7.8147 u^2 is the square of what could have been answered
    assert poor.answerable == pytest.approx(20.0 * math.sqrt(7.814728), rel=1e-6)
    assert vector_moved_less_than(shift([0.0, math.nan]), 10.0).answer == "cannot be decided"


def test_a_mixed_question_is_refused() -> None:
    mixed = Estimate(np.zeros(2), (Label("dx", "m", "girder"), Label("rz", "rad", "girder")), {})
    with pytest.raises(Refused, match="one unit"):
        vector_moved_less_than(mixed, 1.0)
    with pytest.raises(Refused, match="one unit"):
        each_moved_less_than(mixed, 1.0)
    with pytest.raises(Refused, match="above 0"):
        moved_less_than(0.0, 1.0, 0.0)
