"""Units at the edge: a number that enters or leaves names its unit; inside all is SI.

Only units that people of the trade write in tables are known. An unknown spelling is refused,
never guessed; temperature differences and temperature points are kept apart.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from monochord.ground.faults import Fault, Refused

_GON = math.pi / 200.0
_DEGREE = math.pi / 180.0

# spelling -> (dimension, factor to SI, offset added after scaling)
UNITS: dict[str, tuple[str, float, float]] = {
    "m": ("length", 1.0, 0.0),
    "mm": ("length", 1e-3, 0.0),
    "um": ("length", 1e-6, 0.0),
    "nm": ("length", 1e-9, 0.0),
    "in": ("length", 0.0254, 0.0),
    "cm": ("length", 1e-2, 0.0),
    "km": ("length", 1e3, 0.0),
    "mil": ("length", 2.54e-5, 0.0),
    "ft": ("length", 0.3048, 0.0),
    "rad": ("angle", 1.0, 0.0),
    "mrad": ("angle", 1e-3, 0.0),
    "urad": ("angle", 1e-6, 0.0),
    "deg": ("angle", _DEGREE, 0.0),
    "gon": ("angle", _GON, 0.0),
    "mgon": ("angle", 1e-3 * _GON, 0.0),
    "cc": ("angle", 1e-4 * _GON, 0.0),
    "arcmin": ("angle", _DEGREE / 60.0, 0.0),
    "arcsec": ("angle", _DEGREE / 3600.0, 0.0),
    "s": ("time", 1.0, 0.0),
    "ms": ("time", 1e-3, 0.0),
    "us": ("time", 1e-6, 0.0),
    "ns": ("time", 1e-9, 0.0),
    "min": ("time", 60.0, 0.0),
    "h": ("time", 3600.0, 0.0),
    "Hz": ("frequency", 1.0, 0.0),
    "kHz": ("frequency", 1e3, 0.0),
    "MHz": ("frequency", 1e6, 0.0),
    "mHz": ("frequency", 1e-3, 0.0),
    "A": ("current", 1.0, 0.0),
    "mA": ("current", 1e-3, 0.0),
    "uA": ("current", 1e-6, 0.0),
    "kA": ("current", 1e3, 0.0),
    "V": ("voltage", 1.0, 0.0),
    "mV": ("voltage", 1e-3, 0.0),
    "uV": ("voltage", 1e-6, 0.0),
    "V/um": ("voltage per length", 1e6, 0.0),
    "V/mm": ("voltage per length", 1e3, 0.0),
    "V/m": ("voltage per length", 1.0, 0.0),
    "V/A": ("resistance", 1.0, 0.0),
    "mV/A": ("resistance", 1e-3, 0.0),
    "mohm": ("resistance", 1e-3, 0.0),
    "ohm": ("resistance", 1.0, 0.0),
    "T": ("field", 1.0, 0.0),
    "mT": ("field", 1e-3, 0.0),
    "uT": ("field", 1e-6, 0.0),
    "G": ("field", 1e-4, 0.0),
    "kG": ("field", 0.1, 0.0),
    "T/m": ("gradient", 1.0, 0.0),
    "G/cm": ("gradient", 1e-2, 0.0),
    "kG/cm": ("gradient", 10.0, 0.0),
    "mT/mm": ("gradient", 1.0, 0.0),
    "T/m2": ("second derivative of field", 1.0, 0.0),
    "T/m3": ("third derivative of field", 1.0, 0.0),
    "kg": ("mass", 1.0, 0.0),
    "t": ("mass", 1e3, 0.0),
    "lb": ("mass", 0.45359237, 0.0),
    "kg/m": ("mass per length", 1.0, 0.0),
    "g/m": ("mass per length", 1e-3, 0.0),
    "mg/m": ("mass per length", 1e-6, 0.0),
    "N": ("force", 1.0, 0.0),
    "kN": ("force", 1e3, 0.0),
    "daN": ("force", 10.0, 0.0),
    "kgf": ("force", 9.80665, 0.0),
    "lbf": ("force", 4.4482216152605, 0.0),
    "N/m": ("stiffness", 1.0, 0.0),
    "N/um": ("stiffness", 1e6, 0.0),
    "N/mm": ("stiffness", 1e3, 0.0),
    "kN/mm": ("stiffness", 1e6, 0.0),
    "N m2": ("bending stiffness", 1.0, 0.0),
    "m/turn": ("thread pitch", 1.0, 0.0),
    "mm/turn": ("thread pitch", 1e-3, 0.0),
    "um/turn": ("thread pitch", 1e-6, 0.0),
    "in/turn": ("thread pitch", 0.0254, 0.0),
    "turn": ("turns", 1.0, 0.0),
    "degC": ("temperature", 1.0, 0.0),
    "degF": ("temperature", 5.0 / 9.0, -32.0 * 5.0 / 9.0),
    "K absolute": ("temperature", 1.0, -273.15),
    "K": ("temperature difference", 1.0, 0.0),
    "mK": ("temperature difference", 1e-3, 0.0),
    "degC difference": ("temperature difference", 1.0, 0.0),
    "degF difference": ("temperature difference", 5.0 / 9.0, 0.0),
    "1/K": ("expansion", 1.0, 0.0),
    "um/m/K": ("expansion", 1e-6, 0.0),
    "ppm/K": ("expansion", 1e-6, 0.0),
    "um/m": ("ratio", 1e-6, 0.0),
    "mm/m": ("ratio", 1e-3, 0.0),
    "g": ("acceleration", 9.80665, 0.0),
    "mg": ("acceleration", 9.80665e-3, 0.0),
    "mm/s2": ("acceleration", 1e-3, 0.0),
    "m/s2": ("acceleration", 1.0, 0.0),
    "1": ("ratio", 1.0, 0.0),
    "%": ("ratio", 1e-2, 0.0),
    "ppm": ("ratio", 1e-6, 0.0),
    "ppb": ("ratio", 1e-9, 0.0),
}

_ALIASES = {
    "µm": "um", "μm": "um", "micron": "um", "°": "deg", "degree": "deg", "°C": "degC", "C": "degC",
    "µrad": "urad", "μrad": "urad", "µT": "uT", "T/m^2": "T/m2", "T/m²": "T/m2", "T/m^3": "T/m3",
    "T/m³": "T/m3", "N m^2": "N m2", "N*m2": "N m2", "N m²": "N m2", "m/s^2": "m/s2", "°F": "degF",
    "um/mK": "um/m/K", "/K": "1/K", "turns": "turn", "": "1", "inch": "in", "inches": "in", "in.": "in", "thou": "mil",
    "feet": "ft", "micrometre": "um", "micrometer": "um", "metre": "m", "meter": "m", "millimetre": "mm", "millimeter": "mm",
    "deg C": "degC", "deg F": "degF", "F": "degF", "Celsius": "degC", "Fahrenheit": "degF", "kelvin absolute": "K absolute",
    "delta degC": "degC difference", "delta degF": "degF difference", "Δ°C": "degC difference",
    "Δ°F": "degF difference", "ΔK": "K", "delta K": "K", "sec": "s", "seconds": "s", "msec": "ms", "µs": "us", "μs": "us",
    "minutes": "min", "hours": "h", "Ohm": "ohm", "kp": "kgf", "percent": "%", "gauss": "G", "degrees": "deg",
    "radians": "rad", "mm/rev": "mm/turn", "in/rev": "in/turn", "rev": "turn", "m/s²": "m/s2",
}  # fmt: skip

# The same spelling in another dimension, where the dimension that is wanted decides.
_WHERE_WANTED: dict[tuple[str, str], float] = {
    ("g", "mass"): 1e-3,
    ("mg", "mass"): 1e-6,
    ("deg", "turns"): 1.0 / 360.0,
    ("gon", "turns"): 1.0 / 400.0,
    ("rad", "turns"): 0.5 / math.pi,
}

_QUANTITY = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")


@dataclass(frozen=True, slots=True)
class Unit:
    """A known unit: SI value = number * factor + offset.

    >>> round(unit("gon").to_si(100.0), 12)
    1.570796326795
    """

    name: str
    dimension: str
    factor: float
    offset: float

    def to_si(self, number: float) -> float:
        """The number in SI (angles in rad, temperatures in degC)."""
        return number * self.factor + self.offset

    def from_si(self, value: float) -> float:
        """An SI value expressed in this unit."""
        return (value - self.offset) / self.factor


def unit(name: str, *, dimension: str | None = None) -> Unit:
    """The unit with this spelling; refused when unknown or of another dimension.

    >>> unit("T/m^2").dimension
    'second derivative of field'
    """
    spelled = _ALIASES.get(name.strip(), name.strip())
    if dimension is not None and (spelled, dimension) in _WHERE_WANTED:
        return Unit(spelled, dimension, _WHERE_WANTED[spelled, dimension], 0.0)
    if spelled not in UNITS:
        raise Refused(
            [Fault(f"unit {name!r}", f"one of {', '.join(_of(dimension))}", "write the unit in one of these spellings")]
        )
    known, factor, offset = UNITS[spelled]
    if dimension is not None and known != dimension:
        raise Refused(
            [
                Fault(
                    f"unit {name!r}, a {known}",
                    f"a {dimension} ({', '.join(_of(dimension))})",
                    "give the quantity in a unit of the right kind",
                )
            ]
        )
    return Unit(spelled, known, factor, offset)


def _of(dimension: str | None) -> list[str]:
    return [name for name, (known, _, _) in UNITS.items() if dimension in (None, known)]


def quantity(text: str, dimension: str) -> float:
    """A number with its unit, such as ``"6.400 m"``, in SI.

    text       number, space, unit; the decimal mark is the point
    dimension  what kind of quantity is expected, as named in :data:`UNITS`

    >>> quantity("310 mm", "length")
    0.31
    >>> quantity("20.31 degC", "temperature")
    20.31
    """
    found = _QUANTITY.match(text)
    if not found:
        raise Refused(
            [Fault(repr(text), f"a number and its unit ({', '.join(_of(dimension))})", "write it like '6.400 m'")]
        )
    if not found[2] and dimension != "ratio":
        raise Refused(
            [
                Fault(
                    f"{text!r} without a unit",
                    f"a {dimension} with its unit ({', '.join(_of(dimension))})",
                    "write the unit behind the number",
                )
            ]
        )
    return unit(found[2], dimension=dimension).to_si(float(found[1]))


def period(frequency: float, u: float) -> tuple[float, float]:
    """Period [s] of a frequency [Hz] and its standard uncertainty: T = 1/f, u(T) = u(f)/f^2, so u(T)/T = u(f)/f.

    >>> t, u = period(52.30, 0.02)
    >>> f"{t * 1e3:.4f} ms, {u * 1e6:.2f} us"
    '19.1205 ms, 7.31 us'
    """
    return 1.0 / frequency, u / frequency**2
