"""Whatever is printed can be read back, and whatever is written as JSON is strict and unchanged."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monochord.report.document import document_text
from monochord.report.words import MINUS, decimals_for, micrometres, number

finite = st.floats(allow_nan=False, allow_infinity=False, width=64)
lengths = st.floats(-5e-3, 5e-3, allow_nan=False)
spreads = st.floats(1e-8, 1e-3, allow_nan=False)
values: st.SearchStrategy[object] = st.recursive(
    st.none() | st.booleans() | st.integers() | finite | st.text(),
    lambda inner: st.lists(inner, max_size=6) | st.dictionaries(st.text(), inner, max_size=6),
    max_leaves=40,
)


def read(text: str) -> float:
    return float(text.replace(MINUS, "-"))


@given(value=finite.filter(lambda v: abs(v) < 1e9), decimals=st.integers(0, 3))
def test_a_print_is_within_half_a_unit_of_its_last_digit(value: float, decimals: int) -> None:
    # the half unit of rounding, and the rounding of a double near 1e9 (1e-7)
    assert abs(read(number(value, decimals, sign=True)) - value) <= 0.5 * 10.0**-decimals + 2e-7


@given(value=lengths, u=spreads)
def test_micrometres_read_back_within_a_twentieth_of_u(value: float, u: float) -> None:
    printed, spread = micrometres(value, u).removesuffix(" µm").split(" ± ")

    # two digits of u: the last digit is at most a tenth of u, its half a twentieth; nanometres are the end
    assert abs(read(printed) * 1e-6 - value) <= max(u / 20.0, 0.51e-9)
    assert abs(read(spread) * 1e-6 - u) <= max(u / 20.0, 0.51e-9)


@given(st.lists(spreads, min_size=1))
def test_no_uncertainty_of_a_column_is_printed_as_zero(us: list[float]) -> None:
    decimals = decimals_for(u * 1e6 for u in us)

    assert all(read(number(u * 1e6, decimals)) > 0.0 for u in us)


@given(st.dictionaries(st.text(), values, max_size=6))
def test_a_document_is_read_back_as_it_was(document: dict[str, object]) -> None:
    text = document_text(document)

    assert json.loads(text, parse_constant=pytest.fail) == document
    assert text == document_text(json.loads(text))


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_what_is_not_finite_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        document_text({"a": [{"b": value}]})
