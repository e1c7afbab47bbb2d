"""What no file tells: sheets of the wire, the tracker, the girder, and the rules by which it is judged."""

from __future__ import annotations

from collections.abc import Mapping

from monochord.files.draft.findings import Question
from monochord.files.draft.lines import Draft, Section

_COMMON = "common practice, no source"

#: Section -> key -> (what it is, dimension, what is commonly so).
SHEETS: dict[str, dict[str, tuple[str, str, str]]] = {
    "wire": {
        "length": ("length between the supports", "length", ""),
        "upstream_support": ("place of the upstream support along the beam, from the girder's origin", "length", ""),
        "mass_per_length": ("mass of the wire per length", "mass per length", ""),
        "sensor_turn": (
            "whether the pair of sensors was squared: one standard deviation, or unchecked",
            "",
            "unchecked",
        ),
        "stringing": ("how far one stringing departs from straight, one standard deviation", "length", ""),
        "stage_turn": ("turn of the stages against each other, one standard deviation", "angle", "1 mrad"),
        "stage_scale": ("scale of the stages, one standard deviation", "ratio", "0.1 %"),
        "sensor_gain": ("gain of the sensors, one standard deviation", "ratio", "1 %"),
        "gravity": ("gravity there; left out it is 9.80665 m/s2", "acceleration", ""),
        "end_vector": ("how well the vector from nest to wire is known", "length", ""),
    },
    "instrument": {
        "name": ("what the instrument is called", "", "tracker"),
        "angle": ("one standard deviation across the line of sight", "angle", ""),
        "range": ("one standard deviation of a distance, the constant part", "length", ""),
        "range_per_distance": ("the part that grows with the distance", "ratio", ""),
        "range_sum": ("how both parts add up: plain or quadratic", "", "plain"),
        "levelled": ("how well the stations are levelled, one standard deviation, or no", "", ""),
        "mounting": ("seating of a reflector in its nest, one standard deviation an axis", "length", ""),
        "range_scale": ("common scale of all distances, one standard deviation", "ratio", "1 um/m"),
    },
    "girder": {"type": ("what such girders are called", "", "")},
    "girder.beam": {
        "mass_per_length": ("mass of the girder without magnets", "mass per length", ""),
        "length": ("its length", "length", ""),
        "bending_vertical": ("stiffness against bending up and down", "bending stiffness", ""),
        "bending_lateral": ("stiffness against bending sideways", "bending stiffness", ""),
        "torsion": ("stiffness against twist", "bending stiffness", ""),
        "neutral_line": ("height of the neutral line, from the girder's origin", "length", ""),
        "depth": ("its depth", "length", ""),
        "expansion": ("thermal expansion", "expansion", "11.7 um/m/K, of steel"),
    },
    "line": {
        "line": ("refitted on each occasion, or bench", "", "refitted"),
        "weights": ("equal, by kind, or given", "", "equal"),
    },
}
OPTIONAL = frozenset({"girder.beam", "line", "girder"})
_NOT_NEEDED = frozenset({"wire.end_vector", "wire.gravity"})


def sheet(draft: Draft, name: str, found: Mapping[str, str] | None = None) -> Section:
    """A section of facts: what was answered stands in it, the rest as questions.

    found  key -> what the files say about it, to help the person who answers
    """
    optional = name in OPTIONAL
    section = draft.section(name, optional=optional)
    for key, (what, dimension, common) in SHEETS[name].items():
        said = (found or {}).get(key, "")
        asks = f"{what}{f'; {said}' if said else ''}"
        proposal = f"{common} ({_COMMON})" if common else ""
        needed = not optional and f"{name}.{key}" not in _NOT_NEEDED
        question = Question(f"{name}.{key}", asks, (), "fact", dimension, proposal, needed)
        draft.put(section, key, question)
    return section


def bolt_kinds(draft: Draft) -> None:
    """Stiffness and smallest step of the bolts, by the direction in which they act."""
    answered = draft.answers.get("girder.bolt_kinds")
    kinds = answered if isinstance(answered, Mapping) else {}
    section = draft.section("girder.bolt_kinds", optional=not kinds)
    for key, value in kinds.items():
        section.add(str(key), value, "as answered")
    if kinds:
        draft.settled.append(Question("girder.bolt_kinds", "bolts", kind="fact"))
        return
    asks = 'stiffness and smallest step, such as vertical = { stiffness = "7e8 N/m", smallest_step = "1/120 turn" }'
    question = Question("girder.bolt_kinds", asks, (), "fact", needed=False)
    draft.questions.append(question)
    section.add("vertical", None, asks)


def tolerances(draft: Draft) -> None:
    """The limits; without any there is no verdict."""
    answered = draft.answers.get("tolerances")
    entries = [e for e in answered if isinstance(e, Mapping)] if isinstance(answered, list) else []
    for quantity in ("offset", "own move", "roll", "slope", "shift"):
        told = draft.answers.get(f"tolerances.{quantity.replace(' ', '-')}")
        if told is not None:
            entries.append({"quantity": quantity, "limit": told})
            draft.settled.append(Question(f"tolerances.{quantity.replace(' ', '-')}", "limit", kind="fact"))
    for entry in entries:
        section = draft.section("tolerances", array=True)
        for key, value in entry.items():
            section.add(str(key), value, "as answered")
    if entries:
        draft.settled.append(Question("tolerances", "limits", kind="fact"))
        return
    section = draft.section("tolerances", array=True, optional=True)
    asks = "limit of each magnet's offset from the common line; without it there is no verdict"
    draft.questions.append(Question("tolerances.offset", asks, (), "fact", "length", needed=False))
    section.add("limit", None, asks)


def loose(draft: Draft, section: Section, key: str, what: str, dimension: str, *, needed: bool = True) -> None:
    """One further fact of a section that has other lines."""
    question = Question(f"{section.head}.{key}", what, (), "fact", dimension, needed=needed)
    draft.put(section, key, question)
