"""To which digit every number of a result document is stated, and how a second document agrees with a first one.

Two machines add the same numbers in another order, so their last bits differ. What a document states does not reach
down to its last bits; this is where it ends:

- a value with its standard uncertainty u beside it, or on the diagonal of the ``cov`` beside it: u / 100;
- an E_n score, which is a value over twice its u: a hundredth of a half; the smallest margin that could be answered: u / 100;
- u itself, and what is made of u alone (a guard band, the part of one cause): a hundredth of it (of the largest part);
- an element of a covariance: a hundredth of the product of its two u;
- a probability: 0.004, what a hundredth of u moves it by at most (phi(0) / 100 = 0.00399);
- a test number (square sum): a hundredth of the square root of twice its degrees of freedom, its own standard deviation;
- numbers of one list, matrix or map are of one kind: nine significant digits of the largest of them, or a hundredth of u where that
  is more; a load after turns is known no better than the load before them;
- the turn and the shift of a pose count as one list: a turn by 1e-8 moves what lies a metre away by 1e-8 m;
- a number inside words: one unit of its last printed digit;
- every other number: nine significant digits.

That the last digit of a value is that of its uncertainty is advice of JCGM 100:2008, 7.2.6 (from memory); the hundredth is ours.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence

#: Part of a standard uncertainty that is still stated.
PART_OF_U = 0.01
#: Significant digits of a number that has no uncertainty.
DIGITS = 9
#: A hundredth of u moves the probability that a normal value lies within a limit by at most phi(0) / 100.
PROBABILITY = PART_OF_U / math.sqrt(2.0 * math.pi)

#: Components of an own move, in the order of its covariance.
_SIX = ("dx", "dy", "dz", "rx", "ry", "rz")
#: What the bare key "u" is the uncertainty of.
_OF_BARE_U = ("size", "offset")
#: Keys of uncertainties and of what is made of them alone.
_OF_U_ALONE = ("u", "guard", "part", "gain", "times_u", "wrong_by")
#: Maps that are known no better than another beside them, whose u stands there.
_AS_KNOWN_AS = {"loads_after": "loads_before"}
#: Objects that hold one kind of number under many names.
MAPS = ("leverage", "turns", "loads_before", "loads_after")
_NUMBER = re.compile(r"\d+(?:\.\d+)?(?:e[+-]?\d+)?")


def steps(part: object, key: str = "") -> object:
    """The last stated digit of every number of a part of a document, in its own shape; None for what is no number.

    key  under which the part stands

    >>> steps({"x": 12.3e-6, "u_x": 1e-6, "length": 0.26, "words": "left"})
    {'x': 1e-08, 'u_x': 1e-08, 'length': 1e-09, 'words': None}
    """
    if isinstance(part, Mapping):
        return _of_object(part, key)
    if isinstance(part, list):
        return _of_list(part, key)
    return _of_number(part, key, None) if _is_number(part) else None


def _of_object(part: Mapping[str, object], key: str) -> dict[str, object]:
    if key in MAPS:
        return {name: last_digit(_largest(part.values())) if _is_number(v) else None for name, v in part.items()}
    if key.removeprefix("u_") in MAPS:
        floor = last_digit(_largest(part.values()))
        return {name: max(PART_OF_U * abs(_float(v)), floor) if _is_number(v) else None for name, v in part.items()}
    if "rotation" in part and "shift" in part:
        step = last_digit(max(_largest(part["rotation"]), _largest(part["shift"])))
        return {name: _everywhere(v, step) for name, v in part.items()}
    u = dict(_uncertainties(part))
    return {name: _of_entry(name, value, part, u) for name, value in part.items()}


def _of_entry(name: str, value: object, part: Mapping[str, object], u: Mapping[str, float]) -> object:
    if name == "chi_square" and _is_number(part.get("dof")):
        return PART_OF_U * math.sqrt(2.0 * abs(_float(part["dof"])))
    if name == "xyz" and isinstance(value, list) and set("xyz") <= set(u):
        return [PART_OF_U * u[c] for c in "xyz"]
    if name == "answerable":
        return PART_OF_U * max((u.get(c, 0.0) for c in "xy"), default=0.0) if _is_number(value) else None
    spread = part.get(f"u_{_AS_KNOWN_AS.get(name, name)}")
    if isinstance(value, Mapping) and isinstance(spread, Mapping):
        floor = last_digit(_largest(value.values()))
        told = {n: PART_OF_U * _float(spread[n]) if _is_number(spread.get(n)) else 0.0 for n in value}
        return {n: max(told[n], floor) if _is_number(v) else None for n, v in value.items()}
    return _of_number(value, name, u.get(name)) if _is_number(value) else steps(value, name)


def _uncertainties(part: Mapping[str, object]) -> Iterator[tuple[str, float]]:
    """Component -> its standard uncertainty, from the covariance beside it or told by name."""
    cov = part.get("cov")
    if isinstance(cov, list) and cov:
        told = part.get("labels")
        labels = told if isinstance(told, list) else _SIX if "dx" in part else "xyz"
        for i, (label, row) in enumerate(zip(labels, cov, strict=False)):
            if isinstance(row, list) and i < len(row) and _is_number(row[i]):
                yield str(label), math.sqrt(max(_float(row[i]), 0.0))
    for name in part:
        told = part.get(f"u_{name}")
        if _is_number(told):
            yield name, _float(told)
    if _is_number(part.get("u")):
        yield from ((name, _float(part["u"])) for name in _OF_BARE_U)


def _of_list(part: Sequence[object], key: str) -> object:
    if key == "cov":
        return _of_covariance(part)
    if _causes(part):
        parts = [item for item in part if isinstance(item, Mapping)]
        most = {name: PART_OF_U * _largest(item[name] for item in parts) for name in ("u_x", "u_y")}
        return [{name: most.get(str(name)) for name in item} for item in parts]
    if part and all(_is_number(item) or item is None or isinstance(item, list) for item in part):
        return _everywhere(list(part), last_digit(_largest(part)))
    return [steps(item, key) for item in part]


def _of_covariance(rows: Sequence[object]) -> object:
    diagonal = [row[i] if isinstance(row, list) and i < len(row) else None for i, row in enumerate(rows)]
    u = [math.sqrt(max(_float(v), 0.0)) if _is_number(v) else math.nan for v in diagonal]
    return [
        [PART_OF_U * u[i] * u[j] if _is_number(v) else None for j, v in enumerate(row)] if isinstance(row, list) else None
        for i, row in enumerate(rows)
    ]  # fmt: skip


def _of_number(value: object, name: str, u: float | None) -> float:
    if name in ("probability", "posterior", "moved_more") or name.endswith("_risk"):
        return PROBABILITY
    if name.startswith("e_n_"):
        return PART_OF_U / 2.0
    if name in _OF_U_ALONE or name.startswith("u_"):
        return PART_OF_U * abs(_float(value))
    if u is not None and math.isfinite(u) and u > 0.0:
        return PART_OF_U * u
    return last_digit(_float(value))


def last_digit(value: float) -> float:
    """One unit of the last of nine significant digits; 0 for 0.

    >>> last_digit(0.26), last_digit(1.0), last_digit(0.0)
    (1e-09, 1e-08, 0.0)
    """
    if value == 0.0 or not math.isfinite(value):
        return 0.0
    return float(f"1e{math.floor(math.log10(abs(value))) + 1 - DIGITS}")


def _everywhere(part: object, step: float) -> object:
    if isinstance(part, list):
        return [_everywhere(item, step) for item in part]
    return step if _is_number(part) else None


def _largest(part: object) -> float:
    """Largest absolute number of a nest of lists."""
    if _is_number(part):
        return abs(_float(part))
    if isinstance(part, Iterable) and not isinstance(part, (str, Mapping)):
        return max((_largest(item) for item in part), default=0.0)
    return 0.0


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _float(value: object) -> float:
    return float(value) if isinstance(value, (int, float)) else math.nan


def agreed(then: object, now: object) -> tuple[object, int]:
    """A later document, set to what the earlier one says wherever both agree to the stated digits; and how many numbers met.

    What is left different between the earlier document and this one is different in what is stated. Causes of one value
    are met by name, for those of no size come in any order.

    >>> agreed({"x": 1e-6, "u_x": 1e-6}, {"x": 1.004e-6, "u_x": 1.2e-6})
    ({'x': 1e-06, 'u_x': 1.2e-06}, 2)
    """
    return _agreed(then, now, steps(then))


def _agreed(then: object, now: object, step: object) -> tuple[object, int]:
    if isinstance(then, Mapping) and isinstance(now, Mapping) and isinstance(step, Mapping):
        met = {key: _agreed(then[key], value, step[key]) if key in then else (value, 0) for key, value in now.items()}
        return {key: value for key, (value, _) in met.items()}, sum(count for _, count in met.values())
    if isinstance(then, list) and isinstance(now, list) and isinstance(step, list):
        if _causes(then) and _causes(now):
            now = _met_by_name(then, now, step)
        return _agreed_list(then, now, step) if len(then) == len(now) else (now, 0)
    if _is_number(then) and _is_number(now):
        # a double cannot state the step itself exactly
        close = abs(_float(now) - _float(then)) <= _float(step) * (1.0 + 1e-9)
        return (then if close else now), 1
    if isinstance(then, str) and isinstance(now, str):
        return (then if same_words(then, now) else now), 0
    return now, 0


def _agreed_list(then: list[object], now: list[object], step: list[object]) -> tuple[object, int]:
    met = [_agreed(a, b, s) for a, b, s in zip(then, now, step, strict=True)]
    return [value for value, _ in met], sum(count for _, count in met)


def _causes(part: Sequence[object]) -> bool:
    return bool(part) and all(isinstance(item, Mapping) and set(item) == {"cause", "u_x", "u_y"} for item in part)


def _met_by_name(then: list[object], now: list[object], step: list[object]) -> list[object]:
    """The later causes in the order of the earlier ones; one that a list leaves out has no part there."""
    named = {str(item["cause"]): item for item in now if isinstance(item, Mapping)}
    met: list[object] = []
    for item in then:
        if isinstance(item, Mapping):
            name = str(item["cause"])
            met.append(named.pop(name, {"cause": name, "u_x": 0.0, "u_y": 0.0}))
    first = step[0]
    if isinstance(first, Mapping):
        met += [i for i in named.values() if any(_float(i[k]) > _float(first[k]) for k in ("u_x", "u_y"))]
    return met


def same_words(then: str, now: str) -> bool:
    """Whether two texts are alike but for the last printed digit of the numbers in them.

    >>> same_words("Q1 12.3 um left", "Q1 12.4 um left"), same_words("12.3 um left", "12.3 um right")
    (True, False)
    """
    if then == now:
        return True
    if _NUMBER.sub("#", then) != _NUMBER.sub("#", now):
        return False
    pairs = zip(_NUMBER.findall(then), _NUMBER.findall(now), strict=True)
    return all(abs(float(a) - float(b)) <= _last_printed(a) * (1.0 + 1e-9) for a, b in pairs)


def _last_printed(number: str) -> float:
    mantissa, _, power = number.partition("e")
    return float(f"1e{int(power or 0) - len(mantissa.partition('.')[2])}")
