"""Numbers at the edge: every spelling, and every way to be refused."""

from __future__ import annotations

import math

import pytest

from monochord.ground.faults import Refused
from monochord.ground.units import UNITS, quantity, unit


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [
        ("6.400 m", "length", 6.4),
        ("-310mm", "length", -0.31),
        ("30 um", "length", 3e-5),
        ("30 µm", "length", 3e-5),  # micro sign
        ("30 μm", "length", 3e-5),  # Greek letter
        ("1 in", "length", 0.0254),
        ("200 gon", "angle", math.pi),
        ("180°", "angle", math.pi),
        ("1 mgon", "angle", math.pi / 200_000),
        ("3600 arcsec", "angle", math.pi / 180.0),
        ("21.5 °C", "temperature", 21.5),
        ("68 degF", "temperature", 20.0),
        ("0.5 K", "temperature difference", 0.5),
        ("11.5 um/m/K", "expansion", 11.5e-6),
        ("+.5e3 N", "force", 500.0),
        ("2 kN", "force", 2000.0),
        ("1 g", "acceleration", 9.80665),
        ("1 mm/turn", "thread pitch", 1e-3),
        ("2 V/um", "voltage per length", 2e6),
        ("600 T/m^2", "second derivative of field", 600.0),
        ("5 %", "ratio", 0.05),
        ("0.05", "ratio", 0.05),
        ("30 ppm", "ratio", 3e-5),
        ("2 h", "time", 7200.0),
        (" 5. s ", "time", 5.0),
    ],
)
def test_spellings(text: str, dimension: str, si: float) -> None:
    assert quantity(text, dimension) == pytest.approx(si, rel=1e-14, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "message"),
    [
        ("6.4", "length", "'6.4' without a unit"),
        ("6,4 m", "length", "unit ',4 m'"),
        ("m", "length", "expected a number and its unit"),
        ("", "length", "expected a number and its unit"),
        ("6.4 parsec", "length", "unit 'parsec'"),
        ("6.4 degC", "temperature difference", "unit 'degC', a temperature"),
        ("6.4 K", "temperature", "unit 'K', a temperature difference"),
        ("6.4 mrad", "length", "unit 'mrad', a"),
    ],
)
def test_what_is_not_a_quantity_is_refused_with_the_spellings_that_are(text: str, dimension: str, message: str) -> None:
    with pytest.raises(Refused) as caught:
        quantity(text, dimension)
    assert message in str(caught.value)
    known = next(name for name, (kind, _, _) in UNITS.items() if kind == dimension)
    assert known in caught.value.faults[0].expected


def test_an_unknown_unit_without_dimension_lists_all() -> None:
    with pytest.raises(Refused) as caught:
        unit("furlong")
    assert all(name in caught.value.faults[0].expected for name in UNITS)


def test_two_units_of_temperature_are_kept_apart_from_differences() -> None:
    assert unit("degC").dimension == "temperature"
    assert unit("K").dimension == "temperature difference"
    assert unit("C").name == "degC"
