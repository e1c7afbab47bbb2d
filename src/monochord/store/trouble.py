"""What can go wrong with a disk or a database, told with what to do next."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, InterfaceError, OperationalError

from monochord.ground.faults import Fault, Refused
from monochord.store.causes import DAMAGED, cause_of, said_by


@contextmanager
def telling(address: str) -> Iterator[None]:
    """Turn what a driver says into a fault with the address and the next step; a defect of the program stays one."""
    try:
        yield
    except UnicodeDecodeError as error:  # what SQLite said quotes letters of a damaged file
        raise Refused([DAMAGED.at(address)]) from error
    except sqlite3.OperationalError as error:  # from the wait for a turn, below SQLAlchemy
        cause = cause_of(error)
        if cause is None:
            raise
        raise Refused([cause.at(address)]) from error
    except DBAPIError as error:
        fault = fault_of(error, address)
        if fault is None:
            raise
        raise Refused([fault]) from error


def fault_of(error: DBAPIError, address: str) -> Fault | None:
    """The fault that a driver's error means; None when neither disk nor database is to blame."""
    if error.orig is None:
        return None
    trouble = error.connection_invalidated or isinstance(error, OperationalError | InterfaceError)
    coded = hasattr(error.orig, "sqlite_errorcode") or getattr(error.orig, "sqlstate", None) is not None
    if (trouble or coded) and (cause := cause_of(error.orig)):
        return cause.at(address)
    if not trouble:
        return None
    given = f"an error of the database ({said_by(error.orig)})"
    return Fault(given, "a record that can be read and written", "look after the database, then again", address)
