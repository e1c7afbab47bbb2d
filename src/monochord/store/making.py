"""Making a record, and bringing one of an earlier version to this one."""

from __future__ import annotations

import shutil
from importlib import resources
from pathlib import Path

from sqlalchemy import Connection, inspect, text

from monochord.ground.faults import Fault, Refused
from monochord.store.opening import PATIENCE, Record, engine_of, url_of

#: The last step in ``migrations/versions``: what a record must have gone through to be read here.
VERSION = "0002"


def make_record(address: str, patience: float = PATIENCE) -> Record:
    """Make a record at an address where there is none; one that is there already is opened."""
    url = url_of(address)
    if url.drivername == "sqlite":
        Path(str(url.database)).parent.mkdir(parents=True, exist_ok=True)
    return _brought_up(_of(address, patience), make=True)


def open_record(address: str, patience: float = PATIENCE) -> Record:
    """Open the record at an address; one of an earlier version is brought to this one, and a copy of its file is left beside it.

    Raises Refused when there is no record, when it was made by a newer program, or when it lies behind a network.
    """
    url = url_of(address)
    if url.drivername == "sqlite" and not Path(str(url.database)).is_file():
        remedy = "check the path, or make a record with `monochord record make`"
        raise Refused([Fault("no such file", "a record", remedy, str(url.database))])
    return _brought_up(_of(address, patience), make=False)


def _of(address: str, patience: float) -> Record:
    return Record(engine_of(address, patience), url_of(address).render_as_string(hide_password=True), patience)


def _brought_up(record: Record, *, make: bool) -> Record:
    with record.reading() as connection:
        version = version_of(connection)
    if version == VERSION:
        return record
    if version == "" and not make:
        raise Refused(
            [Fault("a database without a record", "a record", "make one with `monochord record make`", record.address)]
        )
    if version not in ("", *steps()):
        expected = f"a record of version {VERSION} or earlier"
        raise Refused([Fault(f"a record of version {version}", expected, "use a newer program", record.address)])
    if version and record.is_file:
        _copy_beside(record, version)
    with record.writing() as connection:
        _upgrade(connection)
    return record


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


def _upgrade(connection: Connection) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_folder()))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def _copy_beside(record: Record, version: str) -> None:
    path = Path(str(record.engine.url.database))
    copy = path.with_name(f"{path.name}.before-{version}")
    if not copy.exists():
        shutil.copyfile(path, copy)
