"""The files of a record held against their names: every piece, every place, every size."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from typing import Protocol

from sqlalchemy import Connection, exists, select, type_coerce
from sqlalchemy.types import NULLTYPE

from monochord.ground.faults import Fault
from monochord.store.tables import ENTRY, FILE, PART, PIECE
from monochord.store.verify_entries import RESTORE, as_stored

#: So many pieces of a mebibyte are in memory at once, and progress is told after so many bytes.
TOGETHER, OFTEN = 8, 1 << 28


class Walk(Protocol):
    """What a walk over the files fills in."""

    files: int
    size: int


def file_faults(connection: Connection, address: str, say: Callable[[str], None], walked: Walk) -> Iterator[Fault]:
    """Every fault of files and pieces."""
    wanted = as_stored(FILE).order_by(FILE.c.sha256)
    with connection.execute(wanted, execution_options={"yield_per": 200}) as rows:
        for row in rows:
            told = walked.size // OFTEN
            yield from _one_file(connection, address, row.sha256, row.size, walked)
            if walked.size // OFTEN != told:
                say(f"{walked.files} files, {walked.size / 1e6:.0f} MB")
    yield from _lost_parts(connection, address)
    yield from _loose_pieces(connection, address)


def _one_file(connection: Connection, address: str, sha256: object, size: object, walked: Walk) -> Iterator[Fault]:
    if not (isinstance(sha256, str) and type(size) is int):
        yield Fault(f"file {sha256!s:.16}: sha256 or size of another kind", "a text and a number", RESTORE, address)
        return
    parts = connection.execute(as_stored(PART).where(PART.c.sha256 == sha256).order_by(PART.c.place)).all()
    whole, length, faults = hashlib.sha256(), 0, list[tuple[str, str]]()
    if [part.place for part in parts] != list(range(len(parts))) or any(type(p.place) is not int for p in parts):
        faults.append((f"places {', '.join(str(p.place) for p in parts[:10])} in table part", "0, 1, 2 and so on"))
    for part in parts:
        content = connection.execute(
            select(type_coerce(PIECE.c.content, NULLTYPE)).where(PIECE.c.sha256 == part.piece)
        ).scalar()
        if not isinstance(content, bytes):
            faults.append((f"piece {part.piece!s:.16} at place {part.place} missing in table piece", "its bytes"))
            continue
        if hashlib.sha256(content).hexdigest() != part.piece:
            faults.append(
                (f"piece {part.piece!s:.16} at place {part.place} with other bytes", "bytes with that sha256")
            )
        whole.update(content)
        length += len(content)
    if length != size:
        faults.append((f"{length} bytes, table file says {size}", "one length"))
    if whole.hexdigest() != sha256 and not faults:
        faults.append((f"bytes with sha256 {whole.hexdigest()[:16]}", "bytes with the file's own sha256"))
    walked.files, walked.size = walked.files + 1, walked.size + length
    used = f", {_user_of(connection, sha256)}" if faults else ""
    for given, expected in faults:
        remedy = "take the campaign that has it into a new record, or " + RESTORE
        yield Fault(f"file {sha256[:16]}{used}: {given}", expected, remedy, address)


def _user_of(connection: Connection, sha256: str) -> str:
    """Which entry names a file; slow, and asked only when there is a fault."""
    wanted = select(ENTRY.c.number, ENTRY.c.subject).where(ENTRY.c.body.contains(sha256)).order_by(ENTRY.c.number)
    row = connection.execute(wanted.limit(1)).first()
    return f"named by entry {row.number} about {row.subject!s:.80}" if row else "named by no entry"


def _lost_parts(connection: Connection, address: str) -> Iterator[Fault]:
    lost = as_stored(PART).where(~exists().where(FILE.c.sha256 == PART.c.sha256))
    with connection.execute(lost, execution_options={"yield_per": 200}) as rows:
        for row in rows:
            given = f"row ({row.sha256!s:.16}, {row.place}) of table part, of a file that is not in table file"
            yield Fault(given, "the row in table file", RESTORE, address)


def _loose_pieces(connection: Connection, address: str) -> Iterator[Fault]:
    """Pieces that no file has may stand there, left by a transfer that broke off; their bytes must be right all the same."""
    loose = as_stored(PIECE).where(~exists().where(PART.c.piece == PIECE.c.sha256))
    with connection.execute(loose, execution_options={"yield_per": TOGETHER}) as rows:
        for row in rows:
            right = isinstance(row.content, bytes) and hashlib.sha256(row.content).hexdigest() == row.sha256
            if not right:
                yield Fault(
                    f"piece {row.sha256!s:.16}, which no file has, with other bytes",
                    "bytes with that sha256",
                    RESTORE,
                    address,
                )
