"""The wait of SQLite's writers for their turn.

SQLite's own wait asks ever more seldom, so that whoever came last is served first, and one of fifty writers may wait for
minutes. Here whoever has waited longer asks more often.
"""

from __future__ import annotations

import random
import sqlite3
import time

#: Time waited [s] -> pause until the next question [s], the longest first; each is drawn between half and all of it.
PAUSES = ((10.0, 0.001), (3.0, 0.003), (1.0, 0.008), (0.0, 0.025))


def pause_after(waited: float) -> float:
    """Longest pause [s] before the next question of one who has waited so long [s].

    >>> pause_after(0.0) > pause_after(2.0) > pause_after(20.0)
    True
    """
    return next(pause for since, pause in PAUSES if waited >= since)


def begin_writing(connection: sqlite3.Connection, patience: float) -> None:
    """Begin to write as soon as nobody else does; sqlite3.OperationalError (SQLITE_BUSY) when the patience [s] is over."""
    start = time.monotonic()
    connection.execute("PRAGMA busy_timeout = 0")
    try:
        while True:
            try:
                connection.execute("BEGIN IMMEDIATE")
                return
            except sqlite3.OperationalError as error:
                waited = time.monotonic() - start
                if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or waited >= patience:
                    raise
                time.sleep(random.uniform(0.5, 1.0) * pause_after(waited))
    finally:
        connection.execute(f"PRAGMA busy_timeout = {round(patience * 1e3)}")
