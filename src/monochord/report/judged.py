"""Verdicts gathered for people: by occasion and by the question that their limit asks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from monochord.campaign.found.result import Result
from monochord.campaign.found.verdict import CANNOT_BE_DECIDED, CONFORMS, DOES_NOT_CONFORM, Verdict
from monochord.report.document_verdict import key_of, ordered, word_of
from monochord.report.words import counted, listed

#: The three words of a verdict, the one that asks for work first.
WORDS = (DOES_NOT_CONFORM, CANNOT_BE_DECIDED, CONFORMS)


@dataclass(frozen=True, slots=True)
class Family:
    """Limits that ask the same question.

    ident, title  of the family;  keys  the quantities;  unit, factor  of the print
    """

    ident: str
    title: str
    keys: tuple[str, ...]
    unit: str = "µm"
    factor: float = 1e6


FAMILIES = (
    Family("line", "line limit", ("x", "y")),
    Family("own-move", "own-move limit", ("own_move_x", "own_move_y")),
    Family("roll", "roll limit", ("roll",), "µrad"),
    Family("slope", "slope limit", ("slope_x", "slope_y"), "µrad"),
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


def counts_words(found: Iterable[Verdict], most: int = 0) -> str:
    """How many have each verdict, with the names of those that do not conform or cannot be decided.

    most  names at most so many of each, 0 for all
    """
    group = list(found)
    parts = []
    for word in WORDS:
        names = [f"{v.magnet} {key_of(v).replace('_', ' ')}" for v in group if word_of(v) == word]
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
    for v in found:
        word = word_of(v)
        worst[v.magnet] = min(worst.get(v.magnet, word), word, key=WORDS.index)
    return worst
