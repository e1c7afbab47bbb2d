"""Which kind of table the columns make, and which column means what: every kind is tried, the best is told.

The score of a column for a meaning grows with its name, its unit and what its cells hold; a column whose cells or
unit cannot be what is meant counts nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monochord.files.draft import lexicon, words
from monochord.files.draft.columns import LETTERS, Column, is_axis, units_only
from monochord.files.draft.lexicon import COLUMNS, FILES, matched
from monochord.files.roles import ROLES, Meaning

#: Score that a column lacking costs, that one left over costs, and by which a kind of table must lead.
LACKING, LEFT_OVER, LEAD = 1.5, 0.4, 0.5

#: Of these meanings one at least must be there.
ONE_OF = {
    "magnets": ("kind",),
    "feet": ("state", "load"),
    "wire_ends": ("x", "y", "z"),
    "bolts": ("thread_pitch", "direction"),
    "turns": ("turns",),
    "check_moves": ("before", "after"),
    "temperatures": ("temperature",),
    "wire_scans": tuple(f"{c}_{p}" for c in LETTERS for p in ("in", "amplitude")),
    "wire_sweeps": tuple(f"{c}_{p}" for c in LETTERS for p in ("in", "amplitude")),
    "ride": ("x", "y", "z", "left", "right", "up", "down", "along beam", "against beam"),
}


@dataclass(frozen=True, slots=True)
class Fitted:
    """A kind of table tried on the columns.

    places   meaning -> place of its column; of a ride the meaning may be a direction such as "up"
    rivals   meaning -> places of columns that fit as well
    lacking  meanings that must be there and have no column
    """

    role: str
    score: float
    places: dict[str, int]
    rivals: dict[str, list[int]]
    lacking: tuple[str, ...]


def fitted(columns: Sequence[Column], file: str) -> list[Fitted]:
    """Every kind of table that the columns could make, the best first.

    >>> from monochord.files.draft.columns import column_of
    >>> from monochord.files.numbers import Spelling
    >>> table = [("Schraube", ["J1", "J2"]), ("Umdrehungen", ["-0,1", "0,2"])]
    >>> best = fitted([column_of(h, c, Spelling(",")) for h, c in table], "drehen.csv")[0]
    >>> best.role, best.places
    ('turns', {'bolt': 0, 'turns': 1})
    """
    found = [f for role in COLUMNS if (f := _fit(role, columns, file)) is not None]
    return sorted(found, key=lambda f: f.score, reverse=True)


def _fit(role: str, columns: Sequence[Column], file: str) -> Fitted | None:
    scores = {
        (key, place): score
        for key in _meanings(role)
        for place, column in enumerate(columns)
        if (score := _score(role, key, column, columns)) > 0.0
    }
    if role == "wire_ends" and columns and len(columns[0].cells) != 2:
        return None
    places: dict[str, int] = {}
    total = 0.0
    if role == "wire_ends":
        scores = _ends_along(scores, columns)
    for (key, place), score in sorted(scores.items(), key=lambda item: -item[1]):
        if key not in places and place not in places.values():
            places[key] = place
            total += score
    needed = [k for k, m in ROLES[role].items() if m.needed]
    if role == "ride" and sum(k in places for k in ONE_OF["ride"]) == 3:
        needed = [k for k in needed if k not in LETTERS]
    lacking = tuple(k for k in needed if k not in places)
    if len(lacking) > 1 or (role in ONE_OF and not any(k in places for k in ONE_OF[role])):
        return None
    left = sum(not units_only(c) for i, c in enumerate(columns) if i not in places.values())
    hint = 1.0 if matched(words.split(file.rpartition(".")[0]), FILES[role]) else 0.0
    order = [k for k in _meanings(role) if k in places]
    rivals = {k: r for k in order if (r := _rivals(k, places, scores))}
    score = total + hint - LACKING * len(lacking) - LEFT_OVER * left
    return Fitted(role, score, {k: places[k] for k in order}, rivals, lacking) if score > 0.0 else None


def _ends_along(scores: dict[tuple[str, int], float], columns: Sequence[Column]) -> dict[tuple[str, int], float]:
    """A coordinate of the ends that is metres long with both signs is their place along the beam, not a vector's part."""
    if any(key == "along_beam" for key, _ in scores):
        return scores
    sizes = {place: columns[place].most for key, place in scores if key in LETTERS}
    if len(sizes) < 2:
        return scores
    far = max(sizes, key=lambda place: sizes[place])
    low, high = columns[far].span
    if low < 0.0 < high and min(-low, high) > 5.0 * sorted(sizes.values())[-2]:
        return {("along_beam" if p == far and k in LETTERS else k, p): v for (k, p), v in scores.items()}
    return scores


def _rivals(key: str, places: dict[str, int], scores: dict[tuple[str, int], float]) -> list[int]:
    """Columns left over that fit a meaning nearly as well as the one that got it."""
    best = scores[key, places[key]]
    free = {p for k, p in scores if k == key} - set(places.values())
    return sorted(p for p in free if scores[key, p] >= best - 0.1)


def _meanings(role: str) -> list[str]:
    extra = list(dict.fromkeys(words.DIRECTIONS.values())) if role == "ride" else []
    return [*ROLES[role], *extra]


def _score(role: str, key: str, column: Column, columns: Sequence[Column]) -> float:
    """How well a column fits a meaning; 0 when it cannot be it."""
    meaning = ROLES[role].get(key, ROLES["ride"]["x"])
    unit = words.dimension_of(column.name.unit) if column.name.unit else ""
    if not _can_be(key, meaning, column, unit):
        return 0.0
    named = _named(role, key, column, unit)
    held = _held(key, column, columns)
    if not named and not held:
        return 0.0
    return named + held + (0.5 if unit and unit == meaning.dimension else 0.0)


_STRENGTHS = ("", "field", "gradient", "second derivative of field", "third derivative of field")


def _can_be(key: str, meaning: Meaning, column: Column, unit: str) -> bool:
    """Whether cells and unit of a column allow a meaning."""
    if units_only(column) and key not in ("moved", "direction"):
        return False
    possible = {
        "number": column.look in (("n", "e", "a") if meaning.dimension == "angle" else ("n", "e")),
        "whole": column.whole and not unit,
        "time": column.look == "t",
        "axis": bool(column.distinct) and all(map(is_axis, column.distinct)),
        "word": column.look == "w" or (column.look == "n" and set(column.distinct) <= {"0", "1"}),
        "text": column.look == "w" or (column.look == "n" and not unit and column.whole),
    }[meaning.kind]
    allowed = {"strength": _STRENGTHS, "thread_pitch": ("", "length", "thread pitch")}.get(key, ("", meaning.dimension))
    return possible and (meaning.kind != "number" or unit in allowed)


def _named(role: str, key: str, column: Column, unit: str) -> float:
    name = column.name.words
    special = special_of(role, name, unit)
    if special is not None:
        return 1.0 if special == key else 0.0
    return matched(name, COLUMNS[role][key]) if key in COLUMNS[role] else 0.0


def special_of(role: str, name: tuple[str, ...], unit: str) -> str | None:
    """The meaning of a name with a letter of an axis or a direction in it, None when it has none.

    >>> special_of("wire_scans", ("x", "quad"), "length"), special_of("wire_scans", ("az",), "length")
    ('x_quadrature', 'z_amplitude')
    >>> special_of("ride", ("up",), "acceleration"), special_of("targets", ("x",), "length")
    ('up', 'x')
    """
    letter = next((c for c in LETTERS if c in name), "")
    rest = set(name) - {letter}
    if role in ("wire_scans", "wire_sweeps"):
        return _wire_special(letter, rest, name, unit)
    if role == "ride":
        told = next((words.DIRECTIONS[w] for w in name if w in words.DIRECTIONS), None)
        if told and unit in ("", "acceleration"):
            return told
        short = next((w[1] for w in name if len(w) == 2 and w[0] in "ag" and w[1] in LETTERS), "")
        return (letter or short or None) if unit in ("", "acceleration") else None
    if role in ("magnets", "targets", "bolts", "temperatures", "wire_ends"):
        short = next((w[1] for w in name if len(w) == 2 and w[0] == "d" and w[1] in LETTERS), "")
        return letter or short or None
    return None


def _wire_special(letter: str, rest: set[str], name: tuple[str, ...], unit: str) -> str | None:
    parts = (("quadrature", lexicon.QUADRATURE), ("in", lexicon.IN_PHASE), ("phase", lexicon.PHASE))
    if letter and rest & lexicon.STAGE:
        return f"stage_{letter}"
    if letter:
        for part, known in (*parts, ("amplitude", lexicon.AMPLITUDE)):
            if rest & known:
                return f"{letter}_{part}"
    for word in name:
        if len(word) >= 2 and word[-1] in LETTERS:
            head = word[:-1]
            if head in ("a", "amp") and unit in ("", "length"):
                return f"{word[-1]}_amplitude"
            if head in ("p", "ph", "phi") and unit in ("", "angle"):
                return f"{word[-1]}_phase"
            if head in ("re", "in", "im", "q"):
                return f"{word[-1]}_{'in' if head in ('re', 'in') else 'quadrature'}"
    return None


def _held(key: str, column: Column, columns: Sequence[Column]) -> float:
    """What the cells themselves say."""
    cells = [words.plain(c) for c in column.distinct]
    if not cells or (column.look != "w" and key != "time"):
        return 0.0
    known = {"kind": words.KINDS, "state": words.STATES, "one_sided": words.YES_NO}.get(key)
    score = {"moved": 0.6, "direction": 0.6, "time": 1.0}.get(key, 0.0)
    if known is not None and sum(c in known for c in cells) >= 0.5 * len(cells):
        score = 1.0
    elif key == "carrier" and any(c in words.CARRIERS for c in cells):
        score = 0.6
    elif key in ("name", "bolt", "sensor") and column is next((c for c in columns if c.look == "w"), None):
        score = 0.2 if len(column.distinct) == len(column.cells) else 0.0
    return score
