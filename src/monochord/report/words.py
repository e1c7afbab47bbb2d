"""Numbers and plain sentences, the same on the page and on the command line.

Signs are printed with words beside them (x: + left, - right, looking along the beam; y: + up,
- down), and an uncertainty is always the standard uncertainty u, named so once where it stands.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal

MINUS = "\N{MINUS SIGN}"
UNKNOWN = "not known"

#: Largest number of decimals that any column shows; a nanometre is below every wire and tracker.
MOST_DECIMALS = 3

#: Digits of a number that are looked at when it is rounded: what arithmetic left behind them is none of its own.
_OWN_DIGITS = 14
#: Decimals up to which a value and its limit are printed apart.
_APART_DECIMALS = 9
#: The rule of rounding, to be printed where numbers are judged.
ROUNDING = "Printed numbers are rounded on their decimal value, a half away from zero."


def rounded(value: float, decimals: int) -> Decimal:
    """A finite number on its decimal value with so many decimals, a half away from zero.

    >>> [str(rounded(v, 2)) for v in (0.125, 0.135, 0.145)], str(rounded(2.5, 0)), str(rounded(0.125e-6 * 1e6, 2))
    (['0.13', '0.14', '0.15'], '3', '0.13')
    """
    return Decimal(f"{value:.{_OWN_DIGITS}g}").quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP)


def decimals_apart(decimals: int, pairs: Iterable[tuple[float | None, float]]) -> int:
    """So many decimals, or as many more as show every value apart from a limit from which it differs, in the unit of the print.

    pairs  of a value, of which the size counts, and a limit

    >>> decimals_apart(3, [(0.10049, 0.100)]), decimals_apart(1, [(30.0004, 30.0), (12.0, 30.0)]), decimals_apart(1, [(30.0, 30.0)])
    (4, 4, 1)
    """
    for value, limit in pairs:
        if value is None or not (math.isfinite(value) and math.isfinite(limit)) or abs(abs(value) - abs(limit)) < 1e-9:
            continue
        while decimals < _APART_DECIMALS and rounded(abs(value), decimals) == rounded(abs(limit), decimals):
            decimals += 1
    return decimals


def known(value: float | None) -> bool:
    """True when there is a finite number.

    >>> known(0.0), known(None), known(float("nan"))
    (True, False, False)
    """
    return value is not None and math.isfinite(value)


def decimals_for(uncertainties: Iterable[float | None]) -> int:
    """Decimals for a column: two significant digits of the largest uncertainty, at least one of the smallest; 0 to 3.

    uncertainties  in the unit of the print; unknown ones and zeros are passed over; 1 when none is left

    >>> decimals_for([1.13]), decimals_for([0.82, 1.26]), decimals_for([0.46]), decimals_for([112.0]), decimals_for([])
    (1, 1, 2, 0, 1)
    """
    real = [u for u in uncertainties if u is not None and math.isfinite(u) and u > 0.0]
    if not real:
        return 1
    wanted = max(1 - math.floor(math.log10(max(real))), -math.floor(math.log10(min(real))))
    return min(max(wanted, 0), MOST_DECIMALS)


def number(value: float, decimals: int, *, sign: bool = False) -> str:
    """A number with fixed decimals and a true minus sign, rounded by :func:`rounded`; a rounded zero has no sign, NaN is not known.

    >>> number(3.0, 1, sign=True), number(-0.01, 1, sign=True), number(-1.25, 2) == MINUS + "1.25"
    ('+3.0', '0.0', True)
    """
    if not math.isfinite(value):
        return UNKNOWN
    text = f"{rounded(abs(value), decimals):f}"
    if float(text) == 0.0:
        return text
    if value < 0.0:
        return MINUS + text
    return "+" + text if sign else text


def with_uncertainty(
    value: float | None, u: float | None, unit: str = "", *, decimals: int | None = None, sign: bool = True
) -> str:
    """``+12.3 ± 1.1 unit``: value and standard uncertainty, both already in the unit of the print.

    decimals  fixed by the column, or None for two significant digits of u

    >>> with_uncertainty(12.34, 1.13, "µm")
    '+12.3 ± 1.1 µm'
    >>> with_uncertainty(None, None, "µm")
    'not known'
    >>> with_uncertainty(4.0, float("nan"), "µm")
    '+4.0 µm, u not known'
    """
    if value is None or not math.isfinite(value):
        return UNKNOWN
    places = decimals_for([u]) if decimals is None else decimals
    tail = f" {unit}" if unit else ""
    if u is None or not math.isfinite(u):
        return f"{number(value, places, sign=sign)}{tail}, u {UNKNOWN}"
    return f"{number(value, places, sign=sign)} ± {number(u, places)}{tail}"


def micrometres(value: float | None, u: float | None = None, *, decimals: int | None = None) -> str:
    """A length [m] with its standard uncertainty [m], printed in µm.

    >>> micrometres(12.34e-6, 1.13e-6)
    '+12.3 ± 1.1 µm'
    """
    return with_uncertainty(scaled(value, 1e6), scaled(u, 1e6), "µm", decimals=decimals)


def microradians(value: float | None, u: float | None = None, *, decimals: int | None = None) -> str:
    """An angle [rad] with its standard uncertainty [rad], printed in µrad.

    >>> microradians(41e-6, 12e-6)
    '+41 ± 12 µrad'
    """
    return with_uncertainty(scaled(value, 1e6), scaled(u, 1e6), "µrad", decimals=decimals)


def scaled(value: float | None, factor: float) -> float | None:
    """The value times a factor; what is not known stays unknown.

    >>> scaled(2e-6, 1e6), scaled(None, 1e6)
    (2.0, None)
    """
    return None if value is None else value * factor


def side_word(x: float | None, decimals: int = 1) -> str:
    """Left, right, or nothing when x [m], rounded to ``decimals`` of a µm, is 0 or not known.

    >>> side_word(3e-6), side_word(-3e-6), side_word(1e-9)
    ('left', 'right', '')
    """
    return _sign_word(x, ("left", "right"), decimals)


def height_word(y: float | None, decimals: int = 1) -> str:
    """Up, down, or nothing when y [m], rounded to ``decimals`` of a µm, is 0 or not known.

    >>> height_word(3e-6), height_word(-3e-6)
    ('up', 'down')
    """
    return _sign_word(y, ("up", "down"), decimals)


def _sign_word(value: float | None, words: tuple[str, str], decimals: int) -> str:
    if value is None or not math.isfinite(value) or rounded(abs(value) * 1e6, decimals) == 0:
        return ""
    return words[0] if value > 0.0 else words[1]


def offset_words(x: float | None, y: float | None) -> str:
    """Where something is, in whole µm: x [m] sideways looking along the beam, y [m] in height.

    >>> offset_words(12.3e-6, 3.1e-6)
    '12 µm left, 3 µm up'
    >>> offset_words(-0.2e-6, -7e-6)
    '0 µm sideways, 7 µm down'
    >>> offset_words(None, 2e-6)
    'not known sideways, 2 µm up'
    """
    return f"{_part(x, side_word(x, 0), 'sideways')}, {_part(y, height_word(y, 0), 'in height')}"


def _part(value: float | None, word: str, neutral: str) -> str:
    if value is None or not math.isfinite(value):
        return f"{UNKNOWN} {neutral}"
    return f"{number(abs(value) * 1e6, 0)} µm {word or neutral}"


def percent(share: float) -> str:
    """A share 0..1 in percent with one decimal; what rounds to nothing or to all is told as beyond the last digit.

    >>> percent(0.8312), percent(0.99999), percent(0.0), percent(1.0)
    ('83.1', '> 99.9', '< 0.1', '> 99.9')
    """
    if share >= 0.9995:
        return "> 99.9"
    if share < 0.0005:
        return "< 0.1"
    return number(100.0 * share, 1)


def limit_number(value: float, *, sign: bool = True) -> str:
    """A limit, with as many decimals as it has.

    >>> limit_number(30.000000001), limit_number(7.5, sign=False), limit_number(-30.25)
    ('+30', '7.5', '−30.25')
    """
    places = next((k for k in range(6) if abs(value - float(rounded(value, k))) < 1e-6), 6) if known(value) else 0
    return number(value, places, sign=sign)


def pretty(text: str) -> str:
    """Words as people print them: the true sign of plus or minus, and the Greek letter of "micro".

    >>> pretty("S2 moved 18 +- 3 um left and rolled +35 +- 11 urad, 3 um/m")
    'S2 moved 18 ± 3 µm left and rolled +35 ± 11 µrad, 3 µm/m'
    """
    return re.sub(r"(?<=\d) u(m|rad)\b", r" µ\1", re.sub(r"(?<=\d) \+- (?=\d)", " ± ", text))


def counted(count: int, noun: str, nouns: str = "") -> str:
    """A count with its noun in the right number.

    >>> counted(1, "magnet"), counted(0, "foot", "feet")
    ('1 magnet', '0 feet')
    """
    return f"{count} {noun if count == 1 else nouns or noun + 's'}"


def listed(words: Iterable[str], most: int = 0) -> str:
    """Words joined as people write them; beyond ``most`` (0: no end) the rest is counted.

    >>> listed(["a", "b", "c"]), listed(["a", "b", "c", "d"], 2), listed([])
    ('a, b and c', 'a, b and 2 more', 'none')
    """
    items = list(words)
    if not items:
        return "none"
    if most and len(items) > most:
        return f"{', '.join(items[:most])} and {len(items) - most} more"
    if len(items) == 1:
        return items[0]
    return f"{', '.join(items[:-1])} and {items[-1]}"


def sight(station: str, target: str) -> str:
    """From where to where a reading went; a reading without a target is of the station itself.

    >>> sight("T1", "G2L"), sight("T1", "")
    ('T1 to G2L', 'T1 itself')
    """
    return f"{station} to {target}" if target else f"{station} itself"
