"""The tables of the record: a ledger of entries, and the files that they speak of in pieces.

The ledger is the truth. Every other table is told by it (``monochord.store.told``), can be built anew
from it, and is held against it by ``verify``. All times are UTC in ISO 8601 with microseconds.
"""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, ForeignKey, Index, Integer, LargeBinary, MetaData, String, Table, Text

METADATA = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)

#: Numbers of entries.
NUMBER = BigInteger().with_variant(Integer, "sqlite")

#: One row a fact, in the order in which they came: who says what about which subject; never changed, never removed.
ENTRY = Table(
    "entry",
    METADATA,
    Column("number", NUMBER, primary_key=True, autoincrement=False),
    Column("id", String(64), nullable=False, unique=True),
    Column("kind", String(40), nullable=False),
    Column("subject", String(200), nullable=False),
    Column("made_at", String(40), nullable=False),
    Column("made_by", String(200), nullable=False),
    Column("device", String(200), nullable=False),
    # an entry is corrected once; whoever corrects it a second time must correct the correction
    Column("replaces", String(64), ForeignKey("entry.id"), unique=True),
    Column("body", Text, nullable=False),
    Column("content", String(64), nullable=False),
    Column("kept_at", String(40), nullable=False),
    Column("previous", String(64), nullable=False),
    Column("hash", String(64), nullable=False, unique=True),
    Index(None, "subject", "number"),
    Index(None, "kind", "number"),
)

#: A file that was kept whole; its row is written after all its pieces.
FILE = Table(
    "file",
    METADATA,
    Column("sha256", String(64), primary_key=True),
    Column("size", BigInteger, nullable=False),
)

#: Which pieces make up a file, in their order.
PART = Table(
    "part",
    METADATA,
    Column("sha256", String(64), ForeignKey("file.sha256"), primary_key=True),
    Column("place", Integer, primary_key=True),
    Column("piece", String(64), ForeignKey("piece.sha256"), nullable=False),
)

#: Bytes under their own sha256; a piece that no file has is left over from a broken transfer and does no harm.
PIECE = Table(
    "piece",
    METADATA,
    Column("sha256", String(64), primary_key=True),
    Column("content", LargeBinary, nullable=False),
)

#: Tables whose rows are never changed and never removed.
KEPT = (ENTRY, FILE, PART, PIECE)
