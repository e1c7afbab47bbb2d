"""Telling the tables for questions anew, and holding them against what the ledger tells."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from sqlalchemy import Connection, Engine, Row, Table, create_engine, delete, select
from sqlalchemy.pool import NullPool

from monochord.store.ledger import entries
from monochord.store.tables import METADATA
from monochord.store.tables_told import TOLD
from monochord.store.told import tell

#: So many differences are told of each table.
MOST = 5


def rebuild(connection: Connection) -> int:
    """Empty the tables for questions and tell them anew; gives the number of entries that told them."""
    for table in TOLD:
        connection.execute(delete(table))
    count = 0
    for entry in entries(connection):
        tell(connection, entry)
        count += 1
    return count


def told_differs(connection: Connection) -> list[str]:
    """Where the tables for questions say something else than the ledger tells; empty when they agree.

    Nothing is written to the record: the ledger is told anew into a database of its own, which goes when this ends.
    """
    with _elsewhere().begin() as anew:
        METADATA.create_all(anew, tables=list(TOLD))
        for entry in entries(connection):
            tell(anew, entry, connection)
        return [line for table in TOLD for line in _differences(connection, anew, table)]


@cache
def _elsewhere() -> Engine:
    """Memory of its own for each connection; one engine, so that statements are put into words once."""
    return create_engine("sqlite://", poolclass=NullPool, connect_args={"isolation_level": None})


def _differences(there: Connection, anew: Connection, table: Table) -> Iterator[str]:
    """Rows that only one side has, or that differ, at most :data:`MOST` and then their count."""
    keys = len(table.primary_key.columns)
    wanted = select(*table.primary_key.columns, *(c for c in table.c if not c.primary_key))
    one, other = ({tuple(row)[:keys]: row for row in c.execute(wanted)} for c in (there, anew))
    differing = [key for key in sorted({*one, *other}) if _as_told(one.get(key)) != _as_told(other.get(key))]
    for key in differing[:MOST]:
        yield f"table {table.name}, row {', '.join(map(str, key))}: {_said(one.get(key), other.get(key))}"
    if len(differing) > MOST:
        yield f"table {table.name}: {len(differing) - MOST} more rows differ"


def _as_told(row: Row[tuple[object, ...]] | None) -> tuple[str, ...] | None:
    # by their spelling: 0.0 and -0.0, or 1 and 1.0, are not the same
    return None if row is None else tuple(map(repr, row))


def _said(there: Row[tuple[object, ...]] | None, anew: Row[tuple[object, ...]] | None) -> str:
    if there is None:
        return "missing, though the ledger tells it"
    if anew is None:
        return "there, though the ledger tells nothing of it"
    columns = [n for n, a, b in zip(there._fields, there, anew, strict=True) if repr(a) != repr(b)]
    return f"{', '.join(columns)} not as the ledger tells"
