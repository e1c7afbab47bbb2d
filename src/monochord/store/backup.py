"""A backup of a record in one file, taken while others write; and a record made from a backup.

A backup is itself a record in a file of SQLite, whichever database it was taken from. It is written beside its name
and gets the name when it is whole: whatever breaks off leaves no backup rather than half of one.
"""

from __future__ import annotations

import os
import secrets
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL
from sqlalchemy.pool import NullPool

from monochord.ground.faults import Fault, Refused
from monochord.store.copying import copy_all
from monochord.store.making import VERSION, open_record, others, upgrade, version_of
from monochord.store.opening import Record, engine_of, url_of
from monochord.store.peek import refuse_others
from monochord.store.trouble import telling

#: How the unfinished file beside a backup ends; one that is left over after a power failure may be deleted.
UNFINISHED = ".unfinished"


@dataclass(frozen=True, slots=True)
class Copied:
    """Where the copy is, and number and hash of its last entry."""

    place: str
    number: int
    hash: str


def back_up(record: Record, path: Path, say: Callable[[str], None]) -> Copied:
    """Copy the state that the record has now into a new file, while others go on writing; checked before it has its name.

    Raises Refused when the file is there already, and when the record is damaged.
    """
    _refuse_there(path)
    with record.reading() as source, _beside(path) as part:
        with _alone(part) as target, target.begin() as connection:
            upgrade(connection)
            number, digest = copy_all(source, record.address, connection, say)
        _named(part, path)
    return Copied(str(path), number, digest)


def restore(path: Path, address: str, say: Callable[[str], None]) -> Copied:
    """Make a record at an address from a backup; the place must be empty, and the backup stays as it is.

    A backup of an earlier version is brought to this one on the way.

    Raises Refused when the place is taken, when the file is no backup, or a damaged one.
    """
    if not path.is_file():
        raise Refused([Fault("no such file", "a backup", "check the path", str(path))])
    refuse_others(path, int(VERSION))
    url = url_of(address)
    if url.drivername == "sqlite":
        return _into_file(path, Path(str(url.database)), address, say)
    return _into_database(path, address, say)


def _into_file(path: Path, place: Path, address: str, say: Callable[[str], None]) -> Copied:
    engine_of(address)  # refuses a folder behind a network, before anything is written
    _refuse_there(place)
    place.parent.mkdir(parents=True, exist_ok=True)
    with _beside(place) as part:
        with _source(path, place.parent) as source, _alone(part) as target, target.begin() as connection:
            upgrade(connection)
            number, digest = copy_all(source, str(path), connection, say)
        _named(part, place)
    open_record(address).engine.dispose()  # with its write-ahead log, as it will be used
    return Copied(address, number, digest)


def _into_database(path: Path, address: str, say: Callable[[str], None]) -> Copied:
    url = url_of(address)
    record = Record(engine_of(address), url.render_as_string(hide_password=True))
    try:
        with tempfile.TemporaryDirectory(prefix="monochord-") as room, _source(path, Path(room)) as source:
            number, digest = _filled(source, str(path), record, say)
    finally:
        record.engine.dispose()
    return Copied(record.address, number, digest)


def _filled(source: Connection, name: str, record: Record, say: Callable[[str], None]) -> tuple[int, str]:
    """Tables and rows in one transaction: the whole record, or the database as it was."""
    with record.writing() as connection:
        version = version_of(connection)
        if version not in ("", VERSION) or (not version and others(connection)):
            raise Refused(
                [Fault("a database that holds something", "an empty place", "choose another one", record.address)]
            )
        upgrade(connection)
        return copy_all(source, name, connection, say)


def _refuse_there(path: Path) -> None:
    for there in (path, path.with_name(f"{path.name}-wal"), path.with_name(f"{path.name}-shm")):
        if there.exists() or there.is_symlink():
            raise Refused([Fault("a file that is there already", "a new name", "choose another name", str(there))])
    if path.parent.exists() and not path.parent.is_dir():
        raise Refused([Fault("a file where a folder is needed", "a folder", "choose another name", str(path.parent))])


@contextmanager
def _beside(path: Path) -> Iterator[Path]:
    """A new empty file in the same folder, which goes again unless it got its name."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(f"{path.name}.{secrets.token_hex(4)}{UNFINISHED}")
        os.close(
            os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666)
        )  # rights as of any file that a person makes
    except OSError as error:
        raise Refused([_unwritten(error, path)]) from error
    try:
        yield part
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def _named(part: Path, path: Path) -> None:
    """Give a whole file its name, so that both stay when the power fails now."""
    try:
        _flushed(part)
        _refuse_there(path)
        os.rename(part, path)
        if os.name == "posix":
            _flushed(path.parent)
    except OSError as error:
        raise Refused([_unwritten(error, path)]) from error


def _flushed(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _unwritten(error: OSError, path: Path) -> Fault:
    given = f"a file that cannot be written ({error.strerror or error})"
    return Fault(given, "room and the right to write", "see to both, then do the same again", str(path))


@contextmanager
def _alone(part: Path) -> Iterator[Engine]:
    """An engine on a file that nobody else knows: without a log, since the file goes when anything breaks off.

    So it may lie in a folder behind a network, where a record that is written to may not.
    """
    engine = create_engine(
        URL.create("sqlite", database=str(part)), connect_args={"isolation_level": None}, poolclass=NullPool
    )
    for happening, deed in (("connect", _unlogged), ("begin", _begun)):
        event.listen(engine, happening, deed)
    try:
        with telling(str(part)):
            yield engine
    finally:
        engine.dispose()


def _unlogged(connection: sqlite3.Connection, _: object) -> None:
    for pragma in ("foreign_keys = ON", "journal_mode = MEMORY", "synchronous = OFF"):
        connection.execute(f"PRAGMA {pragma}")


def _begun(connection: Connection) -> None:
    connection.exec_driver_sql("BEGIN")


@contextmanager
def _source(path: Path, room: Path) -> Iterator[Connection]:
    """A connection that only reads a backup; one of an earlier version is copied and the copy is brought to this version."""
    with _reading_only(path) as connection:
        version = version_of(connection)
        if version == VERSION:
            yield connection
            return
    if not version:
        given = "a database without a record"
        raise Refused([Fault(given, "a backup of a record", "name the right file", str(path))])
    with _beside(room / path.name) as copy:
        where = f"{path.resolve().as_uri()}?mode=ro"
        with closing(sqlite3.connect(where, uri=True)) as old, closing(sqlite3.connect(copy)) as new:
            old.backup(new)
        brought = open_record(str(copy))
        try:
            with brought.reading() as connection:
                yield connection
        finally:
            brought.engine.dispose()
            for left in room.glob(f"{copy.name}*"):
                left.unlink(missing_ok=True)


@contextmanager
def _reading_only(path: Path) -> Iterator[Connection]:
    engine = create_engine(
        "sqlite://",
        creator=lambda: sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, isolation_level=None),
        poolclass=NullPool,
    )
    event.listen(engine, "begin", _begun)
    try:
        with telling(str(path)), engine.connect() as connection, connection.begin():
            yield connection
    finally:
        engine.dispose()
