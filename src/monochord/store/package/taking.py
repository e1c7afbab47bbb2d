"""Take a package into a record: checked first, then all its entries with their ids, or none; exactly once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, select
from sqlalchemy.exc import DataError

from monochord.ground.faults import Fault, Refused
from monochord.store.entry import START, Draft, Entry, canonical, stamp
from monochord.store.files import has_file, keep_file
from monochord.store.ledger import entry_with, keep
from monochord.store.opening import Record
from monochord.store.package.checking import Checked
from monochord.store.package.lines import entries_in
from monochord.store.package.walk import some
from monochord.store.package.whole import REMEDY
from monochord.store.tables import ENTRY

#: The kind of the entry that tells where entries came from.
IMPORTED = "imported"


@dataclass(frozen=True, slots=True)
class Came:
    """What a package brought: entries that are new, and that were known; of those, what is stated otherwise here."""

    new: int
    known: int
    files: int
    notes: tuple[str, ...]


def take_package(
    record: Record, folder: Path, checked: Checked, now: datetime, *, by: str, device: str, name: str
) -> Came:
    """Take a checked package in.

    name  the id of the entry that tells where it came from; the same for the same package

    Raises Refused, and keeps no entry, when an id stands for another fact here, or when something was corrected
    otherwise here. Files that came stay; without an entry they say nothing.
    """
    with record.reading() as connection:
        notes = _against(connection, folder)
    files = _keep_files(record, folder, checked)
    new = known = 0
    with record.writing() as connection:
        own = _first_hash(connection)
        for entry in entries_in(folder):
            if entry_with(connection, entry.draft.id) is None:
                _keep(connection, entry, now)
                new += 1
            else:
                _same(connection, entry)
                known += 1
        if checked.facts.record != own and entry_with(connection, name) is None:
            keep(connection, _imported(checked, now, by=by, device=device, name=name), now)
    return Came(new, known, files, tuple(notes))


def _imported(checked: Checked, now: datetime, *, by: str, device: str, name: str) -> Draft:
    facts = checked.facts
    origin = {"record": facts.record, "number": facts.number, "head": facts.head, "device": facts.device}
    body = {"package": checked.manifest, "girder": facts.girder, "entries": facts.entries, "origin": origin}
    return Draft(name, IMPORTED, f"girder/{facts.girder}", stamp(now), by, device, body)


def _keep(connection: Connection, entry: Entry, now: datetime) -> None:
    try:
        kept = keep(connection, entry.draft, now)
    except (ValueError, TypeError, RecursionError, DataError) as error:
        given = f"an entry that cannot be kept ({type(error).__name__})"
        raise Refused([Fault(given, "an entry of the record", REMEDY, f"entry {entry.draft.id[:12]}")]) from error
    if kept.content != entry.content:
        raise Refused(
            [Fault("another content than was packed", entry.content[:16], REMEDY, f"entry {entry.draft.id[:12]}")]
        )


def _same(connection: Connection, entry: Entry) -> None:
    _, fault = _held_against(connection, entry)
    if fault:
        raise Refused([fault])


def _first_hash(connection: Connection) -> str:
    return str(connection.execute(select(ENTRY.c.hash).order_by(ENTRY.c.number).limit(1)).scalar() or START)


def _against(connection: Connection, folder: Path) -> list[str]:
    """Hold all entries against those that are here: notes; Refused with every conflict."""
    notes, faults = [], list[Fault]()
    for entry in entries_in(folder):
        note, fault = _held_against(connection, entry)
        notes += [note] if note else []
        faults += [fault] if fault else []
    if faults:
        raise Refused(some(faults))
    return notes


def _held_against(connection: Connection, entry: Entry) -> tuple[str, Fault | None]:
    """What is otherwise here about one entry: a note, or a conflict."""
    draft, here = entry.draft, entry_with(connection, entry.draft.id)
    what = f"{draft.kind} {draft.id[:12]} about {draft.subject}"
    if here is not None:
        if here.content == entry.content:
            return "", None
        if _stated(here.draft) == _stated(draft):
            who = f"{here.draft.made_by} on {here.draft.device}, there by {draft.made_by} on {draft.device}"
            return f"{what} is the same fact, stated here by {who}; that of here stays", None
        given = f"{what}, which is another fact here (entry {here.number} of {here.draft.made_by})"
        return "", Fault(given, "one fact under one id", "find out which is right; nothing was taken in", _where(entry))
    if draft.replaces is None:
        return "", None
    other = connection.execute(
        select(ENTRY.c.number, ENTRY.c.made_by).where(ENTRY.c.replaces == draft.replaces)
    ).first()
    if other is None:
        return "", None
    given = f"{what}, a correction of what entry {other.number} of {other.made_by} corrected here"
    return "", Fault(given, "one correction of a fact", "settle which holds; nothing was taken in", _where(entry))


def _where(entry: Entry) -> str:
    """Where an entry stands in a package, in words."""
    return f"data/entries.jsonl, the entry {entry.draft.id[:12]}"


def _stated(draft: Draft) -> str:
    return canonical([draft.kind, draft.subject, draft.replaces, draft.body])


def _keep_files(record: Record, folder: Path, checked: Checked) -> int:
    """Keep the files; gives how many are new."""
    new = 0
    for place, kept in checked.files.items():
        if has_file(record, kept.sha256):
            continue
        if keep_file(record, folder / "data" / place) != kept.sha256:
            raise Refused(
                [Fault("a file that changed meanwhile", "the file that was checked", REMEDY, f"data/{place}")]
            )
        new += 1
    return new
