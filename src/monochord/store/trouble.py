"""What can go wrong with a disk or a database, told with what to do next."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, InterfaceError, OperationalError

from monochord.ground.faults import Fault, Refused

#: Part of what a driver says -> what was met, what is needed, what to do; the first that fits is told.
TOLD = (
    (
        "database or disk is full",
        "a full disk",
        "room for the entry",
        "make room and do the same again: nothing was written in part",
    ),
    (
        "no space left",
        "a full disk",
        "room for the entry",
        "make room and do the same again: nothing was written in part",
    ),
    (
        "readonly database",
        "a file that may not be written",
        "the right to write",
        "give the right, or copy the record elsewhere",
    ),
    (
        "read-only",
        "a disk that may only be read",
        "a disk that can be written",
        "mount it for writing, then do the same again",
    ),
    (
        "database is locked",
        "a record held by another program for a minute",
        "its turn to write",
        "end the other program, do it again",
    ),
    (
        "lock timeout",
        "a record held by another program for a minute",
        "its turn to write",
        "end the other program, do it again",
    ),
    (
        "unable to open",
        "a file that cannot be opened",
        "a folder that exists and may be written",
        "check the path and its rights",
    ),
    (
        "not a database",
        "a file that is no record",
        "a record of Monochord",
        "name the right file; take a damaged one from a backup",
    ),
    ("malformed", "a damaged file", "a whole record", "keep the file, and restore the last backup beside it"),
    (
        "disk i/o error",
        "a disk that fails",
        "a disk that reads and writes",
        "save what is on it; restore the last backup elsewhere",
    ),
    ("password authentication", "a refused password", "a known user", "check user and password"),
    (
        "does not exist",
        "an unknown database, user or table",
        "a record that was made",
        "check the address; make it with `record make`",
    ),
    (
        "connection",
        "no connection to the database",
        "a database that answers",
        "look whether it runs, then do the same again",
    ),
    (
        "server closed",
        "a connection that broke",
        "a database that answers",
        "do the same again: what was kept is not kept twice",
    ),
)


@contextmanager
def telling(address: str) -> Iterator[None]:
    """Turn what a driver says into a fault with the address and the next step."""
    try:
        yield
    except (OperationalError, InterfaceError) as error:
        raise Refused([fault_of(error, address)]) from error
    except DBAPIError as error:
        if error.connection_invalidated or "malformed" in str(error.orig) or "not a database" in str(error.orig):
            raise Refused([fault_of(error, address)]) from error
        raise


def fault_of(error: DBAPIError, address: str) -> Fault:
    """The fault that a driver's error means."""
    said = " ".join(str(error.orig).split())
    for part, given, expected, remedy in TOLD:
        if part in said.lower():
            return Fault(given, expected, remedy, address)
    return Fault(
        f"an error of the database ({said[:200]})", "a record that can be read and written", "check it", address
    )
