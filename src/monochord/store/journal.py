"""The record of one campaign in SQLite: append-only, one row a run, with its inputs and its whole document.

Triggers refuse every update and delete, so the file tells what was found then even to somebody who
holds other numbers now. A run with the inputs and the code of an earlier one must give its numbers;
whether it did is said each time.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from monochord.ground.faults import Fault, Refused

#: How long a run waits for another that writes into the same file [s].
PATIENCE = 60.0
#: Version of the tables below; a file of another version is refused, never altered on sight.
TABLES_VERSION = 1

_TABLES = """
CREATE TABLE run (
    number INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    made_at TEXT NOT NULL,
    made_by TEXT NOT NULL,
    code TEXT NOT NULL,
    inputs TEXT NOT NULL,
    numbers TEXT NOT NULL,
    document TEXT NOT NULL
);
CREATE TABLE input (
    run INTEGER NOT NULL REFERENCES run (number),
    path TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    PRIMARY KEY (run, path)
);
CREATE TRIGGER run_stays BEFORE UPDATE ON run BEGIN SELECT RAISE(ABORT, 'a run in the record is never changed'); END;
CREATE TRIGGER run_kept BEFORE DELETE ON run BEGIN SELECT RAISE(ABORT, 'a run in the record is never removed'); END;
CREATE TRIGGER input_stays BEFORE UPDATE ON input BEGIN SELECT RAISE(ABORT, 'an input in the record is never changed'); END;
CREATE TRIGGER input_kept BEFORE DELETE ON input BEGIN SELECT RAISE(ABORT, 'an input in the record is never removed'); END;
"""

#: Parts of a document that belong to the run and not to its numbers.
OF_THE_RUN = ("run", "versions")


@dataclass(frozen=True, slots=True)
class Kept:
    """A run in the record.

    number  counts from 1;  id, made_at, made_by  as in the document's origin;  code  sha256 of the program's source
    inputs, numbers  sha256 over the inputs' checksums, and over the document without what belongs to the run
    """

    number: int
    id: str
    made_at: str
    made_by: str
    code: str
    inputs: str
    numbers: str


@dataclass(frozen=True, slots=True)
class Entry:
    """What one run brings to the record; ``document`` is the whole result document as text."""

    id: str
    made_at: str
    made_by: str
    code: str
    inputs: Mapping[str, str]
    document: str


def numbers_digest(document: str) -> str:
    """sha256 over a document without what belongs to the run (its id, time and version).

    >>> numbers_digest('{"run": 1, "a": 2}') == numbers_digest('{"a": 2, "run": 9}')
    True
    """
    parts = {key: value for key, value in json.loads(document).items() if key not in OF_THE_RUN}
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


def inputs_digest(inputs: Mapping[str, str]) -> str:
    """sha256 over path and checksum of every input, in order of path."""
    lines = "\n".join(f"{path} {digest}" for path, digest in sorted(inputs.items()))
    return hashlib.sha256(lines.encode()).hexdigest()


@contextmanager
def opened(path: Path) -> Iterator[sqlite3.Connection]:
    """The record in this file, made when it is new; one transaction, undone when anything goes wrong."""
    try:
        connection = sqlite3.connect(path, timeout=PATIENCE)
        try:
            _prepare(connection, path)
            with connection:
                yield connection
        finally:
            connection.close()
    except sqlite3.DatabaseError as error:
        raise Refused([_fault_of(error, path)]) from error


def _fault_of(error: sqlite3.DatabaseError, path: Path) -> Fault:
    from monochord.store.causes import cause_of, said_by

    if cause := cause_of(error):
        return cause.at(str(path))
    remedy = "check the disk and the file; keep the old file"
    return Fault(said_by(error), "a record that can be read and written", remedy, str(path))


def _prepare(connection: sqlite3.Connection, path: Path) -> None:
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if version == TABLES_VERSION:
        return
    if version != 0:
        remedy = "give the record of a fleet another name or folder; a journal of a later version needs a newer program"
        given = f"a record of version {version}"
        raise Refused([Fault(given, f"the journal of a campaign, version {TABLES_VERSION}", remedy, str(path))])
    if connection.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone() is not None:
        if connection.execute("PRAGMA user_version").fetchone()[0] == TABLES_VERSION:
            return  # another run made the tables just now
        given, expected = "a database that holds something else", "the journal of a campaign, or no file"
        raise Refused([Fault(given, expected, "give that file another name", str(path))])
    try:
        connection.executescript(f"BEGIN IMMEDIATE; {_TABLES} PRAGMA user_version = {TABLES_VERSION}; COMMIT;")
    except sqlite3.OperationalError:
        connection.rollback()
        if connection.execute("PRAGMA user_version").fetchone()[0] != TABLES_VERSION:
            raise  # else another run made the tables at the same moment


def append(path: Path, entry: Entry) -> tuple[Kept, Kept | None]:
    """Add a run; gives it as kept, and the last earlier run with the same inputs and the same code, if there is one."""
    inputs, numbers = inputs_digest(entry.inputs), numbers_digest(entry.document)
    with opened(path) as connection:
        earlier = [k for k in _runs(connection) if k.inputs == inputs and k.code == entry.code]
        row = (entry.id, entry.made_at, entry.made_by, entry.code, inputs, numbers, entry.document)
        cursor = connection.execute(
            "INSERT INTO run (id, made_at, made_by, code, inputs, numbers, document) VALUES (?, ?, ?, ?, ?, ?, ?)", row
        )
        number = int(cursor.lastrowid or 0)
        connection.executemany(
            "INSERT INTO input VALUES (?, ?, ?)", [(number, p, d) for p, d in sorted(entry.inputs.items())]
        )
    return Kept(number, *row[:6]), (earlier[-1] if earlier else None)


def runs(path: Path) -> Sequence[Kept]:
    """All runs in the record, oldest first."""
    with opened(path) as connection:
        return _runs(connection)


def _runs(connection: sqlite3.Connection) -> list[Kept]:
    rows = connection.execute("SELECT number, id, made_at, made_by, code, inputs, numbers FROM run ORDER BY number")
    return [Kept(*row) for row in rows]


def document_of(path: Path, run: int) -> str:
    """The whole document of one run."""
    with opened(path) as connection:
        row = connection.execute("SELECT document FROM run WHERE number = ?", (run,)).fetchone()
    if row is None:
        raise Refused([Fault(f"run {run}", "a run that is in the record", "list the runs first", str(path))])
    return str(row[0])


def differences(one: str, other: str, most: int = 20) -> list[str]:
    """Where two documents differ, as paths with both values, at most ``most`` of them; what belongs to the run is passed over.

    >>> differences('{"a": {"x": 1.0}, "run": 1}', '{"a": {"x": 1.5}, "run": 2}')
    ['a.x: 1.0 then, 1.5 now']
    """
    found: list[str] = []
    a, b = (json.loads(text) for text in (one, other))
    for key in OF_THE_RUN:
        a.pop(key, None)
        b.pop(key, None)
    _compare(a, b, "", found)
    return found[:most] + ([f"and {len(found) - most} more"] if len(found) > most else [])


def _compare(a: object, b: object, place: str, found: list[str]) -> None:
    if isinstance(a, dict) and isinstance(b, dict):
        for key in sorted({*a, *b}):
            _compare(a.get(key), b.get(key), f"{place}.{key}" if place else str(key), found)
    elif isinstance(a, list) and isinstance(b, list) and len(a) == len(b):
        for i, (x, y) in enumerate(zip(a, b, strict=True)):
            _compare(x, y, f"{place}[{i}]", found)
    elif a != b:
        found.append(f"{place}: {_short(a)} then, {_short(b)} now")


def _short(value: object) -> str:
    text = json.dumps(value)
    return text if len(text) <= 40 else text[:37] + "..."
