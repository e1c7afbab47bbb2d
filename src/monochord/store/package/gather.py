"""What belongs to the whole record of one girder: its entries, and those of magnets, instruments and people that it names."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from heapq import merge

from sqlalchemy import Connection, select

from monochord.store.entry import Entry
from monochord.store.ledger import BATCH, entry_of
from monochord.store.package.names import Places, part_of, readable
from monochord.store.tables import ENTRY, FILE
from monochord.store.tables_told import PLACED

#: So many subjects or hashes are asked for at once.
TOGETHER = 400
_HASH = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class Kept:
    """A file that entries name: its hash and size, its place in the package, the path by which it is named, and who names it.

    place  "" when the record does not hold the file
    """

    sha256: str
    size: int
    place: str
    path: str
    entry: str


@dataclass(slots=True)
class Gathered:
    """What a package will hold: subjects, how many entries, and files in the order in which entries name them."""

    subjects: set[str]
    entries: int = 0
    files: list[Kept] = field(default_factory=list)


def gather(connection: Connection, girder: str) -> Gathered:
    """Look through all that is stated about a girder, and tell what belongs to it."""
    subjects = {f"girder/{girder}"}
    serials = connection.scalars(select(PLACED.c.serial).where(PLACED.c.girder == girder).distinct())
    subjects |= {f"magnet/{serial}" for serial in serials}
    more: set[str] = set()
    for entry in entries_about(connection, subjects):
        more |= _named(entry)
    found = Gathered(subjects | more)
    places = Places()
    placed: dict[str, Kept] = {}
    seen: set[tuple[str, str]] = set()
    for entry in entries_about(connection, found.subjects):
        found.entries += 1
        named = {pair: None for pair in files_of(entry) if pair not in seen}
        sizes = _sizes(connection, {digest for digest, _ in named})
        for digest, path in named:
            if digest not in sizes and not path:
                continue  # a hash of something else than a file
            seen.add((digest, path))
            if digest in placed:
                place = placed[digest].place
            else:
                place = places.place(_place_of(entry, digest, path), digest[:12]) if digest in sizes else ""
            kept = Kept(digest, sizes.get(digest, 0), place, path, entry.draft.id)
            placed.setdefault(digest, kept)
            found.files.append(kept)
    return found


def _place_of(entry: Entry, digest: str, path: str) -> str:
    if digest == entry.draft.body.get("document"):
        return f"results/{folder_of(entry)}/result.json"
    return f"files/{readable(path or digest)}"


def folder_of(entry: Entry) -> str:
    """The folder of a run's results: when it was made, and the beginning of its id."""
    return f"{entry.draft.made_at[:19].replace(':', '')}-{part_of(entry.draft.id[:12])}"


def _named(entry: Entry) -> set[str]:
    """Subjects of people and instruments that an entry names."""
    body = entry.draft.body
    found = {f"person/{entry.draft.made_by}"}
    found |= {f"{kind}/{body[kind]}" for kind in ("person", "instrument") if isinstance(body.get(kind), str)}
    return found


def files_of(entry: Entry) -> Iterator[tuple[str, str]]:
    """(hash, path) of everything in a body that may be a file; the path is "" where none is told."""
    return _hashes(entry.draft.body)


def _hashes(value: object) -> Iterator[tuple[str, str]]:
    if isinstance(value, Mapping):
        digest, path = value.get("sha256"), value.get("path")
        if isinstance(digest, str) and _HASH.fullmatch(digest) and isinstance(path, str):
            yield digest, path
        else:
            for item in value.values():
                yield from _hashes(item)
    elif isinstance(value, list):
        for item in value:
            yield from _hashes(item)
    elif isinstance(value, str) and _HASH.fullmatch(value):
        yield value, ""


def _sizes(connection: Connection, digests: Iterable[str]) -> dict[str, int]:
    wanted = sorted(digests)
    found: dict[str, int] = {}
    for i in range(0, len(wanted), TOGETHER):
        some = select(FILE.c.sha256, FILE.c.size).where(FILE.c.sha256.in_(wanted[i : i + TOGETHER]))
        found |= {row.sha256: row.size for row in connection.execute(some)}
    return found


def entries_about(connection: Connection, subjects: Iterable[str]) -> Iterator[Entry]:
    """Entries about any of these subjects, in the order of the ledger."""
    wanted = sorted(subjects)
    parts = [wanted[i : i + TOGETHER] for i in range(0, len(wanted), TOGETHER)]
    return merge(*(_about(connection, part) for part in parts), key=lambda entry: entry.number)


def _about(connection: Connection, subjects: list[str]) -> Iterator[Entry]:
    after = 0
    wanted = select(ENTRY).where(ENTRY.c.subject.in_(subjects)).order_by(ENTRY.c.number).limit(BATCH)
    while rows := connection.execute(wanted.where(ENTRY.c.number > after)).all():
        yield from map(entry_of, rows)
        after = rows[-1].number
