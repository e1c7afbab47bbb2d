"""Holding a record against itself: every row, every file, every guard, from the first entry to the last.

What is looked at, in this order: the log that a broken-off program left, SQLite's own checks, tables and guards, the
ledger with its hashes and its chain, the files with their pieces, and the tables for questions. Each fault names the
place and what to do; no number of faults or length of a file needs more memory than some rows.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, text
from sqlalchemy.exc import DBAPIError

from monochord.ground.faults import Fault, Refused
from monochord.store.causes import cause_of, said_by
from monochord.store.guards import unguarded
from monochord.store.making import VERSION, version_of
from monochord.store.opening import Record, url_of
from monochord.store.retelling import told_differs
from monochord.store.unaltered import header_flaw, unaltered
from monochord.store.verify_entries import entry_faults
from monochord.store.verify_files import file_faults
from monochord.store.wal import flaw_of, log_of

RESTORE = "keep it as it is, restore the last backup beside it, and compare the two from there on"
#: So many lines SQLite's own check says before it stops.
MOST = 100
#: A write that another program is at may look unfinished for a moment: so often it is looked at again, so long after [s].
LOOKS, PAUSE = 3, 0.1
#: A head as people note it: NUMBER:HASH, the hash in part or whole.
HEAD = re.compile(r"(\d+):([0-9a-f]{8,64})")


@dataclass(slots=True)
class Walked:
    """What a check has gone through so far.

    entries, last  number of entries, and number and hash of the last one;  files, size  files and their bytes
    seen           hash of the entry whose number was asked for
    """

    entries: int = 0
    last: tuple[int, str] = (0, "")
    files: int = 0
    size: int = 0
    seen: str = ""


def head_told(said: str) -> tuple[int, str]:
    """Number and hash of a head that was noted elsewhere; Refused when it is written otherwise.

    >>> head_told("12:95266653")
    (12, '95266653')
    """
    found = HEAD.fullmatch(said.strip().lower())
    if not found:
        expected = "NUMBER:HASH, such as 12:95266653ab, as `monochord record verify` prints it"
        raise Refused([Fault(f"the head {said!r}", expected, "write at least eight letters of the hash")])
    return int(found[1]), found[2]


def verify(
    address: str, say: Callable[[str], None], walked: Walked, head: tuple[int, str] | None = None
) -> Iterator[Fault]:
    """Every fault of a record, as it is found; none when the record is whole.

    say     takes a line of progress now and then;  walked  is filled on the way
    head    number and hash of an entry that were noted elsewhere: an end that was cut off leaves no trace in the record itself

    Raises Refused when there is no record to look at, or no connection to it.
    """
    record = unaltered(address)
    try:
        yield from verify_opened(record, url_of(address).database or "", say, walked, head=head)
    finally:
        record.engine.dispose()


def verify_opened(
    record: Record,
    database: str,
    say: Callable[[str], None],
    walked: Walked,
    *,
    head: tuple[int, str] | None = None,
    looks: int = LOOKS,
) -> Iterator[Fault]:
    """What :func:`verify` does, of a record that was opened with :func:`monochord.store.unaltered.unaltered`.

    looks  so often a log that seems not whole is looked at; once when nobody else can be writing
    """
    path = Path(database) if record.is_file else None
    count = 0
    try:
        if path is not None:
            for fault in _log_faults(log_of(path), looks):
                count += 1
                yield fault
        for fault in _faults(record, path, say, walked, head):
            count += 1
            yield fault
        if count == 0:  # else whatever is damaged would be told once more, by what it tells
            say("comparing the tables for questions")
            with record.reading() as connection:
                yield from _guarded(record, "tables for questions", lambda: _told_faults(connection, record))
    except Refused as refused:
        if path is None:
            raise
        yield from refused.faults  # a damaged file may not even open: that is a finding, not a mistake of whoever asks


def _faults(
    record: Record,
    path: Path | None,
    say: Callable[[str], None],
    walked: Walked,
    head: tuple[int, str] | None,
) -> Iterator[Fault]:
    with record.reading() as connection:
        if path is not None:
            say("asking SQLite for its own check")
            whole = True
            for fault in _guarded(
                record, "SQLite's own check", lambda: _sqlite_faults(connection, path, record.address)
            ):
                whole = False
                yield fault
            if not whole and not _opens(connection):
                return
        yield from _guarded(record, "tables and guards", lambda: _guard_faults(connection, record))
        yield from _guarded(record, "table entry", lambda: entry_faults(connection, record.address, say, walked, head))
        what = "tables file, part and piece"
        yield from _guarded(record, what, lambda: file_faults(connection, record.address, say, walked))


def _opens(connection: Connection) -> bool:
    """Whether the list of tables can be read; without it no table can."""
    try:
        connection.execute(text("SELECT count(*) FROM sqlite_master"))
    except (DBAPIError, UnicodeDecodeError):
        return False
    return True


def _guarded(record: Record, what: str, faults: Callable[[], Iterator[Fault]]) -> Iterator[Fault]:
    """The faults of one part; when it cannot be read to its end, that is one more."""
    try:
        yield from faults()
    except UnicodeDecodeError:  # what SQLite said quotes letters of a damaged file
        yield Fault(f"{what} that cannot be read to the end", "rows that can be read", RESTORE, record.address)
    except DBAPIError as error:
        cause = cause_of(error.orig) if error.orig is not None else None
        if error.connection_invalidated or not record.is_file:
            raise
        told = f"{cause.given} ({said_by(error.orig or error)})" if cause else said_by(error.orig or error)
        yield Fault(f"{what} that cannot be read to the end: {told}", "rows that can be read", RESTORE, record.address)


def _log_faults(log: Path, looks: int) -> Iterator[Fault]:
    flaw = flaw_of(log)
    for _ in range(looks - 1):
        if flaw is None:
            return
        time.sleep(PAUSE)
        flaw = flaw_of(log)
    if flaw is None:
        return
    if flaw.certain:
        remedy = f"entries were lost there: do not open the record, copy it with its log, {RESTORE}"
    else:
        remedy = (
            "either a program was ended while it wrote, and nothing acknowledged is missing, or an acknowledged entry was damaged: "
            "hold the record against a head noted elsewhere, or against the last backup"
        )
    yield Fault(f"a write-ahead log that is not whole: {flaw.words}", "a log that is read to its end", remedy, str(log))


def _sqlite_faults(connection: Connection, path: Path, address: str) -> Iterator[Fault]:
    if said := header_flaw(path):
        yield Fault(said, "0202, as SQLite writes it for a log written ahead", RESTORE, address)
    for (line,) in connection.execute(text(f"PRAGMA integrity_check({MOST})")):
        if line != "ok":
            given = f"SQLite's own check: {said_by(ValueError(line))}"
            yield Fault(given, "a file that SQLite finds whole", RESTORE, address)
    for table, row, parent, _ in connection.execute(text("PRAGMA foreign_key_check")):
        given = f"row {row} of table {table}, which names what table {parent} does not hold"
        yield Fault(given, f"the row in table {parent}", RESTORE, address)


def _guard_faults(connection: Connection, record: Record) -> Iterator[Fault]:
    version = version_of(connection)
    if version != VERSION:
        given = f"a record of version {version!r}" if version else "a database without a record's version"
        remedy = "open it with this program, which brings an earlier one up, or use the newer program; else " + RESTORE
        yield Fault(given, f"version {VERSION}", remedy, record.address)
    rows = connection.execute(text("SELECT count(*) FROM alembic_version")).scalar()
    if rows != 1:
        yield Fault(f"{rows} rows in table alembic_version", "one row", RESTORE, record.address)
    for said in unguarded(connection):
        remedy = "somebody or something altered the record: find out who, and " + RESTORE
        yield Fault(said, "tables, indices and guards as the program makes them", remedy, record.address)


def _told_faults(connection: Connection, record: Record) -> Iterator[Fault]:
    remedy = "tell them anew from the ledger, which is whole: `monochord record rebuild`"
    expected = "tables for questions as the ledger tells them"
    try:
        for said in told_differs(connection):
            yield Fault(said, expected, remedy, record.address)
    except (DBAPIError, UnicodeDecodeError):
        raise
    except Exception as error:  # rows of any shape may stand in a damaged table
        yield Fault(
            f"tables for questions that cannot be compared ({said_by(error)})", expected, remedy, record.address
        )
