"""What sightings and nominal places tell together: angles, units, which axis is up, the order of the wire's ends."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from monochord.files.columns import Array
from monochord.files.draft import geometry, lexicon
from monochord.files.draft.columns import LETTERS, Column
from monochord.files.draft.kinds import Kind
from monochord.files.words import near


@dataclass(frozen=True, slots=True, eq=False)
class Survey:
    """Sightings of all occasions beside the nominal places.

    pictures  one for each station and file;  seen  station and file -> point -> its first sighting (3,)
    tried     every reading, best first;  good  those that fit as well as the best
    angle_unit, vertical_named  what names say, "" when they say nothing
    """

    pictures: tuple[geometry.Picture, ...] = ()
    seen: Mapping[str, Mapping[str, Array]] = field(default_factory=dict)
    tried: tuple[geometry.Tried, ...] = ()
    good: tuple[geometry.Tried, ...] = ()
    angle_unit: str = ""
    distance_unit: str = ""
    nominal_unit: str = ""
    vertical_named: str = ""

    def left(self, attribute: str) -> list[str]:
        """What the readings that fit leave open for one of their parts."""
        return list(dict.fromkeys(getattr(t.reading, attribute) for t in self.good))

    def best(self, attribute: str, value: str) -> float:
        """The smallest misfit with this part so [m]; infinite when none was tried."""
        return min((t.misfit for t in self.tried if getattr(t.reading, attribute) == value), default=float("inf"))

    def proof(self, attribute: str) -> str:
        """The misfits for each choice of a part, in words."""
        values = list(dict.fromkeys(getattr(t.reading, attribute) for t in self.tried))
        told = ", ".join(f"{v} {self.best(attribute, v) * 1e3:.3g} mm" for v in values)
        stations = len([p for p in self.pictures if len(p.names) >= geometry.FEWEST])
        return (
            f"pictures from {stations} stations laid on the nominal targets, a right-handed set, miss them by: {told}"
        )


def surveyed(sightings: Kind | None, targets: Kind | None, told: Mapping[str, str]) -> Survey:
    """All pictures and how every reading fits; an empty survey when there is no table of either.

    told  units that were answered: "angle", "distance", "nominal"
    """
    if sightings is None or targets is None or sightings.fit is None or targets.fit is None:
        return Survey()
    at, of = sightings.fit.places, targets.fit.places
    if not {"station", "target", "horizontal", "vertical", "distance"} <= set(at) or not {"name", *LETTERS} <= set(of):
        return Survey()
    columns = sightings.columns
    nominal = _nominal(targets)
    seen = _seen(sightings, at)
    pictures = tuple(_picture(station, points, nominal) for station, points in seen.items())
    angle = (
        "deg" if columns[at["horizontal"]].look == "a" else columns[at["horizontal"]].name.unit or told.get("angle", "")
    )
    distance = columns[at["distance"]].name.unit or told.get("distance", "")
    unit = targets.columns[of["x"]].name.unit or told.get("nominal", "")
    vertical = columns[at["vertical"]].name.words
    named = "zenith" if lexicon.ZENITH & set(vertical) else "elevation" if lexicon.ELEVATION & set(vertical) else ""
    known = unit in geometry.LENGTHS and (not angle or angle in geometry.ANGLES)
    tried: list[geometry.Tried] = []
    if known:
        lengths = (distance,) if distance in geometry.LENGTHS else tuple(geometry.LENGTHS)
        # all units of angle are tried even where the name tells one, so that a wrong name shows itself
        tried = geometry.tried(pictures, geometry.LENGTHS[unit], tuple(geometry.ANGLES), lengths)
    good = [t for t in geometry.as_good(tried) if not angle or t.reading.unit == angle]
    return Survey(pictures, seen, tuple(tried), tuple(good), angle, distance, unit, named)


def _nominal(targets: Kind) -> dict[str, Array]:
    assert targets.fit is not None
    places = targets.fit.places
    points = np.stack([targets.columns[places[letter]].values for letter in LETTERS], axis=1)
    names = [c.strip() for c in targets.columns[places["name"]].cells]
    return {n: p for n, p in zip(names, points, strict=True) if np.isfinite(p).all()}


def _seen(sightings: Kind, at: Mapping[str, int]) -> dict[str, dict[str, Array]]:
    columns = sightings.columns
    polar = np.stack([columns[at[k]].values for k in ("horizontal", "vertical", "distance")], axis=1)
    paths = [f.path for f in sightings.files for _ in f.shape.lines]
    seen: dict[str, dict[str, Array]] = {}
    rows = zip(paths, columns[at["station"]].cells, columns[at["target"]].cells, polar, strict=True)
    for path, station, point, numbers in rows:
        if np.isfinite(numbers).all():
            seen.setdefault(f"{station.strip()} in {path}", {}).setdefault(point.strip(), numbers)
    return seen


def _picture(station: str, points: Mapping[str, Array], nominal: Mapping[str, Array]) -> geometry.Picture:
    names = tuple(n for n in points if n in nominal)
    polar = np.array([points[n] for n in names], float).reshape(-1, 3)
    places = np.array([nominal[n] for n in names], float).reshape(-1, 3)
    return geometry.Picture(station, polar, places, names)


def along(*tables: Sequence[Column]) -> tuple[str, str]:
    """The letter of the axis along which nominal places spread most, at least twice as far as along any other, and why.

    tables  columns of coordinates, those of one table in one unit
    """
    for columns in tables:
        spread = {
            c.name.words[-1] if c.name.words else "": float(np.ptp(c.values))
            for c in columns
            if np.isfinite(c.values).all()
        }
        spread = {k: v for k, v in spread.items() if k in LETTERS}
        ordered = sorted(spread, key=lambda k: -spread[k])
        if len(ordered) == 1 and spread[ordered[0]] > 0.0:
            return ordered[0], "the only coordinate that is told"
        if len(ordered) > 1 and spread[ordered[0]] > 2.0 * spread[ordered[1]]:
            told = ", ".join(f"{k} by {spread[k]:.6g}" for k in ordered)
            return ordered[0], f"places spread along {told}"
    return "", ""


def frames(letter: str, upward: tuple[str, float, float] | None) -> list[dict[str, str]]:
    """Every right-handed set of axes with the beam along this letter, and where it is known, up as found.

    >>> [f["x"] for f in frames("z", ("y", 1.0, 0.0))]
    ['left', 'right']
    """
    found = []
    for beam in ("along beam", "against beam"):
        for second in [c for c in LETTERS if c != letter]:
            third = next(c for c in LETTERS if c not in (letter, second))
            for vertical in ("up", "down"):
                for lateral in ("left", "right"):
                    words = {letter: beam, second: vertical, third: lateral}
                    if upward and (second, vertical) != (upward[0], "up" if upward[1] > 0 else "down"):
                        continue
                    if _right_handed(words):
                        found.append({c: words[c] for c in LETTERS})
    return found


def _right_handed(words: Mapping[str, str]) -> bool:
    from monochord.ground.frames import DIRECTIONS

    return float(np.linalg.det(np.array([DIRECTIONS[words[c]] for c in LETTERS]))) > 0.0


def spoken(frame: Mapping[str, str]) -> str:
    """A frame in one line, and back by :func:`heard`.

    >>> heard(spoken({"x": "left", "y": "up", "z": "along beam"}))["z"]
    'along beam'
    """
    return ", ".join(f"{letter} {frame[letter]}" for letter in LETTERS)


def heard(text: str) -> dict[str, str]:
    """Directions by letter from words such as "x left, y up, z along beam"."""
    found = re.findall(r"\b([xyz])\s*[:=]?\s*(left|right|up|down|along beam|against beam)\b", text)
    return dict(found)


def patterns(points: Iterable[str], known: Iterable[str]) -> tuple[list[str], list[str]]:
    """Patterns of points that no table has, and those of them that look like slips of known names.

    >>> patterns(["M1", "M2", "P10", "T1 a"], ["T1A"])
    (['M[0-9]*', 'P[0-9]*'], ['T1 a'])
    """
    names = list(known)
    others = [p for p in dict.fromkeys(points) if p not in names]
    slips = [p for p in others if near(p, names, cutoff=0.95)]
    stems: dict[str, list[str]] = {}
    for p in others:
        if p not in slips:
            stems.setdefault(re.sub(r"\d.*$", "", p), []).append(p)
    found = []
    for stem, members in stems.items():
        pattern = f"{_literal(stem)}[0-9]*" if any(m != stem for m in members) else _literal(stem)
        clash = any(re.fullmatch(f"{re.escape(stem)}\\d.*", n) for n in names)
        found += [_literal(m) for m in members] if clash or not stem else [pattern]
    return found, slips


def _literal(text: str) -> str:
    return "".join(f"[{c}]" if c in "[*?" else c for c in text)
