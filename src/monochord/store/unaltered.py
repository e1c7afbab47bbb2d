"""Opening a record only to look at it: nothing is brought up to date, nothing is written, and odd values come as they stand."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from urllib.parse import quote

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.pool import NullPool

from monochord.ground.faults import Fault, Refused
from monochord.store.opening import PATIENCE, Record, engine_of, url_of
from monochord.store.wal import log_of


def unaltered(address: str) -> Record:
    """The record at an address, for reading alone; Refused when there is no such file."""
    url = url_of(address)
    shown = url.render_as_string(hide_password=True)
    if url.drivername != "sqlite":
        return Record(engine_of(address), shown)
    path = Path(str(url.database))
    if not path.is_file():
        raise Refused([Fault("no such file", "a record", "check the path", str(path))])
    engine_of(address)  # refuses what lies behind a network
    return Record(_engine(path), shown)


def _engine(path: Path) -> Engine:
    # where nothing can be written SQLite cannot share its memory with others: nobody writes there, so nothing changes
    still = not os.access(path.parent, os.W_OK) and not log_of(path).exists()
    where = f"file:{quote(str(path.absolute()))}?mode=ro{'&immutable=1' if still else ''}"

    def connected() -> sqlite3.Connection:
        connection = sqlite3.connect(where, uri=True, timeout=PATIENCE, isolation_level=None, check_same_thread=False)
        # letters that are none come as they stand, so that a damaged row is named and does not stop the reading
        connection.text_factory = lambda content: content.decode("utf-8", "surrogateescape")
        connection.execute("PRAGMA cell_size_check = ON")
        return connection

    engine = create_engine("sqlite://", creator=connected, poolclass=NullPool)
    event.listen(engine, "begin", _begin)
    return engine


def _begin(connection: Connection) -> None:
    connection.exec_driver_sql("BEGIN")


def header_flaw(path: Path) -> str:
    """What is wrong with the marks of a file of SQLite that say how it is written, "" when nothing is."""
    with path.open("rb") as stream:
        marks = stream.read(20)[18:]
    return "" if marks == b"\x02\x02" else f"a file whose marks for reading and writing are {marks.hex() or 'missing'}"
