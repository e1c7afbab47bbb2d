"""Making a record, and bringing one of an earlier version to this one."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from importlib import resources
from pathlib import Path

from sqlalchemy import Connection, inspect, text

from monochord.ground.faults import Fault, Refused
from monochord.store.opening import PATIENCE, Record, engine_of, url_of
from monochord.store.peek import refuse_others
from monochord.store.tables import METADATA
from monochord.store.trouble import telling

#: The last step in ``migrations/versions``: what a record must have gone through to be read here.
VERSION = "0002"


def make_record(address: str, patience: float = PATIENCE) -> Record:
    """Make a record at an address where there is none; one that is there already is opened.

    Raises Refused where something else stands, and behind a network.
    """
    url = url_of(address)
    record = _of(address, patience)
    if url.drivername == "sqlite":
        path = Path(str(url.database))
        refuse_others(path, int(VERSION))
        path.parent.mkdir(parents=True, exist_ok=True)
    return _brought_up(record, make=True)


def open_record(address: str, patience: float = PATIENCE) -> Record:
    """Open the record at an address; one of an earlier version is brought to this one, and a copy of its file is left beside it.

    Raises Refused when there is no record, when it was made by a newer program, when it is the journal of a campaign, or when
    it lies behind a network; nothing is changed then.
    """
    url = url_of(address)
    record = _of(address, patience)
    if url.drivername == "sqlite":
        path = Path(str(url.database))
        if not path.is_file():
            remedy = "check the path, or make a record with `monochord record make`"
            raise Refused([Fault("no such file", "a record", remedy, str(path))])
        refuse_others(path, int(VERSION))
    return _brought_up(record, make=False)


@contextmanager
def opened(address: str) -> Iterator[Record]:
    """The record at an address for as long as one command lasts, then closed."""
    record = open_record(address)
    try:
        yield record
    finally:
        record.engine.dispose()


def _of(address: str, patience: float) -> Record:
    return Record(engine_of(address, patience), url_of(address).render_as_string(hide_password=True), patience)


def _brought_up(record: Record, *, make: bool) -> Record:
    try:
        return _at_this_version(record, make=make)
    except BaseException:
        record.engine.dispose()
        raise


def _at_this_version(record: Record, *, make: bool) -> Record:
    with record.reading() as connection:
        version = version_of(connection)
        foreign = not version and bool(others(connection))
        behind = record.is_file and connection.exec_driver_sql("PRAGMA journal_mode").scalar() != "wal"
    if version == "" and not make:
        raise Refused(
            [Fault("a database without a record", "a record", "make one with `monochord record make`", record.address)]
        )
    if foreign:
        given, expected = "a database that holds tables of something else", "an empty place, or a record"
        raise Refused([Fault(given, expected, "choose another name for the record", record.address)])
    if version not in ("", VERSION) and version not in steps():
        expected = f"a record of version {VERSION} or earlier"
        raise Refused([Fault(f"a record of version {version}", expected, "use a newer program", record.address)])
    if behind:
        _write_ahead(record)
    if version == VERSION:
        return record
    if version and record.is_file:
        copy_beside(record, version)
    with record.writing() as connection:
        upgrade(connection)
    return record


def others(connection: Connection) -> set[str]:
    """Tables that stand in the way: any in a file, those with names of ours in a database."""
    there = set(inspect(connection).get_table_names())
    return there if connection.dialect.name == "sqlite" else there & set(METADATA.tables)


def _write_ahead(record: Record) -> None:
    with telling(record.address), record.engine.connect() as connection:
        raw = connection.connection.driver_connection
        if raw is not None:
            raw.execute("PRAGMA journal_mode = WAL")  # not inside a transaction


def version_of(connection: Connection) -> str:
    """The step at which a record stands, "" when there is none."""
    if not inspect(connection).has_table("alembic_version"):
        return ""
    return str(connection.execute(text("SELECT version_num FROM alembic_version")).scalar() or "")


def steps() -> list[str]:
    """All steps, from the first."""
    from alembic.script import ScriptDirectory  # loads slowly, and a record of this version needs it not

    return [script.revision for script in reversed(list(ScriptDirectory(str(_folder())).walk_revisions()))]


def _folder() -> Path:
    return Path(str(resources.files("monochord.store").joinpath("migrations")))


def upgrade(connection: Connection) -> None:
    """Make the tables, or bring them to this version, on a connection that may write; kept with its transaction or not at all."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_folder()))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def copy_beside(record: Record, version: str) -> Path:
    """Leave a whole copy of a record's file beside it, of its last state on disk and in the log, under the version's name."""
    path = Path(str(record.engine.url.database))
    copy = path.with_name(f"{path.name}.before-{version}")
    if copy.exists():
        return copy
    part = copy.with_name(f"{copy.name}.part")
    part.unlink(missing_ok=True)
    with telling(record.address), record.engine.connect() as connection, closing(sqlite3.connect(part)) as target:
        source = connection.connection.driver_connection
        assert isinstance(source, sqlite3.Connection)
        source.backup(target)
    os.replace(part, copy)
    return copy
