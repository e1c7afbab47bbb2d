"""What stands in a folder that somebody calls a package, seen without following anything that leads elsewhere."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from monochord.ground.faults import Fault, Refused
from monochord.store.package.bag import MANIFESTS, PAYLOAD, TAG_MANIFESTS, TAGS
from monochord.store.package.names import DEEPEST, same_place, wrong_in

#: So many files and folders a package may have.
MOST = 100_000
#: So many faults are told one by one.
TOLD = 50


def files_in(folder: Path, most: int = MOST) -> dict[str, int]:
    """Path -> size [bytes] of every file in a package; Refused with the names of all that a package cannot hold."""
    if folder.is_symlink() or not folder.is_dir():
        raise Refused([Fault("no folder", "the folder of a package", "check the path", str(folder))])
    faults: list[Fault] = []
    found: dict[str, int] = {}
    for seen, (path, entry) in enumerate(_below(folder, "", faults), 1):
        if seen > most:
            given = f"more than {most} files and folders"
            raise Refused([Fault(given, "the record of one girder", "this is no package of Monochord", str(folder))])
        if why := wrong_in(path):
            faults.append(_fault(path, why, "a name that a package may have"))
        elif entry.is_symlink():
            faults.append(_fault(path, "a link to elsewhere", "a file or a folder"))
        elif entry.is_file(follow_symlinks=False):
            found[path] = entry.stat(follow_symlinks=False).st_size
        elif not entry.is_dir(follow_symlinks=False):
            faults.append(_fault(path, "neither a file nor a folder", "a file or a folder"))
    faults += _twins(found)
    faults += [_fault(name, "a file that no package has", "nothing beside the payload") for name in _strange(found)]
    faults += [_fault(name, "no such file", "a whole package") for name in (*TAGS, *TAG_MANIFESTS) if name not in found]
    if faults:
        raise Refused(some(faults))
    return found


def some(faults: list[Fault]) -> list[Fault]:
    """The first faults, and how many more there are."""
    if len(faults) <= TOLD:
        return faults
    return [*faults[:TOLD], Fault(f"{len(faults) - TOLD} more faults", "none", "take the package anew")]


def _below(folder: Path, inside: str, faults: list[Fault]) -> Iterator[tuple[str, os.DirEntry[str]]]:
    """Everything below a folder; a folder without a file is a fault, for no manifest tells of it."""
    empty = True
    with os.scandir(folder) as listed:
        for entry in listed:
            empty = False
            path = f"{inside}{entry.name}"
            yield path, entry
            if entry.is_dir(follow_symlinks=False) and not entry.is_symlink():
                if path.count("/") >= DEEPEST:
                    faults.append(_fault(path, "a folder that lies too deep", "a path that a package may have"))
                    continue
                yield from _below(folder / entry.name, f"{path}/", faults)
    if empty and inside:
        faults.append(_fault(inside.rstrip("/"), "an empty folder", "folders that hold files"))


def _twins(found: dict[str, int]) -> list[Fault]:
    seen: dict[str, str] = {}
    faults = []
    for path in sorted(found):
        first = seen.setdefault(same_place(path), path)
        if first != path:
            faults.append(_fault(path, f"a name that some systems take for {first!r}", "names that differ everywhere"))
    return faults


def _strange(found: dict[str, int]) -> list[str]:
    known = {*TAGS, *TAG_MANIFESTS, *MANIFESTS}
    return [path for path in sorted(found) if path not in known and not path.startswith(f"{PAYLOAD}/")]


def _fault(path: str, given: str, expected: str) -> Fault:
    shown = path.encode("unicode_escape", "backslashreplace").decode("ascii") if not path.isprintable() else path
    return Fault(given, expected, "take the package anew from where it came", shown)
