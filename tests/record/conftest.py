"""A record to test on: every test that takes ``record`` or ``address`` runs on SQLite and on PostgreSQL."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.engine import make_url

from monochord.store.making import make_record
from monochord.store.opening import Record, url_of


def _programs() -> Path | None:
    """Folder of PostgreSQL's programs, the newest that is installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    on_path = shutil.which("initdb")
    return found[-1].parent if found else Path(on_path).parent if on_path else None


def _as_server(*command: str) -> None:
    """Run a program of PostgreSQL, which refuses to run as root."""
    user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
    subprocess.run([*user, *command], check=True, capture_output=True, stdin=subprocess.DEVNULL)


def _free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """URL of a PostgreSQL server: that of MONOCHORD_POSTGRES, else one started for these tests; skipped without one, not in CI."""
    if given := os.environ.get("MONOCHORD_POSTGRES"):
        yield given
        return
    programs = _programs()
    if programs is None:
        if os.environ.get("CI"):
            pytest.fail("PostgreSQL must be installed in CI")
        pytest.skip("PostgreSQL is not installed here")
    place, port = Path("/tmp") / f"monochord-pg-{uuid.uuid4().hex[:8]}", _free_port()
    place.mkdir()
    if os.geteuid() == 0:
        shutil.chown(place, "postgres")
    _as_server(
        str(programs / "initdb"), "-D", str(place / "data"), "-A", "trust", "-U", "monochord", "--no-sync", "-E", "UTF8"
    )
    options = f"-p {port} -k {place} -c listen_addresses=127.0.0.1 -c fsync=off"
    _as_server(
        str(programs / "pg_ctl"), "-D", str(place / "data"), "-o", options, "-l", str(place / "log"), "-w", "start"
    )
    try:
        yield f"postgresql://monochord@127.0.0.1:{port}/postgres"
    finally:
        _as_server(str(programs / "pg_ctl"), "-D", str(place / "data"), "-m", "immediate", "stop")
        shutil.rmtree(place, ignore_errors=True)


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Address of a place for a record where there is none yet."""
    if request.param == "sqlite":
        yield str(tmp_path / "record.sqlite")
        return
    base = make_url(request.getfixturevalue("server"))
    name = f"test_{uuid.uuid4().hex}"
    engine = create_engine(url_of(base.render_as_string(hide_password=False)), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f'CREATE DATABASE "{name}"'))
    try:
        yield base.set(database=name).render_as_string(hide_password=False)
    finally:
        with engine.connect() as connection:
            connection.execute(text(f'DROP DATABASE "{name}" WITH (FORCE)'))
        engine.dispose()


@pytest.fixture
def record(address: str) -> Iterator[Record]:
    """An empty record."""
    made = make_record(address)
    yield made
    made.engine.dispose()
