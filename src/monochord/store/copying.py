"""Copying one state of a record into an empty one, row by row, between SQLite and PostgreSQL in either direction.

The ledger and the files are copied as they are; the tables for questions are told anew by them. What was copied is read
back and counted, hashed and chained before anybody calls it whole.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator

from sqlalchemy import Connection, Table, func, select

from monochord.ground.faults import Fault, Refused
from monochord.store.entry import START, chained, content_of
from monochord.store.files import blocks_of
from monochord.store.ledger import entries
from monochord.store.retelling import rebuild
from monochord.store.tables import ENTRY, FILE, KEPT, PART, PIECE
from monochord.store.trouble import telling

#: Tables in an order in which what is referred to comes first, and how many of their rows are in memory at once.
ORDER: tuple[tuple[Table, int], ...] = ((ENTRY, 500), (PIECE, 16), (FILE, 500), (PART, 500))
Rows = list[dict[str, object]]
#: So many faults of a damaged record are told.
MOST = 5


def copy_all(source: Connection, name: str, target: Connection, say: Callable[[str], None]) -> tuple[int, str]:
    """Copy everything that ``source`` sees into the empty tables of ``target``; gives number and hash of the last entry.

    name  of the source, for what goes wrong there

    Raises Refused when the target holds something, and when what was copied is not whole.
    """
    refuse_full(target)
    for table, together in ORDER:
        with telling(name):
            count = _count(source, table)
        _copy_table(target, table, _read(source, name, table, together), count, say)
    say("telling the tables for questions")
    rebuild(target)
    say("reading the copy back")
    check_same(source, target)
    head = target.execute(select(ENTRY.c.number, ENTRY.c.hash).order_by(ENTRY.c.number.desc()).limit(1)).first()
    return (head.number, head.hash) if head else (0, START)


def refuse_full(target: Connection) -> None:
    """Refuse to copy to where rows are."""
    for table in KEPT:
        if target.execute(select(table).limit(1)).first() is not None:
            expected = "an empty place"
            raise Refused([Fault("a record that holds entries or files", expected, "choose another place")])


def _copy_table(
    target: Connection, table: Table, parts: Iterator[Rows], count: int, say: Callable[[str], None]
) -> None:
    done = 0
    for rows in parts:
        target.execute(table.insert(), rows)
        done += len(rows)
        say(f"copying {table.name}: {done} of {count}")


def _read(source: Connection, name: str, table: Table, together: int) -> Iterator[Rows]:
    wanted = select(table).order_by(*table.primary_key.columns)
    with source.execute(wanted, execution_options={"yield_per": together}) as found:
        parts = found.partitions()
        while True:
            with telling(name):
                rows = next(parts, None)
            if rows is None:
                return
            yield [dict(row._mapping) for row in rows]


def check_same(source: Connection, target: Connection) -> None:
    """Refuse a copy that lacks rows of its source, or whose entries or files are not whole."""
    for table in KEPT:
        there, here = _count(source, table), _count(target, table)
        if there != here:
            raise Refused([Fault(f"a copy with {here} rows of {table.name}", f"{there} rows", "copy it again")])
    if found := list(_first(faults_of(target), MOST)):
        remedy = "`monochord record verify` names what is damaged; keep the record, and the last good backup"
        raise Refused([Fault(given, "what its hash says", remedy) for given in found])


def _count(connection: Connection, table: Table) -> int:
    return int(connection.execute(select(func.count()).select_from(table)).scalar_one())


def _first(lines: Iterator[str], most: int) -> Iterator[str]:
    for count, line in enumerate(lines):
        if count == most:
            return
        yield line


def faults_of(connection: Connection) -> Iterator[str]:
    """Entries that are not what their hashes say, and files whose bytes are not those of their name."""
    number, previous = 0, START
    for entry in entries(connection):
        if entry.number != number + 1:
            yield f"entry {entry.number} after entry {number}"
        content = content_of(entry.draft)
        if entry.content != content:
            yield f"entry {entry.number} with another content than its hash says"
        if (entry.previous, entry.hash) != (previous, chained(previous, entry.number, entry.kept_at, content)):
            yield f"entry {entry.number} that is not chained to the one before it"
        number, previous = entry.number, entry.hash
    for sha256, size in connection.execute(select(FILE.c.sha256, FILE.c.size).order_by(FILE.c.sha256)).all():
        whole, length = hashlib.sha256(), 0
        for block in blocks_of(connection, sha256):
            whole.update(block)
            length += len(block)
        if (whole.hexdigest(), length) != (sha256, size):
            yield f"the file {sha256[:16]} with other bytes than its name says"
