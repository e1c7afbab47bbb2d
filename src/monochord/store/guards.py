"""Whether a record's tables and their guards are as this program makes them: what lets nobody change a row."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from sqlalchemy import Connection, Table, create_engine, inspect, text
from sqlalchemy.pool import StaticPool

from monochord.store.tables import KEPT, METADATA

#: What stands in a file of SQLite about its tables, indices and guards: (type, name, table, words).
Made = tuple[object, object, object, object]

_MADE = "SELECT type, name, tbl_name, sql FROM sqlite_master"
_TRIGGERS = """
SELECT c.relname, t.tgname, t.tgenabled, t.tgisinternal, pg_get_triggerdef(t.oid) AS made, p.prosrc
FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid
WHERE c.relnamespace = current_schema()::regnamespace
"""
_STAYS = " BEGIN RAISE EXCEPTION 'a row of % is never changed and never removed', TG_TABLE_NAME; END "
#: A trigger of PostgreSQL that runs in every ordinary session.
ON = ("O", "A")


@cache
def made_in_sqlite() -> frozenset[Made]:
    """What a new record of SQLite holds about its tables."""
    from monochord.store.making import upgrade  # loads Alembic

    engine = create_engine("sqlite://", poolclass=StaticPool)
    try:
        with engine.begin() as connection:
            upgrade(connection)
            return frozenset(_rows(connection))
    finally:
        engine.dispose()


def _rows(connection: Connection) -> Iterator[Made]:
    for row in connection.execute(text(_MADE)):
        yield row[0], row[1], row[2], row[3]


def unguarded(connection: Connection) -> Iterator[str]:
    """What of tables, indices and guards is missing, foreign or altered, a line each."""
    if connection.dialect.name == "sqlite":
        yield from _in_sqlite(connection)
    else:
        yield from _tables(connection)
        yield from _triggers(connection)


def _in_sqlite(connection: Connection) -> Iterator[str]:
    there = list(_rows(connection))
    right = {(kind, name): (table, words) for kind, name, table, words in made_in_sqlite()}
    for kind, name, table, words in there:
        made = right.pop((kind, name), None)
        if made is None:
            yield f"the {kind} {name} of table {table}, which the program does not make"
        elif made != (table, words):
            yield f"the {kind} {name} of table {table}, altered"
    for (kind, name), (table, _) in right.items():
        yield f"no {kind} {name} of table {table}"


def _tables(connection: Connection) -> Iterator[str]:
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    def ours(_object: object, name: str | None, kind: str, reflected: bool, _compared: object) -> bool:
        return not (kind == "table" and reflected and name not in METADATA.tables)  # others may live beside the record

    context = MigrationContext.configure(connection, opts={"compare_type": True, "include_object": ours})
    for difference in compare_metadata(context, METADATA):
        yield f"a table that is not as the program makes it: {_in_words(difference)}"
    found = inspect(connection)
    for table in METADATA.tables.values():
        if found.has_table(table.name):
            there = found.get_pk_constraint(table.name)["constrained_columns"]
            if there != [c.name for c in table.primary_key.columns]:
                yield f"the primary key of table {table.name}, altered"


def _in_words(difference: object) -> str:
    while isinstance(difference, list) and difference:
        difference = difference[0]
    return " ".join(str(part) for part in difference if part is not None)[:200] if isinstance(difference, tuple) else ""


def _triggers(connection: Connection) -> Iterator[str]:
    there = connection.execute(text(_TRIGGERS)).all()
    for row in there:
        if row.tgenabled not in ON:
            yield f"the guard {row.tgname} of table {row.relname}, switched off"
    own = {(row.relname, row.tgname): (row.made, row.prosrc) for row in there if not row.tgisinternal}
    for table in KEPT:
        made = own.pop((table.name, f"{table.name}_stays"), None)
        if made is None:
            yield f"no guard {table.name}_stays of table {table.name}"
        elif made != (_stays(table, connection), _STAYS):
            yield f"the guard {table.name}_stays of table {table.name}, altered"
    for table_name, name in own:
        if table_name in METADATA.tables:
            yield f"the guard {name} of table {table_name}, which the program does not make"


def _stays(table: Table, connection: Connection) -> str:
    schema = connection.execute(text("SELECT current_schema()")).scalar()
    return (
        f"CREATE TRIGGER {table.name}_stays BEFORE DELETE OR UPDATE OR TRUNCATE ON {schema}.{table.name} "
        "FOR EACH STATEMENT EXECUTE FUNCTION monochord_stays()"
    )
