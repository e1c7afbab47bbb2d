"""Tables for questions, told by the entries of the ledger; they can be built anew from it at any time."""

from __future__ import annotations

from sqlalchemy import Connection

from monochord.store.entry import Entry


def tell(connection: Connection, entry: Entry) -> None:
    """Write what one entry tells into the tables for questions; entries come in the order of their numbers."""
