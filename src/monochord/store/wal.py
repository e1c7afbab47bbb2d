"""The write-ahead log that a broken-off program left beside a file of SQLite: whether every write in it is still seen.

A damaged frame of the log ends what SQLite reads of it, without a word: all entries after it are gone. So the log is
looked at before SQLite is. A log ends rightly with nothing, with frames of a write that was never finished, with half a
frame, or with frames of an earlier round of the log.

Source: the SQLite file format, section "The Write-Ahead Log" (sqlite.org/fileformat2.html), from memory.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

HEADER, FRAME = 32, 24
#: First number of a log; its last bit tells the order of bytes in the sums.
MAGIC = 0x377F0682
VERSION = 3007000


@dataclass(frozen=True, slots=True)
class Flaw:
    """Where a log is not whole, from which byte on it is not read, and whether a write that broke off could look the same."""

    words: str
    offset: int
    certain: bool


def log_of(path: Path) -> Path:
    """Where the log of a file of SQLite stands when there is one."""
    return path.with_name(path.name + "-wal")


def flaw_of(log: Path) -> Flaw | None:
    """The first flaw of a log; None when all that was written to it is seen, or when there is no log."""
    try:
        content = log.read_bytes()
    except FileNotFoundError:
        return None
    return flaw_in(content)


def flaw_in(content: bytes) -> Flaw | None:
    """The first flaw in the bytes of a log.

    >>> flaw_in(b"") is None
    True
    >>> flaw_in(bytes(32)).words
    'its head is damaged'
    """
    if not content:
        return None
    head = content[:HEADER]
    if len(head) < HEADER or not _head_is_whole(head):
        return Flaw("its head is damaged", 0, certain=True)
    return _flaw_in_frames(content, head)


def _head_is_whole(head: bytes) -> bool:
    magic, version, size = struct.unpack_from(">3I", head)
    if magic & ~1 != MAGIC or version != VERSION or not (512 <= size <= 65536 and size & (size - 1) == 0):
        return False
    return _summed(head[:24], (0, 0), magic) == struct.unpack_from(">2I", head, 24)


def _flaw_in_frames(content: bytes, head: bytes) -> Flaw | None:
    magic, _, size = struct.unpack_from(">3I", head)
    round_of_log = head[16:24]
    running = struct.unpack_from(">2I", head, 24)
    starts = range(HEADER, len(content) - FRAME - size + 1, FRAME + size)
    for start in starts:
        frame = content[start : start + FRAME]
        found = _summed(frame[:8] + content[start + FRAME : start + FRAME + size], running, magic)
        this_round, right = frame[8:16] == round_of_log, found == struct.unpack_from(">2I", frame, 16)
        if this_round and right and frame[:4] != bytes(4):
            running = found
            continue
        number = (start - HEADER) // (FRAME + size) + 1
        later = any(content[s + 8 : s + 16] == round_of_log for s in starts if s > start)
        if right or later:
            return Flaw(f"write {number} in it is damaged, and nothing after it is read", start, certain=True)
        if this_round:
            return Flaw(f"its last write, {number}, is not whole and is not read", start, certain=False)
        return None
    return None


def _summed(content: bytes, start: tuple[int, int], magic: int) -> tuple[int, int]:
    """The log's two running sums over pairs of 32-bit words, modulo 2**32."""
    one, other = start
    order = ">" if magic & 1 else "<"
    for a, b in _pairs(struct.unpack(f"{order}{len(content) // 4}I", content)):
        one = (one + a + other) & 0xFFFFFFFF
        other = (other + b + one) & 0xFFFFFFFF
    return one, other


def _pairs(words: tuple[int, ...]) -> Iterator[tuple[int, int]]:
    return zip(words[::2], words[1::2], strict=True)
