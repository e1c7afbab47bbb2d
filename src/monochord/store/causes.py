"""What the codes of SQLite and of PostgreSQL mean for the person who waits, and what to do next.

No database library is loaded here: the journal of a campaign, which works without any, tells its troubles by the same words.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from monochord.ground.faults import Fault


@dataclass(frozen=True, slots=True)
class Cause:
    """What was met, what is needed, what to do."""

    given: str
    expected: str
    remedy: str

    def at(self, place: str) -> Fault:
        """The fault at a place."""
        return Fault(self.given, self.expected, self.remedy, place)


FULL = Cause("a full disk", "room for what is written", "make room and do the same again: nothing was kept in part")
READ_ONLY = Cause(
    "a file or disk that may not be written",
    "the right to write",
    "give the right, or copy the file to a disk that can be written, then do the same again",
)
HELD = Cause(
    "a record held by another program for longer than a writer waits",
    "its turn to write",
    "end the other program, or wait for it, then do the same again: nothing was kept in part",
)
NOT_OPENED = Cause(
    "a file that cannot be opened",
    "a folder that exists and may be written",
    "check the path and its rights, then do the same again",
)
NO_DATABASE = Cause(
    "a file that is no database, or whose beginning is damaged",
    "a record",
    "name the right file; when this is the right one, keep it and restore the last backup beside it",
)
DAMAGED = Cause(
    "a damaged file",
    "a whole record",
    "keep the file; `monochord record verify` names what is damaged; restore the last backup beside it",
)
FAILS = Cause(
    "a disk that fails to read or write",
    "a disk that works",
    "save what is on it and look after the disk, then do the same again: nothing was kept in part",
)
NO_TABLE = Cause(
    "a database without a table of the record",
    "a record that was made",
    "check the address; make a record with `monochord record make`",
)
PASSWORD = Cause("a refused user or password", "a known user with its password", "check user and password")
RIGHTS = Cause("a user without the right to do this", "a user who may", "ask whoever keeps the database for the right")
UNKNOWN = Cause(
    "an unknown database or user",
    "a database that was made",
    "check the address, or let the database be made first",
)
NO_HOST = Cause("the name of a machine that nobody knows", "a machine of the network", "check the address")
NO_ANSWER = Cause(
    "no connection to the database",
    "a database that answers",
    "look whether it runs, then do the same again: what was kept is not kept twice",
)
BROKEN = Cause(
    "a connection to the database that broke",
    "a connection until the end",
    "do the same again: what was kept is not kept twice",
)
CROWDED = Cause("a database that takes no more connections", "a free one", "wait, then do the same again")

#: SQLite's primary result codes -> cause.
OF_SQLITE = {
    sqlite3.SQLITE_FULL: FULL,
    sqlite3.SQLITE_READONLY: READ_ONLY,
    sqlite3.SQLITE_PERM: READ_ONLY,
    sqlite3.SQLITE_BUSY: HELD,
    sqlite3.SQLITE_LOCKED: HELD,
    sqlite3.SQLITE_CANTOPEN: NOT_OPENED,
    sqlite3.SQLITE_NOTADB: NO_DATABASE,
    sqlite3.SQLITE_CORRUPT: DAMAGED,
    sqlite3.SQLITE_IOERR: FAILS,
}
#: PostgreSQL's codes, or their classes of two letters -> cause; the longest that fits is told.
OF_POSTGRESQL = {
    "08": BROKEN,
    "25006": READ_ONLY,
    "28": PASSWORD,
    "3D000": UNKNOWN,
    "42501": RIGHTS,
    "42P01": NO_TABLE,
    "53100": FULL,
    "53300": CROWDED,
    "55P03": HELD,
    "57P01": BROKEN,
    "57P02": BROKEN,
    "57P03": NO_ANSWER,
    "58": FAILS,
    "XX001": DAMAGED,
    "XX002": DAMAGED,
}
#: Part of what is said when no connection comes about, which has no code -> cause; the first that fits.
UNCODED = (
    ("no such table", NO_TABLE),
    ("password", PASSWORD),
    ("authentication", PASSWORD),
    ("does not exist", UNKNOWN),
    ("resolve host", NO_HOST),
    ("translate host", NO_HOST),
    ("name or service not known", NO_HOST),
    ("starting up", NO_ANSWER),
    ("shutting down", NO_ANSWER),
    ("refused", NO_ANSWER),
    ("timeout", NO_ANSWER),
    ("no such file", NO_ANSWER),
    ("connection", BROKEN),
)


def cause_of(error: BaseException) -> Cause | None:
    """The cause behind a driver's error; None when it is none of the known ones, and so a defect.

    >>> cause_of(ValueError("no number")) is None
    True
    """
    code = getattr(error, "sqlite_errorcode", None)
    if code is not None and (known := OF_SQLITE.get(code & 0xFF)):
        return known
    state = getattr(error, "sqlstate", None)
    if state is not None:
        return OF_POSTGRESQL.get(state) or OF_POSTGRESQL.get(state[:2])
    said = str(error).lower()
    return next((cause for part, cause in UNCODED if part in said), None)


def said_by(error: BaseException) -> str:
    """What a driver said, in one line of bounded length."""
    return " ".join(str(error).split())[:200]
