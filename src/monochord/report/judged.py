"""Verdicts gathered for people: by occasion and by the question that their limit asks."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from monochord.campaign.found.result import Result
from monochord.campaign.found.verdict import CONFORMS, Verdict
from monochord.campaign.given.tolerance import PRODUCERS, RADIAL, RMS, SIMPLE_ACCEPTANCE
from monochord.report.document_verdict import WORDS, key_of, ordered, word_of
from monochord.report.words import counted, limit_number, listed


@dataclass(frozen=True, slots=True)
class Family:
    """Limits that ask the same question.

    ident, title  of the family;  keys  the quantities;  unit, factor  of the print;  whole  of the girder as a whole
    """

    ident: str
    title: str
    keys: tuple[str, ...]
    unit: str = "µm"
    factor: float = 1e6

    whole: bool = False


FAMILIES = (
    Family("line", "line limit", ("x", "y")),
    Family("line-radial", "line limit, x and y together", ("offset_radial",)),
    Family("line-whole", "line limit, whole girder", ("offset_rms", "offset_all"), whole=True),
    Family("own-move", "own-move limit", ("own_move_x", "own_move_y")),
    Family("own-move-radial", "own-move limit, x and y together", ("own_move_radial",)),
    Family("own-move-whole", "own-move limit, whole girder", ("own_move_rms", "own_move_all"), whole=True),
    Family("roll", "roll limit", ("roll",), "µrad"),
    Family("slope", "slope limit", ("slope_x", "slope_y"), "µrad"),
    Family("slope-radial", "slope limit, x and y together", ("slope_radial",), "µrad"),
    Family("slope-whole", "slope limit, whole girder", ("slope_rms", "slope_all"), "µrad", whole=True),
)

#: A quantity in words, and the plane whose sides it has ("" for none).
QUANTITIES: dict[str, tuple[str, str]] = {
    "x": ("x, sideways", "x"),
    "y": ("y, height", "y"),
    "own_move_x": ("own move x", "x"),
    "own_move_y": ("own move y", "y"),
    "roll": ("roll", ""),
    "slope_x": ("yaw (dx/dz)", ""),
    "slope_y": ("pitch (dy/dz)", ""),
    **{
        f"{key}_{ending}": (f"{words}{said}", "")
        for key, words in (("offset", ""), ("own_move", "own move, "), ("slope", "slope, "))
        for ending, said in (("radial", "x and y together"), ("rms", "root mean square"), ("all", "all at once"))
    },
}


def quantity_words(found: Verdict) -> str:
    """The quantity of a verdict as people say it."""
    return QUANTITIES.get(key_of(found), (found.quantity, ""))[0]


def plane_of(found: Verdict) -> str:
    """Plane whose sides the quantity has: "x", "y" or "" for an angle."""
    return QUANTITIES.get(key_of(found), ("", ""))[1]


def by_occasion(result: Result) -> dict[str, list[tuple[Family, list[Verdict]]]]:
    """Occasion -> its verdicts by family, the latest occasion first; families without a verdict are left out."""
    found = ordered(result)
    names = list(dict.fromkeys(v.occasion for v in found))
    return {name: _families([v for v in found if v.occasion == name]) for name in reversed(names)}


def _families(found: Sequence[Verdict]) -> list[tuple[Family, list[Verdict]]]:
    grouped = [(family, [v for v in found if key_of(v) in family.keys]) for family in FAMILIES]
    return [(family, group) for family, group in grouped if group]


def called(found: Verdict) -> str:
    """A verdict's magnet and quantity in short: "Q1 own move x", or of the girder as a whole."""
    if not found.magnet:
        return quantity_words(found)
    return f"{found.magnet} {key_of(found).removeprefix('offset_').replace('_', ' ')}"


def rule_caution(found: Verdict) -> str:
    """What must stand beside every verdict of a rule that accepts what is not proven; "" for the guard band.

    >>> rule_caution(Verdict("o", "Q1", "x", 0.0, 1.0, 2.0, "", 0.95, "conforms", "", "", rule_name="simple acceptance"))
    'simple acceptance: of those at the limit about half are wrongly accepted'
    """
    if found.rule_name == SIMPLE_ACCEPTANCE:
        return "simple acceptance: of those at the limit about half are wrongly accepted"
    if found.whose == PRODUCERS:
        return f"producer's risk of {100.0 * found.risk:g} %: accepted unless proven beyond the limit"
    return ""


def limit_words(found: Verdict) -> str:
    """The limits of a verdict with their unit.

    >>> limit_words(Verdict("o", "Q1", "x", 0.0, 1.0, 30e-6, "", 0.95, "conforms", "", ""))
    '30 µm'
    >>> limit_words(Verdict("o", "Q1", "x", 0.0, 1.0, 30e-6, "", 0.95, "conforms", "", "", lower=-10e-6, upper=30e-6))
    'the limits −10 to +30 µm'
    """
    unit = "µrad" if key_of(found).startswith(("roll", "slope")) else "µm"
    low, high = (1e6 * end for end in found.ends)
    if math.isinf(low):
        return f"at most {limit_number(high)} {unit}"
    if math.isinf(high):
        return f"at least {limit_number(low)} {unit}"
    if found.even or found.form in {RADIAL, RMS}:
        return f"{limit_number(high, sign=False)} {unit}"
    return f"the limits {limit_number(low)} to {limit_number(high)} {unit}"


def counts_words(found: Iterable[Verdict], most: int = 0) -> str:
    """How many have each verdict, with the names of those that do not conform or cannot be decided.

    most  names at most so many of each, 0 for all
    """
    group = list(found)
    parts = []
    for word in WORDS:
        names = [called(v) for v in group if word_of(v) == word]
        if word == CONFORMS:
            parts.append(f"{len(names)} of {len(group)} {'conforms' if len(names) == 1 else 'conform'}")
        elif names:
            said = {"does not conform": ("does not conform", "do not conform")}.get(word, (word, word))
            parts.append(f"{len(names)} {said[len(names) > 1]} ({listed(names, most)})")
    return "; ".join([parts[-1], *parts[:-1]])


def magnets_words(found: Iterable[Verdict], most: int = 0) -> str:
    """The same by magnet, each with its worst word: for a line of a terminal."""
    worst = worst_by_magnet(found)
    names = {word: [m for m, w in worst.items() if w == word] for word in WORDS}
    fine = f"{len(names[CONFORMS])} of {counted(len(worst), 'magnet')} {'conforms' if len(names[CONFORMS]) == 1 else 'conform'}"
    told = [f"{word}: {listed(names[word], most)}" for word in WORDS[:2] if names[word]]
    return "; ".join([fine, *told])


def worst_by_magnet(found: Iterable[Verdict]) -> dict[str, str]:
    """Magnet -> its worst word of these verdicts."""
    worst: dict[str, str] = {}
    for v in (v for v in found if v.magnet):
        word = word_of(v)
        worst[v.magnet] = min(worst.get(v.magnet, word), word, key=WORDS.index)
    return worst
