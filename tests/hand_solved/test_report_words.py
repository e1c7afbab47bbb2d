"""Numbers and sentences of the report, written out by hand."""

from __future__ import annotations

import math

import pytest

from monochord.report.words import (
    MINUS,
    counted,
    decimals_for,
    height_word,
    listed,
    micrometres,
    microradians,
    number,
    offset_words,
    side_word,
    with_uncertainty,
)


def test_micrometres_shows_two_digits_of_the_uncertainty() -> None:
    assert micrometres(12.34e-6, 1.13e-6) == "+12.3 ± 1.1 µm"
    assert micrometres(12.34e-6, 0.462e-6) == "+12.34 ± 0.46 µm"
    assert micrometres(-184.4e-6, 11.2e-6) == f"{MINUS}184 ± 11 µm"
    assert micrometres(5321.7e-6, 240e-6) == "+5322 ± 240 µm"


def test_microradians_is_signed_too() -> None:
    assert microradians(-41.2e-6, 8.0e-6) == f"{MINUS}41.2 ± 8.0 µrad"


def test_decimals_may_be_fixed_by_the_column() -> None:
    assert micrometres(12.34e-6, 0.462e-6, decimals=1) == "+12.3 ± 0.5 µm"


@pytest.mark.parametrize("value", [None, math.nan, math.inf])
def test_what_is_not_known_is_never_printed_as_a_number(value: float | None) -> None:
    assert micrometres(value, 1e-6) == "not known"
    assert number(math.nan if value is None else value, 1) == "not known"


def test_a_value_without_an_uncertainty_says_so() -> None:
    assert micrometres(2e-6, None) == "+2.0 µm, u not known"
    assert with_uncertainty(2.0, math.nan, "µm") == "+2.0 µm, u not known"


def test_a_rounded_zero_has_no_sign() -> None:
    assert number(-0.04, 1, sign=True) == "0.0"
    assert micrometres(-0.04e-6, 1.0e-6) == "0.0 ± 1.0 µm"


def test_signs_have_their_words() -> None:
    # girder frame: x to the left looking along the beam, y up
    assert (side_word(1e-6), side_word(-1e-6)) == ("left", "right")
    assert (height_word(1e-6), height_word(-1e-6)) == ("up", "down")
    assert side_word(None) == side_word(0.0) == side_word(0.04e-6) == ""
    assert side_word(0.06e-6) == "left"


def test_offsets_in_words() -> None:
    assert offset_words(12e-6, 3e-6) == "12 µm left, 3 µm up"
    assert offset_words(-12e-6, -3e-6) == "12 µm right, 3 µm down"
    assert offset_words(0.4e-6, -0.4e-6) == "0 µm sideways, 0 µm in height"
    assert offset_words(math.nan, 3e-6) == "not known sideways, 3 µm up"


def test_decimals_serve_the_whole_column() -> None:
    # the largest gets two digits, the smallest at least one
    assert decimals_for([24.0, 1.1]) == 0
    assert decimals_for([2.4, 0.82]) == 1
    assert decimals_for([50.0, 0.5]) == 1
    assert decimals_for([None, math.nan, 0.0]) == 1


def test_lists_and_counts() -> None:
    assert listed([]) == "none"
    assert listed(["Q1"]) == "Q1"
    assert listed(["Q1", "Q2", "Q3"]) == "Q1, Q2 and Q3"
    assert listed(["Q1", "Q2", "Q3"], 2) == "Q1, Q2 and 1 more"
    assert (counted(1, "foot", "feet"), counted(2, "foot", "feet")) == ("1 foot", "2 feet")
