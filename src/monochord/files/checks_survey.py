"""Do sightings and nominal targets show the same thing? Mirrors, wrong units, wrong senses, exchanged stations.

From one station the sightings of targets with nominal places form a picture that must fit the nominal
one by a rigid motion, to a few millimetres, and hang upright. When it does not, the usual mix-ups are tried and the
ones that explain it are named: nothing is put right in silence.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Item, Target
from monochord.campaign.given.survey import Sighting
from monochord.files.lab import Lab
from monochord.files.mixups import ALIKE, MIXUPS, UPRIGHT, Explanation, Picture, explain, misfit, tried
from monochord.files.places import line_of
from monochord.ground.faults import Fault
from monochord.ground.frames import DIRECTIONS, half_axes

Array = NDArray[np.float64]

#: Median misfit that still passes [m], and in units of the nominal places' uncertainty.
PASSES, PASSES_TIMES = 0.010, 10.0

#: Fewest common targets for a picture.
FEWEST = 5

#: A set of targets is flat when it extends across its plane by less than so many passing misfits.
FLAT_TIMES = 3.0


@dataclass(frozen=True, eq=False, slots=True)
class Habits:
    """What the description says that a picture depends on.

    matrix  (3, 3) the laboratory's axes to the girder's;  clockwise  sense of the circle;  elevation  of the vertical angle
    line_of  line of a key of the description, None when nobody knows;  items  name -> its reference point [m]
    """

    matrix: Array = field(default_factory=lambda: np.eye(3))
    clockwise: bool = False
    line_of: Callable[[str], int | None] = lambda key: None
    items: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    elevation: bool = False


def habits_of(lab: Lab, items: Iterable[Item]) -> Habits:
    """What a picture depends on, from a lab description and what sits on the girder."""
    document = lab.root.document
    return Habits(
        lab.axes.matrix,
        lab.root.node("angles").text("horizontal") == "clockwise",
        lambda key: line_of(document.text, tuple(key.split("."))),
        {item.name: item.point for item in items},
        lab.root.node("angles").text("vertical") == "elevation",
    )


def check_survey(sightings: Sequence[Sighting], targets: Sequence[Target], habits: Habits | None = None) -> list[Fault]:
    """One fault for each station whose picture of the targets cannot be theirs, and for stations that were exchanged."""
    return look_at_survey(sightings, targets, habits)[0]


def look_at_survey(
    sightings: Sequence[Sighting], targets: Sequence[Target], habits: Habits | None = None
) -> tuple[list[Fault], list[Fault]]:
    """Faults, and notes about what the pictures cannot tell."""
    known = habits or Habits()
    nominal = {t.name: t.nominal for t in targets if t.nominal is not None}
    limit = max(PASSES, PASSES_TIMES * max((t.u_nominal for t in targets), default=0.0))
    seen = _seen(sightings)
    faults, notes = _rounds(seen, limit)
    told: list[Explanation] = []
    for station in dict.fromkeys(s for s, _ in seen):
        first: dict[str, Sighting] = {}
        for (name, _), picture in seen.items():
            if name == station:
                first = {**first, **{t: s for t, s in picture.items() if t not in first}}
        common = {name: s for name, s in first.items() if name in nominal}
        if len(common) >= FEWEST:
            places = np.array([nominal[name] for name in common], float)
            look = _Look(station, common, places, _carriers(common, targets, known), known, limit)
            _judge(look, told, faults, notes)
    return faults, notes


Seen = dict[tuple[str, int], dict[str, Sighting]]


def _seen(sightings: Sequence[Sighting]) -> Seen:
    """Complete sightings by station and round, in the order of the file."""
    found: Seen = {}
    for s in sightings:
        if None not in (s.direction, s.zenith, s.distance):
            found.setdefault((s.station, s.round), {}).setdefault(s.target, s)
    return found


@dataclass(frozen=True, eq=False, slots=True)
class _Look:
    """One station: its sightings by target, their nominal places and their carriers' (n, 3), the misfit that passes [m]."""

    station: str
    seen: Mapping[str, Sighting]
    places: Array
    carriers: Array
    habits: Habits
    limit: float

    @property
    def picture(self) -> Picture:
        polar, habits = _polar(self.seen.values()), self.habits
        return Picture(polar, self.places, habits.matrix, habits.clockwise, self.carriers, habits.elevation)

    def fault(self, given: str, expected: str, remedy: str) -> Fault:
        first = next(iter(self.seen.values()))
        return Fault(given, expected, remedy, first.file, first.line)


def _polar(sightings: Iterable[Sighting]) -> Array:
    return np.array([(s.direction, s.zenith, s.distance) for s in sightings], float)


def _judge(look: _Look, told: list[Explanation], faults: list[Fault], notes: list[Fault]) -> None:
    picture = look.picture
    left, up = misfit(picture.points, picture.places)
    count, limit = len(look.seen), f"less than {look.limit * 1e3:.3g} mm"
    if not np.isfinite(left):
        given = f"{count} targets from station {look.station} on one line"
        notes.append(look.fault(given, "targets beside the line too", "senses and units of this station go unchecked"))
    elif left > look.limit:
        found = _explanations(picture, look.limit, told)
        given = f"a picture of {count} targets from station {look.station} that misses their nominal places by "
        faults.append(look.fault(f"{given}{_mm(left)}", limit, _remedy(found, look.habits)))
    elif up[1] < UPRIGHT:
        found = explain(picture, look.limit)
        how = "upside down" if up[1] < -UPRIGHT else "lying on its side"
        given = f"a picture of {count} targets from station {look.station} that fits their nominal places only {how}"
        flat = "the targets lie in one plane, which the fit turns over; " if _flat(picture, look.limit) else ""
        notes.append(look.fault(given, "a station that stands upright", flat + _remedy(found, look.habits, _aside(up))))
    elif _flat(picture, look.limit):
        alike = [e.words for e in _mirrors(picture, max(ALIKE * left, 1e-3))]
        if alike:
            given = f"targets in one plane, as seen from station {look.station}"
            remedy = f"it cannot be told whether {' or '.join(alike)}: both fit to {_mm(left)}"
            notes.append(look.fault(given, "targets beside the plane too", remedy))


_NO_REASON = "no usual mix-up explains it; check names, units, angle senses and the table of targets"


def _aside(up: Array) -> str:
    """Which way of the girder the station's up runs."""
    word = max(DIRECTIONS, key=lambda w: float(up @ DIRECTIONS[w]))
    return f"the station's up runs along the girder's direction {word!r}: check frame, and how the station stands"


def _carriers(seen: Iterable[str], targets: Sequence[Target], habits: Habits) -> Array:
    """Where what carries each target stands (n, 3), NaN where nobody knows."""
    carrier = {t.name: t.carrier for t in targets}
    unknown = (np.nan, np.nan, np.nan)
    return np.array([habits.items.get(carrier[name], unknown) for name in seen], float)


def _explanations(picture: Picture, limit: float, told: list[Explanation]) -> list[Explanation]:
    """What explains one station; what explained one before is tried first, for one description reads them all."""
    again = [e for old in told if (e := tried(picture, old.mixups, limit, upright=True)) is not None]
    found = again or explain(picture, limit) or explain(picture, limit, upright=False)
    told[:] = found if again or not told else [*told, *found]
    return found


def _remedy(found: Sequence[Explanation], habits: Habits, otherwise: str = _NO_REASON) -> str:
    if not found:
        return otherwise
    parts = [f"{_mm(e.misfit)} if {_with_lines(e, habits)}" for e in found]
    alike = "; these data cannot tell which" if len(parts) > 1 else ""
    return f"it would fit to {', or '.join(parts)}{alike}; mend the lab description or the file"


def _with_lines(e: Explanation, habits: Habits) -> str:
    lines = [habits.line_of(m.key.split(",")[0].split(" ")[0]) for m in e.mixups]
    where = sorted({line for line in lines if line is not None})
    return e.words + (f" in line {', '.join(map(str, where))} of the lab description" if where else "")


def _flat(picture: Picture, limit: float) -> bool:
    return bool(half_axes(picture.places)[0][2] < FLAT_TIMES * limit)


def _mirrors(picture: Picture, limit: float) -> list[Explanation]:
    """Mirrors of a flat set that fit as well as the picture as it is."""
    every = (tried(picture, (m,), limit, upright=True) for m in MIXUPS if m.group in ("mirror", "vertical"))
    return [e for e in every if e is not None]


def _mm(length: float) -> str:
    return f"{length * 1e6:.3g} um" if length < 1e-4 else f"{length * 1e3:.3g} mm"


def _rounds(seen: Seen, limit: float) -> tuple[list[Fault], list[Fault]]:
    """Two stations whose names were exchanged in one round: each then sees what the other saw."""
    points = {
        key: dict(zip(picture, Picture(_polar(picture.values()), np.zeros((0, 3)), np.eye(3)).points, strict=True))
        for key, picture in seen.items()
    }
    base: dict[str, int] = {}
    for station, number in points:
        base.setdefault(station, number)
    off = [key for key in sorted(points) if _apart(points[key], points[key[0], base[key[0]]]) > limit]
    faults, notes = [], []
    swapped: set[tuple[str, int]] = set()
    for (a, round_a), (b, round_b) in combinations(off, 2):
        if a == b or round_a != round_b:
            continue
        crossed = max(_apart(points[a, round_a], points[b, base[b]]), _apart(points[b, round_b], points[a, base[a]]))
        if crossed <= limit:
            swapped |= {(a, round_a), (b, round_b)}
            first = next(iter(seen[a, round_a].values()))
            apart = _apart(points[a, round_a], points[a, base[a]])
            given = f"round {round_a} of stations {a} and {b} apart from their other rounds by {_mm(apart)}"
            remedy = (
                f"it falls to {_mm(crossed)} if {a} and {b} are exchanged in that round; mend the names in the file"
            )
            faults.append(Fault(given, f"less than {limit * 1e3:.3g} mm", remedy, first.file, first.line))
    for key in off:
        if key not in swapped:
            first = next(iter(seen[key].values()))
            given = f"round {key[1]} of station {key[0]} apart from its round before by "
            size = _mm(_apart(points[key], points[key[0], base[key[0]]]))
            remedy = "did the station move or was its circle set anew? give such a round a station name of its own"
            notes.append(Fault(given + size, f"less than {limit * 1e3:.3g} mm", remedy, first.file, first.line))
    return faults, notes


def _apart(a: Mapping[str, Array], b: Mapping[str, Array]) -> float:
    """Median distance of the targets that both saw, in the station's own frame [m]; 0 where they are fewer than three."""
    common = [name for name in a if name in b]
    if len(common) < 3:
        return 0.0
    return float(np.median([np.linalg.norm(a[n] - b[n]) for n in common]))
