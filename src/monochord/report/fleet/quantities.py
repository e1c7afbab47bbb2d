"""How each quantity of the record is called and printed: words, unit, and what an SI value is multiplied by."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from monochord.report.words import decimals_for, number, scaled, with_uncertainty


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity: words for it, the unit of the print, the factor from SI to it, decimals where no u tells them."""

    words: str
    unit: str
    factor: float
    decimals: int = 2


def _planar(name: str, words: str) -> dict[str, Quantity]:
    return {f"{name}_{q}": Quantity(f"{words} {q}", "µm", 1e6, 1) for q in "xy"}


#: Quantities of charts; the order is that of a page.
CHARTED: Mapping[str, Quantity] = {
    **_planar("ride_own_move", "own move in the ride"),
    **_planar("own_move", "own move since the survey before"),
    "rounds_at_bolts": Quantity("rounds at the bolts", "1", 1.0, 0),
    "closure_ratio": Quantity("closure, square sum / dof", "1", 1.0),
    "closure_probability": Quantity("closure, probability", "1", 1.0),
    **_planar("closure", "wire minus survey"),
    **_planar("stringing_change", "change between two stringings"),
    "survey_variance_factor": Quantity("variance factor of the survey", "1", 1.0),
    "survey_scale": Quantity("scale of distances", "µm/m", 1e6, 1),
    "survey_warnings": Quantity("warnings of the survey", "1", 1.0, 0),
    "wire_resonance_x": Quantity("resonance of the wire in x", "Hz", 1.0, 3),
    "wire_resonance_y": Quantity("resonance of the wire in y", "Hz", 1.0, 3),
    "wire_sag": Quantity("sag of the wire", "µm", 1e6, 1),
    "sensor_turn": Quantity("turn of the sensor pair", "mrad", 1e3, 2),
    "wire_warnings": Quantity("warnings of the wire", "1", 1.0, 0),
}
#: Quantities of verdicts.
JUDGED: Mapping[str, Quantity] = {
    **{q: Quantity(f"offset {q}", "µm", 1e6, 1) for q in "xy"},
    **_planar("own_move", "own move"),
    **{f"slope_{q}": Quantity(f"slope {q}", "µrad", 1e6, 0) for q in "xy"},
    "roll": Quantity("roll", "µrad", 1e6, 0),
}


def charted(name: str, unit: str = "1") -> Quantity:
    """A quantity of charts; one that is not known here is printed in SI.

    >>> charted("wire_sag").unit, charted("tension", "N").unit
    ('µm', 'N')
    """
    return CHARTED.get(name) or Quantity(name.replace("_", " "), unit, 1.0, 3)


def judged(name: str) -> Quantity:
    """A quantity of verdicts; one that is not known here has lengths, printed in µm.

    >>> judged("own_move_x").words, judged("offset_radial").words
    ('own move x', 'offset radial')
    """
    return JUDGED.get(name) or Quantity(name.replace("_", " "), "µm", 1e6, 1)


def printed(quantity: Quantity, value: float | None, u: float | None = None) -> str:
    """A value with its u and unit, SI in.

    >>> printed(charted("ride_own_move_x"), 12.34e-6, 1.1e-6), printed(charted("rounds_at_bolts"), 2.0)
    ('+12.3 ± 1.1 µm', '2')
    """
    if value is None:
        return "not known"
    unit = "" if quantity.unit == "1" else quantity.unit
    signed = quantity.unit not in {"1", "Hz"}
    if u is None:
        text = number(value * quantity.factor, quantity.decimals, sign=signed)
        return f"{text} {unit}".rstrip()
    places = decimals_for([scaled(u, quantity.factor)])
    return with_uncertainty(value * quantity.factor, scaled(u, quantity.factor), unit, decimals=places, sign=signed)


def of_year(quantity: Quantity) -> str:
    """The unit of a slope.

    >>> of_year(charted("wire_sag")), of_year(charted("rounds_at_bolts"))
    ('µm/year', '1/year')
    """
    return f"{quantity.unit}/year"
