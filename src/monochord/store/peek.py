"""What a file is, by its first bytes: nothing is opened, so nothing is changed.

A step of the record's tables writes its number into SQLite's field for a user's version; the journal of a campaign has 1 there.
"""

from __future__ import annotations

from pathlib import Path

from monochord.ground.faults import Fault, Refused
from monochord.store.journal import TABLES_VERSION as JOURNAL

#: How a file of SQLite begins, and where its user's version stands in it (SQLite's description of its file format, section 1.3).
BEGINS, PLACE = b"SQLite format 3\0", slice(60, 64)


def user_version(path: Path) -> int | None:
    """The user's version of a file of SQLite; None when it is no such file, or cannot be read."""
    try:
        with path.open("rb") as stream:
            head = stream.read(PLACE.stop)
    except OSError:
        return None
    return int.from_bytes(head[PLACE], "big") if head.startswith(BEGINS) else None


def refuse_others(path: Path, newest: int) -> None:
    """Refuse the journal of a campaign, a record of a newer program and what is no file of SQLite, before it is opened."""
    if not path.is_file() or path.stat().st_size == 0:
        return
    version = user_version(path)
    if version == JOURNAL:
        given = "the journal of a campaign, with its runs (a record of version 1)"
        remedy = "take it in with `monochord record take`; it stays as it is. The fleet's record needs another name or folder"
        raise Refused([Fault(given, "the record of a fleet", remedy, str(path))])
    if version is None:
        given = "a file that is no database, or whose beginning is damaged"
        remedy = "name the right file; when this is the right one, keep it and restore the last backup beside it"
        raise Refused([Fault(given, "a record", remedy, str(path))])
    if version > newest:
        expected = f"a record of version {newest} or earlier"
        raise Refused([Fault(f"a record of version {version}", expected, "use a newer program", str(path))])
