"""Bytes and their checksum; a file that changed since its campaign began is named."""

from __future__ import annotations

import hashlib
from pathlib import Path

from monochord.ground.faults import Fault, Refused

_PIECE = 1 << 22


def sha256(path: Path, name: str = "") -> str:
    """Checksum of a file in hexadecimal; Refused when it cannot be read."""
    digest = hashlib.sha256()
    try:
        with path.open("rb") as stream:
            while piece := stream.read(_PIECE):
                digest.update(piece)
    except OSError as error:
        raise unreadable(error, name or str(path)) from None
    return digest.hexdigest()


def content(path: Path, name: str = "") -> bytes:
    """All bytes of a file; Refused when it cannot be read."""
    try:
        return path.read_bytes()
    except OSError as error:
        raise unreadable(error, name or str(path)) from None


def first_bytes(path: Path, count: int = 4096) -> bytes:
    """The first bytes of a file; none when it cannot be read."""
    try:
        with path.open("rb") as stream:
            return stream.read(count)
    except OSError:
        return b""


def sha256_of(data: bytes) -> str:
    """Checksum of bytes in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def changed(name: str, now: str, then: str) -> Fault:
    """The fault of a file whose checksum is not the one written when the campaign began."""
    return Fault(
        f"checksum {now[:12]}...",
        f"{then[:12]}... as when the campaign began",
        "the measured file was changed; put the original back, or begin the campaign anew from it",
        name,
    )


def unreadable(error: OSError, name: str) -> Refused:
    """The refusal of a file that the system does not give."""
    given = error.strerror or "an unreadable file"
    return Refused([Fault(given, "a readable file", "put the file back or check its rights", name)])
