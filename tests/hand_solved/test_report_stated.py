"""To which digit numbers are stated: each rule by hand, and agreement of two documents at and beyond the last digit."""

from __future__ import annotations

from typing import Any

import pytest

from monochord.report.schema import result_schema
from monochord.report.stated import MAPS, agreed, same_words, steps

# Steps are products and powers of ten of doubles: equal but for rounding.
ROUNDING = 1e-12


def near(value: object) -> object:
    """The value but for rounding, None as None."""
    if isinstance(value, dict):
        return {key: near(v) for key, v in value.items()}
    if isinstance(value, list):
        return [near(v) for v in value]
    return None if value is None else pytest.approx(value, rel=ROUNDING)


def test_a_value_ends_at_a_hundredth_of_its_u_and_so_does_u() -> None:
    assert steps({"x": 4e-6, "u_x": 2e-6}) == near({"x": 2e-8, "u_x": 2e-8})
    assert steps({"offset": 4e-6, "u": 2e-6, "limit": 3e-5, "guard": 3e-6, "probability": 0.9}) == near(
        {"offset": 2e-8, "u": 2e-8, "limit": 1e-13, "guard": 3e-8, "probability": 0.01 * 0.3989422804014327}
    )


def test_a_number_without_u_has_nine_significant_digits() -> None:
    assert steps({"f1_x": 26.103, "z": -0.3, "count": 324, "nothing": None}) == near(
        {"f1_x": 1e-7, "z": 1e-9, "count": 1e-6, "nothing": None}
    )


def test_u_comes_from_the_covariance_too_and_covariances_end_with_the_product_of_both_u() -> None:
    cov = [[4e-12, 0.0], [0.0, 9e-12]]
    assert steps({"labels": ["x", "y"], "x": 1.0, "y": 1.0, "cov": cov}) == {
        "labels": [None, None],
        "x": near(2e-8),
        "y": near(3e-8),
        "cov": [near([4e-14, 6e-14]), near([6e-14, 9e-14])],
    }
    eye = [[1e-12 if i == j else 0.0 for j in range(3)] for i in range(3)]
    target = steps({"xyz": [1.0, 2.0, 3.0], "cov": eye})
    assert isinstance(target, dict)
    assert target["xyz"] == near([1e-8] * 3)


def test_numbers_of_one_kind_end_with_the_largest_of_them() -> None:
    assert steps({"slope": [1e-3, 1e-12]}) == {"slope": near([1e-11, 1e-11])}
    assert steps({"loads_before": {"V1": 5000.0, "V2": 1e-9}}) == {"loads_before": near({"V1": 1e-5, "V2": 1e-5})}
    with_u = steps({"loads_before": {"V1": 5000.0}, "u_loads_before": {"V1": 40.0}})
    assert with_u == {"loads_before": near({"V1": 0.4}), "u_loads_before": near({"V1": 0.4})}
    rounding = steps({"loads_after": {"V1": 50.0, "V2": 5.0}, "u_loads_before": {"V1": 40.0, "V2": 1e-15}})
    assert rounding == {"loads_after": near({"V1": 0.4, "V2": 1e-7}), "u_loads_before": near({"V1": 0.4, "V2": 1e-7})}
    pose = steps({"rotation": [[1.0, 0.0], [0.0, 1.0]], "shift": [1e-15, 0.0]})
    assert pose == {"rotation": [near([1e-8, 1e-8])] * 2, "shift": near([1e-8, 1e-8])}
    causes = [{"cause": "sag", "u_x": 1e-6, "u_y": 2e-6}, {"cause": "noise", "u_x": 1e-20, "u_y": 0.0}]
    assert steps({"causes": causes}) == {"causes": [near({"cause": None, "u_x": 1e-8, "u_y": 2e-8})] * 2}


def test_a_square_sum_ends_at_a_hundredth_of_its_standard_deviation() -> None:
    assert steps({"chi_square": 9.0, "dof": 8}) == near({"chi_square": 0.04, "dof": 1e-8})


def test_every_map_of_numbers_in_the_schema_has_its_rule() -> None:
    """A new map under a name that stated digits do not know would be held to nine digits of each tiny number."""
    found: set[str] = set()

    def walk(part: Any, name: str) -> None:
        if isinstance(part, dict):
            inner = part.get("additionalProperties")
            if isinstance(inner, dict) and "number" in str(inner.get("type", "")):
                found.add(name.removeprefix("u_"))
            for key, value in part.items():
                walk(value, key)

    walk(result_schema(), "")
    assert found == set(MAPS)


@pytest.mark.parametrize(
    ("now", "kept"), [(1.0199e-6, True), (1.0201e-6, False), (0.9801e-6, True), (0.9799e-6, False)]
)
def test_one_unit_of_the_last_digit_agrees_and_more_does_not(now: float, kept: bool) -> None:
    met, count = agreed({"x": 1e-6, "u_x": 2e-6}, {"x": now, "u_x": 2e-6})
    assert isinstance(met, dict)
    assert (met["x"] == 1e-6) is kept
    assert count == 2


def test_what_is_lost_new_or_of_another_kind_stays_different() -> None:
    then = {"a": 1.0, "b": None, "c": [1.0, 2.0], "d": True, "e": 0.0}
    now = {"b": 1.0, "c": [1.0], "d": False, "e": 1e-300, "new": 3.0}
    assert agreed(then, now) == (now, 1)


def test_causes_are_met_by_name_and_one_of_no_size_may_be_left_out() -> None:
    sag, clamp = {"cause": "sag", "u_x": 1e-6, "u_y": 1e-6}, {"cause": "clamp", "u_x": 2e-22, "u_y": 0.0}
    then = [sag, clamp]
    assert agreed(then, [clamp, sag])[0] == then
    assert agreed(then, [sag])[0] == then
    assert agreed([sag], then)[0] == [sag]
    grown = {"cause": "clamp", "u_x": 2e-7, "u_y": 0.0}
    assert agreed(then, [sag, grown])[0] != then
    assert agreed([sag], [sag, grown])[0] != [sag]


def test_numbers_in_words_agree_to_their_last_printed_digit() -> None:
    assert same_words("0.65 of 3 magnets, 1.2e-5", "0.66 of 3 magnets, 1.3e-5")
    assert not same_words("0.65 of 3 magnets", "0.67 of 3 magnets")
    assert not same_words("Q1 conforms", "Q1 does not conform")
