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
    if op.get_bind().dialect.name == "sqlite":
        op.execute("PRAGMA user_version = 2")  # programs that know only the journal of a campaign refuse it by this
    _tables_for_questions()


def _tables_for_questions() -> None:
    op.create_table(
        "girder",
        sa.Column("name", sa.Text()),
        sa.Column("type", sa.Text(), nullable=False),
        sa.Column("judged", sa.Text(), nullable=False),
        sa.Column("entry", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_girder"),
    )
    op.create_table(
        "magnet",
        sa.Column("serial", sa.Text()),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("entry", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("serial", name="pk_magnet"),
    )
    op.create_table(
        "placed",
        sa.Column("entry", sa.String(64)),
        sa.Column("serial", sa.Text(), nullable=False),
        sa.Column("girder", sa.Text(), nullable=False),
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("since", sa.String(40), nullable=False),
        sa.Column("until", sa.String(40), nullable=False),
        sa.PrimaryKeyConstraint("entry", name="pk_placed"),
    )
    op.create_index("ix_placed_girder_position", "placed", ["girder", "position"])
    op.create_index("ix_placed_serial_since", "placed", ["serial", "since"])
    op.create_table(
        "instrument",
        sa.Column("name", sa.Text()),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("serial", sa.Text(), nullable=False),
        sa.Column("entry", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_instrument"),
    )
    op.create_table(
        "calibration",
        sa.Column("entry", sa.String(64)),
        sa.Column("instrument", sa.Text(), nullable=False),
        sa.Column("made_on", sa.String(40), nullable=False),
        sa.Column("valid_until", sa.String(40), nullable=False),
        sa.Column("certificate", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("entry", name="pk_calibration"),
    )
    op.create_index("ix_calibration_instrument_valid_until", "calibration", ["instrument", "valid_until"])
    op.create_table(
        "person",
        sa.Column("name", sa.Text()),
        sa.Column("roles", sa.Text(), nullable=False),
        sa.Column("entry", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_person"),
    )
    op.create_table(
        "occasion",
        sa.Column("girder", sa.Text()),
        sa.Column("name", sa.Text()),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("first", NUMBER, nullable=False),
        sa.Column("known_at", sa.String(40), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("timed_by", sa.Text(), nullable=False),
        sa.Column("run", sa.String(64), nullable=False),
        sa.Column("judged", sa.Integer(), nullable=False),
        sa.Column("entry", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("girder", "name", name="pk_occasion"),
    )
    op.create_index("ix_occasion_girder_at_first", "occasion", ["girder", "at", "first"])
    op.create_table(
        "run",
        sa.Column("id", sa.String(64)),
        sa.Column("number", NUMBER, nullable=False),
        sa.Column("girder", sa.Text(), nullable=False),
        sa.Column("made_at", sa.String(40), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("code", sa.String(64), nullable=False),
        sa.Column("document", sa.String(64), nullable=False),
        sa.Column("sentence", sa.Text(), nullable=False),
        sa.Column("signatures", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_run"),
    )
    op.create_index("ix_run_girder_made_at_number", "run", ["girder", "made_at", "number"])
    op.create_table(
        "verdict",
        sa.Column("girder", sa.Text()),
        sa.Column("occasion", sa.Text()),
        sa.Column("magnet", sa.Text()),
        sa.Column("quantity", sa.Text()),
        sa.Column("value", sa.Double()),
        sa.Column("u", sa.Double()),
        sa.Column("limit_value", sa.Double()),
        sa.Column("margin", sa.Double()),
        sa.Column("margin_share", sa.Double()),
        sa.Column("probability", sa.Double()),
        sa.Column("verdict", sa.Text(), nullable=False),
        sa.Column("evidence", sa.Text(), nullable=False),
        sa.Column("run", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("girder", "occasion", "magnet", "quantity", name="pk_verdict"),
    )
    op.create_table(
        "nonconformance",
        sa.Column("entry", sa.String(64)),
        sa.Column("girder", sa.Text(), nullable=False),
        sa.Column("magnet", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("about", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("decision", sa.Text(), nullable=False),
        sa.Column("made_at", sa.String(40), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("entry", name="pk_nonconformance"),
    )
    op.create_index("ix_nonconformance_state_girder", "nonconformance", ["state", "girder"])
    op.create_table(
        "step",
        sa.Column("entry", sa.String(64)),
        sa.Column("girder", sa.Text(), nullable=False),
        sa.Column("step", sa.Text(), nullable=False),
        sa.Column("done_on", sa.String(40), nullable=False),
        sa.Column("instrument", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("entry", name="pk_step"),
    )
    op.create_index("ix_step_girder_done_on", "step", ["girder", "done_on"])
    op.create_table(
        "turning",
        sa.Column("entry", sa.String(64)),
        sa.Column("girder", sa.Text(), nullable=False),
        sa.Column("occasion", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("entry", name="pk_turning"),
    )
    op.create_index("ix_turning_girder_occasion", "turning", ["girder", "occasion"])
    op.create_table(
        "measure",
        sa.Column("girder", sa.Text()),
        sa.Column("occasion", sa.Text()),
        sa.Column("quantity", sa.Text()),
        sa.Column("magnet", sa.Text()),
        sa.Column("type", sa.Text(), nullable=False),
        sa.Column("since", sa.Text(), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("u", sa.Double()),
        sa.Column("unit", sa.String(20), nullable=False),
        sa.Column("run", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("girder", "occasion", "quantity", "magnet", name="pk_measure"),
    )
    op.create_index("ix_measure_quantity_type_magnet_at", "measure", ["quantity", "type", "magnet", "at"])
    op.create_table(
        "signed",
        sa.Column("entry", sa.String(64)),
        sa.Column("about", sa.String(64), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("entry", name="pk_signed"),
    )
    op.create_index("ix_signed_about", "signed", ["about"])


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
