"""Folders as occasions: which hold what, in which order they came, which share the points on their walls."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from monochord.files.container import Contents
from monochord.files.draft.findings import Choice, Question
from monochord.files.draft.kinds import Kind
from monochord.files.draft.lines import Draft, Section
from monochord.files.draft.survey import Survey
from monochord.files.roles import OF_GIRDER
from monochord.files.words import listed, natural

BY_NAME = "by name"


def layout(
    draft: Draft, kinds: Sequence[Kind], containers: Mapping[str, Contents], seen: Survey, nests: Sequence[str]
) -> None:
    """The section of folders; the order is asked for unless all names begin with numbers."""
    section = draft.section("layout")
    girder = [f.path for k in kinds if k.role in OF_GIRDER for f in k.files]
    folder = _folder(girder[0]) if girder else None
    told = [k.name for k in kinds if k.role in OF_GIRDER]
    section.add(
        "girder",
        folder or ("." if girder else None),
        f"there are {listed(told)}" if told else "no table of a girder was found",
    )
    holding: dict[str, list[str]] = {}
    for k in kinds:
        if k.role not in OF_GIRDER:
            for f in k.files:
                holding.setdefault(_folder(f.path), []).append(k.role)
    for path in containers:
        holding.setdefault(_folder(path), []).append("waveforms")
    names = sorted((n for n in holding if n), key=natural)
    if not names:
        section.add("order", None, "OPEN layout.order: no folder with measured files was found")
        return
    order = _ordered(draft, names)
    if order is None:
        section.add("order", None, f"OPEN layout.order: {listed(names)}")
    elif order == BY_NAME:
        numbered = all(n[:1].isdigit() for n in names)
        section.add("order", BY_NAME, "all folders begin with numbers" if numbered else "as answered")
    else:
        section.add("order", "as listed", "as answered")
        names = [n.strip() for n in order.split(",")]
    _reference(draft, section, names, holding)
    rooms = _rooms(names, seen, nests)
    for name in names:
        entry = draft.section("layout.occasions", array=True)
        entry.add(
            "folder",
            _general(name, names) if order == BY_NAME else name,
            f"holds {', '.join(dict.fromkeys(holding[name]))}",
        )
        place = draft.answers.get(f"layout.places.{name}")
        entry.add(
            "place",
            str(place or rooms.get(name, re.sub(r"^\d+[\W_]*", "", name) or name)),
            "as answered" if place else "in words; mend it as you like",
        )
        if {"wire_scans", "waveforms"} & set(holding[name]):
            asks = f"name of the wire's stringing on {name}; occasions with one name share it, without one it counts as strung anew"
            draft.put(entry, "stringing", Question(f"layout.stringings.{name}", asks, (), "fact", needed=False))


def _folder(path: str) -> str:
    return path.rpartition("/")[0]


def _ordered(draft: Draft, names: Sequence[str]) -> str | None:
    if all(n[:1].isdigit() for n in names) or len(names) == 1:
        return BY_NAME
    asks = "In which order did the occasions come? Answer 'by name', or list all folders with commas between."
    told = draft.answers.get("layout.order")
    question = Question("layout.order", asks, (Choice(BY_NAME, f"then {', '.join(names)}"),))
    if isinstance(told, str) and sorted(t.strip() for t in told.split(",")) == sorted(names):
        draft.settled.append(question)
        return told
    return draft.ask(question)


def _general(name: str, names: Sequence[str]) -> str:
    """A pattern that fits the same occasion of another girder: without the number at its beginning, where that is enough."""
    rest = re.sub(r"^\d+", "", name)
    return f"*{rest}" if rest != name and rest and sum(n.endswith(rest) for n in names) == 1 else name


def _reference(draft: Draft, section: Section, names: Sequence[str], holding: Mapping[str, Sequence[str]]) -> None:
    surveyed = [n for n in names if "sightings" in holding.get(n, ())]
    if not surveyed:
        return
    known = tuple(Choice(n, f"has {', '.join(dict.fromkeys(holding[n]))}") for n in surveyed)
    question = Question("layout.reference", "To which occasion shall the girder's shape return?", known, needed=False)
    told = draft.ask(question)
    shown = "; ".join(f'"{c.value}"' for c in known)
    section.add(
        "reference", _general(told, names) if told else None, "as answered" if told else f"{question.asks} {shown}"
    )


def _rooms(names: Sequence[str], seen: Survey, nests: Sequence[str]) -> dict[str, str]:
    """Occasions that see the same points on walls stand in one room."""
    known = {n for p in seen.pictures for n in p.names} | set(nests)
    walls: dict[str, set[str]] = {n: set() for n in names}
    for station, points in seen.seen.items():
        folder = _folder(station.partition(" in ")[2])
        if folder in walls:
            walls[folder] |= set(points) - known
    rooms: dict[str, str] = {}
    for name in names:
        if walls[name]:
            first = next((o for o in names if 2 * len(walls[o] & walls[name]) > len(walls[name])), name)
            rooms[name] = f"room of {sorted(walls[first], key=natural)[0]} and others"
    return rooms
