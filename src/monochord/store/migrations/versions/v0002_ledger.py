"""The ledger of entries, and files in pieces; what the tables of version 1 held becomes entries."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = None

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the tables; the record of version 1 is taken in by ``monochord.store.making``."""
    op.create_table(
        "entry",
        sa.Column("number", NUMBER, autoincrement=False),
        sa.Column("id", sa.String(64), nullable=False),
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("subject", sa.String(200), nullable=False),
        sa.Column("made_at", sa.String(40), nullable=False),
        sa.Column("made_by", sa.String(200), nullable=False),
        sa.Column("device", sa.String(200), nullable=False),
        sa.Column("replaces", sa.String(64)),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("content", sa.String(64), nullable=False),
        sa.Column("kept_at", sa.String(40), nullable=False),
        sa.Column("previous", sa.String(64), nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_entry"),
        sa.UniqueConstraint("id", name="uq_entry_id"),
        sa.UniqueConstraint("replaces", name="uq_entry_replaces"),
        sa.UniqueConstraint("hash", name="uq_entry_hash"),
        sa.ForeignKeyConstraint(["replaces"], ["entry.id"], name="fk_entry_replaces"),
    )
    op.create_index("ix_entry_subject_number", "entry", ["subject", "number"])
    op.create_index("ix_entry_kind_number", "entry", ["kind", "number"])
    op.create_table(
        "piece",
        sa.Column("sha256", sa.String(64)),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_piece"),
    )
    op.create_table(
        "file",
        sa.Column("sha256", sa.String(64)),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_file"),
    )
    op.create_table(
        "part",
        sa.Column("sha256", sa.String(64)),
        sa.Column("place", sa.Integer()),
        sa.Column("piece", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("sha256", "place", name="pk_part"),
        sa.ForeignKeyConstraint(["sha256"], ["file.sha256"], name="fk_part_sha256"),
        sa.ForeignKeyConstraint(["piece"], ["piece.sha256"], name="fk_part_piece"),
    )
    for statement in _GUARDS[op.get_bind().dialect.name]:
        op.execute(statement)


def _sqlite(table: str, deed: str) -> str:
    said = f"SELECT RAISE(ABORT, 'a row of {table} is never changed or removed')"
    return f"CREATE TRIGGER {table}_{deed.lower()} BEFORE {deed} ON {table} BEGIN {said}; END"


# written out and not taken from the program: a step says for ever what it did on the day it was made
_TABLES = ("entry", "file", "part", "piece")
_GUARDS = {
    "sqlite": [_sqlite(table, deed) for table in _TABLES for deed in ("UPDATE", "DELETE")],
    "postgresql": [
        "CREATE OR REPLACE FUNCTION monochord_stays() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'a row of % is never changed and never removed', TG_TABLE_NAME; END $$",
        *(
            f"CREATE TRIGGER {table}_stays BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION monochord_stays()"
            for table in _TABLES
        ),
    ],
}
