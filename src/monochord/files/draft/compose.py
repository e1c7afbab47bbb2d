"""From what was seen to a description: every finding in its place with its evidence, and what is open as a question."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from monochord.files.container import Contents
from monochord.files.draft import facts, survey
from monochord.files.draft.columns import LETTERS
from monochord.files.draft.conventions import angles, frame, signals, strength
from monochord.files.draft.findings import Question
from monochord.files.draft.further import further, names
from monochord.files.draft.kinds import Kind, of_role
from monochord.files.draft.layout import layout
from monochord.files.draft.lines import Draft
from monochord.files.draft.raw import waveforms
from monochord.files.draft.survey import Survey
from monochord.files.draft.tables import ALONG, SIGNS, Work, dialect, table
from monochord.files.roles import ROLES
from monochord.files.words import did_you_mean, listed
from monochord.ground.faults import Fault, Refused


@dataclass(frozen=True, slots=True)
class Looked:
    """All that was seen of a folder: kinds of tables, containers by path, words about other files, questions."""

    kinds: tuple[Kind, ...]
    containers: Mapping[str, Contents] = field(default_factory=dict)
    others: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()


def composed(looked: Looked, answers: Mapping[str, object], name: str) -> tuple[Draft, Survey]:
    """The description of what was seen, with the answers that were given; and the survey that its geometry rests on."""
    draft = Draft(answers)
    draft.questions += looked.questions
    chosen = {role: _one(draft, of_role(looked.kinds, role), role) for role in ROLES}
    told = {k: str(answers[p]) for k, p in _UNIT_ANSWERS.items() if p in answers}
    seen = survey.surveyed(chosen["sightings"], chosen["targets"], told)
    top = draft.section("")
    top.add("schema", "monochord-lab/1")
    top.add(
        "name",
        str(answers.get("name", name)),
        "as answered" if "name" in answers else "of the folder; mend it as you like",
    )
    work = Work(draft)
    frame(work, chosen, seen)
    if chosen["sightings"]:
        angles(work, chosen["sightings"], seen)
    strength(draft, chosen["magnets"])
    signals(draft, [k for k in (chosen["wire_scans"], chosen["wire_sweeps"]) if k is not None])
    facts.loose(draft, draft.section("field_profile", optional=True), "edge", _EDGE, "length", needed=False)
    shared = _shared(draft, [k for k in chosen.values() if k is not None])
    layout(draft, [k for k in chosen.values() if k is not None], looked.containers, seen, names(chosen["wire_ends"]))
    for role, kind in chosen.items():
        if kind is not None:
            section = table(work, kind, _pattern(kind.name, of_role(looked.kinds, role)), shared)
            further(work, section, kind, chosen, seen)
    if looked.containers:
        waveforms(work, looked.containers, _same([p.rpartition("/")[2] for p in looked.containers]))
    _sheets(draft, chosen, looked, seen)
    for q in looked.questions:
        if q.key.startswith("role.") and q.needed:
            draft.section("tables").add(f"{q.key}", "?", f"OPEN {q.key}: {q.asks}")
    _unused(work)
    return draft, seen


_EDGE = "fall-off length e of the field along a magnet, 0.5 (tanh((z-a)/e) - tanh((z-b)/e)), from a map of the field"
_UNIT_ANSWERS = {
    "angle": "tables.sightings.columns.horizontal.unit",
    "distance": "tables.sightings.columns.distance.unit",
    "nominal": "tables.targets.columns.x.unit",
}


def _one(draft: Draft, found: Sequence[Kind], role: str) -> Kind | None:
    """The kind of file for a role; others with the same columns fall under one pattern, further ones are told."""
    if not found:
        return None
    best = max(found, key=lambda k: (len(k.files), k.fit.score if k.fit else 0.0))
    for other in found:
        if other.columns and other is not best and other.first.shape.header != best.first.shape.header:
            draft.notes.append(
                f"{other.name} looks like {role} too, with other columns; one description reads one of them"
            )
    return best


def _pattern(name: str, alike: Sequence[Kind]) -> str:
    same = [
        k.name for k in alike if k.first.shape.header == next(a for a in alike if a.name == name).first.shape.header
    ]
    return _same(sorted(set(same)))


def _same(names: Sequence[str]) -> str:
    """One pattern for all names: what they begin and end with in common."""
    if len(set(names)) == 1:
        return names[0]
    start = _beginning(names).rstrip("0123456789")
    end = _beginning([n[::-1] for n in names])[::-1].lstrip("0123456789")
    return f"{start}*{end}"


def _beginning(names: Sequence[str]) -> str:
    """What all names begin with."""
    alike = 0
    while alike < min(map(len, names)) and len({n[alike] for n in names}) == 1:
        alike += 1
    return names[0][:alike]


def _shared(draft: Draft, kinds: Sequence[Kind]) -> dict[str, object]:
    """The dialect of most tables; the others tell their own."""
    found = [dialect(k) for k in kinds]
    keys = list(dict.fromkeys(k for d in found for k in d))
    section = draft.section("dialect")
    shared: dict[str, object] = {}
    for key in keys:
        if key in ("widths", "totals", "data_from", "unit_line"):
            continue
        values = [d.get(key) for d in found]
        usual = max(values, key=lambda v: sum(v == w for w in values))
        if usual is None:
            continue
        shared[key] = usual
        first = next(k for k in kinds if dialect(k).get(key) == usual)
        why = {"decimal": first.first.marks.why, "grouping": first.first.marks.why, "encoding": first.first.text.why}
        section.add(key, usual, f"{first.name}: {why.get(key) or first.first.shape.why.get(key, '')}")
    return shared


def _sheets(draft: Draft, chosen: Mapping[str, Kind | None], looked: Looked, seen: Survey) -> None:
    wire = chosen["wire_scans"] or chosen["wire_sweeps"] or chosen["wire_ends"] or looked.containers
    if wire:
        said = {}
        for inside in looked.containers.values():
            found = [f"{k} = {v:g}" for k, v in inside.attributes.items() if isinstance(v, float) and "length" in k]
            said = {"length": f"the container says {', '.join(found)}"} if found else {}
        facts.sheet(draft, "wire", said)
        if not looked.containers:
            section = draft.section("wire.sensors")
            axes = [
                c
                for c in LETTERS
                if any(k and k.fit and {f"{c}_in", f"{c}_amplitude"} & set(k.fit.places) for k in chosen.values())
            ]
            for letter in axes or ["x", "y"]:
                facts.loose(
                    draft, section, letter, f"distance of the {letter} sensor from the upstream support", "length"
                )
    if chosen["sightings"]:
        facts.sheet(draft, "instrument")
    girder = facts.sheet(draft, "girder")
    if "girder.clamps" in draft.answers:
        girder.add("clamps", draft.answers["girder.clamps"], "as answered")
    facts.sheet(draft, "girder.beam")
    facts.bolt_kinds(draft)
    facts.sheet(draft, "line")
    facts.tolerances(draft)
    if not chosen["temperatures"]:
        section = draft.section("throughout", optional=True)
        facts.loose(
            draft,
            section,
            "temperature",
            "temperature of every occasion without a reading",
            "temperature",
            needed=False,
        )


_FREE = re.compile(r"^(name$|role\.|dialect\.|layout\.|tables\..*\.columns\.|girder\.clamps$|wire\.gravity$)")


def _unused(work: Work) -> None:
    """Answers that nothing asked for are refused, so that no slip of a key or of a name stays unseen."""
    draft = work.draft
    asked = {q.key for q in (*draft.settled, *draft.questions)}
    faults = [
        Fault(
            f"answer {key} = {value!r}",
            f"one of {listed(sorted(asked), 30)}",
            f"{did_you_mean(key, asked)}mend the key",
        )
        for key, value in draft.answers.items()
        if key not in asked and not _FREE.match(key)
    ]
    signs = str(draft.answers.get(SIGNS, ALONG))
    for name in [] if signs == ALONG else [t.strip() for t in signs.split(",")]:
        if name not in work.turned:
            expected = f"{ALONG!r}, or names of stages and displacements, or of channels"
            faults.append(Fault(f"{name!r} as what counts the other way", expected, "mend the name", f"answer {SIGNS}"))
    if faults:
        raise Refused(faults)
