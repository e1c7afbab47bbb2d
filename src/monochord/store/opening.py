"""Opening a record by its address: a file of SQLite, or a PostgreSQL database of a team."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError
from sqlalchemy.pool import NullPool

from monochord.ground.faults import Fault, Refused
from monochord.store.place import network_of
from monochord.store.trouble import telling
from monochord.store.turn import begin_writing

#: How long a writer waits for another one [s].
PATIENCE = 60
#: The lock under which entries of a PostgreSQL record get their numbers: the word "record" as a number.
LOCK = int.from_bytes(b"record", "big")


@dataclass(frozen=True, slots=True)
class Record:
    """An open record: its engine, its address as it may be printed, without a password, and how long its writers wait [s]."""

    engine: Engine
    address: str
    patience: float = PATIENCE

    @property
    def is_file(self) -> bool:
        """Whether it is a file of SQLite."""
        return self.engine.dialect.name == "sqlite"

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection that sees one state of the record for as long as it lives."""
        with telling(self.address), self.engine.connect() as connection, connection.begin():
            if not self.is_file:
                connection.execute(text("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY"))
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A connection that alone may write, until it ends; all it wrote is kept then, or nothing."""
        with telling(self.address), self.engine.connect() as bare:
            connection = bare.execution_options(writes=True)
            with connection.begin():
                if not self.is_file:
                    connection.execute(text(f"SET LOCAL lock_timeout = {max(1, round(self.patience * 1e3))}"))
                    connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": LOCK})
                yield connection


def url_of(address: str) -> URL:
    """The address as a URL: a path is a file of SQLite, ``postgresql://`` goes through psycopg.

    >>> url_of("ring.sqlite").render_as_string()
    'sqlite:///ring.sqlite'
    >>> url_of("postgresql://host/ring").drivername
    'postgresql+psycopg'
    """
    if "://" not in address:
        return URL.create("sqlite", database=address)
    try:
        url = make_url(address)
    except ArgumentError:
        raise _no_address(address) from None
    if url.drivername in ("postgresql", "postgres"):
        return url.set(drivername="postgresql+psycopg")
    if url.drivername not in ("sqlite", "postgresql+psycopg") or not url.database:
        raise _no_address(f"{url.drivername}://")
    return url


def _no_address(given: str) -> Refused:
    expected = "a path of a file, or postgresql://USER@HOST/DATABASE"
    return Refused([Fault(f"the address {given!r}", expected, "write the address of the record so")])


def engine_of(address: str, patience: float = PATIENCE) -> Engine:
    """The engine behind an address; nothing is opened yet. ``patience`` [s] bounds the wait for another writer.

    Raises Refused for a file in a folder behind a network, where SQLite is not safe.
    """
    url = url_of(address)
    if url.drivername != "sqlite":
        import psycopg  # only a team's record needs it

        return create_engine(url, module=psycopg, pool_pre_ping=True, connect_args={"connect_timeout": 10})
    path = Path(str(url.database))
    if network := network_of(path):
        raise Refused(
            [
                Fault(
                    f"a folder behind a network ({network})",
                    "a folder of this machine: several machines writing one SQLite file there lose entries",
                    "keep the record on a local disk, or use PostgreSQL for several machines",
                    str(path),
                )
            ]
        )
    # no pool: a file is opened in no time, and a connection kept open would hold its lock files
    engine = create_engine(url, connect_args={"timeout": patience, "isolation_level": None}, poolclass=NullPool)
    event.listen(engine, "connect", _set_up)

    def begin(connection: Connection) -> None:
        raw = connection.connection.driver_connection
        if connection.get_execution_options().get("writes") and isinstance(raw, sqlite3.Connection):
            begin_writing(raw, patience)
        else:
            connection.exec_driver_sql("BEGIN")

    event.listen(engine, "begin", begin)
    return engine


def _set_up(connection: object, _: object) -> None:
    cursor = connection.cursor()  # type: ignore[attr-defined]  # the driver's own connection
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.execute("PRAGMA synchronous = FULL")  # what was acknowledged stays, also when the power fails
    # pages of a write stay in memory up to so many [pages of 4 KiB], so that the log gets each of them once and in order
    cursor.execute("PRAGMA cache_spill = 20000")
    cursor.close()
