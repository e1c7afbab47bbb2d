"""A PostgreSQL server of one's own, to be stopped, killed and started again."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import create_engine, text
from sqlalchemy.engine import make_url

from monochord.store.opening import url_of


def programs() -> Path | None:
    """Folder of PostgreSQL's programs, the newest that is installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    on_path = shutil.which("initdb")
    return found[-1].parent if found else Path(on_path).parent if on_path else None


@dataclass(frozen=True, slots=True)
class Server:
    """Where a server's programs and data are, and on which port it listens."""

    programs: Path
    place: Path
    port: int

    @property
    def url(self) -> str:
        """Address of the database that every server has."""
        return f"postgresql://monochord@127.0.0.1:{self.port}/postgres"

    def start(self) -> None:
        """Start it and wait until it answers."""
        options = f"-p {self.port} -k {self.place} -c listen_addresses=127.0.0.1 -c fsync=off"
        self._run("pg_ctl", "-D", self.data, "-o", options, "-l", str(self.place / "log"), "-w", "start")

    def stop(self) -> None:
        """Stop it at once, as if its machine had been switched off."""
        self._run("pg_ctl", "-D", self.data, "-m", "immediate", "-w", "stop")

    def kill(self) -> None:
        """Kill its first process and all it had started, with signal 9."""
        first = int((self.place / "data" / "postmaster.pid").read_text().split()[0])
        children = Path(f"/proc/{first}/task/{first}/children").read_text().split()
        for process in (first, *map(int, children)):
            os.kill(process, signal.SIGKILL)
        # where nobody clears dead processes away, its number still looks alive to whoever starts it next
        for mark in (self.place / "data" / "postmaster.pid", *self.place.glob(".s.*.lock")):
            mark.unlink()

    def make(self) -> None:
        """Make its folder."""
        self.place.mkdir()
        if os.geteuid() == 0:
            shutil.chown(self.place, "postgres")
        self._run("initdb", "-D", self.data, "-A", "trust", "-U", "monochord", "--no-sync", "-E", "UTF8")

    @property
    def data(self) -> str:
        """Folder of its data."""
        return str(self.place / "data")

    def _run(self, program: str, *arguments: str) -> None:
        """Run a program of PostgreSQL, which refuses to run as root."""
        user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        command = [*user, str(self.programs / program), *arguments]
        subprocess.run(command, check=True, capture_output=True, stdin=subprocess.DEVNULL)


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


@contextmanager
def own_server() -> Iterator[Server]:
    """A server that runs, and is gone afterwards; FileNotFoundError where PostgreSQL is not installed."""
    found = programs()
    if found is None:
        raise FileNotFoundError("PostgreSQL is not installed here")
    server = Server(found, Path("/tmp") / f"monochord-pg-{uuid.uuid4().hex[:8]}", free_port())
    server.make()
    server.start()
    try:
        yield server
    finally:
        with suppress(subprocess.CalledProcessError):  # stopped already
            server.stop()
        shutil.rmtree(server.place, ignore_errors=True)


def database(url: str) -> str:
    """Address of a new database on a server."""
    name = f"test_{uuid.uuid4().hex}"
    engine = create_engine(url_of(url), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f'CREATE DATABASE "{name}"'))
    engine.dispose()
    return make_url(url).set(database=name).render_as_string(hide_password=False)
