"""Files in the record: kept whole, under the sha256 of their bytes, once however often they come."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator, Sequence
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

from sqlalchemy import Connection, select

from monochord.ground.faults import Fault, Refused
from monochord.store.opening import Record
from monochord.store.tables import FILE, PART, PIECE

#: Length of a piece [bytes].
PIECE_LENGTH = 1 << 20
#: So many pieces are written in one go, so that other writers get their turn while a long file comes in.
TOGETHER = 32
#: So many files are asked for in one question.
MANY = 500


def keep_file(record: Record, path: Path) -> str:
    """Keep a file's bytes and give their sha256, in memory of some pieces however long it is.

    What was broken off goes on: pieces that came are not written again. The file is there when its last piece is.
    """
    with path.open("rb") as stream:
        return _keep(record, stream)


def keep_bytes(record: Record, content: bytes) -> str:
    """Keep bytes as a file and give their sha256."""
    return _keep(record, BytesIO(content))


def _keep(record: Record, stream: BinaryIO) -> str:
    whole, size, parts = hashlib.sha256(), 0, list[str]()
    while blocks := _some(stream.read(PIECE_LENGTH) for _ in range(TOGETHER)):
        keys = [hashlib.sha256(block).hexdigest() for block in blocks]
        for block in blocks:
            whole.update(block)
            size += len(block)
        _keep_pieces(record, dict(zip(keys, blocks, strict=True)))
        parts += keys
    sha256 = whole.hexdigest()
    _keep_whole(record, sha256, size, parts)
    return sha256


def _some(blocks: Iterator[bytes]) -> list[bytes]:
    return [block for block in blocks if block]


def _keep_pieces(record: Record, pieces: dict[str, bytes]) -> None:
    with record.reading() as connection:
        there = set(connection.scalars(select(PIECE.c.sha256).where(PIECE.c.sha256.in_(pieces))))
    if len(there) == len(pieces):
        return
    with record.writing() as connection:
        there = set(connection.scalars(select(PIECE.c.sha256).where(PIECE.c.sha256.in_(pieces))))
        rows = [{"sha256": key, "content": block} for key, block in pieces.items() if key not in there]
        if rows:
            connection.execute(PIECE.insert(), rows)


def _keep_whole(record: Record, sha256: str, size: int, parts: Sequence[str]) -> None:
    if has_file(record, sha256):
        return
    with record.writing() as connection:
        if connection.execute(select(FILE.c.size).where(FILE.c.sha256 == sha256)).first() is not None:
            return
        connection.execute(FILE.insert().values(sha256=sha256, size=size))
        if parts:
            rows = [{"sha256": sha256, "place": place, "piece": piece} for place, piece in enumerate(parts)]
            connection.execute(PART.insert(), rows)


def has_file(record: Record, sha256: str) -> bool:
    """Whether a file is in the record whole."""
    with record.reading() as connection:
        return connection.execute(select(FILE.c.size).where(FILE.c.sha256 == sha256)).first() is not None


def files_there(connection: Connection, names: Collection[str]) -> set[str]:
    """Those of the files with these sha256 that are in the record whole."""
    listed, found = sorted(names), set[str]()
    for start in range(0, len(listed), MANY):
        found |= set(connection.scalars(select(FILE.c.sha256).where(FILE.c.sha256.in_(listed[start : start + MANY]))))
    return found


def blocks_of(connection: Connection, sha256: str) -> Iterator[bytes]:
    """The bytes of a file, piece by piece; Refused when the record does not hold it."""
    if connection.execute(select(FILE.c.size).where(FILE.c.sha256 == sha256)).first() is None:
        raise Refused(
            [Fault(f"a file with sha256 {sha256[:12]}", "a file in the record", "take the campaign in again")]
        )
    pieces = connection.scalars(select(PART.c.piece).where(PART.c.sha256 == sha256).order_by(PART.c.place)).all()
    for piece in pieces:
        yield connection.execute(select(PIECE.c.content).where(PIECE.c.sha256 == piece)).scalar_one()
