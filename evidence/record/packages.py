"""A small package to be damaged, and damage: a byte, a name, an end, a file."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from random import Random

from monochord.ground.faults import Refused
from monochord.job.context import Context
from monochord.job.record.keyring import make_key
from monochord.job.record.sign import Wish, sign
from monochord.job.record.take import Hand
from monochord.store.entry import Draft, stamp
from monochord.store.files import keep_bytes
from monochord.store.ledger import append
from monochord.store.making import make_record
from monochord.store.package.checking import check_package
from monochord.store.package.writing import Told, write_package

HAND = Hand("bench crew", "bench computer")
PASSPHRASE = "a wire and nine bolts"
START = datetime(2031, 5, 7, 8, 0, tzinfo=UTC)


@dataclass(slots=True)
class Tally:
    """Trials by kind of damage, and those that passed unseen or without the name of what was damaged."""

    trials: dict[str, int] = field(default_factory=dict)
    unseen: list[str] = field(default_factory=list)
    unnamed: list[str] = field(default_factory=list)

    def add(self, other: Tally) -> None:
        """Take another tally in."""
        for kind, number in other.trials.items():
            self.trials[kind] = self.trials.get(kind, 0) + number
        self.unseen += other.unseen
        self.unnamed += other.unnamed


def small_package(folder: Path) -> Path:
    """A package of a girder with a signed run, measured files and a note, in some tens of kilobytes."""
    ticks, names = count(1), count(1)
    at = Context(lambda: START + timedelta(minutes=next(ticks)), lambda: f"{next(names):032x}")
    record = make_record(str(folder / "record.sqlite"))
    append(record, [_draft(at, "person", "person/Ada", {"name": "Ada", "roles": ["engineer"]})], at.now())
    make_key(record, "Ada", folder / "ada.pem", PASSPHRASE, context=at, hand=HAND)
    verdict = {"offset": 1.5e-6, "u": 4e-7, "limit": 3e-5, "rule": "guard band of 1.64 u", "verdict": "conforms"}
    document = {"occasions": {"5-back": {"lacks": []}}, "verdicts": {"5-back": {"Q1": {"x": verdict}}}}
    inputs = [{"path": p, "sha256": keep_bytes(record, c)} for p, c in _files()]
    body: dict[str, object] = {
        "girder": "G07",
        "document": keep_bytes(record, json.dumps(document).encode()),
        "inputs": inputs,
    }
    append(record, [_draft(at, "run", "girder/G07", body)], at.now())
    append(record, [_draft(at, "note", "girder/G07", {"words": "Staub, 0.1 µm"})], at.now())
    sign(record, Wish("girder/G07", "engineer"), folder / "ada.pem", PASSPHRASE, context=at, hand=HAND)
    told = Told("bench crew", "bench computer", at.now(), "monochord", b'{"type": "object"}\n', _tables)
    write_package(record, "G07", folder / "package", told)
    record.engine.dispose()
    return folder / "package"


def _files() -> Iterator[tuple[str, bytes]]:
    yield "measured/wire.tsv", b"x\ty\n1.25\t-0.5\n"
    yield "measured/Feld Süd.bin", bytes(range(256))
    yield "measured/empty.tsv", b""


def _tables(_: bytes) -> Iterator[tuple[str, bytes]]:
    yield "offsets.csv", b"magnet,x [m]\r\nQ1,1.5e-06\r\n"


def _draft(at: Context, kind: str, subject: str, body: dict[str, object]) -> Draft:
    return Draft(at.new_id(), kind, subject, stamp(at.now()), "bench crew", "bench computer", body)


def places_of(package: Path) -> list[tuple[str, int]]:
    """Every byte of every file."""
    paths = sorted(p for p in package.rglob("*") if p.is_file())
    return [(p.relative_to(package).as_posix(), i) for p in paths for i in range(p.stat().st_size)]


def flip(package: Path, name: str, place: int, rng: Random, tally: Tally) -> None:
    """Change one byte of a file and look whether that is found and the file named; then put it back."""
    path = package / name
    content = path.read_bytes()
    other = bytearray(content)
    other[place] ^= rng.randrange(1, 256)
    path.write_bytes(other)
    _look(package, "byte changed", f"{name}, byte {place}: {content[place]} to {other[place]}", (name,), tally)
    path.write_bytes(content)


def damage(package: Path, rng: Random, tally: Tally) -> None:
    """Damage a drawn file in a drawn way and look whether that is found and named; then put it back."""
    path = rng.choice(sorted(p for p in package.rglob("*") if p.is_file()))
    kind, how = rng.choice(list(DAMAGE.items()))
    name, content = path.relative_to(package).as_posix(), path.read_bytes()
    other = how(path, content, rng)
    if other is None:
        return
    _look(package, kind, f"{name} {kind}", (path.name, other.name), tally)
    if other != path and other.exists():
        other.unlink()
        if other.parent != package and not any(other.parent.iterdir()):
            other.parent.rmdir()
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)


def _cut(path: Path, content: bytes, rng: Random) -> Path | None:
    if not content:
        return None
    path.write_bytes(content[: rng.randrange(len(content))])
    return path


def _insert(path: Path, content: bytes, rng: Random) -> Path:
    place = rng.randrange(len(content) + 1)
    path.write_bytes(content[:place] + rng.randbytes(rng.randrange(1, 9)) + content[place:])
    return path


def _remove(path: Path, content: bytes, rng: Random) -> Path:
    path.unlink()
    return path


def _rename(path: Path, content: bytes, rng: Random) -> Path | None:
    name = bytearray(path.name.encode("utf-8"))
    name[rng.randrange(len(name))] ^= 1 << rng.randrange(8)
    other = path.parent / os.fsdecode(bytes(name))
    if b"/" in name or b"\0" in name or bytes(name) in (b".", b"..") or other.exists():
        return None
    path.rename(other)
    return other


def _copy(path: Path, content: bytes, rng: Random) -> Path:
    other = path.parent / f"{path.name}{rng.randrange(10)}"
    shutil.copyfile(path, other)
    return other


DAMAGE: dict[str, Callable[[Path, bytes, Random], Path | None]] = {
    "cut off": _cut,
    "bytes put in": _insert,
    "taken away": _remove,
    "name changed": _rename,
    "file added": _copy,
}


def _look(package: Path, kind: str, what: str, names: tuple[str, ...], tally: Tally) -> None:
    tally.trials[kind] = tally.trials.get(kind, 0) + 1
    try:
        check_package(package)
    except Refused as refusal:
        told = "\n".join(f"{fault.file} {fault}" for fault in refusal.faults)
        shown = [
            n if n.isprintable() else n.encode("unicode_escape", "backslashreplace").decode("ascii") for n in names
        ]
        if not any(name in told for name in shown):
            tally.unnamed.append(what)
    else:
        tally.unseen.append(what)
