"""Which folders of a laboratory are occasions, in which order, and which of their files are described."""

from __future__ import annotations

import fnmatch
from dataclasses import dataclass
from pathlib import Path

from monochord.files.lab import Lab
from monochord.files.roles import OF_GIRDER, OF_OCCASION
from monochord.files.words import did_you_mean, listed, natural
from monochord.ground.faults import Fault, Gatherer


@dataclass(frozen=True, slots=True)
class Found:
    """A file that the description knows: its role and its path below the laboratory's folder."""

    role: str
    path: str


@dataclass(frozen=True, slots=True)
class FoundOccasion:
    """An occasion's folder as it was found."""

    name: str
    place: str
    files: tuple[Found, ...]
    stringing: str = ""


@dataclass(frozen=True, slots=True)
class Layout:
    """What a laboratory's folder holds of one girder."""

    girder_files: tuple[Found, ...]
    occasions: tuple[FoundOccasion, ...]
    notes: tuple[Fault, ...]


def survey_folder(folder: Path, lab: Lab, faults: Gatherer) -> Layout:
    """The files of a laboratory's folder by role and occasion; what is not described is noted, not read."""
    notes: list[Fault] = []
    girder = folder / lab.girder_folder
    girder_files = _described(girder, lab.girder_folder, lab.role_patterns(OF_GIRDER), notes)
    if not any(f.role == "magnets" for f in girder_files):
        there = sorted(p.name for p in girder.iterdir()) if girder.is_dir() else []
        wanted = lab.files.get("magnets", "magnets")
        given = f"no file {wanted!r}" if girder.is_dir() else f"no folder {lab.girder_folder!r}"
        remedy = f"{did_you_mean(wanted, there)}check the folder, or layout and tables.magnets in the lab description"
        faults.add(given, "a table of the magnets", remedy, file=str(girder))
    occasions = _occasions(folder, lab, notes)
    if not occasions:
        patterns = [n.text("folder") for n in lab.root.node("layout").nodes("occasions")]
        there = [p.name for p in folder.iterdir() if p.is_dir()] if folder.is_dir() else []
        given = f"folders {listed(sorted(there)) or 'none'}"
        remedy = "check the folder, or layout.occasions in the lab description"
        faults.add(given, f"occasions named like {listed(patterns)}", remedy, file=str(folder))
    return Layout(girder_files, occasions, tuple(notes))


def _occasions(folder: Path, lab: Lab, notes: list[Fault]) -> tuple[FoundOccasion, ...]:
    layout = lab.root.node("layout")
    rules = [(n.text("folder"), n.text("place"), n.text("stringing")) for n in layout.nodes("occasions")]
    there = [p for p in folder.iterdir() if p.is_dir()] if folder.is_dir() else []
    found: list[tuple[int, FoundOccasion]] = []
    for path in sorted(there, key=lambda p: natural(p.name)):
        if path.name == lab.girder_folder or path.name.startswith("."):
            continue
        rank = next((i for i, (pattern, *_) in enumerate(rules) if fnmatch.fnmatchcase(path.name, pattern)), None)
        if rank is None:
            remedy = "not read; add it to layout.occasions to read it"
            notes.append(Fault(f"folder {path.name!r}", "an occasion's folder", remedy, str(path)))
            continue
        files = _described(path, path.name, lab.role_patterns(OF_OCCASION), notes)
        if not files:
            remedy = "left out; check tables and waveforms in the lab description"
            notes.append(Fault("a folder without any described file", "measured files", remedy, str(path)))
            continue
        found.append((rank, FoundOccasion(path.name, rules[rank][1], files, rules[rank][2])))
    if layout.text("order") == "as listed":
        found.sort(key=lambda item: item[0])
    return tuple(occasion for _, occasion in found)


def _described(folder: Path, shown: str, patterns: dict[str, str], notes: list[Fault]) -> tuple[Found, ...]:
    if not folder.is_dir():
        return ()
    found: list[Found] = []
    for path in sorted(folder.iterdir(), key=lambda p: natural(p.name)):
        if path.name.startswith("."):
            continue
        roles = [role for role, pattern in patterns.items() if fnmatch.fnmatchcase(path.name, pattern)]
        if not roles and not path.is_file():
            remedy = "not read: folders inside are not looked into"
            notes.append(Fault(f"{path.name!r}, which is no file", "files", remedy, f"{shown}/{path.name}"))
            continue
        if not roles:
            remedy = f"{did_you_mean(path.name, patterns.values())}not read: no table of the lab description has it"
            notes.append(Fault(f"file {path.name!r}", "a described file", remedy, f"{shown}/{path.name}"))
        found += [Found(role, f"{shown}/{path.name}") for role in roles]
    return tuple(found)
